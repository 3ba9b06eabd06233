//! Syllables above a staff stand next to its notes, and words above them: the engraver has it the other way round. Words
//! of several lines stand above those that follow them, which else would float over the lines.

use super::boxes::{Extent, has_class, is_box, staff_lines};
use super::mei::HEADING;
use super::outlines::union;
use super::places::translated;
use super::shapes::Shapes;
use crate::patch::Patch;
use roxmltree::{Document, Node};
use std::borrow::Cow;

/// Between the notes and the syllables.
const GAP: f64 = 60.0;
/// Between the syllables and the words, and between words.
const WORDS_GAP: f64 = 130.0;
/// Words that are so many times as high as others have several lines.
const SEVERAL_LINES: f64 = 1.8;
/// Words come so near to notes.
const NEAR: f64 = 30.0;
/// What syllables and words must stay above, by its own extent.
const MUSIC: [&str; 3] = ["note", "rest", "tupletNum"];

/// The drawing with these in their order; `None` if it is none.
pub fn under_words(svg: &str) -> Option<Cow<'_, str>> {
    if !svg.contains(HEADING) {
        return Some(Cow::Borrowed(svg));
    }
    let document = Document::parse(svg).ok()?;
    let shapes = Shapes::new(&document);
    let mut patch = Patch::default();
    for system in document.descendants().filter(|n| has_class(*n, "system") && !is_box(*n)) {
        let mut system = System::new(system, &shapes);
        system.lower();
        system.order();
        system.clear();
        for (node, _, by) in system.syllables.iter().chain(&system.words).filter(|(_, _, by)| *by != 0.0) {
            patch.insert(node.range().start + 1 + node.tag_name().name().len(), translated([0.0, *by]));
        }
    }
    patch.apply(svg).ok().map(Cow::Owned)
}

/// What is moved up or down: where it stands by now, and how far it has been moved.
type Moved<'a, 'i> = (Node<'a, 'i>, Extent, f64);

/// Of one line of music.
#[derive(Default)]
struct System<'a, 'i> {
    /// Above the staff.
    syllables: Vec<Moved<'a, 'i>>,
    words: Vec<Moved<'a, 'i>>,
    /// What they stand above.
    music: Vec<Extent>,
    /// Bars with syllables, from left to right.
    sung: Vec<[f64; 2]>,
}

impl<'a, 'i> System<'a, 'i> {
    fn new(holder: Node<'a, 'i>, shapes: &Shapes) -> System<'a, 'i> {
        let mut out = System::default();
        for measure in holder.descendants().filter(|n| has_class(*n, "measure") && !is_box(*n)) {
            let of = |classes: &'static [&str]| {
                move |n: &Node<'_, '_>| !is_box(*n) && classes.iter().any(|class| has_class(*n, class))
            };
            let staves = measure.descendants().filter(of(&["staff"])).flat_map(staff_lines);
            let Some(staff) = staves.map(|[left, right, y]| [left, y, right, y]).reduce(union) else { continue };
            let verses = measure.descendants().filter(of(&["verse"])).filter_map(|n| Some((n, shapes.drawn(n)?, 0.0)));
            let before = out.syllables.len();
            out.syllables.extend(verses.filter(|(_, extent, _)| extent[3] < staff[1]));
            if out.syllables.len() > before {
                out.sung.push([staff[0], staff[2]]);
            }
            out.music.push(staff);
            out.music.extend(measure.descendants().filter(of(&MUSIC)).filter_map(|n| heads(n, shapes)));
            let is_slanted = |n: &Node<'_, '_>| {
                n.is_element() && n.parent().is_some_and(|p| ["beam", "slur"].iter().any(|class| has_class(p, class)))
            };
            let slanted =
                measure.descendants().filter(is_slanted).filter(|n| matches!(n.tag_name().name(), "polygon" | "path"));
            out.music.extend(slanted.flat_map(|n| shapes.pieces(n, holder)));
            let words = measure.children().filter(of(&[HEADING]));
            out.words.extend(words.filter_map(|n| Some((n, shapes.drawn(n)?, 0.0))));
        }
        out
    }

    /// Syllables next to the notes, all at one height, and the words of their bars above them.
    fn lower(&mut self) {
        let Some(all) = self.syllables.iter().map(|(_, e, _)| *e).reduce(union) else { return };
        let sung = &self.sung;
        let is_sung = |e: &Extent| sung.iter().any(|[left, right]| e[0] < *right && *left < e[2]);
        let music = self.music.iter().filter(|e| is_sung(e)).map(|e| e[1]).fold(f64::INFINITY, f64::min);
        let down = music - GAP - all[3];
        self.syllables.iter_mut().for_each(|one| shift(one, down));
        let begins_there = |e: &Extent| sung.iter().any(|[left, right]| (*left..*right).contains(&e[0]));
        let mut words: Vec<_> = self.words.iter_mut().filter(|(_, e, _)| begins_there(e)).collect();
        let Some(lowest) = words.iter().map(|(_, e, _)| e[3]).reduce(f64::max) else { return };
        let up = (all[1] + down - WORDS_GAP) - lowest;
        words.iter_mut().filter(|_| up < 0.0).for_each(|one| shift(one, up));
    }

    /// What stands above words of several lines goes under them.
    fn order(&mut self) {
        for block in 0..self.words.len() {
            for after in block + 1..self.words.len() {
                let [own, other] = [self.words[block].1, self.words[after].1];
                let is_under = other[1] > own[3] || other[0] > own[2] + WORDS_GAP;
                if is_under || own[3] - own[1] < SEVERAL_LINES * (other[3] - other[1]) {
                    continue;
                }
                let top = self.top(other);
                let down = if top.is_finite() { top - WORDS_GAP - other[3] } else { 0.0 };
                shift(&mut self.words[after], down.max(0.0));
                let up = self.words[after].1[1] - WORDS_GAP - own[3];
                shift(&mut self.words[block], up.min(0.0));
            }
        }
    }
}

