//! What belongs to one beat stands on one line: a dynamic and the words after it, a tempo and its metronome mark.
//! The engraver sets them above each other, or on each other.

use super::boxes::{Extent, SVG, has_class, is_box, number, staff_lines, translation};
use super::letters::Face;
use super::room::Room;
use super::shapes::{Shapes, union};
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// Between two texts, and if one of them is ringed.
const GAP: f64 = 120.0;
const AROUND_RING: f64 = 330.0;
/// What begins so near is of one beat, and what stands so near is above each other.
const BEAT: f64 = 400.0;
const BEAT_OF_TEMPO: f64 = 700.0;
const LINES: f64 = 1100.0;

/// The pages with what belongs together on one line, where there is room; `None` if one cannot be read.
pub fn on_one_line(pages: &[String]) -> Option<Vec<String>> {
    pages.iter().map(|svg| of_page(svg)).collect()
}

fn of_page(svg: &str) -> Option<String> {
    let document = Document::parse(svg).ok()?;
    let shapes = Shapes::new(&document);
    let mut patch = Patch::default();
    for system in document.descendants().filter(|n| has_class(*n, "system") && !is_box(*n)) {
        for measure in system.children().filter(|n| has_class(*n, "measure") && !is_box(*n)) {
            let staves: Vec<f64> = measure
                .children()
                .filter(|n| has_class(*n, "staff") && !is_box(*n))
                .filter_map(|staff| Some(staff_lines(staff).first()?[2]))
                .collect();
            let texts: Vec<Text<'_, '_>> = measure.children().filter_map(|n| Text::read(n, &shapes, &staves)).collect();
            for second in &texts {
                let first = texts.iter().find(|first| first.leads(second));
                let Some([right, down]) = first.and_then(|first| way(first, second, system, &shapes)) else { continue };
                let at = second.node.range().start + "<g".len();
                patch.insert(at, format!(" transform=\"translate({right:.0}, {down:.0})\""));
            }
        }
    }
    patch.apply(svg).ok()
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Dynamic,
    Words,
    /// A metronome mark without words.
    Metronome,
}

/// A text above or below a staff.
struct Text<'n, 'i> {
    node: Node<'n, 'i>,
    kind: Kind,
    extent: Extent,
    /// On which it stands.
    line: f64,
    /// How many staves are above it.
    below: usize,
    is_ringed: bool,
}

impl<'n, 'i> Text<'n, 'i> {
    fn read(node: Node<'n, 'i>, shapes: &Shapes, staves: &[f64]) -> Option<Text<'n, 'i>> {
        let is = |class| has_class(node, class);
        if is_box(node) || node.has_attribute("transform") {
            return None;
        }
        let kind = match () {
            () if is("dynam") && has_glyphs(node) => Kind::Dynamic,
            () if is("tempo") && is_metronome(node) => Kind::Metronome,
            () if is("dir") || is("dynam") || is("tempo") => Kind::Words,
            () => return None,
        };
        let sign = node.children().find(|n| n.has_tag_name((SVG, "text")) || n.has_tag_name((SVG, "use")))?;
        let line = sign.attribute("y").and_then(number).or_else(|| translation(sign).map(|[_, y]| y))?;
        let is_ringed = node.children().any(|n| n.has_attribute("fill-opacity"));
        let below = staves.iter().filter(|top| **top < line).count();
        Some(Text { node, kind, extent: words(node, shapes)?, line, below, is_ringed })
    }

    /// Whether another one comes after this one, on its line.
    fn leads(&self, other: &Text) -> bool {
        let belongs = matches!((self.kind, other.kind), (Kind::Dynamic, Kind::Words) | (Kind::Words, Kind::Metronome));
        let beat = if other.kind == Kind::Metronome { BEAT_OF_TEMPO } else { BEAT };
        let is_near = (self.extent[0] - other.extent[0]).abs() < beat && (self.line - other.line).abs() < LINES;
        belongs && is_near && self.below == other.below
    }
}

/// All that is read of a text, without its ring and the dashes after it.
fn words(node: Node<'_, '_>, shapes: &Shapes) -> Option<Extent> {
    let read = node.children().filter(|n| n.has_tag_name((SVG, "text")) || n.has_tag_name((SVG, "use")));
    read.filter_map(|n| shapes.drawn(n)).reduce(union)
}

fn face(text: Node<'_, '_>) -> Option<Face> {
    text.parent().map(Face::of)
}

