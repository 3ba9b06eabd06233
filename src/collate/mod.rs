//! Laying an edition beside its source: the interval between them, which part
//! belongs to which, which bar, note and mark stands where the other has its.
//!
//! Aligning cannot fail and has no clock in it: the same two scores always
//! give the same answer.

mod barlines;
mod bars;
mod builder;
mod cells;
mod compared;
mod derive;
mod doublings;
mod lines;
mod marks;
mod matcher;
mod meetings;
mod melodies;
mod named;
mod notes;
mod pairs_of_lines;
mod parts;
mod repeats;
mod resemblance;
mod respell;
mod rows;
mod runs;
mod scope;
mod settle;
mod shared;

use crate::alignment::{EditionNote, EditionPart, PartOf, SourceNote, SourcePart};
use crate::pitch::{Interval, Pitch};
use crate::score::{NoteId, Part, Place, Score};
use crate::time::Time;
use std::ops::Range;

pub use crate::alignment::{BarPair, MarkPair, OtherMusic, PartAlignment, Revoiced, TieChange, WrittenOutOrnament};
pub use derive::{derive_like, derive_line};
pub use doublings::doubles;
pub use lines::pair_parts;
pub use melodies::fingerprint;
pub use named::{LineError, LineName, Lines};
pub use parts::{Choice, Pair, Pairing, pair};

/// Two scores laid side by side.
#[derive(Debug)]
pub struct Collation {
    /// The bars of both, in order, the same for all parts.
    pub outline: Vec<BarPair>,
    pub parts: Vec<PartAlignment>,
    /// Parts of the edition for which the source has nothing.
    pub unmatched_edition: Vec<usize>,
    pub unmatched_source: Vec<usize>,
    pub scope: Scope,
    /// How many times as long the edition writes its values.
    pub scale: Time,
    edition_rows: Rows,
    source_rows: Rows,
    /// When each bar of the source begins.
    source_starts: Vec<Time>,
}

/// The bars of both sides that are the same piece: a movement, an excerpt, or all. What lies outside has no
/// counterpart, and is none of the editor's doing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scope {
    pub edition: Range<usize>,
    pub source: Range<usize>,
}

/// Finds the row of a place.
#[derive(Debug)]
struct Rows {
    /// Where in its bar each row begins, and the row, in order.
    all: Vec<(Time, usize)>,
    /// Of each bar the first of its rows in `all`, and at the end their number.
    of_bar: Vec<usize>,
}

impl Rows {
    fn new<'a>(outline: impl Iterator<Item = &'a BarPair>, place: impl Fn(&BarPair) -> Option<Place>) -> Rows {
        let (mut all, mut of_bar) = (Vec::new(), Vec::new());
        for (row, pair) in outline.enumerate() {
            let Some(Place { bar, offset }) = place(pair) else { continue };
            if of_bar.len() <= bar {
                of_bar.resize(bar + 1, all.len());
            }
            all.push((offset, row));
        }
        of_bar.push(all.len());
        Rows { all, of_bar }
    }

    /// `None` for a bar that a side does not have.
    fn at(&self, Place { bar, offset }: Place) -> Option<usize> {
        let end = *self.of_bar.get(bar + 1)?;
        let own = &self.all[self.of_bar[bar]..end];
        // Before the first row of its bar is still in it.
        let after = if own.len() > 1 { own.partition_point(|(from, _)| *from <= offset) } else { 0 };
        own.get(after.saturating_sub(1)).map(|r| r.1)
    }
}

/// Lays an edition beside a source, part by part as both print them.
pub fn collate(edition: &Score, source: &Score, choice: Choice) -> Collation {
    lay(edition, source, parts::pair(edition, source, choice), Layout::Played)
}

/// How the bars of both sides are laid beside each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// As they are played: bars are cut at each other's barlines, and strains that one side writes out come twice.
    Played,
    /// As they are printed: bar beside bar.
    Printed,
}

