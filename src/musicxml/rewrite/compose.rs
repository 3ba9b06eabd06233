//! Notes and bars of the source as the edition would write them.

use super::super::fragment::Fragment;
use super::super::tree::{Tree, alteration, child, element, text_of};
use super::timed::set_offset;
use super::{PartRewrite, SourceSide, pitch_fragment, voice_name};
use crate::pitch::{Interval, LETTERS, Pitch};
use crate::score::{Element, NoteId, Part, Sound};
use crate::time::Time;
use roxmltree::Node;

impl<'a, 'i> PartRewrite<'_, 'a, 'i> {
    /// A note of the source as the edition would write it: its pitch moved,
    /// voice and staff renamed, without marks. Its length waits for the bar.
    pub(super) fn compose_note(&self, source: SourceSide<'a, 'i>, note: NoteId, row: usize) -> Fragment {
        let own = &source.part.notes[note];
        let node = source.node(own.element);
        let mut out = Fragment::shell(node);
        let by = self.writing_interval(row);
        let one_voice = self.voices_in(source.part, own.bar).len() == 1;
        for item in node.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "pitch" => {
                    let sounding = own.pitch().map(|p| p.moved(source.alignment.interval));
                    let sounding = self.overrides.get(&note).copied().or(sounding);
                    let written = sounding.map(|p| p.moved(self.transpose_at(row).inverse()).simplest());
                    out.children.extend(written.map(pitch_fragment));
                }
                "rest" => {
                    let mut rest = Fragment::copy(item);
                    if one_voice {
                        rest.children.clear();
                    } else {
                        move_named_pitch(&mut rest, "display-step", "", by);
                    }
                    out.children.push(rest);
                }
                // The first note of its chord may not be printed.
                "chord" if !own.chord => {}
                "grace" | "cue" | "chord" | "unpitched" | "tie" | "type" | "dot" | "time-modification" | "notehead" => {
                    out.children.push(Fragment::copy(item));
                }
                // Where a syllable goes on: no mark of its own.
                "lyric" if child(item, "text").is_none() && child(item, "extend").is_some() => {
                    out.children.push(Fragment::copy(item));
                }
                "beam" if self.uses("beam") => out.children.push(Fragment::copy(item)),
                "stem" if self.uses("stem") => out.children.push(Fragment::copy(item)),
                "notations" => {
                    let kept = |n: &Node| matches!(n.tag_name().name(), "tied" | "tuplet");
                    let kept: Vec<Fragment> = item.children().filter(kept).map(Fragment::copy).collect();
                    if !kept.is_empty() {
                        let notations = out.child_mut("notations");
                        notations.children.extend(kept);
                    }
                }
                _ => {}
            }
        }
        let voice = self.voice_in(source, own.voice);
        if !voice.is_empty() {
            out.place(Fragment::leaf("voice", voice));
        }
        if self.part.staves > 1 {
            out.place(Fragment::leaf("staff", self.staff_in(row, own.staff)));
        }
        out
    }

    /// Whether the edition writes elements of a kind at all.
    pub(super) fn uses(&self, name: &str) -> bool {
        let tree = self.plan.tree();
        self.part.notes.iter().take(200).any(|n| child(tree.node(n.element), name).is_some())
    }

    /// The edition's name for a voice of the source.
    pub(super) fn voice_in(&self, source: SourceSide<'a, 'i>, voice: u32) -> String {
        if let Some(known) = self.voice_names.borrow().get(&voice) {
            return known.clone();
        }
        let name = self.usual_voice(source, voice);
        self.voice_names.borrow_mut().insert(voice, name.clone());
        name
    }

    /// The voice that most of the source voice's partners are in.
    fn usual_voice(&self, source: SourceSide<'a, 'i>, voice: u32) -> String {
        let mut votes: Vec<(usize, u32)> = Vec::new();
        for (s, e) in source.alignment.source_to_edition.iter().enumerate() {
            if let Some(e) = e.filter(|_| source.part.notes[s].voice == voice) {
                let own = self.part.notes[e].voice;
                match votes.iter_mut().find(|v| v.1 == own) {
                    Some(vote) => vote.0 += 1,
                    None => votes.push((1, own)),
                }
            }
        }
        let best = votes.into_iter().max_by_key(|v| (v.0, std::cmp::Reverse(v.1))).map(|v| v.1);
        let first = |part: &'a Part, voice: u32| part.notes.iter().find(|n| n.voice == voice).map(|n| n.element);
        let node = match best {
            Some(voice) => first(self.part, voice).map(|e| self.plan.tree().node(e)),
            None => first(source.part, voice).map(|e| source.node(e)),
        };
        node.map(voice_name).unwrap_or_default()
    }

    /// The edition's staff for a staff of the source.
    pub(super) fn staff_in(&self, _row: usize, staff: u32) -> u32 {
        staff.min(self.part.staves)
    }

    pub(super) fn voices_in(&self, part: &Part, bar: usize) -> Vec<u32> {
        let mut voices = Vec::new();
        for note in part.bars[bar].notes.clone() {
            let voice = part.notes[note].voice;
            if !voices.contains(&voice) {
                voices.push(voice);
            }
        }
        voices
    }

    /// Puts grace notes in front of the notes they lead to.
    pub(super) fn put_graces(&mut self) {
        for group in &self.new_graces {
            let main = self.part.chord(group.main);
            for note in &group.notes {
                let fragment = self.composed[note].clone();
                if group.after {
                    self.plan.insert_after(self.part.notes[main.end - 1].element, fragment);
                } else {
                    self.plan.insert_before(self.part.notes[main.start].element, fragment);
                }
            }
        }
    }

    /// The rests with which the edition's bar is filled up, and where they end.
    fn padding(&self, row: usize, shift: Time, divisions: i64) -> (Vec<Fragment>, Time) {
        let bar = self.fates[row].edition().filter(|_| shift > Time::zero());
        let Some(bar) = bar.map(|b| &self.part.bars[b]) else { return (Vec::new(), Time::zero()) };
        let first_voice = bar.notes.clone().next().map(|n| self.part.notes[n].voice);
        let mut end = Time::zero();
        let mut out = Vec::new();
        for note in bar.notes.clone().map(|n| &self.part.notes[n]) {
            if note.offset == end && end < shift && Some(note.voice) == first_voice {
                let mut rest = Fragment::copy(self.plan.tree().node(note.element));
                rest.remove("duration");
                rest.place(Fragment::leaf("duration", (note.duration * Time::from(divisions)).to_integer()));
                out.push(rest);
                end += note.duration;
            }
        }
        (out, end)
    }

    /// The music of a composed bar, in order, and the divisions it needs.
    pub(super) fn content(&self, row: usize, bar: usize, divisions: i64) -> (Vec<Fragment>, i64) {
        let Some(source) = self.source else {
            return (Vec::new(), divisions);
        };
        let notes = source.part.bars[bar].notes.clone();
        let times = notes.clone().flat_map(|n| {
            let note = &source.part.notes[n];
            [note.offset, note.duration]
        });
        let divisions = times.fold(divisions, |d, t| lcm(d, t.denom()));
        let ticks = |t: Time| (t * Time::from(divisions)).to_integer();
        let mut timed = self.timed.get(&row).cloned().unwrap_or_default();
        timed.extend(self.directions_alone(row));
        timed.sort_by_key(|t| t.0);
        let mut timed = timed.into_iter().peekable();
        let shift = self.fates[row].shift();
        let (mut out, mut cursor) = self.padding(row, shift, divisions);
        let jump = |to: Time, cursor: &mut Time, out: &mut Vec<Fragment>| {
            if to != *cursor {
                let (name, by) = if to > *cursor { ("forward", to - *cursor) } else { ("backup", *cursor - to) };
                out.push(Fragment::new(name).with(Fragment::leaf("duration", ticks(by))));
                *cursor = to;
            }
        };
        for voice in self.voices_in(source.part, bar) {
            for id in notes.clone().filter(|n| source.part.notes[*n].voice == voice) {
                let note = &source.part.notes[id];
                let offset = note.offset + shift;
                if offset < Time::zero() {
                    // A rest that filled up the source's bar.
                    continue;
                }
                if !note.chord {
                    jump(offset, &mut cursor, &mut out);
                    while timed.peek().is_some_and(|t| t.0 <= offset) {
                        let (at, mut fragment) = timed.next().expect("peeked");
                        set_offset(&mut fragment, at - cursor, divisions);
                        out.push(fragment);
                    }
                }
                let Some(mut fragment) = self.composed.get(&id).cloned() else {
                    continue;
                };
                if note.grace == 0 {
                    fragment.place(Fragment::leaf("duration", ticks(note.duration)));
                }
                out.push(fragment);
                if !note.chord {
                    cursor += note.duration;
                }
            }
            // What comes later than the first voice's last note.
            for (at, mut fragment) in timed.by_ref() {
                set_offset(&mut fragment, at - cursor, divisions);
                out.push(fragment);
            }
        }
        let end = source.part.bars[bar].length + shift;
        let alone = self.music_alone(row, divisions, source.part.bars[bar].length);
        for (at, length, fragment) in alone {
            if let Some(at) = at {
                jump(at, &mut cursor, &mut out);
            }
            out.push(fragment);
            cursor += length;
        }
        if !notes.is_empty() {
            jump(end.max(cursor), &mut cursor, &mut out);
        }
        (out, divisions)
    }
}

