//! Which bar stands for which: equal bars first, then the likeliest pairs
//! among what lies between them.

use super::{BarPair, PartView};
use crate::score::Part;
use crate::time::Time;
use num_traits::Zero;
use similar::{Algorithm, DiffOp, capture_diff_slices};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::ops::Range;

/// A row of the outline, and whether its bars are the same music at all.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    pub pair: BarPair,
    /// The bars stand in the same place but their notes are other music.
    pub rewritten: bool,
}

/// Two bars are the same music when they share at least this much.
const LEAST_LIKENESS: f64 = 0.3;
/// Larger gaps are not searched for pairs note by note.
const LARGEST_GAP: usize = 1 << 20;

/// Equal bars between two differences may be so many and still be in doubt.
const LONGEST_DOUBT: usize = 16;

/// One struck note of a bar: part, offset, pitch class.
type Content = Vec<(usize, Time, i32)>;

struct Side<'a> {
    bars: Vec<Content>,
    parts: Vec<&'a Part>,
}

pub fn outline(views: &[PartView]) -> Vec<Row> {
    let edition = side(views.iter().map(|v| v.edition).collect(), |part, note| views[part].edition_height(note));
    let source = side(views.iter().map(|v| v.source).collect(), |part, note| views[part].source_height(note));
    let hashes = |side: &Side| side.bars.iter().map(hash).collect::<Vec<u64>>();
    // The source is the old text, the edition the new one.
    let ops = capture_diff_slices(Algorithm::Myers, &hashes(&source), &hashes(&edition));
    let mut rows = Vec::new();
    for run in settled(&ops) {
        if run.equal {
            rows.extend(run.edition.zip(run.source).map(|(e, s)| paired(&edition, &source, e, s, false)));
        } else {
            gap(&edition, &source, run.edition, run.source, &mut rows);
        }
    }
    rows
}

/// Bars of both sides that are equal one by one, or differ as a whole.
struct Run {
    equal: bool,
    edition: Range<usize>,
    source: Range<usize>,
}

/// Equal bars between two differences are in doubt when the one lacks as many
/// bars as the other has too many: in music that repeats itself the diff may
/// have paired each bar with the one after. Such a stretch is looked at bar by
/// bar, as one difference.
fn settled(ops: &[DiffOp]) -> Vec<Run> {
    let mut out: Vec<Run> = Vec::new();
    for op in ops {
        let (source, edition) = (op.old_range(), op.new_range());
        let equal = matches!(op, DiffOp::Equal { .. });
        // Two differences side by side are one.
        match out.last_mut() {
            Some(last) if !last.equal && !equal => {
                last.edition.end = edition.end;
                last.source.end = source.end;
            }
            _ => out.push(Run { equal, edition, source }),
        }
        join_doubtful(&mut out);
    }
    out
}

fn join_doubtful(runs: &mut Vec<Run>) {
    let surplus = |r: &Run| r.edition.len() as i64 - r.source.len() as i64;
    while let [.., before, between, after] = runs.as_slice() {
        let doubtful = !before.equal
            && between.equal
            && !after.equal
            && between.edition.len() <= LONGEST_DOUBT
            && surplus(before) * surplus(after) < 0;
        if !doubtful {
            return;
        }
        let (edition, source) = (after.edition.end, after.source.end);
        runs.truncate(runs.len() - 2);
        let last = runs.last_mut().expect("the one before");
        last.edition.end = edition;
        last.source.end = source;
    }
}

fn side<'a>(parts: Vec<&'a Part>, height: impl Fn(usize, usize) -> i32) -> Side<'a> {
    let count = parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
    let mut bars: Vec<Content> = vec![Vec::new(); count];
    for (index, part) in parts.iter().enumerate() {
        for note in part.struck() {
            let bar = part.notes[note].bar;
            let offset = part.notes[note].offset + part.pickup(bar);
            bars[bar].push((index, offset, height(index, note).rem_euclid(1200)));
        }
    }
    for bar in &mut bars {
        bar.sort_unstable();
    }
    Side { bars, parts }
}

fn hash(content: &Content) -> u64 {
    let mut hasher = DefaultHasher::new();
    content.hash(&mut hasher);
    hasher.finish()
}

fn alone(edition: Option<usize>, source: Option<usize>) -> Row {
    Row { pair: BarPair { edition, source, shift: Time::zero() }, rewritten: false }
}

fn paired(edition: &Side, source: &Side, e: usize, s: usize, rewritten: bool) -> Row {
    // A pickup may be written as a full bar with rests before it.
    let pickup = |side: &Side, bar| side.parts.first().map_or(Time::zero(), |p| p.pickup(bar));
    let shift = pickup(source, s) - pickup(edition, e);
    Row { pair: BarPair { edition: Some(e), source: Some(s), shift }, rewritten }
}

