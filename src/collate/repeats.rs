//! Strains that one side writes twice and the other between repeat signs, or
//! sends back to by words: they are laid out as they are played.

use super::PartView;
use super::cells::{Cell, SideCells};
use super::rows::Row;
use crate::alignment::{EditionBar, SourceBar};
use crate::score::sign::Repeat;
use crate::score::{Category, Mark, Part, Place, Sign};
use crate::time::Time;

/// What is written out a second time is the strain when it shares this much with it on the average.
const LEAST_COMMON: f64 = 0.6;
/// Laying strains out must find so much of them anew, not lay the same bars elsewhere.
const LEAST_GAIN: f64 = 0.4;
/// And so much of the strain must stand a first time, too.
const LEAST_FIRST: f64 = 0.5;

/// So many strains are each looked at alone before they are laid out together: wrong ones lead
/// right ones astray.
pub(super) const MOST_ALONE: usize = 16;

/// A stretch that is played again when its end is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Strain {
    from: Place,
    /// Where it goes back.
    end: Place,
    /// How far it is played the second time: to the first ending, or to Fine.
    again: Place,
    /// It is sent back by words, not by a sign.
    by_words: bool,
}

impl Strain {
    /// The bar at whose end it goes back, and whether words say so.
    fn goes_back(&self) -> (usize, bool) {
        (last_bar(self.end), self.by_words)
    }
}

/// The bar of one side in a row.
type OwnBar = fn(&Row) -> Option<usize>;

const EDITION: OwnBar = |row| row.pair.edition.map(EditionBar::index);
const SOURCE: OwnBar = |row| row.pair.source.map(SourceBar::index);

/// The second times of some strains, laid out behind the first.
pub(super) struct Unfolded {
    edition: Vec<Strain>,
    source: Vec<Strain>,
}

/// What a strain's second time shares with the other side, and how long it is, in quarter notes.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Shared {
    common: f64,
    whole: f64,
}

impl Unfolded {
    /// The strains that the other side may write out. `unlike`: how many bars of
    /// the edition and of the source stand beside no equal one.
    pub(super) fn new(views: &[PartView], rows: &[Row], unlike: (usize, usize)) -> Option<Unfolded> {
        // What lies before the piece is not sent back to.
        let first = |bar: OwnBar| rows.iter().find_map(bar).unwrap_or(0);
        let (ours, theirs) = (first(EDITION), first(SOURCE));
        let edition = views.iter().map(|v| strains(&v.edition, ours)).find(|s| !s.is_empty()).unwrap_or_default();
        let source = views.iter().map(|v| strains(&v.source, theirs)).find(|s| !s.is_empty()).unwrap_or_default();
        let ends = |strains: &[Strain]| strains.iter().map(Strain::goes_back).collect::<Vec<(usize, bool)>>();
        let (ours, theirs) = (ends(&edition), ends(&source));
        // Where both go back there is nothing to lay out.
        let open = |own: Vec<Strain>, bar: OwnBar, beside: OwnBar, other: &[(usize, bool)], unlike: usize| {
            let meets = |s: &Strain| {
                let (end, by_words) = s.goes_back();
                let mut here = rows.iter().filter(|r| bar(r) == Some(end));
                here.any(|r| beside(r).is_some_and(|bar| other.contains(&(bar, by_words))))
            };
            own.into_iter().filter(|s| 2 * unlike >= s.again.bar - s.from.bar && !meets(s)).collect::<Vec<_>>()
        };
        let found = Unfolded {
            edition: open(edition, EDITION, SOURCE, &theirs, unlike.1),
            source: open(source, SOURCE, EDITION, &ours, unlike.0),
        };
        (!found.is_empty()).then_some(found)
    }

    pub(super) fn is_empty(&self) -> bool {
        self.edition.is_empty() && self.source.is_empty()
    }

    /// How many there are; those of the edition come first.
    pub(super) fn count(&self) -> usize {
        self.edition.len() + self.source.len()
    }

    pub(super) fn cells(&self, edition: &SideCells, source: &SideCells) -> (Vec<Cell>, Vec<Cell>) {
        (laid_out(edition, &self.edition, 0), laid_out(source, &self.source, self.edition.len()))
    }

