//! `obelus clean`: the edition without its editor.

use super::failure::Failure;
use super::input;
use super::output::{Content, Output};
use clap::ValueEnum;
use obelus::clean::{self, Cleaned, LayError, Policy, Restore, Sheet, SheetError, Sides};
use obelus::collate::{self, Choice};
use obelus::findings;
use obelus::musicxml::{self, Input, Tree};
use obelus::report;
use obelus::score::Category;
use std::path::{Path, PathBuf};

/// Write the edition without what its editor did, your own marks layered on
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The performing edition, MusicXML; - reads standard input
    edition: PathBuf,
    /// The plain source, MusicXML; - reads standard input
    source: PathBuf,
    /// Write the clean copy there; .mxl packs it
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Clean only this part of the edition: its id, name or number
    #[arg(long, value_name = "P")]
    part: Option<String>,
    /// Compare with this part of the source: its id, name or number
    #[arg(long, value_name = "P")]
    source_part: Option<String>,
    /// Leave the editor's additions of these categories in
    #[arg(long, value_name = "CATEGORY,…", value_delimiter = ',', value_parser = mark_category)]
    keep: Vec<Category>,
    /// Leave these as the edition has them
    #[arg(long, value_name = "KIND,…", value_delimiter = ',', value_enum)]
    no_restore: Vec<Kind>,
    /// Your own marks, a mark sheet (.toml), laid on last
    #[arg(long, value_name = "FILE")]
    mine: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  obelus clean edition.musicxml source.musicxml -o clean.musicxml
  obelus clean edition.mxl source.mxl -o part.mxl --mine my-marks.toml
  obelus clean edition.mxl source.mxl -o part.mxl --keep breath,fingering
  obelus clean edition.mxl source.mxl -o part.mxl --no-restore octaves,passages

The copy is read back and compared with the source before it is written; if it
differs, nothing is written and the exit status is 4.";

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// Notes that lie one or more octaves off
    Octaves,
    /// Inserted, rewritten and cut passages, invented endings
    Passages,
    /// Other notes, rhythms, ties and altered marks
    Readings,
    /// Marks of the source that the edition lacks
    Omissions,
}

impl From<Kind> for Restore {
    fn from(kind: Kind) -> Restore {
        match kind {
            Kind::Octaves => Restore::Octaves,
            Kind::Passages => Restore::Passages,
            Kind::Readings => Restore::Readings,
            Kind::Omissions => Restore::Omissions,
        }
    }
}

fn mark_category(name: &str) -> Result<Category, String> {
    let category = Category::from_name(name.trim()).filter(|c| !c.is_of_notes());
    category.ok_or_else(|| {
        let all: Vec<&str> = Category::ALL.iter().filter(|c| !c.is_of_notes()).map(|c| c.name()).collect();
        format!("the categories of marks are {}", all.join(", "))
    })
}

pub fn run(args: &Args) -> Result<u8, Failure> {
    let scores = [args.edition.as_path(), args.source.as_path()];
    input::refuse_twice_stdin(&scores)?;
    let mut inputs = scores.to_vec();
    inputs.extend(args.mine.as_deref());
    let output = Output::new(Some(&args.output), &inputs)?;
    let sheet = args.mine.as_deref().map(read_sheet).transpose()?;

    let edition_input = Input::open(&args.edition)?;
    let edition_tree = Tree::parse(&edition_input)?;
    let edition = musicxml::read(&edition_tree)?;
    let source_input = Input::open(&args.source)?;
    let source_tree = Tree::parse(&source_input)?;
    let mut source = musicxml::read(&source_tree)?;
    let choose = |score, file: &Path, wanted: &Option<String>| {
        wanted.as_deref().map(|w| input::part(score, &file.display().to_string(), w)).transpose()
    };
    let choice = Choice {
        edition: choose(&edition.score, &args.edition, &args.part)?,
        source: choose(&source.score, &args.source, &args.source_part)?,
    };
    let pairing = collate::pair_parts(&edition.score, &mut source.score, choice);
    let collation = collate::lay(&edition.score, &source.score, pairing, true);
    let Some(first) = collation.parts.first() else {
        return Err(Failure::wrong_use(format!(
            "{}: no part of it resembles a part of {}; is that its source? --part and --source-part pair two parts by force",
            args.edition.display(),
            args.source.display()
        )));
    };
    let findings = findings::find(&edition.score, &source.score, &collation);
    let policy = Policy {
        keep: args.keep.iter().copied().collect(),
        leave: args.no_restore.iter().map(|k| (*k).into()).collect(),
        ..Policy::default()
    };
    let sides = Sides {
        edition_tree: &edition_tree,
        edition: &edition.score,
        source_tree: &source_tree,
        source: &source.score,
        collation: &collation,
        findings: &findings,
    };
    let mut cleaned = clean::clean(sides, &policy)?;
    let mut laid = None;
    if let (Some(sheet), Some(file)) = (&sheet, &args.mine) {
        let layered =
            clean::lay(&edition_input, &cleaned.text, sheet, first.edition).map_err(|e| lay_failure(file, e))?;
        cleaned.text = layered.text;
        cleaned.proof = layered.proof;
        laid = Some(layered.marks);
    }
    let mut warnings = musicxml::warnings_of_both(&edition, &source);
    warnings.append(&mut cleaned.warnings);
    output.write(Content::Bytes(&edition_input.encode_for(&cleaned.text, &args.output)?))?;
    tell(&args.output, &cleaned, laid, &warnings)?;
    Ok(0)
}

/// What was done, for a person; never mixed with a score on standard output.
fn tell(path: &Path, cleaned: &Cleaned, laid: Option<usize>, warnings: &[String]) -> Result<(), Failure> {
    let name = if path.as_os_str() == "-" { "The clean copy".into() } else { path.display().to_string() };
    let text = report::clean_text(&name, cleaned, laid, warnings, super::audit::width());
    if path.as_os_str() == "-" {
        use std::io::Write;
        let _ = anstream::stderr().write_all(text.as_bytes());
        return Ok(());
    }
    Output::Stdout.write(Content::Text(&text))
}

fn read_sheet(path: &Path) -> Result<Sheet, Failure> {
    let file = path.display().to_string();
    if path.extension().is_some_and(|e| !e.eq_ignore_ascii_case("toml")) {
        return Err(Failure::wrong_use(format!(
            "{file}: --mine takes a mark sheet, whose name ends in .toml; obelus marks makes one from a marked copy"
        )));
    }
    let bytes = std::fs::read(path).map_err(|e| musicxml::Error::io(&file, &e))?;
    let text = String::from_utf8(bytes).map_err(|_| Failure::unreadable(format!("{file}: the text is not UTF-8")))?;
    Sheet::parse(&text).map_err(|e| sheet_failure(path, &e))
}

fn sheet_failure(path: &Path, error: &SheetError) -> Failure {
    let message = format!("{}: {error}", path.display());
    match error {
        SheetError::Syntax(_) => Failure::unreadable(message),
        SheetError::Mark { .. } => Failure::wrong_use(message),
    }
}

fn lay_failure(path: &Path, error: LayError) -> Failure {
    match error {
        LayError::Sheet(error) => sheet_failure(path, &error),
        LayError::Failure(error) => error.into(),
    }
}
