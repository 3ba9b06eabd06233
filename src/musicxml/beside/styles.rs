//! What changes in the elements of one document, collected mark by mark.

use super::super::apart::{Look, Touch, touch_of_note, touches};
use super::super::fragment::Fragment;
use super::super::tree::{Tree, element, elements};
use crate::score::{Element, Mark, NoteId, Part};
use rustc_hash::FxHashMap;

fn is_colored(touch: &Touch) -> bool {
    touch.own.iter().any(|(name, _)| *name == "color")
}

/// Dynamics have one colour in MusicXML; of one of several only the engraver is told its own.
pub(super) fn without_colors_of_dynamics(fragment: &mut Fragment) {
    if fragment.name == "dynamics" {
        fragment.children.iter_mut().for_each(|sign| sign.attributes.retain(|a| a.0 != "color"));
    }
    fragment.children.iter_mut().for_each(without_colors_of_dynamics);
}

/// The looks of marks and notes of one part.
#[derive(Debug, Default)]
pub struct Styles {
    touches: FxHashMap<Element, Vec<Touch>>,
    /// Barlines that are nothing but a repeat, with the style that their dots make.
    repeats: FxHashMap<Element, Fragment>,
}

impl Styles {
    /// Gives a mark a look.
    pub fn mark(&mut self, tree: &Tree, mark: &Mark, look: &Look) {
        let nodes: Vec<_> = mark.elements.iter().map(|e| tree.node(*e)).collect();
        if let ([repeat], Some(color)) = (&nodes[..], look.color)
            && let Some(barline) = repeat.parent().filter(|_| repeat.has_tag_name("repeat"))
        {
            // A repeat has no colour of its own.
            let is_forward = repeat.attribute("direction") == Some("forward");
            let style = Fragment::leaf("bar-style", if is_forward { "heavy-light" } else { "light-heavy" });
            self.repeats.insert(element(barline), style.set("color", color));
        }
        for (node, touch) in nodes.iter().zip(touches(mark, &nodes, look)) {
            if let Some(holder) = node.parent().filter(|_| !touch.of_holder.is_empty()) {
                let own = Touch { own: touch.of_holder.clone(), ..Touch::default() };
                self.touches.entry(element(holder)).or_default().push(own);
            }
            let mut touch = touch;
            let is_one_of_several =
                node.parent().is_some_and(|p| p.has_tag_name("dynamics")) && touch.of_holder.is_empty();
            if let Some(color) = look.color.filter(|_| is_one_of_several && !is_colored(&touch)) {
                touch.own.push(("color", color.to_string()));
            }
            self.touches.entry(element(*node)).or_default().push(touch);
        }
    }

    /// Gives a note a look, and all that are tied to it.
    pub fn note(&mut self, tree: &Tree, part: &Part, note: NoteId, look: &Look) {
        part.tied(part.head(note)).for_each(|tied| self.note_alone(tree, part, tied, look));
    }

    /// Gives a note a look, and none that it is tied to.
    pub fn note_alone(&mut self, tree: &Tree, part: &Part, note: NoteId, look: &Look) {
        let node = tree.node(part.notes[note].element);
        self.touches.entry(element(node)).or_default().push(touch_of_note(node, look));
    }

    /// Gives the ties of a note a look; whether there are any to be seen.
    pub fn ties(&mut self, tree: &Tree, part: &Part, note: NoteId, look: &Look) -> bool {
        let mut any = false;
        for tied in part.tied(part.head(note)) {
            let notations = elements(tree.node(part.notes[tied].element)).filter(|n| n.has_tag_name("notations"));
            for node in notations.flat_map(elements).filter(|n| n.has_tag_name("tied")) {
                let line = look.line().map(|line| ("line-type", line.to_string()));
                let color = look.color.map(|color| ("color", color.to_string()));
                let own = line.into_iter().chain(color).collect();
                self.touches.entry(element(node)).or_default().push(Touch { own, ..Touch::default() });
                any = true;
            }
        }
        any
    }

    /// The element as it looks, with what stands beside it.
    pub(super) fn styled(&self, from: Element, mut fragment: Fragment) -> Vec<Fragment> {
        if let Some(style) = self.repeats.get(&from) {
            fragment.place(style.clone());
        }
        let Some(touches) = self.touches.get(&from) else { return vec![fragment] };
        let mut flanks = None;
        for touch in touches {
            touch.apply(&mut fragment);
            flanks = flanks.or(touch.flanks.clone());
        }
        match flanks {
            Some([left, right]) => vec![left, fragment, right],
            None => vec![fragment],
        }
    }
}
