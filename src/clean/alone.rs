//! One line of the edition as a part of its own, before anything is cleaned.

use super::Failure;
use super::compare::{Difference, Signs, compare};
use super::content::{Content, MarkLine, unmatched};
use super::step::Texts;
use crate::musicxml::{self, Tree};
use crate::plan::Plan;
use crate::score::{Category, Score};
use crate::time::Time;

/// The text with only that line, and what is to be told of it.
#[derive(Debug)]
pub struct Alone {
    pub text: String,
    pub warnings: Vec<String>,
}

/// Writes a part of the edition, or a line derived from one, as the only part,
/// and proves it: read back, it is what that line was.
///
/// # Errors
/// When the text is not what it should be.
pub fn alone(tree: &Tree, score: &Score, line: usize) -> Result<Alone, Failure> {
    let own = &score.parts[line];
    let extract = musicxml::extract(tree, score, line)?;
    let texts = Texts::new();
    let copy = texts.read(tree.input, extract.text.clone())?.score;
    let mut expected = unmatched(own, Plan::keep_all(own).rows(), &extract.torn);
    if let Some(part) = copy.parts.first().filter(|_| extract.own_signatures) {
        // Those of the first staff, which is another line.
        let found = Content::of(part);
        let signature = |m: &MarkLine| m.category == Category::Signature;
        expected.marks.retain(|m| !signature(m));
        expected.marks.extend(found.marks.into_iter().filter(signature));
        expected.signatures = found.signatures;
        expected.sort();
    }
    if let Some(part) = copy.parts.first() {
        nearly(&mut expected, &Content::of(part));
    }
    compare(&copy, &[expected], Signs::Stay)?;
    let lengths = own.bars.iter().zip(&copy.parts[0].bars).enumerate();
    let uneven: Vec<Difference> = lengths
        .filter(|(_, (was, is))| was.length != is.length)
        .map(|(at, (was, _))| Difference {
            part: own.id.clone(),
            bar: was.number.clone(),
            what: "its length has changed".into(),
            bars: vec![at],
        })
        .collect();
    if !uneven.is_empty() {
        return Err(Failure::Unproved(uneven));
    }
    let warnings = extract.divided.iter().map(|(bar, category)| {
        let bar = &own.bars[*bar].number;
        format!("the {} in bar {bar} is partly in another line; it was left out", category.name())
    });
    Ok(Alone { text: extract.text, warnings: warnings.collect() })
}

/// Signs that stood over other lines' notes, whose durations may be roundings, come nearly where they stood.
fn nearly(expected: &mut Content, found: &Content) {
    let near = |a: Time, b: Time| (if a > b { a - b } else { b - a }) < Time::new(1, 64);
    let mut free: Vec<&MarkLine> = found.marks.iter().filter(|m| expected.marks.binary_search(m).is_err()).collect();
    for mark in expected.marks.iter_mut().filter(|m| found.marks.binary_search(m).is_err()) {
        let is = |m: &&MarkLine| {
            let ends = mark.end.is_some() == m.end.is_some()
                && mark.end.zip(m.end).is_none_or(|(a, b)| a.bar == b.bar && near(a.offset, b.offset));
            m.at.bar == mark.at.bar
                && m.category == mark.category
                && m.meaning == mark.meaning
                && near(m.at.offset, mark.at.offset)
                && ends
        };
        if let Some(at) = free.iter().position(is) {
            *mark = free.swap_remove(at).clone();
        }
    }
    expected.sort();
}
