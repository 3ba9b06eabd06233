//! Grace notes of the source that come in, with what stands on them.

use super::super::apart::{Look, touch_of_note};
use super::super::fragment::Fragment;
use super::super::tree::child;
use super::{NewGraces, PartRewrite, Target};
use crate::score::{Category, Element, Mark, NoteId};
use rustc_hash::FxHashMap;

impl PartRewrite<'_, '_, '_> {
    /// Grace notes of the source come in before (or after) the partner of
    /// their main note; in rebuilt bars they are there already.
    pub(super) fn lay_graces(&mut self, owners: &FxHashMap<Element, NoteId>, mark: &Mark, look: &Look) -> bool {
        let Some(source) = self.source else {
            return false;
        };
        let notes: Vec<NoteId> = mark.elements.iter().filter_map(|e| owners.get(e).copied()).collect();
        let Some(&first) = notes.first() else {
            return false;
        };
        if notes.iter().all(|n| self.composed.contains_key(n)) {
            notes.iter().for_each(|n| self.dress_note(*n, look));
            return true;
        }
        let main = source.part.main_note(first).and_then(|n| self.target_of_source(n));
        let Some(Target::Kept(main)) = main else {
            return false;
        };
        let row = self.plan.edition_row(self.part.notes[main].bar).expect("a bar that stays has a row");
        for note in &notes {
            let mut fragment = self.compose_note(source, *note, row);
            // They go with their note, in its voice.
            let home = self.edits.tree().node(self.part.notes[main].element);
            for name in ["voice", "staff"] {
                fragment.remove(name);
                if let Some(own) = child(home, name) {
                    fragment.place(Fragment::copy(own));
                }
            }
            touch_of_note(source.node(source.part.notes[*note].element), look).apply(&mut fragment);
            self.composed.insert(*note, fragment);
        }
        self.new_graces.push(NewGraces { main, after: source.part.notes[first].grace_after, notes });
        true
    }

    /// A source mark that is not to be restored: only its grace notes could be
    /// in a composed bar already.
    pub fn leave_out(&mut self, mark: &Mark) {
        if mark.category == Category::Grace {
            let notes: Vec<NoteId> = mark.elements.iter().filter_map(|e| self.source_owner.get(e).copied()).collect();
            notes.iter().for_each(|n| drop(self.composed.remove(n)));
        }
    }

    /// Puts grace notes in front of the notes they lead to.
    pub(super) fn put_graces(&mut self) {
        for group in &self.new_graces {
            let main = self.part.chord(group.main);
            for note in &group.notes {
                let fragment = self.composed[note].clone();
                if group.after {
                    self.edits.insert_after(self.part.notes[main.end - 1].element, fragment);
                } else {
                    self.edits.insert_before(self.part.notes[main.start].element, fragment);
                }
            }
        }
    }
}
