//! What the engraver leaves to us on paper. Brackets around signs that are marked for them: the engraver knows them around
//! accidentals only.

use super::boxes::{closed, has_class, is_box, is_one_sign};
use super::mei::BRACKETED;
use super::room::Room;
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
    for system in document.descendants().filter(|n| has_class(*n, "system") && !is_box(*n)) {
        let mut room = Room::new(system, &shapes);
        for number in system.descendants().filter(|n| has_class(*n, "mNum") && !is_box(*n)) {
            let by = shapes.drawn(number).map_or(0.0, |extent| room.lift(extent));
            if by > 0.0 {
                patch.insert(number.range().start + "<g".len(), format!(" transform=\"translate(0, -{by:.0})\""));
            }
        }
    }
    for text in document.descendants().filter(|n| n.is_text() && n.ancestors().any(|a| has_class(a, "dynam"))) {
        let said = text.text().unwrap_or_default();
        if closed(said) != said && !said.trim().is_empty() {
            patch.replace(text.range(), quick_xml::escape::escape(closed(said)));
        }
        let spaced = text.parent().filter(|p| is_one_sign(*p)).and_then(|p| p.attribute_node("letter-spacing"));
        spaced.into_iter().for_each(|attribute| patch.cut(attribute.range()));
    }
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
