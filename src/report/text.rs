//! Reports for people: sentences first, then the table, then every finding.

use super::phrases::{self, bar_list, count};
use super::table;
use super::{Audit, FindingReport, PartReport, RangePart, RangeReport, RangeResult, sum};
use crate::findings::Status;
use crate::instrument::{Instruments, Side};
use crate::score::Category;
use owo_colors::OwoColorize;
use std::fmt::Write;
use unicode_width::UnicodeWidthStr;

const CAUTION: &str = "An edition may be protected where you live, and taking its editor's marks \
                       away does not end that. The law of the place decides.";

/// How things are coloured. Colour only repeats what the words say; whoever
/// prints the text takes it out where it is not wanted.
pub struct Ink;

impl Ink {
    pub fn title(text: &str) -> String {
        text.bold().to_string()
    }

    pub fn quiet(text: &str) -> String {
        text.dimmed().to_string()
    }

    pub fn status(status: Status, text: &str) -> String {
        match status {
            Status::Added => text.blue().to_string(),
            Status::Omitted => text.red().to_string(),
            Status::Altered => text.yellow().to_string(),
        }
    }
}

/// A text that grows by paragraphs, none wider than it should be.
struct Page {
    text: String,
    width: usize,
}

impl Page {
    fn new(width: usize) -> Page {
        Page { text: String::new(), width }
    }

    fn blank(&mut self) {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
    }

    fn title(&mut self, text: &str) {
        self.blank();
        self.text += &Ink::title(text);
        self.text.push('\n');
    }

    /// Wrapped; the first line starts with `lead`, the others with as much space.
    fn hanging(&mut self, lead: &str, styled_lead: &str, text: &str) {
        let indent = lead.width().min(self.width / 2);
        let space = " ".repeat(indent);
        let room = self.width.saturating_sub(lead.width()).max(24);
        for (place, line) in textwrap::wrap(text, room).iter().enumerate() {
            self.text += if place == 0 { styled_lead } else { &space };
            self.text += line;
            let end = self.text.trim_end_matches(' ').len();
            self.text.truncate(end);
            self.text.push('\n');
        }
    }

    fn paragraph(&mut self, text: &str) {
        self.hanging("", "", text);
    }

    /// Two columns: where, and what.
    fn list(&mut self, items: &[(String, String)]) {
        let widest = items.iter().map(|i| i.0.width()).max().unwrap_or(0);
        for (place, what) in items {
            let pad = " ".repeat(widest - place.width());
            let lead = format!("  {place}{pad}   ");
            self.hanging(&lead, &lead.clone(), what);
        }
    }

    fn warnings(&mut self, warnings: &[String]) {
        if warnings.is_empty() {
            return;
        }
        self.title("Read with care");
        for warning in warnings {
            self.hanging("  ", "  ", warning);
        }
    }
}

/// The audit for people, no wider than `width` columns where words allow it.
pub fn audit(audit: &Audit, width: usize) -> String {
    let mut page = Page::new(width);
    let title = audit.edition.title.as_deref();
    page.title(title.unwrap_or("Edition and source"));
    for (side, name) in [("edition", &audit.edition), ("source", &audit.source)] {
        let other = name.title.as_deref().filter(|t| side == "source" && Some(*t) != title);
        let called = other.map_or(String::new(), |t| format!(" ({t})"));
        let lead = format!("  {side:8} ");
        page.hanging(&lead, &lead.clone(), &format!("{}{called}", name.file));
    }
    for part in &audit.parts {
        part_text(&mut page, part);
    }
    let alone = phrases::unmatched(audit);
    if audit.parts.is_empty() {
        page.blank();
        page.paragraph("No part of the edition has its music in the source; nothing was compared.");
    }
    if !alone.is_empty() {
        page.blank();
        alone.iter().for_each(|s| page.paragraph(s));
    }
    page.warnings(&audit.warnings);
    page.blank();
    let from = page.text.len();
    page.paragraph(CAUTION);
    let caution = page.text.split_off(from);
    for line in caution.lines() {
        page.text += &Ink::quiet(line);
        page.text.push('\n');
    }
    page.text
}

