//! The audit for people: sentences first, then the table, then every finding.

use super::page::{Ink, Page};
use super::phrases;
use super::{Audit, PartReport, fingers, listing, table, verdict};

impl Audit {
    /// For people, no wider than `width` columns where words allow it.
    pub fn text(&self, width: usize) -> String {
        audit(self, width)
    }
}

fn audit(audit: &Audit, width: usize) -> String {
    let mut page = Page::new(width);
    let title = audit.edition.title.as_deref();
    page.title(title.unwrap_or("Edition and source"));
    for (side, name) in [("edition", &audit.edition), ("source", &audit.source)] {
        let other = name.title.as_deref().filter(|t| side == "source" && Some(*t) != title);
        let called = other.map_or(String::new(), |t| format!(" ({t})"));
        let lead = format!("  {side:8} ");
        page.hanging(&lead, &format!("{}{called}", name.file));
    }
    let mut alone = phrases::unmatched(audit);
    if audit.parts.is_empty() {
        alone = vec![verdict::NOTHING_COMPARED.into()];
    }
    if !alone.is_empty() {
        page.blank();
        alone.iter().for_each(|s| page.paragraph(s));
    }
    for part in &audit.parts {
        part_text(&mut page, part);
        if part.range.is_none() && audit.parts.len() == 1 {
            page.blank();
            page.paragraph(verdict::NO_INSTRUMENT);
        }
    }
    page.warnings(&audit.warnings);
    page.blank();
    page.quiet_paragraph(phrases::CAUTION);
    page.finish()
}

fn part_text(page: &mut Page, part: &PartReport) {
    page.title(&verdict::heading(part));
    page.paragraph(&phrases::key_relation(part));
    verdict::summary(part).iter().for_each(|s| page.paragraph(s));
    if !part.passages.is_empty() {
        page.title("Passages");
        let range = part.range.as_ref();
        let items: Vec<_> = part.passages.iter().map(|p| phrases::passage(p, range)).collect();
        page.list(&items);
    }
    if let Some(range) = &part.range {
        page.title("Range");
        verdict::range(range).iter().for_each(|s| page.hanging("  ", s));
        if let Some(hardest) = &range.hardest {
            page.title("Fingers");
            fingers::section(page, hardest);
        }
    }
    if part.findings.is_empty() {
        return;
    }
    page.title("Bars");
    table::table(page, part);
    page.blank();
    page.line(&[(Ink::Plain, "  "), (Ink::Quiet, table::LEGEND)]);
    if let Some(clean) = verdict::clean_bars(part) {
        page.hanging("  ", &clean);
    }
    page.title("Findings");
    listing::findings(page, part);
}
