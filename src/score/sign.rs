//! What a mark is and says: read once from the file, turned into text once.

#![allow(missing_docs)] // names that musicians have

use super::Wording;
use super::harmony::{ChordItem, ChordSymbol, Figure, FiguredBass};
use crate::pitch::{Interval, Pitch};
use crate::time::Time;

/// What a mark is and says.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sign {
    /// A sign that its name tells in full: `staccato`, `f`, `turn`, `coda`.
    Named(Wording),
    /// A sign that says more than its name: all of it, and in words for people.
    Detailed {
        name: Wording,
        detail: String,
        words: String,
    },
    /// A sign of which its text alone is read: a fingering, a sign that the schema has no name for.
    Textual {
        name: Wording,
        text: String,
    },
    /// Of which shape, where it is not the plain one.
    Fermata {
        shape: String,
    },
    /// Of a wind instrument, and whether it is closed.
    Hole {
        detail: String,
        words: String,
    },
    /// Words as they are printed, and the term that they are in the lexicon's spelling.
    Words {
        printed: String,
        term: String,
    },
    /// A dynamic in letters that have no element of their own.
    OtherDynamics {
        printed: String,
        term: String,
    },
    /// A glyph by its name.
    Symbol(String),
    Rehearsal(String),
    Metronome(Metronome),
    Key {
        written: i32,
        sounding: i32,
    },
    /// A signature of single accidentals, which another key does not move.
    KeyOfSigns(String),
    Time(String),
    /// `verse` counts from 1.
    Lyric {
        verse: u32,
        text: String,
    },
    Grace {
        pitches: Vec<Pitch>,
        slashed: bool,
    },
    Chord(ChordSymbol),
    Figures(FiguredBass),
    /// An accidental that is more than the note needs: why it stands there, and which it is.
    Accidental {
        why: &'static str,
        sign: String,
    },
    /// An accidental beside an ornament, or over or under a note.
    AccidentalMark {
        sign: String,
        of_ornament: bool,
    },
    Hairpin(Hairpin),
    OctaveLine(OctaveLine),
    Pedal(Pedal),
    /// A line from note to note or from time to time, and what is written at it.
    Line {
        kind: LineKind,
        text: String,
    },
    /// With its sign, or by its wavy line alone.
    Trill {
        has_sign: bool,
    },
    Tremolo {
        strokes: String,
        kind: Tremolo,
    },
    /// `direction` is empty where the file names none.
    Arpeggio {
        name: Wording,
        direction: String,
    },
    /// `times` is how often the strain is played, where that is not twice.
    Repeat {
        direction: Repeat,
        times: Option<u32>,
    },
    Ending(Ending),
    DoubleBar,
}

/// A metronome mark as it is printed, and its tempo in quarter notes per minute, where it has one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Metronome {
    pub printed: String,
    pub quarters: Option<Time>,
}

/// A hairpin, and where it comes from or goes to nothing.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hairpin {
    pub kind: HairpinKind,
    pub from_nothing: bool,
    pub to_nothing: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HairpinKind {
    Crescendo,
    Diminuendo,
    /// The file calls it otherwise.
    Other(String),
}

/// A line that prints notes in another octave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct OctaveLine {
    /// 8, 15 or 22.
    pub size: u32,
    pub side: Option<StaffSide>,
}

/// Where an octave line stands; above it the notes sound higher than they are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StaffSide {
    Above,
    Below,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pedal {
    Sustain,
    Sostenuto,
    Change,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LineKind {
    Slur,
    Glissando,
    Slide,
    Bracket,
    Dashes,
    PrincipalVoice,
    HammerOn,
    PullOff,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tremolo {
    OnOneNote,
    BetweenTwo,
    Unmeasured,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Repeat {
    Forward,
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

impl LineKind {
    /// As its element is called.
    pub fn name(self) -> &'static str {
        match self {
            LineKind::Slur => "slur",
            LineKind::Glissando => "glissando",
            LineKind::Slide => "slide",
            LineKind::Bracket => "bracket",
            LineKind::Dashes => "dashes",
            LineKind::PrincipalVoice => "principal-voice",
            LineKind::HammerOn => "hammer-on",
            LineKind::PullOff => "pull-off",
        }
    }
}

impl Hairpin {
    pub fn crescendo() -> Hairpin {
        Hairpin { kind: HairpinKind::Crescendo, from_nothing: false, to_nothing: false }
    }

    pub fn diminuendo() -> Hairpin {
        Hairpin { kind: HairpinKind::Diminuendo, ..Hairpin::crescendo() }
    }
}

impl OctaveLine {
    /// The size of a line that names none.
    pub const USUAL: u32 = 8;

    /// How many octaves its notes are printed higher than they sound; `None` of a size that is not whole octaves.
    pub fn octaves(self) -> Option<i32> {
        let octaves = match self.size {
            8 => 1,
            15 => 2,
            22 => 3,
            _ => return None,
        };
        Some(if self.side == Some(StaffSide::Above) { -octaves } else { octaves })
    }
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

impl HairpinKind {
    pub(super) fn name(&self) -> &str {
        match self {
            HairpinKind::Crescendo => "crescendo",
            HairpinKind::Diminuendo => "diminuendo",
            HairpinKind::Other(name) => name,
        }
    }
}
