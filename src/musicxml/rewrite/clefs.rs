//! Clefs as elements.

use super::super::fragment::Fragment;
use super::super::tree::child_text;
use crate::instrument::{Clef, ClefSign};
use roxmltree::Node;

/// `None` for a clef without pitches: percussion, tablature.
pub fn read_clef(node: Node<'_, '_>) -> Option<Clef> {
    let (sign, usual) = match child_text(node, "sign") {
        Some("G") => (ClefSign::G, 2),
        Some("F") => (ClefSign::F, 4),
        Some("C") => (ClefSign::C, 3),
        _ => return None,
    };
    let number = |name| child_text(node, name).and_then(|text| text.parse().ok());
    Some(Clef { sign, line: number("line").unwrap_or(usual), octaves: number("clef-octave-change").unwrap_or(0) })
}

/// The element of a clef, in the place of an old one if there is one.
pub fn clef_fragment(clef: Clef, old: Option<Node<'_, '_>>) -> Fragment {
    let mut out = old.map_or_else(|| Fragment::new("clef"), Fragment::shell);
    let sign = match clef.sign {
        ClefSign::G => "G",
        ClefSign::F => "F",
        ClefSign::C => "C",
    };
    out.children.push(Fragment::leaf("sign", sign));
    out.children.push(Fragment::leaf("line", clef.line));
    if clef.octaves != 0 {
        out.children.push(Fragment::leaf("clef-octave-change", clef.octaves));
    }
    out
}
