//! Hairpins that begin with the last note of a line of music: long enough there to be read.

use super::boxes::{Extent, has_class, is_box, number, staff_lines};
use super::shapes::Shapes;
use roxmltree::Node;

/// A hairpin is no shorter.
const LEAST: f64 = 420.0;
/// So near to the end of a line it goes on in the next.
const AT_THE_END: f64 = 400.0;
/// Between two hairpins, and between one and the end of the line.
const GAP: f64 = 60.0;

/// How a stub is drawn out: where each of its points goes, by a factor and a distance; `None` for all else.
pub fn longer(node: Node<'_, '_>, shapes: &Shapes) -> Option<[f64; 2]> {
    let hairpin =
        Some(node).filter(|n| has_class(*n, "hairpin") && !is_box(*n) && n.attribute("transform").is_none())?;
    let measure = hairpin.parent().filter(|p| has_class(*p, "measure"))?;
    let own = shapes.drawn(hairpin)?;
    let end = measure.descendants().find(|n| has_class(*n, "staff")).map(staff_lines)?.first()?[1];
    if measure.next_siblings().skip(1).any(|n| has_class(n, "measure")) || own[2] < end - AT_THE_END {
        return None;
    }
    let beside = measure
        .children()
        .filter(|n| *n != hairpin && !is_box(*n))
        .filter(|n| has_class(*n, "hairpin") || has_class(*n, "dynam"));
    let beside = beside.filter_map(|n| shapes.drawn(n)).filter(|e| e[1] < own[3] && own[1] < e[3]);
    drawn_out(own, end, &beside.collect::<Vec<_>>())
}

fn drawn_out(own: Extent, end: f64, beside: &[Extent]) -> Option<[f64; 2]> {
    let before = beside.iter().map(|e| e[2]).filter(|right| *right <= own[0]).fold(f64::NEG_INFINITY, f64::max);
    let right = own[2].max(end - GAP);
    let left = own[0].min((right - LEAST).max(before + GAP));
    let wide = own[2] - own[0];
    if wide >= LEAST || wide <= 0.0 {
        return None;
    }
    let scale = (right - left) / wide;
    Some([scale, left - own[0] * scale])
}

/// The points of a line, drawn out.
pub fn drawn_out_points(points: &str, [scale, by]: [f64; 2]) -> String {
    let numbers = points.split([' ', ',']).filter_map(number).enumerate();
    let moved = numbers.map(|(place, n)| match place % 2 {
        0 => format!("{:.0},", n * scale + by),
        _ => format!("{n} "),
    });
    moved.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stub_becomes_as_long_as_there_is_room() {
        let stub = [900.0, 0.0, 950.0, 200.0];
        let told = |left: f64, right: f64| {
            let scale = (right - left) / 50.0;
            Some([scale, left - 900.0 * scale])
        };
        assert_eq!(drawn_out(stub, 1000.0, &[]), told(530.0, 950.0));
        assert_eq!(drawn_out(stub, 1000.0, &[[0.0, 0.0, 800.0, 200.0]]), told(860.0, 950.0));
        assert_eq!(drawn_out([0.0, 0.0, 950.0, 200.0], 1000.0, &[]), None);
        assert_eq!(drawn_out_points("900,7 950,8 ", [2.0, -950.0]), "850,7 950,8 ");
    }
}
