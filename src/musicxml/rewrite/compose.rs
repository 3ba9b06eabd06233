//! Notes and bars of the source as the edition would write them.

use super::super::fragment::Fragment;
use super::super::tree::{Tree, alteration, child, element, text_of};
use super::voices::{voice_of, voices_in};
use super::{PartRewrite, SourceSide, pitch_fragment};
use crate::pitch::{Interval, LETTERS, Pitch};
use crate::score::{Element, NoteId, Part, Sound};
use roxmltree::Node;

impl<'a, 'i> PartRewrite<'_, 'a, 'i> {
    /// A note of the source as the edition would write it: its pitch moved,
    /// voice and staff renamed, without marks. Its length waits for the bar.
    pub(super) fn compose_note(&self, source: SourceSide<'a, 'i>, note: NoteId, row: usize) -> Fragment {
        let own = &source.part.notes[note];
        let node = source.node(own.element);
        let mut out = Fragment::shell(node);
        let by = self.writing_interval(row);
        let one_voice = voices_in(source.part, own.bar).len() == 1;
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
        let voice = self.voice_in(source, voice_of(source.part, note));
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
        let tree = self.edits.tree();
        self.part.notes.iter().take(200).any(|n| child(tree.node(n.element), name).is_some())
    }

    /// The edition's staff for a staff of the source.
    pub(super) fn staff_in(&self, _row: usize, staff: u32) -> u32 {
        staff.min(self.part.staves)
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
