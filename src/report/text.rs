//! The audit for people: sentences first, then the table, then every finding.

use super::page::{Ink, Page};
use super::phrases::{self, bar_list, count};
use super::{Audit, PartReport, RangeResult, fingers, listing, sum, table};
use crate::findings::Status;
use crate::instrument::Side;
use crate::score::Category;

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
    let mut alone = phrases::unmatched(audit);
    if audit.parts.is_empty() {
        alone = vec![
            "No part of the edition has its music in the source; nothing was compared. \
             If two parts belong together all the same, name them with --part and --source-part."
                .into(),
        ];
    }
    if !alone.is_empty() {
        page.blank();
        alone.iter().for_each(|s| page.paragraph(s));
    }
    for part in &audit.parts {
        part_text(&mut page, part);
        if part.range.is_none() && audit.parts.len() == 1 {
            page.blank();
            page.paragraph(
                "The part's name does not tell its instrument; with --instrument its range \
                 is checked too.",
            );
        }
    }
    page.warnings(&audit.warnings);
    page.blank();
    let from = page.text.len();
    page.paragraph(phrases::CAUTION);
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
        if let Some(hardest) = &range.hardest {
            page.title("Fingers");
            fingers::section(page, hardest);
        }
    }
    if part.findings.is_empty() {
        return;
    }
    page.title("Bars");
    page.text += &table::table(part, page.width);
    page.text += &format!("\n  {}\n", Ink::quiet(table::LEGEND));
    clean_bars(page, part);
    page.title("Findings");
    listing::findings(page, part);
}

fn summary(page: &mut Page, part: &PartReport) {
    if let Some(only) = &part.only {
        page.paragraph(&format!("Only {only} {} looked at.", were(part.bar_numbers.len())));
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
    page.paragraph(&notes);
    if part.findings.is_empty() {
        page.paragraph(if part.passages.is_empty() {
            "Nothing was found: the edition has what the source has, and no more."
        } else {
            "Nothing was found but bars of rests that only one of the two has."
        });
        return;
    }
    let marks = marks(part);
    if !marks.is_empty() {
        page.paragraph(&marks);
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
        let noun = if bars.contains(' ') { "bars" } else { "bar" };
        let cause = match displaced {
            0 => String::new(),
            d if d == there.len() => ", all through an octave displacement".into(),
            d => format!(", {d} through an octave displacement"),
        };
        let bound = if side == Side::Below { &range.lowest } else { &range.highest };
        page.hanging(
            "  ",
            "  ",
            &format!("{} {} {bound}: {noun} {bars}{cause}.", count(there.len(), "note"), side.name()),
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
