//! The proof of a result: what was written is read back and compared with what
//! had to come out.

use super::coherent::Written;
use super::content::{Content, MarkLine, NoteLine};
use super::rounds::Fault;
use super::step::Copy;
use super::work::Work;
use super::{Decision, Failure, Policy, Sides, left};
use crate::collate::{self, Collation, Layout, Pair, Pairing};
use crate::findings::{self, Finding, Status};
use crate::musicxml::{self, Tree};
use crate::score::{Bar, Category, Meter, Part, Score, Sound};
use crate::time::{self, Time};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt;

/// What was compared.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Proof {
    pub bars: usize,
    pub notes: usize,
    pub marks: usize,
    /// Findings that an audit of the copy still has: what was kept. `None` where it was not laid beside the source.
    pub left: Option<usize>,
    /// It was cleaned again, and stayed as it was.
    pub again: bool,
}

/// A place where the result is not what it should be. `bar` is the printed
/// number in the result, offsets are in quarter notes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    pub part: String,
    pub bar: String,
    pub what: String,
    /// The bars of the result that it touches, counted from 0; none where it is the score as a whole.
    pub bars: Vec<usize>,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "part {}, bar {}: {}", self.part, self.bar, self.what)
    }
}

impl Proof {
    /// The proof of a step that came after another: what was found beside the
    /// source before still holds.
    pub fn after(self, before: &Proof) -> Proof {
        Proof { left: before.left, again: before.again, ..self }
    }
}

/// Whether the signs at figures and ornaments stay as they are: which they are
/// depends on the key. Where they move, only that they are there is compared.
#[derive(Debug, Clone, std::marker::Copy, PartialEq, Eq)]
pub(super) enum Signs {
    Stay,
    Move,
}

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
    copy: &mut Copy,
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
    Copy { tree, score }: &mut Copy,
    work: &mut Work,
    left: &BTreeSet<usize>,
    written: &Written<'i>,
) -> Result<Proof, Fault> {
    let (tree, rows) = (&*tree, work.rows());
    let mut proof = compare(score, &work.expected, Signs::Stay).map_err(|failure| placed(failure, &rows))?;
    let faults = written.faults(sides, tree, score, &work.shape);
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
    collate::draw_like(sides.edition, score);
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
        if !again.plan.is_empty() {
            let first = again.plan.finish().sorted().ok().and_then(|edits| edits.first().map(|e| e.range.start));
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

/// Compares a score with what it is to hold, part by part.
pub(super) fn compare(score: &Score, expected: &[Content], signs: Signs) -> Result<Proof, Failure> {
    let mut proof = Proof::default();
    let mut differences = Vec::new();
    if score.parts.len() != expected.len() {
        let what = format!("{} parts instead of {}", score.parts.len(), expected.len());
        differences.push(Difference { part: "-".into(), bar: "-".into(), what, bars: vec![] });
    }
    for (part, wanted) in score.parts.iter().zip(expected) {
        let mut found = Content::of(part);
        if signs == Signs::Move {
            found.without_signs();
        }
        proof.bars += found.bars;
        proof.notes += found.notes.len();
        proof.marks += found.marks.len();
        let number = |bar: usize| part.bars.get(bar).map_or("-".to_string(), |b| b.number.clone());
        let mut tell = |bars: Vec<usize>, what: String| {
            let bar = bars.first().map_or("-".to_string(), |bar| number(*bar));
            differences.push(Difference { part: part.id.clone(), bar, what, bars });
        };
        if found.bars != wanted.bars {
            tell(vec![], format!("{} bars instead of {}", found.bars, wanted.bars));
        }
        for (bar, (ours, theirs)) in found.signatures.iter().zip(&wanted.signatures).enumerate() {
            if ours != theirs {
                tell(vec![bar], format!("the signature is {} instead of {}", signature(ours), signature(theirs)));
            }
        }
        let (lacking, extra) = apart(&wanted.notes, &found.notes);
        lacking.iter().for_each(|n| tell(vec![n.bar], format!("{} is lost", note(part, n))));
        extra.iter().for_each(|n| tell(vec![n.bar], format!("{} should not be there", note(part, n))));
        let (lacking, extra) = apart(&wanted.marks, &found.marks);
        lacking.iter().for_each(|m| tell(bars_of(m), format!("{} is lost", mark(part, m))));
        extra.iter().for_each(|m| tell(bars_of(m), format!("{} should not be there", mark(part, m))));
    }
    if differences.is_empty() { Ok(proof) } else { Err(Failure::Unproved(differences)) }
}

/// Where a mark begins and ends.
fn bars_of(line: &MarkLine) -> Vec<usize> {
    let mut out = vec![line.bar];
    out.extend(line.end.map(|e| e.0).filter(|end| *end != line.bar));
    out
}

/// What only one of two sorted lists has.
fn apart<'l, T: Ord>(wanted: &'l [T], found: &'l [T]) -> (Vec<&'l T>, Vec<&'l T>) {
    let (mut lacking, mut extra) = (Vec::new(), Vec::new());
    let (mut i, mut j) = (0, 0);
    while i < wanted.len() || j < found.len() {
        match (wanted.get(i), found.get(j)) {
            (Some(w), Some(f)) if w == f => {
                i += 1;
                j += 1;
            }
            (Some(w), Some(f)) if w < f => {
                lacking.push(w);
                i += 1;
            }
            (Some(w), None) => {
                lacking.push(w);
                i += 1;
            }
            (_, Some(f)) => {
                extra.push(f);
                j += 1;
            }
            (None, None) => break,
        }
    }
    (lacking, extra)
}

fn note(part: &Part, line: &NoteLine) -> String {
    let sound = match line.sound {
        Sound::Pitched(pitch) => pitch.to_string(),
        Sound::Unpitched(pitch) => format!("stroke at {pitch}"),
        Sound::Rest => "rest".into(),
    };
    format!("{sound} at {} for {}", beat(part, line.bar, line.offset), time::text(line.length))
}

fn mark(part: &Part, line: &MarkLine) -> String {
    let end = line.end.map_or(String::new(), |(bar, offset)| match bar == line.bar {
        true => format!(" to {}", beat(part, bar, offset)),
        false => " into a later bar".into(),
    });
    let name = line.category.name();
    let said = if line.meaning == name { name.to_string() } else { format!("{name} {}", line.meaning) };
    format!("the {said} at {}{end}", beat(part, line.bar, line.offset))
}

/// As in `beat 2.5`.
fn beat(part: &Part, bar: usize, offset: Time) -> String {
    match part.bars.get(bar) {
        Some(_) => format!("beat {}", time::beat_text(part.beat(bar, offset))),
        None => time::text(offset),
    }
}

fn signature((fifths, meter): &(i32, Meter)) -> String {
    let (bar, beat) = (time::text(meter.bar), time::text(meter.beat));
    format!("{}, {bar} quarters in beats of {beat}", crate::pitch::key_name(*fifths))
}
