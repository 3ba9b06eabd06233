//! Trills and other signs over a note, free of its accidental: the engraver puts them
//! close above the head.

use super::boxes::{Extent, has_class, is_box};
use super::shapes::Shapes;
use roxmltree::Node;

const SIGNS: [&str; 3] = ["trill", "mordent", "turn"];
/// Between a sign and an accidental.
const GAP: f64 = 50.0;
/// A sign that would have to go farther stays.
const FARTHEST: f64 = 400.0;

/// The signs that must go up from accidentals, and how far.
pub fn over_accidentals<'a, 'i>(holder: Node<'a, 'i>, shapes: &Shapes) -> Vec<(Node<'a, 'i>, f64)> {
    let of_class = |classes: &'static [&'static str]| {
        let is = move |n: &Node<'_, '_>| classes.iter().any(|c| has_class(*n, c)) && !is_box(*n);
        holder.descendants().filter(is)
    };
    let accidentals: Vec<Extent> = of_class(&["accid"]).filter_map(|n| shapes.drawn(n)).collect();
    let lifted = |sign: Node<'a, 'i>| {
        let [left, top, right, bottom] = shapes.drawn(sign)?;
        let meets = |[l, t, r, b]: &&Extent| {
            let beside = *l < right + GAP / 2.0 && left - GAP / 2.0 < *r;
            // It stands above.
            beside && *t < bottom + GAP && top < *b && (top + bottom) < (t + b)
        };
        let by = accidentals.iter().filter(meets).map(|[_, t, ..]| bottom + GAP - t).fold(0.0, f64::max);
        (by > 0.0 && by <= FARTHEST).then_some((sign, by))
    };
    of_class(&SIGNS).filter(|n| n.attribute("transform").is_none()).filter_map(lifted).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use roxmltree::Document;

    #[test]
    fn a_trill_moves_up_from_a_sharp_and_from_nothing_else() {
        let lifted = |accidental: [u32; 2]| {
            let [x, y] = accidental;
            let page = format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\"><g class=\"accid\"><rect x=\"{x}\" y=\"{y}\" width=\"100\" \
                 height=\"500\"/></g><g class=\"trill\"><rect x=\"180\" y=\"100\" width=\"300\" height=\"200\"/></g></svg>"
            );
            let document = Document::parse(&page).unwrap();
            let lifted = over_accidentals(document.root(), &Shapes::new(&document));
            lifted.into_iter().map(|(_, by)| by).collect::<Vec<_>>()
        };
        assert_eq!(lifted([100, 250]), [100.0]);
        // Below it, beside it, above it.
        for free in [[100, 360], [20, 250], [600, 250]] {
            assert!(lifted(free).is_empty());
        }
    }
}
