//! `obelus marks`: a teacher's own marks, lifted out of a marked copy.

use super::failure::Failure;
use super::files::Files;
use super::output::{Content, suits};
use crate::ReadScore;
use std::io::Write;
use std::path::PathBuf;

/// Extract your own marks from a marked copy into a mark sheet
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The copy with your marks, MusicXML; - reads standard input
    mine: PathBuf,
    /// The score it was made from, without your marks; - reads standard input
    base: PathBuf,
    /// Write the mark sheet to this file [default: standard output]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  obelus marks my-copy.musicxml clean.musicxml -o my-marks.toml
  obelus clean edition.mxl source.mxl -o part.mxl --mine my-marks.toml";

pub fn run(args: &Args) -> Result<u8, Failure> {
    let inputs = [args.mine.as_path(), args.base.as_path()];
    let output = Files::new(&inputs)?.output(args.output.as_deref())?;
    suits(args.output.as_deref(), "a mark sheet", &["toml"])?;
    let (mine, base) = (ReadScore::open(&args.mine)?, ReadScore::open(&args.base)?);
    let Some(lifted) = mine.own_marks(&base) else {
        return Err(Failure::wrong_use(format!(
            "{}: no part matches a part of {}; give the score that it was made from",
            args.mine.display(),
            args.base.display()
        )));
    };
    output.write(Content::Data(&lifted.sheet.to_toml()))?;
    for warning in [mine.warnings(), base.warnings(), &lifted.warnings].concat() {
        super::warn(&warning);
    }
    if output.is_file() {
        let count = lifted.sheet.marks.len();
        let noun = if count == 1 { "mark" } else { "marks" };
        let _ = writeln!(anstream::stderr(), "{count} {noun} extracted");
    }
    Ok(0)
}
