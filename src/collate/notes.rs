//! Which note is which inside a pair of bars.

use super::cells::{Content, LEAST_LIKENESS, frames, likeness_of};
use super::rows::Row;
use super::{PartAlignment, PartView};
use crate::alignment::{Edition, EditionNote, NoteOf, PartOf, Side, Source, SourceNote};
use crate::time::Time;
use std::collections::HashMap;

/// A chord, or a single note, of one voice.
struct Group<S> {
    offset: Time,
    duration: Time,
    notes: Vec<NoteOf<S>>,
}

/// Costs of the alignment inside a voice, in tenths of a note's worth. Two
/// notes stay partners as long as that is cheaper than leaving both alone.
const ALONE: i32 = 25;
const OTHER_OCTAVE: i32 = 10;
const OTHER_PITCH: i32 = 40;
const OTHER_PLACE: i32 = 35;
const OTHER_LENGTH: i32 = 8;

/// In bars of fewer notes, what differs is wrong notes rather than other music.
const FEWEST_ALIEN: usize = 4;

/// Pairs of groups that are weighed in one voice of one bar; real bars have a
/// few thousand at most.
const MOST_WEIGHED: usize = 1 << 20;
/// Pairs of voices that are weighed in one bar; more go together in their order.
const MOST_VOICES: usize = 10_000;

/// Fills the tables of partners for all paired bars that are the same music.
/// Says of each such row whether in this part its bars are other music.
pub fn align(view: &PartView, rows: &mut [Row], alignment: &mut PartAlignment) {
    let room = &mut Room::default();
    for row in rows.iter_mut().filter(|r| r.pair.edition.is_some() && r.pair.source.is_some()) {
        row.rewritten = !align_row(view, row, alignment, room);
    }
    for row in rows.iter_mut().filter(|r| r.pair.again.is_some()) {
        row.rewritten = !align_again(view, row, alignment, room);
    }
}

/// The second time of a strain that one side writes out: its notes get the
/// first time's as partners, which keep their own.
fn align_again(view: &PartView, row: &Row, alignment: &mut PartAlignment, room: &mut Room) -> bool {
    let mut row = *row;
    let edition_writes = row.pair.edition.is_some();
    if edition_writes {
        (row.pair.source, row.source_to) = (row.pair.source_played(), row.pair.again_to);
    } else {
        (row.pair.edition, row.edition_to) = (row.pair.edition_played(), row.pair.again_to);
    }
    // The notes of the side that repeats are free once more.
    if edition_writes {
        let first_time = std::mem::replace(&mut alignment.source_to_edition, view.source.for_notes(None));
        let same = align_row(view, &row, alignment, room);
        alignment.source_to_edition = first_time;
        same
    } else {
        let first_time = std::mem::replace(&mut alignment.edition_to_source, view.edition.for_notes(None));
        let same = align_row(view, &row, alignment, room);
        alignment.edition_to_source = first_time;
        same
    }
}

/// A struck note in the edition's time: offset, height, voice.
type Struck<S> = (Time, i32, u32, NoteOf<S>);

/// The notes of one row after the other.
#[derive(Default)]
struct Room {
    ours: Vec<Struck<Edition>>,
    theirs: Vec<Struck<Source>>,
}

