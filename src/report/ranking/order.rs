//! Which of two editions has less of an editor in it. One thing is asked after
//! the other; the first in which the two differ decides, and nothing is weighed.

use super::Figures;
use crate::time::Time;
use std::cmp::Ordering;

/// What may decide, the first first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, strum::EnumIter)]
pub enum Criterion {
    /// One in the source's key comes before one in another.
    Key,
    /// The share of notes that are changed.
    Notes,
    /// The share of bars in passages.
    Passages,
    /// The share of notes in another octave.
    Octaves,
    /// The editor's marks for each note of the edition.
    Marks,
    /// The share of the source's bars that the edition lacks.
    Missing,
}

impl Criterion {
    pub fn name(self) -> &'static str {
        match self {
            Criterion::Key => "key",
            Criterion::Notes => "notes changed",
            Criterion::Passages => "bars in passages",
            Criterion::Octaves => "notes in another octave",
            Criterion::Marks => "editor's marks",
            Criterion::Missing => "bars missing",
        }
    }

    /// The less, the more faithful.
    fn measure(self, figures: &Figures) -> Time {
        let share = |some: usize, all: usize| {
            if all == 0 { Time::zero() } else { Time::new(some as i64, all as i64) }
        };
        let Figures { notes, bars, missing, .. } = figures;
        match self {
            Criterion::Key => Time::from(i64::from(!figures.is_in_key())),
            Criterion::Notes => share(notes.changed, notes.all),
            Criterion::Passages => share(bars.in_passages, bars.compared),
            Criterion::Octaves => share(notes.in_another_octave, notes.all),
            Criterion::Marks => share(figures.marks.all(), notes.edition),
            Criterion::Missing => share(missing.bars, missing.of_bars),
        }
    }
}

/// What decides.
pub fn criteria(any_key: bool) -> Vec<Criterion> {
    use strum::IntoEnumIterator;
    Criterion::iter().filter(|c| !(any_key && *c == Criterion::Key)).collect()
}

/// Less is the more faithful.
pub fn compare(a: &Figures, b: &Figures, any_key: bool) -> Ordering {
    decided(a, b, any_key).map_or(Ordering::Equal, |c| c.measure(a).cmp(&c.measure(b)))
}

/// What decides between two; `None` where all is alike.
pub fn decided(a: &Figures, b: &Figures, any_key: bool) -> Option<Criterion> {
    criteria(any_key).into_iter().find(|c| c.measure(a) != c.measure(b))
}
