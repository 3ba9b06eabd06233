//! A ranking as one page: the reasons, then a row for each edition with a strip
//! of its bars, so that it is seen where each editor was at work.

use super::page_of;
use crate::report::phrases::{CAUTION, count};
use crate::report::ranking::{self, BarFigures, Figures, Hand, RankedEdition, Ranking};
use maud::{Markup, html};

const STYLE: &str = concat!(include_str!("style.css"), include_str!("ranking.css"));

/// The whole page.
pub fn page(ranking: &Ranking) -> String {
    let compared = ranking.compared();
    let left = &ranking.editions[compared.len()..];
    let title = ranking.source.as_ref().and_then(|s| s.title.as_deref()).unwrap_or("Editions");
    let body = html! {
        header {
            h1 { bdi { (title) } }
            p.kicker { "Which edition has least of an editor in it" }
            dl.compared {
                @if let Some(source) = &ranking.source { dt { "Source" } dd { (source.file) } }
                @if let Some(folder) = &ranking.sources { dt { "Sources" } dd { (folder) } }
                @if let Some(instrument) = &ranking.instrument { dt { "Instrument" } dd { (instrument) } }
            }
        }
        main {
            @for reason in compared.iter().filter_map(|e| e.reason.as_ref()) { p { (reason) } }
            @if !compared.is_empty() { (table(ranking, compared)) }
            @if !left.is_empty() {
                section aria-labelledby="left" {
                    h2 #left { "Not compared" }
                    ul { @for edition in left { li { (edition.file) ": " (edition.fault.as_deref().unwrap_or_default()) } } }
                }
            }
            @if !ranking.warnings.is_empty() {
                section aria-labelledby="warnings" {
                    h2 #warnings { "Warnings" }
                    ul { @for warning in &ranking.warnings { li { (warning) } } }
                }
            }
        }
        footer {
            p { "Order: " (ranking.order.join(", ")) "; the first in which two editions differ decides." }
            p { (CAUTION) }
        }
    };
    page_of(&format!("{title}: editions, the most faithful first"), &body.into_string(), vec![STYLE.into()], None)
}

fn table(ranking: &Ranking, compared: &[RankedEdition]) -> Markup {
    let outside = ranking.instrument.is_some();
    let columns = 8 + usize::from(outside);
    html! {
        ul.legend aria-label="What the strips show" {
            @for (hand, what) in [(Hand::Marks, "marks"), (Hand::Notes, "notes"), (Hand::Passage, "passages")] {
                li { svg viewBox="0 0 1 4" preserveAspectRatio="none" aria-hidden="true" { (bar(hand, 0, 1)) } "the editor's " (what) }
            }
            li { "empty: as in the source" }
        }
        div.wide role="group" aria-label="Editions" tabindex="0" {
            table.ranking {
                caption.vh { "Editions, the most faithful first" }
                thead { tr {
                    th.n scope="col" { "Rank" }
                    th scope="col" { "Edition" }
                    th.n scope="col" { "Alike, of 100 notes" }
                    th.n scope="col" { "Notes changed" }
                    th.n scope="col" { "In another octave" }
                    th.n scope="col" { "Passages" }
                    th.n scope="col" { "Editor's marks" }
                    th.n scope="col" { "Bars without a finding" }
                    @if outside { th.n scope="col" { "Outside the range" } }
                } }
                @for edition in compared {
                    @if let Some(figures) = &edition.figures { (rows(edition, figures, outside, columns)) }
                }
            }
        }
    }
}

fn rows(edition: &RankedEdition, figures: &Figures, outside: bool, columns: usize) -> Markup {
    let marks = &figures.marks;
    html! {
        tbody {
            tr {
                td.n data-what="Rank" { @if let Some(rank) = edition.rank { (rank) } }
                th.file scope="row" {
                    @match &edition.audit {
                        Some(audit) => a href=(audit) { bdi { (edition.file) } },
                        None => bdi { (edition.file) },
                    }
                    @if let Some(title) = &edition.title { small { bdi { (title) } } }
                    @for sentence in ranking::sentences(edition, figures) { small { (sentence) } }
                }
                td.n data-what="Alike, of 100 notes" { (ranking::notes_alike(figures)) }
                td.n data-what="Notes changed" { (figures.notes.changed) }
                td.n data-what="In another octave" { (figures.notes.in_another_octave) }
                td.n data-what="Passages" { (figures.passages.values().sum::<usize>()) }
                td.n data-what="Editor's marks" { (marks.all()) }
                td.n data-what="Bars without a finding" { (figures.bars.without_finding) " of " (figures.bars.compared) }
                @if outside { td.n data-what="Outside the range" { (figures.outside.unwrap_or(0)) } }
            }
            tr { td.hands colspan=(columns) { (strip(&figures.bars)) } }
        }
    }
}

/// All bars in a row; the more the editor did, the higher.
fn strip(bars: &BarFigures) -> Markup {
    let count_of = |hand: Hand| bars.hands.iter().filter(|h| **h == hand).count();
    let said = format!(
        "{}: {} as in the source, {} with the editor's marks, {} with other notes, {} in passages",
        count(bars.compared, "bar"),
        count_of(Hand::None),
        count_of(Hand::Marks),
        count_of(Hand::Notes),
        count_of(Hand::Passage)
    );
    // Neighbours alike are one.
    let mut runs: Vec<(Hand, usize, usize)> = Vec::new();
    for (place, hand) in bars.hands.iter().enumerate() {
        match runs.last_mut() {
            Some(run) if run.0 == *hand => run.2 += 1,
            _ => runs.push((*hand, place, 1)),
        }
    }
    let width = bars.compared.max(1);
    html! {
        svg viewBox=(format!("0 0 {width} 4")) preserveAspectRatio="none" role="img" aria-label=(said) {
            @for (hand, from, bars) in runs.into_iter().filter(|run| run.0 != Hand::None) { (bar(hand, from, bars)) }
        }
    }
}

fn bar(hand: Hand, from: usize, bars: usize) -> Markup {
    let (class, height) = match hand {
        Hand::None => ("", 0),
        Hand::Marks => ("marks", 1),
        Hand::Notes => ("notes", 2),
        Hand::Passage => ("passage", 4),
    };
    html! { rect.(class) x=(from) y=(4 - height) width=(bars) height=(height) {} }
}
