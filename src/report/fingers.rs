//! The stretches that will hurt, as `range` and `audit` name them.

use super::page::Page;
use super::phrases::{self, count, listed};
use super::{PartName, Point};
use crate::instrument::{Instrument, ReadAs};
use crate::keys::{Chart, HardStretch, Study, Tempo, TempoSource, View};
use crate::score::{NoteId, Part};
use serde::Serialize;

/// So many stretches are named.
const MOST: usize = 5;

/// What the hardest stretches are worked out from.
#[derive(Debug, Clone, Copy)]
pub struct Hands<'a> {
    pub chart: &'a Chart,
    pub tempo: Tempo,
}

/// How fast the notes were taken to go.
#[derive(Debug, Clone, Serialize)]
pub struct TempoReport {
    /// Quarter notes per minute.
    pub quarters: f64,
    pub source: TempoSource,
}

/// The hardest stretches of a part at a tempo.
#[derive(Debug, Clone, Serialize)]
pub struct Hardest {
    /// At which the points are counted.
    pub tempo: TempoReport,
    /// The hardest first.
    pub stretches: Vec<HardStretchReport>,
}

#[derive(Debug, Clone, Serialize)]
pub struct HardStretchReport {
    pub from: Point,
    pub to: Point,
    /// Where the same music comes again.
    pub again: Vec<Point>,
    /// Points per second.
    pub difficulty: f64,
    /// Quarter notes per minute at which it is as hard as the median bar.
    pub start_quarters: u32,
    pub why: String,
}

impl From<Tempo> for TempoReport {
    fn from(tempo: Tempo) -> TempoReport {
        TempoReport { quarters: hundredths(tempo.quarters), source: tempo.source }
    }
}

impl TempoReport {
    /// As in `quarter = 72 (the score's first metronome mark)`.
    pub fn said(&self) -> String {
        let source = match self.source {
            TempoSource::Given => "as asked",
            TempoSource::Score => "the score's first metronome mark",
            TempoSource::Assumed => "assumed: the score has no metronome mark; set it with --tempo",
        };
        format!("quarter = {} ({source})", self.quarters)
    }
}

/// To two decimals, as much as the measure can mean.
pub(super) fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// `None` for an instrument without a table of fingerings.
pub(super) fn hardest(part: &Part, instrument: &Instrument, reading: ReadAs, hands: Hands) -> Option<Hardest> {
    let study = Study::new(part, instrument, View::new(reading, instrument), hands.chart, hands.tempo);
    let at = |note: NoteId| Point::new(part, part.notes[note].place());
    let stretches = study
        .hardest(MOST)?
        .iter()
        .map(|s| HardStretchReport {
            from: at(s.first),
            to: at(s.last),
            again: s.again.iter().map(|n| at(*n)).collect(),
            difficulty: hundredths(s.difficulty),
            start_quarters: s.start.floor() as u32,
            why: why(s),
        })
        .collect();
    Some(Hardest { tempo: hands.tempo.into(), stretches })
}

/// What makes a stretch hard, most of all first.
fn why(s: &HardStretch) -> String {
    let e = &s.effort;
    let untrue = {
        let mut names: Vec<String> = s.untrue.iter().map(ToString::to_string).collect();
        names.dedup();
        listed(&names)
    };
    // What makes a fork awkward is that fingers go against each other.
    let against = match s.forks {
        0 => (e.contrary, "fingers in contrary motion".into()),
        n => (e.forks + e.contrary, count(n, "fork")),
    };
    let thumb = match s.registers {
        0 => "the thumb".into(),
        n => count(n, "change") + " of register",
    };
    let mut causes: Vec<(f64, String)> = vec![
        (e.bell, format!("{untrue} without a true fingering")),
        against,
        (e.register + e.thumb, thumb),
        (e.half_holes, count(s.half_holes, "half-hole")),
        (e.high, count(s.high, "high note")),
    ];
    causes.retain(|c| c.0 > 0.0);
    if causes.is_empty() {
        causes.push((e.fingers, "many fingers".into()));
    }
    causes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let causes: Vec<String> = causes.into_iter().map(|c| c.1).collect();
    format!("{}; hardest {} to {}", causes.join(", "), s.worst.0, s.worst.1)
}

/// The section of a text report.
pub(super) fn section(page: &mut Page, hardest: &Hardest) {
    let (lead, items) = in_words(hardest);
    page.paragraph(&lead);
    if !items.is_empty() {
        page.list(&items);
    }
}

/// A sentence, and for each stretch where it is and what makes it hard.
pub(super) fn in_words(hardest: &Hardest) -> (String, Vec<(String, String)>) {
    let tempo = hardest.tempo.said();
    if hardest.stretches.is_empty() {
        return (format!("At {tempo} no stretch is harder than the median bar."), Vec::new());
    }
    let lead = format!(
        "Hardest under the fingers at {tempo}. At the tempo to start from, each is no harder than the part's median \
         bar:"
    );
    let items = hardest.stretches.iter().map(|s| {
        let again = phrases::bar_list(s.again.iter().map(|p| (p.bar_index, p.bar.as_str())));
        let again = match &s.again[..] {
            [] => String::new(),
            [first, others @ ..] if others.iter().all(|p| p.bar_index == first.bar_index) => {
                format!("; again in bar {again}")
            }
            _ => format!("; again in bars {again}"),
        };
        (across(&s.from, &s.to), format!("{}; start at {}{again}", s.why, s.start_quarters))
    });
    (lead, items.collect())
}

/// A stretch is short: its beats are told across a barline too.
fn across(from: &Point, to: &Point) -> String {
    if from.bar_index == to.bar_index {
        return phrases::stretch(from, to);
    }
    format!("bar {}, beat {} to bar {}, beat {}", from.bar, from.beat, to.bar, to.beat)
}

/// The name of a part with its instrument.
pub(super) fn headed(part: &PartName, instrument: &str) -> String {
    format!("{} on the {instrument}", part.spoken())
}
