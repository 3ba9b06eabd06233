//! The metre of an exercise: where its beats are, and what may be written as one note.

use crate::score::Meter;
use crate::time::{Time, Value};

/// A metre with full bars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Metre {
    /// As it is printed: 6 and 8.
    pub signature: (i64, i64),
    pub bar: Time,
    /// What is beamed and counted together: a quarter, or the dotted quarter of 6/8. Never more than the bar.
    pub pulse: Time,
}

/// Lengths that are written as one note, the longest first, in quarter notes.
const LENGTHS: [(i64, i64); 17] = [
    (8, 1),
    (6, 1),
    (4, 1),
    (3, 1),
    (2, 1),
    (3, 2),
    (1, 1),
    (3, 4),
    (1, 2),
    (3, 8),
    (1, 4),
    (3, 16),
    (1, 8),
    (3, 32),
    (1, 16),
    (3, 64),
    (1, 32),
];

impl Metre {
    /// That of a bar; common time for one that no signature can tell.
    pub fn of(meter: Meter) -> Metre {
        let common = Metre { signature: (4, 4), bar: Time::from(4), pulse: Time::from(1) };
        if meter.beat <= Time::zero() {
            return common;
        }
        let (beats, unit) = (meter.bar / meter.beat, Time::from(4) / meter.beat);
        let is_usual = beats.is_integer() && unit.is_integer() && (1..=24).contains(&beats.to_integer());
        if !is_usual || ![1, 2, 4, 8, 16].contains(&unit.to_integer()) {
            return common;
        }
        let (beats, unit) = (beats.to_integer(), unit.to_integer());
        // Three small notes are one beat: 6/8, 9/8, 12/8, and 3/8 at the pace of one in a bar.
        let is_compound = unit >= 8 && beats % 3 == 0;
        let pulse = if is_compound { meter.beat * Time::from(3) } else { meter.beat.min(Time::from(1)) };
        Metre { signature: (beats, unit), bar: meter.bar, pulse }
    }

    /// Whether a beat falls into three.
    pub fn is_compound(&self) -> bool {
        self.pulse.numer() % 3 == 0
    }

    /// What a beat falls into: the smallest that is still a rest to get ready in.
    pub fn part(&self) -> Time {
        self.pulse / Time::from(if self.is_compound() { 3 } else { 2 })
    }

    /// The smallest part of a bar that begins as strongly as a bar: its half where that has whole beats, else all of it.
    pub fn block(&self) -> Time {
        let half = self.bar / Time::from(2);
        if (half / self.pulse).is_integer() { half } else { self.bar }
    }

    /// The next border of a length at or behind a time.
    pub fn up_to(time: Time, length: Time) -> Time {
        let whole = (time / length).floor() * length;
        if whole == time { whole } else { whole + length }
    }

    /// The next border of a length behind a time.
    pub fn behind(time: Time, length: Time) -> Time {
        ((time / length).floor() + Time::from(1)) * length
    }

    /// The beats in which a note is beamed with others, by where they begin: eighths of 5/8 in two and three.
    pub fn beam_group(&self, at: Time) -> Time {
        let beat = (at / self.pulse).floor();
        if self.is_compound() || self.pulse >= Time::from(1) {
            return beat * self.pulse;
        }
        let beats = (self.bar / self.pulse).floor().to_integer();
        let pair = (beat.to_integer() / 2).min((beats / 2 - 1).max(0));
        self.pulse * Time::from(2 * pair)
    }

    /// A length from a place in a bar as the values in which it is written, tied together; `None` where no values can
    /// say it. It stays within the bar.
    pub fn values(&self, at: Time, length: Time, is_rest: bool) -> Option<Vec<Value>> {
        let mut out = Vec::new();
        let (mut at, end) = (at, at + length);
        while at < end {
            let rest = end - at;
            // What is no plain length fills whole beats first, or goes to the end of its tuplet or its beat.
            let beats = (rest / self.pulse).floor() * self.pulse;
            let most = match (is_plain(rest) && is_plain(at), border(at, end)) {
                (true, _) => rest,
                (_, Some(border)) => border - at,
                _ if (at % self.pulse).is_zero() && beats > Time::zero() => beats,
                _ => rest.min(Metre::behind(at, self.pulse) - at),
            };
            // Where beats fall into two, a rest has no dot.
            let dots = usize::from(!is_rest || self.is_compound());
            let whole =
                [rest, most].into_iter().find_map(|l| Value::of(l, dots).filter(|_| self.allows(at, l, is_rest)));
            let plain = || {
                let lengths = LENGTHS.iter().map(|(numer, denom)| Time::new(*numer, *denom));
                let fitting = lengths.filter(|l| *l < most && self.allows(at, *l, is_rest));
                fitting.filter_map(|l| Value::of(l, dots)).next()
            };
            let next = whole.or_else(plain)?;
            at += next.length();
            out.push(next);
            if out.len() > 16 {
                return None;
            }
        }
        Some(out)
    }

