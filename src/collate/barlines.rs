//! Where the two sides set their barlines otherwise: bars split or joined, and
//! bars into which music was put or out of which it was cut.

use super::builder::{Music, OutlineBuilder};
use super::cells::{Cell, likeness};
use crate::time::Time;

/// Music cut at the barlines of both sides is the same when its pieces share
/// this much on the average.
const LEAST_COMMON: f64 = 0.5;
/// Bars between two equal places that are cut at each other's barlines.
const MOST_BARS: usize = 4096;

/// As much music on both sides, other barlines: it is cut at all of them.
/// Says whether it was.
pub(super) fn moved(outline: &mut OutlineBuilder, ours: &[Cell], theirs: &[Cell]) -> bool {
    if ours.is_empty() || theirs.is_empty() || ours.len() + theirs.len() > MOST_BARS {
        return false;
    }
    let ends = |cells: &[Cell]| -> Vec<Time> {
        cells
            .iter()
            .scan(Time::zero(), |sum, c| {
                Some({
                    *sum += c.length();
                    *sum
                })
            })
            .collect()
    };
    let (mine, other) = (ends(ours), ends(theirs));
    if mine.last() != other.last() || mine == other {
        return false;
    }
    let mut places: Vec<Time> = mine.iter().chain(&other).copied().collect();
    places.sort_unstable();
    places.dedup();
    let (e, s) = (pieces(ours, &places), pieces(theirs, &places));
    if e.len() != s.len() {
        return false;
    }
    let shared: f64 = e.iter().zip(&s).map(|(e, s)| likeness(&e.content, &s.content)).sum();
    if shared < LEAST_COMMON * e.len() as f64 {
        return false;
    }
    for (e, s) in e.iter().zip(&s) {
        outline.paired(e, s, Music::Same);
    }
    true
}

/// Cells cut at these places, which count from the first cell's start and hold
/// the ends of all of them.
fn pieces(cells: &[Cell], places: &[Time]) -> Vec<Cell> {
    let (mut out, mut start) = (Vec::new(), Time::zero());
    for cell in cells {
        let mut from = cell.from;
        for place in places.iter().filter(|p| **p > start && **p <= start + cell.length()) {
            let to = cell.from + *place - start;
            out.push(cell.piece(from, to));
            from = to;
        }
        start += cell.length();
    }
    out
}

/// Two bars of unequal length that begin or end alike: what one has more is
/// music put in or cut out. Says whether they are.
pub(super) fn stretched(outline: &mut OutlineBuilder, e: &Cell, s: &Cell) -> bool {
    let (longer, shorter) = (e.length().max(s.length()), e.length().min(s.length()));
    if longer == shorter || e.content.is_empty() || s.content.is_empty() {
        return false;
    }
    // In the order of time, whichever part.
    let by_time = |cell: &Cell| {
        let mut notes: Vec<_> = cell.content.iter().map(|n| (n.1, n.0, n.2)).collect();
        notes.sort_unstable();
        notes
    };
    let (ours, theirs) = (by_time(e), by_time(s));
    let few = ours.len().min(theirs.len());
    let head = ours.iter().zip(&theirs).take_while(|(a, b)| a == b).count();
    let more = e.length() - s.length();
    let alike = |a: &(Time, usize, i32), b: &(Time, usize, i32)| (a.0, a.1, a.2) == (b.0 + more, b.1, b.2);
    let tail = ours.iter().rev().zip(theirs.iter().rev()).take_while(|(a, b)| alike(a, b)).count().min(few - head);
    if 2 * (head + tail) < few || head + tail == 0 {
        return false;
    }
    // The notes of a chord stay together.
    let at = |notes: &[(Time, usize, i32)], place: usize, end: Time| notes.get(place).map_or(end, |n| n.0);
    let (e_mid, s_mid) = (at(&ours, head, e.length()), at(&theirs, head, s.length()));
    let (e_end, s_end) = (at(&ours, ours.len() - tail, e.length()), at(&theirs, theirs.len() - tail, s.length()));
    if e_end < e_mid || s_end < s_mid || e_end - s_end != more && tail > 0 {
        return false;
    }
    if head > 0 {
        outline.paired(&e.piece(e.from, e.from + e_mid), &s.piece(s.from, s.from + s_mid), Music::Same);
    }
    let (mid, end) = (if head > 0 { e_mid } else { Time::zero() }, if tail > 0 { e_end } else { e.length() });
    if mid < end {
        outline.alone(Some(&e.piece(e.from + mid, e.from + end)), None);
    }
    let (mid, end) = (if head > 0 { s_mid } else { Time::zero() }, if tail > 0 { s_end } else { s.length() });
    if mid < end {
        outline.alone(None, Some(&s.piece(s.from + mid, s.from + end)));
    }
    if tail > 0 {
        outline.paired(&e.piece(e.from + e_end, e.to), &s.piece(s.from + s_end, s.to), Music::Same);
    }
    true
}
