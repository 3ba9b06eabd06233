//! The proof of a result: what was written is read back and compared with what
//! had to come out.

use super::expect::{Content, MarkLine, NoteLine};
use super::work::Work;
use super::{Decision, Failure, Policy, Sides};
use crate::collate::{self, Collation, Pair, Pairing};
use crate::findings::{self, Finding, Status};
use crate::musicxml::{self, Input, Tree};
use crate::score::{Category, Meter, Score};
use crate::time;
use std::collections::HashMap;
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

/// Reads a text that we made under the name of the input that it came from.
pub(super) fn read_back(like: &Input, text: &str) -> Result<Score, Failure> {
    let input = like.with_text(text.to_string());
    let tree = Tree::parse(&input).map_err(Failure::Unreadable)?;
    Ok(musicxml::read(&tree).map_err(Failure::Unreadable)?.score)
}

/// Reads a text back and compares it, part by part.
pub fn prove(like: &Input, text: &str, expected: &[Content]) -> Result<Proof, Failure> {
    compare(&read_back(like, text)?, expected)
}

/// As `prove`, and more of a clean copy: its elements stand in the order of the
/// schema where the edition's do, laid beside the source it shows nothing but
/// what was kept, and cleaned again it would not change.
pub(super) fn prove_clean(sides: Sides, policy: &Policy, text: &str, work: &mut Work) -> Result<Proof, Failure> {
    let input = sides.edition_tree.input.with_text(text.to_string());
    let tree = Tree::parse(&input).map_err(Failure::Unreadable)?;
    let score = musicxml::read(&tree).map_err(Failure::Unreadable)?.score;
    let mut proof = compare(&score, &work.expected)?;
    let unruly = |what: String| Failure::Unproved(vec![Difference { part: "-".into(), bar: "-".into(), what }]);
    if let Some(place) = musicxml::out_of_order(&tree).filter(|_| musicxml::out_of_order(sides.edition_tree).is_none())
    {
        return Err(unruly(format!("an element is not where the schema wants it ({place})")));
    }
    let pairs = sides.collation.parts.iter();
    let pairs = pairs.map(|a| Pair { edition: a.edition, source: a.source, interval: a.interval, share: 1.0 });
    let pairing = Pairing { pairs: pairs.collect(), unmatched_edition: vec![], unmatched_source: vec![] };
    let collation = collate::lay(&score, sides.source, pairing, true);
    let findings = findings::find(&score, sides.source, &collation);
    let mut kept: HashMap<Saying, usize> = HashMap::new();
    for (index, (found, decisions)) in sides.findings.iter().zip(&work.decisions).enumerate() {
        for (finding, _) in found.findings.iter().zip(decisions).filter(|(_, d)| **d != Decision::Out) {
            *kept.entry(saying(index, finding)).or_default() += 1;
        }
    }
    let nothing_kept = kept.is_empty();
    let (mut more, mut left) = (Vec::new(), 0);
    for (index, found) in findings.iter().enumerate() {
        for finding in &found.findings {
            left += 1;
            match kept.get_mut(&saying(index, finding)).filter(|n| **n > 0) {
                Some(count) => *count -= 1,
                None => more.push(difference(&score, &collation, index, finding)),
            }
        }
    }
    if nothing_kept && !more.is_empty() {
        return Err(Failure::Unproved(more));
    }
    // What is kept may look otherwise beside what was put back around it.
    work.warnings.extend(more.iter().take(3).map(|d| format!("beside the source the copy still shows {d}")));
    if nothing_kept {
        let again = Sides { edition_tree: &tree, edition: &score, collation: &collation, findings: &findings, ..sides };
        let policy = Policy { provenance: None, decisions: None, ..policy.clone() };
        if !super::work::work(again, &policy)?.plan.is_empty() {
            return Err(unruly("cleaned again, it would change once more".into()));
        }
        proof.again = true;
    }
    proof.left = Some(left);
    Ok(proof)
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
        what: format!("{} {}: {reading}", finding.category, finding.status.name()),
    }
}

/// As `prove`, of a copy in another key: which signs stand at figures and
/// ornaments depends on the key, and only that they are there is compared.
pub(super) fn prove_moved(like: &Input, text: &str, expected: &[Content]) -> Result<Proof, Failure> {
    let mut score = read_back(like, text)?;
    for mark in score.parts.iter_mut().flat_map(|p| &mut p.marks) {
        mark.meaning = collate::without_signs(&mark.meaning).into();
    }
    compare(&score, expected)
}

pub fn compare(score: &Score, expected: &[Content]) -> Result<Proof, Failure> {
    let mut proof = Proof::default();
    let mut differences = Vec::new();
    if score.parts.len() != expected.len() {
        let what = format!("{} parts instead of {}", score.parts.len(), expected.len());
        differences.push(Difference { part: "-".into(), bar: "-".into(), what });
    }
    for (part, wanted) in score.parts.iter().zip(expected) {
        let found = Content::of(part);
        proof.bars += found.bars;
        proof.notes += found.notes.len();
        proof.marks += found.marks.len();
        let number = |bar: usize| part.bars.get(bar).map_or("-".to_string(), |b| b.number.clone());
        let mut tell = |bar: usize, what: String| {
            differences.push(Difference { part: part.id.clone(), bar: number(bar), what });
        };
        if found.bars != wanted.bars {
            tell(usize::MAX, format!("{} bars instead of {}", found.bars, wanted.bars));
        }
        for (bar, (ours, theirs)) in found.signatures.iter().zip(&wanted.signatures).enumerate() {
            if ours != theirs {
                tell(bar, format!("the signature is {} instead of {}", signature(ours), signature(theirs)));
            }
        }
        let (lacking, extra) = apart(&wanted.notes, &found.notes);
        lacking.iter().for_each(|n| tell(n.bar, format!("{} is missing", note(n))));
        extra.iter().for_each(|n| tell(n.bar, format!("{} should not be there", note(n))));
        let (lacking, extra) = apart(&wanted.marks, &found.marks);
        lacking.iter().for_each(|m| tell(m.bar, format!("{} is missing", mark(m))));
        extra.iter().for_each(|m| tell(m.bar, format!("{} should not be there", mark(m))));
    }
    if differences.is_empty() { Ok(proof) } else { Err(Failure::Unproved(differences)) }
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

fn note(line: &NoteLine) -> String {
    format!("the note {} at {} for {}", line.sound, time::text(line.offset), time::text(line.length))
}

fn mark(line: &MarkLine) -> String {
    let end = line.end.map_or(String::new(), |(_, offset)| format!(" to {}", time::text(offset)));
    format!("the {} {} at {}{end}", line.category, line.meaning, time::text(line.offset))
}

fn signature((fifths, meter): &(i32, Meter)) -> String {
    let (bar, beat) = (time::text(meter.bar), time::text(meter.beat));
    format!("{}, {bar} quarters in beats of {beat}", crate::pitch::key_name(*fifths))
}
