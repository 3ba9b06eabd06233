//! What is to be done to a whole score: every finding decided, and the changes
//! of all parts.

use super::content::{self, Content};
use super::decisions::{self, Decided};
use super::follow::Follower;
use super::job::PartJob;
use super::merge::Merged;
use super::{Decision, Failure, Policy, Restore, Sides, Summary, left};
use crate::alignment::{EditionBar, SourceBar};
use crate::collate::BarPair;
use crate::findings::PassageKind;
use crate::musicxml::Edits;
use crate::plan::{BarPlan, Plan};
use crate::score::Part;
use std::collections::BTreeSet;

/// The changes, and what must come out.
pub(super) struct Work<'a, 'i> {
    pub edits: Edits<'a, 'i>,
    pub summary: Summary,
    pub warnings: Vec<String>,
    /// For each part of the edition.
    pub expected: Vec<Content>,
    /// For each pair of parts, what became of its findings.
    pub decisions: Vec<Vec<Decision>>,
    /// And why it could not be kept, where it was to be.
    pub lost: Vec<Vec<Option<String>>>,
    /// The rows whose bar goes or comes back.
    pub changed_rows: BTreeSet<usize>,
    /// What becomes of each row, as the parts without a source have it.
    pub plan: Plan,
}

impl Work<'_, '_> {
    /// The row of each bar of the copy.
    pub fn rows(&self) -> Vec<usize> {
        (0..self.plan.rows().len()).filter(|row| self.plan[*row].is_in_result()).collect()
    }
}

/// What is to be done to one part of the edition.
struct Job<'s, 'a, 'i> {
    part: usize,
    /// Its pairs of lines, in the order of their findings.
    lines: Vec<usize>,
    job: PartJob<'s, 'a, 'i>,
    /// What of the part is laid beside nothing.
    rest: Option<&'a Part>,
}

impl<'s, 'a, 'i> Job<'s, 'a, 'i> {
    /// `None` for a part that is laid beside nothing.
    fn new(
        sides: &'s Sides<'a, 'i>,
        part: usize,
        lines: &'a [Merged],
        policy: &'s Policy,
        decided: &mut Decided,
        plan: &Plan,
        warnings: &mut Vec<String>,
    ) -> Option<Self> {
        if let Some(merged) = lines.iter().find(|m| m.part == part) {
            let decisions = merged.lines.iter().flat_map(|at| std::mem::take(&mut decided.findings[*at])).collect();
            let job = PartJob::of_lines(sides, merged, policy, decisions, plan, warnings);
            return Some(Job { part, lines: merged.lines.clone(), job, rest: Some(&merged.rest) });
        }
        let at = sides.collation.parts.iter().position(|a| a.edition == part)?;
        let job = PartJob::new(sides, at, policy, std::mem::take(&mut decided.findings[at]), plan, warnings);
        Some(Job { part, lines: vec![at], job, rest: None })
    }
}

/// `lines`: the parts that are laid beside the source line by line. `left`: the
/// rows that stay as the edition has them, whatever was decided.
pub(super) fn work<'a, 'i>(
    sides: Sides<'a, 'i>,
    lines: &'a [Merged],
    policy: &Policy,
    left: &BTreeSet<usize>,
) -> Result<Work<'a, 'i>, Failure> {
    let mut decided = decisions::decide(sides.edition, sides.collation, sides.findings, policy)?;
    left::leave(sides, left, &mut decided);
    let taken_out = rows_of_passages(sides, &decided.out_passages);
    let plan = plan(sides, &kept_rows(sides, &decided, left), |row| {
        policy.restores(Restore::Passages) || taken_out.contains(&row)
    });
    let mut out = Work {
        edits: Edits::new(sides.edition_tree),
        summary: Summary::default(),
        warnings: std::mem::take(&mut decided.warnings),
        expected: Vec::new(),
        decisions: vec![Vec::new(); sides.findings.len()],
        lost: vec![Vec::new(); sides.findings.len()],
        changed_rows: (0..plan.rows().len()).filter(|row| is_changed(plan[*row])).collect(),
        plan: plan.clone(),
    };
    let mut jobs: Vec<Job> = (0..sides.edition.printed().len())
        .filter_map(|part| Job::new(&sides, part, lines, policy, &mut decided, &plan, &mut out.warnings))
        .collect();
    agree_on_lengths(&mut jobs);
    let mut lost: Vec<Vec<Option<String>>> = vec![Vec::new(); jobs.len()];
    for (index, part) in sides.edition.printed().iter().enumerate() {
        match jobs.iter().position(|job| job.part == index) {
            Some(place) => {
                let own = &jobs[place];
                lost[place] = own.job.rewrite(&mut out.edits, &mut out.summary, &mut out.warnings);
                let mut expected = own.job.expected();
                if let Some(rest) = own.rest {
                    expected.take_in(content::unmatched(rest, plan.of_part(part).rows(), &[]));
                }
                out.expected.push(expected);
            }
            None => {
                out.summary.parts_left += 1;
                let plan = plan.of_part(part);
                let follower = Follower { part, leader: jobs.first().map(|own| &own.job), plan: &plan };
                follower.rewrite(&mut out.edits);
                out.expected.push(follower.expected());
            }
        }
    }
    for (own, lost) in jobs.into_iter().zip(lost) {
        let (mut decisions, mut lost) = (own.job.decisions.into_iter(), lost.into_iter());
        for at in own.lines {
            let count = sides.findings[at].findings.len();
            out.decisions[at] = decisions.by_ref().take(count).collect();
            out.lost[at] = lost.by_ref().take(count).collect();
        }
    }
    out.summary.bars_inserted = plan.rows().iter().filter(|f| matches!(f, BarPlan::Fresh { .. })).count();
    out.summary.bars_removed = plan.rows().iter().filter(|f| matches!(f, BarPlan::Drop { .. })).count();
    out.warnings.extend(not_cleaned(sides, &out.summary));
    Ok(out)
}

