//! One part of the edition with its source: what becomes of its bars, notes
//! and marks.

use super::{Decision, Policy, Sides, Summary};
use crate::collate::PartAlignment;
use crate::findings::{Finding, Status, Subject};
use crate::musicxml::Plan;
use crate::musicxml::rewrite::{Fate, PartRewrite, SourceSide};
use crate::pitch::Pitch;
use crate::score::{Category, NoteId, Part, Place};
use crate::time::Time;
use std::collections::{BTreeMap, BTreeSet};

/// One part of the edition with its source.
pub(super) struct PartJob<'s, 'a, 'i> {
    pub(super) sides: &'s Sides<'a, 'i>,
    pub(super) alignment: &'a PartAlignment,
    pub(super) edition: &'a Part,
    pub(super) source: &'a Part,
    pub(super) findings: &'a [Finding],
    pub(super) policy: &'s Policy,
    /// What becomes of each finding.
    pub(super) decisions: Vec<Decision>,
    pub(super) fates: Vec<Fate>,
}

impl<'s, 'a, 'i> PartJob<'s, 'a, 'i> {
    pub(super) fn new(
        sides: &'s Sides<'a, 'i>,
        at: usize,
        policy: &'s Policy,
        decisions: Vec<Decision>,
        shape: &[Fate],
        warnings: &mut Vec<String>,
    ) -> Self {
        let alignment = &sides.collation.parts[at];
        let mut job = PartJob {
            sides,
            alignment,
            edition: &sides.edition.parts[alignment.edition],
            source: &sides.source.parts[alignment.source],
            findings: &sides.findings[at].findings,
            policy,
            decisions,
            fates: shape.to_vec(),
        };
        job.settle_fates(warnings);
        job
    }

    pub(super) fn is_undone(&self, finding: usize) -> bool {
        self.decisions[finding] == Decision::Out
    }

    /// Bars in which the notes themselves are others are rebuilt as a whole.
    pub(super) fn settle_fates(&mut self, warnings: &mut Vec<String>) {
        let mut wanted: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (index, finding) in self.findings.iter().enumerate() {
            for row in self.rebuilt_rows(finding) {
                wanted.entry(row).or_default().push(index);
            }
        }
        // Bars that only one side has stay or go whole, in all parts. Marks that only a rebuilt or new bar could carry
        // stay out with it.
        for (index, finding) in self.findings.iter().enumerate() {
            let with_its_bar = match self.fates[finding.row] {
                Fate::Absent => finding.status == Status::Omitted,
                Fate::Keep { source: None, .. } => finding.category.is_of_notes(),
                _ => false,
            };
            if with_its_bar {
                self.decisions[index] = Decision::Keep;
            }
        }
        // What a bar keeps, another may have to keep with it, where a tie joins them.
        let mut left: BTreeSet<usize> = BTreeSet::new();
        loop {
            let mixed = |(row, findings): &(&usize, &Vec<usize>)| {
                let undone = findings.iter().filter(|f| self.is_undone(**f)).count();
                let whole = !matches!(self.fates[**row], Fate::Keep { source: None, .. } | Fate::Absent);
                undone > 0 && (undone < findings.len() || !whole)
            };
            let Some((row, findings)) = wanted.iter().find(mixed) else { break };
            left.insert(*row);
            findings.iter().for_each(|f| self.decisions[*f] = Decision::Keep);
        }
        for bar in left.iter().filter_map(|row| self.fates[*row].edition()) {
            warnings.push(format!(
                "part {}, bar {}: left as it is, because something in it is to be left and its notes cannot be \
                 restored one by one",
                self.edition.id, self.edition.bars[bar].number
            ));
        }
        for (row, findings) in wanted {
            let Fate::Keep { edition, source: Some(source), shift } = self.fates[row] else {
                continue;
            };
            if source < self.source.bars.len() && findings.iter().all(|f| self.is_undone(*f)) {
                let shift = if self.is_padded(edition, source, shift) { shift } else { Time::zero() };
                self.fates[row] = Fate::Rebuild { edition, source, shift };
            }
        }
        self.settle_marks();
        self.settle_signatures();
    }

    /// Whether two bars differ in length by rests that one of them begins with,
    /// as a pickup that is filled up does.
    fn is_padded(&self, edition: usize, source: usize, shift: Time) -> bool {
        let (ours, theirs) = (&self.edition.bars[edition], &self.source.bars[source]);
        let rests = |part: &Part, notes: std::ops::Range<NoteId>, until: Time| {
            notes.map(|n| &part.notes[n]).all(|n| n.offset >= until || n.is_rest() && n.offset + n.duration <= until)
        };
        ours.length == theirs.length + shift
            && rests(self.edition, ours.notes.clone(), shift)
            && rests(self.source, theirs.notes.clone(), -shift)
    }

    /// A mark of the source cannot come back to a note that the copy has not,
    /// because other notes are kept in its place.
    fn settle_marks(&mut self) {
        for (index, finding) in self.findings.iter().enumerate() {
            let Subject::Mark { source: Some(mark), .. } = finding.subject else { continue };
            let mark = &self.source.marks[mark];
            let lacking = |place: Place| place.note.is_some_and(|note| !self.has_source_note(note));
            if lacking(mark.at) || mark.end.is_some_and(lacking) {
                self.decisions[index] = Decision::Keep;
            }
        }
    }

