//! Lines of a score as a person names them: a part, a staff of it, a voice.

use super::derive_line;
use crate::readable::is_alike;
use crate::score::{Line, Part, Score, spoken};
use crate::suggest::did_you_mean;

/// One line of a score by name; nothing named means all of the score.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LineName {
    /// A part by its id, its name or its 1-based number.
    pub part: Option<String>,
    /// 1-based, from the top of the part.
    pub staff: Option<u32>,
    /// As the file numbers its voices.
    pub voice: Option<u32>,
}

/// The lines that are to be looked at, of both sides.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lines {
    /// Of the edition.
    pub edition: LineName,
    /// Of the source.
    pub source: LineName,
}

/// Why a name is no line of a score.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// Several parts have the name.
    #[error("{file}: several parts are called \"{wanted}\"; choose one by its number, {}", numbers(.places))]
    SeveralCalled {
        /// The score.
        file: String,
        /// What was asked for.
        wanted: String,
        /// Which parts, counted from 1.
        places: Vec<usize>,
    },
    /// No part has it.
    #[error("{file}: no part is called \"{wanted}\"; {}{}", question(.asked), parts(.names))]
    NoPart {
        /// The score.
        file: String,
        /// What was asked for.
        wanted: String,
        /// What may be meant.
        asked: Option<String>,
        /// The parts that there are.
        names: Vec<String>,
    },
    /// A staff or a voice was named, and no part of several.
    #[error("{file} has several parts; a {} needs one of them", if *.by_staff { "staff" } else { "voice" })]
    WhichPart {
        /// The score.
        file: String,
        /// A staff was asked for; else a voice.
        by_staff: bool,
    },
    /// The part has no notes in the staff or the voice.
    #[error("{file}: {part} has no notes in {line}; it has {staves} and {voices}")]
    NoNotes {
        /// The score.
        file: String,
        /// The part.
        part: String,
        /// The line that was asked for.
        line: String,
        /// The staves that there are.
        staves: String,
        /// The voices that there are.
        voices: String,
    },
}

fn numbers(places: &[usize]) -> String {
    places.iter().map(|p| (p + 1).to_string()).collect::<Vec<_>>().join(" or ")
}

fn question(asked: &Option<String>) -> String {
    asked.as_ref().map_or(String::new(), |asked| format!("{asked} "))
}

fn parts(names: &[String]) -> String {
    let noun = if names.len() == 1 { "its part is" } else { "its parts are" };
    format!("{noun} {}", names.join(", "))
}

impl LineName {
    /// Whether anything is named.
    pub fn is_named(&self) -> bool {
        *self != LineName::default()
    }

    /// The place of the line in the score, into which it is derived where no part prints it; `None` where nothing is
    /// named. `file` is the name for messages.
    ///
    /// # Errors
    /// Where the score has no such line, or several parts may be meant.
    pub fn find(&self, score: &mut Score, file: &str) -> Result<Option<usize>, LineError> {
        let (staff, voice) = (self.staff, self.voice);
        let line = Line { staff, voice };
        let place = match &self.part {
            Some(part) => part_called(score, file, part)?,
            None if line.is_whole() => return Ok(None),
            None if score.printed().len() == 1 => 0,
            None => return Err(LineError::WhichPart { file: file.into(), by_staff: staff.is_some() }),
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
            let names: Vec<String> = voices.iter().map(u32::to_string).collect();
            let noun = if names.len() == 1 { "voice" } else { "voices" };
            return Err(LineError::NoNotes {
                file: file.into(),
                part: own.spoken().into_owned(),
                line: spoken("that line", "", line).into_owned(),
                staves: if own.staves == 1 { "1 staff".into() } else { format!("{} staves", own.staves) },
                voices: format!("the {noun} {}", names.join(", ")),
            });
        }
        Ok(Some(derive_line(score, place, line)))
    }
}

/// The place of a part by id, name or 1-based number.
fn part_called(score: &Score, file: &str, wanted: &str) -> Result<usize, LineError> {
    let all = |is: &dyn Fn(&Part) -> bool| -> Vec<usize> {
        (0..score.parts.len()).filter(|p| is(&score.parts[*p])).collect()
    };
    let wanted = wanted.trim();
    let called = wanted.to_lowercase();
    let looks = |own: &str| is_alike(&own.to_lowercase(), &called);
    for found in [all(&|p| p.id == wanted), all(&|p| looks(&p.id)), all(&|p| looks(&p.name))] {
        match found[..] {
            [] => {}
            [one] => return Ok(one),
            _ => return Err(LineError::SeveralCalled { file: file.into(), wanted: wanted.into(), places: found }),
        }
    }
    if let Some(number) = wanted.parse::<usize>().ok().filter(|n| (1..=score.parts.len()).contains(n)) {
        return Ok(number - 1);
    }
    let named = |(place, part): (usize, &Part)| {
        let name = if part.name.is_empty() { "without a name" } else { &part.name };
        format!("{} {name} ({})", place + 1, part.id)
    };
    let names = score.parts.iter().enumerate().map(named).collect();
    let called = score.parts.iter().map(|part| (part.name.as_str(), vec![part.name.as_str()]));
    let asked = did_you_mean(wanted, called.filter(|c| !c.0.is_empty()), str::to_lowercase);
    Err(LineError::NoPart { file: file.into(), wanted: wanted.into(), asked, names })
}
