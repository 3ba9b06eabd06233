//! Signatures that are not of the circle of fifths: one sign for each letter.

use super::{Part, Place, Sign};
use crate::pitch::{Interval, Pitch};

/// What such a signature alters each letter by, from C, in hundredths of a semitone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct KeySigns(pub [i32; 7]);

impl KeySigns {
    /// Reads `F#, Ab`.
    fn parse(text: &str) -> KeySigns {
        let mut out = KeySigns::default();
        for sign in text.split(", ").filter_map(|name| Pitch::parse(&format!("{name}4"))) {
            out.0[sign.step as usize] = sign.alter;
        }
        out
    }

    /// The same music elsewhere: every letter moves, those without a sign, too.
    pub fn moved(self, by: Interval) -> KeySigns {
        let mut out = KeySigns::default();
        for (step, alter) in self.0.into_iter().enumerate() {
            let letter = Pitch::new(step as i32, alter, 4).moved(by);
            out.0[letter.step as usize] = letter.alter;
        }
        out
    }
}

impl Part {
    /// Of each bar the signature of single accidentals that holds at its start; nothing for a part without any.
    pub fn key_signs(&self) -> Vec<Option<KeySigns>> {
        let mut changes: Vec<(Place, Option<KeySigns>)> = Vec::new();
        for mark in &self.marks {
            match &mark.sign {
                Sign::KeyOfSigns(text) => changes.push((mark.at.place, Some(KeySigns::parse(text)))),
                Sign::Key { .. } => changes.push((mark.at.place, None)),
                _ => {}
            }
        }
        if changes.iter().all(|(_, signs)| signs.is_none()) {
            return Vec::new();
        }
        changes.sort_by_key(|(place, _)| *place);
        let at = |bar| changes[..changes.partition_point(|(place, _)| *place <= Place::start_of(bar))].last();
        (0..self.bars.len()).map(|bar| at(bar).and_then(|(_, signs)| *signs)).collect()
    }
}
