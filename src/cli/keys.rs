//! `obelus keys`: which key lies best on an instrument.

use super::audit::{Format, width};
use super::failure::Failure;
use super::files::Files;
use super::input::{self, ReadFor};
use super::lines::OneLine;
use super::output::Content;
use crate::ReadScore;
use crate::report::OutOfReach;
use std::path::PathBuf;

/// Which key lies best on an instrument
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The score, MusicXML; - reads standard input
    score: PathBuf,
    #[command(flatten)]
    line: OneLine,
    /// Try this instrument; name it again to compare instruments [default: guessed from the part's name]
    #[arg(long = "instrument", value_name = "NAME")]
    names: Vec<String>,
    #[command(flatten)]
    read_for: ReadFor,
    /// Quarter notes per minute [default: the score's first metronome mark, else 72 beats]
    #[arg(long, value_name = "N", value_parser = input::tempo)]
    tempo: Option<f64>,
    /// The form of the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Write to this file [default: standard output]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  obelus keys sonata.mxl --part Oboe --instrument \"alto recorder\"
  obelus keys sonata.mxl --part 1 --instrument \"alto recorder\" --instrument \"voice flute\"
  obelus keys part.musicxml --instrument \"soprano recorder\" --tempo 96 --format csv -o keys.csv

Every transposition from an octave down to an octave up, the best first.
docs/keys.md says how difficulty is measured.";

pub fn run(args: &Args) -> Result<u8, Failure> {
    let mut inputs = vec![args.score.as_path()];
    inputs.extend(args.read_for.file());
    let output = Files::new(&inputs)?.output(args.output.as_deref())?;
    args.format.suits(args.output.as_deref())?;
    let wishes = args.read_for.wishes(&args.names, args.tempo)?;
    let report = ReadScore::open(&args.score)?.keys(&args.line.name(), &wishes)?;
    match args.format {
        Format::Text => {
            let out_of_reach = if args.line.is_named() { OutOfReach::Told } else { OutOfReach::LeftOut };
            output.write(Content::Text(&report.text(out_of_reach, width())))?;
        }
        Format::Json => output.write(Content::Data(&report.json()))?,
        Format::Csv => output.write(Content::Bytes(report.csv().as_bytes()))?,
    }
    Ok(0)
}
