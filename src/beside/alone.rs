//! One part by itself, every note, rest and mark of it named: for a page on which they are chosen.

use crate::musicxml::Tree;
use crate::musicxml::apart::{Color, Look};
use crate::musicxml::beside::{Staff, Styles, write_pieces};
use crate::score::{MarkId, NoteId, Part};
use std::collections::BTreeMap;

/// What a name in the drawing (`m0`, `m1` …) stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    Note(NoteId),
    Mark(MarkId),
}

/// Stretches of a part for the engraver, and what is named in them.
pub struct NamedPart {
    pub music: Vec<String>,
    /// By the number of its name.
    pub things: BTreeMap<u32, Thing>,
}

/// Of the number of a name: whether it is a mark's, its bar, and its place there. A bar whose things stay keeps
/// their names, whatever becomes of others, so that it needs not be drawn again.
const PLACE_BITS: u32 = 9;
const BAR_BITS: u32 = 14;

/// `None` where a bar has more than there are names.
fn name(thing: Thing, bar: usize, place: u32) -> Option<u32> {
    let is_mark = u32::from(matches!(thing, Thing::Mark(_)));
    let bar = u32::try_from(bar).ok().filter(|bar| bar >> BAR_BITS == 0)?;
    (place >> PLACE_BITS == 0).then_some(((is_mark << BAR_BITS | bar) << PLACE_BITS) | place)
}

/// Names what a part has, and writes stretches of it, each of some lines: the first and the last bar of each.
pub fn named_part(tree: &Tree, part: &Part, stretches: &[&[(usize, usize)]]) -> NamedPart {
    let notes = (0..part.notes.len()).map(|n| (Thing::Note(n), part.notes[n].bar));
    let marks = (0..part.marks.len()).map(|m| (Thing::Mark(m), part.marks[m].at.place.bar));
    let mut counts: BTreeMap<(bool, usize), u32> = BTreeMap::new();
    let mut things = BTreeMap::new();
    let mut styles = Styles::default();
    for (thing, bar) in notes.chain(marks) {
        let count = counts.entry((matches!(thing, Thing::Mark(_)), bar)).or_default();
        let Some(name) = name(thing, bar, *count) else { continue };
        *count += 1;
        let look = Look { color: Some(Color(name)), ..Look::default() };
        match thing {
            Thing::Note(note) => styles.note_alone(tree, part, note, &look),
            Thing::Mark(mark) => styles.mark(tree, &part.marks[mark], &look),
        }
        things.insert(name, thing);
    }
    let staff = Staff { tree, part, styles, is_colored: false };
    NamedPart { music: write_pieces(&staff, stretches), things }
}
