//! Notes that are not printed, but sound an ornament or a grace note: when its
//! sign goes, so do they. All others stay as they are.

use super::super::fragment::Fragment;
use super::super::tree::{child, child_text, element, elements};
use super::draft::Draft;
use crate::score::{Category, Element, Mark};
use crate::time::{Time, parse_decimal};
use roxmltree::Node;

/// A note as it stands in its bar, in divisions.
struct Placed<'a, 'i> {
    node: Node<'a, 'i>,
    from: Time,
    to: Time,
    unprinted: bool,
}

impl Draft<'_, '_, '_> {
    /// Takes out what sounds a sign that has gone. Time goes on as it did.
    pub(super) fn silence(&mut self, mark: &Mark) {
        let is_sign = |m: &Mark| matches!(m.category, Category::Ornament | Category::Grace);
        let Some(main) = mark.at.note.filter(|_| is_sign(mark)) else { return };
        let notes = placed(self.context.bar_node(mark.at.bar));
        if notes.iter().all(|n| !n.unprinted) {
            return;
        }
        let own = self.context.part.notes[main].element;
        let Some(own) = notes.iter().find(|n| element(n.node) == own) else { return };
        let stays = |m: &Mark| is_sign(m) && m.at.note == Some(main) && !self.is_gone(&m.elements);
        if self.context.part.marks.iter().any(|m| m.elements != mark.elements && stays(m)) {
            return;
        }
        let staff = |n: &Placed| child_text(n.node, "staff").unwrap_or("1").to_string();
        let sounds = |n: &&Placed| n.unprinted && own.from <= n.from && n.to <= own.to && staff(n) == staff(own);
        for note in notes.iter().filter(sounds) {
            match child(note.node, "duration").filter(|_| takes_time(note.node)) {
                Some(duration) => {
                    let forward = Fragment::new("forward").with(Fragment::copy(duration));
                    self.edits.replace(element(note.node), forward);
                }
                None => self.edits.remove(element(note.node)),
            }
        }
    }

    fn is_gone(&self, elements: &[Element]) -> bool {
        elements.iter().all(|e| self.edits.is_removed(*e))
    }
}

fn takes_time(note: Node<'_, '_>) -> bool {
    child(note, "chord").is_none() && child(note, "grace").is_none()
}

/// The notes of a bar where its durations put them.
fn placed<'a, 'i>(bar: Node<'a, 'i>) -> Vec<Placed<'a, 'i>> {
    let (mut cursor, mut last) = (Time::zero(), Time::zero());
    let mut out = Vec::new();
    for node in elements(bar) {
        let by = child_text(node, "duration").and_then(parse_decimal).unwrap_or_default();
        let go = |by: Time| cursor.checked_add(by).unwrap_or_default();
        match node.tag_name().name() {
            "backup" => cursor = go(-by).max(Time::zero()),
            "forward" => cursor = go(by),
            "note" => {
                let from = if child(node, "chord").is_some() { last } else { cursor };
                let to = from.checked_add(by).unwrap_or(from);
                if takes_time(node) {
                    (last, cursor) = (cursor, to);
                }
                let unprinted = node.attribute("print-object") == Some("no") && child(node, "rest").is_none();
                out.push(Placed { node, from, to, unprinted });
            }
            _ => {}
        }
    }
    out
}
