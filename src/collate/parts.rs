//! Which part of the source each part of the edition comes from, and how far
//! it was moved. Both are read off short melodies that the two share.

use super::compared::{Compared, Vote};
use super::resemblance::{self, Bars};
use crate::pitch::Interval;
use crate::score::{Part, Score};
use crate::time::Time;
use rustc_hash::FxHashMap;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// Parts that the user named, by their place in the score.
#[derive(Debug, Clone, Copy, Default)]
pub struct Choice {
    pub edition: Option<usize>,
    pub source: Option<usize>,
}

/// Where a part's partner comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Partner {
    /// The user says it, whatever the music is.
    Given,
    Sought,
}

/// The parts of both sides that belong together, and the others.
#[derive(Debug, Clone)]
pub struct Pairing {
    pub pairs: Vec<Pair>,
    /// Parts that were looked for on the other side, and not found.
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

/// What the right part shares with an edition, by melodies of one length.
struct Measure {
    /// Intervals of a melody.
    length: usize,
    /// The least share of the edition's melodies that the right part has.
    share: f64,
    /// The least share of them that it has in the same order. Of unrelated
    /// music a third may share short melodies, but scattered.
    in_order: f64,
    /// So many of them at least.
    fewest: usize,
}

/// The longest first; short pieces have no long ones. Measured on unrelated
/// pieces of music21's corpus (six intervals: up to 0.15 in order, three: 0.38)
/// and on edited ones (six: from 0.18; the one that needed three had 0.29, and
/// is found by its bars).
const MEASURES: [Measure; 4] = [
    Measure { length: 6, share: 0.10, in_order: 0.16, fewest: 3 },
    Measure { length: 3, share: 0.20, in_order: 0.40, fewest: 3 },
    Measure { length: 1, share: 0.34, in_order: 0.34, fewest: 1 },
    Measure { length: 0, share: 0.99, in_order: 0.99, fewest: 1 },
];

/// The parts of a score move by one interval, as a rule: what a part shares by
/// another counts so much less.
const STRANGE_KEY: f64 = 0.6;

/// So many parts of the source are held against one of the edition, melody by melody.
const MOST_CANDIDATES: usize = 64;

/// Notes of a piece that is too short to share long melodies.
const SHORT_PIECE: usize = 16;
/// Short melodies tell only of pieces of which one has at most so many times
/// the other's notes.
const MOST_TIMES: usize = 4;

pub fn pair(edition: &Score, source: &Score, choice: Choice) -> Pairing {
    pair_compared(edition, source, choice, &compare(edition, source, choice))
}

/// Makes the melodies of the parts that may belong together.
pub(super) fn compare(edition: &Score, source: &Score, choice: Choice) -> Compared {
    let chosen = |part: Option<usize>, count: usize| match part {
        Some(part) => vec![part],
        None => (0..count).collect::<Vec<_>>(),
    };
    let editions = chosen(choice.edition, edition.printed().len());
    let sources = chosen(choice.source, source.parts.len());
    Compared::new(edition, source, editions, sources)
}

pub(super) fn pair_compared(edition: &Score, source: &Score, choice: Choice, compared: &Compared) -> Pairing {
    let (editions, sources) = (&compared.editions, &compared.sources);
    let partner = match choice {
        Choice { edition: Some(_), source: Some(_) } => Partner::Given,
        Choice { edition: None, source: None } => Partner::Sought,
        _ if editions.len() == 1 && sources.len() == 1 => Partner::Given,
        _ => Partner::Sought,
    };
    let mut pairs: Vec<Pair> = Vec::new();
    // What stands in order comes first; where it has paired parts, the others of the score may follow in its key.
    for (measure, follows) in [false, true].iter().flat_map(|f| MEASURES.iter().map(move |m| (m, *f))) {
        let keys: Vec<i32> = pairs.iter().map(|p| p.interval.semitones.rem_euclid(12)).collect();
        if follows && keys.is_empty() {
            break;
        }
        if pairs.len() == editions.len() {
            break;
        }
        let mut candidates = Vec::new();
        for (own, &part) in editions.iter().enumerate().filter(|(_, part)| pairs.iter().all(|p| p.edition != **part)) {
            let melody = compared.ours(own);
            let notes = melody.notes();
            // One interval says nothing about a long piece.
            if measure.length < 3 && partner == Partner::Sought && notes > SHORT_PIECE {
                continue;
            }
            let mut votes: Vec<&Vote> = compared.votes(measure.length, own).iter().collect();
            if votes.len() > MOST_CANDIDATES {
                // Of hundreds of parts the likest, and of these those of its name and about its place.
                let name = |vote: &Vote| edition.parts[part].name != source.parts[sources[vote.0]].name;
                votes.sort_by_cached_key(|vote| {
                    (Reverse((vote.2 * 100.0).round() as i64), name(vote), part.abs_diff(sources[vote.0]), vote.0)
                });
                votes.truncate(MOST_CANDIDATES);
            }
            for &(at, interval, share) in votes {
                let fits = || {
                    // In a long piece every short melody is found somewhere.
                    let theirs = compared.theirs(at).notes();
                    if measure.length < 6 && notes.max(theirs) > MOST_TIMES * notes.min(theirs) {
                        return false;
                    }
                    let (kept, all) = compared.index(measure.length).in_order(melody, at, interval);
                    kept >= measure.fewest && kept as f64 >= measure.in_order * all as f64
                };
                let follows = follows && keys.contains(&interval.semitones.rem_euclid(12));
                if partner == Partner::Given || share > measure.share && (follows || fits()) {
                    candidates.push((share, part, sources[at], interval));
                }
            }
        }
        let leading = leading(&candidates);
        // Ties (two identical parts) go to what was derived for it, to the same name, then the same place.
        candidates.sort_by(|a, b| {
            let likeness = |c: &(f64, usize, usize, Interval)| {
                let same_name = edition.parts[c.1].name == source.parts[c.2].name;
                let printed = source.parts[c.2].derived_from.is_empty();
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
    pair_by_resemblance(edition, source, editions, sources, &mut pairs);
    pair_pitchless(edition, source, editions, sources, partner, &mut pairs);
    pairs.sort_by_key(|p| p.edition);
    let unmatched = |all: &[usize], taken: &dyn Fn(&usize) -> bool| all.iter().copied().filter(|p| !taken(p)).collect();
    // Beside one part that the user chose, the other side's other parts were not looked for.
    Pairing {
        unmatched_edition: unmatched(editions, &|p| choice.source.is_some() || pairs.iter().any(|q| q.edition == *p)),
        unmatched_source: unmatched(sources, &|p| {
            let uses = |q: &Pair| q.source == *p || source.parts[q.source].derived_from.contains(p);
            choice.edition.is_some() || !source.parts[*p].derived_from.is_empty() || pairs.iter().any(uses)
        }),
        pairs,
    }
}

/// What is left, by whole bars and by place; the likest first.
fn pair_by_resemblance(edition: &Score, source: &Score, editions: &[usize], sources: &[usize], pairs: &mut Vec<Pair>) {
    let open = |all: &[usize], taken: &dyn Fn(usize) -> bool| -> Vec<usize> {
        all.iter().copied().filter(|p| !taken(*p)).collect()
    };
    let ours = open(editions, &|p| pairs.iter().any(|q| q.edition == p));
    let theirs = open(sources, &|p| pairs.iter().any(|q| q.source == p));
    if ours.is_empty() || theirs.is_empty() {
        return;
    }
    let mut found: Vec<(f64, Pair)> = Vec::new();
    let ours: Vec<(usize, Bars)> = ours.iter().map(|e| (*e, Bars::new(&edition.parts[*e]))).collect();
    for &s in &theirs {
        let theirs = Bars::new(&source.parts[s]);
        let places = theirs.places();
        for (e, ours) in &ours {
            let alike = resemblance::between(ours, &theirs, &places);
            found.extend(alike.map(|(interval, share)| (share, Pair { edition: *e, source: s, interval, share })));
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
    let (mut votes, mut all, mut could) = (FxHashMap::default(), 0.0, 0.0);
    for view in views {
        let (e, s) = (view.edition.bars.len(), view.source.bars.len());
        if usual(&view.edition) != usual(&view.source) || 3 * e.min(s) < 2 * e.max(s) {
            let (shared, melodies) = vote(&view.edition, &view.source, &mut votes);
            (all, could) = (all + shared, could + melodies);
        }
    }
    // What comes of a few melodies that meet by chance is no way to write values.
    let is_one = |scale: &Time| WAYS.iter().any(|(n, d)| Time::new(*n, *d) == *scale);
    votes.retain(|scale, votes: &mut f64| is_one(scale) && *votes >= LEAST_TIMED * could);
    let best = votes.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
    best.filter(|b| b.1 > all / 2.0).map_or(one, |b| b.0)
}

/// How many times as long values may be written.
const WAYS: [(i64, i64); 11] = [(1, 1), (2, 1), (1, 2), (4, 1), (1, 4), (3, 2), (2, 3), (3, 1), (1, 3), (4, 3), (3, 4)];

/// Melodies of this many intervals tell how long they are.
const TIMED: usize = 4;
/// So much of the melodies that the two could share must speak for a way.
const LEAST_TIMED: f64 = 0.1;

/// The ratios of lengths that shared melodies have; gives how many they share, and how many they could.
fn vote(edition: &Part, source: &Part, votes: &mut FxHashMap<Time, f64>) -> (f64, f64) {
    type Timed = ([i32; TIMED], Time);
    let timed = |part: &Part| -> Vec<Timed> {
        let notes: Vec<(i32, Time)> = part
            .struck()
            .filter(|n| part.notes[*n].voice == 0 && !part.notes[*n].chord)
            .filter_map(|n| Some((part.notes[n].pitch()?.sound(), part.onset(n))))
            .collect();
        let run = |w: &[(i32, Time)]| (std::array::from_fn(|at| w[at + 1].0 - w[at].0), w[TIMED].1 - w[0].1);
        notes.windows(TIMED + 1).map(run).collect()
    };
    let mut places: FxHashMap<[i32; TIMED], Vec<Time>> = FxHashMap::default();
    let (ours, theirs) = (timed(edition), timed(source));
    let could = ours.len().min(theirs.len()) as f64;
    let mut shared = 0.0;
    for (melody, length) in theirs {
        places.entry(melody).or_default().push(length);
    }
    for (melody, length) in ours {
        let Some(theirs) = places.get(&melody) else { continue };
        shared += 1.0;
        for other in theirs.iter().filter(|t| **t > Time::from(0)) {
            *votes.entry(length / *other).or_default() += 1.0 / theirs.len() as f64;
        }
    }
    (shared, could)
}

/// The interval, by the least octave, by which most melodies of some parts are moved, and the two parts that share
/// most of them by it.
pub(super) fn interval_of_all(compared: &Compared) -> Option<(Interval, (usize, usize))> {
    for measure in &MEASURES[..2] {
        let mut votes: BTreeMap<Interval, f64> = BTreeMap::new();
        let mut likest: Vec<(f64, Interval, (usize, usize))> = Vec::new();
        for (own, &part) in compared.editions.iter().enumerate() {
            for &(at, interval, share) in compared.votes(measure.length, own) {
                let octaves = interval.semitones.div_euclid(12);
                let least = Interval::new(interval.steps - 7 * octaves, interval.semitones - 12 * octaves);
                *votes.entry(least).or_default() += share * compared.ours(own).notes() as f64;
                likest.push((share, least, (part, compared.sources[at])));
            }
        }
        let best = votes.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
        let Some((interval, _)) = best.filter(|b| b.1 >= measure.fewest as f64) else { continue };
        let own = likest.into_iter().filter(|l| l.1 == interval).max_by(|a, b| a.0.total_cmp(&b.0));
        return own.map(|l| (interval, l.2));
    }
    None
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

/// The interval, with the octaves by which the lowest notes say that it is more or less.
fn whole_octaves(edition: &Part, source: &Part, interval: Interval) -> Interval {
    let lowest = |part: &Part| part.struck().filter_map(|n| part.notes[n].pitch()).min_by_key(|p| p.sound());
    let octaves = match (lowest(edition), lowest(source)) {
        (Some(ours), Some(theirs)) => {
            let more = (ours.sound() - theirs.sound()).div_euclid(100) - interval.semitones;
            if more.rem_euclid(12) == 0 { more / 12 } else { 0 }
        }
        _ => 0,
    };
    Interval::new(interval.steps + 7 * octaves, interval.semitones + 12 * octaves)
}

/// Percussion, silent parts and those of a note or two have no melody: they are
/// matched by name or, in scores of as many parts, by place.
pub(super) fn pair_pitchless(
    edition: &Score,
    source: &Score,
    editions: &[usize],
    sources: &[usize],
    partner: Partner,
    pairs: &mut Vec<Pair>,
) {
    let silent = |part: &Part| part.struck().all(|n| part.notes[n].pitch().is_none());
    let leading = pairs.first().map(|p| p.interval);
    // A drum's two notes are found in any piece: here they only follow other parts.
    let drones = |part: &Part| {
        let mut pitches = part.struck().filter_map(|n| part.notes[n].pitch());
        let (first, mut second) = (pitches.next(), None);
        leading.is_some() && pitches.all(|p| Some(p) == first || *second.get_or_insert(p) == p)
    };
    for &part in editions {
        if pairs.iter().any(|p| p.edition == part) {
            continue;
        }
        let own = &edition.parts[part];
        let free: Vec<usize> = sources.iter().copied().filter(|s| pairs.iter().all(|p| p.source != *s)).collect();
        let fits = |s: &&usize| {
            let other = &source.parts[**s];
            partner == Partner::Given
                || (own.name == other.name || **s == part && editions.len() == sources.len())
                    && (silent(own) && silent(other) || drones(own) || drones(other))
        };
        if let Some(&from) = free.iter().find(fits) {
            let interval = whole_octaves(own, &source.parts[from], leading.unwrap_or(Interval::UNISON));
            pairs.push(Pair { edition: part, source: from, interval, share: 1.0 });
        }
    }
}
