//! Short melodies that two parts share: how many, by which interval, and
//! whether in the same order.

use crate::pitch::Interval;
use crate::score::{Part, Place, Score};
use rustc_hash::{FxBuildHasher, FxHashMap};
use std::cmp::Reverse;
use std::collections::hash_map::Entry;

/// So many melodies of a part show whether they stand in order.
const ENOUGH: usize = 256;
/// A melody that stands in more places of a part than this tells little.
const MOST_PLACES: usize = 64;

/// The struck notes of each voice, the highest of each chord.
pub(super) struct Melody {
    voices: Vec<Vec<Tone>>,
}

/// A note by its height in semitones, its place on the staff and its place in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Tone {
    height: i32,
    place: i32,
    at: Place,
}

pub(super) fn melody(part: &Part) -> Melody {
    let mut voices: Vec<Vec<Tone>> = Vec::new();
    let mut last: Vec<Option<Place>> = Vec::new();
    for own in part.struck().map(|n| &part.notes[n]) {
        let Some(pitch) = own.pitch() else { continue };
        let voice = own.voice as usize;
        if voices.len() <= voice {
            voices.resize(voice + 1, Vec::new());
            last.resize(voice + 1, None);
        }
        let here = Tone { height: pitch.sound().div_euclid(100), place: pitch.staff_place(), at: own.place() };
        let same_chord = last[voice] == Some(here.at);
        match voices[voice].last_mut() {
            Some(top) if same_chord => *top = (*top).max(here),
            _ => voices[voice].push(here),
        }
        last[voice] = Some(here.at);
    }
    Melody { voices }
}

impl Tone {
    fn above(self, other: Tone) -> Interval {
        Interval::new(self.place - other.place, self.height - other.height)
    }
}

impl Melody {
    pub(super) fn notes(&self) -> usize {
        self.voices.iter().map(Vec::len).sum()
    }

    /// Every run of `length` intervals with its first note.
    fn runs(&self, length: usize) -> impl Iterator<Item = (u64, Tone)> + '_ {
        self.voices.iter().flat_map(move |voice| {
            voice
                .windows(length + 1)
                .map(|notes| (hash(notes.windows(2).map(|pair| pair[1].height - pair[0].height)), notes[0]))
        })
    }
}

/// One number for a row of intervals, in semitones.
fn hash(intervals: impl Iterator<Item = i32>) -> u64 {
    intervals.fold(0xcbf2_9ce4_8422_2325, |hash: u64, step| (hash ^ (step + 128) as u64).wrapping_mul(0x0100_0000_01b3))
}

/// A note that is only repeated.
fn unmoved(length: usize) -> u64 {
    hash(std::iter::repeat_n(0, length))
}

/// A place of a melody: which part, and its first note.
type Seat = (usize, Tone);

/// Places of melodies, by their hash.
pub(super) struct Index {
    length: usize,
    parts: usize,
    /// Part by part, each with the next one of its melody.
    seats: Vec<(Seat, Option<usize>)>,
    chains: FxHashMap<u64, Chain>,
}

/// The first and the last place of a melody, how many its last part has, and where each further part's begin.
struct Chain {
    first: usize,
    last: usize,
    places: usize,
    /// Of all parts.
    seats: usize,
    further: Vec<usize>,
}

impl Index {
    pub(super) fn new(melodies: &[Melody], length: usize) -> Index {
        let notes = melodies.iter().map(Melody::notes).sum();
        let mut seats: Vec<(Seat, Option<usize>)> = Vec::with_capacity(notes);
        let mut chains: FxHashMap<u64, Chain> = FxHashMap::with_capacity_and_hasher(notes, FxBuildHasher);
        for (part, melody) in melodies.iter().enumerate() {
            for (hash, first) in melody.runs(length) {
                let at = seats.len();
                match chains.entry(hash) {
                    Entry::Vacant(free) => {
                        free.insert(Chain { first: at, last: at, places: 1, seats: 1, further: Vec::new() });
                    }
                    Entry::Occupied(mut known) => {
                        let chain = known.get_mut();
                        let same_part = seats[chain.last].0.0 == part;
                        if !same_part {
                            chain.further.push(at);
                        }
                        chain.places = if same_part { chain.places + 1 } else { 1 };
                        // Of a melody that is everywhere the first places are enough.
                        if chain.places > MOST_PLACES {
                            continue;
                        }
                        seats[chain.last].1 = Some(at);
                        chain.last = at;
                        chain.seats += 1;
                    }
                }
                seats.push(((part, first), None));
            }
        }
        Index { length, parts: melodies.len(), seats, chains }
    }

    /// The places of a melody, each part's together.
    fn seats(&self, hash: u64) -> impl Iterator<Item = Seat> {
        self.from(self.chains.get(&hash).map(|chain| chain.first))
    }

    fn from(&self, first: Option<usize>) -> impl Iterator<Item = Seat> {
        std::iter::successors(first, |at| self.seats[*at].1).map(|at| self.seats[at].0)
    }

