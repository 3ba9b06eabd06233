//! A score as plain data: parts, bars, notes and marks. No XML, no I/O.
//!
//! Everything remembers the elements it came from, by number only; what an
//! element is, only the room `musicxml` knows.

mod category;
pub mod harmony;
mod key_signs;
mod lines;
mod meaning;
mod place;
mod reading;
pub mod sign;

use crate::pitch::{Interval, Mode, Pitch};
use crate::readable;
use crate::time::Time;
use std::borrow::Cow;

pub use category::Category;
pub use key_signs::KeySigns;
pub use meaning::Meaning;
pub use place::{Anchor, Place, Stretch};
pub use sign::Sign;

/// The place of an element in its document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Element(pub u32);

/// Index of a note in its part.
pub type NoteId = usize;
/// Index of a mark in its part.
pub type MarkId = usize;

/// A score as it was read: plain data, never changed after.
#[derive(Debug, Clone, Default)]
pub struct Score {
    /// As the file says it.
    pub title: Option<String>,
    /// In the order of the file.
    pub parts: Vec<Part>,
}

/// A part of a score, or a line of one.
#[derive(Debug, Clone)]
pub struct Part {
    /// Its id in the file.
    pub id: String,
    /// Its name in the file.
    pub name: String,
    /// In the order of the file.
    pub bars: Vec<Bar>,
    /// In the order of the document, rests and grace notes included.
    pub notes: Vec<Note>,
    /// In the order of the file.
    pub marks: Vec<Mark>,
    /// How many staves the part declares.
    pub staves: u32,
    /// What each of its voices is called in the file, as a number.
    pub voices: Vec<u32>,
    /// An octave clef or a transposition says in which octave it sounds.
    pub octave_is_told: bool,
    /// The parts of its score that it was derived from; none for a part that is printed.
    pub derived_from: Vec<usize>,
    /// Which staff and which voice of a part it is; neither where it is all of it.
    pub line: Line,
}

/// Which line of a part: a staff of it, a voice, a voice of a staff, or all of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Line {
    /// 1-based, from the top.
    pub staff: Option<u32>,
    /// As the file numbers its voices.
    pub voice: Option<u32>,
}

impl Line {
    /// All of its part.
    pub fn is_whole(self) -> bool {
        self == Line::default()
    }

    /// Whether a note of its part is in it.
    pub fn holds(self, part: &Part, note: &Note) -> bool {
        self.staff.is_none_or(|s| s == note.staff) && self.voice.is_none_or(|v| v == part.voice_number(note.voice))
    }
}

/// A bar of a part.
#[derive(Debug, Clone)]
pub struct Bar {
    /// The printed number.
    pub number: String,
    /// Its element in the document.
    pub element: Element,
    /// From the start of the part.
    pub start: Time,
    /// What its notes fill.
    pub length: Time,
    /// The time signature that holds.
    pub meter: Meter,
    /// Fifths of the written signature at the bar's start.
    pub fifths: i32,
    /// Of the key there, if the file says it.
    pub mode: Option<Mode>,
    /// Divisions of a quarter note at the bar's start.
    pub divisions: i64,
    /// How the written pitch sounds at the bar's start.
    pub transpose: Interval,
    /// Its notes in `Part::notes`.
    pub notes: std::ops::Range<NoteId>,
}

/// A time signature; lengths in quarter notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Meter {
    /// How long a full bar is.
    pub bar: Time,
    /// How long a beat is.
    pub beat: Time,
}

impl Default for Meter {
    fn default() -> Self {
        Meter { bar: Time::from(4), beat: Time::from(1) }
    }
}

/// What a note sounds like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sound {
    /// Sounding pitch.
    Pitched(Pitch),
    /// The staff place of a percussion note.
    Unpitched(Pitch),
    /// Nothing.
    Rest,
}