/// Pairs the notes of a row, unless its bars are other music: then it says no.
fn align_row(view: &PartView, row: &Row, alignment: &mut PartAlignment, room: &mut Room) -> bool {
    let Room { ours, theirs } = room;
    ours.clear();
    ours.extend(
        row.edition_notes(view.edition)
            .map(|n| (view.edition[n].offset, view.edition_height(n), view.edition[n].voice, n)),
    );
    theirs.clear();
    theirs.extend(
        row.source_notes(view.source)
            .map(|n| (&view.source[n], n))
            .map(|(note, n)| (row.pair.to_edition(note.offset), view.source_height(n), note.voice, n)),
    );
    in_order(view.edition, ours);
    in_order(view.source, theirs);
    let equal = ours.len() == theirs.len() && ours.iter().zip(&*theirs).all(|(a, b)| (a.0, a.1) == (b.0, b.1));
    // Where voices meet in one note, which is whose only the voices tell.
    let unison = ours.windows(2).any(|two| (two[0].0, two[0].1) == (two[1].0, two[1].1));
    if equal && !unison {
        for (a, b) in ours.iter().zip(&*theirs) {
            alignment.pair(a.3, b.3);
        }
        return true;
    }
    if !equal && are_alien(ours, theirs, row) && !inflected(view, ours, theirs) {
        return false;
    }
    for (ev, sv) in voices(ours, theirs) {
        let edition = groups(view.edition, ours, ev, Time::from(1));
        let source = groups(view.source, theirs, sv, row.pair.scale);
        align_voice(view, &edition, &source, alignment);
    }
    across(ours, theirs, alignment);
    // A note may stand in another voice on the other side.
    for same_octave in [true, false] {
        for a in &*ours {
            if alignment.edition_to_source[a.3].is_some() {
                continue;
            }
            let fits = |b: &&Struck<Source>| {
                alignment.source_to_edition[b.3].is_none()
                    && a.0 == b.0
                    && if same_octave { a.1 == b.1 } else { (a.1 - b.1) % 1200 == 0 }
            };
            if let Some(b) = theirs.iter().find(fits) {
                alignment.pair(a.3, b.3);
            }
        }
    }
    true
}

/// The same pitch at the same place goes before whatever its own voice has for
/// a note, across voices and hands. What they leave goes together, if it stands
/// in one place.
fn across(ours: &[Struck<Edition>], theirs: &[Struck<Source>], alignment: &mut PartAlignment) {
    type Places<S> = HashMap<NoteOf<S>, usize>;
    fn places<S: Side>(notes: &[Struck<S>]) -> Places<S> {
        notes.iter().enumerate().map(|(place, note)| (note.3, place)).collect()
    }
    fn of<S: Side>(notes: &[Struck<S>], places: &Places<S>, id: Option<NoteOf<S>>) -> Option<Struck<S>> {
        Some(notes[*places.get(&id?)?])
    }
    let (our_places, their_places) = (&places(ours), &places(theirs));
    for a in ours {
        let partner = of(theirs, their_places, alignment.edition_to_source[a.3]);
        if partner.is_some_and(|b| (a.0, a.1) == (b.0, b.1)) {
            continue;
        }
        let free = |b: &&Struck<Source>| {
            let theirs = of(ours, our_places, alignment.source_to_edition[b.3]);
            let exact = theirs.is_some_and(|c| (c.0, c.1) == (b.0, b.1));
            // Inside one voice the walk through it has weighed both.
            let elsewhere = partner.is_none_or(|p| p.2 != b.2) && theirs.is_none_or(|c| c.2 != a.2);
            !exact && elsewhere
        };
        let first = theirs.partition_point(|b| (b.0, b.1) < (a.0, a.1));
        let Some(b) = theirs[first..].iter().take_while(|b| (a.0, a.1) == (b.0, b.1)).find(free) else { continue };
        let left = of(ours, our_places, alignment.source_to_edition[b.3]);
        alignment.part_edition(a.3);
        if let Some(other) = left {
            alignment.part_edition(other.3);
        }
        alignment.pair(a.3, b.3);
        if let (Some(e), Some(s)) = (left, partner)
            && e.0 == s.0
        {
            alignment.pair(e.3, s.3);
        }
    }
}

/// By place and height; where two voices meet in one pitch, by length and voice.
fn in_order<S: Side>(part: PartOf<S>, notes: &mut [Struck<S>]) {
    let last = |n: &Struck<S>| (part.sounding(n.3), n.2, n.3);
    notes.sort_unstable_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)).then_with(|| last(a).cmp(&last(b))));
}

/// Whether a part has other music in two bars that stand for each other. Bars
/// that the parts together do not share are in doubt already.
fn are_alien(ours: &[Struck<Edition>], theirs: &[Struck<Source>], row: &Row) -> bool {
    let (few, many) = (ours.len().min(theirs.len()), ours.len().max(theirs.len()));
    // A note alone may be written out in small ones.
    if few < 2 || !row.rewritten && many < FEWEST_ALIEN {
        return false;
    }
    fn content<S>(notes: &[Struck<S>]) -> Content {
        let mut notes: Content = notes.iter().map(|n| (0, n.0, n.1.rem_euclid(1200))).collect();
        notes.sort_unstable();
        notes
    }
    let (ours, theirs) = (content(ours), content(theirs));
    likeness_of(&ours, &theirs) < LEAST_LIKENESS && !frames(&ours, &theirs)
}

