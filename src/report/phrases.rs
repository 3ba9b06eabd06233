//! Sentences about passages, keys and bars, in plain words.

use super::{Audit, LineAlone, PartReport, PassageReport, Point, RangeResult};
use crate::findings::PassageKind;
use crate::instrument::Side;
use crate::time::Time;

/// Said once in each report.
pub const CAUTION: &str = "The edition may be in copyright where you live. Taking out the editor's marks does not \
                           change that; your local law decides.";

/// As in `1 note`, `3 notes`.
pub fn count(n: usize, thing: &str) -> String {
    match n {
        1 => format!("1 {thing}"),
        n => format!("{n} {thing}s"),
    }
}

/// As in `bars 19 to 20`, `bar 7, beats 2 to 3.5`.
pub fn stretch(from: &Point, to: &Point) -> String {
    if from.bar_index != to.bar_index {
        return format!("bars {} to {}", from.bar, to.bar);
    }
    if from.beat == to.beat {
        return format!("bar {}, beat {}", from.bar, from.beat);
    }
    format!("bar {}, beats {} to {}", from.bar, from.beat, to.beat)
}

/// As in `an octave up`.
pub fn octaves_away(octaves: i32) -> String {
    let side = if octaves > 0 { "up" } else { "down" };
    match octaves.abs() {
        1 => format!("an octave {side}"),
        n => format!("{n} octaves {side}"),
    }
}

/// Bars as a list, those that follow each other as a stretch: `1, 3 to 5`.
/// Each bar with its place; in order.
pub fn bar_list<'a>(bars: impl IntoIterator<Item = (usize, &'a str)>) -> String {
    let mut runs: Vec<(usize, &str, usize, &str)> = Vec::new();
    for (place, number) in bars {
        match runs.last_mut() {
            Some(run) if run.2 == place => {}
            Some(run) if run.2 + 1 == place => (run.2, run.3) = (place, number),
            _ => runs.push((place, number, place, number)),
        }
    }
    let said: Vec<String> = runs
        .into_iter()
        .map(|(a, first, b, last)| match b - a {
            0 => first.into(),
            1 => format!("{first}, {last}"),
            _ => format!("{first} to {last}"),
        })
        .collect();
    said.join(", ")
}

/// How the edition sounds against the source.
pub fn key_relation(part: &PartReport) -> String {
    let t = &part.transposition;
    let same_key = t.steps % 7 == 0 && t.semitones % 12 == 0;
    let (distance, side) = match t.name.split_once(' ') {
        Some(("up", distance)) => (distance, "above"),
        Some(("down", distance)) => (distance, "below"),
        _ => return "The edition is in the source's key, at the same pitch.".into(),
    };
    if same_key {
        format!("The edition is in the source's key and sounds {distance} {side} it.")
    } else {
        format!("The edition sounds {distance} {side} the source.")
    }
}

/// A passage in one line: `bars 21 to 24: an octave lower than the source (5 notes)`.
///
/// # Panics
/// If the part has no such passage.
pub fn passage_line(part: &PartReport, passage: usize) -> String {
    let (place, what) = self::passage(&part.passages[passage], part.range.as_ref());
    format!("{place}: {what}")
}

/// A sentence per passage: where, and what.
pub fn passage(p: &PassageReport, range: Option<&RangeResult>) -> (String, String) {
    let place = stretch(&p.from, &p.to);
    let theirs = p.source_from.as_ref().zip(p.source_to.as_ref());
    let notes = notes_of(p);
    match (p.kind, p.octaves) {
        (PassageKind::OctaveDisplacement, octaves) => {
            let octaves = octaves.unwrap_or(0);
            let way = if octaves < 0 { "lower" } else { "higher" };
            let far = match octaves.abs() {
                1 => "an octave".to_string(),
                n => format!("{n} octaves"),
            };
            let fit = fit(p, range);
            (place, format!("{far} {way} than the source ({notes}{fit})"))
        }
        (PassageKind::Cut, _) => cut(p, theirs),
        (PassageKind::RevoicedChords, _) => (place, format!("the same chords, revoiced ({notes})")),
        (PassageKind::WrittenOutRepeat, _) => {
            let there = theirs.map_or("source".into(), |(a, b)| format!("source {}", stretch(a, b)));
            let what = match p.bars_written {
                0 => format!("{there} written out a second time ({notes})"),
                _ => format!("a repeat, written out in {there} ({notes})"),
            };
            (place, what)
        }
        (PassageKind::WrittenOutOrnament, _) => {
            let mut names: Vec<String> = Vec::new();
            for name in p.ornaments.iter().map(|n| with_article(n)) {
                if !names.contains(&name) {
                    names.push(name);
                }
            }
            match p.bars_written {
                0 => (place, format!("{} written out ({notes})", listed(&names))),
                _ => (place, format!("plain where the source writes out {} ({notes})", listed(&names))),
            }
        }
        (PassageKind::InsertedPassage, _) => {
            let fit = fit(p, range);
            (place, format!("inserted, not in the source ({notes}{fit})"))
        }
        (kind, _) => {
            let what = match kind {
                PassageKind::InventedEnding => "the editor's own ending",
                _ if p.partly => "partly different music",
                _ => "different music",
            };
            let instead = match theirs {
                Some((a, b)) => format!(", in place of source {}", stretch(a, b)),
                None => String::new(),
            };
            let fit = fit(p, range);
            (place, format!("{what}{instead} ({notes}{fit})"))
        }
    }
}

