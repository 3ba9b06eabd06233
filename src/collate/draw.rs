//! Parts that no source prints as such: one staff of a keyboard part, or a line
//! that wanders between two parts. They are drawn from the source's own parts
//! before the pairing, and remember from which.

use super::parts::{self, Choice, Pairing};
use super::{PartView, bars};
use crate::pitch::Interval;
use crate::score::{Bar, Mark, NoteId, Part, Place, Score};
use crate::time::Time;
use std::collections::HashMap;

/// A line wanders when another part than its own has at least so many of its
/// bars, and such a share of them.
const FEWEST_BARS: usize = 2;
const LEAST_SHARE: f64 = 0.05;
/// From this share of common melodies on, a part has its source.
const WELL_MATCHED: f64 = 0.9;

/// Pairs the parts, after adding to the source the parts that the edition's
/// seem to be drawn from. Where the user chose a part, it is drawn from that.
pub fn pair_parts(edition: &Score, source: &mut Score, mut choice: Choice) -> Pairing {
    let pairing = parts::pair(edition, source, choice);
    let single = |part: usize| edition.parts[part].staves <= 1;
    let mut drawn: Vec<Part> = Vec::new();
    let mut divided: Vec<usize> = Vec::new();
    for pair in pairing.pairs.iter().filter(|p| single(p.edition)) {
        let own = &source.parts[pair.source];
        if own.staves > 1 && !divided.contains(&pair.source) {
            divided.push(pair.source);
            drawn.extend((1..=own.staves).map(|staff| staff_of(own, pair.source, staff)));
        }
        if choice.source.is_none() && own.staves <= 1 && pair.share < WELL_MATCHED && source.parts.len() > 1 {
            drawn.extend(wandering(&edition.parts[pair.edition], source, pair.source, pair.interval));
        }
    }
    let first = source.parts.len();
    source.parts.extend(drawn.into_iter().filter(|p| p.struck().next().is_some()));
    if source.parts.len() == first {
        return pairing;
    }
    if choice.source.is_some()
        && let Some(part) = pairing.pairs.first().map(|p| p.edition)
    {
        // Which of the staves.
        let fits = |at: &usize| {
            let chosen = Choice { edition: Some(part), source: Some(*at) };
            parts::pair(edition, source, chosen).pairs.first().map_or(0, |p| (p.share * 1000.0) as i64)
        };
        choice.source = (first..source.parts.len()).max_by_key(fits);
    }
    parts::pair(edition, source, choice)
}

fn staff_of(part: &Part, place: usize, staff: u32) -> Part {
    let mut out = compose(&[part], &vec![0; part.bars.len()], |s| s == staff);
    out.name = format!("{}, staff {staff}", part.spoken());
    out.drawn_from = vec![place];
    out
}

