//! The order of signatures: the key before the time. Where one side alone changes its key, the engraver draws the time
//! first.

use super::boxes::{Extent, has_class, is_box};
use super::shapes::Shapes;
use roxmltree::Node;

/// How far keys and times go to the right so that keys stand before times.
pub fn key_before_time<'a, 'i>(holder: Node<'a, 'i>, shapes: &Shapes) -> Vec<(Node<'a, 'i>, f64)> {
    let staves = holder.descendants().filter(|n| has_class(*n, "staff") && !is_box(*n));
    staves.flat_map(|staff| of_staff(staff, shapes)).collect()
}

fn of_staff<'a, 'i>(staff: Node<'a, 'i>, shapes: &Shapes) -> Vec<(Node<'a, 'i>, f64)> {
    let drawn = |class: &str| -> Vec<(Node<'a, 'i>, Extent)> {
        let own = staff.descendants().filter(|n| has_class(*n, class) && !is_box(*n));
        own.filter_map(|n| Some((n, shapes.drawn(n)?))).collect()
    };
    let keys = drawn("keySig");
    if keys.is_empty() {
        return Vec::new();
    }
    let notes = ["notehead", "rest", "mRest", "multiRest"].into_iter().flat_map(drawn).map(|(_, extent)| extent[0]);
    let first_note = notes.fold(f64::INFINITY, f64::min);
    let mut out = Vec::new();
    for (key, of_key) in keys.into_iter().filter(|(_, extent)| extent[0] < first_note) {
        let before = drawn("meterSig").into_iter().find(|(_, time)| time[2] <= of_key[0]);
        let Some((time, of_time)) = before else { continue };
        out.extend([(key, of_time[0] - of_key[0]), (time, of_key[2] - of_time[2])]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::boxes::SVG;
    use super::super::places::given;

    #[test]
    fn key_and_time_change_places() {
        let rect = |class: &str, x: u32, width: u32| {
            format!("<g class=\"{class}\"><rect x=\"{x}\" y=\"0\" width=\"{width}\" height=\"9\"/></g>")
        };
        let staff = |first: String, second: String| {
            let svg = format!(
                "<svg xmlns=\"{SVG}\"><g class=\"system\"><g class=\"staff\">{first}{second}{}</g></g></svg>",
                rect("rest", 900, 50)
            );
            given(&[svg]).unwrap().remove(0)
        };
        let moved = staff(rect("meterSig", 100, 80), rect("keySig", 220, 300));
        assert!(moved.contains("<g transform=\"translate(340 0)\" class=\"meterSig\">"), "{moved}");
        assert!(moved.contains("<g transform=\"translate(-120 0)\" class=\"keySig\">"), "{moved}");
        assert!(!staff(rect("keySig", 100, 80), rect("meterSig", 220, 300)).contains("transform"));
        // What comes within a bar, or warns of the next line behind a bar of rest, has its own place.
        let rest = [rect("meterSig", 100, 80), rect("mRest", 300, 50)].concat();
        assert!(!staff(rest, rect("keySig", 500, 300)).contains("transform"));
        assert!(!staff(rect("meterSig", 100, 80), rect("keySig", 1200, 300)).contains("transform"));
    }
}
