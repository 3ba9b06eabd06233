//! The engraved score of a part: systems, excerpts of passages, and what ties
//! them to the table of notes.

use super::copier::{Tag, Tags};
use super::flags::{Flag, folded};
use super::links::{Spot, links};
use super::picture::{Glyphs, Picture};
use super::system::system;
use crate::beside::Staves;
use crate::findings::{Finding, PartFindings};
use crate::report::PartReport;
use crate::report::table::sign;
use crate::score::Part;
use maud::{Markup, html};
use std::collections::{BTreeMap, BTreeSet};

/// The pictures of a part.
pub struct Score {
    systems: Vec<Picture>,
    /// Of each passage found, where it is short enough.
    excerpts: Vec<Option<Picture>>,
    /// Numbers of the first and the last bar of each system.
    numbers: Vec<(String, String)>,
    /// Of each row of the table of notes the row that the first mark it belongs to is named after.
    marks: BTreeMap<usize, usize>,
}

impl Score {
    /// Ties a drawing to a report; `None` when it cannot be understood.
    pub fn new(
        staves: &Staves,
        found: &PartFindings,
        report: &PartReport,
        [edition, source]: [&Part; 2],
        glyphs: &mut Glyphs,
    ) -> Option<Score> {
        let looked_at = report.looked_at();
        // The rows of the table are the findings in the bars looked at, in order.
        let kept = found.findings.iter().enumerate().filter(|(_, f)| looked_at.contains(&f.at.bar));
        let rows: BTreeMap<usize, usize> = kept.enumerate().map(|(row, (finding, _))| (finding, row)).collect();
        let tags: Tags = (0..)
            .zip(staves.subjects.iter())
            .map(|(name, about)| {
                let status = found.findings[about[0]].status;
                let rows = about.iter().filter_map(|f| rows.get(f).copied()).collect();
                let one = &found.findings[about[0]];
                let number = edition.bars.get(one.at.bar).map_or("", |bar| bar.number.as_str());
                let more = if about.len() > 1 { " and more" } else { "" };
                let said = format!("{} {}{more}, bar {number}", status.name(), one.category);
                (name, Tag { status: status.name(), sign: Some(sign(status)), rows, about: said })
            })
            .collect();
        let mut systems = Vec::new();
        for svg in &staves.pictures {
            systems.extend(glyphs.systems(svg, &tags)?);
        }
        let excerpts: Vec<Option<Picture>> =
            staves.passages.iter().map(|place| glyphs.systems(staves.excerpts.get((*place)?)?, &tags)?.pop()).collect();
        if systems.iter().map(|s| s.bars.len()).sum::<usize>() != staves.bars.len() {
            return None;
        }
        let ends = systems.iter().map(Picture::ends).reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])]);
        let ends = ends.unwrap_or_default();
        systems.iter_mut().for_each(|system| system.widen(ends));
        let mut flags: Vec<Vec<Flag>> = systems.iter().map(|_| Vec::new()).collect();
        for (finding, row) in rows {
            if !systems.iter().any(|s| s.drawn.contains(&row)) {
                flag(&systems, &mut flags, staves, &found.findings[finding], row);
            }
        }
        if flags.iter().any(|f| !f.is_empty()) {
            // With all digits.
            glyphs.uses(&folded(1_234_567_890));
        }
        for (system, mut flags) in systems.iter_mut().zip(flags) {
            flags.iter().for_each(|flag| glyphs.uses(&flag.text));
            flags.sort_by_key(|flag| flag.bar);
            system.say(flags);
        }
        let number = |bar: usize| {
            let (ours, theirs) = staves.bars[bar];
            ours.map(|b| edition.bars[b].number.clone())
                .or(theirs.and_then(|b| Some(format!("S{}", source.bars.get(b)?.number))))
                .unwrap_or_default()
        };
        let mut first = 0;
        let numbers = systems
            .iter()
            .map(|system| {
                let ends = (number(first), number((first + system.bars.len()).saturating_sub(1)));
                first += system.bars.len();
                ends
            })
            .collect();
        let mut marks = BTreeMap::new();
        for spot in systems.iter().flat_map(|s| &s.spots) {
            let own = spot.rows.iter().find(|row| !marks.contains_key(*row)).copied();
            spot.rows.iter().for_each(|row| _ = own.map(|own| marks.entry(*row).or_insert(own)));
        }
        Some(Score { systems, excerpts, numbers, marks })
    }

    /// All systems.
    pub fn markup(&self, id: &str) -> Markup {
        html! {
            h3 #(format!("{id}-score")) { "Score" }
            p.hint {
                "The source above, the edition below, bar by bar, in the edition's key. "
                span.added { "+ added" } ": vermillion, dashed or in brackets, notes in parentheses; "
                span.omitted { "- omitted" } ": bluish green, dotted or boxed; "
                span.altered { "~ altered" } ": blue, ringed, notes with diamond heads. "
                "What staves cannot show stands in words above them. Each mark leads to its row in the critical notes, and each row to its mark."
            }
            @let mut named = BTreeSet::new();
            @let mut name = |spot: &Spot| {
                let own = spot.rows.iter().find_map(|row| self.marks.get(row).filter(|own| *own == row))?;
                named.insert(*own).then(|| format!("{id}-m{own}"))
            };
            div.staves.score data-part=(id) role="group" aria-labelledby=(format!("{id}-score")) {
                @for (place, (drawn, (first, last))) in self.systems.iter().zip(&self.numbers).enumerate() {
                    (system(drawn, &bars(first, last), &format!("{id}-y{place}"), &mut |spots, is_again| links(id, spots, is_again, &mut name)))
                }
            }
        }
    }

    /// The systems alone, of the piece of that number.
    pub fn piece(&self, id: &str, piece: usize) -> Markup {
        html! {
            div.staves.score data-part=(id) {
                @for (place, (drawn, (first, last))) in self.systems.iter().zip(&self.numbers).enumerate() {
                    (system(drawn, &bars(first, last), &format!("{id}-k{piece}y{place}"), &mut |spots, is_again| links(id, spots, is_again, &mut |_| None)))
                }
            }
        }
    }

    /// The id of the first mark that a row of the table of notes belongs to.
    pub fn mark(&self, row: usize, id: &str) -> Option<String> {
        self.marks.get(&row).map(|own| format!("{id}-m{own}"))
    }

    /// The picture of a passage among those found.
    pub fn excerpt(&self, passage: usize, id: &str) -> Option<Markup> {
        let drawn = self.excerpts[passage].as_ref()?;
        let own = format!("{id}-x{passage}");
        Some(html! {
            div.staves data-part=(id) { (system(drawn, "The passage: source above, edition below", &own, &mut |spots, is_again| links(id, spots, is_again, &mut |_| None))) }
        })
    }
}

