//! Notes: their sound, length, voice, ties and grace notes.

use super::{OpenTie, PartReader};
use crate::musicxml::Error;
use crate::musicxml::marks::Spot;
use crate::musicxml::tree::{child, child_text, element, text_of};
use crate::pitch::Pitch;
use crate::score::{Note, NoteId, Place, Sound};
use crate::time::{Time, parse_decimal};
use num_traits::Zero;
use roxmltree::Node;

impl<'a, 'i> PartReader<'a, 'i> {
    pub(super) fn note(&mut self, node: Node<'a, 'i>) -> Result<(), Error> {
        let (mut grace, mut chord, mut cue, mut sound) = (None, false, false, None);
        let (mut voice_name, mut staff) = ("", 1);
        let (mut tie_start, mut tie_stop, mut tied_start, mut tied_stop) = (false, false, false, false);
        let mut has_tie = false;
        let mut carries = false;
        for item in node.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "grace" => grace = Some(item),
                "chord" => chord = true,
                "cue" => cue = true,
                "pitch" => sound = Some(Sound::Pitched(self.pitch(item)?)),
                "unpitched" => sound = Some(Sound::Unpitched(self.displayed(item))),
                "rest" => sound = Some(Sound::Rest),
                "voice" => voice_name = text_of(item),
                "staff" => staff = text_of(item).parse().ok().filter(|s| (1..100).contains(s)).unwrap_or(1),
                "tie" => {
                    has_tie = true;
                    match item.attribute("type") {
                        Some("start") => tie_start = true,
                        Some("stop") => tie_stop = true,
                        _ => {}
                    }
                }
                "notations" => {
                    carries = true;
                    for tied in item.children().filter(|n| n.tag_name().name() == "tied") {
                        match tied.attribute("type") {
                            Some("start") => tied_start = true,
                            Some("stop") => tied_stop = true,
                            Some("continue") => (tied_start, tied_stop) = (true, true),
                            _ => {}
                        }
                    }
                }
                "lyric" | "accidental" => carries = true,
                _ => {}
            }
        }
        if !has_tie {
            (tie_start, tie_stop) = (tied_start, tied_stop);
        }
        let sound = match sound {
            Some(sound) => sound,
            None => {
                self.warn("a note has neither pitch nor rest; it was read as a rest");
                Sound::Rest
            }
        };
        let duration = match (grace, self.duration(node)?) {
            (Some(_), _) => Time::zero(),
            (None, Some(duration)) => duration,
            (None, None) => {
                self.warn("a note has no duration; it was read as taking no time");
                Time::zero()
            }
        };
        let onset = if chord { self.chord_onset } else { self.cursor };
        let last = self.part.notes.last().filter(|_| chord).map(|n| (n.voice, n.staff));
        if let (Some((_, of_chord)), None) = (last, child(node, "staff")) {
            staff = of_chord;
        }
        let voice = match last.filter(|_| voice_name.is_empty()) {
            Some((of_chord, _)) => of_chord,
            None => self.voice(voice_name, staff),
        };
        let id = self.part.notes.len();
        self.part.notes.push(Note {
            element: element(node),
            bar: self.here(),
            offset: onset,
            duration,
            sound,
            voice,
            staff,
            chord,
            grace: 0,
            grace_after: false,
            cue,
            tied_from: None,
            tied_to: None,
        });
        if let Some(grace) = grace {
            self.collect_grace(id, voice, chord, grace.attribute("slash") == Some("yes"));
        } else if !chord {
            self.graces_before(id, voice);
        }
        if grace.is_none() {
            self.tie(id, tie_start, tie_stop);
            if !chord {
                self.chord_onset = onset;
                self.advance(node, duration)?;
            }
        } else if !chord {
            self.chord_onset = onset;
        }
        if carries {
            let rank = if grace.is_some() { -1000 + self.part.notes[id].grace as i32 } else { 0 };
            let place = Place { bar: self.here(), offset: onset, note: Some(id) };
            let order = (self.part.bars[place.bar].start + onset, rank);
            self.marks.note(&mut self.part, node, Spot { place, order, voice, staff });
        }
        Ok(())
    }

    /// Files without voices keep their staves apart.
    pub(super) fn voice(&mut self, name: &str, staff: u32) -> u32 {
        let key = if name.is_empty() { (String::new(), staff) } else { (name.to_string(), 0) };
        let next = self.voices.len() as u32;
        *self.voices.entry(key).or_insert(next)
    }

    pub(super) fn pitch(&self, node: Node<'_, '_>) -> Result<Pitch, Error> {
        let wrong = |what: &str, found: &str| self.tree.content_error(node, format!("{found:?} is not {what}"));
        let step = child_text(node, "step").unwrap_or("");
        let octave = child_text(node, "octave").unwrap_or("");
        let base = Pitch::parse(&format!("{step}4")).filter(|_| step.len() == 1);
        let base = base.ok_or_else(|| wrong("the letter of a pitch", step))?;
        let octave = octave.parse::<i32>().ok().filter(|o| (-1..=12).contains(o));
        let octave = octave.ok_or_else(|| wrong("an octave from 0 to 9", child_text(node, "octave").unwrap_or("")))?;
        let alter = match child_text(node, "alter") {
            None | Some("") => 0,
            Some(text) => parse_decimal(text)
                .map(|t| (t * Time::from(100)).round().to_integer())
                .filter(|a| a.abs() <= 400)
                .ok_or_else(|| wrong("an alteration", text))? as i32,
        };
        Ok(Pitch::new(base.step, alter, octave).moved(self.transpose))
    }

    pub(super) fn displayed(&self, node: Node<'_, '_>) -> Pitch {
        let step = child_text(node, "display-step").unwrap_or("B");
        let octave = child_text(node, "display-octave").unwrap_or("4");
        Pitch::parse(&format!("{step}{octave}")).unwrap_or(Pitch::new(6, 0, 4))
    }

    pub(super) fn tie(&mut self, id: NoteId, start: bool, stop: bool) {
        let note = &self.part.notes[id];
        let Some(pitch) = note.pitch() else { return };
        let onset = self.part.onset(id);
        if stop {
            let fits = |t: &OpenTie| t.end == onset && t.pitch == pitch;
            let same_voice = self.ties.iter().position(|t| fits(t) && t.voice == note.voice);
            if let Some(at) = same_voice.or_else(|| self.ties.iter().position(fits)) {
                let from = self.ties.swap_remove(at).note;
                self.part.notes[id].tied_from = Some(from);
                self.part.notes[from].tied_to = Some(id);
            }
        }
        if start {
            let note = &self.part.notes[id];
            let tie = OpenTie { pitch, voice: note.voice, note: id, end: onset + note.duration };
            // What ended long ago will never be taken up.
            self.ties.retain(|t| t.end >= onset - Time::from(64));
            self.ties.push(tie);
        }
    }

    pub(super) fn collect_grace(&mut self, id: NoteId, voice: u32, chord: bool, slashed: bool) {
        let index = match self.graces.iter().position(|g| g.0 == voice) {
            Some(index) => index,
            None => {
                self.graces.push((voice, Vec::new(), slashed));
                self.graces.len() - 1
            }
        };
        let group = &mut self.graces[index];
        let last = group.1.last().map_or(0, |n| self.part.notes[*n].grace);
        self.part.notes[id].grace = if chord && last > 0 { last } else { last + 1 };
        group.1.push(id);
    }

    pub(super) fn graces_before(&mut self, main: NoteId, voice: u32) {
        let Some(at) = self.graces.iter().position(|g| g.0 == voice) else {
            return;
        };
        let (_, notes, slashed) = self.graces.swap_remove(at);
        let note = &self.part.notes[main];
        let place = Place { bar: note.bar, offset: note.offset, note: Some(main) };
        let spot = Spot { place, order: (self.part.onset(main), 0), voice, staff: note.staff };
        self.marks.grace(&mut self.part, &notes, slashed, spot);
    }

    /// Grace notes with no note after them in the bar belong to the one before.
    pub(super) fn graces_after(&mut self) {
        for (voice, notes, slashed) in std::mem::take(&mut self.graces) {
            let bar = self.here();
            for id in &notes {
                self.part.notes[*id].grace_after = true;
            }
            let first = notes[0];
            let main = (0..first).rev().take_while(|n| self.part.notes[*n].bar == bar).find(|n| {
                let note = &self.part.notes[*n];
                note.voice == voice && note.grace == 0 && !note.chord
            });
            let note = &self.part.notes[first];
            let place = Place { bar, offset: note.offset, note: main };
            let spot = Spot { place, order: (self.part.onset(first), 0), voice, staff: note.staff };
            self.marks.grace(&mut self.part, &notes, slashed, spot);
        }
    }
}
