//! What was found in a part, in a few sentences.

use super::phrases::{bar_list, count, listed};
use super::{PartReport, Point, RangeResult, marks_of};
use crate::findings::Status;
use crate::instrument::Side;
use crate::score::Category;

/// The names of the parts compared.
pub fn heading(part: &PartReport) -> String {
    let (ours, theirs) = (part.part.spoken(), part.source_part.spoken());
    if ours == theirs { ours.into() } else { format!("{ours} (source: {theirs})") }
}

/// Said of a part whose instrument nobody knows.
pub const NO_INSTRUMENT: &str =
    "No instrument could be guessed from the part's name; name one with --instrument to check its range.";

/// Said where no parts belong together.
pub const NOTHING_COMPARED: &str = "No part of the edition matches a part of the source; nothing was compared. To compare \
                                    two parts anyway, name them with --part and --source-part.";

/// How much of the part is the editor's, a paragraph each.
pub fn summary(part: &PartReport) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(only) = &part.only {
        out.push(format!("Only {only} {} compared.", were(part.bar_numbers.len())));
    }
    out.extend(scope(part));
    if !part.doublings.is_empty() {
        let (verb, theirs) = (if part.doublings.len() == 1 { "matches" } else { "match" }, part.source_part.spoken());
        out.push(format!("The edition's {} also {verb} the source's {theirs}.", listed(&part.doublings)));
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
    let matched = match n.matched {
        0 => "none match".into(),
        1 => "1 matches".into(),
        all if altered == 0 && all == n.edition && all == n.source => "all match".into(),
        some => format!("{some} match"),
    };
    let mut notes = format!("{} against {}: {matched}", count(n.edition, "note"), n.source);
    if altered > 0 {
        notes += &format!(" ({altered} altered)");
    }
    for status in [Status::Added, Status::Omitted] {
        match of_notes(Category::Note, status) {
            0 => {}
            some => notes += &format!(", {some} {}", status.name()),
        }
    }
    // The struck notes of ornaments that one side writes out: neither pairs nor additions.
    let of_ornaments = |all: usize, status| all.saturating_sub(n.matched + of_notes(Category::Note, status));
    let ornaments = of_ornaments(n.edition, Status::Added).max(of_ornaments(n.source, Status::Omitted));
    if ornaments > 0 {
        notes += &format!(", {ornaments} in written-out ornaments");
    }
    out.push(notes + ".");
    if part.findings.is_empty() {
        let nothing = if part.passages.is_empty() {
            "Nothing found: the edition has the same notes and marks as the source."
        } else {
            "Nothing found but bars of rests that only one of the two has."
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
    let of = |status| marks_of(&part.totals, status);
    let (added, omitted, altered) = (of(Status::Added), of(Status::Omitted), of(Status::Altered));
    let mut done = Vec::new();
    if added > 0 {
        let share = (added * 100 + part.marks / 2) / part.marks;
        done.push(format!("added {added} of its {} ({share} %)", count(part.marks, "mark")));
    }
    if altered > 0 {
        done.push(format!("altered {altered}"));
    }
    if omitted > 0 {
        done.push(format!("omitted {omitted} of the source's"));
    }
    match (part.marks, added) {
        (0, _) if omitted == 0 => String::new(),
        (0, _) => format!("It has no marks; the editor {}.", listed(&done)),
        (_, 0) if done.is_empty() => "The editor added no marks.".into(),
        (_, 0) => format!("The editor added no marks, but {}.", listed(&done)),
        _ => format!("The editor {}.", listed(&done)),
    }
}

fn were(n: usize) -> &'static str {
    if n == 1 { "was" } else { "were" }
}

/// How the part lies on its instrument, a paragraph each.
pub fn range(range: &RangeResult) -> Vec<String> {
    let guessed = if range.guessed { " (guessed from the part's name)" } else { "" };
    let mut out = vec![format!("Checked for the {}, {}{guessed}. {}", range.instrument, range.words, range.reading)];
    out.extend(range.better_octave.as_ref().map(|better| better.sentence.clone()));
    if range.outside.is_empty() {
        out.push("All notes fit.".into());
    }
    for side in [Side::Below, Side::Above] {
        let there: Vec<_> = range.outside.iter().filter(|o| o.side == side).collect();
        let displaced = there.iter().filter(|o| o.displaced).count();
        if there.is_empty() {
            continue;
        }
        let bars = bar_list(there.iter().map(|o| (o.at.bar_index, o.at.bar.as_str())));
        let is_one = there.iter().all(|o| o.at.bar_index == there[0].at.bar_index);
        let noun = if is_one { "bar" } else { "bars" };
        let cause = match displaced {
            0 => String::new(),
            d if d == there.len() => ", all due to an octave displacement".into(),
            d => format!(", {d} due to an octave displacement"),
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
