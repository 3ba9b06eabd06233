//! What joins notes: ties, and grace notes with their main notes.

use super::PartReader;
use crate::musicxml::marks::Spot;
use crate::score::{NoteId, Place};
use std::collections::{BTreeMap, HashMap};

/// Grace notes that wait for their main note.
#[derive(Debug, Default)]
pub(super) struct Graces {
    /// By voice: the notes, and whether the first is slashed.
    waiting: BTreeMap<u32, (Vec<NoteId>, bool)>,
    /// The last note of each voice that may be a main note.
    mains: HashMap<u32, NoteId>,
}

impl PartReader<'_, '_> {
    /// A tie goes on where its first note ends, at the same pitch, in the same
    /// voice if it can.
    pub(super) fn tie(&mut self, id: NoteId, start: bool, stop: bool) {
        let note = &self.part.notes[id];
        let Some(pitch) = note.pitch() else { return };
        let (onset, end, voice) = (self.part.onset(id), self.part.onset(id) + note.duration, note.voice);
        if stop && let Some(open) = self.ties.get_mut(&(onset, pitch)) {
            let same_voice = open.iter().position(|n| self.part.notes[*n].voice == voice);
            let from = open.remove(same_voice.unwrap_or(0));
            if open.is_empty() {
                self.ties.remove(&(onset, pitch));
            }
            self.part.notes[id].tied_from = Some(from);
            self.part.notes[from].tied_to = Some(id);
        }
        if start {
            self.ties.entry((end, pitch)).or_default().push(id);
        }
    }

    pub(super) fn collect_grace(&mut self, id: NoteId, voice: u32, chord: bool, slashed: bool) {
        let (notes, _) = self.graces.waiting.entry(voice).or_insert((Vec::new(), slashed));
        let last = notes.last().map_or(0, |n| self.part.notes[*n].grace);
        self.part.notes[id].grace = if chord && last > 0 { last } else { last + 1 };
        notes.push(id);
    }

    pub(super) fn graces_before(&mut self, main: NoteId, voice: u32) {
        self.graces.mains.insert(voice, main);
        let Some((notes, slashed)) = self.graces.waiting.remove(&voice) else {
            return;
        };
        let note = &self.part.notes[main];
        let place = Place { bar: note.bar, offset: note.offset, note: Some(main) };
        let spot = Spot { place, order: (self.part.onset(main), 0), voice, staff: note.staff };
        self.marks.grace(&mut self.part, &notes, slashed, spot);
    }

    /// Grace notes with no note after them in the bar belong to the one before.
    pub(super) fn graces_after(&mut self) {
        let mains = std::mem::take(&mut self.graces.mains);
        for (voice, (notes, slashed)) in std::mem::take(&mut self.graces.waiting) {
            for id in &notes {
                self.part.notes[*id].grace_after = true;
            }
            let note = &self.part.notes[notes[0]];
            let place = Place { bar: self.here(), offset: note.offset, note: mains.get(&voice).copied() };
            let spot = Spot { place, order: (self.part.onset(notes[0]), 0), voice, staff: note.staff };
            self.marks.grace(&mut self.part, &notes, slashed, spot);
        }
    }
}