/// Moves a pitch that is written as children of an element: the root of a
/// chord symbol, or the place of a rest.
pub(in super::super) fn move_named_pitch(holder: &mut Fragment, step: &str, alter: &str, by: Interval) {
    let text = |f: &Fragment, name: &str| f.child(name).map(|c| c.text.trim().to_string());
    let Some(letter) = text(holder, step) else {
        return;
    };
    let is_rest = alter.is_empty();
    let octave = text(holder, "display-octave").and_then(|o| o.parse().ok()).unwrap_or(4);
    let Some(base) = Pitch::parse(&format!("{letter}4")) else {
        return;
    };
    let signs = text(holder, alter).and_then(|t| alteration(&t)).unwrap_or(0);
    let moved = Pitch::new(base.step, signs, octave).moved(by);
    let moved = if is_rest { moved } else { moved.simplest() };
    for child in &mut holder.children {
        if child.name == step {
            child.text = LETTERS[moved.step as usize].to_string();
        } else if child.name == "display-octave" {
            child.text = moved.octave.to_string();
        }
    }
    if is_rest {
        return;
    }
    holder.remove(alter);
    if moved.alter != 0 {
        let at = holder.children.iter().position(|c| c.name == step).map_or(0, |p| p + 1);
        holder.children.insert(at, Fragment::leaf(alter, moved.alter / 100));
    }
}

pub(in super::super) fn lcm(a: i64, b: i64) -> i64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    a / x * b
}

/// Whether a note of the edition is written with a pitch.
pub(super) fn is_pitched(part: &Part, note: NoteId) -> bool {
    matches!(part.notes[note].sound, Sound::Pitched(_))
}

/// The text of a stem, if the note has one.
pub(super) fn stem_of<'a>(tree: &'a Tree<'_>, part: &Part, note: NoteId) -> Option<(Element, &'a str)> {
    child(tree.node(part.notes[note].element), "stem").map(|n| (element(n), text_of(n)))
}
