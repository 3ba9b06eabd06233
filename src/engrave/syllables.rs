//! Syllables that would lie on a barline or on the next one go aside: they never leave their line.

use super::boxes::{Extent, SVG, has_class, is_box, number};
use super::room::Room;
use super::shapes::Shapes;
use super::units::{Moves, moved};
use roxmltree::Node;
use std::collections::BTreeMap;

/// Between syllables, and between one and a barline.
const GAP: f64 = 40.0;
/// A syllable goes no farther from its note.
const FARTHEST: f64 = 220.0;

/// A syllable, where it stands and how far it is moved.
struct Syllable<'a, 'i> {
    text: Node<'a, 'i>,
    extent: Extent,
}

/// Whether an element is the text of a syllable.
pub fn is_syllable(node: Node<'_, '_>) -> bool {
    node.has_tag_name((SVG, "text")) && node.parent().is_some_and(|p| has_class(p, "syl") && !is_box(p))
}

/// Gives all syllables their places.
pub fn settle(holder: Node<'_, '_>, shapes: &Shapes, room: &mut Room, moves: &mut Moves) -> Vec<Extent> {
    let mut places = Vec::new();
    let mut lines: BTreeMap<i64, Vec<Syllable>> = BTreeMap::new();
    for text in holder.descendants().filter(|n| is_syllable(*n)) {
        let line = text.attribute("y").and_then(number).map_or(0, |y| y.round() as i64);
        let extent = shapes.placed(text, holder);
        lines.entry(line).or_default().extend(extent.map(|extent| Syllable { text, extent }));
    }
    let barlines: Vec<Extent> = holder
        .descendants()
        .filter(|n| n.has_tag_name((SVG, "path")) && n.parent().is_some_and(|p| has_class(p, "barLine")))
        .filter_map(|n| shapes.placed(n, holder))
        .collect();
    for line in lines.values_mut() {
        line.sort_by(|a, b| a.extent[0].total_cmp(&b.extent[0]));
        let crossing = |e: Extent| barlines.iter().filter(move |b| b[1] < e[3] && e[1] < b[3]);
        let mut free_from = f64::NEG_INFINITY;
        for at in 0..line.len() {
            let own = line[at].extent;
            let next = line.get(at + 1).map_or(f64::INFINITY, |next| next.extent[0]);
            let by = shift(own, [free_from, next], crossing(own).map(|b| [b[0], b[2]]));
            let there = moved(own, [by, 0.0]);
            if by != 0.0 {
                moves.insert(line[at].text.id(), [by, 0.0]);
            }
            free_from = there[2];
            room.take(there);
            places.push(there);
        }
    }
    places
}

/// How far a syllable goes to be free of the one before, the one behind and the barlines.
fn shift(own: Extent, [before, behind]: [f64; 2], barlines: impl Iterator<Item = [f64; 2]>) -> f64 {
    let walls: Vec<[f64; 2]> = barlines.collect();
    // Verses of a score for voices are dense; only what touches is moved.
    let is_free = |by: f64| {
        let (left, right) = (own[0] + by, own[2] + by);
        left >= before && right <= behind && walls.iter().all(|[l, r]| right <= *l || left >= *r)
    };
    if is_free(0.0) {
        return 0.0;
    }
    let wanted = walls.iter().flat_map(|[l, r]| [l - GAP - own[2], r + GAP - own[0]]);
    let wanted = wanted.chain([before + GAP - own[0], behind - GAP - own[2]]);
    let mut wanted: Vec<f64> = wanted.filter(|by| by.abs() <= FARTHEST).collect();
    wanted.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    if let Some(by) = wanted.iter().copied().find(|by| is_free(*by)) {
        return by;
    }
    // Between two that leave no room for both gaps, the middle.
    let middle = (before + behind - own[0] - own[2]) / 2.0;
    if is_free(middle) { middle } else { (before - own[0]).clamp(0.0, FARTHEST) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_syllable_goes_aside_as_little_as_it_must() {
        let own = [100.0, 0.0, 300.0, 100.0];
        let free = [f64::NEG_INFINITY, f64::INFINITY];
        assert_eq!(shift(own, free, std::iter::empty()), 0.0);
        assert_eq!(shift(own, free, [[290.0, 317.0]].into_iter()), -50.0);
        assert_eq!(shift(own, free, [[90.0, 117.0]].into_iter()), 57.0);
        assert_eq!(shift(own, [120.0, f64::INFINITY], std::iter::empty()), 60.0);
        assert_eq!(shift(own, [f64::NEG_INFINITY, 280.0], std::iter::empty()), -60.0);
        // There is room for the syllable alone.
        assert_eq!(shift(own, [120.0, 330.0], std::iter::empty()), 25.0);
        // There is none.
        assert_eq!(shift(own, [120.0, 250.0], std::iter::empty()), 20.0);
    }
}
