//! The rows of the outline while they are being written.

use super::cells::{Cell, SideCells, likeness};
use super::rows::Row;
use super::{BarPair, Layout, repeats};
use crate::alignment::{EditionBar, SourceBar};
use crate::time::Time;

/// What two bars in the same place have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Music {
    /// It is the same music, however much was changed.
    Same,
    Other,
}

/// The rows while they are being written.
pub(super) struct OutlineBuilder<'a> {
    pub edition: &'a SideCells<'a>,
    pub source: &'a SideCells<'a>,
    pub layout: Layout,
    pub rows: Vec<Row>,
    /// What the second time of each strain shares with the other side, where that is counted.
    pub shared: Option<Vec<repeats::Shared>>,
    /// What is shared in all, then.
    pub common: f64,
}

impl OutlineBuilder<'_> {
    pub fn paired(&mut self, e: &Cell, s: &Cell, music: Music) {
        let scale = self.edition.scale;
        let strain = match (e.again, s.again) {
            // Played twice on both sides: the first times are enough.
            (Some(_), Some(_)) => return,
            (one, other) => one.or(other),
        };
        if let Some(shared) = &mut self.shared {
            let common = likeness(&e.content, &s.content) * repeats::quarters(e.length().min(s.length()));
            self.common += common;
            if let Some(strain) = strain {
                shared[strain].add(common);
            }
        }
        // A pickup may be written as a full bar with rests before it.
        let (ours, theirs) = (self.edition.pickup(e.bar), self.source.pickup(s.bar));
        let shift = (theirs - s.from + e.from - ours) * scale;
        let pair = BarPair { shift, scale, ..self.place(Some(e), Some(s)) };
        let rewritten = music == Music::Other;
        self.rows.push(Row { pair, rewritten, edition_to: None, source_to: None });
    }

    pub fn alone(&mut self, e: Option<&Cell>, s: Option<&Cell>) {
        // A silent piece of a bar goes with the others.
        let silent = |side: &SideCells, cell: &Cell| cell.content.is_empty() && side.sounds(cell.bar);
        // What only comes back is nothing of its own.
        if e.or(s).is_some_and(|c| c.again.is_some()) {
            return;
        }
        if e.is_some_and(|c| silent(self.edition, c)) || s.is_some_and(|c| silent(self.source, c)) {
            return;
        }
        self.rows.push(Row { pair: self.place(e, s), rewritten: false, edition_to: None, source_to: None });
    }

    fn place(&self, e: Option<&Cell>, s: Option<&Cell>) -> BarPair {
        let start = |side: &SideCells, cell: &Cell| {
            let from = if cell.from.is_zero() { cell.from } else { cell.from - side.pickup(cell.bar) };
            from.max(Time::zero()) * side.scale
        };
        let end = |side: &SideCells, cell: &Cell| {
            let to = cell.to - side.pickup(cell.bar);
            side.ends_before(cell).then_some(to * side.scale)
        };
        let back = e.map(|c| (self.edition, c)).into_iter().chain(s.map(|c| (self.source, c)));
        let back = back.into_iter().find(|(_, c)| c.again.is_some());
        BarPair {
            edition: e.filter(|c| c.again.is_none()).map(|c| EditionBar::new(c.bar)),
            source: s.filter(|c| c.again.is_none()).map(|c| SourceBar::new(c.bar)),
            again: back.map(|(_, c)| c.bar),
            again_to: back.and_then(|(side, c)| end(side, c)),
            outside: false,
            edition_from: e.map_or(Time::zero(), |c| start(self.edition, c)),
            source_from: s.map_or(Time::zero(), |c| start(self.source, c)),
            shift: Time::zero(),
            scale: self.edition.scale,
        }
    }
}
