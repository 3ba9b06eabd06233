//! Lengths as musicians name them: note values, tied values, counts.

use super::{Time, lcm};

/// From a breve on, each half of the one before.
const VALUES: [&str; 12] = [
    "breve",
    "whole note",
    "half",
    "quarter",
    "eighth",
    "sixteenth",
    "32nd",
    "64th",
    "128th",
    "256th",
    "512th",
    "1024th",
];
const WHOLE: usize = 1;
const HALF: usize = 2;
const QUARTER: usize = 3;

/// More than these in the time of fewer are no tuplet that can be read.
const LARGEST_TUPLET: i64 = 15;
/// More of one value are told otherwise.
const MOST_COUNTED: i64 = 31;
/// Of smaller parts of a quarter nothing is tied together or counted.
const SMALLEST: i64 = 32;

/// A note value as it is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Value {
    /// 0 is a breve, 1 a whole note, each half of the one before.
    pub place: usize,
    /// Behind the note.
    pub dots: usize,
    /// How many are in the time of the next lower power of two; 1 for none.
    pub tuplet: i64,
}

impl Value {
    /// The value with no more than so many dots that is so long, in quarter notes; `None` where musicians write it as
    /// several notes.
    pub fn of(length: Time, most_dots: usize) -> Option<Value> {
        let found = (0..=most_dots).find_map(|dots| {
            let undotted = length / dotted(dots);
            let tuplet = undotted.denom() >> undotted.denom().trailing_zeros();
            let place = (tuplet <= LARGEST_TUPLET).then(|| place(undotted * ratio(tuplet)))??;
            Some(Value { place, dots, tuplet })
        })?;
        let known = match (found.tuplet, found.dots) {
            (1, 0 | 1) => true,
            (1, _) => found.place >= HALF,
            (_, 0) => found.place >= HALF,
            // Longer ones are written as tied notes.
            (_, 1) => length < Time::from(1),
            _ => false,
        };
        known.then_some(found)
    }

    /// In quarter notes.
    pub fn length(self) -> Time {
        Time::new(8, 1 << self.place) * dotted(self.dots) / ratio(self.tuplet)
    }

    /// In the time of how many a tuplet's notes are.
    pub fn in_the_time_of(self) -> i64 {
        below(self.tuplet)
    }

    /// Flags or beams of its notes.
    pub fn beams(self) -> usize {
        self.place.saturating_sub(QUARTER)
    }

    /// As in `dotted quarter`, without an article.
    fn name(self) -> String {
        let dots = ["", "dotted ", "double-dotted "][self.dots];
        format!("{dots}{}{}{}", tuplet_name(self.tuplet), VALUES[self.place], self.in_the_time())
    }

    fn several(self) -> String {
        let plain = VALUES[self.place];
        let plain = if self.place == HALF { "halves".into() } else { format!("{plain}s") };
        let dots = ["", "dotted ", "double-dotted "][self.dots];
        format!("{dots}{}{plain}{}", tuplet_name(self.tuplet), self.in_the_time())
    }

    fn with_article(self) -> String {
        let name = self.name();
        let article = if name.starts_with('e') { "an" } else { "a" };
        format!("{article} {name}")
    }

    /// Of a tuplet without a name.
    fn in_the_time(self) -> String {
        let named = self.tuplet == 1 || !tuplet_name(self.tuplet).is_empty();
        if named {
            return String::new();
        }
        format!(", {} in the time of {}", number(self.tuplet), number(below(self.tuplet)))
    }
}

/// What one note of at most two dots that is so long is called, without an article: `dotted quarter`.
pub fn value_name(length: Time) -> Option<String> {
    let value = (length > Time::zero()).then(|| Value::of(length, 2))??;
    (value.tuplet == 1).then(|| value.name())
}

/// Of plain values and one of a tuplet: as in `a dotted quarter`, `a half tied to an eighth`, `five triplet sixteenths`.
pub fn length_name(length: Time) -> String {
    if length <= Time::zero() {
        return "no time".into();
    }
    exact(length).unwrap_or_else(|| about(length))
}