/// The line of the edition's part, bar by bar from whichever of the source's
/// parts has it; `None` where its own part is as good.
fn wandering(edition: &Part, source: &Score, own: usize, interval: Interval) -> Option<Part> {
    let view = PartView { edition, source: &source.parts[own], interval };
    let rows = bars::outline(&[view], Time::from(1), true);
    let content = |part: &Part, bar: usize, by: i32| -> Vec<(Time, i32)> {
        let note = |n: NoteId| Some((part.notes[n].offset, part.notes[n].pitch()?.sound() + by));
        let mut notes: Vec<(Time, i32)> = part.struck_in(bar).filter_map(note).collect();
        notes.sort_unstable();
        notes
    };
    let mut from: Vec<Option<usize>> = vec![None; source.parts[own].bars.len()];
    let mut octaves_of_own = vec![false; from.len()];
    let mut sounding = 0;
    for row in &rows {
        let (Some(e), Some(s)) = (row.pair.edition, row.pair.source) else { continue };
        let ours = content(edition, e, 0);
        if ours.is_empty() {
            continue;
        }
        sounding += 1;
        let fits = |part: &usize| {
            let other = &source.parts[*part];
            s < other.bars.len() && content(other, s, interval.semitones * 100) == ours
        };
        let others = (0..source.parts.len()).filter(|p| *p != own);
        from[s] = [own].into_iter().chain(others).find(fits).filter(|p| *p != own);
        let mine = content(&source.parts[own], s, interval.semitones * 100);
        octaves_of_own[s] = same_but_for_octaves(&mine, &ours);
    }
    // Only the part that has most of the strange bars; a bar that stands alone is chance. A part in octaves with its
    // neighbour, moved by an octave, is the neighbour's line: that alone does not make it wander.
    let mut counts: HashMap<usize, usize> = HashMap::new();
    let strange = from.iter().zip(&octaves_of_own).filter(|(_, octave)| !**octave);
    strange.filter_map(|(part, _)| *part).for_each(|p| *counts.entry(p).or_default() += 1);
    let (other, count) = counts.into_iter().max_by_key(|(part, count)| (*count, usize::MAX - part))?;
    if count < FEWEST_BARS || (count as f64) < LEAST_SHARE * f64::from(sounding) {
        return None;
    }
    let bars: Vec<usize> = from.iter().map(|p| usize::from(*p == Some(other))).collect();
    let (mine, theirs) = (&source.parts[own], &source.parts[other]);
    let mut out = compose(&[mine, theirs], &bars, |_| true);
    // As they are printed.
    let (upper, lower) = if own < other { (mine, theirs) } else { (theirs, mine) };
    out.id = format!("{} and {}", upper.id, lower.id);
    out.name = format!("{} and {}", upper.spoken(), lower.spoken());
    out.drawn_from = vec![own, other];
    Some(out)
}

fn same_but_for_octaves(mine: &[(Time, i32)], ours: &[(Time, i32)]) -> bool {
    mine.len() == ours.len() && mine.iter().zip(ours).all(|(a, b)| a.0 == b.0 && (a.1 - b.1) % 1200 == 0)
}

/// Notes and marks of several parts as one: of each bar those of the part that
/// `bars` names, as far as they stand on a wanted staff.
fn compose(parts: &[&Part], bars: &[usize], staff: impl Fn(u32) -> bool) -> Part {
    let first = parts[0];
    let mut out = Part { bars: vec![], notes: vec![], marks: vec![], staves: 1, ..first.clone() };
    let mut new_id: HashMap<(usize, NoteId), NoteId> = HashMap::new();
    for (index, &which) in bars.iter().enumerate() {
        let part = parts[which];
        let Some(bar) = part.bars.get(index) else { continue };
        let start = out.notes.len();
        for id in bar.notes.clone().filter(|n| staff(part.notes[*n].staff)) {
            new_id.insert((which, id), out.notes.len());
            let mut note = part.notes[id].clone();
            note.staff = 1;
            out.notes.push(note);
        }
        out.bars.push(Bar { notes: start..out.notes.len(), ..bar.clone() });
    }
    for (which, part) in parts.iter().enumerate() {
        for (id, note) in part.notes.iter().enumerate() {
            let Some(new) = new_id.get(&(which, id)) else { continue };
            let there = |n: Option<NoteId>| n.and_then(|n| new_id.get(&(which, n)).copied());
            (out.notes[*new].tied_from, out.notes[*new].tied_to) = (there(note.tied_from), there(note.tied_to));
        }
        let place = |p: Place| Place { note: p.note.and_then(|n| new_id.get(&(which, n)).copied()), ..p };
        let own = part.marks.iter().filter(|m| bars.get(m.at.bar) == Some(&which) && staff(m.staff));
        out.marks.extend(own.map(|m| Mark { at: place(m.at), end: m.end.map(place), staff: 1, ..m.clone() }));
    }
    renumber_voices(&mut out);
    out
}

/// Voices count in order of first appearance.
fn renumber_voices(part: &mut Part) {
    let mut seen: Vec<u32> = Vec::new();
    let mut place = |voice: u32| match seen.iter().position(|v| *v == voice) {
        Some(at) => at as u32,
        None => {
            seen.push(voice);
            seen.len() as u32 - 1
        }
    };
    part.notes.iter_mut().for_each(|n| n.voice = place(n.voice));
    part.marks.iter_mut().for_each(|m| m.voice = place(m.voice));
}
