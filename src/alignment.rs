//! Which bar, note and mark of one side stands where the other has its: plain
//! tables, which `collate` fills and everything after it reads.

mod sides;

use crate::pitch::Interval;
use crate::score::{Place, Score};
use crate::time::Time;
use std::ops::RangeInclusive;

pub use sides::{
    BarOf, Edition, EditionBar, EditionMark, EditionNote, EditionPart, MarkOf, NoteOf, PartOf, Side, Source, SourceBar,
    SourceMark, SourceNote, SourcePart, Table,
};

/// A bar of the edition, the bar of the source that it stands for, or both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BarPair {
    pub edition: Option<EditionBar>,
    pub source: Option<SourceBar>,
    /// Where one side writes out what the other only repeats: the bar that
    /// comes back, of the side that has no bar here, by its index.
    pub again: Option<usize>,
    /// Where in that bar the music that comes back ends; `None` at its end.
    pub again_to: Option<Time>,
    /// It lies outside of the piece that both sides have.
    pub outside: bool,
    /// Where in its bars the pair begins: after 0 where the sides set their
    /// barlines otherwise.
    pub edition_from: Time,
    pub source_from: Time,
    /// What is at offset t in the source is at `scale` · t + `shift` in the edition.
    pub shift: Time,
    /// How many times as long the edition writes its values.
    pub scale: Time,
}

impl BarPair {
    /// Where in the edition it begins.
    pub fn edition_place(&self) -> Option<Place> {
        Some(self.edition?.at(self.edition_from))
    }

    /// Where in the source it begins.
    pub fn source_place(&self) -> Option<Place> {
        Some(self.source?.at(self.source_from))
    }

    /// The bar of the edition that is played here: its own, or the one that comes back.
    pub fn edition_played(&self) -> Option<EditionBar> {
        self.edition.or(self.again.map(EditionBar::new))
    }

    /// The bar of the source that is played here: its own, or the one that comes back.
    pub fn source_played(&self) -> Option<SourceBar> {
        self.source.or(self.again.map(SourceBar::new))
    }

    /// The offset in the edition's bar of an offset in the source's.
    pub fn to_edition(self, offset: Time) -> Time {
        if self.scale == Time::from(1) { offset + self.shift } else { offset * self.scale + self.shift }
    }

    /// The offset in the source's bar of an offset in the edition's.
    pub fn to_source(self, offset: Time) -> Time {
        if self.scale == Time::from(1) { offset - self.shift } else { (offset - self.shift) / self.scale }
    }
}

/// One part of the edition beside one part of the source. Tables are indexed
/// by note; only struck notes have partners.
#[derive(Debug)]
pub struct PartAlignment {
    pub edition: usize,
    pub source: usize,
    /// From the source's sounding pitch to the edition's.
    pub interval: Interval,
    pub edition_to_source: Table<EditionNote, Option<SourceNote>>,
    pub source_to_edition: Table<SourceNote, Option<EditionNote>>,
    pub ties: Vec<TieChange>,
    pub written_out: Vec<WrittenOutOrnament>,
    pub revoiced: Vec<Revoiced>,
    pub other_music: Vec<OtherMusic>,
    pub marks: Vec<MarkPair>,
}

/// One held note against several struck ones, the first of which is its partner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TieChange {
    /// The held note is the edition's: the tie was added.
    pub added: bool,
    pub edition: Vec<EditionNote>,
    pub source: Vec<SourceNote>,
}

fn exchanged<S: Side>(notes: &[NoteOf<S>]) -> Vec<NoteOf<S::Other>> {
    notes.iter().map(|n| n.exchanged()).collect()
}

impl TieChange {
    fn exchanged(&self) -> TieChange {
        TieChange { added: !self.added, edition: exchanged(&self.source), source: exchanged(&self.edition) }
    }
}

