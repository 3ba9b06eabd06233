//! The stages that a part goes through before marks are inserted, and its end.

use super::super::apart::Look;
use super::super::edits::Edits;
use super::bars::BarWriter;
use super::compose::Composer;
use super::context::Context;
use super::draft::Draft;
use super::frame::Frame;
use super::insert::Inserter;
use super::respell::Respeller;
use super::spans::SpanNumbers;
use super::timed::Timed;
use super::{Refusal, TooManySigns, WrittenPart};
use crate::alignment::{EditionNote, SourceNote};
use crate::pitch::{Interval, Pitch};
use crate::score::Mark;
use crate::time::Time;
use std::cell::OnceCell;
use std::collections::BTreeMap;

/// A part whose composed bars have their notes: pitches, ties and lengths are put right.
pub struct Composed<'p, 'a, 'i>(Inserter<'p, 'a, 'i>);

/// A part that changes by itself, bar for row: it goes to another key, to other octaves or to an
/// instrument.
pub struct Alone<'p, 'a, 'i>(Inserter<'p, 'a, 'i>);

/// A part whose notes are right: marks of the edition stay, look otherwise or go.
pub struct Marking<'p, 'a, 'i>(pub(super) Inserter<'p, 'a, 'i>);

impl<'p, 'a, 'i> Composed<'p, 'a, 'i> {
    /// Composes the notes of all bars that take the source's music. `kept_pitches` are sounding
    /// pitches that they take from the edition, by source note.
    pub fn new(
        context: &'p Context<'p, 'a, 'i>,
        edits: &'p mut Edits<'a, 'i>,
        kept_pitches: BTreeMap<SourceNote, Pitch>,
    ) -> Self {
        let composer = Composer::new(context, kept_pitches);
        let composed = composer.compose_bars();
        Composed(Inserter {
            context,
            composer,
            draft: Draft::new(context, edits, composed),
            respeller: Respeller::new(context),
            timed: Timed::new(context),
            frame: Frame::new(context),
            numbers: SpanNumbers::default(),
        })
    }

    /// A note of the edition gets the pitch of a source note, and so do all
    /// that are tied to it.
    pub fn restore_pitch(&mut self, note: EditionNote, from: SourceNote) {
        let Inserter { respeller, draft, composer, .. } = &mut self.0;
        respeller.restore_pitch(draft.edits, composer, note, from);
    }

    /// Ties two notes of the edition.
    pub fn tie(&mut self, from: EditionNote, to: EditionNote) {
        self.0.draft.tie(from, to);
    }

    /// Takes a tie out between a note of the edition and the next.
    pub fn untie(&mut self, from: EditionNote) {
        self.0.draft.untie(from);
    }

    /// Gives a note of the source a look, where it is in the result.
    pub fn style_note(&mut self, note: SourceNote, look: &Look) {
        self.0.draft.style_note(note, look);
    }

    /// Rests at the end of a bar that is shorter than the other parts' now.
    pub fn fill_up(&mut self, row: usize, length: Time) {
        self.0.timed.fill_up(self.0.draft.edits, row, length);
    }

    /// On to the marks. What stands on the edition's grace notes that go is to be inserted
    /// again, so that it must be known now which they are.
    pub fn marks<'m>(mut self, gone_graces: impl IntoIterator<Item = &'m Mark>) -> Marking<'p, 'a, 'i> {
        gone_graces.into_iter().for_each(|mark| self.0.draft.remove_graces(mark));
        Marking(self.0)
    }
}

impl<'p, 'a, 'i> Alone<'p, 'a, 'i> {
    /// `context` has no source and follows none.
    pub fn new(context: &'p Context<'p, 'a, 'i>, edits: &'p mut Edits<'a, 'i>) -> Self {
        debug_assert!(context.frame().is_none(), "a part with a source does not change by itself");
        Alone(Composed::new(context, edits, BTreeMap::new()).0)
    }

    /// Moves the whole part by an interval; instruments that transpose go on
    /// doing so. Parts without pitches stay as they are.
    ///
    /// # Errors
    /// When a signature would need more than seven sharps or flats.
    pub fn transpose(&mut self, by: Interval) -> Result<(), TooManySigns> {
        self.0.respeller.transpose(self.0.draft.edits, by)
    }

    /// Moves notes by octaves; `octaves` has a number for each note of the part.
    pub fn move_octaves(&mut self, octaves: &[i32]) {
        self.0.respeller.move_octaves(self.0.draft.edits, octaves);
    }

    /// Writes a part of one staff for an instrument. What sounds stays, but for
    /// the octave if `by` and `transpose` of what is wanted say so.
    ///
    /// # Errors
    /// When a signature would need more than seven signs, or a clef has no pitches.
    pub fn write_for(&mut self, wanted: &WrittenPart) -> Result<(), Refusal> {
        self.0.respeller.write_for(self.0.draft.edits, wanted)
    }

    /// On to the marks.
    pub fn marks(self) -> Marking<'p, 'a, 'i> {
        Marking(self.0)
    }

    /// Ends the changes of this part.
    pub fn finish(self) {
        self.0.finish();
    }
}

impl<'p, 'a, 'i> Marking<'p, 'a, 'i> {
    /// On to what comes in, now that all is known that stays.
    pub fn inserter(self) -> Inserter<'p, 'a, 'i> {
        self.0
    }

    /// Ends the changes of this part.
    pub fn finish(self) {
        self.0.finish();
    }
}

impl Inserter<'_, '_, '_> {
    /// Ends the changes of this part: what waited is settled.
    pub fn finish(self) {
        let Inserter { context, composer, mut draft, respeller, timed, frame, .. } = self;
        if context.source.is_some() {
            draft.mend_ties_at_seams();
        }
        if context.source.is_none() || context.compared.is_some() {
            draft.close_seams();
        }
        let timed = timed.settle(draft.edits);
        respeller.settle_accidentals(&mut draft, &composer);
        respeller.settle_stems(&mut draft, &composer);
        draft.put_graces();
        let Draft { edits, composed, .. } = draft;
        let fifths = respeller.fifths;
        let source_in_force = OnceCell::new();
        BarWriter { context, edits, composer, composed, timed, frame, fifths, source_in_force }.write();
    }
}
