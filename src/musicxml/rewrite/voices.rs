//! In which voice of the edition a voice of the source goes on.

use super::context::Context;
use super::{SourceSide, voice_name};
use crate::alignment::{SourceNote, SourcePart};
use crate::score::Part;
use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// The names of voices in the edition.
pub(super) struct Voices<'p, 'a, 'i> {
    context: &'p Context<'p, 'a, 'i>,
    /// For the source's voices, once they are asked for.
    names: OnceCell<HashMap<u32, String>>,
}

impl<'p, 'a, 'i> Voices<'p, 'a, 'i> {
    pub(super) fn new(context: &'p Context<'p, 'a, 'i>) -> Self {
        Voices { context, names: OnceCell::new() }
    }

    /// The edition's name for a voice of the source. Voices that sound in one bar
    /// have each its own.
    pub(super) fn name_of(&self, source: SourceSide<'a, 'i>, voice: u32) -> String {
        let names = self.names.get_or_init(|| self.name_voices(source));
        names.get(&voice).cloned().unwrap_or_default()
    }

    fn name_voices(&self, source: SourceSide<'a, 'i>) -> HashMap<u32, String> {
        let mut votes: BTreeMap<u32, BTreeMap<u32, usize>> = BTreeMap::new();
        for note in &source.part.notes {
            votes.entry(note.voice).or_default();
        }
        for (s, e) in source.alignment.source_to_edition.iter() {
            if let Some(e) = e {
                let (theirs, ours) = (source.part[s].voice, self.context.part[*e].voice);
                *votes.entry(theirs).or_default().entry(ours).or_default() += 1;
            }
        }
        let mut together: BTreeSet<(u32, u32)> = BTreeSet::new();
        for bar in 0..source.part.bars.len() {
            let voices = voices_in(source.part, bar);
            together.extend(voices.iter().flat_map(|a| voices.iter().map(|b| (*a, *b))));
        }
        let ours = self.edition_voices();
        let mut order: Vec<u32> = votes.keys().copied().collect();
        order.sort_by_key(|v| (std::cmp::Reverse(votes[v].values().max().copied().unwrap_or(0)), *v));
        let mut names: HashMap<u32, String> = HashMap::new();
        for voice in order {
            let beside = |name: &str| {
                names.iter().any(|(other, theirs)| together.contains(&(voice, *other)) && same_name(theirs, name))
            };
            let staff = self.context.staff_in(usual_staff(&source.part, voice));
            let mut wanted: Vec<(&u32, &usize)> = votes[&voice].iter().collect();
            wanted.sort_by_key(|(ours, votes)| (std::cmp::Reverse(**votes), **ours));
            let usual = wanted.iter().filter_map(|(voice, _)| ours.get(voice)).collect::<Vec<_>>();
            // The best, on whatever staff; another one only on its own.
            let best = usual.first().filter(|v| !beside(&v.name));
            let other = || usual.iter().find(|v| v.staff == staff && !beside(&v.name));
            let name = best.or_else(other).map(|v| v.name.clone());
            let own = || {
                let note = source.part.notes.iter().find(|n| n.voice == voice)?;
                let own = voice_name(source.node(note.element));
                (!beside(&own) && !self.is_elsewhere(&own, staff)).then_some(own)
            };
            let name = name.or_else(own).unwrap_or_else(|| self.free(staff, beside));
            names.insert(voice, name);
        }
        names
    }

    /// The voices of the edition, each with its name and the staff it is mostly on.
    fn edition_voices(&self) -> BTreeMap<u32, Voice> {
        let mut out = BTreeMap::new();
        for note in &self.context.part.notes {
            out.entry(note.voice).or_insert_with(|| Voice {
                name: voice_name(self.context.tree.node(note.element)),
                staff: usual_staff(&self.context.part, note.voice),
            });
        }
        out
    }

    /// Whether the edition has a voice of that name on another staff.
    fn is_elsewhere(&self, name: &str, staff: u32) -> bool {
        self.edition_voices().values().any(|v| v.staff != staff && same_name(&v.name, name))
    }

    /// A name for one more voice on a staff.
    pub(super) fn free(&self, staff: u32, taken: impl Fn(&str) -> bool) -> String {
        let on_staff = self.edition_voices();
        let numbers = on_staff.values().filter(|v| v.staff == staff).filter_map(|v| v.name.parse::<u32>().ok());
        let first = numbers.min().unwrap_or(1);
        let names = (first..first + 64).chain(1..first).map(|n| n.to_string());
        names.into_iter().find(|n| !taken(n) && !self.is_elsewhere(n, staff)).unwrap_or_default()
    }
}

struct Voice {
    name: String,
    staff: u32,
}

/// A note without a voice is in the first.
fn same_name(one: &str, other: &str) -> bool {
    let told = |name: &'_ str| {
        if name.is_empty() { "1".to_string() } else { name.to_string() }
    };
    told(one) == told(other)
}

/// The staff on which most notes of a voice are.
fn usual_staff(part: &Part, voice: u32) -> u32 {
    let mut staves: BTreeMap<u32, usize> = BTreeMap::new();
    for note in part.notes.iter().filter(|n| n.voice == voice) {
        *staves.entry(note.staff).or_default() += 1;
    }
    staves.into_iter().max_by_key(|(staff, notes)| (*notes, std::cmp::Reverse(*staff))).map_or(1, |(staff, _)| staff)
}

/// The voice of a note; notes of a chord are in that of its first.
pub(super) fn voice_of(part: SourcePart, note: SourceNote) -> u32 {
    part[part.chord(note).next().unwrap_or(note)].voice
}

/// The voices of a bar, in order of appearance.
pub(super) fn voices_in(part: SourcePart, bar: usize) -> Vec<u32> {
    let mut voices = Vec::new();
    for note in part.notes_in(&part.bars[bar]) {
        let voice = voice_of(part, note);
        if !voices.contains(&voice) {
            voices.push(voice);
        }
    }
    voices
}
