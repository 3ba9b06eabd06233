//! A clean copy in the key that its player chose.

use super::compare::Signs;
use super::content::{Content, mark_line};
use super::step::{CleanCopy, Steps};
use super::{Cleaned, Difference, Failure};
use crate::musicxml::Edits;
use crate::musicxml::rewrite::{Alone, Context};
use crate::pitch::{Interval, key_name, nearest_by_fifths};
use crate::plan::Plan;
use crate::score::{Category, Part};

/// The key that a copy is to come out in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NewKey {
    /// So far from the edition's.
    By(Interval),
    /// With this signature, as the first bar of a part sounds, by the nearest way.
    Fifths {
        /// Sharps, or flats below 0.
        fifths: i32,
        /// The place of the part.
        part: usize,
    },
}

/// Moves the copy to another key: notes, signatures, accidentals, chord symbols
/// and figures; instruments that transpose go on doing so. Proved as the copy is.
///
/// # Errors
/// When a signature would need more than seven sharps or flats, or the result
/// is not what it should be.
pub(super) fn transpose<'t>(
    steps: Steps<'_, 't>,
    copy: CleanCopy<'t>,
    cleaned: &mut Cleaned,
    to: NewKey,
) -> Result<CleanCopy<'t>, Failure> {
    let done = steps.take(copy, cleaned, Signs::Move, |copy, cleaned| {
        let (score, mut edits) = (&copy.score, Edits::new(&copy.tree));
        let by = match to {
            NewKey::By(interval) => interval,
            NewKey::Fifths { fifths, part } => nearest_by_fifths(fifths - score.parts[part].sounding_fifths(0)),
        };
        cleaned.moved = Some(by).filter(|by| *by != Interval::UNISON);
        let mut expected = Vec::new();
        for part in &score.parts {
            let plan = Plan::keep_all(part);
            let context = Context::alone(&copy.tree, part, &plan);
            let mut rewrite = Alone::new(&context, &mut edits);
            rewrite.transpose(by).map_err(|fault| {
                Failure::Unsupported(format!(
                    "part {}, bar {}: {} the signature would have {}{}",
                    part.spoken(),
                    part.bars[fault.bar].number,
                    by.name(),
                    key_name(fault.fifths),
                    other_way(by, fault.fifths)
                ))
            })?;
            rewrite.finish();
            expected.push(moved(part, by));
        }
        Ok((edits.finish(), expected))
    });
    let (before, after) = done?;
    for (before, after) in before.score.parts.iter().zip(&after.score.parts) {
        prove_key_signs(before, after, |_| cleaned.moved.unwrap_or(Interval::UNISON))?;
    }
    Ok(after)
}

/// A signature of single accidentals has moved as its music has; `by` says how far, for how the old writing sounds.
pub(super) fn prove_key_signs(before: &Part, after: &Part, by: impl Fn(Interval) -> Interval) -> Result<(), Failure> {
    if before.notes.iter().all(|n| n.pitch().is_none()) {
        return Ok(());
    }
    let found = after.key_signs();
    for (bar, signs) in before.key_signs().into_iter().enumerate() {
        let Some(signs) = signs else { continue };
        let wanted = signs.moved(by(before.bars[bar].transpose));
        if found.get(bar).copied().flatten().unwrap_or_default() != wanted {
            let number = after.bars.get(bar).map_or("-".to_string(), |b| b.number.clone());
            let what = "the single accidentals of the signature have not moved with the music".into();
            return Err(Failure::Unproved(vec![Difference {
                part: after.id.clone(),
                bar: number,
                what,
                bars: vec![bar],
            }]));
        }
    }
    Ok(())
}

/// What a part's signatures move by, bar by bar: a signature of single accidentals is none of the circle of fifths.
pub(super) fn move_fifths(content: &mut Content, part: &Part, by: impl Fn(Interval) -> Interval) {
    let signs = part.key_signs();
    for (at, (signature, bar)) in content.signatures.iter_mut().zip(&part.bars).enumerate() {
        if signs.get(at).copied().flatten().is_none() {
            signature.0 += by(bar.transpose).fifths();
        }
    }
}

/// The same sound written with fewer signs, as advice.
fn other_way(by: Interval, fifths: i32) -> String {
    let step = if fifths > 0 { 1 } else { -1 };
    let other = Interval::new(by.steps + step, by.semitones);
    let signs = fifths - 12 * step;
    format!("; {} sounds the same and has {}", other.name(), key_name(signs))
}

/// What a part must hold afterwards.
fn moved(part: &Part, by: Interval) -> Content {
    let mut out = Content::of(part);
    let pitched = part.notes.iter().any(|n| n.pitch().is_some());
    if !pitched {
        return out;
    }
    out.notes = part
        .struck()
        .map(|id| {
            // Spelled as it is written, which transposing instruments do in another key.
            let transpose = part.notes[id].transpose;
            Content::note(part, id, |pitch| pitch.moved(transpose.inverse()).moved(by).simplest().moved(transpose))
        })
        .collect();
    let marks = part.marks.iter().filter(|m| m.category != Category::Signature);
    out.marks = marks
        .map(|m| mark_line(m, m.at.place, m.end.map(|e| e.place), by))
        .map(|mut line| {
            line.without_signs();
            line
        })
        .collect();
    move_fifths(&mut out, part, |_| by);
    out.sort();
    out
}
