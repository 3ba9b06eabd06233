//! Which bar stands for which: equal bars first, then the likeliest pairs
//! among what lies between them.

use super::builder::{Music, OutlineBuilder};
use super::cells::{Cell, LEAST_LIKENESS, SideCells, common_measure, frames, likenesses, numbers};
use super::rows::{Row, close, fused, with_outside};
use super::runs::runs;
use super::{Layout, PartView, Scope, barlines, repeats, scope};
use crate::alignment::{EditionNote, SourceNote};
use crate::time::Time;
use std::ops::Range;

/// Larger gaps are not searched for pairs note by note.
const LARGEST_GAP: usize = 1 << 20;
/// The same of the notes of one side by those of the other.
const MOST_NOTES: usize = 1 << 34;
/// What it costs to leave a bar without a partner: where it is all one, as few
/// as may be.
const ALONE: f64 = 1e-4;
/// Pieces of bars shorter than this share of a bar are too short to compare.
const SHORTEST_PIECE: i64 = 4;

/// Lays the bars of both sides beside each other.
///
/// `scale` says how many times as long the edition writes its values.
pub fn outline(views: &[PartView], scale: Time, layout: Layout) -> (Vec<Row>, Scope) {
    let mut edition = SideCells::new(views.iter().map(|v| v.edition.part()).collect(), scale, |part, note| {
        views[part].edition_height(EditionNote::new(note))
    });
    let mut source = SideCells::new(views.iter().map(|v| v.source.part()).collect(), Time::from(1), |part, note| {
        views[part].source_height(SourceNote::new(note))
    });
    let scope = scope::find(&edition, &source);
    edition.restrict(scope.edition.clone());
    source.restrict(scope.source.clone());
    let (ours, theirs) = (edition.usual_length(), source.usual_length());
    if layout == Layout::Played && ours != theirs && !ours.is_zero() && !theirs.is_zero() {
        let piece = common_measure(ours, theirs);
        let is_near = piece * Time::from(SHORTEST_PIECE) >= ours.min(theirs);
        if is_near && edition.can_be_cut(piece) && source.can_be_cut(piece) {
            edition.cut(piece);
            source.cut(piece);
        }
    }
    let Laid { mut rows, unlike, common, .. } =
        laid(&edition, &source, layout, Some(0).filter(|_| layout == Layout::Played));
    if layout == Layout::Played
        && let Some(played) = repeats::Unfolded::new(views, &rows, unlike)
        && let Some(better) = as_played(&mut edition, &mut source, played, common)
    {
        rows = better;
    }
    close(&mut rows);
    (with_outside(rows, &scope, views), scope)
}

/// The rows with the second times of strains that the other side writes out;
/// `None` where it writes out none. `as_written`: what both share without them, in quarter notes.
fn as_played(
    edition: &mut SideCells,
    source: &mut SideCells,
    played: repeats::Unfolded,
    as_written: f64,
) -> Option<Vec<Row>> {
    let folded = (edition.cells.clone(), source.cells.clone());
    let unfold = |strains: &repeats::Unfolded, edition: &mut SideCells, source: &mut SideCells| {
        (edition.cells, source.cells) = folded.clone();
        (edition.cells, source.cells) = strains.cells(edition, source);
    };
    let lay = |strains: &repeats::Unfolded, edition: &SideCells, source: &SideCells| {
        let new = laid(edition, source, Layout::Played, Some(strains.count()));
        let fewer = strains.fewer(&new.rows, &new.shared, new.common - as_written);
        (new.rows, fewer)
    };
    let mut played = if played.count() > repeats::MOST_ALONE {
        played
    } else {
        let mut held = Vec::new();
        let alone = played.filter(|one| {
            unfold(one, edition, source);
            // No bar is shared twice: most often too few are left.
            if !repeats::could_explain([&edition.cells, &source.cells], as_written) {
                return false;
            }
            let (rows, fewer) = lay(one, edition, source);
            held = rows;
            fewer.is_none()
        });
        if alone.count() == 1 && played.count() == 1 {
            return Some(held);
        }
        alone
    };
    while !played.is_empty() {
        unfold(&played, edition, source);
        match lay(&played, edition, source) {
            (_, Some(fewer)) => played = fewer,
            (rows, None) => return Some(rows),
        }
    }
    None
}

/// The cells of both sides beside each other.
struct Laid {
    rows: Vec<Row>,
    /// How many of each side have no equal one.
    unlike: (usize, usize),
    /// What the second times of strains share with the other side.
    shared: Vec<repeats::Shared>,
    /// What both sides share in all, in quarter notes; 0 where it is not counted.
    common: f64,
}

