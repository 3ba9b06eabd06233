//! Parts that no score prints as such: one staff or voice of a part, a line
//! that wanders between two parts, several parts as one. They are derived from
//! printed parts, stand after them in their score, and remember from which.

use super::{Layout, PartView, bars};
use crate::alignment::SourceBar;
use crate::pitch::Interval;
use crate::score::{Anchor, Bar, Category, Line, Mark, Note, NoteId, Part, Score};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};

/// A line wanders when another part than its own has at least so many of its
/// bars, and such a share of them.
const FEWEST_BARS: usize = 2;
const LEAST_SHARE: f64 = 0.05;

/// Adds a line of a printed part to its score; a line derived before is used again.
pub fn derive_line(score: &mut Score, part: usize, line: Line) -> usize {
    if line.is_whole() {
        return part;
    }
    let known = score.parts.iter().position(|p| p.line == line && p.derived_from == [part]);
    known.unwrap_or_else(|| {
        let derived = line_of(&score.parts[part], part, line);
        score.parts.push(derived);
        score.parts.len() - 1
    })
}

/// Derives the lines that one score has from another of the same parts.
pub fn derive_like(like: &Score, score: &mut Score) {
    for line in &like.parts[like.printed().len()..] {
        if let [part] = line.derived_from[..] {
            let derived = line_of(&score.parts[part], part, line.line);
            score.parts.push(derived);
        }
    }
}

/// Marks that stand once for all lines of a score.
pub(super) fn is_of_all(category: Category) -> bool {
    matches!(category, Category::Signature | Category::Structure | Category::Tempo | Category::Rehearsal)
}

fn line_of(part: &Part, place: usize, line: Line) -> Part {
    let holds = |_, note: &Note| line.holds(part, note);
    // What no note carries belongs to every voice of its staff, and some of it to every staff.
    let has = |_, mark: &Mark| {
        let voice = || line.voice.is_none_or(|v| !mark.voice_is_told || v == part.voice_number(mark.voice));
        is_of_all(mark.category) || line.staff.is_none_or(|s| s == mark.staff) && voice()
    };
    let (mut out, from) = compose(&[part], |_, _| true, holds, has);
    renumber_voices(&mut out, |note| from[note]);
    out.line = line;
    out.derived_from = vec![place];
    out
}

/// Several parts as one, each with voices of its own. What stands in all of them is there once.
pub(super) fn together(score: &mut Score, parts: &[usize]) -> usize {
    let mut from = parts.to_vec();
    from.sort_unstable();
    if let Some(known) = score.parts.iter().position(|p| p.derived_from == from && p.line.is_whole()) {
        return known;
    }
    let own: Vec<&Part> = from.iter().map(|p| &score.parts[*p]).collect();
    let has = |which, mark: &Mark| which == 0 || !is_of_all(mark.category);
    let (mut out, part_of) = compose(&own, |_, _| true, |_, _| true, has);
    renumber_voices(&mut out, |note| part_of[note]);
    name_after(&mut out, &own);
    out.derived_from = from;
    score.parts.push(out);
    score.parts.len() - 1
}

/// A part with only some of its struck notes, and what hangs on them; rests stay.
pub(super) fn share(score: &mut Score, part: usize, keeps: impl Fn(NoteId) -> bool) -> usize {
    let own = &score.parts[part];
    let ids: FxHashMap<_, _> = own.notes.iter().enumerate().map(|(id, n)| (n.element, id)).collect();
    let holds = |_, note: &Note| {
        let id = ids[&note.element];
        note.is_rest() || keeps(own.head(if note.grace > 0 { own.main_note(id).unwrap_or(id) } else { id }))
    };
    let (mut out, from) = compose(&[own], |_, _| true, holds, |_, _| true);
    renumber_voices(&mut out, |note| from[note]);
    out.line = own.line;
    out.derived_from = score.printed_parts_of(part);
    score.parts.push(out);
    score.parts.len() - 1
}

fn name_after(out: &mut Part, parts: &[&Part]) {
    let ids: Vec<&str> = parts.iter().map(|p| p.id.as_str()).collect();
    let names: Vec<_> = parts.iter().map(|p| p.spoken()).collect();
    (out.id, out.name) = (ids.join(" and "), names.join(" and "));
}

/// The notes of each bar of a part, in order: where they stand and how high they are.
pub(super) struct Contents {
    notes: Vec<(Time, i32)>,
    /// Where the notes of each bar end.
    ends: Vec<usize>,
}

