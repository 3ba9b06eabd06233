//! The same chords, otherwise laid out: tones in other octaves or another
//! order, doubled or left out, over a stretch.

use super::super::rows::Row;
use super::super::{PartAlignment, PartView, Revoiced};
use crate::alignment::{EditionNote, RowRange, SourceNote};
use crate::time::Time;
use std::collections::BTreeMap;

/// From so many chords on it is a way of writing, not a wrong note.
const FEWEST_CHORDS: usize = 2;
/// Between two of them there is at most a bar without one.
const FARTHEST: usize = 2;

/// What is struck at one time in one hand.
struct Moment {
    row: usize,
    edition: Vec<EditionNote>,
    source: Vec<SourceNote>,
}

/// Which notes can be one chord.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Hands {
    /// Those of one staff, where both sides have as many.
    ByStaff,
    /// All that are struck at one time.
    Together,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// The same tones, laid out otherwise.
    Revoiced,
    /// But for one of them.
    Nearly,
    /// Another chord.
    Other,
    /// The same chord, a line, or a chord moved as it is.
    Plain,
}

pub(super) fn find(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    let has_hands = view.edition.staves > 1 && view.edition.staves == view.source.staves;
    let hands = if has_hands { Hands::ByStaff } else { Hands::Together };
    let mut of_hand: BTreeMap<u32, Vec<(Kind, Moment)>> = BTreeMap::new();
    for (index, row) in rows.iter().enumerate().filter(|(_, r)| !r.is_alien() && r.pair.again.is_none()) {
        if as_it_was(view, row, alignment) {
            continue;
        }
        for moment in struck(view, row, hands).chunk_by(|a, b| (a.time, a.hand) == (b.time, b.hand)) {
            let (ours, theirs) = moment.split_at(moment.partition_point(|s| s.note.0.is_some()));
            let kind = kind(ours, theirs);
            if kind != Kind::Plain {
                let edition = ours.iter().filter_map(|s| s.note.0).collect();
                let source = theirs.iter().filter_map(|s| s.note.1).collect();
                of_hand.entry(moment[0].hand).or_default().push((kind, Moment { row: index, edition, source }));
            }
        }
    }
    let mut found: Vec<Vec<Moment>> = of_hand.into_values().flat_map(stretches).collect();
    found.retain(|stretch| !is_voice_moved(view, alignment, stretch));
    found.sort_by_key(|s| s[0].row);
    for stretch in found {
        let (first, last) = (stretch[0].row, stretch[stretch.len() - 1].row);
        let mut edition: Vec<EditionNote> = stretch.iter().flat_map(|m| m.edition.iter().copied()).collect();
        let mut source: Vec<SourceNote> = stretch.iter().flat_map(|m| m.source.iter().copied()).collect();
        // What both have in its place is no part of it.
        edition.retain(|e| alignment.edition_to_source[*e].is_none_or(|s| !is_same(view, *e, s)));
        source.retain(|s| alignment.source_to_edition[*s].is_none_or(|e| !is_same(view, e, *s)));
        match alignment.revoiced.last_mut().filter(|r| r.rows.last >= first) {
            // The other hand goes along.
            Some(known) => {
                known.rows.last = known.rows.last.max(last);
                known.edition.extend(edition);
                known.source.extend(source);
            }
            None => alignment.revoiced.push(Revoiced { edition, source, rows: RowRange { first, last } }),
        }
    }
    for revoiced in &mut alignment.revoiced {
        revoiced.edition.sort_unstable();
        revoiced.source.sort_unstable();
    }
}

fn is_same(view: &PartView, e: EditionNote, s: SourceNote) -> bool {
    view.edition_height(e) == view.source_height(s)
}

/// Whether all that differs are voices that lie some octaves off, each by as many all along.
fn is_voice_moved(view: &PartView, alignment: &PartAlignment, stretch: &[Moment]) -> bool {
    let mut apart: BTreeMap<u32, i32> = BTreeMap::new();
    stretch.iter().all(|moment| {
        moment.edition.len() == moment.source.len()
            && moment.edition.iter().all(|e| {
                let Some(s) = alignment.edition_to_source[*e] else { return false };
                let by = view.edition_height(*e) - view.source_height(s);
                by % 1200 == 0 && *apart.entry(view.edition[*e].voice).or_insert(by) == by
            })
    })
}

