//! Which bars, and pieces of bars, stand above each other: by time, as they are
//! played, wherever the music can be cut at the other side's barlines.

use crate::alignment::{BarPair, EditionBar, SourceBar};
use crate::musicxml::beside::{BarsOfRow, PieceOfBar};
use crate::time::Time;

/// The rows of an outline that is laid as it is played. `can_be_cut` says of a
/// bar of the source (0) or the edition (1) whether it can be cut at an offset.
pub fn by_time(outline: &[BarPair], can_be_cut: impl Fn(usize, usize, Time) -> bool) -> Vec<BarsOfRow> {
    let pieces = [
        pieces(outline.iter().map(|p| p.source.map(|bar| (SourceBar::index(bar), p.source_from))).collect()),
        pieces(outline.iter().map(|p| p.edition.map(|bar| (EditionBar::index(bar), p.edition_from))).collect()),
    ];
    let [theirs, ours] = &pieces;
    let mut out = Vec::with_capacity(outline.len());
    let (mut first, mut open) = (0, [false, false]);
    for row in 0..outline.len() {
        for (side, open) in open.iter_mut().enumerate() {
            *open = pieces[side][row].map_or(*open, |piece| piece.to.is_some());
        }
        if open.contains(&true) && row + 1 < outline.len() {
            continue;
        }
        let cuts = (first..=row).flat_map(|row| [0, 1].map(|side| pieces[side][row].map(|piece| (side, piece))));
        let is_clean = cuts.flatten().all(|(side, piece)| piece.to.is_none_or(|to| can_be_cut(side, piece.bar, to)));
        match is_clean {
            true => out.extend((first..=row).map(|row| (theirs[row], ours[row]))),
            false => out.extend(whole(&theirs[first..=row], &ours[first..=row])),
        }
        first = row + 1;
    }
    out
}

/// Each piece with its end: where the next one of its bar begins.
fn pieces(begins: Vec<Option<(usize, Time)>>) -> Vec<Option<PieceOfBar>> {
    let mut next: Option<(usize, Time)> = None;
    let mut out: Vec<Option<PieceOfBar>> = begins
        .iter()
        .rev()
        .map(|own| {
            let (bar, from) = (*own)?;
            let to = next.filter(|later| later.0 == bar).map(|later| later.1);
            next = Some((bar, from));
            Some(PieceOfBar { bar, from, to })
        })
        .collect();
    out.reverse();
    // Whatever stands before the first piece is in it.
    let mut before = None;
    for piece in out.iter_mut().flatten() {
        if before != Some(piece.bar) {
            piece.from = Time::zero();
        }
        before = Some(piece.bar);
    }
    out
}

/// The bars of some pieces, one beside the other as they follow each other.
fn whole(source: &[Option<PieceOfBar>], edition: &[Option<PieceOfBar>]) -> Vec<BarsOfRow> {
    let [theirs, ours] = [source, edition].map(|pieces| {
        let mut bars: Vec<usize> = pieces.iter().flatten().map(|piece| piece.bar).collect();
        bars.dedup();
        bars
    });
    let bar = |bars: &[usize], place: usize| bars.get(place).map(|bar| PieceOfBar::whole(*bar));
    (0..theirs.len().max(ours.len())).map(|place| (bar(&theirs, place), bar(&ours, place))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An upbeat that the edition prints as a bar of its own.
    fn outline() -> Vec<BarPair> {
        let pair = |edition: usize, source, source_from: i64| BarPair {
            edition: Some(EditionBar::new(edition)),
            source: Some(SourceBar::new(source)),
            again: None,
            again_to: None,
            outside: false,
            edition_from: Time::zero(),
            source_from: Time::from(source_from),
            shift: Time::zero(),
            scale: Time::from(1),
        };
        vec![pair(0, 0, 0), pair(1, 1, 0), pair(2, 1, 3), pair(3, 2, 0)]
    }

    #[test]
    fn bars_are_cut_where_the_other_side_has_its_barline() {
        let told = |rows: Vec<BarsOfRow>| -> Vec<[Option<(usize, i64, bool)>; 2]> {
            let one = |piece: Option<PieceOfBar>| piece.map(|p| (p.bar, p.from.to_integer(), p.to.is_some()));
            rows.into_iter().map(|(source, edition)| [one(source), one(edition)]).collect()
        };
        let cut = told(by_time(&outline(), |side, bar, at| (side, bar, at) == (0, 1, Time::from(3))));
        let bar = |bar| Some((bar, 0, false));
        assert_eq!(
            cut,
            [[bar(0), bar(0)], [Some((1, 0, true)), bar(1)], [Some((1, 3, false)), bar(2)], [bar(2), bar(3)]]
        );
        let uncut = told(by_time(&outline(), |_, _, _| false));
        assert_eq!(uncut, [[bar(0), bar(0)], [bar(1), bar(1)], [None, bar(2)], [bar(2), bar(3)]]);
    }
}
