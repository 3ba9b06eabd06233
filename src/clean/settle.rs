//! Which findings hang together, and which bars are written again for them.

use super::Decision;
use super::job::PartJob;
use crate::alignment::{EditionNote, SourceNote};
use crate::findings::{Finding, Status, Subject};
use crate::plan::BarPlan;
use crate::score::{Anchor, Category, NoteId, Part, Place};
use crate::time::Time;
use std::collections::{BTreeMap, BTreeSet};

/// Why a bar stays as it is.
pub(super) const TORN: &str = "stays as it is, because something in it was to be kept";

impl PartJob<'_, '_, '_> {
    /// Bars in which the notes themselves are others are rebuilt as a whole;
    /// what cannot be decided alone is decided with what it hangs together with.
    pub(super) fn settle(&mut self, warnings: &mut Vec<String>) {
        let mut rebuilt: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (index, finding) in self.findings.iter().enumerate() {
            for row in self.rebuilt_rows(finding) {
                rebuilt.entry(row).or_default().push(index);
            }
        }
        self.keep_with_bars();
        self.keep_together(&rebuilt, warnings);
        for (row, findings) in rebuilt {
            let BarPlan::Keep { edition, source: Some(source), shift } = self.plan[row] else {
                continue;
            };
            if source < self.source.bars.len() && findings.iter().all(|f| self.is_undone(*f)) {
                let shift = if self.is_padded(edition, source, shift) { shift } else { Time::zero() };
                self.plan.rebuild(row, shift);
            }
        }
        self.settle_marks();
        self.settle_signatures();
    }

    /// How long a row is in the copy.
    pub(super) fn length(&self, row: usize) -> Option<Time> {
        match self.plan[row] {
            BarPlan::Keep { edition, .. } => self.edition.bars.get(edition).map(|b| b.length),
            BarPlan::Rebuild { source, shift, .. } => Some(self.source.bars[source].length + shift),
            BarPlan::Fresh { source } => self.source.bars.get(source).map(|b| b.length),
            BarPlan::Drop { .. } | BarPlan::Absent => None,
        }
    }

    /// Writes a bar again though nothing in it asks for it, because it is to be
    /// as long as the others; not if something in it is kept.
    pub(super) fn write_again(&mut self, row: usize) {
        let BarPlan::Keep { edition, source: Some(source), shift } = self.plan[row] else { return };
        let is_kept = |(f, d): (&Finding, &Decision)| f.row == row && f.category.is_of_notes() && *d != Decision::Out;
        if source >= self.source.bars.len() || self.findings.iter().zip(&self.decisions).any(is_kept) {
            return;
        }
        let shift = if self.is_padded(edition, source, shift) { shift } else { Time::zero() };
        self.plan.rebuild(row, shift);
    }

    /// Bars that only one side has stay or go whole, in all parts. Marks that
    /// only a rebuilt or new bar could carry stay out with it.
    fn keep_with_bars(&mut self) {
        for (index, finding) in self.findings.iter().enumerate() {
            let with_its_bar = match self.plan[finding.row] {
                BarPlan::Absent => finding.status == Status::Omitted,
                BarPlan::Keep { source: None, .. } => finding.category.is_of_notes(),
                _ => false,
            };
            if with_its_bar {
                self.decisions[index] = Decision::Keep;
            }
        }
    }

    /// A bar of which something is kept cannot be rebuilt, and what a tie joins
    /// to it in another bar is kept, too. `rebuilt` has for each row the
    /// findings that ask for it.
    fn keep_together(&mut self, rebuilt: &BTreeMap<usize, Vec<usize>>, warnings: &mut Vec<String>) {
        let mut left: BTreeSet<usize> = BTreeSet::new();
        loop {
            let torn = |(row, findings): &(&usize, &Vec<usize>)| {
                let undone = findings.iter().filter(|f| self.is_undone(**f)).count();
                let stays = matches!(self.plan[**row], BarPlan::Keep { source: None, .. } | BarPlan::Absent);
                undone > 0 && (undone < findings.len() || stays)
            };
            let Some((row, findings)) = rebuilt.iter().find(torn) else { break };
            left.insert(*row);
            findings.iter().for_each(|f| self.decisions[*f] = Decision::Keep);
        }
        for bar in left.iter().filter_map(|row| self.plan[*row].edition()) {
            warnings.push(format!(
                "part {}, bar {} of the edition: {TORN} and its notes cannot be restored one by one",
                self.edition.spoken(),
                self.edition.bars[bar].number
            ));
        }
    }

    /// Whether two bars differ in length by rests that one of them begins with,
    /// as a pickup that is filled up does.
    fn is_padded(&self, edition: usize, source: usize, shift: Time) -> bool {
        let (ours, theirs) = (&self.edition.bars[edition], &self.source.bars[source]);
        let rests = |part: &Part, notes: std::ops::Range<NoteId>, until: Time| {
            notes.map(|n| &part.notes[n]).all(|n| n.offset >= until || n.is_rest() && n.offset + n.duration <= until)
        };
        ours.length == theirs.length + shift
            && rests(&self.edition, ours.notes.clone(), shift)
            && rests(&self.source, theirs.notes.clone(), -shift)
    }

    /// A mark of the source cannot come back to a note that the copy has not,
    /// because other notes are kept in its place or its bar stays out.
    fn settle_marks(&mut self) {
        for (index, finding) in self.findings.iter().enumerate() {
            let Subject::Mark { source: Some(mark), .. } = finding.subject else { continue };
            let mark = self.source.mark(mark);
            let stays_out =
                |place: Anchor| !self.plan[self.sides.collation.source_row(Place::start_of(place.bar))].is_in_result();
            let lacking = |place: Anchor| {
                stays_out(place) || self.source.carrier(place).is_some_and(|note| !self.has_source_note(note))
            };
            if lacking(mark.at) || mark.end.is_some_and(lacking) {
                self.decisions[index] = Decision::Keep;
            }
        }
    }

    /// Whether the copy has a note of the source, made anew or the edition's in its place.
    fn has_source_note(&self, note: SourceNote) -> bool {
        let own = &self.source[note];
        let BarPlan::Keep { .. } = self.plan[self.sides.collation.source_row(Place::start_of(own.bar))] else {
            return true;
        };
        if own.grace > 0 || !own.is_struck() && own.tied_from.is_none() {
            return true;
        }
        let partner = |n: SourceNote| self.alignment.source_to_edition[self.source.head(n)].is_some();
        let head = self.source.head(note);
        let in_tie = || self.alignment.ties.iter().any(|t| t.source.contains(&head));
        partner(note) || self.source.chord(note).any(partner) || in_tie()
    }

    /// Signatures hold on: those of a part are restored together or not at all.
    fn settle_signatures(&mut self) {
        let all =
            || self.findings.iter().enumerate().filter(|(_, f)| f.category == Category::Signature).map(|(i, _)| i);
        if all().any(|i| !self.is_undone(i)) {
            for index in all().collect::<Vec<_>>() {
                self.decisions[index] = Decision::Keep;
            }
        }
    }

    /// The rows that must be rebuilt to undo a finding; none where single
    /// elements can be put right.
    pub(super) fn rebuilt_rows(&self, finding: &Finding) -> Vec<usize> {
        match finding.subject {
            Subject::Tie(tie) if !self.tie_is_written(tie) => {
                let tie = &self.alignment.ties[tie];
                let ours = tie.edition.iter().flat_map(|n| self.edition_rows_of(*n));
                let theirs = tie.source.iter().flat_map(|n| self.source_rows_of(*n));
                ours.chain(theirs).collect::<BTreeSet<_>>().into_iter().collect()
            }
            Subject::Note { .. } if matches!(finding.category, Category::Note | Category::Rhythm) => {
                self.rows_of_notes(finding)
            }
            Subject::WrittenOutOrnament(index) => {
                let written = &self.alignment.written_out[index];
                let ours = written.edition.iter().flat_map(|n| self.edition_rows_of(*n));
                let rows = ours.chain(self.source_rows_of(written.source)).chain([finding.row]);
                rows.collect::<BTreeSet<_>>().into_iter().collect()
            }
            _ => Vec::new(),
        }
    }

    /// The rows that a note of the edition reaches into by its ties.
    fn edition_rows_of(&self, note: EditionNote) -> impl Iterator<Item = usize> {
        let bars = self.edition.tied(note).map(|n| self.edition[n].bar);
        bars.map(|bar| self.sides.collation.edition_row(Place::start_of(bar)))
    }

    fn source_rows_of(&self, note: SourceNote) -> impl Iterator<Item = usize> {
        let bars = self.source.tied(note).map(|n| self.source[n].bar);
        bars.map(|bar| self.sides.collation.source_row(Place::start_of(bar)))
    }

    /// All rows that a changed note reaches into by its ties.
    pub(super) fn rows_of_notes(&self, finding: &Finding) -> Vec<usize> {
        let Subject::Note { edition, source } = finding.subject else {
            return Vec::new();
        };
        let mut rows = BTreeSet::from([finding.row]);
        rows.extend(edition.into_iter().flat_map(|e| self.edition_rows_of(e)));
        rows.extend(source.into_iter().flat_map(|s| self.source_rows_of(s)));
        rows.into_iter().collect()
    }

    /// Whether a tie change is one of ties alone: all notes are written.
    pub(super) fn tie_is_written(&self, tie: usize) -> bool {
        let tie = &self.alignment.ties[tie];
        if !tie.added {
            return true;
        }
        let held: Vec<EditionNote> = self.edition.tied(tie.edition[0]).collect();
        let start = self.edition.onset(held[0]);
        let from = self.source.onset(tie.source[0]);
        tie.source.iter().skip(1).all(|s| {
            let time = self.source.onset(*s) - from + start;
            held.iter().any(|n| self.edition.onset(*n) == time)
        })
    }
}