/// Whether every note of a row has its partner at the same pitch: so it is with nearly all.
fn as_it_was(view: &PartView, row: &Row, alignment: &PartAlignment) -> bool {
    let ours = |e: EditionNote| alignment.edition_to_source[e].is_some_and(|s| is_same(view, e, s));
    row.edition_notes(view.edition).all(ours)
        && row.source_notes(view.source).all(|s| alignment.source_to_edition[s].is_some())
}

/// A note of either side, by its time in the edition and by hand where both have as many.
struct Struck {
    time: Time,
    hand: u32,
    height: i32,
    note: (Option<EditionNote>, Option<SourceNote>),
}

/// The notes of a row in time, of each moment first those of the edition, from below.
fn struck(view: &PartView, row: &Row, hands: Hands) -> Vec<Struck> {
    let hand = |staff: u32| if hands == Hands::ByStaff { staff } else { 0 };
    let ours = row.edition_notes(view.edition).map(|e| {
        let note = &view.edition[e];
        Struck { time: note.offset, hand: hand(note.staff), height: view.edition_height(e), note: (Some(e), None) }
    });
    let theirs = row.source_notes(view.source).map(|s| {
        let note = &view.source[s];
        let time = row.pair.to_edition(note.offset);
        Struck { time, hand: hand(note.staff), height: view.source_height(s), note: (None, Some(s)) }
    });
    let mut out: Vec<Struck> = ours.chain(theirs).collect();
    out.sort_by_key(|s| (s.time, s.hand, s.note.0.is_none(), s.height));
    out
}

fn kind(ours: &[Struck], theirs: &[Struck]) -> Kind {
    let ([lowest, ..], [other, ..]) = (ours, theirs) else { return Kind::Plain };
    let apart = lowest.height - other.height;
    let is_moved = ours.len() == theirs.len() && ours.iter().zip(theirs).all(|(a, b)| a.height - b.height == apart);
    let by_octaves = apart % 1200 == 0;
    if is_moved && by_octaves {
        return Kind::Plain;
    }
    let tones = |notes: &[Struck]| {
        let mut tones: Vec<i32> = notes.iter().map(|s| s.height.rem_euclid(1200)).collect();
        tones.sort_unstable();
        tones.dedup();
        tones
    };
    let (ours, theirs) = (tones(ours), tones(theirs));
    // A chord of equal intervals can be turned over and look as if moved.
    if is_moved && ours != theirs {
        return Kind::Plain;
    }
    let both = ours.iter().filter(|tone| theirs.contains(tone)).count();
    let either = ours.len() + theirs.len() - both;
    match either - both {
        _ if either < 2 => Kind::Plain,
        0 => Kind::Revoiced,
        1 if both >= 2 => Kind::Nearly,
        _ => Kind::Other,
    }
}

/// Chords laid out otherwise that follow each other.
fn stretches(moments: Vec<(Kind, Moment)>) -> Vec<Vec<Moment>> {
    let mut out: Vec<Vec<Moment>> = Vec::new();
    let (mut open, mut between): (Vec<Moment>, Vec<Moment>) = (Vec::new(), Vec::new());
    let mut certain = 0;
    let mut close = |open: &mut Vec<Moment>, certain: &mut usize| {
        let done = std::mem::take(open);
        if *certain >= FEWEST_CHORDS {
            out.push(done);
        }
        *certain = 0;
    };
    for (kind, moment) in moments {
        let far = open.last().is_some_and(|last| moment.row > last.row + FARTHEST);
        if far || kind == Kind::Other {
            close(&mut open, &mut certain);
            between.clear();
        }
        match kind {
            Kind::Revoiced => {
                certain += 1;
                open.append(&mut between);
                open.push(moment);
            }
            Kind::Nearly if !open.is_empty() => between.push(moment),
            _ => {}
        }
    }
    close(&mut open, &mut certain);
    out
}
