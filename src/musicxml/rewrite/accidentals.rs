//! Which accidentals are printed after the notes have changed.

use super::super::accidentals::{self, Printed};
use super::super::fragment::Fragment;
use super::super::tree::{child, element, text_of};
use super::Target;
use super::compose::Composer;
use super::draft::Draft;
use super::respell::Respeller;
use crate::alignment::{EditionNote, SourceNote};
use crate::pitch::{Pitch, accidental_name};
use crate::plan::BarPlan;
use crate::score::KeySigns;
use crate::time::Time;
use roxmltree::Node;
use std::collections::{BTreeMap, BTreeSet};

/// A note as it will be printed.
struct PrintedNote {
    target: Target,
    staff: u32,
    pitch: Pitch,
    /// A tie brings it over the barline: no accidental of its own.
    continued: bool,
}

/// Whether a note needs its accidental, now and, if it stood there, before.
struct Need {
    now: bool,
    before: Option<bool>,
}

fn required(notes: &[PrintedNote], fifths: i32, signs: Option<KeySigns>) -> Vec<bool> {
    let printed = |n: &PrintedNote| Printed { staff: n.staff, pitch: n.pitch, continued: n.continued };
    let notes = notes.iter().map(printed);
    match signs {
        Some(signs) => accidentals::required_under(notes, |step| signs.0[step as usize]),
        None => accidentals::required(notes, fifths),
    }
}

