//! Which part of the source each part of the edition comes from, and how far
//! it was moved. Both are read off short melodies that the two share.

use super::scarce;
use crate::pitch::Interval;
use crate::score::{NoteId, Part, Score};
use crate::time::Time;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;
use std::collections::HashMap;

/// Parts that the user named, by their place in the score.
#[derive(Debug, Clone, Copy, Default)]
pub struct Choice {
    pub edition: Option<usize>,
    pub source: Option<usize>,
}

/// The parts of both sides that belong together, and the others.
#[derive(Debug, Clone)]
pub struct Pairing {
    pub pairs: Vec<Pair>,
    pub unmatched_edition: Vec<usize>,
    pub unmatched_source: Vec<usize>,
}

#[derive(Debug, Clone, Copy)]
pub struct Pair {
    pub edition: usize,
    pub source: usize,
    pub interval: Interval,
    /// The share of the edition's melodies that the source's part has.
    pub share: f64,
}

/// Melodies of this many intervals are compared, the longest first; short
/// pieces have no long ones.
const LENGTHS: [usize; 4] = [6, 3, 1, 0];
/// A melody that stands in more places of a part than this tells little.
const MOST_PLACES: usize = 64;
/// The least share of an edition's melodies that the right part has. Unrelated
/// music shares a few per cent by chance.
const LEAST_SHARE: [f64; 4] = [0.10, 0.20, 0.34, 0.99];

/// The parts of a score move by one interval, as a rule: what a part shares by
/// another counts so much less.
const STRANGE_KEY: f64 = 0.6;

/// Notes of a piece that is too short to share long melodies.
const SHORT_PIECE: usize = 16;

pub fn pair(edition: &Score, source: &Score, choice: Choice) -> Pairing {
    let chosen = |part: Option<usize>, count: usize| match part {
        Some(part) => vec![part],
        None => (0..count).collect::<Vec<_>>(),
    };
    let editions = chosen(choice.edition, edition.parts.len());
    let sources = chosen(choice.source, source.parts.len());
    let forced = choice.edition.is_some() && choice.source.is_some()
        || editions.len() == 1 && sources.len() == 1 && choice.edition.or(choice.source).is_some();
    let mut pairs: Vec<Pair> = Vec::new();
    let melodies: Vec<Melody> = sources.iter().map(|p| melody(&source.parts[*p])).collect();
    for (length, least) in LENGTHS.into_iter().zip(LEAST_SHARE) {
        let least = if forced { 0.0 } else { least };
        let free = |p: &&usize, taken: &[usize]| !taken.contains(p);
        let taken: Vec<usize> = pairs.iter().map(|p| p.edition).collect();
        let open: Vec<usize> = editions.iter().filter(|p| free(p, &taken)).copied().collect();
        if open.is_empty() {
            break;
        }
        let index = Index::new(&melodies, length);
        let mut candidates = Vec::new();
        for part in open {
            let melody = melody(&edition.parts[part]);
            // One interval says nothing about a long piece.
            if length < 3 && !forced && melody.notes() > SHORT_PIECE {
                continue;
            }
            for (at, interval, share) in index.votes(&melody) {
                if share > least {
                    candidates.push((share, part, sources[at], interval));
                }
            }
        }
        let leading = leading(&candidates);
        // Ties (two identical parts) go to what was drawn for it, to the same name, then the same place.
        candidates.sort_by(|a, b| {
            let likeness = |c: &(f64, usize, usize, Interval)| {
                let same_name = edition.parts[c.1].name == source.parts[c.2].name;
                let printed = source.parts[c.2].drawn_from.is_empty();
                (printed, !same_name, c.1.abs_diff(c.2), c.1, c.2)
            };
            let weight = |c: &(f64, usize, usize, Interval)| {
                let agrees = c.3.semitones.rem_euclid(12) == leading;
                (c.0 * if agrees { 100.0 } else { 100.0 * STRANGE_KEY }).round()
            };
            weight(b).total_cmp(&weight(a)).then(likeness(a).cmp(&likeness(b)))
        });
        for (share, part, from, interval) in candidates {
            if pairs.iter().all(|p| p.edition != part && p.source != from) {
                pairs.push(Pair { edition: part, source: from, interval, share });
            }
        }
    }
    pair_scarce(edition, source, &editions, &sources, &mut pairs);
    pair_pitchless(edition, source, &editions, &sources, forced, &mut pairs);
    pairs.sort_by_key(|p| p.edition);
    let unmatched = |all: &[usize], taken: &dyn Fn(&usize) -> bool| all.iter().copied().filter(|p| !taken(p)).collect();
    Pairing {
        unmatched_edition: unmatched(&editions, &|p| pairs.iter().any(|q| q.edition == *p)),
        unmatched_source: unmatched(&sources, &|p| {
            let uses = |q: &Pair| q.source == *p || source.parts[q.source].drawn_from.contains(p);
            !source.parts[*p].drawn_from.is_empty() || pairs.iter().any(uses)
        }),
        pairs,
    }
}

