//! Comparing a score with what it is to hold, and what is said where it does not.

use super::Failure;
use super::content::{Content, MarkLine, NoteLine};
use crate::score::{Meter, Part, Place, Score, Sound};
use crate::time::{self, Time};
use std::fmt;

/// What was compared.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Proof {
    /// In all parts.
    pub bars: usize,
    /// Struck ones.
    pub notes: usize,
    /// In all parts.
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
    /// Its id.
    pub part: String,
    /// Its printed number.
    pub bar: String,
    /// What is wrong, in words.
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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Signs {
    Stay,
    Move,
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
        lacking.iter().for_each(|n| tell(vec![n.at.bar], format!("{} is lost", note(part, n))));
        extra.iter().for_each(|n| tell(vec![n.at.bar], format!("{} should not be there", note(part, n))));
        let (lacking, extra) = apart(&wanted.marks, &found.marks);
        lacking.iter().for_each(|m| tell(bars_of(m), format!("{} is lost", mark(part, m))));
        extra.iter().for_each(|m| tell(bars_of(m), format!("{} should not be there", mark(part, m))));
    }
    if differences.is_empty() { Ok(proof) } else { Err(Failure::Unproved(differences)) }
}

/// Where a mark begins and ends.
fn bars_of(line: &MarkLine) -> Vec<usize> {
    let mut out = vec![line.at.bar];
    out.extend(line.end.map(|e| e.bar).filter(|end| *end != line.at.bar));
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
    format!("{sound} at {} for {}", beat(part, line.at), time::length_name(line.length))
}

fn mark(part: &Part, line: &MarkLine) -> String {
    let end = line.end.map_or(String::new(), |end| match end.bar == line.at.bar {
        true => format!(" to {}", beat(part, end)),
        false => " into a later bar".into(),
    });
    let name = line.category.name();
    let reading = line.meaning.reading(line.category);
    let said = if reading == name { name.to_string() } else { format!("{name} {reading}") };
    format!("the {said} at {}{end}", beat(part, line.at))
}

/// As in `beat 2.5`.
fn beat(part: &Part, place: Place) -> String {
    match part.bars.get(place.bar) {
        Some(_) => format!("beat {}", time::beat_text(part.beat(place))),
        None => time::text(place.offset),
    }
}

fn signature((fifths, meter): &(i32, Meter)) -> String {
    let (beats, unit) = (meter.bar / meter.beat, Time::from(4) / meter.beat);
    format!("{}, {}/{}", crate::pitch::key_name(*fifths), time::text(beats), time::text(unit))
}