fn part_text(page: &mut Page, part: &PartReport) {
    let (ours, theirs) = (part.part.spoken(), part.source_part.spoken());
    if ours == theirs {
        page.title(ours);
    } else {
        page.title(&format!("{ours}, in the source {theirs}"));
    }
    page.paragraph(&phrases::key_relation(part));
    summary(page, part);
    if !part.passages.is_empty() {
        page.title("Passages");
        let range = part.range.as_ref();
        let items: Vec<_> = part.passages.iter().map(|p| phrases::passage(p, range)).collect();
        page.list(&items);
    }
    if let Some(range) = &part.range {
        range_section(page, range);
    }
    if part.findings.is_empty() {
        return;
    }
    page.title("Bars");
    page.text += &table::table(part, page.width);
    page.text += &format!("\n  {}\n", Ink::quiet(table::LEGEND));
    clean_bars(page, part);
    page.title("Findings");
    findings(page, part);
}

fn summary(page: &mut Page, part: &PartReport) {
    let n = &part.notes;
    page.paragraph(&format!(
        "Of its {}, {} the source's; the source has {}.",
        count(n.edition, "note"),
        match n.matched {
            1 => "1 is".into(),
            m if m == n.edition => "all are".into(),
            m => format!("{m} are"),
        },
        n.source
    ));
    if part.findings.is_empty() {
        page.paragraph("Nothing was found: the edition has what the source has, and no more.");
        return;
    }
    let of = |status| sum(&part.totals, status, false);
    let (added, omitted, altered) = (of(Status::Added), of(Status::Omitted), of(Status::Altered));
    let mut said = Vec::new();
    if part.marks > 0 {
        let verb = if added == 1 { "is" } else { "are" };
        let share = if added == 0 {
            String::new()
        } else {
            format!(" ({} in 100)", (added * 100 + part.marks / 2) / part.marks)
        };
        said.push(format!(
            "Of its {}, {} {verb} the editor's{share}",
            count(part.marks, "mark"),
            if added == 0 { "none".into() } else { added.to_string() }
        ));
        if altered > 0 {
            said.push(format!("{altered} not as in the source"));
        }
    }
    if omitted > 0 {
        let verb = if omitted == 1 { "is" } else { "are" };
        let lead = if said.is_empty() { "Of the source's marks, " } else { "" };
        let tail = if said.is_empty() { "" } else { " of the source's marks" };
        said.push(format!("{lead}{omitted}{tail} {verb} left out"));
    }
    if !said.is_empty() {
        page.paragraph(&format!("{}.", said.join("; ")));
    }
}

fn range_section(page: &mut Page, range: &RangeResult) {
    page.title("Range");
    let guessed = if range.guessed { ", as the part's name tells" } else { "" };
    page.hanging(
        "  ",
        "  ",
        &format!(
            "Checked for the {}, {} to {}{guessed}. {}",
            range.instrument, range.lowest, range.highest, range.reading
        ),
    );
    if range.outside.is_empty() {
        page.hanging("  ", "  ", "No note leaves the range.");
    }
    for side in [Side::Below, Side::Above] {
        let there: Vec<_> = range.outside.iter().filter(|o| o.side == side).collect();
        let displaced = there.iter().filter(|o| o.displaced).count();
        if there.is_empty() {
            continue;
        }
        let bars = bar_list(there.iter().map(|o| (o.at.bar_index, o.at.bar.as_str())));
        let cause = match displaced {
            0 => String::new(),
            d if d == there.len() => ", all through an octave displacement".into(),
            d => format!(", {d} through an octave displacement"),
        };
        let bound = if side == Side::Below { &range.lowest } else { &range.highest };
        page.hanging(
            "  ",
            "  ",
            &format!("{} {} {bound}: bars {bars}{cause}.", count(there.len(), "note"), side.name()),
        );
    }
}

fn clean_bars(page: &mut Page, part: &PartReport) {
    let found: Vec<usize> = part.bars.iter().map(|b| b.bar_index).collect();
    let first = part.first_bar;
    let clean: Vec<(usize, &str)> = part
        .bar_numbers
        .iter()
        .enumerate()
        .map(|(place, number)| (place + first, number.as_str()))
        .filter(|(place, _)| found.binary_search(place).is_err())
        .collect();
    if !clean.is_empty() {
        let noun = if clean.len() == 1 { "bar" } else { "bars" };
        let text = format!("As in the source: {noun} {}.", bar_list(clean));
        page.hanging("  ", "  ", &text);
    }
}

