//! Grace notes of the source that come in, with what stands on them.

use super::super::apart::{Look, touch_of_note};
use super::super::fragment::Fragment;
use super::super::tree::child;
use super::Target;
use super::compose::Composer;
use super::draft::{Draft, NewGraces};
use crate::score::{Category, Mark};

impl Draft<'_, '_, '_> {
    /// Grace notes of the source come in before (or after) the partner of
    /// their main note; in rebuilt bars they are there already.
    pub(super) fn insert_graces(&mut self, composer: &Composer, mark: &Mark, look: &Look) {
        let Some(source) = self.context.source else { return };
        let notes = self.context.source_notes(mark);
        let Some(&first) = notes.first() else { return };
        if notes.iter().all(|n| self.composed.contains_key(n)) {
            return notes.iter().for_each(|n| self.style_note(*n, look));
        }
        let main = source.part.main_note(first).and_then(|n| self.target_of_source(n));
        let Some(Target::Kept(main)) = main else { return };
        let row = self.context.plan.edition_row(self.context.part[main].bar).expect("a bar that stays has a row");
        for note in &notes {
            let mut fragment = composer.compose_note(source, *note, row);
            // They go with their note, in its voice.
            let home = self.context.node(main);
            for name in ["voice", "staff"] {
                fragment.remove(name);
                if let Some(own) = child(home, name) {
                    fragment.place(Fragment::copy(own));
                }
            }
            touch_of_note(source.node(source.part[*note].element), look).apply(&mut fragment);
            self.composed.insert(*note, fragment);
        }
        self.new_graces.push(NewGraces { main, after: source.part[first].grace_after, notes });
    }

    /// Takes grace notes of the edition out.
    pub(super) fn remove_graces(&mut self, mark: &Mark) {
        self.gone_graces.extend(self.context.edition_notes(mark));
        mark.elements.iter().for_each(|e| self.edits.remove(*e));
    }

    /// A source mark that is not to be restored: only its grace notes could be
    /// in a composed bar already.
    pub(super) fn leave_out(&mut self, mark: &Mark) {
        if mark.category == Category::Grace {
            self.context.source_notes(mark).iter().for_each(|n| drop(self.composed.remove(n)));
        }
    }

    /// Puts grace notes in front of the notes they lead to.
    pub(super) fn put_graces(&mut self) {
        for group in &self.new_graces {
            let mut chord = self.context.part.chord(group.main).map(|n| self.context.part[n].element);
            let beside = if group.after { chord.last() } else { chord.next() }.expect("a chord has a note");
            for note in &group.notes {
                let fragment = self.composed[note].clone();
                match group.after {
                    true => self.edits.insert_after(beside, fragment),
                    false => self.edits.insert_before(beside, fragment),
                }
            }
        }
    }
}
