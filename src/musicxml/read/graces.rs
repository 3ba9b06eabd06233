//! What joins notes: ties, and grace notes with their main notes.

use super::PartReader;
use crate::musicxml::marks::Spot;
use crate::pitch::Pitch;
use crate::score::{Anchor, Note, NoteId};
use crate::time::Time;
use roxmltree::Node;
use std::collections::BTreeMap;

/// Notes that wait for the one that they belong to.
#[derive(Debug, Default)]
pub(super) struct Joins {
    /// Notes whose tie is open, by where it must go on.
    pub ties: BTreeMap<(Time, Pitch), Vec<NoteId>>,
    /// Grace notes by voice: the notes, and whether the first is slashed.
    waiting: BTreeMap<u32, (Vec<NoteId>, bool)>,
    /// By voice: notes that take their time from the main note before them.
    following: BTreeMap<u32, (Vec<NoteId>, bool)>,
    /// The last note of each voice that may be a main note, of this bar or one before.
    mains: Vec<Option<NoteId>>,
}

/// Which ends of ties a note has.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct TieEnds {
    pub start: bool,
    pub stop: bool,
}

impl TieEnds {
    /// Adds that of an element.
    pub(super) fn add(&mut self, tie: Node<'_, '_>) {
        match tie.attribute("type") {
            Some("start") => self.start = true,
            Some("stop") => self.stop = true,
            _ => {}
        }
    }
}

impl PartReader<'_, '_> {
    /// A tie goes on where its first note ends, at the same pitch, in the same
    /// voice if it can.
    pub(super) fn tie(&mut self, id: NoteId, ends: TieEnds) {
        if ends == TieEnds::default() {
            return;
        }
        let note = &self.part.notes[id];
        let Some(pitch) = note.pitch() else { return };
        let (onset, end, voice) = (self.part.onset(id), self.part.onset(id) + note.duration, note.voice);
        if ends.stop
            && let Some(open) = self.joins.ties.get_mut(&(onset, pitch))
        {
            let same_voice = open.iter().position(|n| self.part.notes[*n].voice == voice);
            let from = open.remove(same_voice.unwrap_or(0));
            if open.is_empty() {
                self.joins.ties.remove(&(onset, pitch));
            }
            self.part.notes[id].tied_from = Some(from);
            self.part.notes[from].tied_to = Some(id);
        }
        if ends.start {
            self.joins.ties.entry((end, pitch)).or_default().push(id);
        }
    }

    pub(super) fn collect_grace(&mut self, id: NoteId, grace: Node<'_, '_>) {
        let Note { voice, chord, .. } = self.part.notes[id];
        let slashed = grace.attribute("slash") == Some("yes");
        // A note that leads on belongs to the one before only if none that waits for the next came first.
        let follows =
            grace.attribute("steal-time-previous").is_some() || chord && self.joins.following.contains_key(&voice);
        let follows = follows && self.main(voice).is_some() && !self.joins.waiting.contains_key(&voice);
        let groups = if follows { &mut self.joins.following } else { &mut self.joins.waiting };
        let (notes, _) = groups.entry(voice).or_insert((Vec::new(), slashed));
        let last = notes.last().map_or(0, |n| self.part.notes[*n].grace);
        self.part.notes[id].grace = if chord && last > 0 { last } else { last + 1 };
        notes.push(id);
    }

    /// The note of this bar that grace notes after it belong to.
    fn main(&self, voice: u32) -> Option<NoteId> {
        let last = self.joins.mains.get(voice as usize).copied().flatten();
        last.filter(|note| self.part.notes[*note].bar == self.here())
    }

    pub(super) fn graces_before(&mut self, main: NoteId, voice: u32) {
        if !self.joins.following.is_empty()
            && let Some((notes, slashed)) = self.joins.following.remove(&voice)
        {
            self.follow(&notes, slashed, self.main(voice));
        }
        let place = voice as usize;
        if self.joins.mains.len() <= place {
            self.joins.mains.resize(place + 1, None);
        }
        self.joins.mains[place] = Some(main);
        if self.joins.waiting.is_empty() {
            return;
        }
        let Some((notes, slashed)) = self.joins.waiting.remove(&voice) else {
            return;
        };
        let note = &self.part.notes[main];
        let place = Anchor { place: note.place(), note: Some(main) };
        let spot = Spot { place, order: (self.part.onset(main), 0), voice, voice_is_told: false, staff: note.staff };
        self.marks.grace(&mut self.part, &notes, slashed, spot);
    }

    /// Grace notes with no note after them in the bar belong to the one before.
    pub(super) fn graces_after(&mut self) {
        let following = std::mem::take(&mut self.joins.following);
        for (voice, (notes, slashed)) in following.into_iter().chain(std::mem::take(&mut self.joins.waiting)) {
            self.follow(&notes, slashed, self.main(voice));
        }
    }

    fn follow(&mut self, notes: &[NoteId], slashed: bool, main: Option<NoteId>) {
        for id in notes {
            self.part.notes[*id].grace_after = true;
        }
        let note = &self.part.notes[notes[0]];
        let place = Anchor { place: note.place(), note: main };
        let spot = Spot {
            place,
            order: (self.part.onset(notes[0]), 0),
            voice: note.voice,
            voice_is_told: false,
            staff: note.staff,
        };
        self.marks.grace(&mut self.part, notes, slashed, spot);
    }
}
