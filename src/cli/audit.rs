//! `obelus audit`: what the editor did, bar by bar.

use super::failure::Failure;
use super::input::{self, ReadFor};
use super::lines::LinesOfBoth;
use super::output::{Content, Output, suits};
use super::progress::Progress;
use crate::beside::Staves;
use crate::engrave;
use crate::musicxml::Tree;
use crate::report::Bars;
use crate::{Audit, AuditWishes, Comparison, Input, InstrumentWishes, ReadScore};
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
    /// Quarter notes per minute, for the hardest stretches [default: the score's first metronome mark, else 72]
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
    input::refuse_twice_stdin(&scores)?;
    let mut inputs = scores.to_vec();
    inputs.extend(args.read_for.file());
    let output = Output::new(args.output.as_deref(), &inputs)?;
    args.format.suits("a report", args.output.as_deref())?;
    inputs.extend(args.output.as_deref());
    suits(args.decisions.as_deref(), "a file of decisions", &["toml"])?;
    // It is never packed.
    suits(args.side_by_side.as_deref(), "an uncompressed score", &["musicxml", "xml"])?;
    let decisions = args.decisions.as_deref().map(|file| Output::new(Some(file), &inputs)).transpose()?;
    inputs.extend(args.decisions.as_deref());
    let side_by_side = args.side_by_side.as_deref().map(|file| Output::new(Some(file), &inputs)).transpose()?;
    let draws = args.format == Form::Html && engrave::IS_BUILT_IN;
    let mut progress = Progress::new(3 + u64::from(args.format == Form::Html));
    let wishes = wishes(args)?;
    progress.step("reading the edition and the source");
    // Staves are drawn from the texts, and what is laid side by side is made of them; else they can go.
    let (audit, report) = if draws || side_by_side.is_some() {
        let inputs = input::both(scores, || Input::open(&args.edition), || Input::open(&args.source))?;
        let both = input::both(scores, || ReadScore::of(&inputs.0), || ReadScore::of(&inputs.1))?;
        let comparison = ManuallyDrop::new(compare(args, both, &progress)?);
        if let Some(output) = &side_by_side {
            write_side_by_side(&comparison, output)?;
        }
        let staves = |audit: &Audit| if draws { drawn(&comparison, audit, &progress) } else { Vec::new() };
        report(args, &comparison, &wishes, decisions.as_ref(), &progress, staves)?
    } else {
        let last = || Ok(ReadScore::of(&Input::open(&args.source)?)?.with_its_text_unused());
        let both = input::both(scores, || ReadScore::open(&args.edition), last)?;
        let comparison = ManuallyDrop::new(compare(args, both, &progress)?);
        report(args, &comparison, &wishes, decisions.as_ref(), &progress, |_| Vec::new())?
    };
    progress.finish();
    match args.format {
        Form::Text => output.write(Content::Text(&report))?,
        _ => output.write(Content::Bytes(report.as_bytes()))?,
    }
    let status = u8::from(args.strict && audit.found_something());
    // Nothing comes after this: to take it apart piece by piece would be for nothing.
    std::mem::forget(audit);
    Ok(status)
}

fn wishes(args: &Args) -> Result<AuditWishes, Failure> {
    Ok(AuditWishes {
        range: InstrumentWishes {
            instruments: args.read_for.table()?,
            names: args.instrument.iter().cloned().collect(),
            octave: args.read_for.octave(),
            tempo: args.tempo,
        },
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

/// The audit, and the report in the form that is wanted; also writes the file of decisions.
fn report<T>(
    args: &Args,
    comparison: &Comparison<T>,
    wishes: &AuditWishes,
    decisions: Option<&Output>,
    progress: &Progress,
    staves: impl FnOnce(&Audit) -> Vec<Result<Staves, String>>,
) -> Result<(Audit, String), Failure> {
    if let Some(output) = decisions {
        output.write(Content::Bytes(comparison.decisions().as_bytes()))?;
    }
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
fn write_side_by_side(comparison: &Comparison<Tree>, output: &Output) -> Result<(), Failure> {
    let made = comparison.side_by_side();
    if made.parts == 0 {
        let reason = match made.left_out.first() {
            Some(name) => format!("the source has the music of {name} {ELSEWHERE}"),
            None => "no part of the edition matches a part of the source".into(),
        };
        return Err(Failure::wrong_use(format!("there is nothing to put side by side: {reason}")));
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
