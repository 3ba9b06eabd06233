//! How far an edition is its source, in numbers that an audit has.

use crate::findings::{PassageKind, Status};
use crate::report::{Audit, PartReport, Transposition, marks_of};
use crate::score::Category;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// How far an edition is its source.
#[derive(Debug, Clone, Serialize)]
pub struct Figures {
    /// The lines that were compared, in words.
    pub parts: Vec<String>,
    /// From the source to the edition: what most parts are moved by.
    pub key: Transposition,
    /// Struck notes.
    pub notes: NoteFigures,
    /// How many of each kind.
    pub passages: BTreeMap<PassageKind, usize>,
    /// The editor's.
    pub marks: MarkFigures,
    /// Bars of the edition.
    pub bars: BarFigures,
    /// Notes outside the instrument's range; `None` where no instrument was named.
    pub outside: Option<usize>,
    /// What the edition has not of the source.
    pub missing: Missing,
    /// Lines of the edition for which the source has nothing.
    pub not_in_source: Vec<String>,
}

/// Struck notes of both sides.
#[derive(Debug, Clone, Serialize)]
pub struct NoteFigures {
    /// Of the edition.
    pub edition: usize,
    /// Of the source.
    pub source: usize,
    /// Of both together: pairs, and notes that one of them has alone.
    pub all: usize,
    /// Pairs that are the same.
    pub alike: usize,
    /// Of 100 notes, so many are alike; 100 only where all are.
    pub alike_in_100: f64,
    /// Other pitches and lengths, added and omitted notes.
    pub changed: usize,
    /// The same notes in another octave.
    pub in_another_octave: usize,
}

/// Marks that the source has not so.
#[derive(Debug, Clone, Default, Serialize)]
pub struct MarkFigures {
    /// The editor's own.
    pub added: usize,
    /// The source's that the edition lacks.
    pub omitted: usize,
    /// The source's in another form.
    pub altered: usize,
}

impl MarkFigures {
    /// All that the editor did to marks.
    pub fn all(&self) -> usize {
        self.added + self.omitted + self.altered
    }
}

/// Bars of the edition that were compared.
#[derive(Debug, Clone, Serialize)]
pub struct BarFigures {
    /// How many.
    pub compared: usize,
    /// Without a finding in any part.
    pub without_finding: usize,
    /// In a passage of any part.
    pub in_passages: usize,
    /// What the editor did in each, in order.
    #[serde(skip)]
    pub hands: Vec<Hand>,
}

/// The most that the editor did in a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hand {
    /// Nothing.
    None,
    /// Marks alone.
    Marks,
    /// Notes, but no passage.
    Notes,
    /// A passage.
    Passage,
}

/// What the edition has not of the source.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Missing {
    /// Lines of the source without a counterpart, in words.
    pub parts: Vec<String>,
    /// Bars of the source outside the common piece, or cut within it.
    pub bars: usize,
    /// Bars of the source.
    pub of_bars: usize,
}

impl Figures {
    /// The figures of an audit; `None` where nothing was compared. `outside` tells whether an instrument was named.
    pub fn of(audit: &Audit, outside: bool) -> Option<Figures> {
        let parts = &audit.parts;
        let first = parts.first()?;
        let sum = |of: &dyn Fn(&PartReport) -> usize| parts.iter().map(of).sum::<usize>();
        let notes = |category: Category, part: &PartReport| -> usize {
            part.totals.get(&category).map_or(0, |counts| counts.values().sum())
        };
        let changed = |part: &PartReport| {
            [Category::Pitch, Category::Spelling, Category::Rhythm, Category::Note, Category::Tie, Category::WrittenOut]
                .map(|category| notes(category, part))
                .iter()
                .sum::<usize>()
        };
        let (edition, source) = (sum(&|p| p.notes.edition), sum(&|p| p.notes.source));
        let all = edition + source - sum(&|p| p.notes.matched);
        let in_another_octave = sum(&|p| notes(Category::Octave, p));
        // One note may be changed in two ways.
        let changed = sum(&changed).min(all);
        let alike = all - (changed + in_another_octave).min(all);
        let mut passages = BTreeMap::new();
        for passage in parts.iter().flat_map(|p| &p.passages) {
            *passages.entry(passage.kind).or_default() += 1;
        }
        let of_marks = |status: Status| sum(&|p| marks_of(&p.totals, status));
        Some(Figures {
            parts: parts.iter().map(|p| p.part.spoken().into_owned()).collect(),
            key: most_common(parts),
            notes: NoteFigures {
                edition,
                source,
                all,
                alike,
                alike_in_100: in_100(alike, all),
                changed,
                in_another_octave,
            },
            passages,
            marks: MarkFigures {
                added: of_marks(Status::Added),
                omitted: of_marks(Status::Omitted),
                altered: of_marks(Status::Altered),
            },
            bars: bars(parts),
            outside: outside.then(|| sum(&|p| p.range.as_ref().map_or(0, |r| r.outside.len()))),
            missing: Missing {
                parts: audit.not_compared.source.iter().map(|line| line.part.spoken().into_owned()).collect(),
                bars: first.scope.source_rest + cut(parts),
                of_bars: first.scope.source_rest + compared_of_source(first),
            },
            not_in_source: audit.not_compared.edition.iter().map(|line| line.part.spoken().into_owned()).collect(),
        })
    }

