//! Lines of a part without a counterpart in the source: they stay what they
//! are, also in a bar of which the other lines are written again.

use super::super::elements::{Timing, facts};
use super::super::fragment::Fragment;
use super::super::tree::element;
use super::context::Context;
use super::voice_name;
use crate::alignment::{EditionMark, EditionNote};
use crate::score::{Element, Mark, Note};
use crate::time::Time;
use std::collections::BTreeSet;

impl<'a> Context<'_, 'a, '_> {
    /// The music of these lines in a bar that is written again, each voice from
    /// its first note: place in the bar, how long it goes on, element. What has
    /// no length and begins no voice comes at once.
    pub(super) fn music_alone(&self, row: usize, divisions: i64, length: Time) -> Vec<(Option<Time>, Time, Fragment)> {
        let Some(compared) = self.compared else { return Vec::new() };
        let ticks = |t: Time| (t * Time::from(divisions)).to_integer();
        let Some(bar) = self.plan[row].edition() else {
            return self.rests_alone(ticks(length), length);
        };
        let tree = self.tree;
        let own = self.part.notes_in(&self.part.bars[bar]).filter(|n| !compared[*n]);
        let notes: Vec<&Note> = own.map(|n| self.part.note(n)).collect();
        let voices: BTreeSet<u32> = notes.iter().map(|n| n.voice).collect();
        let mut out = Vec::new();
        for voice in voices {
            for note in notes.iter().filter(|n| n.voice == voice) {
                let mut own = Fragment::copy(tree.node(note.element));
                if note.grace == 0 {
                    own.remove("duration");
                    own.place(Fragment::leaf("duration", ticks(note.duration)));
                }
                let at = Some(note.offset).filter(|_| !note.chord);
                out.push((at, if note.chord { Time::zero() } else { note.duration }, own));
            }
        }
        out
    }

    /// Directions and chord symbols of these lines in a bar that is written again, by their places.
    pub(super) fn directions_alone(&self, row: usize) -> Vec<(Time, Fragment)> {
        let (Some(_), Some(source), Some(bar)) = (self.compared, self.source, self.plan[row].edition()) else {
            return Vec::new();
        };
        let tree = self.tree;
        let laid: BTreeSet<EditionMark> = source.alignment.marks.iter().filter_map(|p| p.edition).collect();
        let here =
            |(id, mark): (EditionMark, &'a Mark)| (!laid.contains(&id) && mark.at.note.is_none()).then_some(mark);
        let mut done: BTreeSet<Element> = BTreeSet::new();
        let mut out = Vec::new();
        for mark in self.part.marks().filter_map(here) {
            for (place, own) in mark.elements.iter().map(|e| {
                let at_end = mark.end.filter(|_| mark.end_elements.contains(e));
                (at_end.unwrap_or(mark.at), tree.node(*e))
            }) {
                let holder = own.ancestors().find(|n| facts(n.tag_name().name()).timing == Timing::Stands);
                if let Some(holder) = holder.filter(|h| place.bar == bar && done.insert(element(*h))) {
                    out.push((place.offset, Fragment::copy(holder)));
                }
            }
        }
        out
    }

    /// A bar of rest on each staff that has none but these lines.
    fn rests_alone(&self, ticks: i64, length: Time) -> Vec<(Option<Time>, Time, Fragment)> {
        let (alone, others): (Vec<_>, Vec<_>) = self.part.notes().partition(|(id, _)| self.is_alone(*id));
        let staves = |notes: &[(EditionNote, &Note)]| -> BTreeSet<u32> { notes.iter().map(|(_, n)| n.staff).collect() };
        let rest = |staff: u32| {
            let first = alone.iter().find(|(_, n)| n.staff == staff);
            let voice = first.map_or(String::new(), |(_, n)| voice_name(self.tree.node(n.element)));
            let mut out = Fragment::new("note")
                .with(Fragment::new("rest").set("measure", "yes"))
                .with(Fragment::leaf("duration", ticks));
            if !voice.is_empty() {
                out.place(Fragment::leaf("voice", voice));
            }
            if self.part.staves > 1 {
                out.place(Fragment::leaf("staff", staff));
            }
            (Some(Time::zero()), length, out)
        };
        staves(&alone).difference(&staves(&others)).map(|s| rest(*s)).collect()
    }
}