    /// How long a note is held that is the last of a try, in one value: to the end of its tuplet, else of its beat, or
    /// near it. `own` is its length in the piece.
    pub fn held(&self, at: Time, own: Time) -> Time {
        let is_one = |l: &Time| self.values(at, *l, false).is_some_and(|values| values.len() == 1);
        if let Some(span) = span(at) {
            let spans = [own * Time::from(3), span].map(|span| Metre::behind(at, span.min(self.pulse)) - at);
            return spans.into_iter().find(|l| is_one(l) && is_plain(at + *l) && *l >= own).unwrap_or(own);
        }
        let left = Metre::behind(at, self.pulse) - at;
        if is_one(&left) {
            return left;
        }
        // Where a rest that follows is the plainest.
        let shorter = LENGTHS.iter().map(|(numer, denom)| Time::new(*numer, *denom)).filter(|l| *l < left && is_one(l));
        shorter.min_by_key(|l| ((at + *l) / self.part()).denom()).map_or(own, |l| l.max(own))
    }

    /// Whether a length may be one note, or one rest, so that the beats are seen.
    fn allows(&self, at: Time, length: Time, is_rest: bool) -> bool {
        let within = at % self.pulse;
        let is_aligned = (at / length).is_integer();
        if within.is_zero() {
            let beats = length / self.pulse;
            if length <= self.pulse {
                return true;
            }
            return match (self.is_compound(), is_rest) {
                (true, _) => beats.is_integer() && (is_aligned || at.is_zero()),
                // No dotted rest, and none that looks like that of a whole bar.
                (false, true) => {
                    let is_doubled = beats.is_integer() && beats.numer() & (beats.numer() - 1) == 0;
                    is_doubled && is_aligned && (length < Time::from(4) || self.bar >= Time::from(8))
                }
                (false, false) => (beats * Time::from(2)).is_integer() && (at + length <= self.bar),
            };
        }
        if at + (length - Time::zero()) <= (at / self.pulse).floor() * self.pulse + self.pulse {
            let is_odd = length.denom() % 3 == 0 || length.denom() % 5 == 0;
            // A rest that begins within an eighth of 6/8 ends with it.
            let of_eighths = self.is_compound() && (at / length.min(self.part())).is_integer();
            let is_halved = length.numer() & (length.numer() - 1) == 0 && (within / length).is_integer();
            return !is_rest || is_halved || is_odd || of_eighths;
        }
        // A syncopation of one beat.
        !is_rest && !self.is_compound() && length == self.pulse && within * Time::from(2) == self.pulse
    }
}

/// Made by halves alone.
pub fn is_plain(time: Time) -> bool {
    time.denom() & (time.denom() - 1) == 0
}

/// The triplet in which a time lies, by its length; `None` for one at the border of plain lengths.
fn span(time: Time) -> Option<Time> {
    let thirds = time.denom() / 3;
    (time.denom() % 3 == 0 && thirds & (thirds - 1) == 0).then(|| Time::new(1, thirds))
}

