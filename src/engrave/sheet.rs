//! What the engraver leaves to us on a sheet of paper: where words and signs give way, brackets
//! around signs, barlines that break off around words.

use super::boxes::{Extent, SVG, closed, has_class, is_box, is_one_sign};
use super::brackets::{bracket, with_bracket};
use super::document::SPACE;
use super::line_ends::cut_at;
use super::mei::BRACKETED;
use super::places::{Places, Sign, translated};
use super::shapes::Shapes;
use super::stubs::{drawn_out_points, longer};
use super::trills::over_accidentals;
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// Between words and the barline that they stand in.
const GAP: f64 = 40.0;

/// A sheet as it is printed, nothing outside of the bounds and without the boxes that tell where
/// signs are; `None` if it is none.
pub fn finished(svg: &str, bounds: Extent) -> Option<String> {
    let document = Document::parse(svg).ok()?;
    let shapes = Shapes::new(&document);
    let holder = document.descendants().find(|n| has_class(*n, "page-margin")).unwrap_or(document.root());
    let places = Places::of(holder, &shapes, &signs(holder, &shapes), Some(bounds));
    let mut patch = Patch::default();
    let mut cut = 0;
    for node in document.descendants() {
        if node.is_text() {
            close_brackets(node, &mut patch);
            if node.text() == Some(SPACE) {
                patch.cut(node.range());
            }
            continue;
        }
        if !node.is_element() || node.range().start < cut {
            continue;
        }
        if is_box(node) {
            patch.cut(node.range());
            cut = node.range().end;
            continue;
        }
        let name = node.range().start + 1 + node.tag_name().name().len();
        if let Some(by) = places.of_node(node) {
            patch.insert(name, translated(by));
        } else if let Some(by) = longer(node, &shapes) {
            let points = node.children().filter_map(|line| line.attribute_node("points"));
            points.for_each(|points| patch.replace(points.range_value(), drawn_out_points(points.value(), by)));
        }
        if has_class(node, BRACKETED)
            && let Some(extent) = shapes.drawn(node)
        {
            let end = node.range().start + svg[node.range()].rfind("</")?;
            patch.insert(end, bracket(extent));
        }
        if let Some(spaced) = node.attribute_node("letter-spacing").filter(|_| is_one_sign(node) && is_dynamic(node)) {
            patch.cut(spaced.range());
        }
        cut_at(node, bounds[2], &mut patch);
        if has_class(node, "barLine") {
            node.children().for_each(|line| break_off(line, &places.words, &mut patch));
        }
    }
    patch.apply(svg).ok()
}

/// Between a bracket and what else stands at the note.
const AROUND: f64 = 20.0;

fn grown([left, top, right, bottom]: Extent) -> Extent {
    [left - AROUND, top - AROUND, right + AROUND, bottom + AROUND]
}

fn is_dynamic(node: Node<'_, '_>) -> bool {
    node.ancestors().any(|a| has_class(a, "dynam"))
}

fn close_brackets(text: Node<'_, '_>, patch: &mut Patch) {
    let said = text.text().unwrap_or_default();
    if closed(said) != said && !said.trim().is_empty() && is_dynamic(text) {
        patch.replace(text.range(), quick_xml::escape::escape(closed(said)));
    }
}

/// Signs that need more room than the engraver gives them, from their notes outwards.
fn signs<'a, 'i>(holder: Node<'a, 'i>, shapes: &Shapes) -> Vec<Sign<'a, 'i>> {
    let lifted = over_accidentals(holder, shapes);
    let mut out = Vec::new();
    for measure in holder.descendants().filter(|n| has_class(*n, "measure") && !is_box(*n)) {
        let heads = measure.descendants().filter(|n| has_class(*n, "notehead") && !is_box(*n));
        let heads: Vec<Extent> = heads.filter_map(|n| shapes.drawn(n)).collect();
        let mut own: Vec<(f64, Sign)> = Vec::new();
        for node in measure.descendants().filter(|n| !is_box(*n) && n.attribute("transform").is_none()) {
            let is_bracketed = has_class(node, BRACKETED);
            let up = lifted.iter().find(|(sign, _)| *sign == node).map(|(_, by)| [0.0, -by]);
            let is_meant = is_bracketed || up.is_some();
            let Some(extent) = Some(node).filter(|_| is_meant).and_then(|n| shapes.drawn(n)) else { continue };
            let middle = |e: &Extent| (e[1] + e[3]) / 2.0;
            let away = |head: &Extent| (head[0] - extent[0]).abs() + (middle(head) - middle(&extent)).abs();
            let head = heads.iter().min_by(|a, b| away(a).total_cmp(&away(b)));
            let from = head.map_or(0.0, |head| middle(&extent) - middle(head));
            let extent = if is_bracketed { grown(with_bracket(extent)) } else { extent };
            own.push((from.abs(), Sign { node, by: up.unwrap_or_default(), extent, is_above: from <= 0.0 }));
        }
        own.sort_by(|a, b| a.0.total_cmp(&b.0));
        out.extend(own.into_iter().map(|(_, sign)| sign));
    }
    out
}

