//! Practice sheets: the hardest stretches of a part, and what one does with each of them.

mod forms;
mod ladder;
mod lay;
mod metre;
mod passage;
mod rhythms;
mod sheet;
mod told;
mod tone;
mod wider;

use crate::instrument::{Clef, Instrument};
use crate::keys::{Chart, Fingered, Fingering, HardStretch, Hole, Study, Tempo, Thumb, View};
use crate::musicxml::sheet::SheetPart;
use crate::pitch::Pitch;
use crate::report::{BarError, Bars, Point};
use crate::score::{Category, NoteId, Part};
use metre::Metre;
use passage::Passage;
use tone::Tone;

pub use forms::Form;
pub use rhythms::Rhythm;
pub use told::{ExerciseReport, ExercisesReport, StretchReport};

/// Bars under one slur; of a longer one the file lacks an end.
const LONGEST_SLUR: usize = 8;
/// Notes of a stretch that the user names; more are a piece.
const MOST_NOTES: usize = 96;

/// What is to be on a sheet.
#[derive(Debug, Clone)]
pub struct ExerciseWishes {
    /// So many stretches at most.
    pub most: usize,
    /// In this order.
    pub forms: Vec<Form>,
    /// A teacher's own rhythms, in the place of ours.
    pub rhythms: Option<Vec<Rhythm>>,
    /// These bars instead of the hardest stretches.
    pub bars: Option<Bars>,
}

/// Why there is no sheet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ExerciseError {
    /// The score has several, and none is named.
    #[error("a practice sheet is for one part; name it with --part: {}", .0.join(", "))]
    WhichPart(
        /// Number, name and id of each.
        Vec<String>,
    ),
    /// Nobody says for whom.
    #[error(
        "{part} does not say which instrument plays it; name one with --instrument (obelus range --list prints them)"
    )]
    NoInstrument {
        /// The part.
        part: String,
    },
    /// Nothing to play.
    #[error("{part} has no notes with a pitch; there is nothing to practise")]
    NoNotes {
        /// The part.
        part: String,
    },
    /// A stretch cannot be played.
    #[error(
        "{place}: the {instrument} does not have these notes ({notes}); first give the part a range that fits (obelus \
         clean --fit, or another key: obelus keys)"
    )]
    Outside {
        /// The bars.
        place: String,
        /// The instrument.
        instrument: String,
        /// The notes, as its player would read them.
        notes: String,
    },
    /// More bars are named than one practises at a time.
    #[error(
        "{place}: {notes} notes are too many to practise at once; name fewer bars, with {MOST_NOTES} notes at most"
    )]
    TooLong {
        /// The bars.
        place: String,
        /// How many notes.
        notes: usize,
    },
    /// The bars that are named have a note at most.
    #[error("{place}: there is nothing to practise; name bars with at least two notes")]
    TooShort {
        /// The bars.
        place: String,
    },
    /// A length that no note values say.
    #[error("{place}: there are lengths that cannot be written as notes")]
    Lengths {
        /// The bars.
        place: String,
    },
    /// The part does not have these bars.
    #[error(transparent)]
    Bars(#[from] BarError),
}

/// A stretch with its exercises.
#[derive(Debug, Clone)]
pub struct Practised {
    pub hard: HardStretch,
    /// Beats a minute, rising.
    pub ladder: Vec<u32>,
    pub exercises: Vec<Exercise>,
}

/// An exercise in the sheet.
#[derive(Debug, Clone)]
pub struct Exercise {
    /// `None` for the stretch as it stands.
    pub form: Option<Form>,
    pub heading: String,
    /// Bars, counted from 1 in the stretch.
    pub first_bar: usize,
    pub last_bar: usize,
}

/// A sheet, and what is on it.
#[derive(Debug, Clone)]
pub struct Practice {
    pub stretches: Vec<Practised>,
    pub sheet: SheetPart,
    /// So many stretches were.
    pub left_out: usize,
    /// What was left out, and why.
    pub warnings: Vec<String>,
}

/// A part, and how it is read for an instrument.
pub struct Player<'a> {
    pub part: &'a Part,
    pub instrument: &'a Instrument,
    pub view: View,
    pub chart: &'a Chart,
    pub tempo: &'a Tempo,
    /// The clef that holds at the start of a bar on a staff, if it has pitches.
    pub clefs: &'a dyn Fn(usize, u32) -> Option<Clef>,
}