/// A bar that is written again in one part, and is longer or shorter than it
/// was, is written again in all.
fn agree_on_lengths(jobs: &mut [Job]) {
    let rows = jobs.iter().map(|j| j.job.plan.rows().len()).min().unwrap_or(0);
    for row in 0..rows {
        let rebuilt = |job: &Job| matches!(job.job.plan[row], BarPlan::Rebuild { .. });
        let lengths: BTreeSet<_> = jobs.iter().filter_map(|job| job.job.length(row)).collect();
        if lengths.len() > 1 && jobs.iter().any(rebuilt) {
            jobs.iter_mut().for_each(|job| job.job.write_again(row));
        }
    }
}

fn is_changed(plan: BarPlan) -> bool {
    matches!(plan, BarPlan::Drop { .. } | BarPlan::Fresh { .. })
}

/// That parts were not cleaned: nobody asked for them, or the source has nothing for them.
fn not_cleaned(sides: Sides, did: &Summary) -> Vec<String> {
    let bars = match (did.bars_removed > 0, did.bars_inserted > 0) {
        (false, false) => "",
        (true, false) => "; bars that were taken out are gone there too",
        (false, true) => "; bars that were put back are rests there",
        (true, true) => "; bars that were taken out are gone there too, bars that were put back are rests there",
    };
    let is_cleaned =
        |part: &usize| sides.collation.parts.iter().any(|a| sides.edition.printed_part_of(a.edition) == *part);
    let alone = &sides.collation.unmatched_edition;
    let (_, unasked): (Vec<usize>, Vec<usize>) =
        (0..sides.edition.printed().len()).filter(|p| !is_cleaned(p)).partition(|p| alone.contains(p));
    let alone = alone.clone();
    let said = |parts: Vec<usize>, why: &str| {
        let names: Vec<_> = parts.iter().map(|p| sides.edition.parts[*p].spoken()).collect();
        let (noun, verb) = if names.len() == 1 { ("part", "was") } else { ("parts", "were") };
        (!names.is_empty()).then(|| format!("{noun} {} {verb} not cleaned{why}{bars}", names.join(", ")))
    };
    let alone = said(alone, " (no match in the source)").filter(|_| !bars.is_empty());
    said(unasked, "").into_iter().chain(alone).collect()
}

/// Rows that stay as the edition has them, because a passage or a note in them is kept.
fn kept_rows(sides: Sides, decided: &Decided, left: &BTreeSet<usize>) -> BTreeSet<usize> {
    let mut out = left.clone();
    out.extend(rows_of_passages(sides, &decided.kept_passages));
    for (index, found) in sides.findings.iter().enumerate() {
        let notes = found.findings.iter().zip(&decided.findings[index]);
        out.extend(notes.filter(|(f, d)| f.category.is_of_notes() && **d == Decision::Keep).map(|(f, _)| f.row));
    }
    // Bars beside each other that one side lacks stay or go together.
    let outline = &sides.collation.outline;
    let alone = |row: usize| outline.get(row).is_some_and(|p| p.edition.is_none() || p.source.is_none());
    let first: Vec<usize> = out.iter().copied().filter(|r| alone(*r)).collect();
    for row in first {
        out.extend((row..).take_while(|r| alone(*r)));
        out.extend((0..row).rev().take_while(|r| alone(*r)));
    }
    out
}

/// The rows of the passages that are chosen, but for those whose bars both sides have.
fn rows_of_passages(sides: Sides, chosen: &[Vec<bool>]) -> BTreeSet<usize> {
    let mut out = BTreeSet::new();
    for (index, (alignment, found)) in sides.collation.parts.iter().zip(sides.findings).enumerate() {
        let edition = &sides.edition.parts[alignment.edition];
        let own = found.passages.iter().zip(&chosen[index]).filter(|(_, chosen)| **chosen).map(|(p, _)| p);
        for passage in own.filter(|p| !matches!(p.kind, PassageKind::OctaveDisplacement | PassageKind::RevoicedChords))
        {
            out.extend(passage.rows(sides.collation, alignment, edition).iter());
        }
    }
    out
}

/// What becomes of each row where only one side has a bar.
fn plan(sides: Sides, kept: &BTreeSet<usize>, restored: impl Fn(usize) -> bool) -> Plan {
    let of_row = |(row, pair): (usize, &BarPair)| {
        let restored = restored(row) && !pair.outside && !kept.contains(&row);
        match (pair.edition.map(EditionBar::index), pair.source.map(SourceBar::index)) {
            (Some(edition), None) if restored => BarPlan::Drop { edition },
            (Some(edition), source) => BarPlan::Keep { edition, source, shift: pair.shift },
            (None, Some(source)) if restored => BarPlan::Fresh { source },
            (None, _) => BarPlan::Absent,
        }
    };
    Plan::new(sides.collation.outline.iter().enumerate().map(of_row).collect())
}
