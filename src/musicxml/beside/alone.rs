//! Parts of one document as a score of their own, to be engraved.

use super::super::fragment::Fragment;
use super::staff::State;
use super::typed::{Typed, take_all};
use super::{Brackets, PieceOfBar, Staff, document, engraver, identification};

/// Writes the parts for the engraver, colours as they are, and gives what is for the head of the page.
pub fn write_alone(staves: &[Staff], brackets: Brackets) -> (String, Vec<Typed>) {
    let mut typed = Vec::new();
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
            part.children.push(measure);
        }
        typed.extend(take_all(&mut part.children));
        part.children.iter_mut().for_each(|measure| engraver::prepare(measure, brackets));
        parts.push(part);
    }
    (document(vec![identification()], list, parts), typed)
}
