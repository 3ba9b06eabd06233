//! The melodies of some parts of both scores, and which parts share them: each
//! found once, however often it is asked for.

use super::melodies::{Index, Melody, melody};
use crate::pitch::Interval;
use crate::score::Score;
use std::cell::OnceCell;

/// Intervals of the longest melodies that are looked at.
const LONGEST: usize = 6;

/// For so many places of melodies in all, those of every melody are looked at.
const MOST_PLACES: usize = 1 << 25;

/// A part of the source by its place among those compared, the interval that most melodies agree on, and the share of
/// the edition's melodies that do.
pub(super) type Vote = (usize, Interval, f64);

pub(super) struct Compared {
    pub editions: Vec<usize>,
    pub sources: Vec<usize>,
    ours: Vec<Melody>,
    theirs: Vec<Melody>,
    by_length: [OnceCell<OfLength>; LONGEST + 1],
}

struct OfLength {
    index: Index,
    /// For each part of the edition.
    votes: Vec<OnceCell<Vec<Vote>>>,
}

impl Compared {
    pub fn new(edition: &Score, source: &Score, editions: Vec<usize>, sources: Vec<usize>) -> Compared {
        let melodies = |score: &Score, parts: &[usize]| parts.iter().map(|p| melody(&score.parts[*p])).collect();
        Compared {
            ours: melodies(edition, &editions),
            theirs: melodies(source, &sources),
            editions,
            sources,
            by_length: Default::default(),
        }
    }

    /// The melody of a part of the edition, by its place among those compared.
    pub fn ours(&self, at: usize) -> &Melody {
        &self.ours[at]
    }

    pub fn theirs(&self, at: usize) -> &Melody {
        &self.theirs[at]
    }

    fn of_length(&self, length: usize) -> &OfLength {
        self.by_length[length].get_or_init(|| OfLength {
            index: Index::new(&self.theirs, length),
            votes: self.ours.iter().map(|_| OnceCell::new()).collect(),
        })
    }

    pub fn index(&self, length: usize) -> &Index {
        &self.of_length(length).index
    }

    /// For a part of the edition what each part of the source shares with it.
    pub fn votes(&self, length: usize, at: usize) -> &[Vote] {
        let known = self.of_length(length);
        known.votes[at].get_or_init(|| known.index.votes(&self.ours[at], MOST_PLACES / self.ours.len()))
    }
}