/// How much two bars share, from 0 to 1.
fn likeness(e: &Content, s: &Content) -> f64 {
    let notes = e.len() + s.len();
    if notes == 0 {
        return 1.0;
    }
    let placed = common(e, s, |a| *a);
    let mut by_pitch = (e.clone(), s.clone());
    by_pitch.0.sort_unstable_by_key(|n| (n.0, n.2));
    by_pitch.1.sort_unstable_by_key(|n| (n.0, n.2));
    let sounding = common(&by_pitch.0, &by_pitch.1, |a| (a.0, a.2));
    2.0 * (0.75 * placed as f64 + 0.25 * sounding as f64) / notes as f64
}

/// How many notes two sorted bars have in common.
fn common<K: Ord>(e: &Content, s: &Content, key: impl Fn(&(usize, Time, i32)) -> K) -> usize {
    let (mut i, mut j, mut count) = (0, 0, 0);
    while i < e.len() && j < s.len() {
        match key(&e[i]).cmp(&key(&s[j])) {
            std::cmp::Ordering::Less => i += 1,
            std::cmp::Ordering::Greater => j += 1,
            std::cmp::Ordering::Equal => {
                count += 1;
                i += 1;
                j += 1;
            }
        }
    }
    count
}

/// Pairs what can be paired between two equal places, in order.
fn gap(edition: &Side, source: &Side, e: Range<usize>, s: Range<usize>, rows: &mut Vec<Row>) {
    let pairs = if e.len() * s.len() <= LARGEST_GAP { best_pairs(edition, source, &e, &s) } else { Vec::new() };
    let (mut i, mut j) = (e.start, s.start);
    for (pe, ps) in pairs.into_iter().chain([(e.end, s.end)]) {
        unlike(edition, source, i..pe, j..ps, rows);
        if pe < e.end {
            rows.push(paired(edition, source, pe, ps, false));
        }
        (i, j) = (pe + 1, ps + 1);
    }
}

/// The pairs of bars, in order, whose likeness adds up to most.
fn best_pairs(edition: &Side, source: &Side, e: &Range<usize>, s: &Range<usize>) -> Vec<(usize, usize)> {
    let (n, m) = (e.len(), s.len());
    let like: Vec<f64> = (0..n * m)
        .map(|at| {
            let (i, j) = (at / m, at % m);
            likeness(&edition.bars[e.start + i], &source.bars[s.start + j])
        })
        .collect();
    let gain = |i: usize, j: usize| like[i * m + j] - LEAST_LIKENESS + 1e-6;
    let mut best = vec![0.0_f64; (n + 1) * (m + 1)];
    for i in (0..n).rev() {
        for j in (0..m).rev() {
            let skip = best[(i + 1) * (m + 1) + j].max(best[i * (m + 1) + j + 1]);
            best[i * (m + 1) + j] = skip.max(best[(i + 1) * (m + 1) + j + 1] + gain(i, j));
        }
    }
    let (mut i, mut j, mut out) = (0, 0, Vec::new());
    while i < n && j < m {
        let here = best[i * (m + 1) + j];
        if gain(i, j) > 0.0 && here <= best[(i + 1) * (m + 1) + j + 1] + gain(i, j) + 1e-9 {
            out.push((e.start + i, s.start + j));
            i += 1;
            j += 1;
        } else if here <= best[(i + 1) * (m + 1) + j] + 1e-9 {
            i += 1;
        } else {
            j += 1;
        }
    }
    out
}

/// Bars between two pairs that resemble nothing. As many on both sides, and as
/// long: they stand for each other, but were rewritten.
fn unlike(edition: &Side, source: &Side, e: Range<usize>, s: Range<usize>, rows: &mut Vec<Row>) {
    let length = |side: &Side, bar: usize| side.parts.first().and_then(|p| p.bars.get(bar)).map(|b| b.length);
    let same_lengths =
        e.len() == s.len() && e.clone().zip(s.clone()).all(|(i, j)| length(edition, i) == length(source, j));
    if !same_lengths {
        rows.extend(e.map(|e| alone(Some(e), None)));
        rows.extend(s.map(|s| alone(None, Some(s))));
        return;
    }
    let single = e.len() == 1;
    for (i, j) in e.zip(s) {
        // One bar of one or two notes with a wrong one is no other music.
        let few = edition.bars[i].len() <= 2 && source.bars[j].len() <= 2;
        rows.push(paired(edition, source, i, j, !(single && few)));
    }
}