fn notes_of(p: &PassageReport) -> String {
    if p.notes == 0 { "rests".into() } else { count(p.notes, "note") }
}

fn with_article(name: &str) -> String {
    let article = if name.starts_with(['a', 'i', 'o']) { "an" } else { "a" };
    format!("{article} {name}")
}

/// As in `a trill, a turn and a slide`.
pub fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

fn cut(p: &PassageReport, theirs: Option<(&Point, &Point)>) -> (String, String) {
    let notes = notes_of(p);
    if p.bars_cut.is_empty() {
        let what = theirs.map_or("source music".into(), |(a, b)| format!("source {}", stretch(a, b)));
        return (format!("bar {}, beat {}", p.from.bar, p.from.beat), format!("cut: {what} ({notes})"));
    }
    let place = match &p.bar_before {
        Some(bar) => format!("after bar {bar}"),
        None => "at the start".into(),
    };
    let bars = bar_list(p.bars_cut.iter().map(|b| (b.0, b.1.as_str())));
    let verb = if p.bars_cut.len() == 1 { "is" } else { "are" };
    (place, format!("{} of the source ({bars}) {verb} cut ({notes})", count(p.bars_cut.len(), "bar")))
}

/// How a passage lies on the instrument, as it is and with the source's music.
fn fit(p: &PassageReport, range: Option<&RangeResult>) -> String {
    let (Some(range), Some(outside), Some(restored)) = (range, p.outside_range, p.outside_range_restored) else {
        return String::new();
    };
    let there = |at: &Point| (p.from.bar_index..=p.to.bar_index).contains(&at.bar_index);
    let mut sides = range.outside.iter().filter(|o| there(&o.at)).map(|o| o.side);
    let first = sides.next();
    let bound = match first.filter(|side| sides.all(|s| s == *side)) {
        Some(Side::Below) => format!("below the {}'s {}", range.instrument, range.lowest),
        Some(Side::Above) => format!("above the {}'s {}", range.instrument, range.highest),
        None => format!("outside the {}'s range", range.instrument),
    };
    let them = if outside == p.notes { "all".into() } else { format!("{outside} of them") };
    let back = match restored {
        0 => "once restored, all fit".to_string(),
        n => format!("once restored, {n} still are"),
    };
    match (outside, restored) {
        (0, 0) => String::new(),
        (0, n) => format!("; once restored, {n} will be outside the {}'s range", range.instrument),
        (_, 0) if p.octaves.is_none() => format!(", {them} {bound}"),
        _ => format!(", {them} {bound}; {back}"),
    }
}

/// That the edition writes other values throughout; `None` where it does not.
pub fn values(scale: Time) -> Option<String> {
    let times = match (scale.numer(), scale.denom()) {
        (1, 1) => return None,
        (1, 2) => "half as long as".to_string(),
        (1, 3) => "a third as long as".to_string(),
        (1, 4) => "a quarter as long as".to_string(),
        (2, 3) => "two thirds as long as".to_string(),
        (3, 4) => "three quarters as long as".to_string(),
        (4, 3) => "a third longer than".to_string(),
        (3, 2) => "half as long again as".to_string(),
        (2, 1) => "twice as long as".to_string(),
        (3, 1) => "three times as long as".to_string(),
        (4, 1) => "four times as long as".to_string(),
        _ => format!("{} times as long as", crate::time::text(scale)),
    };
    Some(format!("The edition's note values are {times} the source's; they were compared as if equal."))
}

/// Parts that have no partner, a sentence for each side that has some.
pub fn unmatched(audit: &Audit) -> Vec<String> {
    let mut out = Vec::new();
    let sides = [("edition", "source", &audit.not_compared.edition), ("source", "edition", &audit.not_compared.source)];
    for (side, other, parts) in sides {
        let (doubled, alone): (Vec<&LineAlone>, Vec<&LineAlone>) = parts.iter().partition(|p| p.doubles);
        let told = |lines: &[&LineAlone]| {
            let names: Vec<_> = lines.iter().map(|p| p.part.spoken()).collect();
            let notes: usize = lines.iter().map(|p| p.notes).sum();
            format!("{side}'s {} ({})", names.join(", "), count(notes, "note"))
        };
        if !alone.is_empty() {
            let it = if alone.len() == 1 { "it" } else { "them" };
            out.push(format!("Not compared: the {}. The {other} has no match for {it}.", told(&alone)));
        }
        if !doubled.is_empty() {
            let doubles = if doubled.len() == 1 { "It doubles a line" } else { "They double lines" };
            out.push(format!("Not compared: the {}. {doubles} already compared.", told(&doubled)));
        }
    }
    out
}
