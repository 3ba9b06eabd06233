//! Ids that know their side: a note of the source finds nothing in the
//! edition, nor does a mark among notes.

use crate::score::{Anchor, Bar, Mark, Note, Part, Place};
use crate::time::Time;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::marker::PhantomData;
use std::ops::{Deref, Index, IndexMut};

/// One of the two scores that are laid beside each other.
pub trait Side: fmt::Debug + 'static {
    type Other: Side<Other = Self>;
    const NAME: &'static str;
}

/// The side of the performing edition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edition {}

/// The side of the plain source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {}

impl Side for Edition {
    type Other = Source;
    const NAME: &'static str = "edition";
}

impl Side for Source {
    type Other = Edition;
    const NAME: &'static str = "source";
}

/// The place of a note, a mark or a bar among those of its part, which is one
/// of this side.
pub struct Id<S, T> {
    index: u32,
    of: PhantomData<fn() -> (S, T)>,
}

pub type NoteOf<S> = Id<S, Note>;
pub type MarkOf<S> = Id<S, Mark>;
pub type BarOf<S> = Id<S, Bar>;
pub type EditionBar = BarOf<Edition>;
pub type SourceBar = BarOf<Source>;
/// A note of the edition.
pub type EditionNote = NoteOf<Edition>;
/// A note of the source.
pub type SourceNote = NoteOf<Source>;
pub type EditionMark = MarkOf<Edition>;
pub type SourceMark = MarkOf<Source>;

impl<S, T> Id<S, T> {
    /// Says of a plain index which side it is of.
    pub const fn new(index: usize) -> Self {
        Id { index: index as u32, of: PhantomData }
    }

    pub const fn index(self) -> usize {
        self.index as usize
    }
}

impl<S> BarOf<S> {
    /// A place in this bar.
    pub fn at(self, offset: Time) -> Place {
        Place { bar: self.index(), offset }
    }

    /// Where it begins.
    pub fn start(self) -> Place {
        Place::start_of(self.index())
    }
}

impl<S: Side, T> Id<S, T> {
    /// The same where the sides are exchanged.
    pub fn exchanged(self) -> Id<S::Other, T> {
        Id::new(self.index())
    }
}

impl<S, T> Clone for Id<S, T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<S, T> Copy for Id<S, T> {}

impl<S, T> PartialEq for Id<S, T> {
    fn eq(&self, other: &Self) -> bool {
        self.index == other.index
    }
}

impl<S, T> Eq for Id<S, T> {}

impl<S, T> PartialOrd for Id<S, T> {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl<S, T> Ord for Id<S, T> {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.index.cmp(&other.index)
    }
}

impl<S, T> Hash for Id<S, T> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.index.hash(state);
    }
}

impl<S: Side, T> fmt::Debug for Id<S, T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", S::NAME, self.index)
    }
}

/// A value for each note, mark or bar of one side's part.
///
/// A note of the source has nothing to look for in the edition's table:
///
/// ```compile_fail,E0277
/// use obelus::testing::{EditionNote, SourceNote, Table};
///
/// let partners: Table<EditionNote, Option<SourceNote>> = Table::new(8, None);
/// partners[SourceNote::new(3)];
/// ```
///
/// One of the edition has:
///
/// ```
/// # use obelus::testing::{EditionNote, SourceNote, Table};
/// # let partners: Table<EditionNote, Option<SourceNote>> = Table::new(8, None);
/// assert_eq!(partners[EditionNote::new(3)], None);
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table<K, V> {
    values: Vec<V>,
    by: PhantomData<fn() -> K>,
}

impl<K, V> Default for Table<K, V> {
    fn default() -> Self {
        Table { values: Vec::new(), by: PhantomData }
    }
}

impl<K, V> FromIterator<V> for Table<K, V> {
    fn from_iter<I: IntoIterator<Item = V>>(values: I) -> Self {
        Table { values: values.into_iter().collect(), by: PhantomData }
    }
}

impl<S, T, V> Table<Id<S, T>, V> {
    /// The same value for each of so many.
    pub fn new(count: usize, value: V) -> Self
    where
        V: Clone,
    {
        Table { values: vec![value; count], by: PhantomData }
    }

    /// Each with its value, in order.
    pub fn iter(&self) -> impl Iterator<Item = (Id<S, T>, &V)> {
        self.values.iter().enumerate().map(|(index, value)| (Id::new(index), value))
    }

    /// The values, in order.
    pub fn as_slice(&self) -> &[V] {
        &self.values
    }

    /// The values, in order.
    pub fn values(&self) -> impl Iterator<Item = &V> {
        self.values.iter()
    }
}

/// The partner of each, if it has one.
pub type Partners<S, T> = Table<Id<S, T>, Option<Id<<S as Side>::Other, T>>>;

impl<S: Side, T> Partners<S, T> {
    /// The same where the sides are exchanged.
    pub fn exchanged(&self) -> Partners<S::Other, T> {
        self.values().map(|partner| partner.map(Id::exchanged)).collect()
    }
}

impl<S, T, V> Index<Id<S, T>> for Table<Id<S, T>, V> {
    type Output = V;

    fn index(&self, id: Id<S, T>) -> &V {
        &self.values[id.index()]
    }
}

impl<S, T, V> IndexMut<Id<S, T>> for Table<Id<S, T>, V> {
    fn index_mut(&mut self, id: Id<S, T>) -> &mut V {
        &mut self.values[id.index()]
    }
}