    /// Whether the copy has a note of the source, made anew or the edition's in its place.
    fn has_source_note(&self, note: NoteId) -> bool {
        let own = &self.source.notes[note];
        let Fate::Keep { .. } = self.fates[self.sides.collation.source_row(own.bar, Time::default())] else {
            return true;
        };
        if own.grace > 0 || !own.is_struck() && own.tied_from.is_none() {
            return true;
        }
        let partner = |n: NoteId| self.alignment.source_to_edition[self.source.head(n)].is_some();
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
            Subject::Realisation(index) => {
                let written = &self.alignment.realisations[index];
                let ours = written.edition.iter().flat_map(|n| self.edition_rows_of(*n));
                let rows = ours.chain(self.source_rows_of(written.source)).chain([finding.row]);
                rows.collect::<BTreeSet<_>>().into_iter().collect()
            }
            _ => Vec::new(),
        }
    }

    /// The rows that a note of the edition reaches into by its ties.
    fn edition_rows_of(&self, note: NoteId) -> impl Iterator<Item = usize> {
        let bars = self.edition.tied(note).map(|n| self.edition.notes[n].bar);
        bars.map(|bar| self.sides.collation.edition_row(bar, Time::default()))
    }

    fn source_rows_of(&self, note: NoteId) -> impl Iterator<Item = usize> {
        let bars = self.source.tied(note).map(|n| self.source.notes[n].bar);
        bars.map(|bar| self.sides.collation.source_row(bar, Time::default()))
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
        let held: Vec<NoteId> = self.edition.tied(tie.edition[0]).collect();
        let start = self.edition.onset(held[0]);
        let from = self.source.onset(tie.source[0]);
        tie.source.iter().skip(1).all(|s| {
            let time = self.source.onset(*s) - from + start;
            held.iter().any(|n| self.edition.onset(*n) == time)
        })
    }

    pub(super) fn rewrite(&self, plan: &mut Plan<'a, 'i>, summary: &mut Summary, warnings: &mut Vec<String>) {
        let side = SourceSide { tree: self.sides.source_tree, part: self.source, alignment: self.alignment };
        let mut rewrite = PartRewrite::new(plan, self.edition, Some(side), &self.fates);
        let signatures = self.with(|f| f.category == Category::Signature).any(|(_, undone)| undone);
        rewrite.compose_bars(self.overrides(), signatures);
        summary.bars_rebuilt += self.fates.iter().filter(|f| matches!(f, Fate::Rebuild { .. })).count();
        summary.undone += self.decisions.iter().filter(|d| **d == Decision::Out).count();
        self.rewrite_notes(&mut rewrite, summary);
        self.dress_notes(&mut rewrite);
        let apart = summary.marks_apart;
        self.rewrite_marks(&mut rewrite, summary, warnings);
        summary.kept += self.decisions.iter().filter(|d| **d != Decision::Out).count() + apart - summary.marks_apart;
        rewrite.finish();
    }

    pub(super) fn with(&self, test: impl Fn(&Finding) -> bool) -> impl Iterator<Item = (&'a Finding, bool)> {
        let all: Vec<(&'a Finding, bool)> = self
            .findings
            .iter()
            .zip(self.decisions.iter().map(|d| *d == Decision::Out))
            .filter(|(f, _)| test(f))
            .collect();
        all.into_iter()
    }

    /// Pitches that rebuilt bars take from the edition, where it is to keep them.
    pub(super) fn overrides(&self) -> BTreeMap<NoteId, Pitch> {
        let kept = self.with(|f| matches!(f.category, Category::Octave | Category::Pitch | Category::Spelling));
        kept.filter(|(_, undone)| !undone)
            .filter_map(|(f, _)| match f.subject {
                Subject::Note { edition: Some(e), source: Some(s) } => {
                    self.edition.notes[e].pitch().map(|p| self.source.tied(s).map(move |n| (n, p)).collect::<Vec<_>>())
                }
                _ => None,
            })
            .flatten()
            .collect()
    }

    pub(super) fn rewrite_notes(&self, rewrite: &mut PartRewrite<'_, 'a, 'i>, summary: &mut Summary) {
        for (finding, _) in self.with(|f| f.category.is_of_notes()).filter(|(_, undone)| *undone) {
            summary.notes_restored += 1;
            let kept = matches!(self.fates[finding.row], Fate::Keep { .. });
            match finding.subject {
                Subject::Note { edition: Some(e), source: Some(s) } if kept && finding.category != Category::Rhythm => {
                    rewrite.restore_pitch(e, s);
                }
                Subject::Tie(index) if self.tie_is_written(index) => self.rewrite_tie(rewrite, index),
                _ => {}
            }
        }
    }

    pub(super) fn rewrite_tie(&self, rewrite: &mut PartRewrite<'_, 'a, 'i>, index: usize) {
        let tie = &self.alignment.ties[index];
        let kept = |n: NoteId| {
            matches!(
                self.fates[self.sides.collation.edition_row(self.edition.notes[n].bar, Time::default())],
                Fate::Keep { .. }
            )
        };
        if !tie.added {
            for pair in tie.edition.windows(2) {
                let last = self.edition.tied(pair[0]).last().expect("itself at least");
                if kept(last) && kept(pair[1]) {
                    rewrite.tie(last, pair[1]);
                }
            }
            return;
        }
        let start = self.edition.onset(tie.edition[0]);
        let from = self.source.onset(tie.source[0]);
        for struck in &tie.source[1..] {
            let time = self.source.onset(*struck) - from + start;
            let before = self.edition.tied(tie.edition[0]).filter(|n| self.edition.onset(*n) < time).last();
            if let Some(before) = before.filter(|n| kept(*n)) {
                rewrite.untie(before);
            }
        }
    }
}
