//! The lines of a score that the user names: a part, a staff of it, a voice.

use super::failure::Failure;
use super::input;
use obelus::collate::{Choice, draw_line};
use obelus::score::{Line, Score};
use std::path::Path;

/// One line of a score.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct OneLine {
    /// Look only at this part: its id, name or number
    #[arg(long, value_name = "P")]
    pub part: Option<String>,
    /// Look only at this staff of the part, counted from the top
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..100))]
    pub staff: Option<u32>,
    /// Look only at this voice of the part, by its number in the file
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..1000))]
    pub voice: Option<u32>,
}

impl OneLine {
    pub fn is_named(&self) -> bool {
        self.part.is_some() || self.staff.is_some() || self.voice.is_some()
    }

    /// The place of the line in the score, into which it is drawn where no part prints it; `None` where nothing was
    /// named.
    ///
    /// # Errors
    /// Wrong use, where the score has no such line, or several parts may be meant.
    pub fn find(&self, score: &mut Score, file: &str) -> Result<Option<usize>, Failure> {
        let sides = Names { part: "--part", staff: "--staff", voice: "--voice" };
        find(score, file, (self.part.as_deref(), self.staff, self.voice), &sides)
    }
}

/// A line of the edition, and one of the source.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct LinesOfBoth {
    #[command(flatten)]
    pub edition: OneLine,
    /// Compare with this part of the source: its id, name or number
    #[arg(long, value_name = "P")]
    pub source_part: Option<String>,
    /// Compare with this staff of the source's part
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..100))]
    pub source_staff: Option<u32>,
    /// Compare with this voice of the source's part, by its number in the file
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..1000))]
    pub source_voice: Option<u32>,
}

impl LinesOfBoth {
    /// What the user named on both sides, with the files of these.
    ///
    /// # Errors
    /// As `OneLine::find`.
    pub fn choice(&self, [edition, source]: [(&mut Score, &Path); 2]) -> Result<Choice, Failure> {
        let names = Names { part: "--source-part", staff: "--source-staff", voice: "--source-voice" };
        let of_source = (self.source_part.as_deref(), self.source_staff, self.source_voice);
        Ok(Choice {
            edition: self.edition.find(edition.0, &edition.1.display().to_string())?,
            source: find(source.0, &source.1.display().to_string(), of_source, &names)?,
        })
    }
}

/// What the options of a side are called.
struct Names {
    part: &'static str,
    staff: &'static str,
    voice: &'static str,
}

fn find(
    score: &mut Score,
    file: &str,
    (part, staff, voice): (Option<&str>, Option<u32>, Option<u32>),
    names: &Names,
) -> Result<Option<usize>, Failure> {
    let line = Line { staff, voice };
    let option = if staff.is_some() { names.staff } else { names.voice };
    let place = match part {
        Some(part) => input::part(score, file, part)?,
        None if line.is_whole() => return Ok(None),
        None if score.printed().len() == 1 => 0,
        None => {
            let why = format!("{file} has several parts; name the one that {option} counts in with {}", names.part);
            return Err(Failure::wrong_use(why));
        }
    };
    let own = &score.parts[place];
    if line.is_whole() || staff == Some(1) && voice.is_none() && own.staves <= 1 {
        return Ok(Some(place));
    }
    let staff = staff.filter(|_| own.staves > 1 || staff != Some(1));
    let line = Line { staff, ..line };
    if !own.notes.iter().any(|n| line.holds(own, n)) {
        let mut voices = own.voices.clone();
        voices.sort_unstable();
        let voices: Vec<String> = voices.iter().map(u32::to_string).collect();
        let noun = if voices.len() == 1 { "voice" } else { "voices" };
        return Err(Failure::wrong_use(format!(
            "{file}: {} has no notes in {}; it has {} and the {noun} {}",
            own.spoken(),
            obelus::score::spoken("that line", "", line),
            counted(own.staves, "staff", "staves"),
            voices.join(", ")
        )));
    }
    Ok(Some(draw_line(score, place, line)))
}

fn counted(n: u32, one: &str, several: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {several}") }
}
