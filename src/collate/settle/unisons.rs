//! Notes of several voices on one pitch at once: which of the edition's is
//! which of the source's. The notes do not say it; how long they are and what
//! stands at them does.

use super::super::{PartAlignment, PartView};
use crate::alignment::{EditionNote, NoteOf, PartOf, Side, SourceNote};
use crate::pitch::Interval;
use crate::score::{Category, Meaning};
use crate::time::Time;
use rustc_hash::FxHashMap;

/// Exchanges partners within a unison where that makes more of its notes and marks alike.
pub(super) fn settle(view: &PartView, scale: Time, alignment: &mut PartAlignment) {
    let unisons = unisons(view, alignment);
    if unisons.is_empty() {
        return;
    }
    let (ours, theirs) = (marks(view.edition), marks(view.source));
    let alike = |e: EditionNote, s: SourceNote| {
        let same_length = view.edition[e].duration == view.source[s].duration * scale;
        let (Some(own), Some(other)) = (ours.get(&e), theirs.get(&s)) else { return (same_length, 0) };
        (same_length, own.iter().filter(|mark| other.contains(mark)).count())
    };
    for unison in unisons {
        for (nth, &e) in unison.iter().enumerate() {
            for &other in &unison[nth + 1..] {
                let [Some(s), Some(t)] = [e, other].map(|n| alignment.edition_to_source[n]) else { continue };
                let sum = |a: (bool, usize), b: (bool, usize)| (usize::from(a.0) + usize::from(b.0), a.1 + b.1);
                if sum(alike(e, t), alike(other, s)) > sum(alike(e, s), alike(other, t)) {
                    alignment.pair(e, t);
                    alignment.pair(other, s);
                }
            }
        }
    }
}

/// The edition's notes that sound at one place and pitch, and whose partners do, too.
fn unisons(view: &PartView, alignment: &PartAlignment) -> Vec<Vec<EditionNote>> {
    let mut out = Vec::new();
    for bar in &view.edition.bars {
        let notes = &view.edition.notes[bar.notes.clone()];
        if notes.windows(2).all(|two| two[0].voice == two[1].voice) {
            continue;
        }
        let place = |e: EditionNote| {
            let s = alignment.edition_to_source[e]?;
            let theirs = (view.source.place(s), view.source_height(s));
            Some((view.edition[e].offset, view.edition_height(e), theirs))
        };
        let mut placed: Vec<_> = view.edition.notes_in(bar).filter_map(|e| Some((place(e)?, e))).collect();
        placed.sort_unstable();
        let runs = placed.chunk_by(|a, b| a.0 == b.0).filter(|run| run.len() > 1);
        out.extend(runs.map(|run| run.iter().map(|(_, note)| *note).collect::<Vec<_>>()));
    }
    out
}

/// What stands at each note of a part.
fn marks<S: Side>(part: PartOf<'_, S>) -> FxHashMap<NoteOf<S>, Vec<(Category, Meaning<'_>)>> {
    let mut out: FxHashMap<NoteOf<S>, Vec<(Category, Meaning<'_>)>> = FxHashMap::default();
    for (_, mark) in part.marks() {
        if let Some(note) = part.carrier(mark.at) {
            out.entry(note).or_default().push((mark.category, mark.meaning(Interval::UNISON)));
        }
    }
    out
}
