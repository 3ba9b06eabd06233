//! Places of one side in the other.

use super::Finder;
use crate::alignment::{EditionBar, EditionNote, NoteOf, PartOf, Side, SourceNote, Table};
use crate::collate::{BarPair, OtherMusic};
use crate::score::{Anchor, Place};
use crate::time::Time;

/// For each note of a side the first stretch of other music that it is in.
pub(super) fn other_music_of<S: Side>(
    part: PartOf<S>,
    stretches: &[OtherMusic],
    notes: fn(&OtherMusic) -> &[NoteOf<S>],
) -> Table<NoteOf<S>, Option<usize>> {
    let mut out = part.for_notes(None);
    for (place, stretch) in stretches.iter().enumerate().rev() {
        notes(stretch).iter().for_each(|note| out[*note] = Some(place));
    }
    out
}

/// The rows of the outline, counted once.
pub(super) struct RowCounts {
    /// Rows that the edition has.
    of_edition: Vec<usize>,
    /// How many rows before each one, and in all, a side has.
    editions: Vec<usize>,
    sources: Vec<usize>,
}

impl RowCounts {
    pub(super) fn new(outline: &[BarPair]) -> RowCounts {
        let before = |has: fn(&BarPair) -> bool| {
            let counts = outline.iter().scan(0, |count, row| {
                *count += usize::from(has(row));
                Some(*count)
            });
            std::iter::once(0).chain(counts).collect()
        };
        RowCounts {
            of_edition: (0..outline.len()).filter(|row| outline[*row].edition.is_some()).collect(),
            editions: before(|row| row.edition.is_some()),
            sources: before(|row| row.source.is_some()),
        }
    }
}

impl Finder<'_> {
    pub(super) fn other_music_with(&self, edition: Option<EditionNote>, source: Option<SourceNote>) -> Option<usize> {
        let ours = edition.and_then(|n| self.in_edition[n]);
        let theirs = source.and_then(|n| self.in_source[n]);
        ours.into_iter().chain(theirs).min()
    }

    /// The stretch that covers a place; a mark on a note goes with its note.
    pub(super) fn other_music_at(
        &self,
        row: usize,
        offset: Time,
        edition: Option<EditionNote>,
        source: Option<SourceNote>,
    ) -> Option<usize> {
        if edition.is_some_and(|n| self.edition[n].is_struck()) || source.is_some_and(|n| self.source[n].is_struck()) {
            return self.other_music_with(edition, source);
        }
        self.alignment.other_music.iter().position(|s| {
            (row, offset) >= (s.rows.first, s.from)
                && (row < s.rows.last || row == s.rows.last && s.to.is_none_or(|to| offset < to))
        })
    }

    /// The place in the source of a place in the edition, outside other music.
    pub(super) fn to_source(&self, at: Anchor) -> Option<Place> {
        let row = self.collation.edition_row(at.place);
        let pair = self.collation.outline[row];
        let bar = pair.source_played()?;
        let carrier = self.edition.carrier(at).map(|n| self.edition.head(n));
        if self.other_music_at(row, at.offset, carrier, None).is_some() {
            return None;
        }
        Some(bar.at(pair.to_source(at.offset)))
    }

    pub(super) fn place_in_source(&self, place: Place) -> Option<Place> {
        self.to_source(Anchor { place, note: None })
    }

    /// A place of the source in the edition's bar of a strain's second time, or
    /// in as many bars after it.
    pub(super) fn in_row(&self, row: usize, place: Place) -> Place {
        let outline = &self.collation.outline;
        let own = |r: &&BarPair| r.again == Some(place.bar) && place.offset >= r.source_from;
        let pair = outline[row..].iter().take_while(|r| r.again.is_some()).filter(own).last().unwrap_or(&outline[row]);
        let bar = pair.edition_played().unwrap_or(EditionBar::new(0));
        bar.at(pair.to_edition(place.offset))
    }

    /// Where in the edition a place of the source would stand.
    pub(super) fn to_edition(&self, place: Place) -> Place {
        let row = self.collation.source_row(place);
        let pair = self.collation.outline[row];
        if let Some(bar) = pair.edition_played() {
            return bar.at(pair.to_edition(place.offset));
        }
        // Inside rewritten music: the bar that comes as late in it.
        let stretch = self.alignment.other_music.iter().find(|s| s.rows.contains(row));
        if let Some(stretch) = stretch {
            let (first, end) = (stretch.rows.first, stretch.rows.last + 1);
            let ours = &self.rows.of_edition[self.rows.editions[first]..self.rows.editions[end]];
            let before = self.rows.sources[row] - self.rows.sources[first];
            if let Some(bar) = ours.get(before).or(ours.last()).and_then(|r| self.collation.outline[*r].edition) {
                return bar.at(place.offset.min(self.edition[bar].length));
            }
        }
        self.seam(row)
    }

    /// Where the edition goes on after a row that it lacks.
    pub(super) fn seam(&self, row: usize) -> Place {
        let next = self.rows.of_edition.get(self.rows.editions[row]).map(|r| &self.collation.outline[*r]);
        if let Some(place) = next.and_then(BarPair::edition_place) {
            return place;
        }
        let last = self.edition.bars.len().saturating_sub(1);
        Place { bar: last, offset: self.edition.bars.get(last).map_or(Time::from(0), |b| b.length) }
    }
}
