//! The order of signatures: the key before the time. Where one side alone changes its key, the engraver draws the time
//! first.

use super::boxes::{has_class, is_box};
use super::shapes::Shapes;
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// The pages with keys before times; `None` if one cannot be read.
pub fn key_before_time(pages: &[String]) -> Option<Vec<String>> {
    pages.iter().map(|svg| of_page(svg)).collect()
}

fn of_page(svg: &str) -> Option<String> {
    let document = Document::parse(svg).ok()?;
    let shapes = Shapes::new(&document);
    let mut patch = Patch::default();
    for staff in document.descendants().filter(|n| has_class(*n, "staff") && !is_box(*n)) {
        let drawn = |class: &str| -> Vec<(Node<'_, '_>, [f64; 4])> {
            let own = staff.descendants().filter(|n| has_class(*n, class) && !is_box(*n));
            own.filter_map(|n| Some((n, shapes.drawn(n)?))).collect()
        };
        let notes = drawn("notehead").into_iter().chain(drawn("rest")).map(|(_, extent)| extent[0]);
        let first_note = notes.fold(f64::INFINITY, f64::min);
        for (key, of_key) in drawn("keySig").into_iter().filter(|(_, extent)| extent[0] < first_note) {
            let before = drawn("meterSig").into_iter().find(|(_, time)| time[2] <= of_key[0]);
            let Some((time, of_time)) = before else { continue };
            for (node, by) in [(key, of_time[0] - of_key[0]), (time, of_key[2] - of_time[2])] {
                patch.insert(node.range().start + "<g".len(), format!(" transform=\"translate({by:.0}, 0)\""));
            }
        }
    }
    patch.apply(svg).ok()
}

#[cfg(test)]
mod tests {
    use super::super::boxes::SVG;
    use super::*;

    #[test]
    fn key_and_time_change_places() {
        let rect = |class: &str, x: u32, width: u32| {
            format!("<g class=\"{class}\"><rect x=\"{x}\" y=\"0\" width=\"{width}\" height=\"9\"/></g>")
        };
        let staff = |first: String, second: String| {
            let svg =
                format!("<svg xmlns=\"{SVG}\"><g class=\"staff\">{first}{second}{}</g></svg>", rect("rest", 900, 50));
            key_before_time(&[svg]).unwrap().remove(0)
        };
        let moved = staff(rect("meterSig", 100, 80), rect("keySig", 220, 300));
        assert!(moved.contains("<g transform=\"translate(340, 0)\" class=\"meterSig\">"), "{moved}");
        assert!(moved.contains("<g transform=\"translate(-120, 0)\" class=\"keySig\">"), "{moved}");
        assert!(!staff(rect("keySig", 100, 80), rect("meterSig", 220, 300)).contains("transform"));
        // What comes within a bar has its own place.
        assert!(!staff(rect("meterSig", 100, 80), rect("keySig", 1200, 300)).contains("transform"));
    }
}
