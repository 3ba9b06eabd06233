//! Both sides as one walk in time, each note with what it is to its partner.

use super::super::rows::Row;
use super::super::{PartAlignment, PartView};
use crate::alignment::{EditionNote, SourceNote};
use crate::score::Part;
use crate::time::Time;

/// One step of walking through both sides in time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Item {
    pub row: usize,
    pub offset: Time,
    pub edition: Option<EditionNote>,
    pub source: Option<SourceNote>,
    pub kind: Kind,
    /// The same note at the same place, in the same octave and of one length.
    pub exact: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// The same note, in whatever length.
    Same,
    /// The same note in another octave: in other music that is chance, too.
    Octave,
    /// Of an ornament that the source does not ask for, or the source's note with another accidental.
    Doubtful,
    Different,
    /// In bars that have no partner or are other music as a whole.
    Alien,
}

/// All struck notes of both sides in time, with the voice of the edition that
/// each belongs to.
pub(super) fn items(view: &PartView, rows: &[Row], alignment: &PartAlignment) -> Vec<(Item, usize)> {
    let voice_of = source_voices(view, alignment);
    // Notes that are told as part of another: struck again, or written out.
    let (mut told_e, mut told_s) = (view.edition.for_notes(false), view.source.for_notes(false));
    for tie in &alignment.ties {
        tie.edition.iter().for_each(|n| told_e[*n] = true);
        tie.source.iter().skip(1).for_each(|n| told_s[*n] = true);
    }
    for chords in &alignment.revoiced {
        chords.edition.iter().for_each(|n| told_e[*n] = true);
        chords.source.iter().for_each(|n| told_s[*n] = true);
    }
    // Without a sign in the source an ornament may be chance, inside other music.
    let mut doubtful = view.edition.for_notes(false);
    for ornament in &alignment.written_out {
        let table = if ornament.sign.is_some() { &mut told_e } else { &mut doubtful };
        ornament.edition.iter().for_each(|n| table[*n] = true);
        ornament.chord.iter().for_each(|n| told_s[*n] = true);
    }
    let mut out = Vec::with_capacity(view.edition.notes.len());
    for (index, row) in rows.iter().enumerate().filter(|(_, r)| !r.pair.outside) {
        let alien = row.is_alien();
        let kind = |kind: Kind| if alien { Kind::Alien } else { kind };
        let from = out.len();
        for e in row.edition_notes(view.edition) {
            let note = &view.edition[e];
            let source = alignment.edition_to_source[e];
            let apart = source.map(|s| view.edition_height(e) - view.source_height(s));
            let own = match apart {
                _ if told_e[e] => Kind::Same,
                _ if doubtful[e] => Kind::Doubtful,
                Some(0) => Kind::Same,
                Some(apart) if apart % 1200 == 0 => Kind::Octave,
                _ if source.is_some_and(|s| is_inflected(view, row, e, s)) => Kind::Doubtful,
                _ => Kind::Different,
            };
            let exact = told_e[e]
                || !doubtful[e]
                    && source.is_some_and(|s| {
                        let other = &view.source[s];
                        view.edition_height(e) == view.source_height(s)
                            && note.offset == row.pair.to_edition(other.offset)
                            && view.edition.sounding(e) == view.source.sounding(s) * row.pair.scale
                    });
            let item = Item { row: index, offset: note.offset, edition: Some(e), source, kind: kind(own), exact };
            out.push((item, note.voice as usize));
        }
        let alone: Vec<SourceNote> =
            row.source_notes(view.source).filter(|s| alignment.source_to_edition[*s].is_none()).collect();
        for &s in &alone {
            let note = &view.source[s];
            let offset = row.pair.to_edition(note.offset);
            let own = if told_s[s] { Kind::Same } else { Kind::Different };
            let exact = told_s[s];
            let item = Item { row: index, offset, edition: None, source: Some(s), kind: kind(own), exact };
            let elsewhere = voice_of[note.voice as usize];
            let voice = own_voice(view, row, alignment, note.voice, elsewhere).unwrap_or(elsewhere);
            out.push((item, voice));
        }
        out[from..].sort_by_key(|(item, voice)| (item.offset, *voice, item.edition.is_none()));
    }
    out
}

/// Whether two notes differ by their accidental alone. However many of them follow each other, one accidental may
/// be the cause.
fn is_inflected(view: &PartView, row: &Row, e: EditionNote, s: SourceNote) -> bool {
    let (ours, theirs) = (&view.edition[e], &view.source[s]);
    let (Some(one), Some(other)) = (ours.pitch(), theirs.pitch()) else { return false };
    one.staff_place() == other.moved(view.interval).staff_place()
        && ours.offset == row.pair.to_edition(theirs.offset)
        && view.edition.sounding(e) == view.source.sounding(s) * row.pair.scale
}

/// For a voice of the source without a partner in a row in which another one has
/// the voice that is its own elsewhere: a place behind the edition's voices.
fn own_voice(view: &PartView, row: &Row, alignment: &PartAlignment, voice: u32, elsewhere: usize) -> Option<usize> {
    let mut taken = false;
    for s in row.source_notes(view.source) {
        let Some(e) = alignment.source_to_edition[s] else { continue };
        if view.source[s].voice == voice {
            return None;
        }
        taken |= view.edition[e].voice as usize == elsewhere;
    }
    let behind = || view.edition.notes.iter().map(|n| n.voice as usize + 1).max().unwrap_or(0);
    taken.then(|| behind() + voice as usize)
}

/// For each voice of the source the edition's voice that most of its notes are in.
fn source_voices(view: &PartView, alignment: &PartAlignment) -> Vec<usize> {
    let count = |part: &Part| part.notes.iter().map(|n| n.voice as usize + 1).max().unwrap_or(0);
    let mut table = vec![vec![0_usize; count(&view.edition)]; count(&view.source)];
    for (e, s) in alignment.edition_to_source.iter() {
        if let Some(s) = s {
            table[view.source[*s].voice as usize][view.edition[e].voice as usize] += 1;
        }
    }
    let best = |(voice, row): (usize, &Vec<usize>)| {
        let most = (0..row.len()).max_by_key(|v| (row[*v], std::cmp::Reverse(*v))).filter(|v| row[*v] > 0);
        most.unwrap_or(voice)
    };
    table.iter().enumerate().map(best).collect()
}
