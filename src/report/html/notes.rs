//! Every finding with both readings, as critical notes give them.

use crate::findings::Status;
use crate::report::listing::until;
use crate::report::table::sign;
use crate::report::{FindingReport, PartReport, phrases};
use maud::{Markup, html};

/// Findings that the tables of a page list.
pub const MOST: usize = 50_000;

/// A row for each finding, in the order of the music.
/// `mark` is the id of the mark that a row is about, where one is drawn.
///
/// A page with all of very many would be too large for a browser: only so many are `listed`.
pub fn table(part: &PartReport, id: &str, listed: usize, mark: &impl Fn(usize) -> Option<String>) -> Markup {
    let numbered: Vec<(usize, &FindingReport)> = part.findings.iter().take(listed).enumerate().collect();
    let more = part.findings.len() - numbered.len();
    html! {
        @if more > 0 {
            p.hint { (phrases::count(more, "further finding")) " of this part: the table has the first " (MOST) " of the page; audit --format csv lists all." }
        }
        table.notes data-part=(id) {
            caption { "Every finding. Pitches are sounding pitches; the source's are given in the edition's key." }
            thead {
                tr {
                    th scope="col" { "Bar" } th scope="col" { "Beat" } th scope="col" { "What" }
                    th scope="col" { "Edition" } th scope="col" { "Source" }
                }
            }
            @for group in numbered.chunk_by(|a, b| a.1.at.bar_index == b.1.at.bar_index) {
                tbody #(format!("{id}-n{}", group[0].1.at.bar_index)) {
                    @for (place, finding) in group { (row(part, finding, id, *place, mark(*place))) }
                }
            }
        }
    }
}

fn row(part: &PartReport, f: &FindingReport, id: &str, place: usize, mark: Option<String>) -> Markup {
    let row = part.bars.binary_search_by_key(&f.at.bar_index, |b| b.bar_index).ok();
    let usual = row.and_then(|b| part.bars[b].source_bar.as_deref());
    let elsewhere = f.source_bar.as_deref().filter(|bar| Some(*bar) != usual);
    let until = until(f).filter(|_| f.status != Status::Altered);
    let ends = |status: Status| until.as_deref().filter(|_| f.status == status);
    html! {
        tr #(format!("{id}-r{place}")) data-category=(f.category.name()) data-status=(f.status.name()) data-row=(place) {
            th scope="row" { a href=(format!("#{id}-b{}", f.at.bar_index)) { (f.at.bar) } }
            td { (f.at.beat) }
            td {
                @match mark {
                    Some(mark) => a.chip.(f.status.name()) href=(format!("#{mark}")) { (sign(f.status)) " " (f.category.name()) },
                    None => span.chip.(f.status.name()) { (sign(f.status)) " " (f.category.name()) },
                }
                " "
                span.remark { (remark(f.status)) }
                @if let Some(passage) = f.passage {
                    span.remark { ", in " a href=(format!("#{id}-s{}", passage + 1)) { "passage " (passage + 1) } }
                }
            }
            td { (reading(f.edition_reading.as_deref(), ends(Status::Added))) }
            td {
                (reading(f.source_reading.as_deref(), ends(Status::Omitted)))
                @if let Some(bar) = elsewhere { span.remark { " (source bar " (bar) ")" } }
            }
        }
    }
}

fn reading(text: Option<&str>, until: Option<&str>) -> Markup {
    html! {
        @match text {
            Some(text) => { bdi { (text) } @if let Some(until) = until { ", " (until) } }
            None => { span aria-hidden="true" { "–" } span.vh { "nothing" } }
        }
    }
}

fn remark(status: Status) -> &'static str {
    match status {
        Status::Added => "addition",
        Status::Omitted => "omission",
        Status::Altered => "alteration",
    }
}