/// A note or a rest.
#[derive(Debug, Clone)]
pub struct Note {
    /// Its element in the document.
    pub element: Element,
    /// The place of its bar.
    pub bar: usize,
    /// From the bar's start.
    pub offset: Time,
    /// As written; 0 for grace notes.
    pub duration: Time,
    /// What sounds.
    pub sound: Sound,
    /// How the written pitch sounds.
    pub transpose: Interval,
    /// Index into the voices of the part, in order of first appearance.
    pub voice: u32,
    /// 1-based.
    pub staff: u32,
    /// It belongs to the chord of the note before it.
    pub chord: bool,
    /// For a grace note its place in its group, 1-based; 0 for others.
    pub grace: u32,
    /// A grace note that comes after its main note.
    pub grace_after: bool,
    /// Whether it is small and only shows what others play.
    pub cue: bool,
    /// The note whose tie ends here.
    pub tied_from: Option<NoteId>,
    /// The note to which this one is tied.
    pub tied_to: Option<NoteId>,
}

impl Note {
    /// Where it begins.
    pub fn place(&self) -> Place {
        Place { bar: self.bar, offset: self.offset }
    }

    /// Its sounding pitch, if it has one.
    pub fn pitch(&self) -> Option<Pitch> {
        match self.sound {
            Sound::Pitched(p) => Some(p),
            _ => None,
        }
    }

    /// Whether nothing sounds.
    pub fn is_rest(&self) -> bool {
        self.sound == Sound::Rest
    }

    /// A note that is struck: not a rest, a grace note or the rest of a tie.
    pub fn is_struck(&self) -> bool {
        self.grace == 0 && !self.is_rest() && self.tied_from.is_none()
    }
}

/// The name of an element, nearly always a known one.
pub type Wording = Cow<'static, str>;

/// Anything that is not a note: a slur, a dynamic, a trill.
#[derive(Debug, Clone)]
pub struct Mark {
    /// What kind of mark it is.
    pub category: Category,
    /// What it is and says.
    pub sign: Sign,
    /// Where it stands, or begins.
    pub at: Anchor,
    /// Where a span ends; a slur at the onset of its last note.
    pub end: Option<Anchor>,
    /// Its voice, counted in the part.
    pub voice: u32,
    /// The file says which voice it belongs to, though no note carries it.
    pub voice_is_told: bool,
    /// 1-based.
    pub staff: u32,
    /// All elements that make it up, in the order of the document.
    pub elements: Vec<Element>,
    /// Of these, the ones that stand at its end.
    pub end_elements: Vec<Element>,
}

impl Part {
    /// The first note of the tie that this one belongs to.
    pub fn head(&self, mut note: NoteId) -> NoteId {
        while let Some(from) = self.notes[note].tied_from {
            note = from;
        }
        note
    }

