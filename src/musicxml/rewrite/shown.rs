//! What the eye needs after the notes have changed: accidentals and stems.

use super::super::accidentals::{self, Printed};
use super::super::fragment::Fragment;
use super::super::tree::{child, child_text, element, text_of};
use super::clefs::read_clef;
use super::compose::{is_pitched, stem_of};
use super::{PartRewrite, Target};
use crate::instrument::Clef;
use crate::pitch::{Pitch, accidental_name};
use crate::plan::BarPlan;
use crate::score::NoteId;
use crate::time::Time;
use roxmltree::Node;
use std::collections::{BTreeMap, BTreeSet};

/// A note as it will be printed.
struct Shown {
    target: Target,
    staff: u32,
    pitch: Pitch,
    /// A tie brings it over the barline: no accidental of its own.
    continued: bool,
}

fn required(notes: &[Shown], fifths: i32) -> Vec<bool> {
    let printed = |n: &Shown| Printed { staff: n.staff, pitch: n.pitch, continued: n.continued };
    accidentals::required(notes.iter().map(printed), fifths)
}

impl PartRewrite<'_, '_, '_> {
    pub(super) fn settle_accidentals(&mut self) {
        for row in self.touched_rows() {
            let fifths = self.fifths.get(row).copied();
            let after = self.shown_after(row);
            let plan = self.plan[row];
            let fifths = fifths.or(plan.edition().map(|b| self.part.bars[b].fifths)).unwrap_or(0);
            let needs = required(&after, fifths);
            let before: BTreeMap<NoteId, bool> = match plan {
                BarPlan::Keep { edition, .. } => {
                    let notes = self.shown_before(edition);
                    let needs = required(&notes, self.part.bars[edition].fifths);
                    let id = |s: &Shown| match s.target {
                        Target::Kept(n) | Target::Composed(n) => n,
                    };
                    notes.iter().map(id).zip(needs).collect()
                }
                _ => BTreeMap::new(),
            };
            for (note, needed) in after.iter().zip(needs) {
                self.settle_accidental(note, needed, &before);
            }
        }
    }

    fn settle_accidental(&mut self, note: &Shown, needed: bool, before: &BTreeMap<NoteId, bool>) {
        let Some(name) = accidental_name(note.pitch.alter) else {
            return;
        };
        let flags = self.flagged.get(&note.target).cloned();
        // A sign that the source prints without need may warn the reader.
        let origin = match note.target {
            Target::Composed(id) => Some(id),
            Target::Kept(id) => self.restored_from.get(&id).copied(),
        };
        let needed = needed || origin.is_some_and(|n| self.source_prints_accidental(n));
        let wanted = || {
            let mut out = Fragment::leaf("accidental", name);
            out.attributes = flags.clone().unwrap_or_default();
            out
        };
        let id = match note.target {
            Target::Composed(id) => {
                if (needed || flags.is_some())
                    && let Some(fragment) = self.composed.get_mut(&id)
                {
                    fragment.remove("accidental");
                    fragment.place(wanted());
                }
                return;
            }
            Target::Kept(id) => id,
        };
        let node = self.edits.tree().node(self.part.notes[id].element);
        let old = child(node, "accidental");
        let changed = self.pitches.contains_key(&id);
        let unflagged = self.unflagged.contains(&id);
        let status_changed = before.get(&id).is_some_and(|b| *b != needed);
        let special = old.is_some_and(|o| {
            ["cautionary", "editorial", "parentheses", "bracket"].iter().any(|a| o.attribute(*a) == Some("yes"))
        });
        let wanted = |old: Node<'_, '_>| {
            let mut out = wanted();
            if special && !unflagged && flags.is_none() {
                out.attributes = Fragment::shell(old).attributes;
            }
            out
        };
        let here = self.part.notes[id].element;
        match old {
            None if flags.is_some() || needed && (changed || status_changed) => {
                let mut sign = Fragment::leaf("accidental", name);
                sign.attributes = flags.clone().unwrap_or_default();
                self.edits.add_child(here, sign);
            }
            None => {}
            Some(old) if flags.is_some() || unflagged && needed => self.edits.replace(element(old), wanted(old)),
            Some(old) if unflagged => self.edits.remove(element(old)),
            Some(old) if changed && (needed || special) && text_of(old) == name => {}
            Some(old) if changed && (needed || special) => self.edits.replace(element(old), wanted(old)),
            // A sign that is printed without need stays one.
            Some(old) if self.moved_whole && changed && !status_changed => {
                self.edits.replace(element(old), wanted(old))
            }
            Some(old) if changed || status_changed && !needed && !special => self.edits.remove(element(old)),
            Some(_) => {}
        }
    }

    fn source_prints_accidental(&self, note: NoteId) -> bool {
        self.source.is_some_and(|s| child(s.node(s.part.notes[note].element), "accidental").is_some())
    }

    /// Rows in which some accidental may have to come or go.
    fn touched_rows(&self) -> Vec<usize> {
        let bars: BTreeSet<usize> = (self.pitches.keys())
            .chain(&self.gone_graces)
            .chain(&self.unflagged)
            .chain(&self.untied)
            .chain(self.new_graces.iter().map(|g| &g.main))
            .chain(self.flagged.keys().filter_map(|t| match t {
                Target::Kept(n) => Some(n),
                Target::Composed(_) => None,
            }))
            .map(|n| self.part.notes[*n].bar)
            .collect();
        let touched = |(row, plan): &(usize, &BarPlan)| match plan {
            // A part may have fewer bars than another.
            BarPlan::Keep { edition, .. } => self.part.bars.get(*edition).is_some_and(|bar| {
                let key = self.fifths.get(*row).is_some_and(|f| *f != bar.fifths);
                key || bars.contains(edition)
            }),
            other => other.is_composed(),
        };
        self.plan.rows().iter().enumerate().filter(touched).map(|(row, _)| row).collect()
    }

    fn shown_before(&self, bar: usize) -> Vec<Shown> {
        let notes = self.part.bars[bar].notes.clone().filter(|n| is_pitched(self.part, *n));
        let mut out: Vec<(Time, bool, NoteId, Shown)> = notes
            .filter_map(|n| {
                let own = &self.part.notes[n];
                let continued = own.tied_from.is_some_and(|f| self.part.notes[f].bar != bar);
                let shown = Shown { target: Target::Kept(n), staff: own.staff, pitch: self.written(n)?, continued };
                Some((own.offset, own.grace == 0, n, shown))
            })
            .collect();
        out.sort_by_key(|n| (n.0, n.1, n.2));
        out.into_iter().map(|n| n.3).collect()
    }

    fn shown_after(&self, row: usize) -> Vec<Shown> {
        if let BarPlan::Keep { edition, .. } = self.plan[row] {
            let mut out = Vec::new();
            for mut shown in self.shown_before(edition) {
                let Target::Kept(id) = shown.target else {
                    continue;
                };
                if self.gone_graces.contains(&id) {
                    continue;
                }
                shown.continued &= !self.untied.contains(&id);
                if let Some(pitch) = self.pitches.get(&id) {
                    shown.pitch = *pitch;
                }
                for group in self.new_graces.iter().filter(|g| g.main == id && !g.after) {
                    out.extend(group.notes.iter().filter_map(|n| self.shown_composed(*n, row)));
                }
                out.push(shown);
            }
            return out;
        }
        let Some((source, bar)) = self.source.zip(self.plan[row].source()) else {
            return Vec::new();
        };
        let mut notes: Vec<NoteId> =
            source.part.bars[bar].notes.clone().filter(|n| is_pitched(source.part, *n)).collect();
        notes.sort_by_key(|n| (source.part.notes[*n].offset, source.part.notes[*n].grace == 0, *n));
        notes.into_iter().filter_map(|n| self.shown_composed(n, row)).collect()
    }

    fn shown_composed(&self, note: NoteId, row: usize) -> Option<Shown> {
        let source = self.source?;
        let own = &source.part.notes[note];
        let sounding =
            self.overrides.get(&note).copied().or(own.pitch().map(|p| p.moved(source.alignment.interval)))?;
        let pitch = sounding.moved(self.transpose_at(row).inverse()).simplest();
        let continued = own.tied_from.is_some_and(|f| source.part.notes[f].bar != own.bar);
        Some(Shown { target: Target::Composed(note), staff: self.staff_in(row, own.staff), pitch, continued })
    }

    /// Stems follow the staff where one voice is alone on it.
    pub(super) fn settle_stems(&mut self) {
        for row in 0..self.plan.rows().len() {
            match self.plan[row] {
                BarPlan::Keep { edition, .. } => {
                    let notes = self.part.bars[edition].notes.clone();
                    if notes.clone().any(|n| self.other_clefs.is_some() || self.pitches.contains_key(&n))
                        && self.alone(notes.clone().map(|n| self.part.notes[n].voice))
                    {
                        self.restem_kept(row, edition);
                    }
                }
                BarPlan::Rebuild { source: bar, .. } | BarPlan::Fresh { source: bar } => {
                    let Some(source) = self.source else { continue };
                    let notes = source.part.bars[bar].notes.clone();
                    if self.alone(notes.map(|n| source.part.notes[n].voice)) {
                        self.restem_composed(row, bar);
                    }
                }
                _ => {}
            }
        }
    }

    fn alone(&self, voices: impl Iterator<Item = u32>) -> bool {
        self.part.staves == 1 && voices.collect::<BTreeSet<_>>().len() == 1
    }

    fn restem_kept(&mut self, row: usize, bar: usize) {
        let tree = self.edits.tree();
        let middle = self.middle_line(row);
        let notes =
            self.part.bars[bar].notes.clone().filter(|n| is_pitched(self.part, *n) && self.part.notes[*n].grace == 0);
        let beam = |n: NoteId| child_text(tree.node(self.part.notes[n].element), "beam").map(str::to_string);
        let place = |n: NoteId| {
            let pitch = self.pitches.get(&n).copied().or_else(|| self.written(n));
            pitch.map_or(0, Pitch::staff_place)
        };
        let groups = beamed(notes.map(|n| (n, beam(n), place(n))));
        let moved = |n: &Stemmed| self.other_clefs.is_some() || self.pitches.contains_key(&n.0);
        for group in groups.into_iter().filter(|g| g.iter().any(moved)) {
            let direction = direction(&group, middle);
            for (note, _, _) in group {
                if let Some((stem, old)) = stem_of(tree, self.part, note)
                    && matches!(old, "up" | "down")
                    && old != direction
                {
                    self.edits.replace(stem, Fragment::leaf("stem", direction));
                }
            }
        }
    }

    fn restem_composed(&mut self, row: usize, bar: usize) {
        let Some(source) = self.source else { return };
        let middle = self.middle_line(row);
        let notes = source.part.bars[bar].notes.clone();
        let notes: Vec<(NoteId, Option<String>, i32)> = notes
            .filter(|n| is_pitched(source.part, *n) && source.part.notes[*n].grace == 0)
            .filter_map(|n| {
                let shown = self.shown_composed(n, row)?;
                let beam = self.composed[&n].child("beam").map(|b| b.text.trim().to_string());
                Some((n, beam, shown.pitch.staff_place()))
            })
            .collect();
        for group in beamed(notes.into_iter()) {
            let direction = direction(&group, middle);
            for (note, _, _) in group {
                let fragment = self.composed.get_mut(&note).expect("composed above");
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
        let Some(bar) = self.nearest_edition_bar(row) else {
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
        let tree = self.edits.tree();
        let node = self.part.bars[..=bar].iter().rev().find_map(|b| {
            let attributes = tree.node(b.element).children().filter(|n| n.tag_name().name() == "attributes");
            attributes.filter_map(|a| child(a, "clef")).next_back()
        });
        node.and_then(read_clef)
    }
}

type Stemmed = (NoteId, Option<String>, i32);

/// Notes under one beam share a stem direction.
fn beamed(notes: impl Iterator<Item = Stemmed>) -> Vec<Vec<Stemmed>> {
    let mut out: Vec<Vec<Stemmed>> = Vec::new();
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
fn direction(group: &[Stemmed], middle: i32) -> &'static str {
    let farthest = group.iter().map(|n| n.2 - middle).max_by_key(|d| d.abs()).unwrap_or(0);
    if farthest >= 0 { "down" } else { "up" }
}