/// A part of one side. What it says of its notes and marks, it says by ids of
/// that side.
pub struct PartOf<'a, S> {
    part: &'a Part,
    of: PhantomData<fn() -> S>,
}

pub type EditionPart<'a> = PartOf<'a, Edition>;
pub type SourcePart<'a> = PartOf<'a, Source>;

impl<'a, S: Side> PartOf<'a, S> {
    /// Says of a part which side it is of.
    pub fn new(part: &'a Part) -> Self {
        PartOf { part, of: PhantomData }
    }

    /// Without its side.
    pub fn part(self) -> &'a Part {
        self.part
    }

    /// The same where the sides are exchanged.
    pub fn exchanged(self) -> PartOf<'a, S::Other> {
        PartOf::new(self.part)
    }

    /// A bar, if the part has so many.
    pub fn bar(self, id: BarOf<S>) -> Option<&'a Bar> {
        self.part.bars.get(id.index())
    }

    pub fn note(self, id: NoteOf<S>) -> &'a Note {
        &self.part.notes[id.index()]
    }

    pub fn mark(self, id: MarkOf<S>) -> &'a Mark {
        &self.part.marks[id.index()]
    }

    /// The same value for each of its notes.
    pub fn for_notes<V: Clone>(self, value: V) -> Table<NoteOf<S>, V> {
        Table::new(self.part.notes.len(), value)
    }

    /// Which of its notes are among some.
    pub fn which<'n>(self, some: impl Iterator<Item = &'n NoteOf<S>>) -> Table<NoteOf<S>, bool> {
        let mut out = self.for_notes(false);
        some.for_each(|note| out[*note] = true);
        out
    }

    pub fn notes(self) -> impl Iterator<Item = (NoteOf<S>, &'a Note)> {
        self.part.notes.iter().enumerate().map(|(index, note)| (Id::new(index), note))
    }

    /// The notes behind one of them.
    pub fn notes_after(self, note: NoteOf<S>) -> impl Iterator<Item = (NoteOf<S>, &'a Note)> {
        self.notes().skip(note.index() + 1)
    }

    pub fn marks(self) -> impl Iterator<Item = (MarkOf<S>, &'a Mark)> {
        self.part.marks.iter().enumerate().map(|(index, mark)| (Id::new(index), mark))
    }

    /// The notes of one of its bars.
    pub fn notes_in(self, bar: &Bar) -> impl Iterator<Item = NoteOf<S>> + use<S> {
        bar.notes.clone().map(Id::new)
    }

    /// The note that carries what is anchored there.
    pub fn carrier(self, anchor: Anchor) -> Option<NoteOf<S>> {
        anchor.note.map(Id::new)
    }

    pub fn struck(self) -> impl Iterator<Item = NoteOf<S>> + use<'a, S> {
        self.part.struck().map(Id::new)
    }

    pub fn struck_in(self, bar: BarOf<S>) -> impl Iterator<Item = NoteOf<S>> + use<'a, S> {
        self.part.struck_in(bar.index()).map(Id::new)
    }

    /// See [`Part::head`].
    pub fn head(self, note: NoteOf<S>) -> NoteOf<S> {
        Id::new(self.part.head(note.index()))
    }

    /// See [`Part::tied`].
    pub fn tied(self, note: NoteOf<S>) -> impl Iterator<Item = NoteOf<S>> + use<'a, S> {
        self.part.tied(note.index()).map(Id::new)
    }

    /// See [`Part::chord`].
    pub fn chord(self, note: NoteOf<S>) -> impl Iterator<Item = NoteOf<S>> + use<S> {
        self.part.chord(note.index()).map(Id::new)
    }

    /// See [`Part::main_note`].
    pub fn main_note(self, grace: NoteOf<S>) -> Option<NoteOf<S>> {
        self.part.main_note(grace.index()).map(Id::new)
    }

    /// Where a note stands.
    pub fn place(self, note: NoteOf<S>) -> Place {
        self[note].place()
    }

    /// See [`Part::onset`].
    pub fn onset(self, note: NoteOf<S>) -> Time {
        self.part.onset(note.index())
    }

    /// See [`Part::sounding`].
    pub fn sounding(self, note: NoteOf<S>) -> Time {
        self.part.sounding(note.index())
    }
}

impl<S> Clone for PartOf<'_, S> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<S> Copy for PartOf<'_, S> {}

impl<S: Side> fmt::Debug for PartOf<'_, S> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", S::NAME, self.part.id)
    }
}

impl<S> Deref for PartOf<'_, S> {
    type Target = Part;

    fn deref(&self) -> &Part {
        self.part
    }
}

impl<S> Index<BarOf<S>> for PartOf<'_, S> {
    type Output = Bar;

    fn index(&self, id: BarOf<S>) -> &Bar {
        &self.part.bars[id.index()]
    }
}

impl<S> Index<NoteOf<S>> for PartOf<'_, S> {
    type Output = Note;

    fn index(&self, id: NoteOf<S>) -> &Note {
        &self.part.notes[id.index()]
    }
}

impl<S> Index<MarkOf<S>> for PartOf<'_, S> {
    type Output = Mark;

    fn index(&self, id: MarkOf<S>) -> &Mark {
        &self.part.marks[id.index()]
    }
}
