//! Elements of a drawing as they stand in the page.

use crate::engrave::boxes::{SVG, has_class, is_one_sign, staff_lines};
use crate::engrave::shapes::Matrix;
use roxmltree::Node;
use std::fmt::Write;

/// The classes that the page's style, or whoever counts, asks for.
pub const CLASSES: [&str; 37] = [
    "accid",
    "artic",
    "barLine",
    "beam",
    "bracketSpan",
    "breath",
    "caesura",
    "chord",
    "clef",
    "dir",
    "dots",
    "dynam",
    "ending",
    "fermata",
    "fing",
    "flag",
    "gliss",
    "grpSym",
    "hairpin",
    "harm",
    "keySig",
    "mNum",
    "meterSig",
    "mordent",
    "note",
    "notehead",
    "octave",
    "ornam",
    "pedal",
    "reh",
    "rest",
    "slur",
    "tempo",
    "tie",
    "trill",
    "turn",
    "verse",
];
/// Attributes that are not of the drawing itself.
pub const LEFT_OUT: [&str; 7] = ["class", "color", "data-class", "data-id", "data-related", "id", "lang"];

/// Copies an element as it is, but without layout of its text.
pub fn copy(node: Node<'_, '_>, out: &mut String) {
    if !node.is_element() {
        return;
    }
    let _ = write!(out, "<{}", node.tag_name().name());
    attributes(node, out);
    out.push_str("/>");
}

pub fn attributes(node: Node<'_, '_>, out: &mut String) {
    let is_left_out = |name: &str| LEFT_OUT.contains(&name) || name == "letter-spacing" && is_one_sign(node);
    for attribute in node.attributes().filter(|a| !is_left_out(a.name())) {
        let _ = write!(out, " {}=\"{}\"", attribute.name(), quick_xml::escape::escape(attribute.value()));
    }
}

/// The scale of nearly all glyphs of a drawing; they are defined at it.
pub const SCALE: f64 = 0.72;

/// A glyph at its place.
pub fn placed(number: usize, [wide, _, _, high, x, y]: Matrix) -> String {
    let scale = [wide, high].map(|s| s / SCALE);
    match scale.iter().all(|s| (s - 1.0).abs() < 0.001) {
        true => format!("<use href=\"#y{number}\" x=\"{x}\" y=\"{y}\"/>"),
        false => {
            let [wide, high] = scale;
            format!("<use href=\"#y{number}\" transform=\"translate({x} {y}) scale({wide:.3} {high:.3})\"/>")
        }
    }
}

/// A straight line that says no more than its width: its path, shortly, and its width.
pub fn line<'n>(node: Node<'n, '_>) -> Option<(String, &'n str)> {
    let width = node.attribute("stroke-width").filter(|_| node.has_tag_name((SVG, "path")))?;
    let d = node.attribute("d").filter(|_| node.attributes().len() == 2)?;
    let mut numbers = d.split(['M', 'L', ' ', ',']).filter(|n| !n.is_empty());
    let [x, y, to, down] = [numbers.next()?, numbers.next()?, numbers.next()?, numbers.next()?];
    let is_line = numbers.next().is_none() && [x, y, to, down].iter().all(|n| n.parse::<f64>().is_ok());
    is_line.then(|| match () {
        () if y == down => (format!("M{x} {y}H{to}"), width),
        () if x == to => (format!("M{x} {y}V{down}"), width),
        () => (format!("M{x} {y}L{to} {down}"), width),
    })
}

/// Whether what is drawn tells its status without colour: brackets and dashes
/// of additions, parentheses and diamonds of notes.
pub fn is_shaped(classes: &[&str], status: &str) -> bool {
    let is = |all: &[&str]| classes.iter().any(|c| all.contains(c));
    match status {
        "added" => is(&["note", "dir", "dynam", "hairpin", "slur"]),
        "altered" => is(&["note"]),
        _ => is(&["hairpin", "slur"]),
    }
}

/// Where the staves of a bar begin.
pub fn left_end(measure: Node<'_, '_>) -> Option<f64> {
    let staff = measure.children().find(|n| has_class(*n, "staff"))?;
    staff_lines(staff).first().map(|line| line[0])
}

/// Where the staves of a bar end.
pub fn right_end(measure: Node<'_, '_>) -> Option<f64> {
    let staff = measure.children().find(|n| has_class(*n, "staff"))?;
    staff_lines(staff).first().map(|line| line[1])
}
