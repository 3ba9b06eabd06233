//! The rows of the outline: a bar, or a piece of one, beside its counterpart.

use super::{BarPair, PartView, Scope};
use crate::alignment::{
    BarOf, EditionBar, EditionNote, EditionPart, NoteOf, PartOf, Side, SourceBar, SourceNote, SourcePart,
};
use crate::time::Time;

/// A row of the outline, and whether its bars are the same music at all.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    pub pair: BarPair,
    /// The bars stand in the same place but their notes are other music.
    pub rewritten: bool,
    /// Where in its bars the row ends; `None` at their end.
    pub edition_to: Option<Time>,
    pub source_to: Option<Time>,
}

/// Pieces that follow each other in the same bars are one row.
pub(super) fn fused(rows: Vec<Row>) -> Vec<Row> {
    let mut out: Vec<Row> = Vec::with_capacity(rows.len());
    for row in rows {
        let goes_on = out.last().is_some_and(|last| {
            let (a, b) = (&last.pair, &row.pair);
            (a.edition, a.source, a.again, a.shift, last.rewritten)
                == (b.edition, b.source, b.again, b.shift, row.rewritten)
        });
        match out.last_mut().filter(|_| goes_on) {
            Some(last) => last.pair.again_to = row.pair.again_to,
            None => out.push(row),
        }
    }
    out
}

/// Says where each row ends that is not the last of its bar.
pub(super) fn close(rows: &mut [Row]) {
    for at in 0..rows.len() {
        let (own, later) = (rows[at].pair, &rows[at + 1..]);
        let edition_to = next(later, own.edition, |p| p.edition).map(|p| p.edition_from);
        let source_to = next(later, own.source, |p| p.source).map(|p| p.source_from);
        (rows[at].edition_to, rows[at].source_to) = (edition_to, source_to);
    }
}

/// The next piece of a bar; the pieces of a bar lie close together.
fn next<B: PartialEq + Copy>(later: &[Row], own: Option<B>, bar: fn(&BarPair) -> Option<B>) -> Option<&BarPair> {
    let pieces = later.iter().map(|r| &r.pair).take_while(|p| bar(p).is_none_or(|b| Some(b) == own));
    own.and_then(|_| pieces.into_iter().find(|p| bar(p) == own))
}

impl Row {
    /// With the sides exchanged.
    pub fn exchanged(&self) -> Row {
        let own = &self.pair;
        let pair = BarPair {
            edition: own.source.map(SourceBar::exchanged),
            source: own.edition.map(EditionBar::exchanged),
            edition_from: own.source_from,
            source_from: own.edition_from,
            shift: Time::zero() - own.shift / own.scale,
            scale: Time::from(1) / own.scale,
            ..*own
        };
        Row { pair, edition_to: self.source_to, source_to: self.edition_to, ..*self }
    }

    /// Its bars have nothing to do with each other, or there is only one.
    pub fn is_alien(&self) -> bool {
        let alone = self.pair.edition.is_none() || self.pair.source.is_none();
        self.rewritten || alone && self.pair.again.is_none() && !self.pair.outside
    }

    /// Struck notes of the edition in it, none where its bar has none in this part.
    pub fn edition_notes<'p>(&self, part: EditionPart<'p>) -> impl Iterator<Item = EditionNote> + use<'p> {
        struck(part, self.pair.edition, self.pair.edition_from, self.edition_to)
    }

    pub fn source_notes<'p>(&self, part: SourcePart<'p>) -> impl Iterator<Item = SourceNote> + use<'p> {
        struck(part, self.pair.source, self.pair.source_from, self.source_to)
    }
}

fn struck<S: Side>(
    part: PartOf<'_, S>,
    bar: Option<BarOf<S>>,
    from: Time,
    to: Option<Time>,
) -> impl Iterator<Item = NoteOf<S>> {
    let notes = bar.and_then(|b| part.bar(b)).map_or(0..0, |b| b.notes.clone());
    notes.map(NoteOf::new).filter(move |n| {
        let note = &part[*n];
        // Whatever stands before the first piece is in it.
        note.is_struck() && (note.offset >= from || from.is_zero()) && to.is_none_or(|to| note.offset < to)
    })
}

/// The bars that lie outside of the common piece, before and after it.
pub(super) fn with_outside(rows: Vec<Row>, scope: &Scope, views: &[PartView]) -> Vec<Row> {
    let count = |side: fn(&PartView) -> usize| views.iter().map(side).max().unwrap_or(0);
    let (ours, theirs) = (count(|v| v.edition.bars.len()), count(|v| v.source.bars.len()));
    let alone = |edition: Option<EditionBar>, source: Option<SourceBar>| Row {
        pair: BarPair {
            edition,
            source,
            again: None,
            again_to: None,
            outside: true,
            edition_from: Time::zero(),
            source_from: Time::zero(),
            shift: Time::zero(),
            scale: Time::from(1),
        },
        rewritten: false,
        edition_to: None,
        source_to: None,
    };
    let before = (0..scope.edition.start).map(|e| alone(Some(EditionBar::new(e)), None));
    let before = before.chain((0..scope.source.start).map(|s| alone(None, Some(SourceBar::new(s)))));
    let after = (scope.edition.end..ours).map(|e| alone(Some(EditionBar::new(e)), None));
    let after = after.chain((scope.source.end..theirs).map(|s| alone(None, Some(SourceBar::new(s)))));
    before.chain(rows).chain(after).collect()
}