/// Lays the cells beside each other; counts what they share where there may be
/// strains that are played twice, and so many.
fn laid(edition: &SideCells, source: &SideCells, layout: Layout, strains: Option<usize>) -> Laid {
    let (theirs, ours) = numbers(&source.cells, &edition.cells);
    let shared = strains.map(|count| repeats::wanted([&edition.cells, &source.cells], count));
    let mut builder = OutlineBuilder { edition, source, layout, rows: Vec::new(), shared, common: 0.0 };
    let mut unlike = (0, 0);
    for run in runs(&theirs, &ours) {
        if run.equal {
            for (e, s) in run.edition.zip(run.source) {
                builder.paired(&edition.cells[e], &source.cells[s], Music::Same);
            }
        } else {
            unlike = (unlike.0 + run.edition.len(), unlike.1 + run.source.len());
            builder.gap(run.edition, run.source);
        }
    }
    Laid { rows: fused(builder.rows), unlike, shared: builder.shared.unwrap_or_default(), common: builder.common }
}

impl OutlineBuilder<'_> {
    /// Pairs what can be paired between two equal places, in order.
    fn gap(&mut self, e: Range<usize>, s: Range<usize>) {
        let (edition, source) = (self.edition, self.source);
        if self.layout == Layout::Played && barlines::moved(self, &edition.cells[e.clone()], &source.cells[s.clone()]) {
            return;
        }
        let notes = |cells: &[Cell]| cells.iter().map(|c| c.content.len()).sum::<usize>();
        let all = notes(&edition.cells[e.clone()]).saturating_mul(notes(&source.cells[s.clone()]));
        let pairs = if e.len() * s.len() <= LARGEST_GAP && all <= MOST_NOTES {
            best_pairs(edition, source, &e, &s)
        } else {
            Vec::new()
        };
        let (mut i, mut j) = (e.start, s.start);
        for (pe, ps) in pairs.into_iter().chain([(e.end, s.end)]) {
            self.unlike(i..pe, j..ps);
            if pe < e.end {
                let (ours, theirs) = (&edition.cells[pe], &source.cells[ps]);
                if self.layout == Layout::Printed || !barlines::stretched(self, ours, theirs) {
                    self.paired(ours, theirs, Music::Same);
                }
            }
            (i, j) = (pe + 1, ps + 1);
        }
    }

    /// Bars between two pairs that resemble nothing. As many on both sides, and
    /// as long: they stand for each other, but were rewritten.
    fn unlike(&mut self, e: Range<usize>, s: Range<usize>) {
        let (ours, theirs) = (&self.edition.cells[e], &self.source.cells[s]);
        if let ([e], [s]) = (ours, theirs)
            && self.layout == Layout::Played
            && barlines::stretched(self, e, s)
        {
            return;
        }
        let same_lengths = ours.len() == theirs.len() && ours.iter().zip(theirs).all(|(e, s)| e.length() == s.length());
        if !same_lengths {
            for e in ours {
                self.alone(Some(e), None);
            }
            for s in theirs {
                self.alone(None, Some(s));
            }
            return;
        }
        let single = ours.len() == 1;
        for (e, s) in ours.iter().zip(theirs) {
            // One bar of one or two notes with a wrong one is no other music.
            let few = e.content.len() <= 2 && s.content.len() <= 2;
            let same = single && few || frames(&e.content, &s.content);
            self.paired(e, s, if same { Music::Same } else { Music::Other });
        }
    }
}

/// The pairs of bars, in order, whose likeness adds up to most.
fn best_pairs(edition: &SideCells, source: &SideCells, e: &Range<usize>, s: &Range<usize>) -> Vec<(usize, usize)> {
    let (n, m) = (e.len(), s.len());
    let like = likenesses(&edition.cells[e.clone()], &source.cells[s.clone()]);
    let gain = |i: usize, j: usize| like[i * m + j] - LEAST_LIKENESS + 1e-6;
    let mut best = vec![0.0_f64; (n + 1) * (m + 1)];
    for i in (0..n).rev() {
        for j in (0..m).rev() {
            let skip = best[(i + 1) * (m + 1) + j].max(best[i * (m + 1) + j + 1]) - ALONE;
            // Bars that resemble nothing still stand for each other, if nothing better is to be had.
            best[i * (m + 1) + j] = skip.max(best[(i + 1) * (m + 1) + j + 1] + gain(i, j).max(0.0));
        }
    }
    let (mut i, mut j, mut out) = (0, 0, Vec::new());
    while i < n && j < m {
        let here = best[i * (m + 1) + j];
        if gain(i, j) > 0.0 && here <= best[(i + 1) * (m + 1) + j + 1] + gain(i, j) + 1e-9 {
            out.push((e.start + i, s.start + j));
            i += 1;
            j += 1;
        } else if gain(i, j) <= 0.0 && here <= best[(i + 1) * (m + 1) + j + 1] + 1e-9 {
            i += 1;
            j += 1;
        } else if here <= best[(i + 1) * (m + 1) + j] - ALONE + 1e-9 {
            i += 1;
        } else {
            j += 1;
        }
    }
    out
}