/// Breaks a barline off where words stand in it.
fn break_off(line: Node<'_, '_>, words: &[Extent], patch: &mut Patch) {
    let Some(d) = line.attribute_node("d").filter(|_| line.has_tag_name((SVG, "path"))) else { return };
    let ends: Vec<f64> = d.value().split(['M', 'L', ' ', ',']).filter_map(super::boxes::number).collect();
    let [x, top, to, bottom] = ends[..] else { return };
    let in_it = |e: &&Extent| x == to && e[0] < x && x < e[2] && top < e[3] && e[1] < bottom;
    let mut gaps: Vec<[f64; 2]> = words.iter().filter(in_it).map(|e| [e[1] - GAP, e[3] + GAP]).collect();
    if gaps.is_empty() {
        return;
    }
    gaps.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut path = String::new();
    let mut from = top;
    for [over, under] in gaps.into_iter().chain([[bottom; 2]]) {
        if over > from {
            path += &format!("M{x} {from:.0}L{x} {:.0}", over.min(bottom));
        }
        from = from.max(under);
    }
    patch.replace(d.range_value(), path);
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOUNDS: Extent = [0.0, 0.0, 10_000.0, 10_000.0];

    fn page(inner: &str) -> String {
        let measure = format!("<g class=\"measure\">{inner}</g>");
        format!("<svg xmlns=\"{SVG}\"><g class=\"page-margin\"><g class=\"system\">{measure}</g></g></svg>")
    }

    fn sign(class: &str, y: u32) -> String {
        let rect = |height: u32| format!("<rect x=\"100\" y=\"{y}\" width=\"200\" height=\"{height}\"/>");
        let told = format!("<g class=\"artic bounding-box{class}\">{}</g>", rect(9000));
        format!("<g class=\"artic{class}\">{told}{}</g>", rect(300))
    }

    #[test]
    fn a_marked_sign_has_brackets_and_boxes_are_gone() {
        let drawn = finished(&page(&[sign(" bracketed", 1000), sign("", 2000)].concat()), BOUNDS).unwrap();
        assert_eq!(drawn.matches("<path").count(), 1);
        assert!(drawn.contains("height=\"300\"/><path d=\"M70 978H15V1322H70M330 978H385V1322H330\""), "{drawn}");
        assert!(!drawn.contains("bounding-box"), "{drawn}");
    }

    #[test]
    fn signs_in_brackets_on_one_note_stand_clear_of_each_other() {
        let note = "<g class=\"notehead\"><rect x=\"100\" y=\"2000\" width=\"200\" height=\"200\"/></g>";
        let signs = [sign(" bracketed", 1300), sign(" bracketed", 1650), note.into()].concat();
        let drawn = finished(&page(&signs), BOUNDS).unwrap();
        // The nearer one goes up from the head, the other from that one.
        let moved: Vec<&str> = drawn.split("translate(").skip(1).map(|rest| rest.split(')').next().unwrap()).collect();
        assert_eq!(moved, ["0 -90", "0 -30"]);
    }

    #[test]
    fn a_barline_breaks_off_around_words() {
        let line = |d: &str| format!("<g class=\"barLine\"><path d=\"{d}\" stroke-width=\"27\"/></g>");
        let mut patch = Patch::default();
        let svg = page(&line("M500 0 L500 900"));
        let document = Document::parse(&svg).unwrap();
        let path = document.descendants().find(|n| n.has_tag_name((SVG, "path"))).unwrap();
        break_off(path, &[[400.0, 300.0, 600.0, 500.0], [600.0, 0.0, 700.0, 100.0]], &mut patch);
        assert!(patch.apply(&svg).unwrap().contains("d=\"M500 0L500 260M500 540L500 900\""));
    }
}
