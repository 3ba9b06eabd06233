//! Notes of the source as the edition would write them.

use super::super::fragment::Fragment;
use super::super::pitches::{in_edition, move_named_pitch, pitch_fragment};
use super::super::tree::child;
use super::SourceSide;
use super::context::Context;
use super::voices::{Voices, voice_of, voices_in};
use crate::alignment::SourceNote;
use crate::pitch::{Interval, Pitch};
use roxmltree::Node;
use std::collections::BTreeMap;

/// Composes notes of the source in the edition's key, voices and staves.
pub(super) struct Composer<'p, 'a, 'i> {
    pub(super) context: &'p Context<'p, 'a, 'i>,
    /// Sounding pitches that source notes take from the edition instead.
    kept_pitches: BTreeMap<SourceNote, Pitch>,
    pub(super) voices: Voices<'p, 'a, 'i>,
}

impl<'p, 'a, 'i> Composer<'p, 'a, 'i> {
    pub(super) fn new(context: &'p Context<'p, 'a, 'i>, kept_pitches: BTreeMap<SourceNote, Pitch>) -> Self {
        Composer { context, kept_pitches, voices: Voices::new(context) }
    }

    /// The notes of all bars that take the source's music.
    pub(super) fn compose_bars(&self) -> BTreeMap<SourceNote, Fragment> {
        let mut out = BTreeMap::new();
        let Some(source) = self.context.source else {
            return out;
        };
        for (row, plan) in self.context.plan.rows().iter().enumerate().filter(|(_, f)| f.is_composed()) {
            let bar = plan.source().expect("composed bars have a source");
            let Some(bar) = source.part.bars.get(bar) else { continue };
            out.extend(source.part.notes_in(bar).map(|note| (note, self.compose_note(source, note, row))));
        }
        out
    }

    /// The pitch that is written for a note of the source where the edition's notes sound so far from
    /// how they are written.
    pub(super) fn written(&self, source: SourceSide, note: SourceNote, transpose: Interval) -> Option<Pitch> {
        match self.kept_pitches.get(&note) {
            Some(sounding) => Some(in_edition(*sounding, Interval::UNISON, transpose)),
            None => Some(in_edition(source.part[note].pitch()?, source.alignment.interval, transpose)),
        }
    }

    /// A note of the source as the edition would write it: its pitch moved,
    /// voice and staff renamed, without marks. Its length waits for the bar.
    pub(super) fn compose_note(&self, source: SourceSide<'a, 'i>, note: SourceNote, row: usize) -> Fragment {
        let own = &source.part[note];
        let node = source.node(own.element);
        let mut out = Fragment::shell(node);
        let by = self.context.writing_interval(row);
        let one_voice = voices_in(source.part, own.bar).len() == 1;
        for item in node.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "pitch" => {
                    out.children.extend(self.written(source, note, self.context.transpose_at(row)).map(pitch_fragment));
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
                "beam" if self.context.uses("beam") => out.children.push(Fragment::copy(item)),
                "stem" if self.context.uses("stem") => out.children.push(Fragment::copy(item)),
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
        let voice = self.voices.name_of(source, voice_of(source.part, note));
        if !voice.is_empty() {
            out.place(Fragment::leaf("voice", voice));
        }
        if self.context.part.staves > 1 {
            out.place(Fragment::leaf("staff", self.context.staff_in(own.staff)));
        }
        out
    }
}
