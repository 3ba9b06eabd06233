//! The notes of a stretch as an exercise takes them.

use crate::pitch::Pitch;
use crate::time::Time;

/// A note of an exercise, or a rest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tone {
    /// As the player reads it; `None` for a rest.
    pub pitch: Option<Pitch>,
    /// In quarter notes.
    pub length: Time,
    /// The slur that joins it to the next one, by a number of its own.
    pub joined: Option<usize>,
    /// Small notes before it.
    pub graces: Vec<Pitch>,
    /// A line for each hand.
    pub fingering: Option<[String; 2]>,
}

impl Tone {
    pub fn new(pitch: Pitch, length: Time) -> Tone {
        Tone { pitch: Some(pitch), length, joined: None, graces: Vec::new(), fingering: None }
    }

    pub fn rest(length: Time) -> Tone {
        Tone { pitch: None, length, joined: None, graces: Vec::new(), fingering: None }
    }

    /// The same with another length, and without what stands around it.
    pub fn plain(&self, length: Time) -> Tone {
        Tone { length, graces: Vec::new(), fingering: None, ..self.clone() }
    }
}

/// One try: notes that are played in one go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Try {
    pub tones: Vec<Tone>,
    /// Where it begins, from a beat or, for a stretch as it stands, from a bar.
    pub start: Time,
    /// The last note is held to the end of its beat.
    pub lands: bool,
}

impl Try {
    pub fn length(&self) -> Time {
        self.tones.iter().map(|tone| tone.length).sum()
    }
}