    /// The notes tied to this one, itself first.
    pub fn tied(&self, note: NoteId) -> impl Iterator<Item = NoteId> + '_ {
        std::iter::successors(Some(note), |n| self.notes[*n].tied_to)
    }

    /// From the start of the part, in quarter notes.
    pub fn onset(&self, note: NoteId) -> Time {
        self.time(self.notes[note].place())
    }

    /// When a place comes.
    pub fn time(&self, place: Place) -> Time {
        self.bars[place.bar].start + place.offset
    }

    /// How long a note sounds, ties included.
    pub fn sounding(&self, note: NoteId) -> Time {
        let own = &self.notes[note];
        match own.tied_to {
            Some(next) => own.duration + self.tied(next).map(|n| self.notes[n].duration).sum(),
            None => own.duration,
        }
    }

    /// The beat, 1-based, in beats of the time signature. A short first bar is
    /// counted back from its end, as players count a pickup.
    pub fn beat(&self, place: Place) -> Time {
        let b = &self.bars[place.bar];
        (place.offset + self.pickup(place.bar)) / b.meter.beat + Time::from(1)
    }

    /// What a pickup bar lacks at its front; 0 for every other bar.
    pub fn pickup(&self, bar: usize) -> Time {
        let b = &self.bars[bar];
        if bar == 0 && b.length < b.meter.bar && self.bars.len() > 1 { b.meter.bar - b.length } else { Time::from(0) }
    }

    /// The signature of a bar as it sounds: a transposing part writes another.
    pub fn sounding_fifths(&self, bar: usize) -> i32 {
        self.bars[bar].fifths + self.bars[bar].transpose.fifths()
    }

    /// Struck notes of a bar.
    pub fn struck_in(&self, bar: usize) -> impl Iterator<Item = NoteId> + '_ {
        self.bars[bar].notes.clone().filter(|n| self.notes[*n].is_struck())
    }

    /// The notes that begin: no rests, no grace notes, no ends of ties.
    pub fn struck(&self) -> impl Iterator<Item = NoteId> + '_ {
        (0..self.notes.len()).filter(|n| self.notes[*n].is_struck())
    }

    /// The first bar of a printed number, from some bar on: of just this one, else of one that looks the same, for blanks
    /// and line ends of a number are not seen.
    pub fn bar_called(&self, number: &str, from: usize) -> Option<usize> {
        let find = |is: &dyn Fn(&str) -> bool| (from..self.bars.len()).find(|bar| is(&self.bars[*bar].number));
        find(&|own| own == number).or_else(|| find(&|own| readable::is_alike(own, number)))
    }

    /// The name, or the id of a part without one, and which line of the part it is.
    pub fn spoken(&self) -> Cow<'_, str> {
        spoken(&self.name, &self.id, self.line)
    }

    /// What a voice is called in the file, as a number.
    pub fn voice_number(&self, voice: u32) -> u32 {
        self.voices.get(voice as usize).copied().unwrap_or(voice + 1)
    }

    /// Whether the score prints it so; else it was derived from what is printed.
    pub fn is_printed(&self) -> bool {
        self.derived_from.is_empty()
    }

    /// The note that a grace note belongs to.
    pub fn main_note(&self, grace: NoteId) -> Option<NoteId> {
        let own = &self.notes[grace];
        let fits = |n: &NoteId| {
            let note = &self.notes[*n];
            note.voice == own.voice && note.grace == 0 && !note.chord
        };
        let bar = self.bars[own.bar].notes.clone();
        if own.grace_after { (bar.start..grace).rev().find(fits) } else { (grace + 1..bar.end).find(fits) }
    }

    /// The notes of the same chord, in the order of the document.
    pub fn chord(&self, note: NoteId) -> std::ops::Range<NoteId> {
        let mut first = note;
        while self.notes[first].chord && first > 0 {
            first -= 1;
        }
        let mut end = first + 1;
        while end < self.notes.len() && self.notes[end].chord {
            end += 1;
        }
        first..end
    }
}

impl Score {
    /// The parts as the score prints them; lines derived from them come after.
    pub fn printed(&self) -> &[Part] {
        &self.parts[..self.parts.iter().take_while(|p| p.is_printed()).count()]
    }

    /// The printed part that a line is of; of one that wanders, the first.
    pub fn printed_part_of(&self, line: usize) -> usize {
        self.parts[line].derived_from.first().copied().unwrap_or(line)
    }

    /// The printed parts that a line is of: itself if printed, else those it was derived from.
    pub fn printed_parts_of(&self, line: usize) -> Vec<usize> {
        let own = &self.parts[line];
        if own.is_printed() { vec![line] } else { own.derived_from.clone() }
    }
}

/// A part as it is spoken of, with its line.
pub fn spoken<'n>(name: &'n str, id: &'n str, line: Line) -> Cow<'n, str> {
    let name = if name.is_empty() { id } else { name };
    match (line.staff, line.voice) {
        (None, None) => name.into(),
        (Some(staff), None) => format!("{name}, staff {staff}").into(),
        (None, Some(voice)) => format!("{name}, voice {voice}").into(),
        (Some(staff), Some(voice)) => format!("{name}, staff {staff}, voice {voice}").into(),
    }
}
