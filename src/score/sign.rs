//! What a mark is and says: read once from the file, turned into text once.

use super::Wording;
use super::harmony::{ChordItem, ChordSymbol, Figure, FiguredBass};
pub use super::lines::{Hairpin, HairpinKind, LineKind, OctaveLine, Pedal, StaffSide};
use crate::pitch::{Interval, Pitch};
use crate::time::Time;

/// What a mark is and says.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sign {
    /// A sign that its name tells in full: `staccato`, `f`, `turn`, `coda`.
    Named(Wording),
    /// A sign that says more than its name: all of it, and in words for people.
    Detailed {
        /// The name of its element.
        name: Wording,
        /// All that it says, for comparing.
        detail: String,
        /// The same for people.
        words: String,
    },
    /// A sign of which its text alone is read: a fingering, a sign that the schema has no name for.
    Textual {
        /// The name of its element.
        name: Wording,
        /// As it is printed.
        text: String,
    },
    /// Of which shape, where it is not the plain one.
    Fermata {
        /// As the file names it.
        shape: String,
    },
    /// Of a wind instrument, and whether it is closed.
    Hole {
        /// All that it says, for comparing.
        detail: String,
        /// As in `closed`.
        words: String,
    },
    /// Words as they are printed, and the term that they are in the lexicon's spelling.
    Words {
        /// As they are printed.
        printed: String,
        /// In the spelling of the lexicon.
        term: String,
    },
    /// A dynamic in letters that have no element of their own.
    OtherDynamics {
        /// As they are printed.
        printed: String,
        /// In the spelling of the lexicon.
        term: String,
    },
    /// A glyph by its name.
    Symbol(String),
    /// A letter or a number to rehearse by.
    Rehearsal(String),
    /// How many of a note value in a minute.
    Metronome(Metronome),
    /// A signature of the circle of fifths: its sharps, or its flats as a negative number.
    Key {
        /// As it is printed.
        written: i32,
        /// As it sounds: a transposing part writes another.
        sounding: i32,
    },
    /// A signature of single accidentals, which another key does not move.
    KeyOfSigns(String),
    /// As in `3/4`.
    Time(String),
    /// `verse` counts from 1.
    Lyric {
        /// Counted from 1.
        verse: u32,
        /// With the hyphen that leads on.
        text: String,
    },
    /// A group before or after its main note.
    Grace {
        /// As they sound.
        pitches: Vec<Pitch>,
        /// With a stroke through the stem.
        slashed: bool,
    },
    /// Letters over the staff that name a chord.
    Chord(ChordSymbol),
    /// Figures under a bass.
    Figures(FiguredBass),
    /// An accidental that is more than the note needs: why it stands there, and which it is.
    Accidental {
        /// As in `cautionary`.
        why: &'static str,
        /// As the file names it.
        sign: String,
    },
    /// An accidental beside an ornament, or over or under a note.
    AccidentalMark {
        /// As the file names it.
        sign: String,
        /// It belongs to an ornament.
        of_ornament: bool,
    },
    /// A wedge that opens or closes.
    Hairpin(Hairpin),
    /// Notes printed in another octave.
    OctaveLine(OctaveLine),
    /// A pedal line, or a sign of it.
    Pedal(Pedal),
    /// A line from note to note or from time to time, and what is written at it.
    Line {
        /// Which line it is.
        kind: LineKind,
        /// What is written at it.
        text: String,
    },
    /// With its sign, or by its wavy line alone.
    Trill {
        /// The letters `tr` are there.
        has_sign: bool,
    },
    /// Strokes through a stem, or between two notes.
    Tremolo {
        /// How many, as the file says.
        strokes: String,
        /// Where they stand.
        kind: Tremolo,
    },
    /// `direction` is empty where the file names none.
    Arpeggio {
        /// `arpeggiate`, or `non-arpeggiate`.
        name: Wording,
        /// `up`, `down`, or empty.
        direction: String,
    },
    /// `times` is how often the strain is played, where that is not twice.
    Repeat {
        /// Which way it sends.
        direction: Repeat,
        /// As a number.
        times: Option<u32>,
    },
    /// A bracket over the bars of one time through.
    Ending(Ending),
    /// Two lines, where no repeat is.
    DoubleBar,
}

/// A metronome mark as it is printed, and its tempo in quarter notes per minute, where it has one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Metronome {
    /// As in `quarter = 66`.
    pub printed: String,
    /// None where it says no number.
    pub quarters: Option<Time>,
    /// What is counted, in quarter notes; None where `quarters` is.
    pub beat: Option<Time>,
}

