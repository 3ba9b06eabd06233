//! Which bars of both sides are the same piece: a movement of a larger file, a
//! strophe, an excerpt. What lies outside of it is nobody's doing.

use super::Scope;
use super::cells::{Cell, LEAST_LIKENESS, SideCells, likeness, likenesses};
use crate::score::{Part, Sign};
use crate::time::Time;

/// A rest of so many bars lies outside where a border stands before it or after it.
const AT_BORDER: usize = 3;
/// The same before the piece, without a border: where an editor cuts, it is after the beginning.
const BEFORE: usize = 4;
/// The same after it: an editor cuts less.
const AFTER: usize = 8;
/// So many bars at either end show whether two pieces begin and end alike, if they differ in length by one part in
/// so many at most.
const ENDS: usize = 4;
const PLAINLY: usize = 8;
/// What a bar without a partner costs inside the piece: far jumps to a few bars that are alike do not pay.
const ALONE: f64 = 0.12;
/// Larger tables are not searched.
const LARGEST: usize = 1 << 22;
/// Bars of a second time share this much with the first, on the average.
const LEAST_COMMON: f64 = 0.7;
/// Of the shorter side so much must be found in the other.
const LEAST_FOUND: f64 = 0.5;

/// The common piece; all of both sides where nothing speaks for less.
pub(super) fn find(edition: &SideCells, source: &SideCells) -> Scope {
    let (n, m) = (edition.cells.len(), source.cells.len());
    let all = Scope { edition: 0..n, source: 0..m };
    let ends_meet = || {
        let alike = |e: Option<&Cell>, s: Option<&Cell>| {
            e.zip(s).is_none_or(|(e, s)| likeness(&e.content, &s.content) >= LEAST_LIKENESS)
        };
        alike(edition.cells.first(), source.cells.first()) && alike(edition.cells.last(), source.cells.last())
    };
    if n * m > LARGEST || n.abs_diff(m) < AT_BORDER && ends_meet() || are_plainly_whole(edition, source) {
        return all;
    }
    let Some(found) = best_stretch(edition, source) else { return all };
    let (lead, tail) = ((found.edition.start, found.source.start), (n - found.edition.end, m - found.source.end));
    // An excerpt has something before it, after it, or both, in whatever length.
    let of_side = |side: &SideCells, before: (usize, bool), after: (usize, bool)| match before.1 || after.1 {
        true => before.0..side.cells.len() - after.0,
        false => 0..side.cells.len(),
    };
    Scope {
        edition: of_side(
            edition,
            outside((edition, lead.0), (source, lead.1), Before),
            outside((edition, tail.0), (source, tail.1), After),
        ),
        source: of_side(
            source,
            outside((source, lead.1), (edition, lead.0), Before),
            outside((source, tail.1), (edition, tail.0), After),
        ),
    }
}

use Where::{After, Before};

/// Before the bars that were found, or after them.
#[derive(Clone, Copy)]
enum Where {
    Before,
    After,
}

/// How many bars of one side lie outside at one end, and whether they are so many that nothing else speaks for it.
/// Both sides have a number of bars there that were not found in the other.
fn outside((side, own): (&SideCells, usize), (beside, other): (&SideCells, usize), place: Where) -> (usize, bool) {
    let seam = |side: &SideCells, bars: usize| match place {
        Before => bars,
        After => side.cells.len() - bars,
    };
    // As many bars as the other side has there may stand for each other.
    let even = own.saturating_sub(other);
    // Where new signatures stand a little further in, and the other side has none, a movement begins or ends there.
    let new = |side: &SideCells, mut bars: std::ops::RangeInclusive<usize>| {
        bars.find(|bars| has_new_signature(side, seam(side, *bars)))
    };
    let rest = new(side, even..=own)
        .filter(|_| !(even > 0 && is_border(side, seam(side, even))) && new(beside, 0..=other).is_none())
        .unwrap_or(even);
    let seam = seam(side, rest);
    let least = match (is_border(side, seam), place) {
        (true, _) => AT_BORDER,
        (false, Before) => BEFORE,
        (false, After) => AFTER,
    };
    let is_other = rest > 0 && !is_second_time(side, seam, rest);
    // Beside an ending of its own, a bar more is no excerpt.
    let is_outside = is_other && (rest >= least || other == 0);
    (if is_outside { rest } else { 0 }, is_other && rest >= least)
}

