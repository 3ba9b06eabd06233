//! Pieces too short, or too much changed, to share melodies: whole bars tell,
//! or the notes that stand in the same place.

use super::melodies::longest_in_order;
use crate::pitch::Interval;
use crate::score::{Note, Part, Place};
use crate::time::Time;
use std::collections::HashMap;

/// The least share of an edition's bars that have the shape of one of the source's.
const LEAST_BARS: f64 = 0.34;
const FEWEST_BARS: f64 = 3.0;
/// The least share of them that stand in the same order.
const LEAST_IN_ORDER: f64 = 0.5;
/// The least share of a source's notes that stand in their place in the
/// edition; unrelated pieces have a fifth, by chance.
const LEAST_PLACED: f64 = 0.5;
const FEWEST_NOTES: f64 = 6.0;

/// The interval between two parts that share at least some bars, and how much they share.
pub(super) fn between(edition: &Part, source: &Part) -> Option<(Interval, f64)> {
    by_bars(edition, source).or_else(|| by_place(edition, source))
}

fn interval(ours: &Note, theirs: &Note) -> Option<Interval> {
    let (ours, theirs) = (ours.pitch()?, theirs.pitch()?);
    let semitones = (ours.sound() - theirs.sound()).div_euclid(100);
    Some(Interval::new(ours.staff_place() - theirs.staff_place(), semitones))
}

/// The interval with most votes, its votes and those of the next; between
/// equals the smaller.
fn first_two(votes: HashMap<Interval, f64>) -> Option<(Interval, f64, f64)> {
    let mut votes: Vec<(Interval, f64)> = votes.into_iter().collect();
    votes.sort_by(|a, b| b.1.total_cmp(&a.1).then((a.0.semitones.abs(), a.0).cmp(&(b.0.semitones.abs(), b.0))));
    let next = votes.get(1).map_or(0.0, |v| v.1);
    votes.first().map(|(interval, count)| (*interval, *count, next))
}

/// A bar by its notes, each as its place and its distance from the first.
type Shape = Vec<(Time, i32)>;

/// Each with the first note of its bar.
fn shapes(part: &Part) -> Vec<(Shape, &Note)> {
    let shape = |bar: usize| {
        let pitched = part.struck_in(bar).map(|n| &part.notes[n]).filter_map(|n| Some((n, n.pitch()?.sound())));
        let notes: Vec<(&Note, i32)> = pitched.collect();
        let (first, from) = *notes.first()?;
        let shape: Shape = notes.iter().map(|(note, sound)| (note.offset, sound - from)).collect();
        // A note alone has no shape, nor has one that is repeated.
        shape.iter().any(|(_, height)| *height != 0).then_some((shape, first))
    };
    (0..part.bars.len()).filter_map(shape).collect()
}

fn by_bars(edition: &Part, source: &Part) -> Option<(Interval, f64)> {
    let mut places: HashMap<Shape, Vec<&Note>> = HashMap::new();
    for (shape, first) in shapes(source) {
        places.entry(shape).or_default().push(first);
    }
    let mut votes: HashMap<Interval, f64> = HashMap::new();
    let mut meetings = Vec::new();
    let ours = shapes(edition);
    for (shape, e) in &ours {
        for s in places.get(shape).into_iter().flatten() {
            if let Some(interval) = interval(e, s) {
                *votes.entry(interval).or_default() += 1.0 / places[shape].len() as f64;
                meetings.push((interval, e.bar, s.bar));
            }
        }
    }
    let (interval, count, _) = first_two(votes)?;
    let share = count / ours.len() as f64;
    let own = meetings.into_iter().filter(|m| m.0 == interval).map(|m| (m.1, m.2));
    let in_order = longest_in_order(own.collect()) as f64;
    (count >= FEWEST_BARS && share >= LEAST_BARS && in_order >= LEAST_IN_ORDER * ours.len() as f64)
        .then_some((interval, share))
}

fn by_place(edition: &Part, source: &Part) -> Option<(Interval, f64)> {
    if edition.bars.len() != source.bars.len() {
        return None;
    }
    let mut places: HashMap<Place, &Note> = HashMap::new();
    for e in edition.struck().map(|e| &edition.notes[e]) {
        places.entry(e.place()).or_insert(e);
    }
    let (mut votes, mut all): (HashMap<Interval, f64>, f64) = (HashMap::new(), 0.0);
    for s in source.struck().map(|s| &source.notes[s]) {
        all += 1.0;
        if let Some(interval) = places.get(&s.place()).and_then(|e| interval(e, s)) {
            *votes.entry(interval).or_default() += 1.0;
        }
    }
    let (interval, count, next) = first_two(votes)?;
    let share = count / all;
    (count >= FEWEST_NOTES && share >= LEAST_PLACED && count >= 2.0 * next).then_some((interval, share))
}
