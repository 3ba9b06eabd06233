//! What notes print beside their pitches, where others went: ties, beams,
//! tuplets, accidentals and stems.

use super::Extractor;
use crate::musicxml::accidentals::{Printed, required};
use crate::musicxml::fragment::Fragment;
use crate::musicxml::tree::{child, element, elements, text_of};
use crate::pitch::accidental_name;
use crate::score::NoteId;
use roxmltree::Node;
use std::collections::{BTreeSet, HashMap};

impl<'a, 'i> Extractor<'_, 'a, 'i> {
    pub(super) fn settle_notes(&mut self) {
        for at in 0..self.own.len() {
            let note = &self.part.notes[self.own[at]];
            for (other, end) in [(note.tied_to, "start"), (note.tied_from, "stop")] {
                if other.is_some_and(|n| !self.is_own(n)) {
                    self.untie(self.tree.node(note.element), end);
                }
            }
        }
        self.settle_beams();
        self.settle_tuplets();
        for bar in 0..self.part.bars.len() {
            self.settle_accidentals(bar);
            self.settle_stems(bar);
        }
    }

    fn is_own(&self, note: NoteId) -> bool {
        self.own_notes.contains(&self.part.notes[note].element)
    }

    /// A tie into another line goes: its start or its stop at a note.
    fn untie(&mut self, note: Node<'a, 'i>, end: &str) {
        let ties = elements(note).filter(|n| n.tag_name().name() == "tie");
        let notations = elements(note).filter(|n| n.tag_name().name() == "notations").flat_map(elements);
        for tie in ties.chain(notations.filter(|n| n.tag_name().name() == "tied")) {
            if tie.attribute("type") == Some(end) {
                self.edits.remove(element(tie));
            }
        }
    }

    /// The note that stands for a chord of the part in the line; none of a chord that went.
    fn head(&self, note: NoteId) -> Option<NoteId> {
        self.part.chord(note).find(|n| self.is_own(*n))
    }

    /// A beam from which notes went goes.
    fn settle_beams(&mut self) {
        let mut open: HashMap<(u32, bool), Vec<(NoteId, bool)>> = HashMap::new();
        for note in 0..self.part.notes.len() {
            let own = &self.part.notes[note];
            let beams = beams(self.tree.node(own.element));
            let Some(first) = beams.iter().find(|n| n.attribute("number").is_none_or(|n| n == "1")) else { continue };
            if own.chord && self.head(note).is_some_and(|h| h != note) {
                continue;
            }
            if let Some(head) = self.head(note).filter(|h| *h != note && self.sign_of(*h, "beam").is_none()) {
                let to = self.part.notes[head].element;
                beams.iter().for_each(|beam| self.edits.add_child(to, Fragment::copy(*beam)));
            }
            let group = open.entry((own.voice, own.grace > 0)).or_default();
            let kind = text_of(*first);
            let left = if kind == "begin" { std::mem::take(group) } else { Vec::new() };
            // Without its first note, where that is not printed, it is broken, too.
            let headless = group.is_empty() && kind != "begin";
            group.push((note, headless));
            let whole = if kind == "end" { std::mem::take(group) } else { Vec::new() };
            if whole.iter().any(|(n, headless)| *headless || self.head(*n).is_none()) {
                self.unbeam(&whole);
            }
            self.unbeam(&left);
        }
    }

    fn unbeam(&mut self, group: &[(NoteId, bool)]) {
        let tree = self.tree;
        let notes: Vec<NoteId> =
            group.iter().flat_map(|(n, _)| self.part.chord(*n)).filter(|n| self.is_own(*n)).collect();
        for beam in notes.into_iter().flat_map(|n| beams(tree.node(self.part.notes[n].element))) {
            self.edits.remove(element(beam));
        }
    }

    /// A bracket over a tuplet of which an end went goes, too.
    fn settle_tuplets(&mut self) {
        let mut open: HashMap<(u32, &str), Vec<(NoteId, Node<'a, 'i>)>> = HashMap::new();
        for note in 0..self.part.notes.len() {
            let notations = elements(self.tree.node(self.part.notes[note].element));
            let notations = notations.filter(|n| n.tag_name().name() == "notations").flat_map(elements);
            for tuplet in notations.filter(|n| n.tag_name().name() == "tuplet") {
                let key = (self.part.notes[note].voice, tuplet.attribute("number").unwrap_or("1"));
                if tuplet.attribute("type") != Some("stop") {
                    open.entry(key).or_default().push((note, tuplet));
                } else if let Some(start) = open.entry(key).or_default().pop() {
                    let ends = [start, (note, tuplet)];
                    let heads = ends.map(|(note, _)| if self.is_own(note) { Some(note) } else { self.head(note) });
                    for ((from, tuplet), to) in ends.into_iter().zip(heads) {
                        match to {
                            _ if heads.contains(&None) => self.edits.remove(element(tuplet)),
                            Some(to) if to != from => self.bring(to, tuplet),
                            _ => {}
                        }
                    }
                }
            }
        }
    }

    /// A notation of the chord's first note, which went, for the one that is first now.
    fn bring(&mut self, to: NoteId, notation: Node<'a, 'i>) {
        let (to, copy) = (self.part.notes[to].element, Fragment::copy(notation));
        match child(self.tree.node(to), "notations") {
            Some(notations) => self.edits.add_child(element(notations), copy),
            None => match self.edits.pending(to, "notations") {
                Some(notations) => notations.children.push(copy),
                None => self.edits.add_child(to, Fragment::new("notations").with(copy)),
            },
        }
    }

    /// A sign that another line gave comes, one that was needed because of it goes.
    fn settle_accidentals(&mut self, bar: usize) {
        let own = &self.part.bars[bar];
        let mut notes: Vec<NoteId> = own.notes.clone().filter(|n| self.part.notes[*n].pitch().is_some()).collect();
        notes.sort_by_key(|n| (self.part.notes[*n].offset, self.part.notes[*n].grace == 0, *n));
        let printed = |n: &NoteId, staff: u32| {
            let note = &self.part.notes[*n];
            let pitch = note.pitch().expect("filtered above").moved(note.transpose.inverse());
            Printed { staff, pitch, continued: note.tied_from.is_some_and(|f| self.part.notes[f].bar != bar) }
        };
        let before = required(notes.iter().map(|n| printed(n, self.part.notes[*n].staff)), own.fifths);
        let before: HashMap<NoteId, bool> = notes.iter().copied().zip(before).collect();
        notes.retain(|n| self.is_own(*n));
        let alone: Vec<Printed> = notes.iter().map(|n| printed(n, 1)).collect();
        for ((note, needs), printed) in notes.iter().zip(required(alone.iter().copied(), own.fifths)).zip(alone) {
            let sign = self.sign_of(*note, "accidental");
            let to = self.part.notes[*note].element;
            match (before[note], needs, sign) {
                (false, true, None) => {
                    let name = accidental_name(printed.pitch.alter);
                    name.into_iter().for_each(|name| self.edits.add_child(to, Fragment::leaf("accidental", name)));
                }
                // One that says it is more than needed stays.
                (true, false, Some(sign)) if sign.attributes().next().is_none() => self.edits.remove(element(sign)),
                _ => {}
            }
        }
    }

    /// Stems that kept voices of a staff apart go where one of them is alone;
    /// whoever draws the staff knows them.
    fn settle_stems(&mut self, bar: usize) {
        let notes = self.part.bars[bar].notes.clone();
        let sounding: Vec<NoteId> = notes.collect();
        let voices = |staff: u32, own: bool| -> BTreeSet<u32> {
            let all = sounding.iter().filter(|n| self.part.notes[**n].staff == staff && (!own || self.is_own(**n)));
            all.map(|n| self.part.notes[*n].voice).collect()
        };
        let shared = |staff: u32| voices(staff, false).len() > 1 && voices(staff, true).len() == 1;
        let staves: BTreeSet<u32> = sounding.iter().map(|n| self.part.notes[*n].staff).filter(|s| shared(*s)).collect();
        let all = sounding.iter().filter(|n| self.is_own(**n) && staves.contains(&self.part.notes[**n].staff));
        let stems: Vec<Node> = all.filter_map(|n| self.sign_of(*n, "stem")).collect();
        for stem in stems.into_iter().filter(|s| matches!(text_of(*s), "up" | "down")) {
            self.edits.remove(element(stem));
        }
    }
}

fn beams<'a, 'i>(note: Node<'a, 'i>) -> Vec<Node<'a, 'i>> {
    elements(note).filter(|n| n.tag_name().name() == "beam").collect()
}
