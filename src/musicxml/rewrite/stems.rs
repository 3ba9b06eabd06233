//! Which way stems point after the notes have changed.

use super::super::fragment::Fragment;
use super::super::tree::{child, child_text, element, text_of};
use super::clefs::read_clef;
use super::compose::Composer;
use super::draft::Draft;
use super::respell::Respeller;
use crate::alignment::{EditionNote, SourceNote};
use crate::instrument::Clef;
use crate::pitch::Pitch;
use crate::plan::BarPlan;
use crate::score::{Bar, Part};
use std::collections::BTreeSet;

impl Respeller<'_, '_, '_> {
    /// Stems follow the staff where one voice is alone on it.
    pub(super) fn settle_stems(&self, draft: &mut Draft, composer: &Composer) {
        for row in 0..self.context.plan.rows().len() {
            match self.context.plan[row] {
                BarPlan::Keep { edition, .. } => {
                    let part = self.context.part;
                    let mut notes = part.notes_in(&part.bars[edition]);
                    if notes.any(|n| self.other_clefs.is_some() || self.pitches.contains_key(&n))
                        && self.is_one_voice(&part, edition)
                    {
                        self.restem_kept(draft, row, edition);
                    }
                }
                BarPlan::Rebuild { source: bar, .. } | BarPlan::Fresh { source: bar } => {
                    let Some(source) = self.context.source else { continue };
                    if self.is_one_voice(&source.part, bar) {
                        self.restem_composed(draft, composer, row, bar);
                    }
                }
                _ => {}
            }
        }
    }

    /// Whether a bar of either side is one voice alone on the only staff.
    fn is_one_voice(&self, part: &Part, bar: usize) -> bool {
        let voices = part.notes[part.bars[bar].notes.clone()].iter().map(|n| n.voice);
        self.context.part.staves == 1 && voices.collect::<BTreeSet<_>>().len() == 1
    }

    fn restem_kept(&self, draft: &mut Draft, row: usize, bar: usize) {
        let middle = self.middle_line(row);
        let part = self.context.part;
        let notes = part.notes_in(&part.bars[bar]).filter(|n| part[*n].pitch().is_some() && part[*n].grace == 0);
        let beam = |n: EditionNote| child_text(self.context.node(n), "beam").map(str::to_string);
        let place = |n: EditionNote| {
            let pitch = self.pitches.get(&n).copied().or_else(|| self.context.written(n));
            pitch.map_or(0, Pitch::staff_place)
        };
        let groups = beamed(notes.map(|n| (n, beam(n), place(n))));
        let moved = |n: &Stemmed<EditionNote>| self.other_clefs.is_some() || self.pitches.contains_key(&n.0);
        for group in groups.into_iter().filter(|g| g.iter().any(moved)) {
            let direction = direction(&group, middle);
            for (note, _, _) in group {
                if let Some(stem) = child(self.context.node(note), "stem")
                    && matches!(text_of(stem), "up" | "down")
                    && text_of(stem) != direction
                {
                    draft.edits.replace(element(stem), Fragment::leaf("stem", direction));
                }
            }
        }
    }

    fn restem_composed(&self, draft: &mut Draft, composer: &Composer, row: usize, bar: usize) {
        let Some(source) = self.context.source else { return };
        let middle = self.middle_line(row);
        let part = source.part;
        let notes: Vec<Stemmed<SourceNote>> = part
            .notes_in(&part.bars[bar])
            .filter(|n| part[*n].pitch().is_some() && part[*n].grace == 0)
            .filter_map(|n| {
                let pitch = composer.written(source, n, self.context.transpose_at(row))?;
                let beam = draft.composed[&n].child("beam").map(|b| b.text.trim().to_string());
                Some((n, beam, pitch.staff_place()))
            })
            .collect();
        for group in beamed(notes.into_iter()) {
            let direction = direction(&group, middle);
            for (note, _, _) in group {
                let fragment = draft.composed.get_mut(&note).expect("composed above");
                if let Some(stem) = fragment.children.iter_mut().find(|c| c.name == "stem")
                    && matches!(stem.text.trim(), "up" | "down")
                {
                    stem.text = direction.into();
                }
            }
        }
    }

    /// The staff place of the middle line under the clef in force.
    pub(super) fn middle_line(&self, row: usize) -> i32 {
        let Some(bar) = self.context.nearest_edition_bar(row) else {
            return Clef::TREBLE.middle_line();
        };
        let clef = match &self.other_clefs {
            Some(clefs) => clefs.iter().rev().find(|c| c.0 <= bar).map(|c| c.1),
            None => self.clef_at(bar),
        };
        clef.unwrap_or(Clef::TREBLE).middle_line()
    }

    /// The clef in force at the end of a bar of the edition.
    pub(super) fn clef_at(&self, bar: usize) -> Option<Clef> {
        let tree = self.context.tree;
        // Looked for once: a bar asks for what may stand in any before it.
        let clefs = self.clefs.get_or_init(|| {
            let clef_of = |(bar, own): (usize, &Bar)| {
                let attributes = tree.node(own.element).children().filter(|n| n.tag_name().name() == "attributes");
                Some((bar, read_clef(attributes.filter_map(|a| child(a, "clef")).next_back()?)))
            };
            self.context.part.bars.iter().enumerate().filter_map(clef_of).collect()
        });
        clefs[..clefs.partition_point(|c| c.0 <= bar)].last().and_then(|c| c.1)
    }
}

/// A note, what it says of its beam, and its place on the staff.
type Stemmed<N> = (N, Option<String>, i32);

/// Notes under one beam share a stem direction.
fn beamed<N>(notes: impl Iterator<Item = Stemmed<N>>) -> Vec<Vec<Stemmed<N>>> {
    let mut out: Vec<Vec<Stemmed<N>>> = Vec::new();
    let mut open = false;
    for note in notes {
        let continues = open && matches!(note.1.as_deref(), Some("continue" | "end") | None);
        let opens = matches!(note.1.as_deref(), Some("begin"));
        let ends = matches!(note.1.as_deref(), Some("end"));
        match out.last_mut().filter(|_| continues && note.1.is_some()) {
            Some(group) => group.push(note),
            None => out.push(vec![note]),
        }
        open = opens || open && !ends;
    }
    out
}

/// Down when the note farthest from the middle line lies on it or above.
fn direction<N>(group: &[Stemmed<N>], middle: i32) -> &'static str {
    let farthest = group.iter().map(|n| n.2 - middle).max_by_key(|d| d.abs()).unwrap_or(0);
    if farthest >= 0 { "down" } else { "up" }
}
