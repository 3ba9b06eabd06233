//! The range report and the table of instruments for people.

use super::page::{Ink, Page, width};
use super::phrases::{self, count};
use super::range::RangeOutside;
use super::{RangePart, RangeReport, fingers};
use crate::instrument::Instruments;
use crate::readable::one_line;

pub(super) const NO_INSTRUMENT: &str = "No instrument could be guessed from the part's name; name one with --instrument \
                                        (obelus range --list prints the instruments).";

/// A longer passage is told by its first notes.
const MOST_PITCHES: usize = 12;

impl RangeReport {
    /// For people, no wider than `width` columns where words allow it.
    pub fn text(&self, width: usize) -> String {
        range(self, width)
    }
}

fn range(report: &RangeReport, columns: usize) -> String {
    let mut page = Page::new(columns);
    page.title(report.score.title.as_deref().unwrap_or("Range"));
    let lead = "  score    ";
    page.hanging(lead, &report.score.file);
    for part in &report.parts {
        range_part(&mut page, part);
    }
    page.warnings(&report.warnings);
    page.finish()
}

fn range_part(page: &mut Page, part: &RangePart) {
    page.title(&part.part.spoken());
    let (Some(range), Some(reading)) = (&part.range, &part.reading) else {
        page.paragraph(NO_INSTRUMENT);
        return;
    };
    let guessed = if part.guessed { " (guessed from the part's name)" } else { "" };
    page.paragraph(&format!("Checked for the {}, {}{guessed}. {}", range.instrument, range.words, reading.sentence));
    let Some(compass) = &part.compass else {
        page.paragraph("The part has no pitches.");
        return;
    };
    page.paragraph(&format!(
        "Its compass is {} (bar {}) to {} (bar {}).",
        compass.lowest.pitch, compass.lowest.at.bar, compass.highest.pitch, compass.highest.at.bar
    ));
    if let Some(better) = &part.better_octave {
        page.paragraph(&better.sentence);
    }
    outside(page, part, range);
    // Where most of it cannot be played, the rest says nothing of how it lies.
    if let Some(hardest) = part.hardest.as_ref().filter(|_| part.better_octave.is_none()) {
        page.blank();
        fingers::section(page, hardest);
    }
}

fn outside(page: &mut Page, part: &RangePart, range: &RangeOutside) {
    if range.outside.is_empty() {
        page.paragraph(&format!("All its {} fit.", count(part.notes, "note")));
        return;
    }
    let n = range.outside.len();
    let verb = if n == 1 { "leaves" } else { "leave" };
    page.paragraph(&format!("Of its {}, {n} {verb} the range:", count(part.notes, "note")));
    let items: Vec<_> = part
        .passages
        .iter()
        .map(|p| {
            let mut pitches: Vec<&str> = p.outside_places.iter().map(|i| range.outside[*i].pitch.as_str()).collect();
            if pitches.len() > MOST_PITCHES {
                pitches.truncate(MOST_PITCHES);
                pitches.push("…");
            }
            let way = if p.octave > 0 { "up" } else { "down" };
            let moved = match p.outside_moved {
                0 => "all would fit".to_string(),
                n => format!("{n} would be outside"),
            };
            let of = if p.notes == p.outside {
                count(p.notes, "note")
            } else {
                format!("{} of {}", p.outside, count(p.notes, "note"))
            };
            (
                phrases::stretch(&p.from, &p.to),
                format!("{of} {}: {}; an octave {way}, {moved}", p.side.name(), pitches.join(" ")),
            )
        })
        .collect();
    page.list(&items);
}

/// The table of instruments for people.
pub fn instruments(table: &Instruments) -> String {
    let heads = ["instrument", "written", "sounding", "clef"].map(String::from);
    let rows = table.iter().map(|i| {
        let sounding = if i.written == i.sounding { "as written".into() } else { i.sounding.to_string() };
        [i.name.clone(), i.written.to_string(), sounding, i.clef.to_string()]
    });
    let lines: Vec<[String; 4]> = std::iter::once(heads).chain(rows).collect();
    let widths: [usize; 4] = std::array::from_fn(|c| lines.iter().map(|l| width(&l[c])).max().unwrap_or(0));
    let mut page = Page::new(0);
    for (place, [name, written, sounding, clef]) in lines.iter().enumerate() {
        let [a, b, c, _] = widths;
        let line = format!("{:a$}  {written:b$}  {sounding:c$}  {clef}", one_line(name));
        page.line(&[(if place == 0 { Ink::Title } else { Ink::Plain }, line)]);
    }
    page.finish()
}
