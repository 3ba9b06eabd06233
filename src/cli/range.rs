//! `obelus range`: the notes that leave an instrument's range.

use super::audit::{Format, width};
use super::failure::Failure;
use super::files::Files;
use super::input::{self, ReadFor};
use super::lines::OneLine;
use super::output::{Content, suits, write_all};
use crate::ReadScore;
use crate::report;
use std::path::PathBuf;

/// The notes that leave an instrument's range
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The score, MusicXML; - reads standard input
    #[arg(required_unless_present = "list")]
    score: Option<PathBuf>,
    #[command(flatten)]
    line: OneLine,
    /// Check the parts against this instrument [default: guessed from the part's name]
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    #[command(flatten)]
    read_for: ReadFor,
    /// Quarter notes per minute, for the hardest stretches [default: the score's first metronome mark, else 72 beats]
    #[arg(long, value_name = "N", value_parser = input::tempo)]
    tempo: Option<f64>,
    /// Print the table of instruments
    #[arg(long, conflicts_with_all = ["score", "part", "instrument", "format", "stretches"])]
    list: bool,
    /// The form of the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Also write the hardest stretches to this table (.csv)
    #[arg(long, value_name = "FILE")]
    stretches: Option<PathBuf>,
    /// Write to this file [default: standard output]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  obelus range --list
  obelus range sonata.mxl --part Flute --instrument \"alto recorder\"
  obelus range sonata.mxl --instrument \"alto recorder\" --format csv -o outside.csv --stretches hardest.csv
  obelus range part.musicxml --instruments mine.toml --instrument \"my flute\"

A table of your own has one entry per instrument:
  [[instrument]]
  name = \"my flute\"
  aliases = [\"third flute\"]
  written = [\"D4\", \"A6\"]
  sounding = [\"F4\", \"C7\"]     # left out when it sounds as written

docs/keys.md has all keys of an entry.";

pub fn run(args: &Args) -> Result<u8, Failure> {
    let inputs: Vec<_> = [args.score.as_deref(), args.read_for.file()].into_iter().flatten().collect();
    let mut files = Files::new(&inputs)?;
    let output = files.output(args.output.as_deref())?;
    args.format.suits(args.output.as_deref())?;
    let stretches = args.stretches.as_deref().map(|file| files.output(Some(file))).transpose()?;
    suits(args.stretches.as_deref(), "a table of the hardest stretches", &["csv"])?;
    let wishes = args.read_for.wishes(args.instrument.as_slice(), args.tempo)?;
    let Some(path) = args.score.as_deref() else {
        output.write(Content::Text(&report::instruments_text(&wishes.instruments)))?;
        return Ok(0);
    };
    let report = ReadScore::open(path)?.range(&args.line.name(), &wishes)?;
    let text;
    let told = match args.format {
        Format::Text => {
            text = report.text(width());
            Content::Text(&text)
        }
        Format::Json => {
            text = report.json();
            Content::Data(&text)
        }
        Format::Csv => {
            text = report.csv();
            Content::Bytes(text.as_bytes())
        }
    };
    let table = report.stretches_csv();
    let table = stretches.iter().map(|output| (output, Content::Bytes(table.as_bytes())));
    write_all(&std::iter::once((&output, told)).chain(table).collect::<Vec<_>>())?;
    Ok(0)
}
