//! A stretch of bars by their printed numbers, as in `9-16`.

use crate::score::Part;
use std::ops::RangeInclusive;

/// `A-B` or a single number, as the user wrote it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bars(pub String);

/// Why bars were not found in a part.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BarError {
    #[error("there is no bar {bar} in part {part}; its bars go from {first} to {last}")]
    /// The part has no such bar.
    Unknown {
        /// As it was asked for.
        bar: String,
        /// Its id.
        part: String,
        /// The first bar that there is.
        first: String,
        /// The last bar that there is.
        last: String,
    },
    #[error("bars {0} run backwards; write the earlier bar first")]
    /// The later bar comes first.
    Backwards(String),
    #[error("part {0} has no bars")]
    /// The part has no bars.
    Empty(String),
}

impl Bars {
    /// The bars meant, as 0-based places in the part. A number that occurs
    /// more than once means its first bar, at the end of a stretch the last
    /// one of those that follow each other.
    pub fn find(&self, part: &Part) -> Result<RangeInclusive<usize>, BarError> {
        let text = &self.0;
        let name = || {
            if part.name.is_empty() { part.id.clone() } else { part.name.clone() }
        };
        let (Some(first), Some(last)) = (part.bars.first(), part.bars.last()) else {
            return Err(BarError::Empty(name()));
        };
        let from = |start: usize, number: &str| part.bar_called(number, start);
        if let Some(bar) = from(0, text) {
            return Ok(bar..=run_end(part, bar));
        }
        let unknown = |bar: &str| BarError::Unknown {
            bar: bar.trim().into(),
            part: name(),
            first: first.number.clone(),
            last: last.number.clone(),
        };
        // A number may itself have a hyphen, so every one of them is tried.
        let mut fault = None;
        let hyphens = || text.match_indices(['-', '–']).map(|(at, hyphen)| (&text[..at], &text[at + hyphen.len()..]));
        let loose = hyphens().map(|(a, b)| (a, b.trim_start_matches(['-', '–'])));
        for (a, b) in hyphens().chain(loose) {
            match (from(0, a), from(0, b)) {
                (None, _) => fault = fault.or(Some(unknown(a))),
                (_, None) => fault = fault.or(Some(unknown(b))),
                (Some(start), Some(_)) => {
                    if let Some(end) = from(start, b) {
                        return Ok(start..=run_end(part, end));
                    }
                    fault = Some(BarError::Backwards(text.clone()));
                }
            }
        }
        Err(fault.unwrap_or_else(|| unknown(text)))
    }
}

fn run_end(part: &Part, bar: usize) -> usize {
    let same = |b: &usize| part.bars[*b].number == part.bars[bar].number;
    (bar..part.bars.len()).take_while(same).last().unwrap_or(bar)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Interval;
    use crate::score::{Bar, Element, Meter};
    use crate::time::Time;

    fn part(numbers: &[&str]) -> Part {
        let bars = numbers
            .iter()
            .map(|number| Bar {
                number: number.to_string(),
                element: Element(0),
                start: Time::from(0),
                length: Time::from(4),
                meter: Meter::default(),
                fifths: 0,
                mode: None,
                divisions: 1,
                transpose: Interval::UNISON,
                notes: 0..0,
            })
            .collect();
        Part {
            id: "P1".into(),
            name: "Oboe".into(),
            bars,
            notes: Vec::new(),
            marks: Vec::new(),
            staves: 1,
            octave_is_told: false,
            derived_from: vec![],
            line: crate::score::Line::default(),
            voices: vec![],
        }
    }

    #[test]
    fn bars_are_found_by_printed_number() {
        let part = part(&["0", "1", "2", "2", "X1", "3-a", "4", "1"]);
        let find = |text: &str| Bars(text.into()).find(&part);
        assert_eq!(find("0-1"), Ok(0..=1));
        assert_eq!(find("2"), Ok(2..=3));
        assert_eq!(find("1 - 2"), Ok(1..=3));
        assert_eq!(find("X1-3-a"), Ok(4..=5));
        assert_eq!(find("3-a–4"), Ok(5..=6));
        assert_eq!(find("4-1"), Ok(6..=7));
        assert_eq!(find(" 1 -- 2"), Ok(1..=3));
        assert_eq!(find("4-2"), Err(BarError::Backwards("4-2".into())));
        let unknown = find("1-9").unwrap_err();
        assert_eq!(unknown.to_string(), "there is no bar 9 in part Oboe; its bars go from 0 to 1");
        assert!(matches!(find("7"), Err(BarError::Unknown { bar, .. }) if bar == "7"));
    }

    #[test]
    fn bars_are_found_whatever_their_numbers_hold() {
        let numbers = ["1 a", " 3", "12\n13", "x-y", "1,2", "-1", "", "–", "3", "7\u{202e}", "8:1", "a  b"];
        let part = part(&numbers);
        for (place, number) in numbers.iter().enumerate() {
            assert_eq!(Bars(number.to_string()).find(&part), Ok(place..=place), "{number:?}");
            for (last, other) in numbers.iter().enumerate().skip(place + 1) {
                let both = format!("{number}-{other}");
                assert_eq!(Bars(both.clone()).find(&part), Ok(place..=last), "{both:?}");
            }
        }
        // As reports print them.
        for (shown, place) in [("12 13", 2), ("7", 9), ("a b", 11), (" x-y ", 3)] {
            assert_eq!(Bars(shown.into()).find(&part), Ok(place..=place), "{shown}");
        }
    }
}
