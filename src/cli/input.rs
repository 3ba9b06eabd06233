//! Scores, their parts, and tables of instruments, as the user names them.

use super::failure::Failure;
use obelus::clean::Origin;
use obelus::instrument::{Instrument, Instruments, Reading};
use obelus::musicxml::{self, Input, Tree};
use obelus::score::Score;
use std::path::Path;

/// Bytes of a text whose tree may stay until the program ends.
const SMALL: usize = 2 << 20;

/// Reads a score, and gives the name to show with it; `-` is standard input.
/// Its text and its tree, the largest things of all, are let go at once; only a
/// small tree stays, for to take it apart node by node costs more than its room.
pub fn load(path: &Path) -> Result<(String, musicxml::Reading), Failure> {
    let input = Input::open(path)?;
    let tree = Tree::parse(&input)?;
    let reading = musicxml::read(&tree)?;
    if input.text.len() <= SMALL {
        std::mem::forget(tree);
    }
    Ok((input.file, reading))
}

/// Reads a file of text, such as a mark sheet; gives its bytes' checksum too.
pub fn text(path: &Path) -> Result<(String, Origin), Failure> {
    let file = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| musicxml::Error::io(&file, &e))?;
    let origin = Origin::new(path, &bytes);
    let text = String::from_utf8(bytes).map_err(|_| Failure::unreadable(format!("{file}: the text is not UTF-8")))?;
    Ok((text, origin))
}

/// A score's file with the checksum of its bytes.
pub fn open(path: &Path) -> Result<(Input, Origin), Failure> {
    let (name, bytes) = Input::bytes_of(path)?;
    let origin = Origin::new(path, &bytes);
    Ok((Input::from_bytes(&name, bytes)?, origin))
}

/// Standard input can be read once only.
pub fn refuse_twice_stdin(paths: &[&Path]) -> Result<(), Failure> {
    let dashes = paths.iter().filter(|p| p.as_os_str() == "-").count();
    if dashes > 1 {
        return Err(Failure::wrong_use("only one file can be read from standard input; name the other"));
    }
    Ok(())
}

/// A part by its place, and the instruments that it is looked at for, each with whether its name tells it.
pub type OnInstruments<'t> = (usize, Vec<(&'t Instrument, bool)>);

/// The parts that the user means, all or one, with the instruments that they named, or the one that the part's name
/// tells.
pub fn on_instruments<'t>(
    score: &Score,
    wanted: Option<usize>,
    given: &[&'t Instrument],
    table: &'t Instruments,
) -> Vec<OnInstruments<'t>> {
    let on = |p: usize| match given {
        [] => (p, table.guess(&score.parts[p].name).map(|i| (i, true)).into_iter().collect()),
        given => (p, given.iter().map(|i| (*i, false)).collect()),
    };
    let all = if wanted.is_some() { score.parts.len() } else { score.printed().len() };
    (0..all).filter(|p| wanted.is_none_or(|w| w == *p)).map(on).collect()
}

/// The standard instruments, with the user's own table if there is one.
pub fn instruments(file: Option<&Path>) -> Result<Instruments, Failure> {
    Ok(match file {
        Some(file) => Instruments::with_file(file)?,
        None => Instruments::standard(),
    })
}

/// In which octave the user says that a part is to be read.
#[derive(Debug, Clone, Copy, clap::Args)]
pub struct Octave {
    /// Read the notes as written for the instrument, whatever clef and transposition say
    #[arg(long, conflicts_with = "sounding")]
    written: bool,
    /// Read the notes as sounding pitches, even if the instrument transposes
    #[arg(long)]
    sounding: bool,
}

impl Octave {
    pub fn reading(self) -> Option<Reading> {
        match (self.written, self.sounding) {
            (true, _) => Some(Reading::Written),
            (_, true) => Some(Reading::Sounding),
            _ => None,
        }
    }
}

/// Quarter notes per minute.
pub fn tempo(text: &str) -> Result<f64, String> {
    let told = text.trim().parse().ok().filter(|t: &f64| (4.0..=1000.0).contains(t));
    told.ok_or_else(|| "a tempo is a number of quarter notes per minute from 4 to 1000, such as 72".into())
}
