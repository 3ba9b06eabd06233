//! Beams: notes of a beat, level by level.

use super::SheetNote;

/// Of one level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beam {
    Begin,
    Continue,
    End,
    ForwardHook,
    BackwardHook,
}

impl Beam {
    pub fn name(self) -> &'static str {
        match self {
            Beam::Begin => "begin",
            Beam::Continue => "continue",
            Beam::End => "end",
            Beam::ForwardHook => "forward hook",
            Beam::BackwardHook => "backward hook",
        }
    }
}

/// The beams of each note, the outermost first. A rest or a longer note parts them, and so does another beat, or the border
/// of a tuplet that has a rest: no bracket can stand across a beam's end. `tuplets` numbers that of each note.
pub fn beams(notes: &[SheetNote], tuplets: &[Option<usize>]) -> Vec<Vec<Beam>> {
    let mut out: Vec<Vec<Beam>> = vec![Vec::new(); notes.len()];
    let levels = |note: &SheetNote| note.pitch.and(note.value).map_or(0, |value| value.beams());
    let plain: Vec<usize> = (0..notes.len()).filter(|place| !notes[*place].is_grace).collect();
    let is_broken = |tuplet: Option<usize>| {
        let own = notes.iter().zip(tuplets).filter(|(note, of)| !note.is_grace && tuplet.is_some() && **of == tuplet);
        own.into_iter().any(|(note, _)| levels(note) == 0)
    };
    let go_on = |a: &usize, b: &usize| {
        let of = [tuplets[*a], tuplets[*b]];
        let [a, b] = [&notes[*a], &notes[*b]];
        (of[0] == of[1] || !of.into_iter().any(is_broken))
            && a.beamed_in == b.beamed_in
            && levels(a) > 0
            && levels(b) > 0
    };
    for group in plain.chunk_by(go_on).filter(|group| group.len() > 1) {
        for (at, place) in group.iter().enumerate() {
            let own = levels(&notes[*place]);
            let has = |other: Option<usize>, level: usize| {
                other.and_then(|o| group.get(o)).is_some_and(|o| levels(&notes[*o]) >= level)
            };
            for level in 1..=own {
                out[*place].push(match (has(at.checked_sub(1), level), has(Some(at + 1), level)) {
                    (false, true) => Beam::Begin,
                    (true, true) => Beam::Continue,
                    (true, false) => Beam::End,
                    // A hook looks back to the note that it completes, but for the first of a group.
                    (false, false) if at == 0 => Beam::ForwardHook,
                    (false, false) => Beam::BackwardHook,
                });
            }
        }
    }
    out
}
