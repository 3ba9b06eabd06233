//! What is counted, and how many of it a minute.

use crate::score::Meter;
use crate::time::{Time, value_name};
use std::fmt;

/// A note value that a metronome counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Beat {
    length: Time,
}

/// So many beats a minute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeatsPerMinute {
    pub beat: Beat,
    pub per_minute: f64,
}

impl Beat {
    /// `None` where no note with two dots at most is so long.
    pub fn new(length: Time) -> Option<Beat> {
        value_name(length).map(|_| Beat { length })
    }

    pub fn quarter() -> Beat {
        Beat { length: Time::from(1) }
    }

    /// The beat of a time signature, by common practice: three units of it where
    /// they come in threes (6/8, 9/8, 12/16, 6/4), but not in 3/8; else the unit
    /// itself, though nothing longer than a half.
    pub fn of(meter: Meter) -> Beat {
        let units = meter.bar / meter.beat;
        let threes = units.is_integer() && units > Time::from(3) && (units / Time::from(3)).is_integer();
        let length = match threes && meter.beat <= Time::from(1) {
            true => meter.beat * Time::from(3),
            false => meter.beat.min(Time::from(2)),
        };
        Beat::new(length).unwrap_or(Beat::quarter())
    }

    /// Whether it can be counted in a time signature: so many of it fill the bar,
    /// and it fills the usual beat, or that fills it.
    pub fn counts(self, meter: Meter) -> bool {
        let fill = |whole: Time, part: Time| (whole / part).is_integer();
        let usual = Beat::of(meter).length;
        meter.bar.is_zero() || fill(meter.bar, self.length) && (fill(self.length, usual) || fill(usual, self.length))
    }

    /// In quarter notes.
    pub fn length(self) -> Time {
        self.length
    }

    /// In quarter notes.
    pub fn quarters(self) -> f64 {
        self.length.numer() as f64 / self.length.denom() as f64
    }

    /// The next smaller value that is counted instead: a third of a dotted one, else a half.
    pub fn smaller(self) -> Beat {
        let parts = self.length.numer() >> self.length.numer().trailing_zeros();
        Beat::new(self.length / Time::from(parts.max(2))).unwrap_or(self)
    }
}

/// As in `dotted quarter`.
impl fmt::Display for Beat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&value_name(self.length).unwrap_or_default())
    }
}

/// As in `dotted quarter = 40`, to two decimals.
impl fmt::Display for BeatsPerMinute {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} = {}", self.beat, (self.per_minute * 100.0).round() / 100.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn meter(beats: i64, unit: i64) -> Meter {
        Meter { bar: Time::new(4 * beats, unit), beat: Time::new(4, unit) }
    }

    // Common practice, no source.
    #[test]
    fn the_beat_of_a_time_signature_is_what_a_teacher_counts() {
        for (beats, unit, wanted) in [
            (4, 4, "quarter"),
            (3, 4, "quarter"),
            (2, 2, "half"),
            (3, 2, "half"),
            (4, 2, "half"),
            (2, 1, "half"),
            (3, 8, "eighth"),
            (2, 8, "eighth"),
            (5, 8, "eighth"),
            (6, 8, "dotted quarter"),
            (9, 8, "dotted quarter"),
            (12, 8, "dotted quarter"),
            (6, 4, "dotted half"),
            (6, 2, "half"),
            (12, 16, "dotted eighth"),
            (24, 16, "dotted eighth"),
            (7, 8, "eighth"),
        ] {
            assert_eq!(Beat::of(meter(beats, unit)).to_string(), wanted, "{beats}/{unit}");
        }
    }

    #[test]
    fn a_mark_counts_where_its_value_fills_the_bar_and_the_beat() {
        let counts = |length: Time, beats, unit| Beat::new(length).unwrap().counts(meter(beats, unit));
        // One in a bar, halves in 4/4, eighths in a slow 4/4 or 6/8.
        assert!(counts(Time::new(3, 2), 3, 8) && counts(Time::from(3), 3, 4) && counts(Time::from(2), 4, 4));
        assert!(counts(Time::new(1, 2), 4, 4) && counts(Time::new(1, 2), 6, 8));
        // Quarters go across the two beats of 6/8, and do not fill 3/8.
        assert!(!counts(Time::from(1), 6, 8) && !counts(Time::from(1), 3, 8) && !counts(Time::from(2), 3, 4));
    }

    proptest! {
        #[test]
        fn the_beat_and_all_smaller_ones_divide_the_bar(beats in 1..=24_i64, unit in 1..=5_u32) {
            let meter = meter(beats, 1 << unit);
            let mut beat = Beat::of(meter);
            for _ in 0..4 {
                prop_assert!(beat.counts(meter), "{beat} in {beats}/{}", 1 << unit);
                beat = beat.smaller();
            }
        }
    }
}
