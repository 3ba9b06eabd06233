//! Pieces too short, or too much changed, to share melodies: whole bars tell,
//! or the notes that stand in the same place.

use super::melodies::longest_in_order;
use crate::pitch::Interval;
use crate::score::{Note, Part, Place};
use crate::time::Time;
use rustc_hash::FxHashMap;
use std::cell::OnceCell;
use std::ops::Range;

/// The least share of an edition's bars that have the shape of one of the source's.
const LEAST_BARS: f64 = 0.34;
const FEWEST_BARS: f64 = 3.0;
/// The least share of them that stand in the same order.
const LEAST_IN_ORDER: f64 = 0.5;
/// The least share of a source's notes that stand in their place in the
/// edition; unrelated pieces have a fifth, by chance.
const LEAST_PLACED: f64 = 0.5;
const FEWEST_NOTES: f64 = 6.0;

/// What of a part tells whether another resembles it, made once for all that it is held against.
pub(super) struct Bars<'p> {
    part: &'p Part,
    /// The notes of all shapes.
    notes: Vec<Shaped>,
    /// Where each bar has its shape in `notes`, and the first note of the bar.
    shapes: Vec<(Range<usize>, &'p Note)>,
    /// The first note struck at each place.
    at_place: OnceCell<FxHashMap<Place, &'p Note>>,
}

/// A note of a bar as its place and its distance from the first.
type Shaped = (Time, i32);

/// The bars of each shape.
pub(super) type Places<'b> = FxHashMap<&'b [Shaped], Vec<&'b Note>>;

impl<'p> Bars<'p> {
    pub fn new(part: &'p Part) -> Bars<'p> {
        let mut out = Bars { part, notes: Vec::new(), shapes: Vec::new(), at_place: OnceCell::new() };
        for bar in 0..part.bars.len() {
            let start = out.notes.len();
            let mut pitched = part.struck_in(bar).map(|n| &part.notes[n]).filter_map(|n| Some((n, n.pitch()?.sound())));
            let Some((first, from)) = pitched.next() else { continue };
            out.notes.push((first.offset, 0));
            out.notes.extend(pitched.map(|(note, sound)| (note.offset, sound - from)));
            // A note alone has no shape, nor has one that is repeated.
            match out.notes[start..].iter().any(|(_, height)| *height != 0) {
                true => out.shapes.push((start..out.notes.len(), first)),
                false => out.notes.truncate(start),
            }
        }
        out
    }

    pub fn places(&self) -> Places<'_> {
        let mut out = Places::default();
        for (shape, first) in &self.shapes {
            out.entry(&self.notes[shape.clone()]).or_default().push(first);
        }
        out
    }

    fn at_place(&self, place: Place) -> Option<&'p Note> {
        let known = self.at_place.get_or_init(|| {
            let mut places = FxHashMap::default();
            for note in self.part.struck().map(|n| &self.part.notes[n]) {
                places.entry(note.place()).or_insert(note);
            }
            places
        });
        known.get(&place).copied()
    }
}

/// The interval between two parts that share at least some bars, and how much they share. `places`: those of the source.
pub(super) fn between(edition: &Bars, source: &Bars, places: &Places) -> Option<(Interval, f64)> {
    by_bars(edition, places).or_else(|| by_place(edition, source))
}

fn interval(ours: &Note, theirs: &Note) -> Option<Interval> {
    let (ours, theirs) = (ours.pitch()?, theirs.pitch()?);
    let semitones = (ours.sound() - theirs.sound()).div_euclid(100);
    Some(Interval::new(ours.staff_place() - theirs.staff_place(), semitones))
}

/// The interval with most votes, its votes and those of the next; between
/// equals the smaller.
fn first_two(votes: FxHashMap<Interval, f64>) -> Option<(Interval, f64, f64)> {
    let mut votes: Vec<(Interval, f64)> = votes.into_iter().collect();
    votes.sort_by(|a, b| b.1.total_cmp(&a.1).then((a.0.semitones.abs(), a.0).cmp(&(b.0.semitones.abs(), b.0))));
    let next = votes.get(1).map_or(0.0, |v| v.1);
    votes.first().map(|(interval, count)| (*interval, *count, next))
}

fn by_bars(edition: &Bars, places: &Places) -> Option<(Interval, f64)> {
    let mut votes: FxHashMap<Interval, f64> = FxHashMap::default();
    let mut meetings = Vec::new();
    let ours = &edition.shapes;
    for (shape, e) in ours {
        let Some(theirs) = places.get(&edition.notes[shape.clone()]) else { continue };
        for s in theirs {
            if let Some(interval) = interval(e, s) {
                *votes.entry(interval).or_default() += 1.0 / theirs.len() as f64;
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

fn by_place(edition: &Bars, source: &Bars) -> Option<(Interval, f64)> {
    if edition.part.bars.len() != source.part.bars.len() {
        return None;
    }
    let (mut votes, mut all): (FxHashMap<Interval, f64>, f64) = (FxHashMap::default(), 0.0);
    for s in source.part.struck().map(|s| &source.part.notes[s]) {
        all += 1.0;
        if let Some(interval) = edition.at_place(s.place()).and_then(|e| interval(e, s)) {
            *votes.entry(interval).or_default() += 1.0;
        }
    }
    let (interval, count, next) = first_two(votes)?;
    let share = count / all;
    (count >= FEWEST_NOTES && share >= LEAST_PLACED && count >= 2.0 * next).then_some((interval, share))
}
