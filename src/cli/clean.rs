//! `obelus clean`: the edition without its editor.

use super::failure::Failure;
use super::files::Files;
use super::input;
use super::lines::LinesOfBoth;
use super::notes::NotesFile;
use super::output::{Content, Told, suits, write_all};
use super::own_marks::{MarksFile, sheet_failure};
use super::pdf::{PageOptions, PdfFile, Shown};
use super::player::{ForPlayer, OnInstruments};
use super::progress::Progress;
use clap::ValueEnum;

use crate::clean::{self, Additions, Apart, Decisions, NewKey, Origin, Restore};
use crate::musicxml::beside::Brackets;
use crate::musicxml::{self, Heading, Tree};
use crate::pitch::{Interval, key_fifths};
use crate::report;
use crate::score::{Category, Score};
use crate::suggest::did_you_mean;
use crate::{Cleaned, Comparison, Input, LineName, Policy, Provenance, ReadScore, Texts, Wishes};
use std::path::{Path, PathBuf};

/// Write the edition without its editor's changes, and with your own marks if you like
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The performing edition, MusicXML; - reads standard input
    edition: PathBuf,
    /// The plain source, MusicXML; - reads standard input
    source: PathBuf,
    /// Write the clean copy to this file; .mxl compresses it
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    #[command(flatten)]
    lines: LinesOfBoth,
    /// Write only the line that --part, --staff and --voice name, as a separate part
    #[arg(long)]
    alone: bool,
    /// Keep the editor's additions of these categories
    #[arg(long, value_name = "CATEGORY,…", value_delimiter = ',', value_parser = mark_category)]
    keep: Vec<Category>,
    /// What to do with the editor's other additions
    #[arg(long, value_name = "HOW", value_enum, default_value_t = How::Strip)]
    additions: How,
    /// Set additions apart in ways of your own, by category (.toml)
    #[arg(long, value_name = "FILE")]
    apart: Option<PathBuf>,
    /// Keep these as the edition has them
    #[arg(long, value_name = "KIND,…", value_delimiter = ',', value_enum)]
    no_restore: Vec<Kind>,
    /// Transpose the copy from the edition: "up a minor third"
    #[arg(long, value_name = "INTERVAL", conflicts_with = "key")]
    transpose: Option<Interval>,
    /// Write the copy in this sounding key: "D minor"; moved the nearest way, with --fit the way that fits better
    #[arg(long, value_name = "KEY", value_parser = key_fifths)]
    key: Option<i32>,
    #[command(flatten)]
    player: ForPlayer,
    /// Follow the decisions in this file, written by audit --decisions
    #[arg(long, value_name = "FILE")]
    decisions: Option<PathBuf>,
    /// Also write critical notes to this file (.md or .csv)
    #[arg(long, value_name = "FILE")]
    notes: Option<PathBuf>,
    /// Also print the copy to this file (.pdf); with --part, that part alone
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    #[command(flatten)]
    pages: PageOptions,
    /// Write nothing (status 4) if a bar would have to stay as the edition has it
    #[arg(long)]
    strict: bool,
    /// The form of the summary
    #[arg(long, value_name = "FORM", value_enum, default_value_t = Told::Text)]
    format: Told,
    /// Your own marks, written in last: a mark sheet (.toml) or a marked copy (MusicXML)
    #[arg(long, value_name = "FILE")]
    mine: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  obelus clean edition.musicxml source.musicxml -o clean.musicxml
  obelus clean edition.mxl source.mxl -o part.mxl --mine my-marks.toml
  obelus clean edition.mxl source.mxl -o part.mxl --mine my-copy.mxl
  obelus clean edition.mxl source.mxl -o part.mxl --keep breath,fingering
  obelus clean edition.mxl source.mxl -o part.mxl --additions bracket
  obelus clean edition.mxl source.mxl -o proof.mxl --additions color
  obelus clean edition.mxl source.mxl -o part.mxl --no-restore octaves,passages
  obelus clean edition.mxl source.mxl -o part.mxl --transpose \"up a major second\"
  obelus clean edition.mxl source.mxl -o part.mxl --key \"F major\" --instrument \"alto recorder\" --fit
  obelus clean edition.mxl source.mxl -o part.mxl --part Oboe --for \"clarinet in B flat\"
  obelus clean edition.mxl source.mxl -o part.mxl --part Flute --pdf part.pdf
  obelus clean piano.mxl song.mxl -o tune.mxl --staff 1 --voice 1 --alone --for \"alto recorder\"
  obelus clean edition.mxl source.mxl -o part.mxl --decisions decisions.toml --notes notes.md

