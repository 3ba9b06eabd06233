//! The table with a row for each bar, and the filters for it and for the notes.

use super::chart::Sides;
use crate::findings::Status;
use crate::report::build::source_bar;
use crate::report::table::sign;
use crate::report::{BarReport, PartReport};
use crate::score::Place;
use maud::{Markup, html};

/// Boxes that the script shows: without it they would do nothing.
pub fn filters(part: &PartReport, id: &str) -> Markup {
    let of_status = |s: Status| part.totals.values().filter_map(|c| c.get(&s)).sum::<usize>();
    let statuses = [Status::Added, Status::Omitted, Status::Altered].map(|s| (s, of_status(s)));
    html! {
        form.filters hidden data-part=(id) aria-labelledby=(format!("{id}-filters {id}-title")) {
            span.vh #(format!("{id}-filters")) { "Filters" }
            fieldset {
                legend { "Status" }
                @for (status, n) in statuses.iter().filter(|s| s.1 > 0) {
                    label { input type="checkbox" name="status" value=(status.name()) checked; (sign(*status)) " " (status.name()) " (" (n) ")" }
                }
            }
            fieldset {
                legend { "Category" }
                @for (category, counts) in &part.totals {
                    label {
                        input type="checkbox" name="category" value=(category.name()) checked;
                        (category.name()) " (" (counts.values().sum::<usize>()) ")"
                    }
                }
            }
            p.does {
                button type="button" data-all="true" { "All" }
                button type="button" data-all="false" { "None" }
                label { input type="checkbox" name="clean" checked; "bars without findings" }
                output aria-live="polite" { (part.findings.len()) " of " (part.findings.len()) " findings" }
            }
        }
    }
}

/// A row for every bar with findings, and one for the bars between two of them.
pub fn table(sides: &Sides, part: &PartReport, id: &str) -> Markup {
    html! {
        table.bars data-part=(id) {
            caption { "What was found in each bar: + added, - omitted, ~ altered." }
            thead { tr { th scope="col" { "Bar" } th scope="col" { "Source" } th scope="col" { "Found" } } }
            tbody {
                @for BarsRow { first, last, source, bar, unfound } in rows(sides, part) {
                    tr #(format!("{id}-b{first}")) .clean[bar.is_none()] {
                        th scope="row" {
                            @let number = &part.bar_numbers[first - part.first_bar];
                            @match bar {
                                Some(_) => a href=(format!("#{id}-n{first}")) { span.vh { "bar " } (number) },
                                None => { (number) @if last > first { " to " (part.bar_numbers[last - part.first_bar]) } }
                            }
                        }
                        td {
                            @match &source {
                                Some([from, to]) => { (from) @if last > first { " to " (to) } },
                                None => "none",
                            }
                        }
                        td { @match bar { Some(bar) => (chips(bar)), None => span.hint { (unfound.words()) } } }
                    }
                }
            }
        }
    }
}

/// A row of the table: a bar in which something was found, or bars between two of these.
pub struct BarsRow<'a> {
    pub first: usize,
    pub last: usize,
    /// The source's first and last bar; `None` where it has none.
    pub source: Option<[String; 2]>,
    pub bar: Option<&'a BarReport>,
    /// What to say of it where nothing was found.
    pub unfound: Unfound,
}

/// Bars without findings: those inside a passage may have none either.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfound {
    Same,
    /// Outside of the piece that both sides have.
    Outside,
    /// The source has no bar there, or has it elsewhere only.
    Added,
    /// In a passage of other music.
    Altered,
}

impl Unfound {
    pub fn words(self) -> &'static str {
        match self {
            Unfound::Same => "as in the source",
            Unfound::Outside => "not compared",
            Unfound::Added => "not in the source",
            Unfound::Altered => "in a passage that differs from the source",
        }
    }

    /// For a cell of the strip.
    pub fn sign(self) -> char {
        match self {
            Unfound::Same | Unfound::Outside => '·',
            Unfound::Added => sign(Status::Added),
            Unfound::Altered => sign(Status::Altered),
        }
    }

    fn of(sides: &Sides, part: &PartReport, bar: usize) -> Unfound {
        let row = &sides.collation.outline[sides.collation.edition_row(Place::start_of(bar))];
        match (part.foreign_bars.contains(&bar), row.source) {
            _ if row.outside => Unfound::Outside,
            (false, _) => Unfound::Same,
            (true, None) => Unfound::Added,
            (true, Some(_)) => Unfound::Altered,
        }
    }
}

pub fn rows<'a>(sides: &Sides, part: &'a PartReport) -> Vec<BarsRow<'a>> {
    let mut out: Vec<BarsRow> = Vec::new();
    for index in part.looked_at() {
        let bar = part.bars.binary_search_by_key(&index, |b| b.bar_index).ok().map(|b| &part.bars[b]);
        let source = source_bar(sides.collation, &sides.source, index);
        let unfound = Unfound::of(sides, part, index);
        let like = |row: &BarsRow| row.source.is_some() == source.is_some() && row.unfound == unfound;
        match out.last_mut() {
            Some(row) if row.bar.is_none() && bar.is_none() && like(row) => {
                row.last = index;
                if let Some((range, number)) = row.source.as_mut().zip(source) {
                    range[1] = number;
                }
            }
            _ => out.push(BarsRow { first: index, last: index, source: source.map(|n| [n.clone(), n]), bar, unfound }),
        }
    }
    out
}

fn chips(bar: &BarReport) -> Markup {
    html! {
        @for (category, counts) in &bar.counts {
            @for (status, n) in counts {
                span.chip.(status.name()) data-category=(category.name()) data-status=(status.name()) data-count=(n) {
                    (sign(*status)) (n) " " (category.name()) span.vh { " " (status.name()) "; " }
                }
                " "
            }
        }
    }
}
