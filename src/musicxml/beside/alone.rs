//! Parts of one document as a score of their own, to be engraved.

use super::super::fragment::Fragment;
use super::staff::State;
use super::stretch::opened;
#[cfg(feature = "engrave")]
use super::typed::{Typed, take_all};
use super::{Brackets, PieceOfBar, Staff, clefs, clefs_once, document, engraver, identification};
use crate::score::Bar;

/// Writes the parts for the engraver, colours as they are, and gives what is for the head of the page.
#[cfg(feature = "engrave")]
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
        part.children = measures(staff);
        typed.extend(take_all(&mut part.children));
        engraver::prepare_all(&mut part.children, brackets);
        clefs::as_words(&mut part.children);
        parts.push(part);
    }
    (document(vec![identification()], list, parts), typed)
}

/// Writes stretches of a part, each of one line or several, first and last bar of each, as scores that begin with
/// what holds there.
pub fn write_pieces(staff: &Staff, stretches: &[&[(usize, usize)]]) -> Vec<String> {
    let mut all = measures(staff);
    engraver::prepare_all(&mut all, Brackets::LeftOut);
    clefs_once(&mut all);
    let one = |lines: &&[(usize, usize)]| {
        let list = Fragment::new("part-list")
            .with(Fragment::new("score-part").set("id", "P1").with(Fragment::leaf("part-name", "")));
        let mut part = Fragment::new("part").set("id", "P1");
        let (first, last) = (lines[0].0, lines[lines.len() - 1].1);
        part.children = opened(&all, first, last);
        clefs::as_words(&mut part.children);
        if first > 0 && !says_time(&all[first]) {
            hide_time(&mut part.children[0]);
        }
        for (begin, _) in &lines[1..] {
            part.children[begin - first].children.insert(0, Fragment::new("print").set("new-system", "yes"));
        }
        document(vec![identification()], list, vec![part])
    };
    stretches.iter().map(one).collect()
}

fn measures(staff: &Staff) -> Vec<Fragment> {
    let mut state = State::default();
    let bar = |(bar, own): (usize, &Bar)| {
        let mut measure = Fragment::new("measure").set("number", &own.number);
        if staff.tree.node(own.element).attribute("implicit") == Some("yes") {
            measure.set_attribute("implicit", "yes");
        }
        measure.children = staff.measure(&PieceOfBar::whole(bar), None, &mut state);
        measure
    };
    staff.part.bars.iter().enumerate().map(bar).collect()
}

fn says_time(measure: &Fragment) -> bool {
    let said = measure.children.iter().filter(|c| c.name == "attributes");
    said.flat_map(|attributes| &attributes.children).any(|c| c.name == "time")
}

/// The time signature counts, but is not drawn: it holds from an earlier line.
fn hide_time(measure: &mut Fragment) {
    let said = measure.children.iter_mut().filter(|c| c.name == "attributes");
    for time in said.flat_map(|attributes| &mut attributes.children).filter(|c| c.name == "time") {
        time.set_attribute("print-object", "no");
    }
}
