//! The table with a row for each bar, and the filters for it and for the notes.

use super::chart::Sides;
use crate::findings::Status;
use crate::report::build::source_bar;
use crate::report::table::sign;
use crate::report::{BarReport, PartReport};
use maud::{Markup, html};

/// Boxes that the script shows: without it they would do nothing.
pub fn filters(part: &PartReport, id: &str) -> Markup {
    let of_status = |s: Status| part.totals.values().filter_map(|c| c.get(&s)).sum::<usize>();
    let statuses = [Status::Added, Status::Omitted, Status::Altered].map(|s| (s, of_status(s)));
    html! {
        form.filters hidden data-part=(id) aria-label="Filters" {
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
                label { input type="checkbox" name="clean" checked; "bars as in the source" }
                output aria-live="polite" { (part.findings.len()) " of " (part.findings.len()) " findings" }
            }
        }
    }
}

/// A row for every bar with findings, and one for the bars between two of them.
pub fn table(sides: &Sides, part: &PartReport, id: &str) -> Markup {
    let source = |index: usize| source_bar(sides.collation, sides.source, index).unwrap_or_else(|| "none".into());
    html! {
        table.bars data-part=(id) {
            caption { "What was found in each bar: + the edition alone has it, - the source alone has it, ~ not the same." }
            thead { tr { th scope="col" { "Bar" } th scope="col" { "Source" } th scope="col" { "Found" } } }
            tbody {
                @for (first, last, bar) in rows(part) {
                    tr #(format!("{id}-b{first}")) .clean[bar.is_none()] {
                        th scope="row" {
                            @let number = &part.bar_numbers[first - part.first_bar];
                            @match bar {
                                Some(_) => a href=(format!("#{id}-n{first}")) { span.vh { "bar " } (number) },
                                None => { (number) @if last > first { " to " (part.bar_numbers[last - part.first_bar]) } }
                            }
                        }
                        td { (source(first)) @if last > first { " to " (source(last)) } }
                        td { @match bar { Some(bar) => (chips(bar)), None => span.hint { "as in the source" } } }
                    }
                }
            }
        }
    }
}

/// First and last bar of each row, and what was found in it.
fn rows(part: &PartReport) -> Vec<(usize, usize, Option<&BarReport>)> {
    let mut out: Vec<(usize, usize, Option<&BarReport>)> = Vec::new();
    for index in part.first_bar..part.first_bar + part.bar_numbers.len() {
        let bar = part.bars.binary_search_by_key(&index, |b| b.bar_index).ok().map(|b| &part.bars[b]);
        match out.last_mut() {
            Some((_, last, None)) if bar.is_none() => *last = index,
            _ => out.push((index, index, bar)),
        }
    }
    out
}

/// Of each bar looked at, the first bar of its row.
pub fn row_of_bars(part: &PartReport) -> Vec<usize> {
    rows(part).into_iter().flat_map(|(first, last, _)| (first..=last).map(move |_| first)).collect()
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
