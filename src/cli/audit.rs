//! `obelus audit`: what the editor did, bar by bar.

use super::failure::Failure;
use super::input::{self, Octave};
use super::lines::LinesOfBoth;
use super::output::{Content, Output, suits};
use super::progress::Progress;
use clap::ValueEnum;
use obelus::beside::{side_by_side, staves};
use obelus::clean::{self, Policy, Sides};
use obelus::collate;
use obelus::engrave;
use obelus::findings;
use obelus::keys::{Chart, Tempo};
use obelus::musicxml::{self, Input, Tree, warnings_of_both};
use obelus::report::{self, Audit, Bars, Hands, Material, PartReport};
use std::io::IsTerminal;
use std::mem::ManuallyDrop;
use std::path::{Path, PathBuf};

/// What the editor did, bar by bar
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The performing edition, MusicXML; - reads standard input
    edition: PathBuf,
    /// The plain source, MusicXML; - reads standard input
    source: PathBuf,
    #[command(flatten)]
    lines: LinesOfBoth,
    /// Check every part looked at against this instrument's range [default: as its name tells]
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    /// A table of your own instruments, TOML; adds to the standard one
    #[arg(long, value_name = "FILE")]
    instruments: Option<PathBuf>,
    #[command(flatten)]
    octave: Octave,
    /// Quarter notes per minute, for the hardest stretches [default: the score's first metronome mark, or else 72]
    #[arg(long, value_name = "N", value_parser = input::tempo, requires = "instrument")]
    tempo: Option<f64>,
    /// Only these bars of the edition, by their printed numbers
    #[arg(long, value_name = "A-B")]
    bars: Option<String>,
    /// The form of the report
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Write there, not to standard output
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Also write a file of decisions there, one for each finding, for clean to follow
    #[arg(long, value_name = "FILE")]
    decisions: Option<PathBuf>,
    /// Also write source and edition there as one score, bar beside bar in the edition's key,
    /// coloured where they differ (.musicxml)
    #[arg(long, value_name = "FILE")]
    side_by_side: Option<PathBuf>,
    /// Exit with status 1 when anything was found
    #[arg(long)]
    strict: bool,
}

const EXAMPLES: &str = "\
Examples:
  obelus audit edition.musicxml source.musicxml
  obelus audit edition.mxl source.mxl --part Flute --bars 9-16
  obelus audit edition.mxl source.mxl --instrument \"alto recorder\"
  obelus audit edition.mxl source.mxl --format csv -o findings.csv
  obelus audit edition.mxl source.mxl --format html -o report.html
  obelus audit edition.mxl source.mxl --side-by-side both.musicxml
  obelus audit edition.mxl source.mxl --decisions decisions.toml";

/// The form of a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Text,
    Json,
    Csv,
}

impl Format {
    /// Refuses a file whose name plainly says another form.
    pub fn suits(self, file: Option<&Path>) -> Result<(), Failure> {
        match self {
            Format::Text => suits(file, "a report as text", &["txt"]),
            Format::Json => suits(file, "a report as JSON", &["json"]),
            Format::Csv => suits(file, "a report as CSV", &["csv"]),
        }
    }
}

impl Form {
    fn suits(self, file: Option<&Path>) -> Result<(), Failure> {
        match self {
            Form::Text => Format::Text.suits(file),
            Form::Json => Format::Json.suits(file),
            Form::Csv => Format::Csv.suits(file),
            Form::Html => suits(file, "a page", &["html", "htm"]),
        }
    }
}

/// The form of an audit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    Text,
    Json,
    Csv,
    /// One page for the browser, with nothing fetched from elsewhere
    Html,
}

