//! The keys for people: the best with their reasons, then all in a table.

use super::fingers::headed;
use super::keys::{BEST, Key, KeysInstrument, KeysPart, KeysReport};
use super::page::{Ink, Page};
use super::phrases::count;
use std::fmt::Write;
use unicode_width::UnicodeWidthStr;

/// So many octave changes of a key are told in full.
const CHANGES: usize = 8;

const LEGEND: &str = "written: the compass as written for the player. out: notes outside the range. left: notes \
                      still outside after octave changes. high: notes in the highest quarter of the range";
const FINGERS: &str = " forks, half (half-holes), pinch (thumb half open): notes with such fingerings, after \
                       octave changes. hard: difficulty under the fingers, in points per second.";

/// What is said of a part that no key brings into reach.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OutOfReach {
    /// That it is, and no more.
    LeftOut,
    /// Its keys, as of others.
    Told,
}

impl KeysReport {
    /// For people, no wider than `width` columns where words allow it: the best keys with their reasons, then all in a
    /// table.
    pub fn text(&self, out_of_reach: OutOfReach, width: usize) -> String {
        keys(self, out_of_reach, width)
    }
}

fn keys(report: &KeysReport, out_of_reach: OutOfReach, width: usize) -> String {
    let mut page = Page::new(width);
    page.title(report.score.title.as_deref().unwrap_or("Keys"));
    let lead = "  score    ";
    page.hanging(lead, &report.score.file);
    let known = report.parts.iter().flat_map(|p| &p.instruments).any(|i| i.fingerings);
    if known {
        let lead = "  tempo    ";
        page.hanging(lead, &report.tempo.said());
    }
    for part in &report.parts {
        if part.instruments.is_empty() {
            page.title(&part.part.spoken());
            page.paragraph(super::range_text::NO_INSTRUMENT);
        }
        if part.instruments.len() > 1 {
            compared(&mut page, part);
        }
        for instrument in &part.instruments {
            on_instrument(&mut page, part, instrument, out_of_reach);
        }
    }
    page.warnings(&report.warnings);
    page.finish()
}

/// The best key on each of several instruments.
fn compared(page: &mut Page, part: &KeysPart) {
    page.title(&format!("{}, the best on each", part.part.spoken()));
    let best = |i: &KeysInstrument| {
        let key = &i.transpositions[0];
        let hard = key.difficulty.map_or(String::new(), |d| format!("; difficulty {d:.1}"));
        (i.instrument.clone(), format!("{}: {}{hard}", key.transposition.name, key.reason))
    };
    let items: Vec<_> = part.instruments.iter().map(best).collect();
    page.list(&items);
}

fn on_instrument(page: &mut Page, part: &KeysPart, i: &KeysInstrument, out_of_reach: OutOfReach) {
    page.title(&headed(&part.part, &i.instrument));
    let sounding = match i.sounding.lowest == i.written.lowest {
        true => String::new(),
        false => format!(", sounding {} to {}", i.sounding.lowest, i.sounding.highest),
    };
    let guessed = if i.guessed { " (guessed from the part's name)" } else { "" };
    page.paragraph(&format!(
        "Written range {} to {}{sounding}{guessed}. {}",
        i.written.lowest, i.written.highest, i.reading.sentence
    ));
    if i.notes == 0 {
        page.paragraph("The part has no pitches.");
        return;
    }
    if let Some(better) = &i.better_octave {
        page.paragraph(&better.sentence);
    }
    if !i.in_reach && out_of_reach == OutOfReach::LeftOut {
        page.paragraph(
            "No key brings even half of its notes into range, so it is left out here. Name it with --part to see \
             it anyway.",
        );
        return;
    }
    if !i.fingerings {
        page.paragraph("Its fingerings are not known; only range, register and signature count.");
    }
    page.blank();
    for key in i.transpositions.iter().take(BEST) {
        let lead = format!("  {}  ", key.rank);
        let start = if key.signatures.len() > 1 { " at the start" } else { "" };
        let words = key.key.as_ref().map_or(String::new(), |words| format!(", {words}"));
        let signature = format!("{}{words}{start}", key.signature);
        page.hanging(&lead, &format!("{} ({signature}): {}.", key.transposition.name, key.reason));
        for change in key.octave_changes.iter().take(CHANGES).filter(|_| key.rank == 1) {
            page.hanging("       ", &change.sentence);
        }
        if key.rank == 1 && key.octave_changes.len() > CHANGES {
            let more = key.octave_changes.len() - CHANGES;
            page.hanging("       ", &format!("and {}", count(more, "more change")));
        }
    }
    page.blank();
    table(page, i);
    page.blank();
    let accidentals = match i.accidentals {
        0 => String::new(),
        n => format!(" Every key needs {} besides the signature.", count(n, "accidental")),
    };
    let fingers = if i.fingerings { FINGERS } else { "" };
    page.hanging("  ", &format!("{LEGEND}, here from {}.{fingers}{accidentals}", i.top_register_from));
}

fn table(page: &mut Page, i: &KeysInstrument) {
    let mut heads = vec!["", "", "signs", "written", "out", "left", "high"];
    if i.fingerings {
        heads.extend(["forks", "half", "pinch", "hard"]);
    }
    let rows: Vec<Vec<String>> = i.transpositions.iter().map(cells).collect();
    let widths: Vec<usize> = heads
        .iter()
        .enumerate()
        .map(|(c, head)| rows.iter().map(|r| r[c].width()).chain([head.width()]).max().unwrap_or(0))
        .collect();
    let line = |cells: &[&str]| {
        let mut out = String::from(" ");
        for (c, cell) in cells.iter().enumerate() {
            let pad = " ".repeat(widths[c] - cell.width());
            // Words to the left, numbers to the right.
            let _ = if matches!(c, 1 | 3) { write!(out, " {cell}{pad}") } else { write!(out, " {pad}{cell}") };
        }
        out
    };
    page.line(&[(Ink::Title, line(&heads).trim_end())]);
    for row in &rows {
        let cells: Vec<&str> = row.iter().map(String::as_str).take(heads.len()).collect();
        page.line(&[(Ink::Plain, line(&cells))]);
    }
}

fn cells(key: &Key) -> Vec<String> {
    let signs = match key.fifths {
        0 => "-".into(),
        n if n < 0 => format!("{}b", -n),
        n => format!("{n}#"),
    };
    let more = if key.signatures.len() > 1 { "…" } else { "" };
    let compass = key.written.as_ref().map_or(String::new(), |c| format!("{}-{}", c.lowest.pitch, c.highest.pitch));
    let number = |n: Option<usize>| n.map_or(String::new(), |n| n.to_string());
    vec![
        key.rank.to_string(),
        key.transposition.name.clone(),
        format!("{signs}{more}"),
        compass,
        key.outside.to_string(),
        key.outside_after.to_string(),
        key.top_register.to_string(),
        number(key.forked),
        number(key.half_holes),
        number(key.pinched),
        key.difficulty.map_or(String::new(), |d| format!("{d:.1}")),
    ]
}