/// What is left, by whole bars and by place; the likest first.
fn pair_scarce(edition: &Score, source: &Score, editions: &[usize], sources: &[usize], pairs: &mut Vec<Pair>) {
    let open = |all: &[usize], taken: &dyn Fn(usize) -> bool| -> Vec<usize> {
        all.iter().copied().filter(|p| !taken(*p)).collect()
    };
    let ours = open(editions, &|p| pairs.iter().any(|q| q.edition == p));
    let theirs = open(sources, &|p| pairs.iter().any(|q| q.source == p));
    let mut found: Vec<(f64, Pair)> = Vec::new();
    for &e in &ours {
        for &s in &theirs {
            let alike = scarce::resemblance(&edition.parts[e], &source.parts[s]);
            found.extend(alike.map(|(interval, share)| (share, Pair { edition: e, source: s, interval, share })));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1.edition, a.1.source).cmp(&(b.1.edition, b.1.source))));
    for (_, pair) in found {
        if pairs.iter().all(|p| p.edition != pair.edition && p.source != pair.source) {
            pairs.push(pair);
        }
    }
}

/// How many times as long the edition writes its values, where the two write
/// other bars: as most of the melodies that they share say.
pub fn scale(views: &[super::PartView]) -> Time {
    let one = Time::from(1);
    let usual = |part: &Part| {
        let mut counts: FxHashMap<Time, usize> = FxHashMap::default();
        for bar in &part.bars {
            *counts.entry(bar.length).or_default() += 1;
        }
        counts.into_iter().max_by_key(|(length, count)| (*count, *length)).map(|c| c.0)
    };
    for view in views {
        let (e, s) = (view.edition.bars.len(), view.source.bars.len());
        if usual(view.edition) == usual(view.source) && 3 * e.min(s) >= 2 * e.max(s) {
            continue;
        }
        if let Some(scale) = ratio(view.edition, view.source) {
            return scale;
        }
    }
    one
}

/// Melodies of this many intervals tell how long they are.
const TIMED: usize = 4;

/// The ratio of lengths that more than half of the shared melodies have.
fn ratio(edition: &Part, source: &Part) -> Option<Time> {
    let timed = |part: &Part| -> Vec<(Vec<i32>, Time)> {
        let notes: Vec<(i32, Time)> = part
            .struck()
            .filter(|n| part.notes[*n].voice == 0 && !part.notes[*n].chord)
            .filter_map(|n| Some((part.notes[n].pitch()?.sound(), part.onset(n))))
            .collect();
        let run = |w: &[(i32, Time)]| (w.windows(2).map(|p| p[1].0 - p[0].0).collect(), w[TIMED].1 - w[0].1);
        notes.windows(TIMED + 1).map(run).collect()
    };
    let mut places: HashMap<Vec<i32>, Vec<Time>> = HashMap::new();
    for (melody, length) in timed(source) {
        places.entry(melody).or_default().push(length);
    }
    let (mut votes, mut all): (HashMap<Time, f64>, f64) = (HashMap::new(), 0.0);
    for (melody, length) in timed(edition) {
        let Some(theirs) = places.get(&melody) else { continue };
        all += 1.0;
        for other in theirs.iter().filter(|t| **t > Time::from(0)) {
            *votes.entry(length / *other).or_default() += 1.0 / theirs.len() as f64;
        }
    }
    let best = votes.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))?;
    (best.1 > all / 2.0 && best.0 > Time::from(0)).then_some(best.0)
}

/// The key, in semitones of an octave, that most parts of the edition would have.
fn leading(candidates: &[(f64, usize, usize, Interval)]) -> i32 {
    let mut best: BTreeMap<(i32, usize), f64> = BTreeMap::new();
    for (share, part, _, interval) in candidates {
        let own = best.entry((interval.semitones.rem_euclid(12), *part)).or_default();
        *own = own.max(*share);
    }
    let mut sums: BTreeMap<i32, f64> = BTreeMap::new();
    for ((key, _), share) in best {
        *sums.entry(key).or_default() += share;
    }
    sums.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))).map_or(0, |s| s.0)
}

