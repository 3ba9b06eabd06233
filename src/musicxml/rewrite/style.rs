//! Marks and notes that stay where they are, but look otherwise.

use super::super::apart::{Look, Touch, touch_of_note};
use super::super::fragment::Fragment;
use super::super::tree::{child, element};
use super::Target;
use super::draft::Draft;
use crate::alignment::SourceNote;
use crate::score::Element;
use roxmltree::Node;

impl<'a, 'i> Draft<'_, 'a, 'i> {
    /// Gives a note the look, wherever the source's note is in the result.
    pub(super) fn style_note(&mut self, note: SourceNote, look: &Look) {
        let Some(source) = self.context.source else { return };
        match self.target_of_source(note) {
            Some(Target::Kept(note)) => {
                let node = self.context.node(note);
                self.touch(node, &touch_of_note(node, look));
            }
            Some(Target::Composed(note)) => {
                let touch = touch_of_note(source.node(source.part[note].element), look);
                if let Some(fragment) = self.composed.get_mut(&note) {
                    touch.apply(fragment);
                }
            }
            None => {}
        }
    }

    pub(super) fn touch(&mut self, node: Node<'a, 'i>, touch: &Touch) {
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
