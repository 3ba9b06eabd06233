//! Scores, their parts, and tables of instruments, as the user names them.

use super::failure::Failure;
use crate::InstrumentWishes;
use crate::at_once;
use crate::clean::Origin;
use crate::instrument::{Instruments, ReadAs};
use crate::musicxml::{self, Input};
use crate::side_file;
use std::path::{Path, PathBuf};

/// Reads a file of text, such as a mark sheet; gives its bytes' checksum too.
pub fn text(path: &Path) -> Result<(String, Origin), Failure> {
    let (file, bytes) = Input::bytes_of(path)?;
    let origin = Origin::new(path, &bytes);
    Ok((utf8(&file, bytes)?, origin))
}

/// The text of a file of text. `file` is the name that messages use.
pub fn utf8(file: &str, bytes: Vec<u8>) -> Result<String, Failure> {
    side_file::measure(&bytes).map_err(|reason| Failure::unreadable(format!("{file}: {reason}")))?;
    String::from_utf8(bytes).map_err(|_| Failure::unreadable(format!("{file}: the text is not UTF-8")))
}

/// A score's file with the checksum of its bytes.
pub fn open(path: &Path) -> Result<(Input, Origin), Failure> {
    let (name, bytes) = Input::bytes_of(path)?;
    let origin = Origin::new(path, &bytes);
    Ok((Input::from_bytes(&name, bytes)?, origin))
}

/// Where instruments are looked up, and in which octave the user says that a part is to be read for them.
#[derive(Debug, Clone, clap::Args)]
pub struct ReadFor {
    /// A table of your own instruments (.toml), added to the standard one
    #[arg(long, value_name = "FILE")]
    instruments: Option<PathBuf>,
    /// Read the notes as written for the instrument, whatever clef and transposition say
    #[arg(long, conflicts_with = "sounding")]
    written: bool,
    /// Read the notes as sounding pitches, even if the instrument transposes
    #[arg(long)]
    sounding: bool,
}

impl ReadFor {
    /// The user's own table.
    pub fn file(&self) -> Option<&Path> {
        self.instruments.as_deref()
    }

    /// The standard instruments, with the user's own table if there is one.
    pub fn table(&self) -> Result<Instruments, Failure> {
        Ok(match self.file() {
            Some(file) => Instruments::with_file(file)?,
            None => Instruments::standard(),
        })
    }

    /// What is asked of an instrument, by name, at a tempo in quarter notes per minute.
    pub fn wishes(&self, names: &[String], tempo: Option<f64>) -> Result<InstrumentWishes, Failure> {
        Ok(InstrumentWishes { instruments: self.table()?, names: names.to_vec(), octave: self.octave(), tempo })
    }

    pub fn octave(&self) -> Option<ReadAs> {
        match (self.written, self.sounding) {
            (true, _) => Some(ReadAs::Written),
            (_, true) => Some(ReadAs::Sounding),
            _ => None,
        }
    }
}

/// Quarter notes per minute.
pub fn tempo(text: &str) -> Result<f64, String> {
    let told = text.trim().parse().ok().filter(|t: &f64| (4.0..=1000.0).contains(t));
    told.ok_or_else(|| "a tempo is a number of quarter notes per minute from 4 to 1000, such as 72".into())
}

/// Bytes of a text that is not read at the same time as another: memory counts more there than time.
const LARGE: u64 = 2_500_000;
/// So many times as large a compressed score may be when it is unpacked, as a rule.
const PACKED: u64 = 20;

/// Does two things that each read a file, at the same time where there are cores and memory for both. What goes wrong
/// with the first is told first.
pub fn both<A: Send, B: Send>(
    files: [&Path; 2],
    first: impl FnOnce() -> Result<A, musicxml::Error> + Send,
    second: impl FnOnce() -> Result<B, musicxml::Error> + Send,
) -> Result<(A, B), musicxml::Error> {
    let is_large = |file: &Path| {
        let times = if file.extension().is_some_and(|e| e.eq_ignore_ascii_case("mxl")) { PACKED } else { 1 };
        std::fs::metadata(file).is_ok_and(|about| about.len() > LARGE / times)
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    if cores < 2 || files.iter().any(|file| is_large(file)) {
        return Ok((first()?, second()?));
    }
    let (first, second) = at_once::both(first, second);
    Ok((first?, second?))
}
