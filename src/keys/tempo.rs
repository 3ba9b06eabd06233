//! How fast the notes go.

use crate::score::{Category, Score};
use crate::time::{Time, parse_decimal};

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
        .filter(|(_, mark)| mark.category == Category::Tempo && mark.kind == "metronome")
        .filter_map(|(part, mark)| Some((part.time(mark.at.bar, mark.at.offset), quarters(&mark.reading)?)))
        .min_by_key(|(time, _)| *time)
        .map(|(_, quarters)| quarters)
}

/// Reads `dotted quarter = 60`; of `c. 60` or `60-66` the first number.
fn quarters(reading: &str) -> Option<f64> {
    let (unit, per_minute) = reading.split_once('=')?;
    let mut words: Vec<&str> = unit.split_whitespace().collect();
    let plain = match words.pop()? {
        "breve" => Time::from(8),
        "whole" => Time::from(4),
        "half" => Time::from(2),
        "quarter" => Time::from(1),
        "eighth" => Time::new(1, 2),
        "16th" => Time::new(1, 4),
        "32nd" => Time::new(1, 8),
        _ => return None,
    };
    let dots = words.len() as u32;
    if dots > 3 || words.iter().any(|w| *w != "dotted") {
        return None;
    }
    let unit = plain * (Time::from(2) - Time::new(1, 1 << dots));
    let digits = |c: char| c.is_ascii_digit() || c == '.';
    let number = per_minute.trim_start_matches(|c: char| !c.is_ascii_digit());
    let number = &number[..number.find(|c| !digits(c)).unwrap_or(number.len())];
    let told = parse_decimal(number.trim_end_matches('.'))?;
    let value = |t: Time| t.numer() as f64 / t.denom() as f64;
    Some(value(told) * value(unit)).filter(|q| (4.0..=1000.0).contains(q))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metronome_marks_are_read_in_quarters() {
        for (reading, wanted) in [
            ("quarter = 66", Some(66.0)),
            ("dotted quarter = 60", Some(90.0)),
            ("half = c. 50", Some(100.0)),
            ("eighth = 112-120", Some(56.0)),
            ("dotted dotted half = 40", Some(140.0)),
            ("quarter = dotted quarter", None),
            ("quarter = 0", None),
            ("quarter = fast", None),
        ] {
            assert_eq!(quarters(reading), wanted, "{reading}");
        }
    }
}
