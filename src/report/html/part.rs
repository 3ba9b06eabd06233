//! All about one part: keys, verdict, bars at a glance, passages, compass.

use super::chart::{Chart, Sides};
use super::picture::Glyphs;
use super::plot::{self, Frame};
use super::staves::Score;
use super::{bars, folds, notes};
use crate::alignment::{EditionBar, RowRange};
use crate::beside::Staves;
use crate::engrave;
use crate::findings::{Passage, Status};
use crate::instrument::check;
use crate::pitch::key_name;
use crate::readable::capital;
use crate::report::build::passages_in;
use crate::report::fingers;
use crate::report::table::sign;
use crate::report::{Audit, BarReport, Material, PartReport, phrases, verdict};
use crate::score::Place;
use maud::{Markup, html};
use std::cell::Cell;
use std::ops::Range;

/// Notes in all pictures of a part's passages; a passage with many neighbours in a chord has as many in its own.
const MOST_IN_PICTURES: usize = 100_000;
/// How dark a bar can be; 0 is without shade.
const SHADES: usize = 5;

/// What the sections of a part are made from.
struct View<'a> {
    sides: Sides<'a>,
    report: &'a PartReport,
    /// Of all ids in it, as `p1`.
    id: String,
    /// The rows of the outline that are looked at.
    rows: Range<usize>,
    range: Option<(&'a str, crate::instrument::Range)>,
    /// Of each passage shown its place among those found.
    passages: Vec<usize>,
    /// The engraved score, or why there is none.
    score: Result<Score, String>,
    /// Notes that may still be drawn in pictures of passages.
    room: Cell<usize>,
}

/// The section of a part.
pub fn section(
    material: &Material,
    audit: &Audit,
    place: usize,
    is_open: bool,
    staves: Option<&Result<Staves, String>>,
    glyphs: &mut Glyphs,
) -> Markup {
    let alignment = &material.collation.parts[place];
    let (edition, source) = (alignment.edition_part(material.edition), alignment.source_part(material.source));
    let checked = material.instruments[place].map(|on| check(&edition, on.instrument, material.asked));
    let report = &audit.parts[place];
    let looked_at = report.looked_at();
    let outline = &material.collation.outline;
    let own = |row: usize| outline[row].edition.is_some_and(|b| looked_at.contains(&b.index()));
    let rows = match report.only {
        None => 0..outline.len(),
        Some(_) => {
            let first = (0..outline.len()).find(|r| own(*r)).unwrap_or(0);
            first..(first..outline.len()).rev().find(|r| own(*r)).map_or(first, |last| last + 1)
        }
    };
    let found = &material.findings[place];
    let drawn =
        staves.and_then(|s| s.as_ref().ok()).and_then(|s| Score::new(s, found, report, [&edition, &source], glyphs));
    let view = View {
        sides: Sides { edition, source, alignment, collation: material.collation, found, check: checked.as_ref() },
        report,
        id: format!("p{}", place + 1),
        rows,
        range: checked.as_ref().map(|c| (c.instrument.as_str(), c.range)),
        passages: passages_in(found, &(looked_at.start..=looked_at.end.saturating_sub(1))),
        room: Cell::new(MOST_IN_PICTURES),
        score: drawn.ok_or_else(|| match staves {
            Some(Err(fault)) => fault.clone(),
            Some(Ok(_)) => "the engraver's answer cannot be read".into(),
            None => format!("this build cannot draw staves; {}", engrave::HOW_TO_GET),
        }),
    };
    let id = &view.id;
    let one = audit.parts.len() == 1;
    let before: usize = audit.parts[..place].iter().map(|part| part.findings.len()).sum();
    let listed = notes::MOST.saturating_sub(before);
    let found_any = !report.findings.is_empty();
    let heading = html! { h2 #(format!("{id}-title")) { (verdict::heading(report)) } };
    // In a teacher's order: first what was found, then the music, then the proofs.
    let body = html! {
            p #(format!("{id}-found")) { (phrases::key_relation(report)) (view.signatures()) }
            @for sentence in verdict::summary(report) { p.verdict { (sentence) } }
            (view.strip())
            @match &view.score {
                Ok(score) => (score.markup(id)),
                Err(reason) => { h3 { "Score" } p.hint { "Not drawn: " (reason) "." } }
            }
            (view.passages())
            (view.compass(one.then_some(verdict::NO_INSTRUMENT)))
            (view.fingers())
            @if found_any {
                h3 #(format!("{id}-bars")) { "Bars" }
                (bars::filters(report, id))
                (bars::table(&view.sides, report, id))
                h3 #(format!("{id}-notes")) { "Critical notes" }
                (notes::table(report, id, listed, &|row| view.score.as_ref().ok()?.mark(row, id)))
            }
    };
    html! {
        section.part #(id) aria-labelledby=(format!("{id}-title")) {
            @if one {
                (heading) (body)
            } @else {
                details open[is_open] {
                    summary { (heading) " " span.hint { (folds::found(report)) } }
                    (body)
                }
            }
        }
    }
}

