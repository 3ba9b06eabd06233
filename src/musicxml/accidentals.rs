//! Which notes need an accidental, and what it is called.

use crate::pitch::{Pitch, key_alter};
use std::collections::HashMap;

/// A note as it is printed.
#[derive(Debug, Clone, Copy)]
pub struct Printed {
    pub staff: u32,
    /// As written.
    pub pitch: Pitch,
    /// A tie brings it over the barline: no accidental of its own.
    pub continued: bool,
}

/// Which notes of a bar, in order, need an accidental: those that the signature
/// and what came before them, on the same staff and in the same octave, do not tell.
pub fn required(notes: impl Iterator<Item = Printed>, fifths: i32) -> Vec<bool> {
    required_under(notes, |step| key_alter(fifths, step))
}

/// The same under any signature; `signature` says what it alters each letter by.
pub fn required_under(notes: impl Iterator<Item = Printed>, signature: impl Fn(i32) -> i32) -> Vec<bool> {
    let mut bar: HashMap<(u32, i32), i32> = HashMap::new();
    notes
        .map(|note| {
            let place = (note.staff, note.pitch.staff_place());
            let shown = bar.get(&place).copied().unwrap_or_else(|| signature(note.pitch.step));
            if note.continued {
                return false;
            }
            bar.insert(place, note.pitch.alter);
            shown != note.pitch.alter
        })
        .collect()
}
