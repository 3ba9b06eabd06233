//! A part of which much lies outside a range: the octave in which it fits, and
//! how it comes there.

use super::range::{RangeCheck, check, played};
use super::{Instrument, Instruments, ReadAs};
use crate::pitch::{Interval, Pitch};
use crate::score::Part;
use serde::Serialize;

/// Where one note in so many lies outside, other octaves are tried; one is
/// better where no more than one in so many of these lies outside still.
const SHARE: usize = 3;
/// Nearer octaves first.
const TRIED: [i32; 4] = [1, -1, 2, -2];

/// The octave in which a part fits that lies outside where it is read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BetterOctave {
    /// From where the part is read; 1 is up.
    pub octaves: i32,
    /// Notes that would be outside there.
    pub outside: usize,
    /// What brings it there: options, each by itself.
    pub remedies: Vec<String>,
    /// All of it for people.
    pub sentence: String,
    /// How it would fit, without the options.
    pub fits: String,
    /// The instrument of the same family that plays it there.
    #[serde(skip)]
    pub instrument: Option<String>,
}

impl BetterOctave {
    /// `None` where the part lies well enough, or no better in another octave.
    pub fn of(part: &Part, instrument: &Instrument, checked: &RangeCheck) -> Option<BetterOctave> {
        let now = checked.outside.len();
        if now == 0 {
            return None;
        }
        let pitches: Vec<Pitch> = played(part).filter_map(|note| checked.pitch(part, note)).collect();
        if now * SHARE < pitches.len() {
            return None;
        }
        let there = |octaves: i32| {
            pitches.iter().filter(|p| checked.range.leaves(p.moved(Interval::octaves(octaves))).is_some()).count()
        };
        let (octaves, outside) = TRIED.map(|by| (by, there(by))).into_iter().min_by_key(|(_, outside)| *outside)?;
        if outside * SHARE > now {
            return None;
        }
        let reading = other_reading(part, instrument, checked, outside);
        let sibling = sibling(part, instrument, outside);
        let remedies = remedies(reading, sibling.as_deref(), octaves);
        let far = match octaves.abs() {
            1 => "an octave",
            _ => "two octaves",
        };
        let way = if octaves > 0 { "higher" } else { "lower" };
        let fit = match outside {
            0 => "all its notes would fit".to_string(),
            1 => "1 of its notes would be outside".to_string(),
            n => format!("{n} of its notes would be outside"),
        };
        let lead = if now * 2 > pitches.len() { "Most of it" } else { "Much of it" };
        let fits = format!("{lead} is out of range; {far} {way}, {fit}.");
        let sentence = format!("{fits} For that: {}.", remedies.join(", or "));
        Some(BetterOctave { octaves, outside, remedies, sentence, fits, instrument: sibling })
    }
}

/// The other reading, where with it no more notes lie outside.
fn other_reading(part: &Part, instrument: &Instrument, checked: &RangeCheck, most: usize) -> Option<ReadAs> {
    let other = match checked.read_as {
        ReadAs::Written => ReadAs::Sounding,
        ReadAs::Sounding => ReadAs::Written,
    };
    let in_octaves = part.bars.iter().all(|bar| bar.transpose.semitones % 12 == 0);
    let differs = instrument.sounds_octaves_away() || part.octave_is_told;
    (in_octaves && differs && check(part, instrument, Some(other)).outside.len() <= most).then_some(other)
}

/// The nearest instrument of the family with the same compass in another octave,
/// where on it no more notes lie outside.
fn sibling(part: &Part, instrument: &Instrument, most: usize) -> Option<String> {
    let program = instrument.midi_program?;
    let table = Instruments::standard();
    let away = |other: &Instrument| {
        let [low, high] = [
            other.sounding.lowest.sound() - instrument.sounding.lowest.sound(),
            other.sounding.highest.sound() - instrument.sounding.highest.sound(),
        ];
        (low == high && low != 0 && low % 1200 == 0).then_some(low.abs())
    };
    let family = table.iter().filter(|other| other.midi_program == Some(program));
    let fitting = family.filter_map(|other| {
        let away = away(other)?;
        let outside = check(part, other, None).outside.len();
        (outside <= most).then_some((outside, away, other))
    });
    fitting.min_by_key(|(outside, away, _)| (*outside, *away)).map(|(_, _, other)| other.name.clone())
}

fn remedies(reading: Option<ReadAs>, sibling: Option<&str>, octaves: i32) -> Vec<String> {
    let reading = reading.map(|reading| match reading {
        ReadAs::Written => "--written".to_string(),
        ReadAs::Sounding => "--sounding".to_string(),
    });
    let sibling = sibling.map(|name| format!("--instrument \"{name}\""));
    let moved = format!("clean --transpose \"{}\"", Interval::octaves(octaves).name());
    reading.into_iter().chain(sibling).chain([moved]).collect()
}
