//! `obelus audit`: what the editor did, bar by bar.

use super::failure::Failure;
use super::files::Files;
use super::input::{self, ReadFor};
use super::lines::LinesOfBoth;
use super::output::{Content, suits, write_all};
use super::progress::Progress;
use crate::beside::{SideBySide, Staves};
use crate::engrave;
use crate::musicxml::Tree;
use crate::report::Bars;
use crate::{Audit, AuditWishes, Comparison, Input, ReadScore};
use clap::ValueEnum;
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
    /// Check every compared part against this instrument's range [default: guessed from the part's name]
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    #[command(flatten)]
    read_for: ReadFor,
    /// Quarter notes per minute, for the hardest stretches [default: the score's first metronome mark, else 72 beats]
    #[arg(long, value_name = "N", value_parser = input::tempo, requires = "instrument")]
    tempo: Option<f64>,
    /// Only these bars of the edition, by their printed numbers
    #[arg(long, value_name = "A-B")]
    bars: Option<String>,
    /// The form of the report
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Write to this file [default: standard output]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Also write a decision for each finding to this file, for clean to follow (.toml)
    #[arg(long, value_name = "FILE")]
    decisions: Option<PathBuf>,
    /// Also write source and edition to this file as one score, bar by bar in the edition's key,
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
        let form = match self {
            Format::Text => Form::Text,
            Format::Json => Form::Json,
            Format::Csv => Form::Csv,
        };
        form.suits("a report", file)
    }
}

/// The form of a report that can be a page, too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Form {
    Text,
    Json,
    Csv,
    /// A page for the browser, complete in one file
    Html,
}

impl Form {
    /// Refuses a file whose name plainly says another form, and a page on the terminal. `what` is written: a report.
    pub fn suits(self, what: &str, file: Option<&Path>) -> Result<(), Failure> {
        match self {
            Form::Text => suits(file, &format!("{what} as text"), &["txt"]),
            Form::Json => suits(file, &format!("{what} as JSON"), &["json"]),
            Form::Csv => suits(file, &format!("{what} as CSV"), &["csv"]),
            Form::Html if file.is_none() && std::io::stdout().is_terminal() => Err(Failure::wrong_use(
                "a page is for the browser, not the terminal; write it to a file with -o page.html",
            )),
            Form::Html => suits(file, "a page", &["html", "htm"]),
        }
    }
}

pub fn run(args: &Args) -> Result<u8, Failure> {
    let scores = [args.edition.as_path(), args.source.as_path()];
    let inputs: Vec<&Path> = scores.into_iter().chain(args.read_for.file()).collect();
    let mut files = Files::new(&inputs)?;
    let output = files.output(args.output.as_deref())?;
    args.format.suits("a report", args.output.as_deref())?;
    suits(args.decisions.as_deref(), "a file of decisions", &["toml"])?;
    // It is never packed.
    suits(args.side_by_side.as_deref(), "an uncompressed score", &["musicxml", "xml"])?;
    let mut also = |file: &Option<PathBuf>| file.as_deref().map(|file| files.output(Some(file))).transpose();
    let (decisions, side_by_side) = (also(&args.decisions)?, also(&args.side_by_side)?);
    let draws = args.format == Form::Html && engrave::IS_BUILT_IN;
    let mut progress = Progress::new(3 + u64::from(args.format == Form::Html));
    let wishes = wishes(args)?;
    progress.step("reading the edition and the source");
    // Staves are drawn from the texts, and what is laid side by side is made of them; else they can go.
    let mut made = Made::default();
    let (audit, report) = if draws || side_by_side.is_some() {
        let inputs = input::both(scores, || Input::open(&args.edition), || Input::open(&args.source))?;
        let both = input::both(scores, || ReadScore::of(&inputs.0), || ReadScore::of(&inputs.1))?;
        let comparison = ManuallyDrop::new(compare(args, both, &progress)?);
        let staves = |audit: &Audit| if draws { drawn(&comparison, audit, &progress) } else { Vec::new() };
        let done = report(args, &comparison, &wishes, &mut made, &progress, staves)?;
        if side_by_side.is_some() {
            made.side_by_side = Some(both_sides(&comparison)?);
        }
        done
    } else {
        let last = || ReadScore::music_and(&Input::open(&args.source)?, |read| read.with_its_text_unused());
        let both = input::both(scores, || ReadScore::open(&args.edition), last)?;
        let comparison = ManuallyDrop::new(compare(args, both, &progress)?);
        report(args, &comparison, &wishes, &mut made, &progress, |_| Vec::new())?
    };
    progress.finish();
    let report = match args.format {
        Form::Text => Content::Text(&report),
        Form::Json => Content::Data(&report),
        _ => Content::Bytes(report.as_bytes()),
    };
    let mut results = vec![(&output, report)];
    results.extend(decisions.iter().zip(made.decisions.as_deref()).map(|(o, text)| (o, Content::Data(text))));
    let both = made.side_by_side.as_ref();
    results.extend(side_by_side.iter().zip(both).map(|(o, made)| (o, Content::Bytes(made.text.as_bytes()))));
    write_all(&results)?;
    for name in both.iter().flat_map(|made| &made.left_out) {
        let note = format!("the source has the music of {name} {ELSEWHERE}; it is not in the score side by side");
        super::warn(&note);
    }
    let status = u8::from(args.strict && audit.found_something());
    // Nothing comes after this: to take it apart piece by piece would be for nothing.
    std::mem::forget(audit);
    Ok(status)
}

