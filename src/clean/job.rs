//! One part of the edition with its source: what becomes of its bars, notes
//! and marks.

use super::merge::Merged;
use super::{Decision, Policy, Sides, Summary};
use crate::alignment::{EditionNote, EditionPart, PartAlignment, PartOf, SourceNote, SourcePart, Table};
use crate::findings::{Finding, Subject};
use crate::musicxml::Edits;
use crate::musicxml::rewrite::{Composed, Context, Signatures, SourceSide};
use crate::pitch::Pitch;
use crate::plan::{BarPlan, Plan};
use crate::score::{Category, Place};
use std::collections::BTreeMap;

/// One part of the edition with its source.
pub(super) struct PartJob<'s, 'a, 'i> {
    pub(super) sides: &'s Sides<'a, 'i>,
    pub(super) alignment: &'a PartAlignment,
    pub(super) edition: EditionPart<'a>,
    pub(super) source: SourcePart<'a>,
    pub(super) findings: &'a [Finding],
    pub(super) policy: &'s Policy,
    /// What becomes of each finding.
    pub(super) decisions: Vec<Decision>,
    pub(super) plan: Plan,
    /// Whether each note of the edition is laid beside the source; `None` where all are.
    compared: Option<&'a Table<EditionNote, bool>>,
}

impl<'s, 'a, 'i> PartJob<'s, 'a, 'i> {
    pub(super) fn new(
        sides: &'s Sides<'a, 'i>,
        at: usize,
        policy: &'s Policy,
        decisions: Vec<Decision>,
        plan: &Plan,
        warnings: &mut Vec<String>,
    ) -> Self {
        let alignment = &sides.collation.parts[at];
        let mut job = PartJob {
            sides,
            alignment,
            edition: alignment.edition_part(sides.edition),
            source: alignment.source_part(sides.source),
            findings: &sides.findings[at].findings,
            policy,
            decisions,
            plan: plan.of_part(&sides.edition.parts[alignment.edition]),
            compared: None,
        };
        job.settle(warnings);
        job
    }

    /// A part of which only some lines have a counterpart, or each another.
    pub(super) fn of_lines(
        sides: &'s Sides<'a, 'i>,
        merged: &'a Merged,
        policy: &'s Policy,
        decisions: Vec<Decision>,
        plan: &Plan,
        warnings: &mut Vec<String>,
    ) -> Self {
        let mut job = PartJob {
            sides,
            alignment: &merged.alignment,
            edition: PartOf::new(&sides.edition.parts[merged.part]),
            source: PartOf::new(&merged.source),
            findings: &merged.findings,
            policy,
            decisions,
            plan: plan.of_part(&sides.edition.parts[merged.part]),
            compared: Some(&merged.compared),
        };
        job.settle(warnings);
        job
    }

    /// Whether a note of the edition is laid beside the source.
    pub(super) fn is_compared(&self, note: EditionNote) -> bool {
        self.compared.is_none_or(|c| c[note])
    }

    pub(super) fn is_undone(&self, finding: usize) -> bool {
        self.decisions[finding] == Decision::Out
    }

    pub(super) fn source_side(&self) -> SourceSide<'a, 'i> {
        SourceSide { tree: self.sides.source_tree, part: self.source, alignment: self.alignment }
    }

    /// Whose signatures the copy has; they become the source's all or none.
    pub(super) fn signatures(&self) -> Signatures {
        let restored = self.with(|f| f.category == Category::Signature).any(|(_, undone)| undone);
        if restored { Signatures::Source } else { Signatures::Edition }
    }

    /// Rewrites the part; gives for each finding that was to stay and could not, why.
    pub(super) fn rewrite(
        &self,
        edits: &mut Edits<'a, 'i>,
        summary: &mut Summary,
        warnings: &mut Vec<String>,
    ) -> Vec<Option<String>> {
        let context = Context::beside(edits.tree(), self.edition.part(), &self.plan, self.source_side())
            .comparing(self.compared)
            .with_signatures(self.signatures());
        let mut rewrite = Composed::new(&context, edits, self.kept_pitches());
        summary.bars_rebuilt += self.plan.rows().iter().filter(|f| matches!(f, BarPlan::Rebuild { .. })).count();
        summary.undone += self.decisions.iter().filter(|d| **d == Decision::Out).count();
        self.rewrite_notes(&mut rewrite, summary);
        self.style_notes(&mut rewrite);
        let apart = summary.marks_apart;
        let of_marks = self.rewrite_marks(rewrite, summary, warnings);
        let why = |finding: &Finding| match finding.subject {
            Subject::Mark { edition: Some(own), .. } => Some(of_marks.iter().find(|lost| lost.0 == own)?.1.clone()),
            _ => None,
        };
        let lost: Vec<Option<String>> = self.findings.iter().map(why).collect();
        summary.lost += lost.iter().flatten().count();
        let stays = (self.decisions.iter().zip(&lost)).filter(|(d, lost)| **d != Decision::Out && lost.is_none());
        summary.kept += stays.count() + apart - summary.marks_apart;
        lost
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
    pub(super) fn kept_pitches(&self) -> BTreeMap<SourceNote, Pitch> {
        let kept = self.with(|f| matches!(f.category, Category::Octave | Category::Pitch | Category::Spelling));
        kept.filter(|(_, undone)| !undone)
            .filter_map(|(f, _)| match f.subject {
                Subject::Note { edition: Some(e), source: Some(s) } => {
                    self.edition[e].pitch().map(|p| self.source.tied(s).map(move |n| (n, p)).collect::<Vec<_>>())
                }
                _ => None,
            })
            .flatten()
            .collect()
    }

    pub(super) fn rewrite_notes(&self, rewrite: &mut Composed, summary: &mut Summary) {
        for (finding, _) in self.with(|f| f.category.is_of_notes()).filter(|(_, undone)| *undone) {
            summary.notes_restored += 1;
            let kept = self.plan[finding.row].is_kept();
            match finding.subject {
                Subject::Note { edition: Some(e), source: Some(s) } if kept && finding.category != Category::Rhythm => {
                    rewrite.restore_pitch(e, s);
                }
                Subject::Tie(index) if self.tie_is_written(index) => self.rewrite_tie(rewrite, index),
                _ => {}
            }
        }
    }

    pub(super) fn rewrite_tie(&self, rewrite: &mut Composed, index: usize) {
        let tie = &self.alignment.ties[index];
        let kept = |n: EditionNote| {
            self.plan[self.sides.collation.edition_row(Place::start_of(self.edition[n].bar))].is_kept()
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