/// A plain note or chord of one side that the other writes out in small notes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenOutOrnament {
    /// The source writes it out, and the edition has it plain.
    pub by_source: bool,
    /// The source's note or, where it writes out, the first of its small ones.
    pub source: SourceNote,
    /// The other notes of the source: of a chord that is broken, or small ones.
    pub chord: Vec<SourceNote>,
    /// The edition's notes: small ones, or those of the plain chord.
    pub edition: Vec<EditionNote>,
    /// The source's sign that the small notes stand for.
    pub sign: Option<SourceMark>,
    /// What they are: a trill, a turn …
    pub name: &'static str,
}

/// Rows of the outline, from the first to the last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct RowRange {
    pub first: usize,
    pub last: usize,
}

impl RowRange {
    pub fn contains(self, row: usize) -> bool {
        self.first <= row && row <= self.last
    }

    pub fn iter(self) -> RangeInclusive<usize> {
        self.first..=self.last
    }

    /// From the first of both to the last of both.
    pub fn with(self, other: RowRange) -> RowRange {
        RowRange { first: self.first.min(other.first), last: self.last.max(other.last) }
    }
}

/// Chords of the same tones, laid out otherwise: the notes that differ.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Revoiced {
    pub edition: Vec<EditionNote>,
    pub source: Vec<SourceNote>,
    /// What it touches.
    pub rows: RowRange,
}

/// Music that is not the other side's: nothing inside it has a partner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OtherMusic {
    pub edition: Vec<EditionNote>,
    pub source: Vec<SourceNote>,
    /// What it touches.
    pub rows: RowRange,
    /// From the offset in the first row that it covers, 0 for all of it.
    pub from: Time,
    /// To the offset in the last row where the music joins again; `None` for all of it.
    pub to: Option<Time>,
    /// It runs to the end of the piece.
    pub to_the_end: bool,
}

/// A mark of the edition, of the source, or one of each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MarkPair {
    pub edition: Option<EditionMark>,
    pub source: Option<SourceMark>,
    /// There is nothing to find: both say the same at the same place, or what one side alone has is not compared.
    pub same: bool,
    /// The row of a strain's second time that differs in it from the first.
    pub again: Option<usize>,
}

impl PartAlignment {
    /// Without notes.
    pub(crate) fn new(edition: usize, source: usize, interval: Interval) -> PartAlignment {
        PartAlignment {
            edition,
            source,
            interval,
            edition_to_source: Table::default(),
            source_to_edition: Table::default(),
            ties: Vec::new(),
            written_out: Vec::new(),
            revoiced: Vec::new(),
            other_music: Vec::new(),
            marks: Vec::new(),
        }
    }

    /// The part of the edition that it is about.
    pub fn edition_part<'s>(&self, edition: &'s Score) -> EditionPart<'s> {
        PartOf::new(&edition.parts[self.edition])
    }

    /// The part of the source that it is about.
    pub fn source_part<'s>(&self, source: &'s Score) -> SourcePart<'s> {
        PartOf::new(&source.parts[self.source])
    }

    /// The partners and the ties where the sides are exchanged.
    pub(crate) fn exchanged(&self) -> PartAlignment {
        PartAlignment {
            edition_to_source: self.source_to_edition.exchanged(),
            source_to_edition: self.edition_to_source.exchanged(),
            ties: self.ties.iter().map(TieChange::exchanged).collect(),
            ..PartAlignment::new(self.source, self.edition, self.interval.inverse())
        }
    }

    pub fn pair(&mut self, edition: EditionNote, source: SourceNote) {
        self.edition_to_source[edition] = Some(source);
        self.source_to_edition[source] = Some(edition);
    }

    pub fn part_edition(&mut self, edition: EditionNote) {
        // A note that comes back may be the partner of two.
        if let Some(source) = self.edition_to_source[edition].take()
            && self.source_to_edition[source] == Some(edition)
        {
            self.source_to_edition[source] = None;
        }
    }
}
