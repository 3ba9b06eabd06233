//! Notes: their sound, length, voice, ties and grace notes.

use super::graces::TieEnds;
use super::{MOST_IN_CHORD, MOST_VOICES, PartReader};
use crate::musicxml::Error;
use crate::musicxml::marks::Spot;
use crate::musicxml::tree::{alteration, child_text, element, elements, text_of};
use crate::pitch::{LETTERS, Pitch};
use crate::score::{Anchor, Note, Place, Sound};
use crate::time::Time;
use roxmltree::Node;
use rustc_hash::FxHashMap;

/// The voices of a part, in order of appearance.
#[derive(Debug, Default)]
pub(super) struct Voices<'a> {
    /// By name, or without one by staff; so few that a quick hash is safe.
    pub numbers: FxHashMap<(&'a str, u32), u32>,
    last: Option<((&'a str, u32), u32)>,
}

/// The chord that is being read.
#[derive(Debug, Default)]
pub(super) struct Chord {
    pub onset: Time,
    pub length: Time,
    /// Its first note is not printed.
    pub head_is_hidden: bool,
    /// How many notes it has.
    pub size: usize,
}

impl<'a, 'i> PartReader<'a, 'i> {
    pub(super) fn note(&mut self, node: Node<'a, 'i>) -> Result<(), Error> {
        let (mut grace, mut chord, mut cue, mut sound) = (None, false, false, None);
        let (mut voice_name, mut staff) = ("", 1);
        let (mut ties, mut tied_ends) = (TieEnds::default(), TieEnds::default());
        let mut has_tie = false;
        // What may carry marks, and what the length is read from.
        let mut carriers = std::mem::take(&mut self.carriers);
        let mut length = None;
        let mut has_staff = false;
        // No dots, no tuplet.
        let mut is_plain = true;
        for item in elements(node) {
            match item.tag_name().name() {
                // The commonest come first.
                "pitch" => sound = Some(Sound::Pitched(self.pitch(item)?)),
                "duration" => length = length.or(Some(item)),
                "voice" => voice_name = text_of(item),
                // The commonest of what is no mark; the table, which says so of all, need not be asked.
                "type" | "stem" | "beam" => {}
                "dot" | "time-modification" => is_plain = false,
                "grace" => grace = Some(item),
                "chord" => chord = true,
                "cue" => cue = true,
                "unpitched" => sound = Some(Sound::Unpitched(self.displayed(item))),
                "rest" => sound = Some(Sound::Rest),
                "staff" => {
                    has_staff = true;
                    staff = self.staff(Some(text_of(item)));
                }
                "tie" => {
                    has_tie = true;
                    ties.add(item);
                }
                "notations" => {
                    carriers.push(item);
                    for tied in elements(item).filter(|n| n.tag_name().name() == "tied") {
                        match tied.attribute("type") {
                            Some("continue") => tied_ends = TieEnds { start: true, stop: true },
                            _ => tied_ends.add(tied),
                        }
                    }
                }
                "lyric" | "accidental" => carriers.push(item),
                _ => {
                    self.marks.placed("note", item, self.here());
                }
            }
        }
        if !has_tie {
            ties = tied_ends;
        }
        let mut sound = match sound {
            Some(sound) => sound,
            None => {
                self.warn("a note has neither pitch nor rest; it was read as a rest");
                Sound::Rest
            }
        };
        let told = match (grace, self.length(length)?) {
            (Some(_), _) => Time::zero(),
            (None, Some(duration)) => duration,
            (None, None) => self.told_by_type(node),
        };
        let told_plainly = grace.is_some() || is_plain && self.lengths.by.is_empty() && !self.is_coarse(told);
        let duration = match chord {
            _ if told_plainly => told,
            true => self.as_printed_in_chord(node, told),
            false => self.as_printed(node, told),
        };
        if node.attribute("print-object") == Some("no") && sound != Sound::Rest {
            carriers.clear();
            self.carriers = carriers;
            let tied = match sound {
                Sound::Pitched(written) if ties.stop => Some(written),
                _ => None,
            };
            return self.pass_over(node, chord, grace.is_some(), tied, [told, duration]);
        }
        // The printed notes of a chord have their own first one.
        let is_new_head = chord && self.chord.head_is_hidden;
        if is_new_head {
            (chord, self.chord.head_is_hidden) = (false, false);
        } else if !chord {
            self.chord.head_is_hidden = false;
        }
        if chord && self.part.bars[self.here()].notes.start == self.part.notes.len() {
            self.warn("a bar begins with a chord note without a first note; it was read as a single note");
            chord = false;
        }
        self.chord.size = if chord { self.chord.size + 1 } else { 1 };
        if self.chord.size > MOST_IN_CHORD {
            return Err(self.tree.content_error(node, format!("a chord of more than {MOST_IN_CHORD} notes")));
        }
        let onset = if chord || is_new_head { self.chord.onset } else { self.clock.now };
        let last = self.part.notes.last().filter(|_| chord).map(|n| (n.voice, n.staff));
        if let (Some((_, of_chord)), false) = (last, has_staff) {
            staff = of_chord;
        }
        let voice = match last.filter(|_| voice_name.is_empty()) {
            Some((of_chord, _)) => of_chord,
            None => self.voice(node, voice_name, staff)?,
        };
        let transpose = self.transpose_of(staff);
        if let Sound::Pitched(written) = &mut sound {
            *written = written.moved(transpose);
        }
        let id = self.part.notes.len();
        self.part.notes.push(Note {
            element: element(node),
            bar: self.here(),
            offset: onset,
            duration,
            sound,
            transpose,
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
            self.collect_grace(id, grace);
        } else if !chord {
            self.graces_before(id, voice);
        }
        if grace.is_none() {
            self.tie(id, ties);
            if !chord && !is_new_head {
                (self.chord.onset, self.chord.length) = (onset, duration);
                self.advance_by(node, told, duration)?;
            }
        } else if !chord {
            self.chord.onset = onset;
        }
        if !carriers.is_empty() {
            let rank = if grace.is_some() { -1000 + self.part.notes[id].grace as i32 } else { 0 };
            let place = Anchor { place: Place { bar: self.here(), offset: onset }, note: Some(id) };
            let order = (self.part.bars[place.bar].start + onset, rank);
            let spot = Spot { place, order, voice, voice_is_told: false, staff };
            carriers.iter().for_each(|carrier| self.marks.of_note(&mut self.part, *carrier, spot));
        }
        carriers.clear();
        self.carriers = carriers;
        Ok(())
    }

    /// A note that is not printed is no music: time goes on, as by a forward.
    fn pass_over(
        &mut self,
        node: Node<'_, '_>,
        chord: bool,
        grace: bool,
        tied: Option<Pitch>,
        [told, duration]: [Time; 2],
    ) -> Result<(), Error> {
        self.warn("notes that are not printed were ignored");
        if let Some(written) = tied {
            // A tie to it leads nowhere that is seen.
            let onset = if chord { self.chord.onset } else { self.clock.now };
            let staff = self.staff(child_text(node, "staff"));
            let at = self.part.bars[self.here()].start + onset;
            self.joins.ties.remove(&(at, written.moved(self.transpose_of(staff))));
        }
        if chord {
            return Ok(());
        }
        (self.chord.size, self.chord.head_is_hidden) = (1, true);
        self.chord.onset = self.clock.now;
        if grace {
            return Ok(());
        }
        self.chord.length = duration;
        let (furthest, full) = (self.clock.furthest, self.part.bars[self.here()].meter.bar);
        self.advance_by(node, told, duration)?;
        // What goes beyond the bar makes it no longer.
        if !full.is_zero() && self.clock.now > full {
            self.clock.furthest = furthest.max(full);
        }
        Ok(())
    }

    /// Files without voices keep their staves apart.
    fn voice(&mut self, node: Node<'_, '_>, name: &'a str, staff: u32) -> Result<u32, Error> {
        let key = if name.is_empty() { ("", staff) } else { (name, 0) };
        // Most notes are in the voice of the note before.
        if let Some((last, voice)) = self.voices.last
            && last == key
        {
            return Ok(voice);
        }
        let next = self.voices.numbers.len();
        if next == MOST_VOICES && !self.voices.numbers.contains_key(&key) {
            return Err(self.tree.content_error(node, format!("more than {MOST_VOICES} voices in one part")));
        }
        let voice = *self.voices.numbers.entry(key).or_insert(next as u32);
        if voice as usize == self.part.voices.len() {
            let named = name.parse().ok().filter(|n| (1..1000).contains(n) && !self.part.voices.contains(n));
            let free = || (1..).find(|n| !self.part.voices.contains(n)).expect("numbers do not end");
            self.part.voices.push(named.unwrap_or_else(free));
        }
        self.voices.last = Some((key, voice));
        Ok(voice)
    }

    /// The written pitch.
    fn pitch(&self, node: Node<'_, '_>) -> Result<Pitch, Error> {
        let wrong = |what: &str, found: &str| self.tree.content_error(node, format!("{found:?} is not {what}"));
        let (mut step, mut octave, mut alter) = (None, None, None);
        for item in elements(node) {
            let told = match item.tag_name().name() {
                "step" => &mut step,
                "octave" => &mut octave,
                "alter" => &mut alter,
                _ => continue,
            };
            told.get_or_insert(text_of(item));
        }
        let (step, told) = (step.unwrap_or(""), octave.unwrap_or(""));
        let letter = if let [letter] = step.as_bytes() { letter.to_ascii_uppercase() } else { 0 };
        let place = LETTERS.iter().position(|l| *l as u8 == letter);
        let place = place.ok_or_else(|| wrong("the letter of a pitch", step))?;
        let octave = told.parse::<i32>().ok().filter(|o| (-1..=12).contains(o));
        let octave = octave.ok_or_else(|| wrong("an octave from 0 to 9", told))?;
        let alter = match alter {
            None | Some("") => 0,
            Some(text) => alteration(text).ok_or_else(|| wrong("an alteration", text))?,
        };
        Ok(Pitch::new(place as i32, alter, octave))
    }

    /// Where a note without pitch stands: in the middle, if the file does not say.
    fn displayed(&mut self, node: Node<'_, '_>) -> Pitch {
        let step = child_text(node, "display-step").unwrap_or("B");
        let octave = child_text(node, "display-octave").unwrap_or("4");
        let place = format!("{step}{octave}");
        Pitch::parse(&place).unwrap_or_else(|| {
            self.warn(format!("{place:?} is no place on a staff; the note was read as standing at B4"));
            Pitch::new(6, 0, 4)
        })
    }
}
