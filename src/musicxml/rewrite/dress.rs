//! Marks and notes that stay where they are, but look otherwise.

use super::super::apart::{Look, Touch, touch_of_note, touches};
use super::super::fragment::Fragment;
use super::super::tree::{child, element};
use super::{PartRewrite, Target};
use crate::score::{Element, Mark, NoteId};
use roxmltree::Node;

impl<'a, 'i> PartRewrite<'_, 'a, 'i> {
    /// Gives a mark of the edition a look, where it stands. False when nothing
    /// but its colour can tell it from others.
    pub fn dress(&mut self, mark: &Mark, look: &Look) -> bool {
        let tree = self.edits.tree();
        let nodes: Vec<Node> = mark.elements.iter().map(|e| tree.node(*e)).collect();
        let touches = touches(mark, &nodes, look);
        for (node, touch) in nodes.iter().zip(&touches) {
            match mark.at.note {
                Some(note) if self.writes_accidental(note, *node) => {
                    let mut sign = Fragment::shell(*node);
                    touch.apply(&mut sign);
                    self.flagged.insert(Target::Kept(note), sign.attributes);
                }
                _ => self.touch(*node, touch),
            }
        }
        touches.iter().any(|t| t.is_shaped) || super::super::apart::is_apart(&nodes)
    }

    /// Whether the accidental of a note is written anew with its pitch.
    fn writes_accidental(&self, note: NoteId, node: Node<'_, '_>) -> bool {
        node.tag_name().name() == "accidental" && self.pitches.contains_key(&note)
    }

    /// Gives a note the look, wherever the source's note is in the result.
    pub fn dress_note(&mut self, note: NoteId, look: &Look) {
        let Some(source) = self.source else { return };
        match self.target_of_source(note) {
            Some(Target::Kept(note)) => {
                let node = self.edits.tree().node(self.part.notes[note].element);
                self.touch(node, &touch_of_note(node, look));
            }
            Some(Target::Composed(note)) => {
                let touch = touch_of_note(source.node(source.part.notes[note].element), look);
                if let Some(fragment) = self.composed.get_mut(&note) {
                    touch.apply(fragment);
                }
            }
            None => {}
        }
    }

    fn touch(&mut self, node: Node<'a, 'i>, touch: &Touch) {
        self.set_all(node, &touch.own);
        if let Some(holder) = node.parent() {
            self.set_all(holder, &touch.of_holder);
        }
        if let Some((name, attributes)) = &touch.below {
            for child in node.children().filter(|n| n.tag_name().name() == *name) {
                self.set_all(child, attributes);
            }
            if *name == "notehead" && child(node, name).is_none() {
                self.put_notehead(element(node), touch.notehead());
            }
        }
        if let Some(brackets) = touch.around {
            self.edits.put_around(element(node), brackets);
        }
        if let Some([left, right]) = &touch.flanks {
            self.edits.insert_before(element(node), left.clone());
            self.edits.insert_after(element(node), right.clone());
        }
    }

    fn put_notehead(&mut self, note: Element, head: Fragment) {
        match self.edits.pending(note, "notehead") {
            Some(pending) => *pending = head,
            None => self.edits.add_child(note, head),
        }
    }

    /// Attributes that an element has already are not written again.
    fn set_all(&mut self, node: Node<'a, 'i>, attributes: &[(&'static str, String)]) {
        for (name, value) in attributes.iter().filter(|(name, value)| node.attribute(*name) != Some(value)) {
            self.edits.set_attribute(element(node), name, value.clone());
        }
    }
}
