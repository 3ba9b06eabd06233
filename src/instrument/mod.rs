//! Instruments and their ranges: what a part asks of the one that plays it.

mod clef;
mod names;
mod octave;
mod own;
mod range;
mod read_as;
mod standard;
mod table;

use crate::pitch::{Interval, Pitch};
use std::fmt;

pub use clef::{Clef, ClefSign};
pub use octave::BetterOctave;
pub use range::{Outside, RangeCheck, Side, check, played};
pub use read_as::ReadAs;
pub use table::{Error, Instruments};

/// The notes from a lowest to a highest one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    pub lowest: Pitch,
    pub highest: Pitch,
}

impl Range {
    /// The side on which a pitch leaves the range; spelling does not matter.
    pub fn leaves(&self, pitch: Pitch) -> Option<Side> {
        if pitch.sound() < self.lowest.sound() {
            Some(Side::Below)
        } else if pitch.sound() > self.highest.sound() {
            Some(Side::Above)
        } else {
            None
        }
    }
}

/// As in `F4 to G6`.
impl fmt::Display for Range {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}", self.lowest, self.highest)
    }
}

/// An instrument and its range.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Instrument {
    /// What reports call it.
    pub name: String,
    /// Other names, in any language.
    pub aliases: Vec<String>,
    /// From the lowest to the highest note as its parts are printed.
    pub written: Range,
    /// The same as it sounds.
    pub sounding: Range,
    /// What its parts are written in.
    pub clef: Clef,
    /// Clefs that its players read as well, where the part changes to them.
    pub other_clefs: Vec<Clef>,
    /// As it stands before every staff but the first.
    pub abbreviation: Option<String>,
    /// 1-based program of General MIDI.
    pub midi_program: Option<u8>,
    /// It plays one note at a time, and no chords.
    pub one_note: bool,
}

impl Instrument {
    /// From the written to the sounding pitch.
    pub fn transposition(&self) -> Interval {
        Interval::between(self.written.lowest, self.sounding.lowest)
    }

    /// It sounds whole octaves away from where it is written.
    pub fn sounds_octaves_away(&self) -> bool {
        let semitones = self.transposition().semitones;
        semitones != 0 && semitones % 12 == 0
    }
}

/// An instrument that a part is looked at for.
#[derive(Debug, Clone, Copy)]
pub struct PlayedOn<'t> {
    pub instrument: &'t Instrument,
    /// From the part's name; else the user named it.
    pub guessed: bool,
}
