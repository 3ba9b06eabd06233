//! The proof of a result: what was written is read back and compared with what
//! had to come out.

use super::coherent::Written;
use super::compare::{Difference, Proof, Signs, compare};
use super::rounds::Fault;
use super::step::CleanCopy;
use super::work::Work;
use super::{Decision, Failure, Policy, Sides, left};
use crate::collate::{self, Collation, Layout, Pair, Pairing};
use crate::findings::{self, Finding, Status};
use crate::musicxml::{self, Tree};
use crate::score::{Bar, Category, Score};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// The row of the bar in which a byte of a text stands; `row` gives it for a bar.
pub(super) fn row_of_byte(
    tree: &Tree,
    score: &Score,
    byte: usize,
    row: impl Fn(usize) -> Option<usize>,
) -> Option<usize> {
    let holds = |bar: &Bar| tree.node(bar.element).range().contains(&byte);
    score.parts.iter().find_map(|part| part.bars.iter().position(holds)).and_then(row)
}

/// Proves a clean copy: it holds what was expected, its elements stand in the order of the
/// schema where the edition's do, laid beside the source it shows nothing but
/// what was kept, and cleaned again it would not change. `left` are the rows
/// that had to stay as the edition has them. The copy must be one score, too.
pub(super) fn prove_clean<'i>(
    sides: Sides<'_, 'i>,
    policy: &Policy,
    copy: &mut CleanCopy,
    work: &mut Work,
    left: &BTreeSet<usize>,
    written: &Written<'i>,
) -> Result<Proof, Fault> {
    let printed = copy.score.parts.len();
    let proof = prove_among_lines(sides, policy, copy, work, left, written);
    // Its lines are of no use to the steps that come.
    copy.score.parts.truncate(printed);
    proof
}

fn prove_among_lines<'i>(
    sides: Sides<'_, 'i>,
    policy: &Policy,
    CleanCopy { tree, score }: &mut CleanCopy,
    work: &mut Work,
    left: &BTreeSet<usize>,
    written: &Written<'i>,
) -> Result<Proof, Fault> {
    let (tree, rows) = (&*tree, work.rows());
    let mut proof = compare(score, &work.expected, Signs::Stay).map_err(|failure| placed(failure, &rows))?;
    let faults = written.faults(sides, tree, score, work.plan.rows());
    if !faults.is_empty() {
        return Err(placed(Failure::Unproved(faults), &rows));
    }
    let unruly = |score: &Score, byte: Option<usize>, what: String| {
        let row = byte.and_then(|byte| row_of_byte(tree, score, byte, |bar| rows.get(bar).copied()));
        let rows = row.into_iter().map(|row| (row, what.clone())).collect();
        let difference = Difference { part: "-".into(), bar: "-".into(), what, bars: vec![] };
        Fault { failure: Failure::Unproved(vec![difference]), rows }
    };
    if let Some((at, place)) =
        musicxml::out_of_order(tree).filter(|_| musicxml::out_of_order(sides.edition_tree).is_none())
    {
        let at = tree.node(at).range().start;
        return Err(unruly(
            score,
            Some(at),
            format!("an element is where the MusicXML schema does not allow it ({place})"),
        ));
    }
    let pairs = sides.collation.parts.iter();
    let pairs = pairs.map(|a| Pair { edition: a.edition, source: a.source, interval: a.interval, share: 1.0 });
    let pairing = Pairing { pairs: pairs.collect(), unmatched_edition: vec![], unmatched_source: vec![] };
    collate::derive_like(sides.edition, score);
    let collation = collate::lay(score, sides.source, pairing, Layout::Printed);
    let findings = findings::find(score, sides.source, &collation);
    let mut kept: HashMap<Saying, usize> = HashMap::new();
    // Whether anything stays that need not.
    let mut by_choice = false;
    for (index, (found, decisions)) in sides.findings.iter().zip(&work.decisions).enumerate() {
        for (finding, _) in found.findings.iter().zip(decisions).filter(|(_, d)| **d != Decision::Out) {
            *kept.entry(saying(index, finding)).or_default() += 1;
            by_choice |= left::rows_of(sides, index, finding).is_disjoint(left);
        }
    }
    let nothing_kept = kept.is_empty();
    let (mut more, mut still) = (Vec::new(), 0);
    for (index, found) in findings.iter().enumerate() {
        for finding in &found.findings {
            still += 1;
            match kept.get_mut(&saying(index, finding)).filter(|n| **n > 0) {
                Some(count) => *count -= 1,
                None => more.push(difference(score, &collation, index, finding)),
            }
        }
    }
    let near = |d: &Difference| {
        let mut rows = d.bars.iter().filter_map(|bar| rows.get(*bar));
        rows.any(|row| left.range(row.saturating_sub(1)..=row + 1).next().is_some())
    };
    if !by_choice && more.iter().any(|d| !near(d)) {
        more.retain(|d| !near(d));
        return Err(placed(Failure::Unproved(more), &rows));
    }
    // What is kept may look otherwise beside what was put back around it.
    work.warnings.extend(more.iter().take(3).map(|d| d.to_string()));
    if nothing_kept {
        let again = Sides { edition_tree: tree, edition: score, collation: &collation, findings: &findings, ..sides };
        let policy = Policy { decisions: None, ..policy.clone() };
        let lines = super::merge::parts_of_lines(again);
        let again = super::work::work(again, &lines, &policy, &BTreeSet::new())?;
        if !again.edits.is_empty() {
            let first = again.edits.finish().sorted().ok().and_then(|edits| edits.first().map(|e| e.range.start));
            return Err(unruly(score, first, "cleaning it again would change it".into()));
        }
        proof.again = true;
    }
    proof.left = Some(still);
    Ok(proof)
}

/// Where in the outline the differences show. What holds on, such as a key,
/// shows in every bar and counts where it begins.
fn placed(failure: Failure, rows: &[usize]) -> Fault {
    let mut out = Fault { failure, rows: BTreeMap::new() };
    let Failure::Unproved(differences) = &out.failure else { return out };
    let mut before: Option<&Difference> = None;
    for difference in differences {
        let goes_on = before.is_some_and(|b| {
            b.part == difference.part && b.what == difference.what && b.bars.iter().any(|n| difference.bars == [n + 1])
        });
        before = Some(difference);
        if goes_on {
            continue;
        }
        for row in difference.bars.iter().filter_map(|bar| rows.get(*bar)) {
            out.rows.entry(*row).or_insert_with(|| difference.what.clone());
        }
    }
    out
}

/// What a finding is, wherever its bar is now, and whatever stands around its words.
type Saying = (usize, Category, Status);

fn saying(part: usize, finding: &Finding) -> Saying {
    (part, finding.category, finding.status)
}

fn difference(score: &Score, collation: &Collation, part: usize, finding: &Finding) -> Difference {
    let part = &score.parts[collation.parts[part].edition];
    let reading = finding.edition_reading.as_deref().or(finding.source_reading.as_deref()).unwrap_or("");
    Difference {
        part: part.id.clone(),
        bar: part.bars.get(finding.at.bar).map_or("-".into(), |b| b.number.clone()),
        what: format!("a second audit still finds: {} {}, {reading}", finding.category, finding.status.name()),
        bars: vec![finding.at.bar],
    }
}