impl View<'_> {
    /// The keys at the first bar, as they sound.
    fn signatures(&self) -> String {
        let (ours, theirs) = (self.sides.edition, self.sides.source);
        if ours.bars.is_empty() || theirs.bars.is_empty() {
            return String::new();
        }
        let [ours, theirs] = [ours.part(), theirs.part()].map(|part| key_name(part.sounding_fifths(0)));
        match ours == theirs {
            true => format!(" Both begin with {ours}, as they sound."),
            false => format!(" It begins with {ours}, the source with {theirs}, as they sound."),
        }
    }

    /// Every bar, shaded by what was added in it.
    fn strip(&self) -> Markup {
        let added = |bar: &BarReport| of_status(bar, Status::Added);
        if self.report.findings.is_empty() {
            return html! {};
        }
        // Where little was added no bar looks as if it were much.
        let most = self.report.bars.iter().map(added).max().unwrap_or(0).max(SHADES);
        let id = &self.id;
        let rows = bars::rows(&self.sides, self.report);
        html! {
            h3 #(format!("{id}-strip")) { "All bars" }
            p.hint {
                "The darker a bar, the more was added in it. +5: five additions. "
                "-: omitted. ~: altered. A dot: nothing found. "
                "+ or ~ without a number: nothing found but the passage that the bar is in."
            }
            nav aria-labelledby=(format!("{id}-strip {id}-title")) {
                ol.strip {
                    @for row in rows.iter().filter(|row| row.unfound != bars::Unfound::Outside || row.bar.is_some()) {
                        @for index in row.first..=row.last {
                            (cell(&format!("#{id}-b{}", row.first), &self.report.bar_numbers[index - self.report.first_bar], row, most))
                        }
                    }
                }
            }
        }
    }

    /// Those of one note are folded: there can be many.
    fn passages(&self) -> Markup {
        let all = &self.report.passages;
        let (small, large): (Vec<usize>, Vec<usize>) =
            (0..all.len()).partition(|place| all[*place].notes == 1 && all[*place].bars_cut.is_empty());
        html! {
            @if !all.is_empty() { h3 #(format!("{}-passages", self.id)) { "Passages" } }
            (self.passage_list(&large))
            @if !small.is_empty() {
                details.more {
                    summary { (phrases::count(small.len(), "passage")) " of one note" }
                    (self.passage_list(&small))
                }
            }
        }
    }

    fn passage_list(&self, places: &[usize]) -> Markup {
        let id = &self.id;
        html! {
            @if !places.is_empty() {
                ol.passages {
                    @for place in places {
                        @let (bars, what) = phrases::passage(&self.report.passages[*place], self.report.range.as_ref());
                        li #(format!("{id}-s{}", place + 1)) {
                            p { span.hint { (place + 1) ". " } b { (capital(&bars)) ": " } (what) "." }
                            (self.picture(&self.sides.found.passages[self.passages[*place]]))
                            @if let Ok(score) = &self.score
                                && let Some(excerpt) = score.excerpt(self.passages[*place], id) { (excerpt) }
                        }
                    }
                }
            }
        }
    }

    /// The notes of a passage with a bar before it and one after.
    fn picture(&self, passage: &Passage) -> Markup {
        let outline = &self.sides.collation.outline;
        let stretch = passage.other_music.and_then(|s| self.sides.alignment.other_music.get(s));
        let RowRange { first, last } = passage.rows(self.sides.collation, self.sides.alignment, &self.sides.edition);
        let from = first.saturating_sub(1);
        let chart = self.sides.chart(from..(last + 2).min(outline.len()));
        let Some(frame) = Frame::new(&chart, self.range) else {
            return html! { p.hint { "No pitches to draw." } };
        };
        let Some(left) = self.room.get().checked_sub(chart.tones.len()) else {
            return html! { p.hint { "Not drawn: the pictures before it have too many notes." } };
        };
        self.room.set(left);
        let (begins, ends) = (&chart.columns[first - from], &chart.columns[last - from]);
        let inside = |column: &super::chart::Column, row: usize, place: Place| {
            let is_its = outline[row].edition == Some(EditionBar::new(place.bar));
            let from = if is_its { outline[row].edition_from } else { place.offset };
            (column.from + super::chart::float(place.offset - from)).clamp(column.from, column.to)
        };
        let start = inside(begins, first, passage.at.from);
        let end = match stretch {
            Some(stretch) => match stretch.to {
                None => ends.to,
                Some(to) => {
                    let bar = outline[last].edition.map_or(passage.at.to.bar, EditionBar::index);
                    inside(ends, last, Place { bar, offset: to })
                }
            },
            None => {
                let onset = inside(ends, last, passage.at.to);
                let there = chart.tones.iter().filter(|t| !t.kind.is_source() && (t.from - onset).abs() < 0.01);
                there.map(|t| t.to).fold(onset, f64::max)
            }
        };
        let shown = if end > start { (start, end) } else { (begins.from, ends.to) };
        plot::excerpt(&chart, &frame, shown, &plot::notes_in_words(&chart, shown))
    }

    /// `unchecked`: what is said where no instrument is known.
    fn compass(&self, unchecked: Option<&str>) -> Markup {
        let id = &self.id;
        let chart: Chart = self.sides.chart(self.rows.clone());
        html! {
            h3 #(format!("{id}-compass")) { "Compass" }
            @if let Some(range) = &self.report.range {
                @for sentence in verdict::range(range) { p { (sentence) } }
            } @else if let Some(unchecked) = unchecked {
                p { (unchecked) }
            }
            (compass(&chart, self.range))
        }
    }

    /// The stretches that will hurt, where fingerings were looked at.
    fn fingers(&self) -> Markup {
        let hardest = self.report.range.as_ref().and_then(|range| range.hardest.as_ref());
        let Some((lead, items)) = hardest.map(fingers::in_words) else { return html! {} };
        html! {
            h3 { "Fingers" }
            p { (lead) }
            ul { @for (place, what) in &items { li { b { (capital(place)) ": " } (what) "." } } }
        }
    }
}

