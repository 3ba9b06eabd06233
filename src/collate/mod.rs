//! Laying an edition beside its source: the interval between them, which part
//! belongs to which, which bar, note and mark stands where the other has its.
//!
//! Aligning cannot fail and has no clock in it: the same two scores always
//! give the same answer.

mod bars;
mod marks;
mod notes;
mod parts;
mod settle;

use crate::pitch::{Interval, Pitch};
use crate::score::{MarkId, NoteId, Part, Score};
use crate::time::Time;

pub use parts::Choice;

/// Two scores laid side by side.
#[derive(Debug)]
pub struct Collation {
    /// The bars of both, in order, the same for all parts.
    pub outline: Vec<BarPair>,
    pub parts: Vec<PartAlignment>,
    /// Parts of the edition for which the source has nothing.
    pub unmatched_edition: Vec<usize>,
    pub unmatched_source: Vec<usize>,
    /// The row of each bar.
    edition_rows: Vec<usize>,
    source_rows: Vec<usize>,
}

/// A bar of the edition, the bar of the source that it stands for, or both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BarPair {
    pub edition: Option<usize>,
    pub source: Option<usize>,
    /// What is at offset t in the source is at t + `shift` in the edition.
    pub shift: Time,
}

/// One part of the edition beside one part of the source. Tables are indexed
/// by note; only struck notes have partners.
#[derive(Debug)]
pub struct PartAlignment {
    pub edition: usize,
    pub source: usize,
    /// From the source's sounding pitch to the edition's.
    pub interval: Interval,
    pub edition_to_source: Vec<Option<NoteId>>,
    pub source_to_edition: Vec<Option<NoteId>>,
    pub ties: Vec<TieChange>,
    pub realisations: Vec<Realisation>,
    pub stretches: Vec<Stretch>,
    pub marks: Vec<MarkPair>,
}

/// One held note against several struck ones, the first of which is its partner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TieChange {
    /// The held note is the edition's: the tie was added.
    pub added: bool,
    pub edition: Vec<NoteId>,
    pub source: Vec<NoteId>,
}

/// A plain note of the source that the edition writes out in small notes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Realisation {
    pub source: NoteId,
    pub edition: Vec<NoteId>,
    /// The source's sign that the small notes stand for.
    pub sign: Option<MarkId>,
}

/// Music that is not the other side's: nothing inside it has a partner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    pub edition: Vec<NoteId>,
    pub source: Vec<NoteId>,
    /// Bars of the outline it touches, first and last.
    pub outline: (usize, usize),
    /// From the offset in the first bar that it covers, 0 for all of it.
    pub from: Time,
    /// To the offset in the last bar where the music joins again; `None` for all of it.
    pub to: Option<Time>,
    /// It runs to the end of the piece.
    pub to_the_end: bool,
}

/// A mark of the edition, of the source, or one of each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MarkPair {
    pub edition: Option<MarkId>,
    pub source: Option<MarkId>,
    /// Both say the same at the same place.
    pub same: bool,
}

/// Lays an edition beside a source.
pub fn collate(edition: &Score, source: &Score, choice: Choice) -> Collation {
    let pairing = parts::pair(edition, source, choice);
    let views: Vec<PartView> = pairing
        .pairs
        .iter()
        .map(|p| PartView { edition: &edition.parts[p.edition], source: &source.parts[p.source], interval: p.interval })
        .collect();
    let rows = bars::outline(&views);
    let parts = views.iter().zip(&pairing.pairs).map(|(view, p)| align(view, p.edition, p.source, &rows)).collect();
    let outline: Vec<BarPair> = rows.into_iter().map(|r| r.pair).collect();
    let rows_of = |bar: fn(&BarPair) -> Option<usize>| {
        // Each side's bars come in order, each once.
        outline.iter().enumerate().filter(|(_, p)| bar(p).is_some()).map(|(row, _)| row).collect()
    };
    Collation {
        edition_rows: rows_of(|p| p.edition),
        source_rows: rows_of(|p| p.source),
        outline,
        parts,
        unmatched_edition: pairing.unmatched_edition,
        unmatched_source: pairing.unmatched_source,
    }
}

/// The two sides of a pair of parts while they are being aligned.
#[derive(Clone, Copy)]
struct PartView<'a> {
    edition: &'a Part,
    source: &'a Part,
    interval: Interval,
}

impl PartView<'_> {
    /// A source pitch as the edition would have it.
    fn moved(&self, pitch: Pitch) -> Pitch {
        pitch.moved(self.interval)
    }

    /// The height of a note, moved into the edition's key, in hundredths of a
    /// semitone; percussion by its place on the staff, apart from all pitches.
    fn edition_height(&self, note: NoteId) -> i32 {
        height(self.edition, note, Interval::UNISON)
    }

    fn source_height(&self, note: NoteId) -> i32 {
        height(self.source, note, self.interval)
    }
}

fn height(part: &Part, note: NoteId, by: Interval) -> i32 {
    match part.notes[note].sound {
        crate::score::Sound::Pitched(pitch) => pitch.sound() + by.semitones * 100,
        crate::score::Sound::Unpitched(pitch) => 1_000_000 + pitch.sound(),
        crate::score::Sound::Rest => i32::MIN,
    }
}

fn align(view: &PartView, edition: usize, source: usize, rows: &[bars::Row]) -> PartAlignment {
    let mut alignment = PartAlignment {
        edition,
        source,
        interval: view.interval,
        edition_to_source: vec![None; view.edition.notes.len()],
        source_to_edition: vec![None; view.source.notes.len()],
        ties: Vec::new(),
        realisations: Vec::new(),
        stretches: Vec::new(),
        marks: Vec::new(),
    };
    notes::align(view, rows, &mut alignment);
    settle::settle(view, rows, &mut alignment);
    marks::pair(view, rows, &mut alignment);
    alignment
}

impl Collation {
    /// The row of the outline that holds a bar of the edition.
    pub fn edition_row(&self, bar: usize) -> usize {
        self.edition_rows[bar]
    }

    pub fn source_row(&self, bar: usize) -> usize {
        self.source_rows[bar]
    }
}

impl PartAlignment {
    pub fn pair(&mut self, edition: NoteId, source: NoteId) {
        self.edition_to_source[edition] = Some(source);
        self.source_to_edition[source] = Some(edition);
    }

    pub fn part_edition(&mut self, edition: NoteId) {
        if let Some(source) = self.edition_to_source[edition].take() {
            self.source_to_edition[source] = None;
        }
    }

    pub fn matched(&self) -> usize {
        self.edition_to_source.iter().flatten().count()
    }

    /// Whether a note is held, or struck again, in one of the tie changes.
    pub fn is_in_tie_change(&self, edition: Option<NoteId>, source: Option<NoteId>) -> bool {
        self.ties
            .iter()
            .any(|t| edition.is_some_and(|n| t.edition.contains(&n)) || source.is_some_and(|n| t.source.contains(&n)))
    }
}
