//! How hard a line lies under the fingers.
//!
//! Every change of fingers has its points (`Effort`). A change that has only
//! `t` quarter notes of time goes at points/t; the difficulty of a stretch is
//! the quadratic mean of that over its time, so that one fast awkward change
//! weighs more than several slow ones. It grows in proportion to the tempo.

use super::effort::Effort;
use super::fingerings::Chart;
use super::line::{LEAP, Line, semitones};
use crate::pitch::key_alter;

/// Points of a step where no fingerings are known.
const A_STEP: f64 = 1.0;
/// Semitones of the largest step.
const STEP: i32 = 2;
/// Notes have at most so many fingerings.
const MOST: usize = 4;

/// The fingers of a line at some pitch.
#[derive(Debug, Clone, Default)]
pub struct Fingers {
    /// For each event its fingering in the chart; `None` where there is none.
    pub chosen: Vec<Option<usize>>,
    /// For each event what it adds to the square of the difficulty: points
    /// squared by quarter notes.
    pub load: Vec<f64>,
}

/// The fingerings with which a line lies easiest. `n` are its notes as
/// semitones above the instrument's lowest one.
pub fn finger(line: &Line, chart: &Chart, n: &[i32]) -> Fingers {
    let mut out = Fingers { chosen: vec![None; n.len()], load: vec![0.0; n.len()] };
    let mut start = 0;
    while start < n.len() {
        if chart.of(n[start]).is_empty() {
            start += 1;
            continue;
        }
        // Nothing is known of the way to a note without a fingering.
        let end = (start..n.len()).find(|e| chart.of(n[*e]).is_empty()).unwrap_or(n.len());
        run(line, chart, n, start..end, &mut out);
        start = end;
    }
    out
}

fn run(line: &Line, chart: &Chart, n: &[i32], events: std::ops::Range<usize>, out: &mut Fingers) {
    let load = |place: usize, from: usize, to: usize| {
        let points = chart.points(from, to);
        points * points / line.events[place].since
    };
    let mut costs = [0.0; MOST];
    // An alternative at the very start has no reason.
    costs[1..].fill(1.0);
    let mut came: Vec<[u8; MOST]> = Vec::with_capacity(events.len());
    for place in events.clone().skip(1) {
        let (before, here) = (chart.of(n[place - 1]), chart.of(n[place]));
        let mut next = [f64::INFINITY; MOST];
        let mut from = [0u8; MOST];
        for (h, to) in here.iter().enumerate() {
            for (b, own) in before.iter().enumerate() {
                let cost = costs[b] + load(place, *own, *to);
                if cost < next[h] {
                    (next[h], from[h]) = (cost, b as u8);
                }
            }
        }
        came.push(from);
        costs = next;
    }
    let last = chart.of(n[events.end - 1]);
    let mut best = (0..last.len()).fold(0, |best, c| if costs[c] < costs[best] { c } else { best });
    for place in events.clone().rev() {
        out.chosen[place] = Some(chart.of(n[place])[best]);
        if place > events.start {
            best = came[place - events.start - 1][best] as usize;
        }
    }
    for place in events.skip(1) {
        if let (Some(from), Some(to)) = (out.chosen[place - 1], out.chosen[place]) {
            out.load[place] = load(place, from, to);
        }
    }
}

/// Where no fingerings are known: what there is to do. A step is one point, a leap one more for each fourth beyond it, a
/// note that the signature does not have half a point more. `fifths` is the signature of a bar.
pub fn without_chart(line: &Line, fifths: impl Fn(usize) -> i32) -> Fingers {
    let points = |place: usize| {
        let [from, to] = [place - 1, place].map(|at| line.top(&line.events[at]).1);
        let far = f64::from(semitones(from, to).abs() - STEP).max(0.0) / f64::from(LEAP);
        let foreign = to.alter != key_alter(fifths(line.events[place].bar), to.step);
        if from == to { 0.0 } else { A_STEP + far + if foreign { 0.5 } else { 0.0 } }
    };
    let load = |place: usize| if place == 0 { 0.0 } else { points(place).powi(2) / line.events[place].since };
    Fingers { chosen: vec![None; line.events.len()], load: (0..line.events.len()).map(load).collect() }
}

impl Fingers {
    /// What it costs to come to an event, by its causes.
    pub fn effort(&self, chart: &Chart, event: usize) -> Effort {
        let from = event.checked_sub(1).and_then(|before| self.chosen[before]);
        match from.zip(self.chosen[event]) {
            Some((from, to)) => Effort::of_change(chart.fingering(from), chart.fingering(to)),
            None => Effort::default(),
        }
    }
}

/// The difficulty of some load within so many quarter notes, in points per second.
pub fn difficulty(load: f64, quarters: f64, quarters_per_second: f64) -> f64 {
    if quarters <= 0.0 { 0.0 } else { (load / quarters).sqrt() * quarters_per_second }
}

/// The difficulty of the major scale from an instrument's lowest note, two octaves
/// up and down in eighth notes at 60 quarter notes a minute.
pub fn plain_scale(chart: Option<&Chart>) -> f64 {
    const EIGHTH: f64 = 0.5;
    let octave = [0, 2, 4, 5, 7, 9, 11];
    let up: Vec<i32> = octave.into_iter().chain(octave.map(|n| n + 12)).chain([24]).collect();
    let points: Vec<f64> = match chart {
        Some(chart) => {
            let scale: Vec<usize> = up.into_iter().filter_map(|n| chart.of(n).first().copied()).collect();
            let changes = scale.windows(2).flat_map(|two| [(two[0], two[1]), (two[1], two[0])]);
            changes.map(|(from, to)| chart.points(from, to)).collect()
        }
        None => vec![A_STEP; 2 * (up.len() - 1)],
    };
    let load = points.iter().map(|points| points.powi(2) / EIGHTH).sum();
    difficulty(load, EIGHTH * points.len() as f64, 1.0)
}

/// The middle value; of an even number the mean of the two in the middle.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[n / 2],
        n => (values[n / 2 - 1] + values[n / 2]) / 2.0,
    }
}
