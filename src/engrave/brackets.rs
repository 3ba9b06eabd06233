//! Brackets around signs that are marked for them: the engraver knows them around
//! accidentals only.

use super::boxes::{has_class, is_box};
use super::mei::BRACKETED;
use super::shapes::Shapes;
use crate::patch::Patch;
use roxmltree::Document;

/// Between a sign and its bracket; how far a bracket reaches around it; at least so high.
const GAP: f64 = 45.0;
const HOOK: f64 = 55.0;
const LEAST: f64 = 200.0;

/// A page with its brackets, and without the boxes that tell where signs are;
/// `None` if it is none.
pub fn bracketed(svg: &str) -> Option<String> {
    let document = Document::parse(svg).ok()?;
    let shapes = Shapes::new(&document);
    let mut patch = Patch::default();
    let mut cut = 0;
    for node in document.descendants().filter(|n| n.is_element()) {
        if is_box(node) && node.range().start >= cut {
            patch.cut(node.range());
            cut = node.range().end;
        }
        let marked = has_class(node, BRACKETED) && !is_box(node);
        if let Some([left, top, right, bottom]) = shapes.drawn(node).filter(|_| marked) {
            let more = (LEAST - (bottom - top)).max(0.0) / 2.0;
            let (top, bottom) = (top - more - GAP / 2.0, bottom + more + GAP / 2.0);
            let one = |x: f64, to: f64| format!("M{:.0} {top:.0}H{x:.0}V{bottom:.0}H{:.0}", x + to, x + to);
            let line = format!("{}{}", one(left - GAP, HOOK - 15.0), one(right + GAP, 15.0 - HOOK));
            let end = node.range().start + svg[node.range()].rfind("</")?;
            patch.insert(end, format!("<path d=\"{line}\" fill=\"none\" stroke-width=\"22\"/>"));
        }
    }
    patch.apply(svg).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_marked_sign_has_brackets_and_boxes_are_gone() {
        let sign = |class: &str| {
            format!(
                "<g class=\"artic{class}\"><g class=\"artic bounding-box{class}\"><rect x=\"100\" y=\"50\" width=\"200\" \
                 height=\"9000\"/></g><rect x=\"100\" y=\"50\" width=\"200\" height=\"300\"/></g>"
            )
        };
        let page = format!("<svg xmlns=\"http://www.w3.org/2000/svg\">{}{}</svg>", sign(" bracketed"), sign(""));
        let drawn = bracketed(&page).unwrap();
        assert_eq!(drawn.matches("<path").count(), 1);
        assert!(drawn.contains("height=\"300\"/><path d=\"M95 28H55V372H95M305 28H345V372H305\""), "{drawn}");
        assert!(!drawn.contains("bounding-box"), "{drawn}");
    }
}