/// Whether signs of the music font are in it.
fn has_glyphs(node: Node<'_, '_>) -> bool {
    node.descendants().any(|n| n.has_tag_name((SVG, "use")) || n.is_text() && face(n) == Some(Face::Music))
}

/// Whether a tempo is told in a note's length alone.
fn is_metronome(tempo: Node<'_, '_>) -> bool {
    let texts = || tempo.descendants().filter(|n| n.is_text());
    has_glyphs(tempo)
        && texts()
            .filter(|n| face(*n) != Some(Face::Music))
            .all(|n| n.text().unwrap_or_default().chars().all(|c| !c.is_alphabetic()))
}

/// How far the second must go, right and down, to stand after the first.
fn way(first: &Text, second: &Text, system: Node<'_, '_>, shapes: &Shapes) -> Option<[f64; 2]> {
    let gap = if first.is_ringed || second.is_ringed { AROUND_RING } else { GAP };
    let room = Room::around(system, shapes, &[first.node, second.node]);
    let [left, top, right, bottom] = second.extent;
    let on_line = first.line - second.line;
    let beside = [first.extent[2] + gap - left, on_line];
    let above = |more: f64| [0.0, first.extent[1] - gap / 2.0 - more - bottom];
    let is_free = |[x, y]: &[f64; 2]| room.taken([left + x, top + y, right + x, bottom + y]) <= 0.0;
    let is_on_it = (0..2)
        .all(|side| first.extent[side].max(second.extent[side]) < first.extent[side + 2].min(second.extent[side + 2]));
    let higher = [0.0, 150.0, 300.0].map(above);
    let ways = std::iter::once(beside).chain(higher.into_iter().filter(|_| is_on_it));
    ways.into_iter().find(is_free)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(class: &str, x: u32, y: u32, said: &str) -> String {
        format!(
            "<g class=\"{class}\"><text x=\"{x}\" y=\"{y}\" font-size=\"0px\"><tspan><tspan font-size=\"405px\">{said}</tspan>\
             </tspan></text></g>"
        )
    }

    fn forte(x: u32, y: u32) -> String {
        let sign = format!(
            "<text x=\"{x}\" y=\"{y}\"><tspan font-family=\"Leipzig\" font-size=\"720px\">\u{E522}</tspan></text>"
        );
        format!("<g class=\"dynam\">{sign}</g>")
    }

    fn drawn(inner: &str) -> String {
        let staff = |y: u32| format!("<g class=\"staff\"><path d=\"M0 {y} L9000 {y}\"/></g>");
        let svg = format!(
            "<svg xmlns=\"{SVG}\"><g class=\"system\"><g class=\"measure\">{}{}{inner}</g></g></svg>",
            staff(2000),
            staff(5000)
        );
        on_one_line(&[svg]).unwrap().remove(0)
    }

    #[test]
    fn words_stand_after_their_dynamic() {
        let both = forte(1000, 3500) + &text("dynam", 1050, 3520, "dim.");
        let moved = drawn(&both);
        assert!(moved.contains("<g transform=\"translate(") && moved.contains(", -20)\" class=\"dynam\">"), "{moved}");
        // Where there is no room it stands above it; what is elsewhere stays.
        let full = drawn(&(both + &text("dir", 1700, 3510, "espressivo")));
        assert!(full.contains("<g transform=\"translate(0, -"), "{full}");
        let apart = forte(1000, 3500) + &text("dir", 1050, 6300, "dim.");
        assert!(!drawn(&apart).contains("transform"));
        let later = forte(1000, 3500) + &text("dir", 3050, 3500, "dim.");
        assert!(!drawn(&later).contains("transform"));
    }

    #[test]
    fn a_metronome_mark_stands_after_its_tempo() {
        let mark = |said: &str| {
            let note = "<g class=\"tempo\"><text x=\"1000\" y=\"700\" font-size=\"0px\"><tspan font-family=\"Leipzig\" \
                        font-size=\"720px\">\u{ECA5}</tspan>";
            format!("{note}<tspan font-size=\"405px\">{said}</tspan></text></g>")
        };
        let words = text("dir", 1000, 1300, "Largo");
        let moved = drawn(&(words.clone() + &mark(" = 126)")));
        assert!(moved.contains(", 600)\" class=\"tempo\">"), "{moved}");
        assert!(!drawn(&(words + &mark(" = 126, a little slower"))).contains("transform"));
    }
}