    /// Whether it is in the source's key, in whatever octave.
    pub fn is_in_key(&self) -> bool {
        self.key.steps % 7 == 0 && self.key.semitones % 12 == 0
    }

    /// Of 100 notes of both so many are the same, those in another octave too. `alone` are the notes of the edition's
    /// lines without a counterpart; they count.
    pub fn likeness(&self, alone: usize) -> f64 {
        in_100(self.same(), self.notes.all + alone)
    }

    /// The same of 100 notes of the shorter side: an editor's long ending does not count.
    pub fn shared(&self, alone: usize) -> f64 {
        in_100(self.same(), self.notes.source.min(self.notes.edition + alone))
    }

    fn same(&self) -> usize {
        self.notes.alike + self.notes.in_another_octave
    }
}

/// A share in tenths of a hundredth; 100 only for all.
pub fn in_100(some: usize, all: usize) -> f64 {
    (some * 1000).checked_div(all).map_or(0.0, |tenths| tenths as f64 / 10.0)
}

/// What most parts are moved by; of several the first.
fn most_common(parts: &[PartReport]) -> Transposition {
    let of = |t: &Transposition| {
        parts.iter().filter(|p| (p.transposition.semitones, p.transposition.steps) == (t.semitones, t.steps)).count()
    };
    let most = parts.iter().rev().max_by_key(|p| of(&p.transposition)).expect("there is a part");
    most.transposition.clone()
}

/// The bars of all parts together, which have the same.
fn bars(parts: &[PartReport]) -> BarFigures {
    let all: BTreeSet<usize> = parts.iter().flat_map(PartReport::looked_at).collect();
    let first = all.first().copied().unwrap_or(0);
    let mut hands = vec![Hand::None; all.last().map_or(0, |last| last + 1 - first)];
    let mut most = |bar: usize, hand: Hand| {
        if let Some(known) = bar.checked_sub(first).and_then(|place| hands.get_mut(place)) {
            *known = hand.max(*known);
        }
    };
    for part in parts {
        for bar in &part.bars {
            let is_of_notes = bar.counts.keys().any(|category| category.is_of_notes());
            most(bar.bar_index, if is_of_notes { Hand::Notes } else { Hand::Marks });
        }
        for passage in &part.passages {
            (passage.from.bar_index..=passage.to.bar_index).for_each(|bar| most(bar, Hand::Passage));
        }
        part.foreign_bars.iter().for_each(|bar| most(*bar, Hand::Passage));
    }
    let count = |hand: Hand| hands.iter().filter(|h| **h == hand).count();
    BarFigures { compared: hands.len(), without_finding: count(Hand::None), in_passages: count(Hand::Passage), hands }
}

/// Whole bars of the source that are cut, in the part that lacks most.
fn cut(parts: &[PartReport]) -> usize {
    let of = |part: &PartReport| part.passages.iter().map(|p| p.bars_cut.len()).sum::<usize>();
    parts.iter().map(of).max().unwrap_or(0)
}

fn compared_of_source(part: &PartReport) -> usize {
    part.scope.source_to.bar_index + 1 - part.scope.source_from.bar_index.min(part.scope.source_to.bar_index)
}

#[cfg(test)]
impl Figures {
    /// An edition that is its source, in bars of so many notes.
    pub fn of_bars(bars: usize, each: usize) -> Figures {
        let notes = bars * each;
        Figures {
            parts: vec!["Oboe".into()],
            key: Transposition { semitones: 0, steps: 0, name: "same pitch".into() },
            notes: NoteFigures {
                edition: notes,
                source: notes,
                all: notes,
                alike: notes,
                alike_in_100: 100.0,
                changed: 0,
                in_another_octave: 0,
            },
            passages: BTreeMap::new(),
            marks: MarkFigures::default(),
            bars: BarFigures { compared: bars, without_finding: bars, in_passages: 0, hands: vec![Hand::None; bars] },
            outside: None,
            missing: Missing { of_bars: bars, ..Missing::default() },
            not_in_source: Vec::new(),
        }
    }

    pub fn change_notes(&mut self, notes: usize) {
        self.notes.changed += notes;
        self.notes.alike -= notes;
    }

    pub fn put_into_passages(&mut self, bars: usize) {
        self.bars.in_passages += bars;
        self.bars.without_finding -= bars;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hundred_of_a_hundred_is_all() {
        assert_eq!(in_100(999, 1000), 99.9);
        assert_eq!(in_100(99_999, 100_000), 99.9);
        assert_eq!(in_100(7, 7), 100.0);
        assert_eq!(in_100(0, 0), 0.0);
    }
}
