//! The staves of an audit: what is asked of the engraver for each part.

use super::{Named, named, rows_of_part};
use crate::alignment::{EditionBar, SourceBar};
use crate::at_once;
use crate::clean::Sides;
use crate::engrave::{Beats, Error, Job, Piece, engrave};
use crate::musicxml::beside::{BarsOfRow, PieceOfBar, Stretch, too_long};
use crate::score::Part;
use crate::time::Time;
use std::collections::BTreeSet;
use std::ops::Range;

/// In tenths of a millimetre, at the usual size of staves.
const WIDTH: u32 = 2400;
/// Bars that are drawn at once, at most; on the desk someone waits for them.
const BARS_OF_PIECE: usize = 50;
const BARS_AT_THE_DESK: usize = 40;
/// Bars of a passage that has a picture of its own, with one before and one after.
const MOST_IN_EXCERPT: usize = 8;

/// One part of an audit, drawn.
pub struct Staves {
    /// Of all the score, each with several systems.
    pub pictures: Vec<String>,
    /// Whether there are others of the same part.
    pub is_piece: bool,
    /// Of passages, one each.
    pub excerpts: Vec<String>,
    /// What the names in the drawing (`m0`, `m1` …) stand for: findings.
    pub subjects: Vec<Vec<usize>>,
    /// Of each bar drawn, in order, its bar in the edition and in the source.
    pub bars: Vec<(Option<usize>, Option<usize>)>,
    /// Of each passage found its picture among the excerpts, if it has one.
    pub passages: Vec<Option<usize>>,
}

/// A part of an audit, to be drawn.
pub struct ToDraw {
    name: String,
    pieces: Vec<Piece>,
    /// How many of the pieces are the score; the others are excerpts.
    of_score: usize,
    subjects: Vec<Vec<usize>>,
    bars: Vec<(Option<usize>, Option<usize>)>,
    passages: Vec<Option<usize>>,
    is_piece: bool,
}

/// Has a part of an audit drawn; only the bars of the edition that are looked at.
///
/// # Errors
/// Why there are no staves, in a sentence.
pub fn staves(sides: Sides, place: usize, looked_at: &Range<usize>) -> Result<Staves, String> {
    to_draw(sides, place, looked_at, For::Page)?.draw()
}

/// What staves are drawn for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum For {
    /// All of it, with an excerpt of each passage.
    Page,
    /// Piece by piece.
    Desk,
}

/// What is to be drawn of a part of an audit.
///
/// # Errors
/// Why there are no staves, in a sentence.
pub fn to_draw(sides: Sides, place: usize, looked_at: &Range<usize>, aim: For) -> Result<ToDraw, String> {
    let part = &sides.edition.parts[sides.collation.parts[place].edition];
    let name = if part.name.is_empty() { &part.id } else { &part.name };
    let alignment = &sides.collation.parts[place];
    let parts = [&sides.edition.parts[alignment.edition], &sides.source.parts[alignment.source]];
    if let Some(reason) = parts.into_iter().find_map(too_long) {
        return Err(format!("{name} has no staves: {reason}"));
    }
    let rows = rows_of_part(&sides, place);
    let seen = |row: &usize| rows[*row].1.is_some_and(|piece| looked_at.contains(&piece.bar));
    let all = looked_at.start == 0 && (0..rows.len()).all(|row| rows[row].1.is_none() || seen(&row));
    // What was not compared is not drawn, unless it was asked for.
    let compared = sides.collation.outline.iter().filter(|row| !row.outside);
    let (theirs, ours): (BTreeSet<_>, BTreeSet<_>) =
        compared.map(|row| (row.source.map(SourceBar::index), row.edition.map(EditionBar::index))).unzip();
    let is_in = |bars: &BTreeSet<Option<usize>>, piece| bar(piece).is_some_and(|bar| bars.contains(&Some(bar)));
    let is_compared = |row: &usize| is_in(&theirs, &rows[*row].0) || is_in(&ours, &rows[*row].1);
    let ends = |test: &dyn Fn(&usize) -> bool| (0..rows.len()).find(test).zip((0..rows.len()).rfind(test));
    let shown = ends(&|row| is_compared(row) && (all || seen(row))).or_else(|| ends(&seen));
    let (first, last) = shown.unwrap_or((0, rows.len().saturating_sub(1)));
    let (excerpts, passages, bars_of_piece) = match aim {
        For::Page => {
            let (excerpts, passages) = excerpts(&sides, place, &rows);
            (excerpts, passages, BARS_OF_PIECE)
        }
        For::Desk => (Vec::new(), Vec::new(), BARS_AT_THE_DESK),
    };
    let mut stretches = pieces(first, last, bars_of_piece);
    let of_score = stretches.len();
    stretches.extend(excerpts);
    let Some(Named { music, subjects }) = named(sides, place, &rows, &stretches) else {
        return Err(format!(
            "{name} has no staves: the source has its music on one staff of several, or in several parts"
        ));
    };
    let beats = beats(&sides, place, &rows);
    let piece = |(place, (Stretch { music, signs }, (first, last))): (usize, (Stretch, &(usize, usize)))| {
        let units = beats.units[*first..=*last].to_vec();
        let width = (place < of_score).then_some(WIDTH);
        Piece { width, music, beats: Beats { units, ..beats }, signs }
    };
    let pieces = music.into_iter().zip(&stretches).enumerate().map(piece).collect();
    let bars = rows[first..=last].iter().map(|(source, edition)| (bar(edition), bar(source))).collect();
    Ok(ToDraw { name: name.clone(), pieces, of_score, subjects, bars, passages, is_piece: false })
}