    /// Those that hold when they are looked at alone.
    pub(super) fn filter(&self, mut holds: impl FnMut(&Unfolded) -> bool) -> Unfolded {
        let edition = |s: &&Strain| holds(&Unfolded { edition: vec![**s], source: vec![] });
        let edition = self.edition.iter().filter(edition).copied().collect();
        let source = |s: &&Strain| holds(&Unfolded { edition: vec![], source: vec![**s] });
        Unfolded { edition, source: self.source.iter().filter(source).copied().collect() }
    }

    /// What the second time of each strain shares with the other side, of what it could; 0 where
    /// the first time does not stand there.
    fn shares(&self, rows: &[Row], shared: &[Shared]) -> Vec<f64> {
        let strains = self.edition.iter().map(|s| (s, EDITION)).chain(self.source.iter().map(|s| (s, SOURCE)));
        let share = |((strain, bar), second): ((&Strain, OwnBar), &Shared)| {
            let found = second.whole > 0.0 && stands_once(strain, rows, bar);
            if found { second.common / second.whole } else { 0.0 }
        };
        strains.zip(shared).map(share).collect()
    }

    /// Without the worse half of those that the other side does not write out; `None` where it writes out all. `more`: how much more the two
    /// sides share than as they are written, in quarter notes.
    pub(super) fn fewer(&self, rows: &[Row], shared: &[Shared], more: f64) -> Option<Unfolded> {
        let shares = self.shares(rows, shared);
        let mut order: Vec<usize> = (0..shares.len()).collect();
        order.sort_by(|a, b| shares[*a].total_cmp(&shares[*b]));
        let failing = order.iter().filter(|at| shares[**at] < LEAST_COMMON).count();
        let explains = more >= LEAST_GAIN * shared.iter().map(|s| s.whole).sum::<f64>();
        let gone = &order[..if failing == 0 { usize::from(!explains) } else { failing.div_ceil(2) }];
        let first = self.edition.len();
        let stay = |strains: &[Strain], from: usize| -> Vec<Strain> {
            strains.iter().enumerate().filter(|(at, _)| !gone.contains(&(at + from))).map(|s| *s.1).collect()
        };
        let left = Unfolded { edition: stay(&self.edition, 0), source: stay(&self.source, first) };
        (!gone.is_empty()).then_some(left)
    }
}

impl Shared {
    pub(super) fn add(&mut self, common: f64) {
        self.common += common;
    }
}

pub(super) fn quarters(length: Time) -> f64 {
    length.numer() as f64 / length.denom() as f64
}

/// What each second time would share at most.
pub(super) fn wanted(cells: [&[Cell]; 2], count: usize) -> Vec<Shared> {
    let mut out = vec![Shared::default(); count];
    for cell in cells.into_iter().flatten() {
        if let Some(strain) = cell.again {
            out[strain].whole += quarters(cell.length());
        }
    }
    out
}

/// Whether what the two sides share as they are written leaves room for the strains that were laid out.
pub(super) fn could_explain(cells: [&[Cell]; 2], as_written: f64) -> bool {
    let second_times = cells.into_iter().flatten().filter(|c| c.again.is_some());
    let second_times: f64 = second_times.map(|c| quarters(c.length())).sum();
    let length = |cells: &[Cell]| cells.iter().map(|c| quarters(c.length())).sum::<f64>();
    let most = length(cells[0]).min(length(cells[1])) - as_written;
    // Sums of fractions are never quite exact.
    most + 1e-6 >= LEAST_GAIN * second_times
}

/// Whether most bars of a strain have partners the first time.
fn stands_once(strain: &Strain, rows: &[Row], bar: OwnBar) -> bool {
    let bars = strain.from.bar..=last_bar(strain.again).max(strain.from.bar);
    let own = |r: &&Row| bar(r).is_some_and(|b| bars.contains(&b));
    let (mut all, mut paired) = (0_u32, 0_u32);
    for row in rows.iter().filter(|r| r.pair.again.is_none()).filter(own) {
        all += 1;
        paired += u32::from(row.pair.edition.is_some() && row.pair.source.is_some() && !row.rewritten);
    }
    f64::from(paired) >= LEAST_FIRST * f64::from(all)
}

/// The bar that ends at a place.
fn last_bar(end: Place) -> usize {
    if end.offset.is_zero() { end.bar.saturating_sub(1) } else { end.bar }
}