/// Where a triplet ends or begins between two times, so that it is written whole.
fn border(from: Time, to: Time) -> Option<Time> {
    let border = match (span(from), span(to)) {
        (Some(own), _) => Metre::behind(from, own),
        (None, Some(own)) => (to / own).floor() * own,
        (None, None) => return None,
    };
    (from < border && border < to).then_some(border)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn metre(beats: i64, unit: i64) -> Metre {
        let beat = Time::new(4, unit);
        Metre::of(Meter { bar: beat * Time::from(beats), beat })
    }

    fn written(metre: Metre, at: (i64, i64), length: (i64, i64), is_rest: bool) -> Vec<String> {
        let values = metre.values(Time::new(at.0, at.1), Time::new(length.0, length.1), is_rest).expect("values");
        values.iter().map(|v| v.length().to_string()).collect()
    }

    #[test]
    fn beats_are_those_that_players_count() {
        for ((beats, unit), pulse) in [
            ((4, 4), Time::from(1)),
            ((3, 4), Time::from(1)),
            ((2, 2), Time::from(1)),
            ((6, 8), Time::new(3, 2)),
            ((12, 8), Time::new(3, 2)),
            ((3, 8), Time::new(3, 2)),
            ((5, 8), Time::new(1, 2)),
            ((9, 16), Time::new(3, 4)),
        ] {
            assert_eq!(metre(beats, unit).pulse, pulse, "{beats}/{unit}");
        }
        assert_eq!(Metre::of(Meter { bar: Time::new(22, 7), beat: Time::from(1) }).signature, (4, 4));
    }

    #[test]
    fn lengths_are_written_so_that_the_beats_are_seen() {
        let common = metre(4, 4);
        assert_eq!(written(common, (0, 1), (4, 1), false), ["4"]);
        assert_eq!(written(common, (0, 1), (3, 2), false), ["3/2"]);
        assert_eq!(written(common, (0, 1), (3, 2), true), ["1", "1/2"]);
        assert_eq!(written(common, (1, 2), (1, 1), false), ["1"]);
        assert_eq!(written(common, (1, 2), (1, 1), true), ["1/2", "1/2"]);
        assert_eq!(written(common, (3, 4), (1, 2), false), ["1/4", "1/4"]);
        assert_eq!(written(common, (1, 1), (2, 1), true), ["1", "1"]);
        assert_eq!(written(common, (0, 1), (3, 1), true), ["2", "1"]);
        assert_eq!(written(common, (1, 4), (3, 4), true), ["1/4", "1/2"]);
        assert_eq!(written(common, (5, 4), (3, 4), false), ["3/4"]);
        assert_eq!(written(common, (1, 3), (2, 3), false), ["2/3"]);
        assert_eq!(written(common, (2, 3), (4, 3), false), ["1/3", "1"]);
        assert_eq!(written(common, (0, 1), (8, 3), true), ["2", "2/3"]);
        assert_eq!(written(common, (0, 1), (3, 1), true), ["2", "1"]);
        assert_eq!(written(common, (9, 4), (3, 4), true), ["1/4", "1/2"]);
        assert_eq!(written(metre(3, 2), (3, 1), (3, 1), true), ["1", "2"]);
        assert_eq!(written(metre(3, 2), (0, 1), (4, 1), true), ["2", "2"]);
        // A rest leaves triplets whole.
        assert_eq!(written(common, (0, 1), (5, 6), true), ["1/2", "1/3"]);
        assert_eq!(written(common, (5, 6), (7, 6), true), ["1/6", "1"]);
        let jig = metre(6, 8);
        assert_eq!(written(jig, (0, 1), (3, 1), false), ["3"]);
        assert_eq!(written(jig, (1, 2), (1, 1), false), ["1"]);
        assert_eq!(written(jig, (1, 1), (1, 1), false), ["1/2", "1/2"]);
        assert_eq!(written(jig, (1, 4), (5, 4), true), ["1/4", "1"]);
        assert_eq!(written(jig, (1, 2), (1, 1), true), ["1"]);
    }

    #[test]
    fn eighths_of_an_odd_metre_are_beamed_in_twos_and_a_three() {
        let groups = |beats: i64, unit: i64| -> Vec<String> {
            let metre = metre(beats, unit);
            (0..beats).map(|place| metre.beam_group(Time::new(4 * place, unit)).to_string()).collect()
        };
        assert_eq!(groups(5, 8), ["0", "0", "1", "1", "1"]);
        assert_eq!(groups(7, 8), ["0", "0", "1", "1", "2", "2", "2"]);
        assert_eq!(groups(4, 8), ["0", "0", "1", "1"]);
        assert_eq!(groups(1, 8), ["0"]);
        assert_eq!(groups(6, 8), ["0", "0", "0", "3/2", "3/2", "3/2"]);
    }

    #[test]
    fn the_last_note_of_a_try_is_held_to_the_end_of_its_tuplet_or_its_beat() {
        let (common, jig) = (metre(4, 4), metre(6, 8));
        let held = |metre: Metre, at: (i64, i64), own: (i64, i64)| {
            metre.held(Time::new(at.0, at.1), Time::new(own.0, own.1)).to_string()
        };
        assert_eq!(held(common, (1, 2), (1, 4)), "1/2");
        assert_eq!(held(common, (7, 2), (1, 1)), "1/2", "it is not tied over the barline");
        assert_eq!(held(common, (1, 6), (1, 6)), "1/3");
        assert_eq!(held(common, (1, 3), (1, 6)), "1/6");
        assert_eq!(held(common, (7, 12), (1, 12)), "1/6");
        assert_eq!(held(common, (1, 8), (1, 8)), "3/8", "a rest of half a beat follows");
        assert_eq!(held(jig, (1, 1), (1, 2)), "1/2");
        assert_eq!(held(jig, (1, 4), (1, 4)), "3/4");
    }

    proptest! {
        #[test]
        fn values_fill_their_length(beats in 1..13_i64, unit in 1..5_u32, at in 0..64_i64, length in 1..64_i64, part in 0..4_usize, is_rest: bool) {
            let metre = metre(beats, 1 << unit);
            let part = [8, 16, 12, 24][part];
            let (at, length) = (Time::new(at, part), Time::new(length, part));
            prop_assume!(at + length <= metre.bar);
            if let Some(values) = metre.values(at, length, is_rest) {
                prop_assert_eq!(values.iter().map(|v| v.length()).sum::<Time>(), length);
            }
        }
    }
}