impl Player<'_> {
    /// The stretches that are to be practised.
    fn stretches(&self, study: &Study, wishes: &ExerciseWishes) -> Result<Vec<HardStretch>, ExerciseError> {
        let Some(bars) = &wishes.bars else {
            // What goes at the piece's tempo is not hard.
            let is_hard = |own: &HardStretch| own.start.per_minute < own.tempo.per_minute.floor();
            return Ok(study.to_practise(wishes.most).into_iter().filter(is_hard).collect());
        };
        let bars = bars.find(self.part)?;
        let place = self.named(*bars.start(), *bars.end());
        let notes = bars.flat_map(|bar| self.part.struck_in(bar)).filter(|n| self.part.notes[*n].pitch().is_some());
        let notes: Vec<NoteId> = notes.collect();
        // Of several voices the first that has notes there.
        let voice = notes.first().map(|n| self.part.notes[*n].voice);
        let own: Vec<NoteId> = notes.into_iter().filter(|n| Some(self.part.notes[*n].voice) == voice).collect();
        let ends = own.first().zip(own.last());
        Ok(vec![ends.and_then(|(first, last)| study.named(*first, *last)).ok_or(ExerciseError::TooShort { place })?])
    }

    fn point(&self, note: NoteId) -> Point {
        Point::new(self.part, self.part.notes[note].place())
    }

    fn named(&self, first: usize, last: usize) -> String {
        let number = |bar: usize| &self.part.bars[bar].number;
        match first == last {
            true => format!("bar {}", number(first)),
            false => format!("bars {} to {}", number(first), number(last)),
        }
    }

    /// The stretch as material.
    fn passage(&self, study: &Study, hard: &HardStretch) -> Result<Passage, ExerciseError> {
        let notes = study.notes(hard.first, hard.last);
        let (first, last) = (&self.part.notes[hard.first], &self.part.notes[hard.last]);
        let place = self.named(first.bar, last.bar);
        let struck = notes.iter().filter(|note| !note.is_grace).count();
        if struck > MOST_NOTES {
            return Err(ExerciseError::TooLong { place, notes: struck });
        }
        if struck < 2 {
            return Err(ExerciseError::TooShort { place });
        }
        let outside: Vec<Pitch> =
            notes.iter().map(|n| n.pitch).filter(|p| self.instrument.written.leaves(*p).is_some()).collect();
        if !outside.is_empty() {
            let mut names: Vec<String> = outside.iter().map(ToString::to_string).collect();
            names.dedup();
            names.truncate(8);
            let instrument = self.instrument.name.clone();
            return Err(ExerciseError::Outside { place, instrument, notes: names.join(" ") });
        }
        let bar = &self.part.bars[first.bar];
        let metre = Metre::of(bar.meter);
        let start = (first.offset + self.part.pickup(first.bar)) % metre.bar;
        let tones = self.tones(&notes);
        let worst = worst(&tones, hard.worst);
        Ok(Passage { tones, start, metre, fifths: self.view.fifths(self.part, first.bar), worst })
    }

    /// Notes and the rests between them. Of notes that overlap the next, as in a chord that is held, what sounds alone.
    fn tones(&self, notes: &[Fingered]) -> Vec<Tone> {
        let mut out: Vec<Tone> = Vec::new();
        let mut graces = Vec::new();
        let struck: Vec<&Fingered> = notes.iter().filter(|note| !note.is_grace).collect();
        let mut next_of = struck.iter().skip(1);
        let slurs = self.slurs(notes);
        for (place, note) in notes.iter().enumerate() {
            if note.is_grace {
                graces.extend((!note.is_after).then_some(note.pitch));
                continue;
            }
            let next = next_of.next();
            // The last note of a stretch is where it arrives.
            let end = next.map_or(note.end, |next| note.end.min(next.onset));
            out.push(Tone {
                pitch: Some(note.pitch),
                length: end - note.onset,
                joined: slurs[place],
                graces: std::mem::take(&mut graces),
                fingering: note.fingering.as_ref().map(hands),
            });
            if let Some(next) = next.filter(|next| next.onset > end) {
                out.push(Tone::rest(next.onset - end));
            }
        }
        out
    }

    /// For each note the slur that joins it to the next one that is struck.
    fn slurs(&self, notes: &[Fingered]) -> Vec<Option<usize>> {
        let mut out = vec![None; notes.len()];
        for (number, mark) in self.part.marks.iter().enumerate().filter(|(_, mark)| mark.category == Category::Slur) {
            let Some((from, to)) = mark.at.note.zip(mark.end.and_then(|end| end.note)) else { continue };
            if self.part.notes[to].bar > self.part.notes[from].bar + LONGEST_SLUR {
                continue;
            }
            let (from, to) = (self.part.onset(self.part.head(from)), self.part.onset(self.part.head(to)));
            let voice = mark.at.note.map(|n| self.part.notes[n].voice);
            for (place, note) in notes.iter().enumerate() {
                let own = Some(self.part.notes[note.note].voice) == voice;
                if own && from <= note.onset && note.onset < to && out[place].is_none() {
                    out[place] = Some(number);
                }
            }
        }
        out
    }
}

/// Where the worst change is: its first note.
fn worst(tones: &[Tone], worst: (Pitch, Pitch)) -> Option<usize> {
    let pitch = |place: usize| tones.get(place).and_then(|tone| tone.pitch);
    let is = |place: &usize| pitch(*place) == Some(worst.0) && pitch(place + 1) == Some(worst.1);
    (0..tones.len()).find(is)
}

/// Holes by their numbers, one line for each hand: 0 is the thumb, Ø the thumb half open, ½ behind a number one of a
/// double hole.
fn hands(fingering: &Fingering) -> [String; 2] {
    let thumb = match fingering.thumb {
        Thumb::Closed => "0",
        Thumb::Open => "",
        Thumb::Pinched => "Ø",
    };
    let hole = |number: usize| match fingering.holes[number - 1] {
        Hole::Closed => number.to_string(),
        Hole::Half => format!("{number}½"),
        Hole::Open => String::new(),
    };
    let hand = |holes: std::ops::RangeInclusive<usize>| holes.map(hole).collect::<String>();
    let right = hand(4..=7) + if fingering.bell { "+" } else { "" };
    [format!("{thumb}{}", hand(1..=3)), right]
}