impl Respeller<'_, '_, '_> {
    pub(super) fn settle_accidentals(&self, draft: &mut Draft, composer: &Composer) {
        for row in self.touched_rows(draft) {
            let after = self.printed_after(draft, composer, row);
            let plan = self.context.plan[row];
            let signs = |side: usize| {
                let bar = plan.edition()?;
                self.key_signs.as_ref().and_then(|sides| sides[side].get(bar).copied().flatten())
            };
            let needs = required(&after, self.fifths[row], signs(1));
            let before: BTreeMap<Target, bool> = match plan {
                BarPlan::Keep { edition, .. } => {
                    let notes = self.printed_before(edition);
                    let needs = required(&notes, self.context.part.bars[edition].fifths, signs(0));
                    notes.iter().map(|n| n.target).zip(needs).collect()
                }
                _ => BTreeMap::new(),
            };
            for (note, needed) in after.iter().zip(needs) {
                self.settle_accidental(draft, note, Need { now: needed, before: before.get(&note.target).copied() });
            }
        }
    }

    fn settle_accidental(&self, draft: &mut Draft, note: &PrintedNote, need: Need) {
        let Some(name) = accidental_name(note.pitch.alter) else { return };
        let flags = self.styled.get(&note.target).cloned();
        // A sign that the source prints without need may warn the reader.
        let origin = match note.target {
            Target::Composed(id) => Some(id),
            Target::Kept(id) => self.restored_from.get(&id).copied(),
        };
        let needed = need.now || origin.is_some_and(|n| self.source_prints_accidental(n));
        let wanted = || {
            let mut out = Fragment::leaf("accidental", name);
            out.attributes = flags.clone().unwrap_or_default();
            out
        };
        let id = match note.target {
            Target::Composed(id) => {
                if (needed || flags.is_some())
                    && let Some(fragment) = draft.composed.get_mut(&id)
                {
                    fragment.remove("accidental");
                    fragment.place(wanted());
                }
                return;
            }
            Target::Kept(id) => id,
        };
        let node = self.context.node(id);
        let old = child(node, "accidental");
        let changed = self.pitches.contains_key(&id);
        let unstyled = self.unstyled.contains(&id);
        let status_changed = need.before.is_some_and(|b| b != needed);
        let special = old.is_some_and(|o| {
            ["cautionary", "editorial", "parentheses", "bracket"].iter().any(|a| o.attribute(*a) == Some("yes"))
        });
        let wanted = |old: Node<'_, '_>| {
            let mut out = wanted();
            if special && !unstyled && flags.is_none() {
                out.attributes = Fragment::shell(old).attributes;
            }
            out
        };
        let here = self.context.part[id].element;
        match old {
            None if flags.is_some() || needed && (changed || status_changed) => {
                let mut sign = Fragment::leaf("accidental", name);
                sign.attributes = flags.clone().unwrap_or_default();
                draft.edits.add_child(here, sign);
            }
            None => {}
            Some(old) if flags.is_some() || unstyled && needed => draft.edits.replace(element(old), wanted(old)),
            Some(old) if unstyled => draft.edits.remove(element(old)),
            Some(old) if changed && (needed || special) && text_of(old) == name => {}
            Some(old) if changed && (needed || special) => draft.edits.replace(element(old), wanted(old)),
            // A sign that is printed without need stays one.
            Some(old) if self.moved_whole && changed && !status_changed => {
                draft.edits.replace(element(old), wanted(old))
            }
            Some(old) if changed || status_changed && !needed && !special => draft.edits.remove(element(old)),
            Some(_) => {}
        }
    }

    fn source_prints_accidental(&self, note: SourceNote) -> bool {
        self.context.source.is_some_and(|s| child(s.node(s.part[note].element), "accidental").is_some())
    }

    /// Rows in which some accidental may have to come or go.
    fn touched_rows(&self, draft: &Draft) -> Vec<usize> {
        let bars: BTreeSet<usize> = (self.pitches.keys())
            .chain(&draft.gone_graces)
            .chain(&self.unstyled)
            .chain(&draft.untied)
            .chain(draft.new_graces.iter().map(|g| &g.main))
            .chain(self.styled.keys().filter_map(|t| match t {
                Target::Kept(n) => Some(n),
                Target::Composed(_) => None,
            }))
            .map(|n| self.context.part[*n].bar)
            .collect();
        let touched = |(row, plan): &(usize, &BarPlan)| match plan {
            // A part may have fewer bars than another.
            BarPlan::Keep { edition, .. } => self
                .context
                .part
                .bars
                .get(*edition)
                .is_some_and(|bar| self.fifths[*row] != bar.fifths || bars.contains(edition)),
            other => other.is_composed(),
        };
        self.context.plan.rows().iter().enumerate().filter(touched).map(|(row, _)| row).collect()
    }

    fn printed_before(&self, bar: usize) -> Vec<PrintedNote> {
        let part = self.context.part;
        let notes = part.notes_in(&part.bars[bar]).filter(|n| part[*n].pitch().is_some());
        let mut out: Vec<(Time, bool, EditionNote, PrintedNote)> = notes
            .filter_map(|n| {
                let own = &part[n];
                let continued = own.tied_from.is_some_and(|f| part.notes[f].bar != bar);
                let printed = PrintedNote {
                    target: Target::Kept(n),
                    staff: own.staff,
                    pitch: self.context.written(n)?,
                    continued,
                };
                Some((own.offset, own.grace == 0, n, printed))
            })
            .collect();
        out.sort_by_key(|n| (n.0, n.1, n.2));
        out.into_iter().map(|n| n.3).collect()
    }

    fn printed_after(&self, draft: &Draft, composer: &Composer, row: usize) -> Vec<PrintedNote> {
        if let BarPlan::Keep { edition, .. } = self.context.plan[row] {
            let mut out = Vec::new();
            for mut printed in self.printed_before(edition) {
                let Target::Kept(id) = printed.target else { continue };
                if draft.gone_graces.contains(&id) {
                    continue;
                }
                printed.continued &= !draft.untied.contains(&id);
                if let Some(pitch) = self.pitches.get(&id) {
                    printed.pitch = *pitch;
                }
                let graces = |after: bool| {
                    let groups = draft.new_graces.iter().filter(move |g| g.main == id && g.after == after);
                    groups.flat_map(|g| &g.notes).filter_map(|n| self.printed_composed(composer, *n, row))
                };
                out.extend(graces(false));
                out.push(printed);
                out.extend(graces(true));
            }
            return out;
        }
        let Some((source, bar)) = self.context.source.zip(self.context.plan[row].source()) else { return Vec::new() };
        let part = source.part;
        let mut notes: Vec<SourceNote> =
            part.notes_in(&part.bars[bar]).filter(|n| part[*n].pitch().is_some()).collect();
        notes.sort_by_key(|n| (part[*n].offset, part[*n].grace == 0, *n));
        notes.into_iter().filter_map(|n| self.printed_composed(composer, n, row)).collect()
    }

    fn printed_composed(&self, composer: &Composer, note: SourceNote, row: usize) -> Option<PrintedNote> {
        let source = self.context.source?;
        let own = &source.part[note];
        let pitch = composer.written(source, note, self.context.transpose_at(row))?;
        let continued = own.tied_from.is_some_and(|f| source.part.notes[f].bar != own.bar);
        Some(PrintedNote { target: Target::Composed(note), staff: self.context.staff_in(own.staff), pitch, continued })
    }
}
