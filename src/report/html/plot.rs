//! A compass plot: pitch over time, as a picture that keeps its lines thin
//! however it is stretched, with its text beside it.

use super::chart::{Chart, Column, Kind, Tone, semitones};
use crate::instrument::Range;
use crate::pitch::Pitch;
use maud::{Markup, html};
use std::fmt::Write;

/// Bars of one line at most.
const BARS: usize = 24;
/// Above and below the notes, in semitones.
const MARGIN: f64 = 1.5;
/// A bound of the range is in the picture if it is no farther from the notes, in semitones.
const NEAR: f64 = 8.0;
/// Names beside the picture are at least so far from each other, of its height.
const NEAREST_NAMES: f64 = 0.1;
/// Units of the picture for a quarter note and for a semitone.
const UNIT: f64 = 24.0;
/// Notes that a text alternative names on each side.
const NAMED: usize = 16;

/// The pitches that all lines of a plot show, and the range shaded in them.
pub struct Frame<'a> {
    low: f64,
    high: f64,
    range: Option<(&'a str, Range)>,
}

impl Frame<'_> {
    /// `None` where there is nothing to show.
    pub fn new<'a>(chart: &Chart, range: Option<(&'a str, Range)>) -> Option<Frame<'a>> {
        let (mut low, mut high) = chart.compass()?;
        if let Some((_, range)) = &range {
            low = low.min(semitones(range.lowest).max(low - NEAR));
            high = high.max(semitones(range.highest).min(high + NEAR));
        }
        Some(Frame { low: low - MARGIN, high: high + MARGIN, range })
    }

    /// From the top, 0 to 1.
    fn place(&self, pitch: Pitch) -> f64 {
        (self.high - semitones(pitch)) / (self.high - self.low)
    }

    fn y(&self, pitch: Pitch) -> f64 {
        (self.high - semitones(pitch)) * UNIT
    }

    /// All Cs in the picture.
    fn octaves(&self) -> impl Iterator<Item = Pitch> + '_ {
        (-1..11).map(|octave| Pitch::new(0, 0, octave)).filter(|c| (0.0..=1.0).contains(&self.place(*c)))
    }

    /// The names beside the picture: the range's bounds, and the Cs that do not touch them.
    fn names(&self) -> Vec<(Pitch, bool)> {
        let mut out: Vec<(Pitch, bool)> = Vec::new();
        let shown = |pitch: &Pitch| (0.0..=1.0).contains(&self.place(*pitch));
        let limits = self.range.iter().flat_map(|(_, r)| [r.lowest, r.highest]).filter(shown);
        out.extend(limits.map(|pitch| (pitch, true)));
        let bounds = out.len();
        for c in self.octaves() {
            if out[..bounds].iter().all(|b| (self.place(b.0) - self.place(c)).abs() > NEAREST_NAMES) {
                out.push((c, false));
            }
        }
        out
    }
}

/// The whole chart in as many lines as it needs, all of one scale.
pub fn lines(chart: &Chart, frame: &Frame, about: &str) -> Markup {
    let bars = chart.columns.len();
    let rows = bars.div_ceil(BARS).max(1);
    let lines: Vec<&[Column]> = chart.columns.chunks(bars.div_ceil(rows).max(1)).collect();
    let lasts = |line: &[Column]| line.last().map_or(0.0, |l| l.to) - line.first().map_or(0.0, |f| f.from);
    let longest = lines.iter().map(|l| lasts(l)).fold(0.0, f64::max);
    html! {
        @for line in &lines {
            div.plot style=(format!("width:{:.2}%", 100.0 * lasts(line) / longest)) {
                (drawn(chart, line, frame, &said(about, line), None))
            }
        }
    }
}

/// A few bars with the passage set off in them.
pub fn excerpt(chart: &Chart, frame: &Frame, passage: (f64, f64), about: &str) -> Markup {
    html! { div.plot.small { (drawn(chart, &chart.columns, frame, about, Some(passage))) } }
}

fn said(about: &str, line: &[Column]) -> String {
    let mut numbers = line.iter().filter_map(|c| c.number.as_deref());
    match (numbers.next(), numbers.next_back()) {
        (Some(first), Some(last)) => format!("{about}, bars {first} to {last}"),
        (Some(only), None) => format!("{about}, bar {only}"),
        _ => about.into(),
    }
}