The copy is read back and compared with the source before it is written. Bars that
cannot be cleaned provably stay as the edition has them, and are named; with
--strict nothing is written then, and the exit status is 4.";

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum How {
    /// Take them out
    Strip,
    /// Keep them, set apart as in critical editions: dashed, in brackets, small
    Bracket,
    /// Write a proof copy: keep them, set apart and coloured; restored music is coloured too
    Color,
}

impl From<How> for Additions {
    fn from(how: How) -> Additions {
        match how {
            How::Strip => Additions::Strip,
            How::Bracket => Additions::Bracket,
            How::Color => Additions::Color,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// Notes one or more octaves away
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
    let category = name.trim().parse().ok().filter(|c: &Category| !c.is_of_notes());
    category.ok_or_else(|| {
        let all: Vec<&str> = Category::of_marks().map(Category::name).collect();
        let asked = did_you_mean(name, all.iter().map(|name| (*name, vec![*name])), str::to_lowercase);
        let asked = asked.map_or(String::new(), |asked| format!("{asked} "));
        format!("{asked}the categories of marks are {}", all.join(", "))
    })
}

pub fn run(args: &Args) -> Result<u8, Failure> {
    let scores = [args.edition.as_path(), args.source.as_path()];
    let mut others = scores.to_vec();
    let sheets = [&args.mine, &args.decisions, &args.apart].map(|file| file.as_deref());
    others.extend(sheets.into_iter().chain([args.player.read_for.file()]).flatten());
    let mut files = Files::new(&others)?;
    let output = files.output(Some(&args.output))?;
    suits(Some(&args.output), "a score", &["musicxml", "xml", "mxl"])?;
    let notes = args.notes.as_deref().map(|file| NotesFile::new(file, &mut files)).transpose()?;
    let pdf = args.pdf.as_deref().map(|file| PdfFile::new(file, &args.pages, &mut files)).transpose()?;
    let mine = args.mine.as_deref().map(MarksFile::read).transpose()?;
    let decisions = args.decisions.as_deref().map(read_decisions).transpose()?;
    if args.apart.is_some() && args.additions == How::Strip && decisions.is_none() {
        return Err(Failure::wrong_use(
            "--apart needs --additions bracket or color: as it is, all additions are taken out",
        ));
    }
    if args.alone && !args.lines.edition.is_named() {
        return Err(Failure::wrong_use(
            "--alone writes one line as a separate part; name it with --part, --staff or --voice",
        ));
    }
    let apart = args.apart.as_deref().map(read_table).transpose()?;
    let on = OnInstruments::of(&args.player)?;

    let mut progress = Progress::new(4 + u64::from(pdf.is_some()));
    progress.step("reading the edition");
    let (edition_input, edition_origin) = input::open(&args.edition)?;
    let mut edition = ReadScore::of(&edition_input)?;
    let mut lines = args.lines.names();
    let alone = if args.alone { Some(edition.extract(&lines.edition)?) } else { None };
    if let Some(alone) = &alone {
        edition = alone.read()?;
        lines.edition = LineName::default();
    }
    progress.step("reading the source");
    let (source_input, source_origin) = input::open(&args.source)?;
    let source = ReadScore::of(&source_input)?;
    progress.step("comparing them");
    let comparison = Comparison::new(edition, source, &lines)?;
    let parts = comparison.compared_parts();
    let Some(&part) = parts.first() else {
        return Err(Failure::wrong_use(format!(
            "{}: no part matches a part of {}; is that its source? To compare two parts anyway, name them with --part and --source-part",
            args.edition.display(),
            args.source.display()
        )));
    };
    let provenance = Provenance {
        edition: edition_origin,
        source: source_origin,
        mine: mine.as_ref().map(|mine| mine.origin.clone()),
        decisions: decisions.as_ref().map(|(_, origin)| origin.clone()),
        apart: apart.as_ref().map(|(_, origin)| origin.clone()),
    };
    let policy = Policy {
        keep: args.keep.iter().copied().collect(),
        leave: args.no_restore.iter().map(|k| (*k).into()).collect(),
        additions: args.additions.into(),
        apart: apart.map(|(table, _)| table).unwrap_or_default(),
        decisions: decisions.map(|(decisions, _)| decisions),
        strict: args.strict,
        alone: alone.as_ref().map(|alone| alone.line().to_string()),
    };
    let key = match (args.transpose, args.key) {
        (Some(by), _) => Some(NewKey::By(by)),
        (None, key) => key.map(|fifths| NewKey::Fifths { fifths, part }),
    };
    let marked = mine.as_ref().map_or(Ok(None), MarksFile::marked)?;
    let own_marks = mine.as_ref().and_then(|mine| mine.own_marks(marked.as_ref(), part));
    let wishes = Wishes { key, own_marks, ..on.wishes(comparison.edition().score(), &parts)? };
    progress.step("cleaning and proving");
    let texts = Texts::new();
    let (copy, mut cleaned) =
        comparison.clean(&policy, &wishes, Some(&provenance), &texts).map_err(|fault| clean_failure(args, fault))?;
    let mut warnings = comparison.warnings();
    warnings.append(&mut cleaned.warnings);
    let bytes = edition_input.encode_for(copy.text(), &args.output)?;
    let critical = notes.as_ref().map(|notes| notes.text(&comparison, &cleaned, &provenance, &warnings));
    let pages = pdf.as_ref().map(|pdf| {
        progress.step("engraving");
        let source = comparison.source().score();
        let shown = Shown {
            part: args.lines.edition.is_named().then_some(part),
            brackets: match args.additions == How::Strip && policy.decisions.is_none() {
                true => Brackets::LeftOut,
                false => Brackets::Drawn,
            },
            heading: heading(&comparison, mine.as_ref()),
            most_pages: None,
            foot: format!("Source: {}", named(&source_input, source)),
        };
        pdf.pages(&copy.tree, &copy.score, shown, ", but everything else is")
    });
    progress.finish();
    let mut results = vec![(&output, Content::Bytes(&bytes))];
    results.extend(notes.iter().zip(&critical).map(|(notes, text)| (&notes.output, Content::Bytes(text.as_bytes()))));
    let drawn = pages.as_ref().and_then(|pages| pages.as_ref().ok());
    results.extend(pdf.iter().zip(drawn).map(|(pdf, pages)| (&pdf.output, Content::Bytes(pages))));
    write_all(&results)?;
    tell(args, &cleaned, &warnings, files.use_stdout())?;
    pages.transpose().map(|_| 0)
}

/// As the source has it, never as the editor does; a mark sheet may have a title of its own.
fn heading(comparison: &Comparison<Tree>, mine: Option<&MarksFile>) -> Heading {
    let heading = musicxml::heading(comparison.source().tree());
    let own =
        mine.and_then(MarksFile::title).filter(|title| comparison.edition().score().title.as_deref() != Some(title));
    match own {
        Some(title) => Heading { title: Some(title.into()), subtitle: heading.subtitle.or(heading.title), ..heading },
        None => heading,
    }
}

/// A score by its title and its file.
fn named(input: &Input, score: &Score) -> String {
    let file = input.file_name();
    match score.title.as_deref().filter(|title| *title != file) {
        Some(title) => format!("{title} ({file})"),
        None => file,
    }
}

/// A fault of the file of decisions, or of a mark sheet, has its name.
fn clean_failure(args: &Args, error: clean::Failure) -> Failure {
    match (&error, &args.decisions, &args.mine) {
        (clean::Failure::Decision(fault), Some(file), _) => Failure::wrong_use(format!("{}: {fault}", file.display())),
        (clean::Failure::Sheet(fault), _, Some(file)) => sheet_failure(file, fault),
        _ => error.into(),
    }
}

/// What was done; never mixed with a result on standard output.
fn tell(args: &Args, cleaned: &Cleaned, warnings: &[String], result_on_stdout: bool) -> Result<(), Failure> {
    let [file, edition, source] = [&args.output, &args.edition, &args.source].map(|p| p.display().to_string());
    let text = match args.format {
        Told::Json => report::clean_json([&file, &edition, &source], cleaned, warnings),
        Told::Text => {
            let name = if args.output.as_os_str() == "-" { "The clean copy" } else { &file };
            report::clean_text(name, cleaned, warnings, super::audit::width())
        }
    };
    args.format.say(&text, result_on_stdout)
}

fn read_decisions(path: &Path) -> Result<(Decisions, Origin), Failure> {
    let (text, origin) = input::text(path)?;
    let decisions = Decisions::parse(&text);
    Ok((decisions.map_err(|e| Failure::unreadable(format!("{}: {e}", path.display())))?, origin))
}

fn read_table(path: &Path) -> Result<(Apart, Origin), Failure> {
    let (text, origin) = input::text(path)?;
    let table = Apart::with_rows(&text);
    Ok((table.map_err(|e| Failure::unreadable(format!("{}: {e}", path.display())))?, origin))
}
