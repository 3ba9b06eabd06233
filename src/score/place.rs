//! Places in a part, and stretches between them.

use super::NoteId;
use crate::time::Time;
use std::ops::Deref;

/// A place in a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// The place of the bar.
    pub bar: usize,
    /// From the bar's start, in quarter notes.
    pub offset: Time,
}

impl Place {
    /// Where a bar begins.
    pub fn start_of(bar: usize) -> Place {
        Place { bar, offset: Time::zero() }
    }
}

/// From one place to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stretch {
    /// Where it begins.
    pub from: Place,
    /// Where it ends.
    pub to: Place,
}

impl Stretch {
    /// A place alone.
    pub fn at(place: Place) -> Stretch {
        Stretch { from: place, to: place }
    }

    /// From the first of some places to the last.
    pub fn over(mut places: impl Iterator<Item = Place>) -> Option<Stretch> {
        let first = Stretch::at(places.next()?);
        Some(places.fold(first, |all, place| all.with(Stretch::at(place))))
    }

    /// From where the first of both begins to where the last ends.
    pub fn with(self, other: Stretch) -> Stretch {
        Stretch { from: self.from.min(other.from), to: self.to.max(other.to) }
    }

    /// Whether a place is in it, its end included.
    pub fn contains(self, place: Place) -> bool {
        self.from <= place && place <= self.to
    }
}

/// A place, and the note there that carries what is anchored, if one does. It
/// can be read as its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Anchor {
    /// Where it is.
    pub place: Place,
    /// The note that carries what is there.
    pub note: Option<NoteId>,
}

impl Deref for Anchor {
    type Target = Place;

    fn deref(&self) -> &Place {
        &self.place
    }
}
