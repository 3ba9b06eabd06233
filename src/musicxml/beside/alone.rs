//! Parts of one document as a score of their own, to be engraved.

use super::super::fragment::Fragment;
use super::staff::State;
use super::{Brackets, PieceOfBar, Staff, document, engraver, identification};

/// Writes the parts for the engraver, colours as they are.
pub fn write_alone(staves: &[Staff], brackets: Brackets) -> String {
    let mut list = Fragment::new("part-list");
    let mut parts = Vec::new();
    for (place, staff) in staves.iter().enumerate() {
        let id = format!("P{}", place + 1);
        // The name of a single part stands at the head.
        let name = if staves.len() == 1 { "" } else { &staff.part.name };
        list.children.push(Fragment::new("score-part").set("id", &id).with(Fragment::leaf("part-name", name)));
        let mut part = Fragment::new("part").set("id", id);
        let mut state = State::default();
        for (bar, own) in staff.part.bars.iter().enumerate() {
            let mut measure = Fragment::new("measure").set("number", &own.number);
            if staff.tree.node(own.element).attribute("implicit") == Some("yes") {
                measure.set_attribute("implicit", "yes");
            }
            measure.children = staff.measure(&PieceOfBar::whole(bar), None, &mut state);
            engraver::prepare(&mut measure, brackets);
            part.children.push(measure);
        }
        parts.push(part);
    }
    document(vec![identification()], list, parts)
}