impl Contents {
    /// Moved by so many hundredths of a semitone.
    fn new(part: &Part, by: i32) -> Contents {
        let mut out =
            Contents { notes: Vec::with_capacity(part.notes.len()), ends: Vec::with_capacity(part.bars.len()) };
        for bar in 0..part.bars.len() {
            let start = out.notes.len();
            let note = |n: NoteId| Some((part.notes[n].offset, part.notes[n].pitch()?.sound() + by));
            out.notes.extend(part.struck_in(bar).filter_map(note));
            out.notes[start..].sort_unstable();
            out.ends.push(out.notes.len());
        }
        out
    }

    /// Those of all parts of a score.
    pub fn of(score: &Score) -> Vec<Contents> {
        score.parts.iter().map(|part| Contents::new(part, 0)).collect()
    }

    fn bar(&self, bar: usize) -> Option<&[(Time, i32)]> {
        let end = *self.ends.get(bar)?;
        Some(&self.notes[bar.checked_sub(1).map_or(0, |before| self.ends[before])..end])
    }

    fn bars(&self) -> impl Iterator<Item = &[(Time, i32)]> {
        (0..self.ends.len()).filter_map(|bar| self.bar(bar))
    }
}

/// The line of the edition's part, bar by bar from whichever of the source's
/// parts has it; `None` where its own part is as good. `contents`: those of the source's parts.
pub(super) fn wandering(
    edition: &Part,
    source: &Score,
    contents: &[Contents],
    own: usize,
    interval: Interval,
) -> Option<Part> {
    // The edition's notes in the source's key.
    let ours = Contents::new(edition, -interval.semitones * 100);
    // Nothing has to be laid out where no other part has bars of it, wherever they stand, that its own has not.
    let its: FxHashSet<_> = contents[own].bars().collect();
    let unlike: FxHashSet<_> = ours.bars().filter(|notes| !notes.is_empty() && !its.contains(notes)).collect();
    let printed = 0..source.printed().len();
    let others = contents[printed.clone()].iter().enumerate().filter(|(part, _)| *part != own && !unlike.is_empty());
    let others: FxHashSet<_> =
        others.flat_map(|(_, part)| part.bars()).filter(|notes| unlike.contains(notes)).collect();
    let sounding_bars = ours.bars().filter(|notes| !notes.is_empty()).count();
    let strange = ours.bars().filter(|notes| others.contains(notes)).count();
    // Of an excerpt fewer bars may be beside each other, but half of the shorter side at least.
    let beside = sounding_bars.min(source.parts[own].bars.len()) / 2;
    if strange < FEWEST_BARS || (strange as f64) < LEAST_SHARE * beside as f64 {
        return None;
    }
    let view = PartView::new(edition, &source.parts[own], interval);
    let (rows, _) = bars::outline(&[view], Time::from(1), Layout::Printed);
    let mut from: Vec<Option<usize>> = vec![None; source.parts[own].bars.len()];
    let mut octaves_of_own = vec![false; from.len()];
    let mut sounding = 0;
    for row in &rows {
        let (Some(e), Some(s)) = (row.pair.edition, row.pair.source.map(SourceBar::index)) else { continue };
        let Some(ours) = ours.bar(e.index()).filter(|notes| !notes.is_empty()) else { continue };
        sounding += 1;
        let fits = |part: &usize| contents[*part].bar(s) == Some(ours);
        let others = printed.clone().filter(|p| *p != own);
        from[s] = [own].into_iter().chain(others).find(fits).filter(|p| *p != own);
        let mine = contents[own].bar(s).unwrap_or_default();
        octaves_of_own[s] = same_but_for_octaves(mine, ours);
    }
    // Only the part that has most of the strange bars; a bar that stands alone is chance. A part in octaves with its
    // neighbour, moved by an octave, is the neighbour's line: that alone does not make it wander.
    let mut counts: FxHashMap<usize, usize> = FxHashMap::default();
    let strange = from.iter().zip(&octaves_of_own).filter(|(_, octave)| !**octave);
    strange.filter_map(|(part, _)| *part).for_each(|p| *counts.entry(p).or_default() += 1);
    let (other, count) = counts.into_iter().max_by_key(|(part, count)| (*count, usize::MAX - part))?;
    if count < FEWEST_BARS || (count as f64) < LEAST_SHARE * f64::from(sounding) {
        return None;
    }
    let takes_other: Vec<bool> = from.iter().map(|p| *p == Some(other)).collect();
    // As they are printed.
    let order = if own < other { [own, other] } else { [other, own] };
    let parts = order.map(|p| &source.parts[p]);
    let of_bar = |which: usize, bar: usize| takes_other.get(bar).is_some_and(|is| *is == (order[which] == other));
    let (mut out, _) = compose(&parts, of_bar, |_, _| true, |which, mark| of_bar(which, mark.at.bar));
    renumber_voices(&mut out, |_| 0);
    name_after(&mut out, &parts);
    out.derived_from = order.to_vec();
    Some(out)
}

