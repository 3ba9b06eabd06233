//! Trills and other signs over a note, free of its accidental: the engraver puts them
//! close above the head.

use super::boxes::{Extent, has_class};
use super::shapes::Shapes;
use crate::patch::Patch;
use roxmltree::{Document, Node};

const SIGNS: [&str; 3] = ["trill", "mordent", "turn"];
/// Between a sign and an accidental.
const GAP: f64 = 50.0;
/// A sign that would have to go farther stays.
const FARTHEST: f64 = 400.0;

/// A page on which signs have moved up from accidentals; `None` if it is none.
pub fn free_of_accidentals(svg: &str) -> Option<String> {
    let document = Document::parse(svg).ok()?;
    let shapes = Shapes::new(&document);
    let of_class = |class: &'static [&'static str]| {
        let is = move |n: &Node<'_, '_>| class.iter().any(|c| has_class(*n, c));
        document.descendants().filter(is)
    };
    let accidentals: Vec<Extent> = of_class(&["accid"]).filter_map(|n| shapes.drawn(n)).collect();
    let mut patch = Patch::default();
    for sign in of_class(&SIGNS).filter(|n| n.attribute("transform").is_none()) {
        let Some([left, top, right, bottom]) = shapes.drawn(sign) else { continue };
        let meets = |[l, t, r, b]: &&Extent| {
            let beside = *l < right + GAP / 2.0 && left - GAP / 2.0 < *r;
            // It stands above.
            beside && *t < bottom + GAP && top < *b && (top + bottom) < (t + b)
        };
        let by = accidentals.iter().filter(meets).map(|[_, t, ..]| bottom + GAP - t).fold(0.0, f64::max);
        if by > 0.0 && by <= FARTHEST {
            patch.insert(sign.range().start + "<g".len(), format!(" transform=\"translate(0 {:.0})\"", -by));
        }
    }
    patch.apply(svg).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trill_moves_up_from_a_sharp_and_from_nothing_else() {
        let page = |accidental: [u32; 2]| {
            let [x, y] = accidental;
            format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\"><g class=\"accid\"><rect x=\"{x}\" y=\"{y}\" width=\"100\" \
                 height=\"500\"/></g><g class=\"trill\"><rect x=\"180\" y=\"100\" width=\"300\" height=\"200\"/></g></svg>"
            )
        };
        let moved = free_of_accidentals(&page([100, 250])).unwrap();
        assert!(moved.contains("<g transform=\"translate(0 -100)\" class=\"trill\">"), "{moved}");
        // Below it, beside it, above it.
        for free in [[100, 360], [20, 250], [600, 250]] {
            assert_eq!(free_of_accidentals(&page(free)).unwrap(), page(free));
        }
    }
}