/// Every finding, grouped by bar. Notes of one passage and bar that say the
/// same share a line.
fn findings(page: &mut Page, part: &PartReport) {
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
        let _ = writeln!(page.text, "{}", Ink::title(&head));
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
            let lead = format!("  {beat:beats$}  {category:widest$}  {status:7}  ");
            let inked = Ink::status(f.status, &format!("{status:7}"));
            let styled = format!("  {beat:beats$}  {category:widest$}  {inked}  ");
            page.hanging(&lead, &styled, &what);
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
            let octaves = f.passage.and_then(|p| part.passages[p].octaves).unwrap_or(0);
            let way = if octaves < 0 { "higher" } else { "lower" };
            let far = match octaves.abs() {
                1 => "an octave".to_string(),
                n => format!("{n} octaves"),
            };
            let notes = join(|f| f.edition_reading.as_deref());
            format!("{notes}; in the source {far} {way}")
        }
        Status::Added => ours.into(),
        Status::Omitted => theirs.into(),
        Status::Altered => format!("{ours}; in the source {theirs}"),
    };
    if let Some(end) = f.end.as_ref().filter(|_| f.status != Status::Altered) {
        let to = if end.bar_index == f.at.bar_index {
            format!("to beat {}", end.beat)
        } else {
            format!("to bar {}, beat {}", end.bar, end.beat)
        };
        // The category has already said that it is a slur.
        text = if text == f.category.name() { to } else { format!("{text}, {to}") };
    }
    if text == f.category.name() {
        text.clear();
    }
    if f.status == Status::Omitted
        && let Some(bar) = f.source_bar.as_deref().filter(|b| Some(*b) != source_bar)
    {
        text = format!("{text} (source bar {bar})");
    }
    if text.is_empty() {
        text = "…".into();
    }
    text
}

/// The range report for people.
pub fn range(report: &RangeReport, width: usize) -> String {
    let mut page = Page::new(width);
    page.title(report.score.title.as_deref().unwrap_or("Range"));
    let lead = "  score    ";
    page.hanging(lead, lead, &report.score.file);
    for part in &report.parts {
        range_part(&mut page, part);
    }
    page.warnings(&report.warnings);
    page.text
}

fn range_part(page: &mut Page, part: &RangePart) {
    page.title(part.part.spoken());
    let (Some(range), Some(reading)) = (&part.range, &part.reading) else {
        page.paragraph(
            "The part's name does not tell its instrument for certain; name it with \
             --instrument (obelus range --list prints the table).",
        );
        return;
    };
    let guessed = if part.guessed { ", as the part's name tells" } else { "" };
    page.paragraph(&format!(
        "Checked for the {}, {} to {}{guessed}. {}",
        range.instrument, range.lowest, range.highest, reading.sentence
    ));
    let Some(compass) = &part.compass else {
        page.paragraph("The part has no pitches.");
        return;
    };
    page.paragraph(&format!(
        "Its compass is {} (bar {}) to {} (bar {}).",
        compass.lowest.pitch, compass.lowest.at.bar, compass.highest.pitch, compass.highest.at.bar
    ));
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
            let pitches: Vec<&str> = p.outside_places.iter().map(|i| range.outside[*i].pitch.as_str()).collect();
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
    let rows: Vec<[String; 3]> = table
        .iter()
        .map(|i| {
            let sounding = if i.written == i.sounding { "as written".into() } else { i.sounding.to_string() };
            [i.name.clone(), i.written.to_string(), sounding]
        })
        .collect();
    let name = rows.iter().map(|r| r[0].width()).max().unwrap_or(0).max(10);
    let written = rows.iter().map(|r| r[1].width()).max().unwrap_or(0).max(7);
    let head = format!("{:name$}  {:written$}  {}", "instrument", "written", "sounding");
    let mut out = Ink::title(&head) + "\n";
    for [a, b, c] in rows {
        let _ = writeln!(out, "{a:name$}  {b:written$}  {c}");
    }
    out
}
