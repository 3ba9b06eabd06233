//! What is laid side by side: bars, or pieces of bars where the two sides set
//! their barlines otherwise.

use crate::score::Part;
use crate::time::Time;
use std::cmp::Ordering;
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};

/// One struck note: its part, its time in the cell (in the source's values), its pitch class.
pub(super) type Content = Vec<(usize, Time, i32)>;

/// A bar or a piece of one. Places count from where a full bar would begin, so
/// that a pickup stands where it sounds.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    pub bar: usize,
    pub from: Time,
    pub to: Time,
    pub content: Content,
}

/// All bars of one side, those of its parts together.
pub(super) struct Side<'a> {
    pub cells: Vec<Cell>,
    parts: Vec<&'a Part>,
    /// Values of this side are so many times as long as the source's.
    pub scale: Time,
}

/// What one cell is worth that holds all notes of another among more.
const WITHIN: f64 = 0.65;

/// Two cells are the same music when they share at least this much.
pub(super) const LEAST_LIKENESS: f64 = 0.3;

impl<'a> Side<'a> {
    /// `height` gives a part's note in hundredths of a semitone, in the edition's key.
    pub fn new(parts: Vec<&'a Part>, scale: Time, height: impl Fn(usize, usize) -> i32) -> Side<'a> {
        let count = parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
        let mut bars: Vec<Content> = vec![Vec::new(); count];
        for (index, part) in parts.iter().enumerate() {
            for note in part.struck() {
                let bar = part.notes[note].bar;
                let mut place = part.notes[note].offset + part.pickup(bar);
                if scale != Time::from(1) {
                    place /= scale;
                }
                bars[bar].push((index, place, height(index, note).rem_euclid(1200)));
            }
        }
        let cells = bars.into_iter().enumerate().map(|(bar, mut content)| {
            content.sort_unstable();
            let first = parts.iter().find(|p| bar < p.bars.len());
            let to = first.map_or(Time::zero(), |p| (p.bars[bar].length + p.pickup(bar)) / scale);
            Cell { bar, from: Time::zero(), to, content }
        });
        Side { cells: cells.collect(), parts, scale }
    }

    /// What a short first bar lacks, in the source's values.
    pub fn pickup(&self, bar: usize) -> Time {
        self.parts.first().map_or(Time::zero(), |p| p.pickup(bar) / self.scale)
    }

    /// The length that most bars have.
    pub fn usual_length(&self) -> Time {
        let mut counts: HashMap<Time, usize> = HashMap::new();
        for cell in &self.cells {
            *counts.entry(cell.to - cell.from).or_default() += 1;
        }
        counts.into_iter().max_by_key(|(length, count)| (*count, *length)).map_or(Time::zero(), |c| c.0)
    }

    /// Cuts every bar into pieces of this length, the last of which may be shorter.
    pub fn cut(&mut self, length: Time) {
        let mut out = Vec::with_capacity(self.cells.len());
        for cell in &self.cells {
            let (mut from, pickup) = (Time::zero(), self.pickup(cell.bar));
            while from < cell.to || from.is_zero() {
                let to = if from + length >= cell.to { cell.to } else { from + length };
                if to > pickup || to == cell.to {
                    out.push(cell.piece(from, to));
                }
                from += length;
            }
        }
        self.cells = out;
    }
}

impl Cell {
    pub fn length(&self) -> Time {
        self.to - self.from
    }

    /// The piece between two places of the bar.
    pub fn piece(&self, from: Time, to: Time) -> Cell {
        let whole = to >= self.to;
        let inside = self.content.iter().filter_map(|(part, place, class)| {
            let place = *place + self.from;
            (place >= from && (whole || place < to)).then_some((*part, place - from, *class))
        });
        Cell { bar: self.bar, from, to, content: inside.collect() }
    }

    pub fn hash(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        self.content.hash(&mut hasher);
        hasher.finish()
    }
}

/// How much two cells share, from 0 to 1.
pub(super) fn likeness(e: &Content, s: &Content) -> f64 {
    let notes = e.len() + s.len();
    if notes == 0 {
        return 1.0;
    }
    let placed = common(e, s, |a| *a);
    let mut by_pitch = (e.clone(), s.clone());
    by_pitch.0.sort_unstable_by_key(|n| (n.0, n.2));
    by_pitch.1.sort_unstable_by_key(|n| (n.0, n.2));
    let sounding = common(&by_pitch.0, &by_pitch.1, |a| (a.0, a.2));
    let both = 2.0 * (0.75 * placed as f64 + 0.25 * sounding as f64) / notes as f64;
    // Small notes all around a plain melody.
    let within = if placed > 1 { WITHIN * placed as f64 / e.len().min(s.len()) as f64 } else { 0.0 };
    both.max(within)
}

/// Whether at least half of the notes of the side that has fewer are the other's, too.
pub(super) fn frames(e: &Content, s: &Content) -> bool {
    let few = e.len().min(s.len());
    few > 0 && 2 * common(e, s, |a| *a) >= few
}

/// How many notes two sorted cells have in common.
fn common<K: Ord>(e: &Content, s: &Content, key: impl Fn(&(usize, Time, i32)) -> K) -> usize {
    let (mut i, mut j, mut count) = (0, 0, 0);
    while i < e.len() && j < s.len() {
        match key(&e[i]).cmp(&key(&s[j])) {
            Ordering::Less => i += 1,
            Ordering::Greater => j += 1,
            Ordering::Equal => {
                count += 1;
                i += 1;
                j += 1;
            }
        }
    }
    count
}

/// The largest length of which both are multiples.
pub(super) fn common_measure(a: Time, b: Time) -> Time {
    let (mut a, mut b) = (a, b);
    while !b.is_zero() {
        (a, b) = (b, a % b);
    }
    a
}