pub fn run(args: &Args) -> Result<u8, Failure> {
    let scores = [args.edition.as_path(), args.source.as_path()];
    input::refuse_twice_stdin(&scores)?;
    let mut inputs = scores.to_vec();
    inputs.extend(args.instruments.as_deref());
    let output = Output::new(args.output.as_deref(), &inputs)?;
    args.format.suits(args.output.as_deref())?;
    let to_terminal = args.output.is_none() && std::io::stdout().is_terminal();
    if args.format == Form::Html && to_terminal {
        return Err(Failure::wrong_use(
            "a page is for a browser, not for the terminal; give it a file with -o page.html",
        ));
    }
    inputs.extend(args.output.as_deref());
    suits(args.decisions.as_deref(), "a file of decisions", &["toml"])?;
    // It is never packed.
    suits(args.side_by_side.as_deref(), "a score that is not packed", &["musicxml", "xml"])?;
    let decisions = args.decisions.as_deref().map(|file| Output::new(Some(file), &inputs)).transpose()?;
    inputs.extend(args.decisions.as_deref());
    if let Some(file) = &args.side_by_side {
        write_side_by_side(args, &Output::new(Some(file), &inputs)?)?;
    }
    let mut progress = Progress::new(4 + u64::from(args.format == Form::Html));
    // Nothing comes after this: to take it apart piece by piece would be for nothing.
    let (audit, page) = audit(args, decisions.as_ref(), &progress)?;
    progress.finish();
    let audit = ManuallyDrop::new(audit);
    match args.format {
        Form::Text => output.write(Content::Text(&report::audit_text(&audit, width())))?,
        Form::Json => output.write(Content::Bytes(audit.json().as_bytes()))?,
        Form::Csv => output.write(Content::Bytes(report::audit_csv(&audit).as_bytes()))?,
        Form::Html => output.write(Content::Bytes(page.unwrap_or_default().as_bytes()))?,
    }
    Ok(u8::from(args.strict && audit.found_something()))
}

/// The audit, and the page where one is wanted.
fn audit(args: &Args, decisions: Option<&Output>, progress: &Progress) -> Result<(Audit, Option<String>), Failure> {
    if args.format != Form::Html || !engrave::IS_BUILT_IN {
        progress.step("reading the edition");
        let edition = input::load(&args.edition)?;
        progress.step("reading the source");
        let source = input::load_last(&args.source)?;
        return audit_of(args, decisions, [edition, source], None, progress);
    }
    // Staves are drawn from the texts.
    progress.step("reading the edition");
    let edition_input = Input::open(&args.edition)?;
    let edition_tree = ManuallyDrop::new(Tree::parse(&edition_input)?);
    let edition = (edition_input.file.clone(), musicxml::read(&edition_tree)?);
    progress.step("reading the source");
    let source_input = Input::open(&args.source)?;
    let source_tree = ManuallyDrop::new(Tree::parse(&source_input)?);
    let source = (source_input.file.clone(), musicxml::read(&source_tree)?);
    audit_of(args, decisions, [edition, source], Some([&edition_tree, &source_tree]), progress)
}

/// A score as it was read, and the name of its file.
type Named = (String, musicxml::Reading);

