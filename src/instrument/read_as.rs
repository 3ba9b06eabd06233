//! In which octave a part is read: its transposition, its clef, and then the
//! habit of the instrument tell it, in this order; the user may say otherwise.

use super::Instrument;
use crate::pitch::Interval;
use crate::score::Part;
use serde::Serialize;

/// Which pitches are compared. The octave is never certain from a part alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum ReadAs {
    /// As it sounds, with the sounding range.
    Sounding,
    /// As it is written, with the written range: the part does not say in
    /// which octave its instrument sounds.
    Written,
}

impl ReadAs {
    /// How a part is read for an instrument, and a sentence about it for
    /// people. `asked` is the user's, who is right.
    pub fn of(part: &Part, instrument: &Instrument, asked: Option<ReadAs>) -> (ReadAs, String) {
        let untold = instrument.sounds_octaves_away() && !part.octave_is_told;
        let own = if untold { ReadAs::Written } else { ReadAs::Sounding };
        let read_as = asked.unwrap_or(own);
        let sentence = match asked {
            Some(asked) => asked_for(instrument, asked),
            None => sentence(part, instrument, own),
        };
        (read_as, sentence)
    }
}

fn sentence(part: &Part, instrument: &Instrument, read_as: ReadAs) -> String {
    match read_as {
        ReadAs::Written => {
            let name = octaves_name(instrument);
            format!(
                "The part does not say in which octave it sounds; it was read as written for the {}, \
                 which sounds {name}.",
                instrument.name
            )
        }
        ReadAs::Sounding if instrument.sounds_octaves_away() => {
            "The part says in which octave it sounds; its sounding pitches were compared.".into()
        }
        ReadAs::Sounding if part.bars.iter().any(|b| b.transpose != Interval::UNISON) => {
            "The part transposes; its sounding pitches were compared.".into()
        }
        ReadAs::Sounding => "The notes were taken to sound as written.".into(),
    }
}

fn asked_for(instrument: &Instrument, asked: ReadAs) -> String {
    let name = &instrument.name;
    match asked {
        ReadAs::Written => {
            let sound = match instrument.transposition() {
                Interval::UNISON => String::new(),
                _ if instrument.sounds_octaves_away() => format!(", which sounds {}", octaves_name(instrument)),
                other => format!(", which sounds {}", other.relation()),
            };
            format!("As --written asks, the notes were read as written for the {name}{sound}.")
        }
        ReadAs::Sounding => format!("As --sounding asks, the notes were read as the {name}'s sounding pitches."),
    }
}

fn octaves_name(instrument: &Instrument) -> String {
    let octaves = instrument.transposition().semitones / 12;
    let way = if octaves > 0 { "higher" } else { "lower" };
    match octaves.abs() {
        1 => format!("an octave {way}"),
        n => format!("{n} octaves {way}"),
    }
}
