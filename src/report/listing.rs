//! Every finding of a part in a line of its own.

use super::page::{Ink, Page};
use super::{FindingReport, PartReport};
use crate::findings::Status;
use crate::score::Category;
use unicode_width::UnicodeWidthStr;

/// Every finding, grouped by bar. Notes of one passage and bar that say the
/// same share a line.
pub fn findings(page: &mut Page, part: &PartReport) {
    let widest = part.totals.keys().map(|c| c.name().len()).max().unwrap_or(0);
    let beats = part.findings.iter().map(|f| f.at.beat.width()).max().unwrap_or(0);
    for group in part.findings.chunk_by(|a, b| a.at.bar_index == b.at.bar_index) {
        let bar = &group[0].at;
        let row = part.bars.iter().find(|b| b.bar_index == bar.bar_index);
        let source_bar = row.and_then(|b| b.source_bar.as_deref());
        let head = match source_bar {
            Some(number) if number != bar.bar => format!("bar {}, source bar {number}", bar.bar),
            None => format!("bar {}, not in the source", bar.bar),
            _ => format!("bar {}", bar.bar),
        };
        page.line(&[(Ink::Title, head)]);
        let mut done = vec![false; group.len()];
        for place in 0..group.len() {
            if done[place] {
                continue;
            }
            let alike: Vec<usize> = (place..group.len())
                .filter(|other| *other == place || may_share(&group[place], &group[*other]))
                .collect();
            alike.iter().for_each(|i| done[*i] = true);
            let f = &group[place];
            let all: Vec<&FindingReport> = alike.iter().map(|i| &group[*i]).collect();
            let what = reading(part, &all, source_bar);
            let (beat, category, status) = (&f.at.beat, f.category.name(), f.status.name());
            let lead = format!("  {beat:beats$}  {category:widest$}  ");
            let status = format!("{status:7}");
            page.hanging_after(&[(Ink::Plain, &lead), (Ink::Status(f.status), &status), (Ink::Plain, "  ")], &what);
        }
    }
}

fn may_share(one: &FindingReport, other: &FindingReport) -> bool {
    let shared = matches!(one.category, Category::Note | Category::Octave);
    shared
        && one.passage.is_some()
        && (one.passage, one.category, one.status, one.voice)
            == (other.passage, other.category, other.status, other.voice)
}

/// Where a span ends, as in `to beat 3`.
pub fn until(f: &FindingReport) -> Option<String> {
    let end = f.end.as_ref()?;
    Some(match end.bar_index == f.at.bar_index {
        true => format!("to beat {}", end.beat),
        false => format!("to bar {}, beat {}", end.bar, end.beat),
    })
}

fn reading(part: &PartReport, all: &[&FindingReport], source_bar: Option<&str>) -> String {
    let f = all[0];
    let ours = f.edition_reading.as_deref().unwrap_or("");
    let theirs = f.source_reading.as_deref().unwrap_or("");
    let join = |side: fn(&FindingReport) -> Option<&str>| {
        let all: Vec<&str> = all.iter().filter_map(|f| side(f)).collect();
        all.join(" ")
    };
    let mut text = match f.status {
        Status::Added if all.len() > 1 => join(|f| f.edition_reading.as_deref()),
        Status::Omitted if all.len() > 1 => join(|f| f.source_reading.as_deref()),
        Status::Altered if all.len() > 1 => {
            let notes = join(|f| f.edition_reading.as_deref());
            let theirs = match f.passage.and_then(|p| part.passages[p].octaves) {
                Some(octaves) => {
                    let way = if octaves < 0 { "higher" } else { "lower" };
                    match octaves.abs() {
                        1 => format!("an octave {way}"),
                        n => format!("{n} octaves {way}"),
                    }
                }
                // Chords laid out otherwise, each note in an octave of its own.
                None => join(|f| f.source_reading.as_deref()),
            };
            format!("{notes}; in the source {theirs}")
        }
        Status::Added => ours.into(),
        Status::Omitted => theirs.into(),
        Status::Altered => format!("{ours}; in the source {theirs}"),
    };
    if let Some(to) = until(f).filter(|_| f.status != Status::Altered) {
        // The category has already said that it is a slur.
        text = if text == f.category.name() { to } else { format!("{text}, {to}") };
    }
    if f.status == Status::Omitted
        && let Some(bar) = f.source_bar.as_deref().filter(|b| Some(*b) != source_bar)
    {
        text = format!("{text} (source bar {bar})");
    }
    text
}