impl ToDraw {
    /// How many pieces the score has.
    pub fn count(&self) -> usize {
        self.of_score
    }

    /// One of its pieces.
    pub fn piece(&self, place: usize) -> Option<ToDraw> {
        let bars = |piece: &Piece| piece.beats.units.len();
        let own = self.pieces.get(place).filter(|_| place < self.of_score)?;
        let before: usize = self.pieces[..place].iter().map(bars).sum();
        Some(ToDraw {
            name: self.name.clone(),
            pieces: vec![own.clone()],
            of_score: 1,
            subjects: self.subjects.clone(),
            bars: self.bars[before..before + bars(own)].to_vec(),
            passages: Vec::new(),
            is_piece: true,
        })
    }

    /// Has it drawn.
    ///
    /// # Errors
    /// Why there are no staves, in a sentence.
    pub fn draw(self) -> Result<Staves, String> {
        let ToDraw { name, pieces, of_score, subjects, bars, passages, is_piece } = self;
        let mut pictures = drawn(pieces).map_err(|fault| format!("{name} has no staves: {fault}"))?;
        let excerpts = pictures.split_off(of_score).concat();
        Ok(Staves { pictures: pictures.concat(), excerpts, subjects, bars, passages, is_piece })
    }
}

/// Has pieces drawn by two processes at once, each with half of the music.
fn drawn(pieces: Vec<Piece>) -> Result<Vec<Vec<String>>, Error> {
    let mut halves: [(Vec<usize>, Vec<Piece>); 2] = Default::default();
    let mut sizes = [0, 0];
    let count = pieces.len();
    for (place, piece) in pieces.into_iter().enumerate() {
        let half = usize::from(sizes[1] < sizes[0]);
        sizes[half] += piece.music.len();
        halves[half].0.push(place);
        halves[half].1.push(piece);
    }
    let [one, other] = halves;
    let draw = |pieces: Vec<Piece>| match pieces.is_empty() {
        true => Ok(Vec::new()),
        false => engrave(&Job::Systems(pieces)).map(|drawing| drawing.pictures),
    };
    let (first, second) = at_once::both(|| draw(one.1), || draw(other.1));
    let mut out = vec![Vec::new(); count];
    for (places, pictures) in [(one.0, first?), (other.0, second?)] {
        for (place, drawn) in places.into_iter().zip(pictures) {
            out[place] = drawn;
        }
    }
    Ok(out)
}

/// Long scores are drawn in pieces: the engraver's time grows faster than they do.
fn pieces(first: usize, last: usize, most: usize) -> Vec<(usize, usize)> {
    let bars = last + 1 - first;
    let count = bars.div_ceil(most).max(1);
    let begin = |piece: usize| first + piece * bars / count;
    (0..count).map(|piece| (begin(piece), begin(piece + 1) - 1)).collect()
}

fn bar(piece: &Option<PieceOfBar>) -> Option<usize> {
    piece.map(|piece| piece.bar)
}

/// In which notes the time signatures of both sides count, bar by bar.
fn beats(sides: &Sides, place: usize, rows: &[BarsOfRow]) -> Beats {
    let alignment = &sides.collation.parts[place];
    let parts = [&sides.source.parts[alignment.source], &sides.edition.parts[alignment.edition]];
    let unit = |part: &Part, bar: usize| part.bars.get(bar).map(|bar| (Time::from(4) / bar.meter.beat).to_integer());
    let mut now = [4, 4];
    let units = rows.iter().map(|(source, edition)| {
        for (side, bar) in [bar(source), bar(edition)].into_iter().enumerate() {
            now[side] = bar.and_then(|bar| unit(parts[side], bar)).unwrap_or(now[side]);
        }
        now
    });
    Beats { upper: parts[0].staves, lower: parts[1].staves, units: units.collect() }
}

/// The bars that passages are shown in, and of each passage the place of its
/// picture among them.
fn excerpts(sides: &Sides, place: usize, rows: &[BarsOfRow]) -> (Vec<(usize, usize)>, Vec<Option<usize>>) {
    let alignment = &sides.collation.parts[place];
    let edition = &sides.edition.parts[alignment.edition];
    let mut pictures = Vec::new();
    let places = sides.findings[place].passages.iter().map(|passage| {
        let own = passage.rows(sides.collation, alignment, edition);
        let own = &sides.collation.outline[own.iter()];
        let ours: BTreeSet<usize> = own.iter().filter_map(|row| row.edition.map(EditionBar::index)).collect();
        let theirs: BTreeSet<usize> = own.iter().filter_map(|row| row.source.map(SourceBar::index)).collect();
        let is_in = |bars: &BTreeSet<usize>, piece| bar(piece).is_some_and(|bar| bars.contains(&bar));
        let held = (0..rows.len()).filter(|row| is_in(&theirs, &rows[*row].0) || is_in(&ours, &rows[*row].1));
        let (first, last) = held.fold((usize::MAX, 0), |(a, b), row| (a.min(row), b.max(row)));
        (first <= last && last - first < MOST_IN_EXCERPT).then(|| {
            pictures.push((first.saturating_sub(1), (last + 1).min(rows.len() - 1)));
            pictures.len() - 1
        })
    });
    let places = places.collect();
    (pictures, places)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_nearly_equal_and_leave_nothing_out() {
        assert_eq!(pieces(0, 49, 50), [(0, 49)]);
        assert_eq!(pieces(0, 50, 50), [(0, 24), (25, 50)]);
        assert_eq!(pieces(5, 5, 50), [(5, 5)]);
        assert_eq!(pieces(10, 159, 50), [(10, 59), (60, 109), (110, 159)]);
    }
}