fn wishes(args: &Args) -> Result<AuditWishes, Failure> {
    Ok(AuditWishes {
        range: args.read_for.wishes(args.instrument.as_slice(), args.tempo)?,
        bars: args.bars.clone().map(Bars),
    })
}

fn compare<T>(
    args: &Args,
    (edition, source): (ReadScore<T>, ReadScore<T>),
    progress: &Progress,
) -> Result<Comparison<T>, Failure> {
    progress.step("comparing them");
    Ok(Comparison::new(edition, source, &args.lines.names())?)
}

/// What is made besides the report.
#[derive(Default)]
struct Made {
    decisions: Option<String>,
    side_by_side: Option<SideBySide>,
}

/// The audit, and the report in the form that is wanted; also makes the decisions, if they are.
fn report<T>(
    args: &Args,
    comparison: &Comparison<T>,
    wishes: &AuditWishes,
    made: &mut Made,
    progress: &Progress,
    staves: impl FnOnce(&Audit) -> Vec<Result<Staves, String>>,
) -> Result<(Audit, String), Failure> {
    made.decisions = args.decisions.as_ref().map(|_| comparison.decisions());
    let audit = comparison.audit(wishes)?;
    progress.step("writing the report");
    let report = match args.format {
        Form::Text => audit.text(width()),
        Form::Json => audit.json(),
        Form::Csv => audit.csv(),
        Form::Html => comparison.page(wishes, &audit, &staves(&audit))?,
    };
    Ok((audit, report))
}

fn drawn(comparison: &Comparison<Tree>, audit: &Audit, progress: &Progress) -> Vec<Result<Staves, String>> {
    progress.step("drawing the staves");
    let drawn = comparison.staves(audit);
    for fault in drawn.iter().filter_map(|drawn| drawn.as_ref().err()) {
        progress.aside(|| super::warn(fault));
    }
    drawn
}

/// Both sides as one score.
fn both_sides(comparison: &Comparison<Tree>) -> Result<SideBySide, Failure> {
    let made = comparison.side_by_side();
    if made.parts == 0 {
        let reason = match made.left_out.first() {
            Some(name) => format!("the source has the music of {name} {ELSEWHERE}"),
            None => "no part of the edition matches a part of the source".into(),
        };
        return Err(Failure::wrong_use(format!("there is nothing to put side by side: {reason}")));
    }
    Ok(made)
}

const ELSEWHERE: &str = "on one staff of several, or in several parts";

/// Columns for text: as many as COLUMNS says, within what reads well.
pub fn width() -> usize {
    std::env::var("COLUMNS").ok().and_then(|c| c.trim().parse::<usize>().ok()).map_or(80, |c| c.clamp(60, 100))
}