/// Whether the two begin and end alike, and hardly differ in length: nothing is to be searched.
fn are_plainly_whole(edition: &SideCells, source: &SideCells) -> bool {
    let (n, m) = (edition.cells.len(), source.cells.len());
    let alike = |(e, s): (&Cell, &Cell)| **e.content == **s.content;
    let (ours, theirs) = (&edition.cells, &source.cells);
    let first = || ours.iter().zip(theirs).take(ENDS).filter(|p| alike(*p)).count();
    let last = || ours.iter().rev().zip(theirs.iter().rev()).take(ENDS).filter(|p| alike(*p)).count();
    n.abs_diff(m) * PLAINLY <= n.max(m) && 2 * first() >= ENDS && 2 * last() >= ENDS
}

/// The stretch of both sides, in one piece as far as may be, that shares most.
fn best_stretch(edition: &SideCells, source: &SideCells) -> Option<Scope> {
    let (n, m) = (edition.cells.len(), source.cells.len());
    if n.min(m) == 0 {
        return None;
    }
    let like = likenesses(&edition.cells, &source.cells);
    // The best sum that ends before each bar of the source, and where it began.
    let mut before: Vec<(f64, u32, u32)> = (0..=m).map(|j| (0.0, 0, j as u32)).collect();
    let mut end = (0.0, (0, 0), (0, 0));
    for (i, (ours, like)) in edition.cells.iter().zip(like.chunks_exact(m)).enumerate() {
        let i = i + 1;
        let is_silent = ours.content.is_empty();
        // That of the row before, one bar to the left, and that of this row.
        let mut corner = std::mem::replace(&mut before[0], (0.0, i as u32, 0));
        let mut left = before[0];
        for (j, ((theirs, like), cell)) in source.cells.iter().zip(like).zip(&mut before[1..]).enumerate() {
            let j = j + 1;
            let gain = if is_silent && theirs.content.is_empty() { 0.0 } else { like - LEAST_LIKENESS };
            let mut here = (0.0, i as u32, j as u32);
            // A bar without a partner on either side, or two that are paired.
            let alone = if cell.0 > left.0 { *cell } else { left };
            if alone.0 - ALONE > here.0 {
                here = (alone.0 - ALONE, alone.1, alone.2);
            }
            if corner.0 + gain > here.0 {
                here = (corner.0 + gain, corner.1, corner.2);
            }
            corner = std::mem::replace(cell, here);
            left = here;
            if here.0 > end.0 + 1e-9 {
                end = (here.0, (here.1 as usize, i), (here.2 as usize, j));
            }
        }
    }
    let (sum, e, s) = end;
    let few = n.min(m) as f64;
    let found = (e.1 - e.0).min(s.1 - s.0) as f64;
    (found >= LEAST_FOUND * few && sum >= LEAST_FOUND * LEAST_FOUND * found)
        .then_some(Scope { edition: e.0..e.1, source: s.0..s.1 })
}

/// Whether the bars before a seam are played again after it: a repeat written out is no other piece.
fn is_second_time(side: &SideCells, seam: usize, bars: usize) -> bool {
    let cells = |from: usize| side.cells.get(from..from + bars);
    let Some((before, after)) = seam.checked_sub(bars).and_then(cells).zip(cells(seam)) else { return false };
    let sum: f64 = before.iter().zip(after).map(|(a, b)| likeness(&a.content, &b.content)).sum();
    sum >= LEAST_COMMON * bars as f64
}

/// Whether a piece may end before a bar: a double bar stands there, or another time or key begins.
fn is_border(side: &SideCells, bar: usize) -> bool {
    let is_double = |part: &Part| {
        let Some(before) = bar.checked_sub(1).and_then(|b| part.bars.get(b)) else { return false };
        part.marks.iter().filter(|m| m.sign == Sign::DoubleBar).any(|m| {
            m.at.bar + 1 == bar && m.at.offset >= before.length || m.at.bar == bar && m.at.offset == Time::zero()
        })
    };
    has_new_signature(side, bar) || bar < side.cells.len() && side.parts.iter().any(|p| is_double(p))
}

/// Whether another time or key begins with a bar.
fn has_new_signature(side: &SideCells, bar: usize) -> bool {
    let changes = |part: &&Part| {
        let before = bar.checked_sub(1).and_then(|b| part.bars.get(b));
        before.zip(part.bars.get(bar)).is_some_and(|(a, b)| a.meter != b.meter || a.fifths != b.fifths)
    };
    side.parts.iter().any(changes)
}