/// What a system is called.
fn bars(first: &str, last: &str) -> String {
    let bars = if first == last { format!("Bar {first}") } else { format!("Bars {first} to {last}") };
    format!("{bars}, source above, edition below")
}

/// Notes for its bar what the staves do not show.
fn flag(systems: &[Picture], flags: &mut [Vec<Flag>], staves: &Staves, finding: &Finding, row: usize) {
    let theirs = finding.source_at.map(|s| s.bar);
    let bar = staves.bars.iter().position(|(ours, _)| *ours == Some(finding.at.bar));
    let bar = bar.or_else(|| staves.bars.iter().position(|(_, source)| source.is_some() && *source == theirs));
    let reading = match (finding.edition_reading.as_deref(), finding.source_reading.as_deref()) {
        (Some(ours), Some(theirs)) => format!("{ours}; in the source {theirs}"),
        (one, other) => one.or(other).unwrap_or_default().to_string(),
    };
    let text = format!("{} {} {reading}", sign(finding.status), finding.category);
    // What is in other pieces is told there.
    let Some(mut bar) = bar.or((!staves.is_piece).then_some(0)) else { return };
    for (system, flags) in systems.iter().zip(flags) {
        if bar < system.bars.len() {
            return flags.push(Flag { bar, row, status: finding.status.name(), text });
        }
        bar -= system.bars.len();
    }
}