/// Whether all notes have the same place in time and on the staff: only accidentals differ.
fn inflected(view: &PartView, ours: &[Struck<Edition>], theirs: &[Struck<Source>]) -> bool {
    let place = |n: EditionNote| view.edition[n].pitch().map(|p| p.staff_place());
    let other = |n: SourceNote| view.source[n].pitch().map(|p| p.moved(view.interval).staff_place());
    let same =
        |(a, b): (&Struck<Edition>, &Struck<Source>)| a.0 == b.0 && place(a.3).is_some() && place(a.3) == other(b.3);
    ours.len() == theirs.len() && ours.iter().zip(theirs).all(same)
}

/// Which voice is which: by the notes they share, then by their order.
fn voices(ours: &[Struck<Edition>], theirs: &[Struck<Source>]) -> Vec<(u32, u32)> {
    // Most lines have one.
    if let ([e, ..], [s, ..]) = (ours, theirs)
        && ours.iter().all(|n| n.2 == e.2)
        && theirs.iter().all(|n| n.2 == s.2)
    {
        return vec![(e.2, s.2)];
    }
    fn list<S>(notes: &[Struck<S>]) -> Vec<u32> {
        let mut voices: Vec<u32> = notes.iter().map(|n| n.2).collect();
        voices.sort_unstable();
        voices.dedup();
        voices
    }
    let (mut edition, mut source) = (list(ours), list(theirs));
    if edition.len() * source.len() > MOST_VOICES {
        return edition.into_iter().zip(source).collect();
    }
    // Which voices of the source have a pitch, in whatever octave, at a place.
    let mut sounding: HashMap<(Time, i32), Vec<usize>> = HashMap::new();
    for b in theirs {
        let there = sounding.entry((b.0, b.1.rem_euclid(1200))).or_default();
        let voice = source.partition_point(|v| *v < b.2);
        if !there.contains(&voice) {
            there.push(voice);
        }
    }
    let mut counts = vec![0; edition.len() * source.len()];
    for a in ours {
        let voice = edition.partition_point(|v| *v < a.2);
        for there in sounding.get(&(a.0, a.1.rem_euclid(1200))).into_iter().flatten() {
            counts[voice * source.len() + there] += 1;
        }
    }
    let pairs = edition.iter().flat_map(|ev| source.iter().map(move |sv| (*ev, *sv)));
    let mut shared: Vec<(usize, u32, u32)> =
        counts.into_iter().zip(pairs).map(|(count, (ev, sv))| (count, ev, sv)).collect();
    shared.sort_by_key(|(count, ev, sv)| (std::cmp::Reverse(*count), ev.abs_diff(*sv), *ev));
    let mut out = Vec::new();
    for (_, ev, sv) in shared {
        if edition.contains(&ev) && source.contains(&sv) {
            edition.retain(|v| *v != ev);
            source.retain(|v| *v != sv);
            out.push((ev, sv));
        }
    }
    out
}

fn groups<S: Side>(part: PartOf<S>, notes: &[Struck<S>], voice: u32, scale: Time) -> Vec<Group<S>> {
    let mut out: Vec<Group<S>> = Vec::new();
    for (offset, _, _, note) in notes.iter().filter(|n| n.2 == voice) {
        match out.last_mut() {
            Some(group) if group.offset == *offset => group.notes.push(*note),
            _ => out.push(Group { offset: *offset, duration: part.sounding(*note) * scale, notes: vec![*note] }),
        }
    }
    out
}

