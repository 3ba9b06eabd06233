//! `obelus exercises`: what students take home.

use super::audit::width;
use super::failure::Failure;
use super::files::Files;
use super::input::{self, ReadFor};
use super::lines::OneLine;
use super::output::{Content, Told, suits, write_all};
use super::pdf::{PageOptions, PdfFile, Shown};
use super::progress::Progress;
use crate::musicxml;
use crate::musicxml::beside::Brackets;
use crate::report::Bars;
use crate::suggest::did_you_mean;
use crate::{ExerciseWishes, Form, Input, PracticeSheet, ReadScore, Rhythm};
use std::path::{Path, PathBuf};
use strum::IntoEnumIterator;

/// A practice sheet: the hardest stretches of a part, with exercises
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The score, MusicXML; - reads standard input
    score: PathBuf,
    /// Write the sheet to this file (.musicxml)
    #[arg(short, long, value_name = "FILE", required_unless_present = "pdf")]
    output: Option<PathBuf>,
    #[command(flatten)]
    line: OneLine,
    /// Write it for this instrument [default: guessed from the part's name]
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    #[command(flatten)]
    read_for: ReadFor,
    /// Practise these bars instead of the hardest stretches
    #[arg(long, value_name = "A-B", conflicts_with = "most")]
    bars: Option<String>,
    /// So many stretches at most
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=20))]
    most: u32,
    /// Quarter notes per minute of the piece [default: the score's first metronome mark, else 72]
    #[arg(long, value_name = "N", value_parser = input::tempo)]
    tempo: Option<f64>,
    /// Only these exercises, in this order: change, beats, adding, backwards, rhythms, wider, whole
    #[arg(long, value_name = "NAME,…", value_delimiter = ',', value_parser = form)]
    form: Vec<Form>,
    /// Rhythms of your own for the changed rhythms (.toml)
    #[arg(long, value_name = "FILE")]
    rhythms: Option<PathBuf>,
    /// Also print the sheet to this file (.pdf)
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    #[command(flatten)]
    pages: PageOptions,
    /// The form of the summary
    #[arg(long, value_name = "FORM", value_enum, default_value_t = Told::Text)]
    format: Told,
}

const EXAMPLES: &str = "\
Examples:
  obelus exercises part.musicxml -o practice.musicxml
  obelus exercises part.musicxml --pdf practice.pdf --most 3
  obelus exercises sonata.mxl --part Oboe --bars 13-14 -o practice.musicxml
  obelus exercises part.musicxml --form change,rhythms --rhythms mine.toml --pdf practice.pdf

A table of your own rhythms has one entry for each:
  [[rhythm]]
  name = \"limping\"
  lengths = [1, 3]     # against each other
  beats = 1            # which they take together; 1 when left out

docs/exercises.md says what the exercises are.";

fn form(name: &str) -> Result<Form, String> {
    name.trim().parse().map_err(|_| {
        let all: Vec<&str> = Form::iter().map(Form::name).collect();
        let asked = did_you_mean(name, all.iter().map(|name| (*name, vec![*name])), str::to_lowercase);
        let asked = asked.map_or(String::new(), |asked| format!("{asked} "));
        format!("{asked}the exercises are {}", all.join(", "))
    })
}

pub fn run(args: &Args) -> Result<u8, Failure> {
    let named = [Some(args.score.as_path()), args.read_for.file(), args.rhythms.as_deref()];
    let inputs: Vec<&Path> = named.into_iter().flatten().collect();
    let mut files = Files::new(&inputs)?;
    suits(args.output.as_deref(), "an uncompressed score", &["musicxml", "xml"])?;
    let output = args.output.as_deref().map(|file| files.output(Some(file))).transpose()?;
    let pdf = args.pdf.as_deref().map(|file| PdfFile::new(file, &args.pages, &mut files)).transpose()?;
    let wishes = args.read_for.wishes(args.instrument.as_slice(), args.tempo)?;
    let own = ExerciseWishes {
        most: args.most as usize,
        forms: if args.form.is_empty() { Form::iter().collect() } else { args.form.clone() },
        rhythms: args.rhythms.as_deref().map(rhythms).transpose()?,
        bars: args.bars.clone().map(Bars),
    };
    let mut progress = Progress::new(2 + u64::from(pdf.is_some()));
    progress.step("reading the score");
    let input = Input::open(&args.score)?;
    let mut score = ReadScore::of(&input)?;
    progress.step("making the sheet");
    let practice = score.exercises(&args.line.name(), &wishes, &own)?;
    let report = &practice.report;
    if !report.stretches.is_empty() {
        let text = practice.musicxml();
        let mut results = Vec::new();
        results.extend(output.iter().map(|output| (output, Content::Bytes(text.as_bytes()))));
        let pages = pdf.as_ref().map(|pdf| {
            progress.step("engraving");
            pages(pdf, &practice)
        });
        let pages = pages.transpose()?;
        results.extend(pdf.iter().zip(&pages).map(|(pdf, pages)| (&pdf.output, Content::Bytes(pages))));
        progress.finish();
        write_all(&results)?;
    }
    let file = args.output.as_ref().or(args.pdf.as_ref()).map_or(String::new(), |file| file.display().to_string());
    let told = match args.format {
        Told::Text => report.text(&file, width()),
        Told::Json => report.json(),
    };
    args.format.say(&told, files.use_stdout()).map(|()| 0)
}

fn rhythms(file: &Path) -> Result<Vec<Rhythm>, Failure> {
    let (text, _) = input::text(file)?;
    Rhythm::table(&text).map_err(|fault| Failure::unreadable(format!("{}: {fault}", file.display())))
}

/// The sheet as pages.
fn pages(pdf: &PdfFile, practice: &PracticeSheet) -> Result<Vec<u8>, Failure> {
    let input = Input::from_bytes("the practice sheet", practice.for_engraving().into_bytes())?;
    let sheet = ReadScore::of(&input)?;
    let heading = musicxml::heading(sheet.tree());
    let shown =
        Shown { part: Some(0), brackets: Brackets::LeftOut, heading, foot: practice.report.key(), most_pages: Some(2) };
    pdf.pages(sheet.tree(), sheet.score(), shown, "")
}