fn drawn(chart: &Chart, columns: &[Column], frame: &Frame, about: &str, passage: Option<(f64, f64)>) -> Markup {
    let (Some(first), Some(last)) = (columns.first(), columns.last()) else { return html! {} };
    let (start, width) = (first.from, (last.to - first.from).max(0.25));
    let height = (frame.high - frame.low) * UNIT;
    let x = |time: f64| (time - start) * UNIT;
    let tones = &chart.tones[first.tones.start..last.tones.end];
    let path = |kinds: &[Kind]| {
        let mut d = String::new();
        for tone in tones.iter().filter(|t| kinds.contains(&t.kind)) {
            let _ = write!(d, "M{} {}h{}", short(x(tone.from)), short(frame.y(tone.pitch)), short(lasting(tone)));
        }
        d
    };
    let layers = [
        ("source", path(&[Kind::Source])),
        ("source omitted", path(&[Kind::Omitted])),
        ("edition", path(&[Kind::Same])),
        ("edition altered", path(&[Kind::Altered])),
        ("edition added", path(&[Kind::Added])),
    ];
    let barlines: String = columns
        .iter()
        .filter(|c| c.number.is_some())
        .fold(String::new(), |d, c| d + &format!("M{} 0V{height:.0}", short(x(c.from))));
    let octaves: String =
        frame.octaves().fold(String::new(), |d, c| d + &format!("M0 {}H{:.0}", short(frame.y(c)), width * UNIT));
    let every = columns.iter().filter(|c| c.number.is_some()).count().div_ceil(12).max(1);
    let numbered = columns.iter().filter_map(|c| Some((c.from, c.number.as_deref()?)));
    let percent = |part: f64| format!("{:.2}%", 100.0 * part);
    html! {
        div.pitches aria-hidden="true" {
            @for (pitch, bound) in frame.names() {
                span.bound[bound] style=(format!("top:{}", percent(frame.place(pitch)))) { (pitch) }
            }
        }
        svg role="img" aria-label=(about) viewBox=(format!("0 0 {:.0} {height:.0}", width * UNIT)) preserveAspectRatio="none" {
            @if let Some((_, range)) = &frame.range {
                rect.range x="0" y=(short(frame.y(range.highest) - UNIT / 2.0)) width=(format!("{:.0}", width * UNIT))
                    height=(short(frame.y(range.lowest) - frame.y(range.highest) + UNIT)) {}
            }
            @if let Some((from, to)) = passage {
                rect.passage x=(short(x(from))) y="0" width=(short((to - from) * UNIT)) height=(format!("{height:.0}")) {}
            }
            path.octaves d=(octaves) {}
            path.barlines d=(barlines) {}
            @for (class, d) in layers.iter().filter(|l| !l.1.is_empty()) { path class=(class) d=(d) {} }
        }
        div.numbers aria-hidden="true" {
            @for (place, (from, number)) in numbered.enumerate() {
                @if place % every == 0 {
                    span style=(format!("left:{}", percent((from - start) / width))) { (number) }
                }
            }
        }
    }
}

/// In units, with a gap before the next note unless it is held.
fn lasting(tone: &Tone) -> f64 {
    let length = (tone.to - tone.from) * UNIT;
    (length - 2.0).max(length / 2.0)
}

/// A coordinate without needless digits.
fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_string)
}

/// What a picture shows, in words: the notes of both sides in a stretch of time.
pub fn notes_in_words(chart: &Chart, (from, to): (f64, f64)) -> String {
    let side = |source: bool| {
        let own = chart.tones.iter().filter(|t| t.kind.is_source() == source && !t.held);
        let names: Vec<String> = own.filter(|t| t.from >= from && t.from < to).map(|t| t.pitch.to_string()).collect();
        match names.len() {
            0 => "nothing".into(),
            n if n <= NAMED => names.join(" "),
            n => format!("{} … ({n} notes)", names[..NAMED].join(" ")),
        }
    };
    format!("Edition: {}. Source: {}.", side(false), side(true))
}