/// The cells of a side as they are played.
fn laid_out(side: &SideCells, strains: &[Strain], first: usize) -> Vec<Cell> {
    // Cells count from where a full bar would begin.
    let counted = |place: Place| match place {
        Place { bar: 0, offset } if !offset.is_zero() => Place { bar: 0, offset: offset / side.scale + side.pickup(0) },
        Place { bar, offset } => Place { bar, offset: offset / side.scale },
    };
    let mut out: Vec<Cell> = Vec::with_capacity(side.cells.len());
    let mut ends: Vec<(usize, &Strain)> = strains.iter().enumerate().collect();
    ends.sort_by_key(|(_, s)| s.end);
    let mut ends = ends.into_iter().peekable();
    for cell in &side.cells {
        let mut rest = cell.clone();
        while let Some((index, strain)) =
            ends.next_if(|(_, s)| counted(s.end) < (Place { bar: rest.bar, offset: rest.to }))
        {
            let Place { bar, offset: at } = counted(strain.end);
            if bar == rest.bar && at > rest.from {
                out.push(rest.piece(rest.from, at));
                rest = rest.piece(at, rest.to);
            }
            out.extend(played(side, counted(strain.from), counted(strain.again), first + index));
        }
        out.push(rest);
    }
    for (index, strain) in ends {
        out.extend(played(side, counted(strain.from), counted(strain.again), first + index));
    }
    out
}

/// The cells between two places, once more.
fn played(side: &SideCells, from: Place, to: Place, strain: usize) -> Vec<Cell> {
    let at = |bar: usize, offset: Time| Place { bar, offset };
    let inside = side.cells.iter().filter(|c| at(c.bar, c.to) > from && at(c.bar, c.from) < to);
    inside
        .filter_map(|cell| {
            let lead = side.pickup(cell.bar).max(cell.from).min(cell.to);
            let begin = if cell.bar == from.bar { lead.max(from.offset) } else { lead };
            let end = if cell.bar == to.bar { cell.to.min(to.offset) } else { cell.to };
            let piece = Cell { again: Some(strain), ..cell.piece(begin, end) };
            (begin < end).then_some(piece)
        })
        .collect()
}

/// What a part sends back, by signs and by words, from the bar with which the piece begins.
fn strains(part: &Part, first: usize) -> Vec<Strain> {
    let inside = |m: &&Mark| m.category == Category::Structure && m.at.bar >= first;
    let structure: Vec<&Mark> = part.marks.iter().filter(inside).collect();
    // A barline ends one bar and begins the next.
    let place = |m: &Mark| match m.at.offset >= part.bars[m.at.bar].length {
        true => Place::start_of(m.at.bar + 1),
        false => m.at.place,
    };
    let of = |is: fn(&Sign) -> bool| -> Vec<Place> {
        let mut places: Vec<Place> = structure.iter().filter(|m| is(&m.sign)).map(|m| place(m)).collect();
        places.sort_unstable();
        places
    };
    let forward = of(|s| matches!(s, Sign::Repeat { direction: Repeat::Forward, .. }));
    let first_endings = of(|s| matches!(s, Sign::Ending(ending) if ending.is_first));
    let mut out: Vec<Strain> = Vec::new();
    for end in of(|s| matches!(s, Sign::Repeat { direction: Repeat::Backward, .. })) {
        let after = out.last().map_or(Place::start_of(first), |s| s.end);
        let from = forward.iter().copied().filter(|b| *b < end && *b >= after).max().unwrap_or(after);
        let ending = first_endings.iter().copied().find(|b| (from..end).contains(b));
        if from < end {
            out.push(Strain { from, end, again: ending.unwrap_or(end), by_words: false });
        }
    }
    // Words stand in the bar after which they send back, or hold.
    let behind = |m: &Mark| Place::start_of(m.at.bar + 1);
    let said = |m: &&&Mark, what: &str| m.sign.term().is_some_and(|term| term.starts_with(what));
    for word in structure.iter().filter(|m| said(m, "da capo") || said(m, "dal segno")) {
        let from = match said(&word, "dal segno") {
            true => structure.iter().filter(|m| m.sign.term() == Some("segno")).map(|m| place(m)).min(),
            false => Some(Place::start_of(first)),
        };
        let end = behind(word);
        let Some(from) = from.filter(|f| *f < end) else { continue };
        let fine = structure
            .iter()
            .filter(|m| m.sign.term() == Some("fine"))
            .map(|m| behind(m))
            .find(|f| *f > from && *f < end);
        out.push(Strain { from, end, again: fine.unwrap_or(end), by_words: true });
    }
    out
}
