//! What was found in a part, in a few sentences.

use super::phrases::{bar_list, count, listed};
use super::{PartReport, Point, RangeResult, sum};
use crate::findings::Status;
use crate::instrument::Side;
use crate::score::Category;

/// The names of the parts compared.
pub fn heading(part: &PartReport) -> String {
    let (ours, theirs) = (part.part.spoken(), part.source_part.spoken());
    if ours == theirs { ours.into() } else { format!("{ours}, in the source {theirs}") }
}

/// Said of a part whose instrument nobody knows.
pub const NO_INSTRUMENT: &str =
    "The part's name does not tell its instrument; with --instrument its range is checked too.";

/// Said where no parts belong together.
pub const NOTHING_COMPARED: &str = "No part of the edition has its music in the source; nothing was compared. If two \
                                    parts belong together all the same, name them with --part and --source-part.";

/// How much of the part is the editor's, a paragraph each.
pub fn summary(part: &PartReport) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(only) = &part.only {
        out.push(format!("Only {only} {} looked at.", were(part.bar_numbers.len())));
    }
    out.extend(scope(part));
    if !part.doublings.is_empty() {
        let (verb, theirs) = (if part.doublings.len() == 1 { "goes" } else { "go" }, part.source_part.spoken());
        out.push(format!("The edition's {} {verb} with the source's {theirs}, too.", listed(&part.doublings)));
    }
    let n = &part.notes;
    let of_notes = |category, status| {
        let counts = part.totals.get(&category);
        counts.and_then(|c| c.get(&status)).copied().unwrap_or(0)
    };
    let altered = [Category::Octave, Category::Pitch, Category::Spelling, Category::Rhythm]
        .map(|c| of_notes(c, Status::Altered))
        .iter()
        .sum::<usize>();
    let mut notes = format!("It has {}, the source {}; {} in both", count(n.edition, "note"), n.source, are(n.matched));
    if altered > 0 {
        notes += &format!(", {altered} of them not alike");
    }
    notes.push('.');
    let added = of_notes(Category::Note, Status::Added);
    let omitted = of_notes(Category::Note, Status::Omitted);
    let own = format!("{} the editor's own", are(added));
    let missing = format!("{} left out", are(omitted));
    match (added, omitted) {
        (0, 0) => {}
        (_, 0) => notes += &format!(" {own}."),
        (0, _) => notes += &format!(" {missing}."),
        _ => notes += &format!(" {own}, and of the source's {missing}."),
    }
    out.push(notes);
    if part.findings.is_empty() {
        let nothing = if part.passages.is_empty() {
            "Nothing was found: the edition has what the source has, and no more."
        } else {
            "Nothing was found but bars of rests that only one of the two has."
        };
        out.push(nothing.into());
        return out;
    }
    let marks = marks(part);
    if !marks.is_empty() {
        out.push(marks);
    }
    out
}

/// Which bars of the source the edition has, where it or the source has more.
fn scope(part: &PartReport) -> Option<String> {
    let s = &part.scope;
    let bars = |from: &Point, to: &Point| match from.bar_index == to.bar_index {
        true => format!("bar {}", from.bar),
        false => format!("bars {} to {}", from.bar, to.bar),
    };
    let other = |rest: usize| count(rest, "other bar");
    let (ours, theirs) = (bars(&s.from, &s.to), bars(&s.source_from, &s.source_to));
    match (s.edition_rest, s.source_rest) {
        (0, 0) => None,
        (0, rest) => {
            Some(format!("The edition has the source's {theirs}; the source's {} were not compared.", other(rest)))
        }
        (rest, 0) => {
            Some(format!("The source has the edition's {ours}; the edition's {} were not compared.", other(rest)))
        }
        (mine, rest) => Some(format!(
            "The edition's {ours} are the source's {theirs}; {} of the edition and {} of the source were not compared.",
            other(mine),
            other(rest)
        )),
    }
}

/// How many marks are the editor's.
fn marks(part: &PartReport) -> String {
    let of = |status| sum(&part.totals, status, false);
    let (added, omitted, altered) = (of(Status::Added), of(Status::Omitted), of(Status::Altered));
    let left_out = format!("of the source's marks {} left out", are(omitted));
    if part.marks == 0 {
        return match omitted {
            0 => String::new(),
            _ => format!("It has no marks; {left_out}."),
        };
    }
    let mut text = format!("Of its {}, ", count(part.marks, "mark"));
    text += &match added {
        0 => "none is the editor's".into(),
        _ => {
            let share = (added * 100 + part.marks / 2) / part.marks;
            format!("{} the editor's ({share} in 100)", are(added))
        }
    };
    if altered > 0 {
        text += &format!(", and {} not as in the source", are(altered));
    }
    if omitted > 0 {
        text += &format!("; {left_out}");
    }
    text + "."
}

/// As in `1 is`, `3 are`.
fn are(n: usize) -> String {
    match n {
        0 => "none is".into(),
        1 => "1 is".into(),
        n => format!("{n} are"),
    }
}

fn were(n: usize) -> &'static str {
    if n == 1 { "was" } else { "were" }
}

/// How the part lies on its instrument, a paragraph each.
pub fn range(range: &RangeResult) -> Vec<String> {
    let guessed = if range.guessed { ", as the part's name tells" } else { "" };
    let mut out = vec![format!("Checked for the {}, {}{guessed}. {}", range.instrument, range.words, range.reading)];
    if range.outside.is_empty() {
        out.push("No note leaves the range.".into());
    }
    for side in [Side::Below, Side::Above] {
        let there: Vec<_> = range.outside.iter().filter(|o| o.side == side).collect();
        let displaced = there.iter().filter(|o| o.displaced).count();
        if there.is_empty() {
            continue;
        }
        let bars = bar_list(there.iter().map(|o| (o.at.bar_index, o.at.bar.as_str())));
        let noun = if bars.contains(' ') { "bars" } else { "bar" };
        let cause = match displaced {
            0 => String::new(),
            d if d == there.len() => ", all through an octave displacement".into(),
            d => format!(", {d} through an octave displacement"),
        };
        let bound = if side == Side::Below { &range.lowest } else { &range.highest };
        out.push(format!("{} {} {bound}: {noun} {bars}{cause}.", count(there.len(), "note"), side.name()));
    }
    out
}

/// The bars in which nothing was found, and which are in no passage; `None` where there are none.
pub fn clean_bars(part: &PartReport) -> Option<String> {
    let found: Vec<usize> = part.bars.iter().map(|b| b.bar_index).collect();
    let first = part.first_bar;
    let clean: Vec<(usize, &str)> = part
        .bar_numbers
        .iter()
        .enumerate()
        .map(|(place, number)| (place + first, number.as_str()))
        .filter(|(place, _)| found.binary_search(place).is_err() && !part.foreign_bars.contains(place))
        .collect();
    let noun = if clean.len() == 1 { "bar" } else { "bars" };
    (!clean.is_empty()).then(|| format!("As in the source: {noun} {}.", bar_list(clean)))
}
