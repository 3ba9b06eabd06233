//! Places of one side in the other.

use super::{Finder, Spot};
use crate::score::{NoteId, Place};
use crate::time::Time;

impl Finder<'_> {
    pub(super) fn stretch_of(&self, edition: Option<NoteId>, source: Option<NoteId>) -> Option<usize> {
        self.alignment.stretches.iter().position(|s| {
            edition.is_some_and(|n| s.edition.binary_search(&n).is_ok())
                || source.is_some_and(|n| s.source.binary_search(&n).is_ok())
        })
    }

    /// The stretch that covers a place; a mark on a note goes with its note.
    pub(super) fn stretch_at(
        &self,
        row: usize,
        offset: Time,
        edition: Option<NoteId>,
        source: Option<NoteId>,
    ) -> Option<usize> {
        if edition.is_some_and(|n| self.edition.notes[n].is_struck())
            || source.is_some_and(|n| self.source.notes[n].is_struck())
        {
            return self.stretch_of(edition, source);
        }
        self.alignment.stretches.iter().position(|s| {
            (row, offset) >= (s.outline.0, s.from)
                && (row < s.outline.1 || row == s.outline.1 && s.to.is_none_or(|to| offset < to))
        })
    }

    /// The place in the source of a place in the edition, outside other music.
    pub(super) fn to_source(&self, place: Place) -> Option<Spot> {
        let row = self.collation.edition_row(place.bar, place.offset);
        let pair = self.collation.outline[row];
        let bar = pair.source.or(pair.again)?;
        let carrier = place.note.map(|n| self.edition.head(n));
        if self.stretch_at(row, place.offset, carrier, None).is_some() {
            return None;
        }
        Some(Spot { bar, offset: pair.to_source(place.offset) })
    }

    /// Where in the edition a place of the source would stand.
    pub(super) fn to_edition(&self, spot: Spot) -> Spot {
        let row = self.collation.source_row(spot.bar, spot.offset);
        let pair = self.collation.outline[row];
        if let Some(bar) = pair.edition {
            return Spot { bar, offset: pair.to_edition(spot.offset) };
        }
        // Inside rewritten music: the bar that comes as late in it.
        let stretch = self.alignment.stretches.iter().find(|s| (s.outline.0..=s.outline.1).contains(&row));
        if let Some(stretch) = stretch {
            let rows = stretch.outline.0..=stretch.outline.1;
            let ours: Vec<usize> = rows.clone().filter_map(|r| self.collation.outline[r].edition).collect();
            let before =
                rows.clone().take_while(|r| *r < row).filter(|r| self.collation.outline[*r].source.is_some()).count();
            if let Some(&bar) = ours.get(before).or(ours.last()) {
                return Spot { bar, offset: spot.offset.min(self.edition.bars[bar].length) };
            }
        }
        self.seam(row)
    }

    /// Where the edition goes on after a row that it lacks.
    pub(super) fn seam(&self, row: usize) -> Spot {
        let next =
            self.collation.outline[row..].iter().find_map(|p| Some(Spot { bar: p.edition?, offset: p.edition_from }));
        if let Some(spot) = next {
            return spot;
        }
        let last = self.edition.bars.len().saturating_sub(1);
        Spot { bar: last, offset: self.edition.bars.get(last).map_or(Time::from(0), |b| b.length) }
    }
}
