//! The notes of the result as they are so far: those of the edition with their
//! edits, and those composed from the source.

use super::super::edits::Edits;
use super::super::fragment::Fragment;
use super::super::tree::{child, element};
use super::Target;
use super::context::Context;
use crate::alignment::{EditionNote, SourceNote};
use crate::plan::BarPlan;
use crate::score::Anchor;
use std::collections::{BTreeMap, BTreeSet};

/// What is written of a part.
pub(super) struct Draft<'p, 'a, 'i> {
    pub(super) context: &'p Context<'p, 'a, 'i>,
    pub(super) edits: &'p mut Edits<'a, 'i>,
    /// Notes made from the source's, by the source's note.
    pub(super) composed: BTreeMap<SourceNote, Fragment>,
    /// Grace notes that come in, beside notes that stay.
    pub(super) new_graces: Vec<NewGraces>,
    /// Grace notes of the edition that go.
    pub(super) gone_graces: BTreeSet<EditionNote>,
    /// Notes of the edition to which no tie leads any more.
    pub(super) untied: BTreeSet<EditionNote>,
}

/// Grace notes that come in: before or after which note.
pub(super) struct NewGraces {
    pub(super) main: EditionNote,
    pub(super) after: bool,
    pub(super) notes: Vec<SourceNote>,
}

impl<'p, 'a, 'i> Draft<'p, 'a, 'i> {
    pub(super) fn new(
        context: &'p Context<'p, 'a, 'i>,
        edits: &'p mut Edits<'a, 'i>,
        composed: BTreeMap<SourceNote, Fragment>,
    ) -> Self {
        let (new_graces, gone_graces, untied) = (Vec::new(), BTreeSet::new(), BTreeSet::new());
        Draft { context, edits, composed, new_graces, gone_graces, untied }
    }

    /// Where a source note is in the result.
    pub(super) fn target_of_source(&self, note: SourceNote) -> Option<Target> {
        let source = self.context.source?;
        if self.composed.contains_key(&note) {
            return Some(Target::Composed(note));
        }
        let (part, plan) = (self.context.part, self.context.plan);
        let own = &source.part[note];
        if !plan[plan.source_row(own.bar)?].is_kept() {
            return None;
        }
        if own.grace > 0 {
            let main = self.context.partner(source, source.part.main_note(note)?)?;
            let same = |n: &EditionNote| {
                let note = &part[*n];
                (note.grace, note.grace_after) == (own.grace, own.grace_after) && part.main_note(*n) == Some(main)
            };
            let mut bar = part.notes_in(&part.bars[part[main].bar]);
            return bar.find(same).filter(|n| !self.gone_graces.contains(n)).map(Target::Kept);
        }
        let same_rest = || {
            // Rests are not collated: the one at the same place.
            let (row, offset) = self.context.place_of_source(Anchor { place: own.place(), note: None })?;
            let bar = &part.bars[plan[row].edition()?];
            let fits = |n: &EditionNote| part[*n].is_rest() && part[*n].offset == offset;
            let mut rests = part.notes_in(bar).filter(fits);
            rests.find(|n| part[*n].voice == own.voice).or_else(|| part.notes_in(bar).find(fits))
        };
        let partner = if own.is_rest() { same_rest() } else { self.context.partner(source, note) };
        partner.map(Target::Kept)
    }

    /// Where a note of the edition is in the result.
    pub(super) fn target_of_edition(&self, note: EditionNote) -> Option<Target> {
        let (part, plan) = (self.context.part, self.context.plan);
        match plan[plan.edition_row(part[note].bar)?] {
            BarPlan::Keep { .. } => (!self.gone_graces.contains(&note)).then_some(Target::Kept(note)),
            BarPlan::Rebuild { .. } => {
                let source = self.context.source?;
                source.alignment.edition_to_source[part.head(note)].map(Target::Composed)
            }
            _ => None,
        }
    }

    /// A new mark that lives in a note's notations.
    pub(super) fn add_notation(&mut self, target: Target, container: Option<&str>, fragment: Fragment) {
        let note = match target {
            Target::Composed(note) => {
                let Some(note) = self.composed.get_mut(&note) else { return };
                let notations = note.child_mut("notations");
                match container {
                    Some(name) => notations.child_mut(name).children.push(fragment),
                    None => notations.children.push(fragment),
                }
                return;
            }
            Target::Kept(note) => self.context.part[note].element,
        };
        let tree = self.context.tree;
        let node = tree.node(note);
        let Some(notations) = child(node, "notations") else {
            let wrapped = match container {
                Some(name) => {
                    if let Some(pending) = self.edits.pending(note, "notations") {
                        pending.child_mut(name).children.push(fragment);
                        return;
                    }
                    Fragment::new(name).with(fragment)
                }
                None => fragment,
            };
            match self.edits.pending(note, "notations") {
                Some(pending) => pending.children.push(wrapped),
                None => self.edits.add_child(note, Fragment::new("notations").with(wrapped)),
            }
            return;
        };
        let Some(name) = container else {
            return self.edits.add_child(element(notations), fragment);
        };
        let holders = node.children().filter(|n| n.tag_name().name() == "notations");
        if let Some(holder) = holders.flat_map(|n| n.children()).find(|n| n.tag_name().name() == name) {
            return self.edits.add_child(element(holder), fragment);
        }
        match self.edits.pending(element(notations), name) {
            Some(pending) => pending.children.push(fragment),
            None => self.edits.add_child(element(notations), Fragment::new(name).with(fragment)),
        }
    }

    /// A new child of a note.
    pub(super) fn add_to_note(&mut self, target: Target, fragment: Fragment) {
        match target {
            Target::Kept(note) => self.edits.add_child(self.context.part[note].element, fragment),
            Target::Composed(note) => {
                if let Some(note) = self.composed.get_mut(&note) {
                    note.place(fragment);
                }
            }
        }
    }
}