/// The length of a note that is written as some tied together, in their order.
/// What one note can say within a whole note is told as that.
pub fn tied_name(notes: &[Time]) -> String {
    let length: Time = notes.iter().copied().sum();
    let one = Value::of(length, 2).filter(|v| v.tuplet == 1 && length <= Time::from(4));
    let values: Option<Vec<Value>> = notes.iter().map(|n| Value::of(*n, 2)).collect();
    let Some(values) = values.filter(|values| one.is_none() && values.len() > 1) else { return length_name(length) };
    let runs: Vec<&[Value]> = values.chunk_by(|a, b| a == b).collect();
    let run = |run: &[Value]| match run.len() {
        1 => run[0].with_article(),
        count => format!("{} {}", number(count as i64), run[0].several()),
    };
    match runs.len() {
        1 => format!("{} tied", run(runs[0])),
        2 | 3 => joined(runs.into_iter().map(run)),
        _ => length_name(length),
    }
}

/// Several lengths in one unit, as in `2 and 3 quarters`.
pub fn compared(lengths: &[Time]) -> String {
    let known = lengths.iter().all(|length| length.denom() <= SMALLEST);
    let denom = lengths.iter().filter(|_| known).fold(1, |denom, length| lcm(denom, length.denom()));
    match Value::of(Time::new(1, denom), 0) {
        Some(unit) if known => {
            let counts: Vec<String> =
                lengths.iter().map(|l| (*l * Time::from(denom)).to_integer().to_string()).collect();
            format!("{} {}", counts.join(" and "), unit.several())
        }
        _ => lengths.iter().map(|l| length_name(*l)).collect::<Vec<_>>().join(" and "),
    }
}

fn exact(length: Time) -> Option<String> {
    let one = Value::of(length, 2).map(Value::with_article);
    one.or_else(|| in_whole_notes(length))
        .or_else(|| tied(length))
        .or_else(|| in_beats(length))
        .or_else(|| counted(length))
}

/// Longer than a breve.
fn in_whole_notes(length: Time) -> Option<String> {
    if length <= Time::from(8) {
        return None;
    }
    let count = (length / Time::from(4)).floor();
    let whole = format!("{} whole notes", number(count.to_integer()));
    match length - count * Time::from(4) {
        rest if rest.is_zero() => Some(whole),
        rest => Some(joined([whole, exact(rest)?].into_iter())),
    }
}

/// Plain values, the longest first, as few as can be and with as few dots.
fn tied(length: Time) -> Option<String> {
    if !is_plain(length) || length.denom() > SMALLEST {
        return None;
    }
    let values = |dots: usize| (WHOLE..VALUES.len()).map(move |place| Value { place, dots, tuplet: 1 });
    let pairs = values(0).chain(values(1)).filter_map(|first| {
        let rest = length - first.length();
        let rest = Value::of(rest, 2).filter(|rest| rest.length() < first.length())?;
        Some((first, rest))
    });
    if let Some((first, rest)) = pairs.min_by_key(|(first, rest)| (first.dots + rest.dots * rest.dots, first.place)) {
        return Some(joined([first, rest].into_iter().map(Value::with_article)));
    }
    let first = values(0).find(|first| first.length() < length)?;
    Some(joined([first.with_article(), exact(length - first.length())?].into_iter()))
}

/// Tuplets fill a beat each.
fn in_beats(length: Time) -> Option<String> {
    let (beats, rest) = (length.floor(), length - length.floor());
    let more = !is_plain(length) && !beats.is_zero();
    more.then(|| Some(joined([exact(beats)?, exact(rest)?].into_iter())))?
}

/// So many of one value of a tuplet.
fn counted(length: Time) -> Option<String> {
    let unit = Value::of(Time::new(1, length.denom()), 0).filter(|v| v.tuplet > 1 && length.denom() <= SMALLEST)?;
    (length.numer() <= MOST_COUNTED).then(|| format!("{} {}", number(length.numer()), unit.several()))
}