/// Lays pairs of parts beside each other. What is to be rewritten bar by bar is
/// looked at as it is printed.
pub fn lay(edition: &Score, source: &Score, pairing: Pairing, layout: Layout) -> Collation {
    let views: Vec<PartView> = pairing
        .pairs
        .iter()
        .map(|p| PartView::new(&edition.parts[p.edition], &source.parts[p.source], p.interval))
        .collect();
    let scale = if layout == Layout::Printed { Time::from(1) } else { parts::scale(&views) };
    let (rows, scope) = bars::outline(&views, scale, layout);
    let parts = views.iter().zip(&pairing.pairs).map(|(view, p)| align(view, p.edition, p.source, &rows)).collect();
    let outline: Vec<BarPair> = rows.into_iter().map(|r| r.pair).collect();
    let mut out = Collation {
        edition_rows: Rows::new(outline.iter(), |p| p.edition_place()),
        source_rows: Rows::new(outline.iter(), |p| p.source_place()),
        scale,
        scope,
        outline,
        parts,
        unmatched_edition: pairing.unmatched_edition,
        unmatched_source: pairing.unmatched_source,
        source_starts: starts(source),
    };
    shared::settle(edition, source, &mut out);
    doublings::words_once(edition, source, &mut out);
    out
}

/// When each bar of a score begins.
fn starts(score: &Score) -> Vec<Time> {
    let longest = score.parts.iter().max_by_key(|p| p.bars.len());
    longest.map_or(Vec::new(), |p| p.bars.iter().map(|b| b.start).collect())
}

/// The two sides of a pair of parts while they are being aligned.
#[derive(Clone, Copy)]
struct PartView<'a> {
    edition: EditionPart<'a>,
    source: SourcePart<'a>,
    interval: Interval,
}

impl<'a> PartView<'a> {
    fn new(edition: &'a Part, source: &'a Part, interval: Interval) -> Self {
        PartView { edition: PartOf::new(edition), source: PartOf::new(source), interval }
    }

    /// The same where the sides are exchanged.
    fn exchanged(&self) -> Self {
        let (edition, source) = (self.source.exchanged(), self.edition.exchanged());
        PartView { edition, source, interval: self.interval.inverse() }
    }

    /// A source pitch as the edition would have it.
    fn moved(&self, pitch: Pitch) -> Pitch {
        pitch.moved(self.interval)
    }

    /// The height of a note, moved into the edition's key, in hundredths of a
    /// semitone; percussion by its place on the staff, apart from all pitches.
    fn edition_height(&self, note: EditionNote) -> i32 {
        height(self.edition.part(), note.index(), Interval::UNISON)
    }

    fn source_height(&self, note: SourceNote) -> i32 {
        height(self.source.part(), note.index(), self.interval)
    }
}

fn height(part: &Part, note: NoteId, by: Interval) -> i32 {
    match part.notes[note].sound {
        crate::score::Sound::Pitched(pitch) => pitch.sound() + by.semitones * 100,
        crate::score::Sound::Unpitched(pitch) => 1_000_000 + pitch.sound(),
        crate::score::Sound::Rest => i32::MIN,
    }
}

fn align(view: &PartView, edition: usize, source: usize, rows: &[rows::Row]) -> PartAlignment {
    let mut alignment = PartAlignment {
        edition_to_source: view.edition.for_notes(None),
        source_to_edition: view.source.for_notes(None),
        ..PartAlignment::new(edition, source, view.interval)
    };
    // What one part has rewritten may be as it was in another.
    let mut rows = rows.to_vec();
    notes::align(view, &mut rows, &mut alignment);
    settle::settle(view, &rows, &mut alignment);
    marks::pair(view, &rows, &mut alignment);
    alignment
}

impl Collation {
    /// The row of the outline that holds a place of the edition.
    pub fn edition_row(&self, place: Place) -> usize {
        self.edition_rows.at(place).expect("every bar has a row")
    }

    pub fn source_row(&self, place: Place) -> usize {
        self.source_rows.at(place).expect("every bar has a row")
    }
}
