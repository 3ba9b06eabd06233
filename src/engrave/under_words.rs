//! Syllables above a staff stand next to its notes, and words above them: the engraver has it the other way round.

use super::boxes::{Extent, has_class, is_box, staff_lines};
use super::outlines::union;
use super::places::translated;
use super::shapes::Shapes;
use crate::patch::Patch;
use roxmltree::{Document, Node};
use std::borrow::Cow;

/// Between the notes, the syllables and the words.
const GAP: f64 = 60.0;
/// What the words beside a staff are.
const WORDS: [&str; 3] = ["dir", "tempo", "reh"];
/// What syllables must stay above.
const MUSIC: [&str; 5] = ["beam", "note", "rest", "slur", "tuplet"];

/// The drawing with these in their order; `None` if it is none.
pub fn under_words(svg: &str) -> Option<Cow<'_, str>> {
    if !svg.contains("class=\"verse") {
        return Some(Cow::Borrowed(svg));
    }
    let document = Document::parse(svg).ok()?;
    let shapes = Shapes::new(&document);
    let mut patch = Patch::default();
    for system in document.descendants().filter(|n| has_class(*n, "system") && !is_box(*n)) {
        lower(system, &shapes, &mut patch);
    }
    patch.apply(svg).ok().map(Cow::Owned)
}

/// The syllables of a bar that stand above its staff, and the top of that.
fn above<'a, 'i>(measure: Node<'a, 'i>, shapes: &Shapes) -> (Vec<(Node<'a, 'i>, Extent)>, f64) {
    let staves = measure.descendants().filter(|n| has_class(*n, "staff") && !is_box(*n));
    let top = staves.flat_map(staff_lines).map(|line| line[2]).fold(f64::INFINITY, f64::min);
    let verses = measure.descendants().filter(|n| has_class(*n, "verse") && !is_box(*n));
    let placed = verses.filter_map(|n| Some((n, shapes.drawn(n)?)));
    (placed.filter(|(_, extent)| extent[3] < top).collect(), top)
}

fn lower(system: Node<'_, '_>, shapes: &Shapes, patch: &mut Patch) {
    let measures: Vec<Node> = system.descendants().filter(|n| has_class(*n, "measure") && !is_box(*n)).collect();
    let (mut syllables, mut words, mut music) = (Vec::new(), Vec::new(), f64::INFINITY);
    for measure in measures {
        let (own, top) = above(measure, shapes);
        if own.is_empty() {
            continue;
        }
        let of = |classes: &'static [&str]| {
            move |n: &Node<'_, '_>| !is_box(*n) && classes.iter().any(|class| has_class(*n, class))
        };
        let drawn = |n: Node<'_, '_>| heads(n, shapes);
        music = music.min(top);
        music = measure.descendants().filter(of(&MUSIC)).filter_map(drawn).map(|e| e[1]).fold(music, f64::min);
        words.extend(measure.children().filter(of(&WORDS)).filter_map(|n| Some((n, shapes.drawn(n)?))));
        syllables.extend(own);
    }
    let Some(all) = syllables.iter().map(|(_, e)| *e).reduce(union) else { return };
    let down = music - GAP - all[3];
    let mut shift = |node: Node<'_, '_>, by: f64| {
        patch.insert(node.range().start + 1 + node.tag_name().name().len(), translated([0.0, by]));
    };
    syllables.iter().for_each(|(node, _)| shift(*node, down));
    let Some(lowest) = words.iter().map(|(_, e)| e[3]).reduce(f64::max) else { return };
    let up = (all[1] + down - GAP) - lowest;
    words.iter().filter(|_| up < 0.0).for_each(|(node, _)| shift(*node, up));
}

/// What an element draws itself, without the syllables below its notes.
fn heads(node: Node<'_, '_>, shapes: &Shapes) -> Option<Extent> {
    match node.descendants().any(|n| has_class(n, "verse")) {
        false => shapes.drawn(node),
        true => {
            let parts = node.children().filter(|n| n.is_element() && !has_class(*n, "verse") && !is_box(*n));
            parts.filter_map(|part| heads(part, shapes)).reduce(union)
        }
    }
}