/// Of a length that no notes can be written for.
fn about(length: Time) -> String {
    let apart = |other: Time| if other > length { other - length } else { length - other };
    let undotted = (0..VALUES.len()).flat_map(|place| [1, 3].map(|tuplet| Value { place, dots: 0, tuplet }));
    let values = undotted.chain((0..VALUES.len()).map(|place| Value { place, dots: 1, tuplet: 1 }));
    let near = values.map(Value::length).filter(|near| Value::of(*near, 1).is_some()).min_by_key(|near| apart(*near));
    let near = near.filter(|_| length <= Time::from(8)).unwrap_or_else(|| length.round());
    let way = if near < length { "more" } else { "less" };
    format!("a little {way} than {}", exact(near).unwrap_or_default())
}

fn joined(names: impl Iterator<Item = String>) -> String {
    names.collect::<Vec<_>>().join(" tied to ")
}

fn is_plain(length: Time) -> bool {
    length.denom() & (length.denom() - 1) == 0
}

/// How many times as long so many dots make a value.
fn dotted(dots: usize) -> Time {
    Time::from(2) - Time::new(1, 1 << dots)
}

/// As many in the time of the next lower power of two.
fn ratio(tuplet: i64) -> Time {
    Time::new(tuplet, below(tuplet))
}

fn below(tuplet: i64) -> i64 {
    1 << tuplet.ilog2()
}

fn place(length: Time) -> Option<usize> {
    (0..VALUES.len()).find(|place| Time::new(8, 1 << place) == length)
}

fn tuplet_name(tuplet: i64) -> &'static str {
    match tuplet {
        3 => "triplet ",
        5 => "quintuplet ",
        7 => "septuplet ",
        _ => "",
    }
}