/// Source and edition as pitches over time, with what the lines mean.
pub fn compass(chart: &Chart, range: Option<(&str, crate::instrument::Range)>) -> Markup {
    let names = range.map_or(String::new(), |(name, r)| format!(" The shaded band is the range of the {name}, {r}."));
    html! {
        @if let Some(frame) = Frame::new(chart, range) {
            p.hint {
                "Pitch over time. Broad, pale line: the source, in the edition's key. Thin line: the edition. Where they "
                "part, the edition has different notes." (names)
            }
            ul.key aria-hidden="true" {
                li { span.swatch.source {} "source" }
                li { span.swatch.omitted {} "source, omitted" }
                li { span.swatch.edition {} "edition, as in the source" }
                li { span.swatch.altered {} "edition, altered" }
                li { span.swatch.added {} "edition, added" }
            }
            div.plots { (plot::lines(chart, &frame, &about(chart))) }
        } @else {
            p { "The part has no pitches to draw." }
        }
    }
}

/// What the whole plot shows, for those who do not see it.
fn about(chart: &Chart) -> String {
    let own = chart.tones.iter().filter(|t| !t.kind.is_source()).map(|t| t.pitch);
    let low = own.clone().min_by_key(|p| p.sound());
    let high = own.max_by_key(|p| p.sound());
    match (low, high) {
        (Some(low), Some(high)) => format!("Compass plot; the edition goes from {low} to {high}"),
        _ => "Compass plot".into(),
    }
}

fn of_status(bar: &BarReport, status: Status) -> usize {
    bar.counts.values().filter_map(|c| c.get(&status)).sum()
}

fn cell(link: &str, number: &str, row: &bars::BarsRow, most: usize) -> Markup {
    let counts = [Status::Added, Status::Omitted, Status::Altered].map(|s| (s, row.bar.map_or(0, |b| of_status(b, s))));
    let added = counts[0].1;
    let shade = (added * SHADES).div_ceil(most);
    html! {
        li {
            a href=(link) class=(format!("shade{shade}")) {
                span.vh { "bar " }
                b { (number) }
                " "
                @if row.bar.is_none() { span aria-hidden="true" { (row.unfound.sign()) } span.vh { (row.unfound.words()) } }
                @for (status, n) in counts.iter().filter(|c| c.1 > 0) {
                    span { (sign(*status)) (n) span.vh { " " (status.name()) " " } }
                }
            }
        }
    }
}