fn audit_of(
    args: &Args,
    decisions: Option<&Output>,
    [(edition_file, edition), (source_file, source)]: [Named; 2],
    trees: Option<[&Tree; 2]>,
    progress: &Progress,
) -> Result<(Audit, Option<String>), Failure> {
    let table = input::instruments(args.instruments.as_deref())?;
    let given = args.instrument.as_deref().map(|n| table.find(n)).transpose()?;
    let warnings = warnings_of_both(&edition, &source);
    let (mut edition, mut source) = (ManuallyDrop::new(edition.score), ManuallyDrop::new(source.score));
    let choice = args.lines.choice([(&mut edition, &args.edition), (&mut source, &args.source)])?;
    let pairing = collate::pair_parts(&mut edition, &mut source, choice);
    progress.step("laying them side by side");
    // As clean lays the two beside each other, and as staves stand.
    let whole_bars =
        (decisions.is_some() || trees.is_some()).then(|| collate::lay(&edition, &source, pairing.clone(), true));
    if let Some((output, whole_bars)) = decisions.zip(whole_bars.as_ref()) {
        let found = findings::find(&edition, &source, whole_bars);
        let file = clean::decisions_file(&edition, whole_bars, &found, &Policy::default());
        output.write(Content::Bytes(file.as_bytes()))?;
    }
    let collation = ManuallyDrop::new(collate::lay(&edition, &source, pairing, false));
    let findings = ManuallyDrop::new(findings::find(&edition, &source, &collation));
    progress.step("writing the report");
    let instruments: Vec<_> = collation
        .parts
        .iter()
        .map(|pair| match given {
            Some(instrument) => Some((instrument, false)),
            None => {
                let name = &edition.parts[pair.edition].name;
                table.guess(name).map(|i| (i, true))
            }
        })
        .collect();
    // Only who names an instrument asks for fingers.
    let chart = given.map(|_| Chart::recorder());
    let bars = args.bars.clone().map(Bars);
    let material = Material {
        edition: &edition,
        source: &source,
        edition_file: &edition_file,
        source_file: &source_file,
        collation: &collation,
        findings: &findings,
        instruments: &instruments,
        bars: bars.as_ref(),
        asked: args.octave.reading(),
        hands: chart.as_ref().map(|chart| Hands { chart, tempo: Tempo::of(&edition, args.tempo) }),
        warnings,
    };
    let wanted = (args.format == Form::Html).then(|| material.clone());
    let audit = report::audit(material)?;
    let page = wanted.map(|material| {
        let drawn = trees.zip(whole_bars.as_ref()).map(|([edition_tree, source_tree], whole)| {
            progress.step("drawing the staves");
            let sides = Sides {
                edition_tree,
                edition: &edition,
                source_tree,
                source: &source,
                collation: &collation,
                findings: &findings,
            };
            let one = |(place, part): (usize, &PartReport)| staves(sides, place, whole, &part.looked_at());
            audit.parts.iter().enumerate().map(one).collect::<Vec<_>>()
        });
        for fault in drawn.iter().flatten().filter_map(|drawn| drawn.as_ref().err()) {
            progress.aside(|| super::warn(fault));
        }
        report::audit_html(&material, &audit, drawn.as_deref().unwrap_or_default())
    });
    Ok((audit, page))
}

/// Both sides as one score. They are read for it alone: an audit lets its texts go.
fn write_side_by_side(args: &Args, output: &Output) -> Result<(), Failure> {
    if [&args.edition, &args.source].iter().any(|file| file.as_os_str() == "-") {
        return Err(Failure::wrong_use("--side-by-side reads both scores twice; give files, not standard input"));
    }
    let inputs = (Input::open(&args.edition)?, Input::open(&args.source)?);
    let trees = (Tree::parse(&inputs.0)?, Tree::parse(&inputs.1)?);
    let mut edition = musicxml::read(&trees.0)?.score;
    let mut source = musicxml::read(&trees.1)?.score;
    let choice = args.lines.choice([(&mut edition, &args.edition), (&mut source, &args.source)])?;
    let pairing = collate::pair_parts(&mut edition, &mut source, choice);
    let collation = collate::lay(&edition, &source, pairing, true);
    let findings = findings::find(&edition, &source, &collation);
    let made = side_by_side(Sides {
        edition_tree: &trees.0,
        edition: &edition,
        source_tree: &trees.1,
        source: &source,
        collation: &collation,
        findings: &findings,
    });
    if made.parts == 0 {
        let reason = match made.left_out.first() {
            Some(name) => format!("the source has the music of {name} {ELSEWHERE}"),
            None => "no part of the edition has its music in the source".into(),
        };
        return Err(Failure::wrong_use(format!("nothing can be laid side by side: {reason}")));
    }
    output.write(Content::Bytes(made.text.as_bytes()))?;
    for name in &made.left_out {
        let note = format!("the source has the music of {name} {ELSEWHERE}; it is not in the score side by side");
        super::warn(&note);
    }
    Ok(())
}

const ELSEWHERE: &str = "on one staff of several, or in several parts";

/// Columns for text: as many as COLUMNS says, within what reads well.
pub fn width() -> usize {
    std::env::var("COLUMNS").ok().and_then(|c| c.trim().parse::<usize>().ok()).map_or(80, |c| c.clamp(60, 100))
}