/// In words up to twelve.
fn number(count: i64) -> String {
    const WORDS: [&str; 13] =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
    usize::try_from(count).ok().and_then(|n| WORDS.get(n)).map_or_else(|| count.to_string(), |w| (*w).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn lengths_have_the_names_that_musicians_use() {
        let table = [
            // Plain values.
            ("8", "a breve"),
            ("4", "a whole note"),
            ("2", "a half"),
            ("1", "a quarter"),
            ("1/2", "an eighth"),
            ("1/4", "a sixteenth"),
            ("1/8", "a 32nd"),
            ("1/16", "a 64th"),
            ("1/32", "a 128th"),
            // Dotted.
            ("12", "a dotted breve"),
            ("6", "a dotted whole note"),
            ("3", "a dotted half"),
            ("3/2", "a dotted quarter"),
            ("3/4", "a dotted eighth"),
            ("3/8", "a dotted sixteenth"),
            ("3/16", "a dotted 32nd"),
            ("7/2", "a double-dotted half"),
            ("7/4", "a double-dotted quarter"),
            ("7/8", "a double-dotted eighth"),
            // Tuplets.
            ("4/3", "a triplet half"),
            ("2/3", "a triplet quarter"),
            ("1/3", "a triplet eighth"),
            ("1/6", "a triplet sixteenth"),
            ("2/5", "a quintuplet eighth"),
            ("1/5", "a quintuplet sixteenth"),
            ("3/10", "a dotted quintuplet sixteenth"),
            ("1/7", "a septuplet sixteenth"),
            ("1/9", "a 32nd, nine in the time of eight"),
            ("1/11", "a 32nd, eleven in the time of eight"),
            ("1/13", "a 32nd, 13 in the time of eight"),
            // Tied.
            ("5", "a whole note tied to a quarter"),
            ("5/2", "a half tied to an eighth"),
            ("5/4", "a quarter tied to a sixteenth"),
            ("5/8", "an eighth tied to a 32nd"),
            ("9/2", "a whole note tied to an eighth"),
            ("9/4", "a half tied to a sixteenth"),
            ("11/2", "a whole note tied to a dotted quarter"),
            ("11/4", "a half tied to a dotted eighth"),
            ("13/4", "a dotted half tied to a sixteenth"),
            ("15/4", "a dotted half tied to a dotted eighth"),
            ("7", "a whole note tied to a dotted half"),
            ("21/4", "a whole note tied to a quarter tied to a sixteenth"),
            // Over barlines.
            ("9", "two whole notes tied to a quarter"),
            ("17/2", "two whole notes tied to an eighth"),
            ("16", "four whole notes"),
            ("14", "three whole notes tied to a half"),
            ("52", "13 whole notes"),
            // With tuplets.
            ("5/3", "a quarter tied to a triplet quarter"),
            ("7/3", "a half tied to a triplet eighth"),
            ("8/3", "a half tied to a triplet quarter"),
            ("5/6", "five triplet sixteenths"),
            ("6/5", "a quarter tied to a quintuplet sixteenth"),
            ("5/9", "five 32nds, nine in the time of eight"),
            ("28/3", "two whole notes tied to a triplet half"),
            // What nobody writes.
            ("85/256", "a little less than a triplet eighth"),
            ("171/512", "a little more than a triplet eighth"),
            ("100/99", "a little more than a quarter"),
            ("1/5000", "a little less than a triplet 1024th"),
            ("0", "no time"),
        ];
        for (length, name) in table {
            let length = super::super::parse_beat(length).expect("a fraction");
            assert_eq!(length_name(length), name, "{length}");
        }
    }

    #[test]
    fn tied_notes_are_told_as_they_are_printed() {
        let table: [(&[(i64, i64)], &str); 11] = [
            (&[(1, 2)], "an eighth"),
            (&[(1, 1), (1, 2)], "a dotted quarter"),
            (&[(1, 2), (2, 1)], "an eighth tied to a half"),
            (&[(2, 1), (1, 1), (1, 4)], "a half tied to a quarter tied to a sixteenth"),
            (&[(1, 4); 5], "five sixteenths tied"),
            (&[(3, 1), (3, 1)], "two dotted halves tied"),
            (&[(4, 1); 3], "three whole notes tied"),
            (&[(4, 1), (4, 1), (1, 2)], "two whole notes tied to an eighth"),
            (&[(1, 1), (1, 3)], "a quarter tied to a triplet eighth"),
            (&[(2, 1), (4, 1), (2, 1), (1, 1)], "two whole notes tied to a quarter"),
            (&[(85, 256), (1, 1)], "a little less than a triplet half"),
        ];
        for (notes, name) in table {
            let notes: Vec<Time> = notes.iter().map(|(n, d)| Time::new(*n, *d)).collect();
            assert_eq!(tied_name(&notes), name, "{notes:?}");
        }
    }

    #[test]
    fn lengths_are_compared_in_one_unit() {
        let halves = |all: &[i64]| compared(&all.iter().map(|n| Time::new(*n, 2)).collect::<Vec<_>>());
        assert_eq!(halves(&[4, 6]), "2 and 3 quarters");
        assert_eq!(halves(&[5, 6, 8]), "5 and 6 and 8 eighths");
        assert_eq!(compared(&[Time::new(2, 3), Time::from(1)]), "2 and 3 triplet eighths");
        assert_eq!(compared(&[Time::new(1, 97), Time::from(1)]), "a little less than a triplet 256th and a quarter");
    }

    proptest! {
        #[test]
        fn lengths_that_can_be_written_differ_in_name(a in 1..200_i64, b in 1..200_i64, unit in 0..6_usize) {
            let unit = [1, 2, 4, 8, 3, 6][unit];
            let names = [a, b].map(|n| length_name(Time::new(n, unit)));
            prop_assert_eq!(names[0] == names[1], a == b, "{:?}", names);
            prop_assert!(!names[0].contains("little"), "{}", names[0]);
        }
    }
}