/// Percussion and silent parts have no melody: they are matched by name or, in
/// scores of as many parts, by place.
fn pair_pitchless(
    edition: &Score,
    source: &Score,
    editions: &[usize],
    sources: &[usize],
    forced: bool,
    pairs: &mut Vec<Pair>,
) {
    let silent = |part: &Part| part.struck().all(|n| part.notes[n].pitch().is_none());
    let interval = pairs.first().map_or(Interval::UNISON, |p| p.interval);
    for &part in editions {
        if pairs.iter().any(|p| p.edition == part) {
            continue;
        }
        let own = &edition.parts[part];
        let free: Vec<usize> = sources.iter().copied().filter(|s| pairs.iter().all(|p| p.source != *s)).collect();
        let fits = |s: &&usize| {
            let other = &source.parts[**s];
            forced
                || silent(own)
                    && silent(other)
                    && (own.name == other.name || **s == part && editions.len() == sources.len())
        };
        if let Some(&from) = free.iter().find(fits) {
            pairs.push(Pair { edition: part, source: from, interval, share: 1.0 });
        }
    }
}

/// The struck notes of each voice, the highest of each chord.
struct Melody {
    voices: Vec<Vec<(i32, i32)>>,
}

/// Each note as its height in semitones and its place on the staff.
fn melody(part: &Part) -> Melody {
    let mut voices: Vec<Vec<(i32, i32)>> = Vec::new();
    let mut last: Vec<Option<NoteId>> = Vec::new();
    for note in part.struck() {
        let own = &part.notes[note];
        let Some(pitch) = own.pitch() else { continue };
        let voice = own.voice as usize;
        if voices.len() <= voice {
            voices.resize(voice + 1, Vec::new());
            last.resize(voice + 1, None);
        }
        let here = (pitch.sound().div_euclid(100), pitch.staff_place());
        let same_chord =
            last[voice].is_some_and(|l| part.notes[l].bar == own.bar && part.notes[l].offset == own.offset);
        match voices[voice].last_mut() {
            Some(top) if same_chord => *top = (*top).max(here),
            _ => voices[voice].push(here),
        }
        last[voice] = Some(note);
    }
    Melody { voices }
}

impl Melody {
    fn notes(&self) -> usize {
        self.voices.iter().map(Vec::len).sum()
    }

    /// Every run of `length` intervals with its first note.
    fn runs(&self, length: usize) -> impl Iterator<Item = (u64, (i32, i32))> + '_ {
        self.voices.iter().flat_map(move |voice| {
            voice.windows(length + 1).map(|notes| {
                let mut hash = 0xcbf2_9ce4_8422_2325_u64;
                for pair in notes.windows(2) {
                    hash = (hash ^ (pair[1].0 - pair[0].0 + 128) as u64).wrapping_mul(0x0100_0000_01b3);
                }
                (hash, notes[0])
            })
        })
    }
}

/// A place of a melody: which part, and its first note.
type Seat = (usize, (i32, i32));

/// Places of melodies, by their hash; each part's places stand together.
struct Index {
    length: usize,
    parts: usize,
    seats: Vec<(u64, Seat)>,
}

impl Index {
    fn new(melodies: &[Melody], length: usize) -> Index {
        let all = melodies
            .iter()
            .enumerate()
            .flat_map(|(part, melody)| melody.runs(length).map(move |(hash, first)| (hash, (part, first))));
        let mut seats: Vec<(u64, Seat)> = all.collect();
        seats.sort_by_key(|seat| seat.0);
        // Of a melody that is everywhere the first places are enough.
        let (mut melody, mut places) = (None, 0);
        seats.retain(|seat| {
            let here = Some((seat.0, seat.1.0));
            places = if melody == here { places + 1 } else { 1 };
            melody = here;
            places <= MOST_PLACES
        });
        Index { length, parts: melodies.len(), seats }
    }

    fn seats(&self, hash: u64) -> &[(u64, Seat)] {
        let rest = &self.seats[self.seats.partition_point(|seat| seat.0 < hash)..];
        &rest[..rest.iter().take_while(|seat| seat.0 == hash).count()]
    }

    /// For each part the interval that most melodies agree on, and the share
    /// of the edition's melodies that do.
    fn votes(&self, melody: &Melody) -> Vec<(usize, Interval, f64)> {
        let mut votes: Vec<FxHashMap<Interval, f64>> = vec![FxHashMap::default(); self.parts];
        let mut runs = 0_usize;
        for (hash, first) in melody.runs(self.length) {
            runs += 1;
            for own in self.seats(hash).chunk_by(|a, b| a.1.0 == b.1.0) {
                let votes = &mut votes[own[0].1.0];
                let between = |(_, (_, from)): &(u64, Seat)| Interval::new(first.1 - from.1, first.0 - from.0);
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