impl System<'_, '_> {
    /// The top of what is under words.
    fn top(&self, words: Extent) -> f64 {
        // A syllable ends with a space.
        let beneath = |e: &&Extent| e[0] < words[2] && words[0] + WORDS_GAP < e[2];
        let syllables = self.syllables.iter().map(|(_, e, _)| e);
        self.music.iter().chain(syllables).filter(beneath).map(|e| e[1]).fold(f64::INFINITY, f64::min)
    }

    /// Words do not lie on notes or beams.
    fn clear(&mut self) {
        for place in 0..self.words.len() {
            let own = self.words[place].1;
            let up = self.top(own) - NEAR - own[3];
            shift(&mut self.words[place], up.min(0.0));
        }
    }
}

fn shift((_, extent, moved): &mut Moved<'_, '_>, by: f64) {
    extent[1] += by;
    extent[3] += by;
    *moved += by;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engrave::boxes::SVG;

    fn heading(id: &str, [left, top, right, bottom]: [i32; 4]) -> String {
        let (width, height) = (right - left, bottom - top);
        let rect = format!("<rect x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\"/>");
        format!("<g id=\"{id}\" class=\"dir heading\">{rect}</g>")
    }

    fn moved(drawn: &str, id: &str) -> f64 {
        let own = drawn.split(&format!("id=\"{id}\"")).next().unwrap().rsplit('<').next().unwrap().to_string()
            + drawn.split(&format!("id=\"{id}\"")).nth(1).unwrap().split('>').next().unwrap();
        own.split("translate(0 ").nth(1).map_or(0.0, |by| by.split(')').next().unwrap().parse().unwrap())
    }

    #[test]
    fn a_heading_over_words_of_several_lines_goes_under_them_and_off_the_notes() {
        let bar = |left: i32, inner: &str| {
            let line = format!("<path d=\"M{left} 3000 L{} 3000\"/>", left + 1000);
            format!("<g class=\"measure\"><g class=\"staff\">{line}</g>{inner}</g>")
        };
        let note = "<g class=\"note\"><rect x=\"3100\" y=\"2700\" width=\"100\" height=\"100\"/></g>";
        let bars = [
            bar(0, &heading("block", [0, 1800, 1500, 2800])),
            bar(1000, &heading("floating", [1100, 1400, 1900, 1700])),
            bar(3000, &[heading("touching", [3000, 2500, 3400, 2800]).as_str(), note].concat()),
        ];
        let svg = format!("<svg xmlns=\"{SVG}\"><g class=\"system\">{}</g></svg>", bars.concat());
        let drawn = under_words(&svg).unwrap();
        assert_eq!(moved(&drawn, "floating"), 3000.0 - WORDS_GAP - 1700.0);
        // Its top is at 2570.
        assert_eq!(moved(&drawn, "block"), 2570.0 - WORDS_GAP - 2800.0);
        assert_eq!(moved(&drawn, "touching"), 2700.0 - NEAR - 2800.0);
        let other = svg.replace(" heading", "");
        assert_eq!(under_words(&other).unwrap(), other, "other words stay where they are");
    }
}
