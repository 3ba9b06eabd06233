//! What notes are called and how they look on the staff: pitches, signatures,
//! accidentals, stems.

use super::super::edits::Edits;
use super::super::fragment::Fragment;
use super::super::pitches::pitch_fragment;
use super::super::tree::{child, element};
use super::Target;
use super::compose::Composer;
use super::context::{Context, Signatures};
use crate::alignment::{EditionNote, SourceNote};
use crate::instrument::Clef;
use crate::pitch::Pitch;
use crate::plan::BarPlan;
use crate::score::KeySigns;
use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};

/// Gives notes other pitches, and in the end the accidentals and stems that they need then.
pub(super) struct Respeller<'p, 'a, 'i> {
    pub(super) context: &'p Context<'p, 'a, 'i>,
    /// New written pitches of the edition's notes.
    pub(super) pitches: BTreeMap<EditionNote, Pitch>,
    /// The source's notes that these pitches come from.
    pub(super) restored_from: BTreeMap<EditionNote, SourceNote>,
    /// The attributes that the accidentals of notes get.
    pub(super) styled: BTreeMap<Target, Vec<(String, String)>>,
    /// Notes whose accidental loses what the editor made of it.
    pub(super) unstyled: BTreeSet<EditionNote>,
    /// The signature that each row has afterwards.
    pub(super) fifths: Vec<i32>,
    /// Notes move by one interval, or by octaves, and signs stay where they are.
    pub(super) moved_whole: bool,
    /// Clefs in the place of the part's own, with the bars from which they hold.
    pub(super) other_clefs: Option<Vec<(usize, Clef)>>,
    /// The part's own clefs, the last of each bar that has any.
    pub(super) clefs: OnceCell<Vec<(usize, Option<Clef>)>>,
    /// Signatures of single accidentals that move with the part, of each bar before and after.
    pub(super) key_signs: Option<[Vec<Option<KeySigns>>; 2]>,
}

impl<'p, 'a, 'i> Respeller<'p, 'a, 'i> {
    pub(super) fn new(context: &'p Context<'p, 'a, 'i>) -> Self {
        Respeller {
            context,
            pitches: BTreeMap::new(),
            restored_from: BTreeMap::new(),
            styled: BTreeMap::new(),
            unstyled: BTreeSet::new(),
            fifths: row_fifths(context),
            moved_whole: false,
            other_clefs: None,
            clefs: OnceCell::new(),
            key_signs: None,
        }
    }

    /// A note of the edition gets the pitch of a source note, and so do all
    /// that are tied to it.
    pub(super) fn restore_pitch(
        &mut self,
        edits: &mut Edits,
        composer: &Composer,
        note: EditionNote,
        from: SourceNote,
    ) {
        let Some(source) = self.context.source else { return };
        if source.part[from].pitch().is_none() {
            return;
        }
        self.restored_from.insert(note, from);
        for tied in self.context.part.tied(note) {
            let written = composer.written(source, from, self.context.part[tied].transpose);
            written.into_iter().for_each(|pitch| self.put_pitch(edits, tied, pitch));
        }
    }

    /// Gives a note another written pitch; its accidental is settled with all others.
    pub(super) fn put_pitch(&mut self, edits: &mut Edits, note: EditionNote, written: Pitch) {
        self.pitches.insert(note, written);
        let node = self.context.node(note);
        let Some(pitch) = child(node, "pitch") else { return };
        let old = self.context.written(note);
        match child(pitch, "octave").filter(|_| old.is_some_and(|o| o.same_name(written))) {
            Some(octave) => {
                edits.replace(element(octave), Fragment::leaf("octave", written.octave));
            }
            None => edits.replace(element(pitch), pitch_fragment(written)),
        }
    }
}

/// The signature of each row: the source's moved one where signatures are
/// restored, else the edition's.
fn row_fifths(context: &Context) -> Vec<i32> {
    let moved = |row: usize, bar: usize| {
        context.source.map(|s| s.part.sounding_fifths(bar) + context.writing_interval(row).fifths())
    };
    let mut last = context.part.bars.first().map_or(0, |b| b.fifths);
    let mut follows = false;
    let mut out = Vec::new();
    for (row, plan) in context.plan.rows().iter().enumerate() {
        let source = plan.source().filter(|b| context.source.is_some_and(|s| *b < s.part.bars.len()));
        let theirs = source.and_then(|bar| moved(row, bar));
        match plan.edition().filter(|b| *b < context.part.bars.len()) {
            Some(_) if matches!(plan, BarPlan::Drop { .. }) => {}
            // A bar that is the edition's own goes on in what was restored before it.
            Some(bar)
                if context.goes_on(*plan) && context.part.bars[bar].fifths == context.part.bars[bar - 1].fifths => {}
            Some(bar) => {
                let ours = context.part.bars[bar].fifths;
                let near = theirs.is_some_and(|t| (t - ours).abs() <= 1);
                follows = theirs == Some(ours);
                last = if context.signatures == Signatures::Source && !near { theirs.unwrap_or(ours) } else { ours };
            }
            None if follows => last = theirs.unwrap_or(last),
            None => {}
        }
        out.push(last);
    }
    out
}
