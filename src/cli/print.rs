//! `obelus print`: a score or one of its parts as pages.

use super::failure::Failure;
use super::files::Files;
use super::output::Content;
use super::pdf::{PageOptions, PdfFile, Shown};
use super::progress::Progress;
use crate::clean;
use crate::musicxml::{self, Tree};
use crate::{Input, LineName, ReadScore};
use std::path::PathBuf;

/// Print a score, or one part of it, as pages (PDF)
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The score, MusicXML; - reads standard input
    score: PathBuf,
    /// Write the pages to this file (.pdf)
    #[arg(long, value_name = "FILE")]
    pdf: PathBuf,
    #[command(flatten)]
    line: PrintedLine,
    #[command(flatten)]
    pages: PageOptions,
}

/// What is printed of the score.
#[derive(Debug, Clone, clap::Args)]
struct PrintedLine {
    /// Print only this part: its id, name or number
    #[arg(long, value_name = "P")]
    part: Option<String>,
    /// Print only this staff of the part, counted from the top
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..100))]
    staff: Option<u32>,
    /// Print only this voice of the part, by its number in the file
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..1000))]
    voice: Option<u32>,
}

const EXAMPLES: &str = "\
Examples:
  obelus print sonata.mxl --pdf score.pdf
  obelus print sonata.mxl --part Oboe --pdf oboe.pdf --paper letter
  obelus print piano.mxl --staff 1 --pdf tune.pdf --title \"Minuet in G\"";

pub fn run(args: &Args) -> Result<u8, Failure> {
    let pdf = PdfFile::new(&args.pdf, &args.pages, &mut Files::new(&[&args.score])?)?;
    let mut progress = Progress::new(2);
    progress.step("reading the score");
    let input = Input::open(&args.score)?;
    let mut score = ReadScore::of(&input)?;
    let PrintedLine { part, staff, voice } = args.line.clone();
    let line = LineName { part, staff, voice };
    let whole = LineName { staff: None, voice: None, ..line.clone() };
    let (alone, part) = match whole == line {
        true => (None, score.find(&whole)?),
        false => (Some(score.extract(&line)?), None),
    };
    let score = match &alone {
        Some(alone) => alone.read()?,
        None => score,
    };
    progress.step("engraving");
    let pages = pdf.pages(score.tree(), score.score(), shown(score.tree(), part), "")?;
    progress.finish();
    pdf.output.write(Content::Bytes(&pages))?;
    score.warnings().iter().for_each(|warning| super::warn(warning));
    Ok(0)
}

fn shown(tree: &Tree, part: Option<usize>) -> Shown {
    Shown {
        part,
        brackets: clean::brackets(tree),
        heading: musicxml::heading(tree),
        foot: String::new(),
        most_pages: None,
    }
}
