//! Where notes and places of either side are in the result.

use super::{PartRewrite, SourceSide, Target};
use crate::alignment::{EditionNote, SourceNote};
use crate::pitch::Interval;
use crate::plan::BarPlan;
use crate::score::{Anchor, NoteId};
use crate::time::Time;

impl PartRewrite<'_, '_, '_> {
    /// Where a source note is in the result.
    pub fn target_of_source(&self, note: NoteId) -> Option<Target> {
        let source = self.source?;
        if self.composed.contains_key(&note) {
            return Some(Target::Composed(note));
        }
        let own = &source.part.notes[note];
        if !matches!(self.plan[self.plan.source_row(own.bar)?], BarPlan::Keep { .. }) {
            return None;
        }
        if own.grace > 0 {
            let main = self.partner(source, source.part.main_note(note)?)?;
            let same = |n: &NoteId| {
                let note = &self.part.notes[*n];
                (note.grace, note.grace_after) == (own.grace, own.grace_after) && self.part.main_note(*n) == Some(main)
            };
            let bar = self.part.bars[self.part.notes[main].bar].notes.clone();
            return bar.clone().find(same).filter(|n| !self.gone_graces.contains(n)).map(Target::Kept);
        }
        let same_rest = || {
            // Rests are not collated: the one at the same place.
            let (row, offset) = self.place_of_source(Anchor { place: own.place(), note: None })?;
            let mut rests = self.part.bars[self.plan[row].edition()?].notes.clone();
            let of_voice = |n: NoteId| self.part.notes[n].voice == own.voice;
            let fits = |n: &NoteId| self.part.notes[*n].is_rest() && self.part.notes[*n].offset == offset;
            let all = rests.clone().filter(fits);
            rests.find(|n| fits(n) && of_voice(*n)).or_else(|| all.min())
        };
        let partner = if own.is_rest() { same_rest() } else { self.partner(source, note) };
        partner.map(Target::Kept)
    }

    /// The edition's note at the place of a source note, wherever its ties start.
    pub(super) fn partner(&self, source: SourceSide, note: NoteId) -> Option<NoteId> {
        let (alignment, part) = (source.alignment, source.part);
        let head = part.head(note);
        let tie = alignment.ties.iter().find(|t| t.source.contains(&SourceNote::new(head)));
        // The source's note with a partner of its own: the first of a tie
        // change, the note itself, or another note of its chord.
        let own = |n: NoteId| alignment.source_to_edition[SourceNote::new(n)].map(|e| (n, e.index()));
        let in_chord = || part.chord(head).find_map(|n| own(part.head(n)));
        let (first, edition) = match tie {
            Some(tie) => own(tie.source[0].index())?,
            None => own(head).or_else(in_chord)?,
        };
        let time = self.part.onset(edition) + part.onset(note) - part.onset(first);
        let struck = tie.map_or(vec![edition], |t| t.edition.iter().map(|n| n.index()).collect());
        let candidates = struck.iter().flat_map(|n| self.part.tied(*n)).filter(|n| self.part.onset(*n) <= time);
        candidates.max_by_key(|n| self.part.onset(*n))
    }

    /// Where a place of the source is in the result: row and offset.
    pub fn place_of_source(&self, place: Anchor) -> Option<(usize, Time)> {
        let row = self.plan.source_row(place.bar)?;
        let plan = self.plan[row];
        plan.is_in_result().then(|| (row, place.offset + plan.shift()))
    }

    /// Where a note of the edition is in the result.
    pub fn target_of_edition(&self, note: NoteId) -> Option<Target> {
        let row = self.plan.edition_row(self.part.notes[note].bar)?;
        match self.plan[row] {
            BarPlan::Keep { .. } => (!self.gone_graces.contains(&note)).then_some(Target::Kept(note)),
            BarPlan::Rebuild { .. } => {
                let source = self.source?;
                let head = EditionNote::new(self.part.head(note));
                source.alignment.edition_to_source[head].map(|s| Target::Composed(s.index()))
            }
            _ => None,
        }
    }

    pub fn place_of_edition(&self, place: Anchor) -> Option<(usize, Time)> {
        let row = self.plan.edition_row(place.bar)?;
        match self.plan[row] {
            BarPlan::Keep { .. } => Some((row, place.offset)),
            BarPlan::Rebuild { .. } => Some((row, place.offset)),
            _ => None,
        }
    }

    /// The interval from the source's sounding pitch to what a row writes.
    pub(super) fn writing_interval(&self, row: usize) -> Interval {
        let sounding = self.source.map_or(Interval::UNISON, |s| s.alignment.interval);
        sounding.plus(self.transpose_at(row).inverse())
    }

    /// How written pitch sounds in a row; new bars go on as the one before.
    pub(super) fn transpose_at(&self, row: usize) -> Interval {
        self.nearest_edition_bar(row).map_or(Interval::UNISON, |bar| self.part.bars[bar].transpose)
    }

    pub(super) fn nearest_edition_bar(&self, row: usize) -> Option<usize> {
        let before = self.plan.rows()[..=row].iter().rev().find_map(|f| f.edition());
        before
            .or_else(|| self.plan.rows()[row..].iter().find_map(|f| f.edition()))
            .filter(|b| *b < self.part.bars.len())
    }
}
