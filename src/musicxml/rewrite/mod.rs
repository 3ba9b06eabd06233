//! Turning what should become of a part into edits of its document.
//!
//! A part goes through stages, each of which takes the one before it, so that nothing is asked
//! or done too early: [`Composed`], in which bars that take the source's music have its notes and
//! pitches and ties are put right, or [`Alone`], for a part that only moves; [`Marking`], in which the edition's marks stay, look otherwise
//! or go; [`Inserter`], which inserts marks; and its end, which settles what waited: ties at
//! seams, times, accidentals and stems, bars and their attributes.

mod accidentals;
mod alone;
mod attributes;
mod bars;
mod clefs;
mod compose;
mod context;
mod draft;
mod figures;
mod frame;
mod graces;
mod harmony;
mod in_force;
mod insert;
mod key_signs;
mod marks;
mod music;
mod new_marks;
mod octaves;
mod respell;
mod seams;
mod spans;
mod stages;
mod stems;
mod style;
mod ties;
mod timed;
mod transpose;
mod unprinted;
mod voices;
mod write_for;

use super::tree::{Tree, child_text};
use crate::alignment::{EditionNote, PartAlignment, SourceNote, SourcePart};
use crate::score::Element;
use roxmltree::Node;

pub use clefs::{clef_fragment, read_clef};
pub use context::{Context, Signatures};
pub use new_marks::NewMark;
pub use octaves::{TouchedLine, touched_octave_lines};
pub use stages::{Alone, Composed, Marking};
pub use transpose::TooManySigns;
pub use write_for::{Refusal, WrittenPart, transpose_fragment};

/// A note of the result: one of the edition's, or one made from the source's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum Target {
    Kept(EditionNote),
    Composed(SourceNote),
}

/// The source side of a rewrite.
#[derive(Clone, Copy)]
pub struct SourceSide<'a, 'i> {
    pub tree: &'a Tree<'i>,
    pub part: SourcePart<'a>,
    pub alignment: &'a PartAlignment,
}

impl<'a, 'i> SourceSide<'a, 'i> {
    /// An element of the part, its notes, its bars or its marks.
    fn node(&self, element: Element) -> Node<'a, 'i> {
        self.tree.node(element)
    }
}

/// The voice as the document names it.
fn voice_name(note: Node<'_, '_>) -> String {
    child_text(note, "voice").unwrap_or("").to_string()
}