fn same_but_for_octaves(mine: &[(Time, i32)], ours: &[(Time, i32)]) -> bool {
    mine.len() == ours.len() && mine.iter().zip(ours).all(|(a, b)| a.0 == b.0 && (a.1 - b.1) % 1200 == 0)
}

/// Notes and marks of several parts as one: of each bar those of the parts that
/// `takes` says, of them the notes that `holds` says with all that they carry,
/// and the marks that no note carries and `has` says. With it, the part that each note is from.
fn compose(
    parts: &[&Part],
    takes: impl Fn(usize, usize) -> bool,
    holds: impl Fn(usize, &Note) -> bool,
    has: impl Fn(usize, &Mark) -> bool,
) -> (Part, Vec<usize>) {
    let first = parts.iter().max_by_key(|p| p.bars.len()).expect("derived from a part at least");
    let mut out = Part {
        bars: vec![],
        notes: vec![],
        marks: vec![],
        staves: 1,
        id: parts[0].id.clone(),
        name: parts[0].name.clone(),
        line: Line::default(),
        derived_from: vec![],
        octave_is_told: parts[0].octave_is_told,
        voices: vec![],
    };
    let mut new_id: Vec<FxHashMap<NoteId, NoteId>> = vec![FxHashMap::default(); parts.len()];
    let mut part_of: Vec<usize> = Vec::new();
    for (index, frame) in first.bars.iter().enumerate() {
        let start = out.notes.len();
        for (which, part) in parts.iter().enumerate().filter(|(which, _)| takes(*which, index)) {
            let Some(bar) = part.bars.get(index) else { continue };
            let mut chord_goes_on = false;
            for id in bar.notes.clone() {
                let note = &part.notes[id];
                let inside = holds(which, note);
                if !note.chord {
                    chord_goes_on = false;
                }
                if inside {
                    new_id[which].insert(id, out.notes.len());
                    // The first note of a chord may be another line's.
                    out.notes.push(Note { staff: 1, chord: note.chord && chord_goes_on, ..note.clone() });
                    part_of.push(which);
                    chord_goes_on = true;
                }
            }
        }
        out.bars.push(Bar { notes: start..out.notes.len(), ..frame.clone() });
    }
    for (which, part) in parts.iter().enumerate() {
        for (id, new) in &new_id[which] {
            let there = |n: Option<NoteId>| n.and_then(|n| new_id[which].get(&n).copied());
            let note = &part.notes[*id];
            (out.notes[*new].tied_from, out.notes[*new].tied_to) = (there(note.tied_from), there(note.tied_to));
        }
        let place = |p: Anchor| Anchor { note: p.note.and_then(|n| new_id[which].get(&n).copied()), ..p };
        let own = part.marks.iter().filter(|m| match m.at.note {
            Some(note) => new_id[which].contains_key(&note),
            None => takes(which, m.at.bar) && has(which, m),
        });
        out.marks.extend(own.map(|m| Mark { at: place(m.at), end: m.end.map(place), staff: 1, ..m.clone() }));
    }
    (out, part_of)
}

/// Voices count in order of first appearance; those of two parts are never one.
fn renumber_voices(part: &mut Part, of_part: impl Fn(NoteId) -> usize) {
    let mut seen: Vec<(usize, u32)> = Vec::new();
    let mut place = |key: (usize, u32)| match seen.iter().position(|v| *v == key) {
        Some(at) => at as u32,
        None => {
            seen.push(key);
            seen.len() as u32 - 1
        }
    };
    for (id, note) in part.notes.iter_mut().enumerate() {
        note.voice = place((of_part(id), note.voice));
    }
    for mark in &mut part.marks {
        mark.voice = mark.at.note.map_or(0, |n| part.notes[n].voice);
    }
}