/// The cheapest way to walk through both voices side by side.
fn align_voice(view: &PartView, edition: &[Group<Edition>], source: &[Group<Source>], alignment: &mut PartAlignment) {
    let (n, m) = (edition.len(), source.len());
    if n * m > MOST_WEIGHED {
        return align_by_place(view, edition, source, alignment);
    }
    let width = m + 1;
    let mut cost = vec![0_i32; (n + 1) * width];
    for i in (0..=n).rev() {
        for j in (0..=m).rev() {
            let mut best = if i == n && j == m { 0 } else { i32::MAX };
            if i < n {
                best = best.min(cost[(i + 1) * width + j] + ALONE);
            }
            if j < m {
                best = best.min(cost[i * width + j + 1] + ALONE);
            }
            if i < n && j < m {
                best = best.min(cost[(i + 1) * width + j + 1] + group_cost(view, &edition[i], &source[j]));
            }
            cost[i * width + j] = best;
        }
    }
    let (mut i, mut j) = (0, 0);
    while i < n && j < m {
        let here = cost[i * width + j];
        if here == cost[(i + 1) * width + j + 1] + group_cost(view, &edition[i], &source[j]) {
            pair_groups(view, &edition[i], &source[j], alignment);
            i += 1;
            j += 1;
        } else if here == cost[(i + 1) * width + j] + ALONE {
            i += 1;
        } else {
            j += 1;
        }
    }
}

/// Bars beyond all measure: only what stands in the same place is paired.
fn align_by_place(
    view: &PartView,
    edition: &[Group<Edition>],
    source: &[Group<Source>],
    alignment: &mut PartAlignment,
) {
    for e in edition {
        if let Ok(at) = source.binary_search_by_key(&e.offset, |s| s.offset) {
            pair_groups(view, e, &source[at], alignment);
        }
    }
}

fn group_cost(view: &PartView, e: &Group<Edition>, s: &Group<Source>) -> i32 {
    let size = e.notes.len().max(s.notes.len()) as i32;
    let mut pitch = (size - e.notes.len().min(s.notes.len()) as i32) * OTHER_PITCH;
    for (a, b) in e.notes.iter().zip(&s.notes) {
        let apart = view.edition_height(*a) - view.source_height(*b);
        pitch += match apart {
            0 => 0,
            _ if apart % 1200 == 0 => OTHER_OCTAVE,
            _ => OTHER_PITCH,
        };
    }
    let place = if e.offset == s.offset { 0 } else { OTHER_PLACE };
    let length = if e.duration == s.duration { 0 } else { OTHER_LENGTH };
    pitch / size + place + length
}

/// The notes of two chords from below, if one is the other in another octave.
fn moved_as_it_is(view: &PartView, e: &Group<Edition>, s: &Group<Source>) -> Option<Vec<(EditionNote, SourceNote)>> {
    if e.notes.len() < 2 || e.notes.len() != s.notes.len() {
        return None;
    }
    let (mut ours, mut theirs) = (e.notes.clone(), s.notes.clone());
    ours.sort_by_key(|n| view.edition_height(*n));
    theirs.sort_by_key(|n| view.source_height(*n));
    let apart = view.edition_height(ours[0]) - view.source_height(theirs[0]);
    let pairs: Vec<(EditionNote, SourceNote)> = ours.into_iter().zip(theirs).collect();
    let all = pairs.iter().all(|(a, b)| view.edition_height(*a) - view.source_height(*b) == apart);
    (all && apart != 0 && apart % 1200 == 0).then_some(pairs)
}

/// Inside two chords: equal pitches first, then octaves, then what is left in
/// order, as long as it stands in the same place.
fn pair_groups(view: &PartView, e: &Group<Edition>, s: &Group<Source>, alignment: &mut PartAlignment) {
    // A chord moved as it is has none of its notes in its place, though a pitch may be the same.
    if let Some(pairs) = moved_as_it_is(view, e, s) {
        let free = |(a, b): &(EditionNote, SourceNote)| {
            alignment.edition_to_source[*a].is_none() && alignment.source_to_edition[*b].is_none()
        };
        if pairs.iter().all(free) {
            pairs.into_iter().for_each(|(a, b)| alignment.pair(a, b));
            return;
        }
    }
    let apart = |a: EditionNote, b: SourceNote| (view.edition_height(a) - view.source_height(b)).abs();
    // Octaves: the nearest first.
    let all = || e.notes.iter().flat_map(|a| s.notes.iter().map(move |b| (apart(*a, *b), *a, *b)));
    let mut octaves: Vec<(i32, EditionNote, SourceNote)> = all().filter(|pair| pair.0 % 1200 == 0).collect();
    octaves.sort_by_key(|pair| pair.0);
    for (_, a, b) in octaves.into_iter().chain(all()) {
        if alignment.edition_to_source[a].is_none() && alignment.source_to_edition[b].is_none() {
            alignment.pair(a, b);
        }
    }
}
