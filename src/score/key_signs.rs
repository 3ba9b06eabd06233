//! Signatures that are not of the circle of fifths: one sign for each letter.

use super::{Part, Place, Sign};
use crate::pitch::{Interval, LETTERS, Pitch};

/// What such a signature alters each letter by, from C, in hundredths of a semitone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct KeySigns(pub [i32; 7]);

impl KeySigns {
    /// Reads `F#, Ab`.
    fn parse(text: &str) -> KeySigns {
        let mut out = KeySigns::default();
        for (step, alter) in text.split(", ").filter_map(sign) {
            out.0[step] = alter;
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

/// A letter and what it is altered by, as `Pitch::name` writes them; what lies between two semitones is in their middle.
fn sign(name: &str) -> Option<(usize, i32)> {
    let mut signs = name.chars();
    let letter = signs.next()?;
    let alter = signs.map(|sign| match sign {
        '#' => 100,
        'b' => -100,
        '+' => 50,
        'd' => -50,
        _ => 0,
    });
    Some((LETTERS.iter().position(|known| *known == letter)?, alter.sum()))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_between_two_semitones_move_as_others_do() {
        let names = |alters: [i32; 7]| {
            let all = (0..7).map(|step| Pitch::new(step, alters[step as usize], 4).name());
            KeySigns::parse(&all.collect::<Vec<_>>().join(", "))
        };
        let by = Interval::new(2, 4);
        let alters = [0, 50, 100, 150, -150, -100, -50];
        let moved = alters.iter().zip(0..).map(|(alter, step)| Pitch::new(step, *alter, 4).moved(by));
        let mut wanted = [0; 7];
        moved.for_each(|pitch| wanted[pitch.step as usize] = pitch.alter);
        assert_eq!(names(alters).moved(by), names(wanted));
        assert_ne!(names(alters), names([0; 7]));
    }
}
