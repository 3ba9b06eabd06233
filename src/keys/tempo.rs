//! How fast the notes go.

use crate::score::{Score, Sign};
use crate::time::Time;

/// Quarter notes per minute where neither score nor user says: our own choice.
const USUAL: f64 = 72.0;

/// Where a tempo comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum TempoSource {
    /// The user said it.
    Given,
    /// The score's first metronome mark.
    Score,
    /// Nobody says.
    Assumed,
}

#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Tempo {
    /// Quarter notes per minute.
    pub quarters: f64,
    pub source: TempoSource,
}

impl Tempo {
    /// What the user says, or the score's first metronome mark, or a usual tempo.
    pub fn of(score: &Score, given: Option<f64>) -> Tempo {
        let (quarters, source) = match (given, first_mark(score)) {
            (Some(quarters), _) => (quarters, TempoSource::Given),
            (None, Some(quarters)) => (quarters, TempoSource::Score),
            (None, None) => (USUAL, TempoSource::Assumed),
        };
        Tempo { quarters, source }
    }

    pub fn quarters_per_second(&self) -> f64 {
        self.quarters / 60.0
    }
}

/// Of all parts, for many scores have the mark in the first part only.
fn first_mark(score: &Score) -> Option<f64> {
    let marks = score.parts.iter().flat_map(|part| part.marks.iter().map(move |mark| (part, mark)));
    marks
        .filter_map(|(part, mark)| match &mark.sign {
            Sign::Metronome(metronome) => Some((part.time(mark.at.place), playable(metronome.quarters?)?)),
            _ => None,
        })
        .min_by_key(|(time, _)| *time)
        .map(|(_, quarters)| quarters)
}

/// A tempo that music can go at.
fn playable(quarters: Time) -> Option<f64> {
    let quarters = quarters.numer() as f64 / quarters.denom() as f64;
    Some(quarters).filter(|q| (4.0..=1000.0).contains(q))
}
