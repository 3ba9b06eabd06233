//! The proof of a result: what was written is read back and compared with what
//! had to come out.

use super::expect::{Content, MarkLine, NoteLine};
use super::{Failure, read_back};
use crate::musicxml::Input;
use crate::score::{Meter, Score};
use crate::time;
use std::fmt;

/// What was compared.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Proof {
    pub bars: usize,
    pub notes: usize,
    pub marks: usize,
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

/// Reads a text back and compares it, part by part.
pub fn prove(like: &Input, text: &str, expected: &[Content]) -> Result<Proof, Failure> {
    let score = read_back(like, text)?;
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
