//! The stretches that will hurt, as `range` and `audit` name them.

use super::page::Page;
use super::phrases::{self, count, listed};
use super::{PartName, Point};
use crate::instrument::{Instrument, ReadAs};
use crate::keys::{BeatsPerMinute, Chart, HardStretch, Study, Tempo, TempoSource, View};
use crate::score::{NoteId, Part};
use crate::time;
use serde::Serialize;
use std::fmt;

/// So many stretches are named.
const MOST: usize = 5;

/// What the hardest stretches are worked out from.
#[derive(Debug, Clone, Copy)]
pub struct Hands<'a> {
    pub chart: &'a Chart,
    pub tempo: &'a Tempo,
}

/// How fast the notes were taken to go.
#[derive(Debug, Clone, Serialize)]
pub struct TempoReport {
    /// Quarter notes per minute.
    pub quarters: f64,
    pub source: TempoSource,
    /// The same in what is counted.
    #[serde(flatten)]
    pub in_beats: BeatsReport,
}

/// So many of a note value a minute.
#[derive(Debug, Clone, Serialize)]
pub struct BeatsReport {
    /// As in `dotted quarter`.
    pub beat: String,
    /// An exact fraction of a quarter note.
    pub beat_quarters: String,
    pub per_minute: f64,
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
    /// The tempo to begin at.
    pub start: BeatsReport,
    /// The same in quarter notes per minute, rounded down.
    pub start_quarters: u32,
    /// The tempo of the piece, in the beats of `start`.
    pub tempo: BeatsReport,
    /// It would have to begin slower than anybody does.
    pub lies_badly: bool,
    pub why: String,
}

impl From<&Tempo> for TempoReport {
    fn from(tempo: &Tempo) -> TempoReport {
        let in_beats = tempo.in_beats().into();
        TempoReport { quarters: hundredths(tempo.quarters), source: tempo.source, in_beats }
    }
}

impl From<BeatsPerMinute> for BeatsReport {
    fn from(BeatsPerMinute { beat, per_minute }: BeatsPerMinute) -> BeatsReport {
        let beat_quarters = time::text(beat.length());
        BeatsReport { beat: beat.to_string(), beat_quarters, per_minute: hundredths(per_minute) }
    }
}

/// As in `dotted quarter = 40`.
impl fmt::Display for BeatsReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} = {}", self.beat, self.per_minute)
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
        format!("{} ({source})", self.in_beats)
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
            start: s.start.into(),
            start_quarters: (s.start.per_minute * s.start.beat.quarters()).floor() as u32,
            tempo: s.tempo.into(),
            lies_badly: s.lies_badly,
            why: why(s),
        })
        .collect();
    Some(Hardest { tempo: hands.tempo.into(), stretches })
}

/// What makes a stretch hard, most of all first.
pub fn why(s: &HardStretch) -> String {
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
        causes.push((e.fingers, busy(s)));
    }
    causes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let causes: Vec<String> = causes.into_iter().map(|c| c.1).collect();
    format!("{}; hardest {} to {}", causes.join(", "), s.worst.0, s.worst.1)
}

/// Where nothing else makes it hard.
fn busy(s: &HardStretch) -> String {
    match s.leaps {
        _ if s.effort.fingers > 0.0 => "many fingers".into(),
        0 => format!("{} notes", s.notes),
        leaps => format!("{} notes, {}", s.notes, count(leaps, "leap")),
    }
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
         bar or a plain scale:"
    );
    let items = hardest
        .stretches
        .iter()
        .map(|s| (across(&s.from, &s.to), format!("{}; {}{}", s.why, s.begin(), again(&s.again))));
    (lead, items.collect())
}

impl HardStretchReport {
    /// How fast to begin, or that no tempo helps.
    fn begin(&self) -> String {
        let start = &self.start;
        match self.lies_badly {
            true => format!("lies badly on this instrument, even at {start}"),
            false if start.per_minute >= self.tempo.per_minute.floor() => format!("start at the tempo itself, {start}"),
            false => format!("start at {start}"),
        }
    }
}

/// Where the same music comes again, behind what is said of it.
pub fn again(again: &[Point]) -> String {
    let bars = phrases::bar_list(again.iter().map(|p| (p.bar_index, p.bar.as_str())));
    match again {
        [] => String::new(),
        [first, others @ ..] if others.iter().all(|p| p.bar_index == first.bar_index) => {
            format!("; again in bar {bars}")
        }
        _ => format!("; again in bars {bars}"),
    }
}

/// A stretch is short: its beats are told across a barline too.
pub fn across(from: &Point, to: &Point) -> String {
    if from.bar_index == to.bar_index {
        return phrases::stretch(from, to);
    }
    format!("bar {}, beat {} to bar {}, beat {}", from.bar, from.beat, to.bar, to.beat)
}

/// The name of a part with its instrument.
pub(super) fn headed(part: &PartName, instrument: &str) -> String {
    format!("{} on the {instrument}", part.spoken())
}
