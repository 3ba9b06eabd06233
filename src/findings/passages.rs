//! Passages: runs of notes that belong together, named as a musician would.

use super::{Finder, Spot};
use crate::score::NoteId;
use crate::time::Time;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PassageKind {
    OctaveDisplacement,
    InventedEnding,
    InsertedPassage,
    RewrittenPassage,
    Cut,
}

impl PassageKind {
    /// In plain words.
    pub fn words(self) -> &'static str {
        match self {
            PassageKind::OctaveDisplacement => "octave displacement",
            PassageKind::InventedEnding => "invented ending",
            PassageKind::InsertedPassage => "inserted passage",
            PassageKind::RewrittenPassage => "rewritten passage",
            PassageKind::Cut => "cut",
        }
    }
}

/// A passage; `from` and `to` are the onsets of its first and last note in the
/// edition, for a cut the place where the edition goes on.
#[derive(Debug, Clone)]
pub struct Passage {
    pub kind: PassageKind,
    pub row: usize,
    pub from: Spot,
    pub to: Spot,
    pub source_from: Option<Spot>,
    pub source_to: Option<Spot>,
    /// How many octaves the edition lies from where it should.
    pub octaves: Option<i32>,
    pub edition: Vec<NoteId>,
    pub source: Vec<NoteId>,
    /// Bars of the source that are in it, for cuts.
    pub bars: usize,
    /// Index of the stretch it names.
    pub stretch: Option<usize>,
}

/// A passage for each stretch of other music, and for each stretch its passage.
pub(super) fn of_stretches(finder: &Finder) -> (Vec<Passage>, Vec<usize>) {
    let mut out = Vec::new();
    for (index, stretch) in finder.alignment.stretches.iter().enumerate() {
        let rows = stretch.outline.0..=stretch.outline.1;
        let edition_bars: Vec<usize> = rows.clone().filter_map(|r| finder.collation.outline[r].edition).collect();
        let source_bars: Vec<usize> = rows.clone().filter_map(|r| finder.collation.outline[r].source).collect();
        let extra = rows.clone().any(|r| finder.collation.outline[r].source.is_none());
        let missing = rows.clone().any(|r| finder.collation.outline[r].edition.is_none());
        let ours = !stretch.edition.is_empty() || extra;
        let theirs = !stretch.source.is_empty() || missing;
        let kind = match (ours, theirs) {
            (false, _) => PassageKind::Cut,
            (true, _) if stretch.to_the_end => PassageKind::InventedEnding,
            (true, false) => PassageKind::InsertedPassage,
            (true, true) => PassageKind::RewrittenPassage,
        };
        let spot = |part: &crate::score::Part, n: NoteId| Spot { bar: part.notes[n].bar, offset: part.notes[n].offset };
        let ends = |part: &crate::score::Part, notes: &[NoteId]| {
            let spots = notes.iter().map(|n| spot(part, *n));
            spots.clone().min().zip(spots.max())
        };
        let bar_start = |bar: usize| Spot { bar, offset: Time::from(0) };
        let bounds = |bars: &[usize]| bars.first().zip(bars.last()).map(|(a, b)| (bar_start(*a), bar_start(*b)));
        let seam = finder.seam(stretch.outline.0);
        let seam = if finder.collation.outline[stretch.outline.0].edition.is_some() {
            Spot { bar: seam.bar, offset: stretch.from }
        } else {
            seam
        };
        let own = ends(finder.edition, &stretch.edition).or_else(|| bounds(&edition_bars).filter(|_| ours));
        let (from, to) = own.unwrap_or((seam, seam));
        let other = ends(finder.source, &stretch.source).or_else(|| bounds(&source_bars).filter(|_| theirs));
        out.push(Passage {
            kind,
            row: stretch.outline.0,
            from,
            to,
            source_from: other.map(|o| o.0),
            source_to: other.map(|o| o.1),
            octaves: None,
            edition: stretch.edition.clone(),
            source: stretch.source.clone(),
            bars: source_bars.len(),
            stretch: Some(index),
        });
    }
    let places = (0..out.len()).collect();
    (out, places)
}

/// Runs of notes in one voice that lie the same number of octaves off, across
/// rests. The table gives each note its passage.
pub(super) fn of_octaves(finder: &Finder, first: usize) -> (Vec<Passage>, HashMap<NoteId, usize>) {
    let mut out: Vec<Passage> = Vec::new();
    let mut of_note = HashMap::new();
    // The passage that is open in each voice, and how far off it is.
    let mut open: HashMap<u32, (usize, i32)> = HashMap::new();
    for e in finder.edition.struck() {
        let Some(s) = finder.alignment.edition_to_source[e] else {
            continue;
        };
        if finder.alignment.realisations.iter().any(|r| r.source == s) {
            continue;
        }
        let note = &finder.edition.notes[e];
        let apart = finder.apart(e, s);
        let octaves = apart / 1200;
        if apart == 0 || apart % 1200 != 0 {
            // A wrong note inside the passage does not end it, a right one does.
            if apart == 0 {
                open.remove(&note.voice);
            }
            continue;
        }
        let at = Spot { bar: note.bar, offset: note.offset };
        let there = Spot { bar: finder.source.notes[s].bar, offset: finder.source.notes[s].offset };
        match open.get(&note.voice).filter(|o| o.1 == octaves) {
            Some((index, _)) => {
                let passage = &mut out[*index];
                passage.to = at;
                passage.source_to = Some(there);
                passage.edition.push(e);
                passage.source.push(s);
                of_note.insert(e, first + index);
            }
            None => {
                open.insert(note.voice, (out.len(), octaves));
                of_note.insert(e, first + out.len());
                out.push(Passage {
                    kind: PassageKind::OctaveDisplacement,
                    row: finder.collation.edition_row(note.bar),
                    from: at,
                    to: at,
                    source_from: Some(there),
                    source_to: Some(there),
                    octaves: Some(octaves),
                    edition: vec![e],
                    source: vec![s],
                    bars: 0,
                    stretch: None,
                });
            }
        }
    }
    (out, of_note)
}
