//! Ties: put in, taken out, and made to agree across changed bars.

use super::super::fragment::Fragment;
use super::super::tree::element;
use super::{PartRewrite, SourceSide, Target};
use crate::plan::BarPlan;
use crate::score::{NoteId, Part};

impl<'a, 'i> PartRewrite<'_, 'a, 'i> {
    /// Takes a tie out between a note of the edition and the next.
    pub fn untie(&mut self, from: NoteId) {
        self.remove_tie(from, "start");
        if let Some(to) = self.part.notes[from].tied_to {
            self.remove_tie(to, "stop");
        }
    }

    /// Takes out one end of a tie.
    pub(super) fn remove_tie(&mut self, note: NoteId, kind: &str) {
        if kind == "stop" {
            self.untied.insert(note);
        }
        let node = self.edits.tree().node(self.part.notes[note].element);
        let mut gone = Vec::new();
        for item in node.children().filter(|n| n.is_element()) {
            let name = item.tag_name().name();
            if name == "tie" && item.attribute("type") == Some(kind) {
                gone.push(item);
            }
            if name == "notations" {
                gone.extend(
                    item.children().filter(|n| n.tag_name().name() == "tied" && n.attribute("type") == Some(kind)),
                );
            }
        }
        for item in gone {
            self.edits.remove(element(item));
        }
    }

    /// Ties two notes of the edition.
    pub fn tie(&mut self, from: NoteId, to: NoteId) {
        self.add_tie(Target::Kept(from), "start");
        self.add_tie(Target::Kept(to), "stop");
    }

    pub(super) fn add_tie(&mut self, target: Target, kind: &str) {
        let tie = Fragment::new("tie").set("type", kind);
        match target {
            Target::Kept(note) => self.edits.add_child(self.part.notes[note].element, tie),
            Target::Composed(note) => {
                if let Some(fragment) = self.composed.get_mut(&note) {
                    fragment.place(tie);
                }
            }
        }
        self.add_notation(target, None, Fragment::new("tied").set("type", kind));
    }

    /// Makes ties over a barline agree with the source wherever a bar beside
    /// it was rebuilt, taken out or put in.
    pub(super) fn mend_ties_at_seams(&mut self) {
        let Some(source) = self.source else { return };
        let rows: Vec<usize> = (0..self.plan.rows().len()).filter(|r| self.plan[*r].is_in_result()).collect();
        for pair in rows.windows(2) {
            let (left, right) = (self.plan[pair[0]], self.plan[pair[1]]);
            let natural = match (left, right) {
                (BarPlan::Keep { edition: a, .. }, BarPlan::Keep { edition: b, .. }) => a + 1 == b,
                _ => left.is_composed() && right.is_composed(),
            };
            if natural {
                continue;
            }
            if let BarPlan::Keep { edition, source: Some(bar), .. } = left {
                let wanted: Vec<NoteId> = tied_over(source.part, bar, true);
                self.mend_ties(source, edition, &wanted, true);
            }
            if let BarPlan::Keep { edition, source: Some(bar), .. } = right {
                let wanted: Vec<NoteId> = tied_over(source.part, bar, false);
                self.mend_ties(source, edition, &wanted, false);
            }
        }
    }

    pub(super) fn mend_ties(&mut self, source: SourceSide<'a, 'i>, bar: usize, wanted: &[NoteId], forward: bool) {
        let kind = if forward { "start" } else { "stop" };
        let targets: Vec<NoteId> = wanted
            .iter()
            .filter_map(|n| match self.target_of_source(*n) {
                // What the source holds the edition may write as two notes tied: the last one reaches over.
                Some(Target::Kept(e)) if forward => {
                    self.part.tied(e).take_while(|n| self.part.notes[*n].bar == bar).last().or(Some(e))
                }
                Some(Target::Kept(e)) => Some(e),
                _ => self.same_sound(source, bar, *n, forward),
            })
            .collect();
        let mut present = tied_over(self.part, bar, forward);
        present.retain(|n| !self.is_alone(*n));
        for note in &present {
            if !targets.contains(note) {
                self.remove_tie(*note, kind);
            }
        }
        for note in targets {
            if !present.contains(&note) {
                self.add_tie(Target::Kept(note), kind);
            }
        }
    }

    /// The continuation of a note that was struck in a bar now gone has no
    /// partner of its own: found by its sound.
    pub(super) fn same_sound(&self, source: SourceSide, bar: usize, note: NoteId, forward: bool) -> Option<NoteId> {
        let pitch = source.part.notes[note].pitch()?.moved(source.alignment.interval);
        self.part.bars[bar].notes.clone().find(|n| {
            let own = &self.part.notes[*n];
            let at_edge =
                if forward { own.offset + own.duration == self.part.bars[bar].length } else { own.offset.is_zero() };
            at_edge && own.grace == 0 && own.pitch() == Some(pitch)
        })
    }
}

/// The notes of a bar that are tied over its right or left barline.
fn tied_over(part: &Part, bar: usize, right: bool) -> Vec<NoteId> {
    part.bars[bar]
        .notes
        .clone()
        .filter(|n| {
            let note = &part.notes[*n];
            let other = if right { note.tied_to } else { note.tied_from };
            other.is_some_and(|o| part.notes[o].bar != bar)
        })
        .collect()
}