/// Where the strokes of a tremolo stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tremolo {
    /// Through one stem.
    OnOneNote,
    /// Between two notes.
    BetweenTwo,
    /// On one note, as fast as one can.
    Unmeasured,
}

/// Which way a repeat sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Repeat {
    /// Here the strain begins.
    Forward,
    /// Back to where it began.
    Backward,
}

/// A bracket over the bars of an ending.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ending {
    /// As in `1, 2`.
    pub numbers: String,
    /// The first time through goes this way.
    pub is_first: bool,
}

impl Sign {
    /// The name of its element, or of what it is.
    pub fn name(&self) -> &str {
        match self {
            Sign::Named(name)
            | Sign::Detailed { name, .. }
            | Sign::Textual { name, .. }
            | Sign::Arpeggio { name, .. } => name,
            Sign::Fermata { .. } => "fermata",
            Sign::Hole { .. } => "hole",
            Sign::Words { .. } => "words",
            Sign::OtherDynamics { .. } => "other-dynamics",
            Sign::Symbol(_) => "symbol",
            Sign::Rehearsal(_) => "rehearsal",
            Sign::Metronome(_) => "metronome",
            Sign::Key { .. } => "key",
            Sign::KeyOfSigns(_) => "key-signs",
            Sign::Time(_) => "time",
            Sign::Lyric { .. } => "lyric",
            Sign::Grace { .. } => "grace",
            Sign::Chord(_) => "harmony",
            Sign::Figures(_) => "figured-bass",
            Sign::Accidental { .. } => "accidental",
            Sign::AccidentalMark { .. } => "accidental-mark",
            Sign::Hairpin(hairpin) => hairpin.kind.name(),
            Sign::OctaveLine(_) => "octave-shift",
            Sign::Pedal(_) => "pedal",
            Sign::Line { kind, .. } => kind.name(),
            Sign::Trill { has_sign } => {
                if *has_sign {
                    "trill-mark"
                } else {
                    "wavy-line"
                }
            }
            Sign::Tremolo { .. } => "tremolo",
            Sign::Repeat { .. } => "repeat",
            Sign::Ending(_) => "ending",
            Sign::DoubleBar => "bar-style",
        }
    }

    /// The pitches that another key moves, as they sound: of grace notes, of
    /// chord symbols, and of notes that figures alter.
    pub fn pitches(&self) -> Vec<Pitch> {
        match self {
            Sign::Grace { pitches, .. } => pitches.clone(),
            Sign::Chord(chord) => chord.items.iter().filter_map(|item| item.tone()?.pitch).collect(),
            Sign::Figures(bass) => bass.figures.iter().flat_map(Figure::signs).filter_map(|s| s.pitch).collect(),
            _ => Vec::new(),
        }
    }

    /// Moves these pitches; what is printed stays as it is.
    pub fn move_pitches(&mut self, by: Interval) {
        let pitches: Vec<&mut Pitch> = match self {
            Sign::Grace { pitches, .. } => pitches.iter_mut().collect(),
            Sign::Chord(chord) => {
                let tones = chord.items.iter_mut().filter_map(|item| match item {
                    ChordItem::Root(tone) | ChordItem::Bass(tone) => tone.pitch.as_mut(),
                    _ => None,
                });
                tones.collect()
            }
            Sign::Figures(bass) => {
                let signs = bass.figures.iter_mut().flat_map(|f| f.before.iter_mut().chain(&mut f.after));
                signs.filter_map(|s| s.pitch.as_mut()).collect()
            }
            _ => return,
        };
        pitches.into_iter().for_each(|p| *p = p.moved(by));
    }

    /// Whether it leads from one note to another: a slur, a glissando, a slide.
    pub fn joins_notes(&self) -> bool {
        matches!(self, Sign::Line { kind: LineKind::Slur | LineKind::Glissando | LineKind::Slide, .. })
    }

    /// Of a syllable.
    pub fn verse(&self) -> Option<u32> {
        match self {
            Sign::Lyric { verse, .. } => Some(*verse),
            _ => None,
        }
    }

    /// A term that stands for the sign or the words: `segno`, `da capo`.
    pub fn term(&self) -> Option<&str> {
        match self {
            Sign::Named(name) => Some(name),
            Sign::Words { term, .. } | Sign::OtherDynamics { term, .. } => Some(term),
            _ => None,
        }
    }
}