    /// Those of one part, found without a look at each of the others.
    fn seats_of(&self, hash: u64, part: usize) -> impl Iterator<Item = Seat> {
        let first = self.chains.get(&hash).map(|chain| {
            let before = chain.further.partition_point(|at| self.seats[*at].0.0 <= part);
            before.checked_sub(1).map_or(chain.first, |last| chain.further[last])
        });
        self.from(first).take_while(move |seat| seat.0 <= part).filter(move |seat| seat.0 == part)
    }

    /// Of the moments at which the edition's melodies begin, how many part
    /// `at` has in the same order, by one interval; and how many there are.
    /// A repeated note is no melody here: any part has some.
    pub(super) fn in_order(&self, melody: &Melody, at: usize, by: Interval) -> (usize, usize) {
        let (mut moments, mut meetings) = (Vec::new(), Vec::new());
        let repeated = unmoved(self.length);
        let telling = melody.runs(self.length).filter(|run| self.length == 0 || run.0 != repeated);
        // In a long part some of them tell as much as all.
        for (hash, first) in telling.step_by(1 + melody.notes() / ENOUGH) {
            moments.push(first.at);
            let alike = self.seats_of(hash, at).filter(|(_, from)| first.above(*from).semitones == by.semitones);
            meetings.extend(alike.map(|(_, from)| (first.at, from.at)));
        }
        // They come in order, voice by voice, which a stable sort makes use of.
        moments.sort();
        moments.dedup();
        (longest_in_order(meetings), moments.len())
    }

    /// For each part the interval that most melodies agree on, and the share
    /// of the edition's melodies that do.
    pub(super) fn votes(&self, melody: &Melody, most: usize) -> Vec<(usize, Interval, f64)> {
        let mut votes: Vec<FxHashMap<Interval, f64>> = vec![FxHashMap::default(); self.parts];
        let mut runs = 0_usize;
        let mut seats: Vec<Seat> = Vec::new();
        // Where there are very many places some of the melodies tell as much as all.
        let all: usize =
            melody.runs(self.length).map(|run| self.chains.get(&run.0).map_or(0, |chain| chain.seats)).sum();
        for (hash, first) in melody.runs(self.length).step_by(1 + all / most.max(1)) {
            runs += 1;
            seats.clear();
            seats.extend(self.seats(hash));
            for own in seats.chunk_by(|a, b| a.0 == b.0) {
                let votes = &mut votes[own[0].0];
                let between = |(_, from): &Seat| first.above(*from);
                if self.length == 0 {
                    // A note alone fits any other: what counts is how many fit by one interval.
                    let mut intervals: Vec<Interval> = own.iter().map(between).collect();
                    intervals.sort_unstable();
                    intervals.dedup();
                    intervals.into_iter().for_each(|interval| *votes.entry(interval).or_default() += 1.0);
                    continue;
                }
                for interval in own.iter().map(between) {
                    *votes.entry(interval).or_default() += 1.0 / own.len() as f64;
                }
            }
        }
        let best = |votes: FxHashMap<Interval, f64>| {
            // First the sound, then its spelling: wrong spellings are few.
            let mut sounds: FxHashMap<i32, f64> = FxHashMap::default();
            for (interval, count) in &votes {
                *sounds.entry(interval.semitones).or_default() += count;
            }
            let (semitones, share) = highest(sounds, |s| s.abs())?;
            let spelled = votes.into_iter().filter(|(i, _)| i.semitones == semitones).collect();
            let (interval, _) = highest(spelled, |i: Interval| i.steps.abs())?;
            Some((interval, share / runs as f64))
        };
        votes.into_iter().enumerate().filter_map(|(part, v)| best(v).map(|(i, share)| (part, i, share))).collect()
    }
}

/// The key with most votes; between equals the smaller, so that the order of
/// the table does not matter.
fn highest<K: Copy + Ord>(votes: FxHashMap<K, f64>, size: impl Fn(K) -> i32) -> Option<(K, f64)> {
    votes.into_iter().max_by(|a, b| {
        ((a.1 * 64.0).round().total_cmp(&(b.1 * 64.0).round())).then((size(b.0), b.0).cmp(&(size(a.0), a.0)))
    })
}

/// How many of these meetings of two sides can be kept so that both go on from
/// each to the next.
pub(super) fn longest_in_order<T: Copy + Ord>(mut meetings: Vec<(T, T)>) -> usize {
    // Of those that begin together only one can be kept.
    meetings.sort_by_key(|(here, there)| (*here, Reverse(*there)));
    let mut ends: Vec<T> = Vec::new();
    for (_, there) in meetings {
        match ends.partition_point(|end| *end < there) {
            at if at == ends.len() => ends.push(there),
            at => ends[at] = there,
        }
    }
    ends.len()
}

/// Every short melody of a score once, by its intervals, in order: what tells one piece from another in whatever key.
/// Those of one repeated note tell nothing.
pub fn fingerprint(score: &Score) -> Vec<u64> {
    const LENGTH: usize = 6;
    let mut out: Vec<u64> = Vec::new();
    for part in score.printed() {
        out.extend(melody(part).runs(LENGTH).map(|run| run.0).filter(|hash| *hash != unmoved(LENGTH)));
    }
    out.sort_unstable();
    out.dedup();
    out
}
