//! Notes of a part in other octaves.

use super::super::edits::Edits;
use super::respell::Respeller;
use crate::pitch::Interval;
use crate::score::{MarkId, NoteId, Part, Sign};
use std::ops::RangeInclusive;

impl Respeller<'_, '_, '_> {
    /// Moves notes by octaves; `octaves` has a number for each note of the part.
    pub(super) fn move_octaves(&mut self, edits: &mut Edits, octaves: &[i32]) {
        self.moved_whole = true;
        for (note, by) in self.context.part.notes().map(|(n, _)| n).zip(octaves).filter(|(_, by)| **by != 0) {
            if let Some(written) = self.context.written(note) {
                self.put_pitch(edits, note, written.moved(Interval::octaves(*by)));
            }
        }
    }
}

/// A printed octave line over or under notes that go to another octave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TouchedLine {
    pub mark: MarkId,
    /// All its notes go where it would print them: without it they look as they did.
    pub needless: bool,
}

/// The octave lines of a part that such a move touches.
pub fn touched_octave_lines(part: &Part, octaves: &[i32]) -> Vec<TouchedLine> {
    let lines = part.marks.iter().enumerate();
    let of = |(id, mark): (MarkId, &crate::score::Mark)| {
        let (first, last) = (mark.elements.first()?, mark.end_elements.first()?);
        // Which notes a line holds is told by their order in the document.
        let inside: RangeInclusive<_> = *first..=*last;
        let is_under = |n: &NoteId| {
            let note = &part.notes[*n];
            note.staff == mark.staff && note.pitch().is_some() && inside.contains(&note.element)
        };
        let notes: Vec<NoteId> = (0..part.notes.len()).filter(is_under).collect();
        let Sign::OctaveLine(line) = mark.sign else { return None };
        let undone = line.octaves()?;
        let touched = notes.iter().any(|n| octaves[*n] != 0);
        touched.then(|| TouchedLine { mark: id, needless: notes.iter().all(|n| octaves[*n] == undone) })
    };
    lines.filter_map(of).collect()
}
