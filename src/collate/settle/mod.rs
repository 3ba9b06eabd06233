//! After the notes are paired: held against struck notes, ornaments written
//! out, chords laid out otherwise, and stretches where the music is simply not the same.

mod items;
mod ornaments;
mod other_music;
mod revoiced;

mod unisons;

use super::rows::Row;
use super::{PartAlignment, PartView, TieChange};
use crate::alignment::{EditionNote, NoteOf, PartOf, Side, SourceNote};
use crate::time::Time;

pub fn settle(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    let scale = rows.first().map_or(Time::from(1), |r| r.pair.scale);
    unisons::settle(view, scale, alignment);
    ties(view, scale, alignment);
    ornaments::find(view, rows, alignment);
    revoiced::find(view, rows, alignment);
    other_music::find(view, rows, alignment);
}

fn ties(view: &PartView, scale: Time, alignment: &mut PartAlignment) {
    let pairs: Vec<(EditionNote, SourceNote)> =
        alignment.edition_to_source.iter().filter_map(|(e, s)| s.map(|s| (e, s))).collect();
    for (e, s) in pairs {
        if view.edition_height(e) != view.source_height(s) {
            continue;
        }
        let (ours, theirs) = (view.edition.sounding(e), view.source.sounding(s) * scale);
        if ours > theirs {
            let more =
                struck_again(view.source, s, (ours - theirs) / scale, |n| alignment.source_to_edition[n].is_none());
            if let Some(source) = more {
                alignment.ties.push(TieChange { added: true, edition: vec![e], source });
            }
        } else if theirs > ours {
            let more = struck_again(view.edition, e, theirs - ours, |n| alignment.edition_to_source[n].is_none());
            if let Some(edition) = more {
                alignment.ties.push(TieChange { added: false, edition, source: vec![s] });
            }
        }
    }
}

/// The note and those of the same pitch struck right after it, without a
/// partner, that fill `lacking`.
fn struck_again<S: Side>(
    part: PartOf<S>,
    note: NoteOf<S>,
    mut lacking: Time,
    free: impl Fn(NoteOf<S>) -> bool,
) -> Option<Vec<NoteOf<S>>> {
    let mut out = vec![note];
    let mut end = part.onset(note) + part.sounding(note);
    for (next, own) in part.notes_after(note) {
        if lacking == Time::from(0) || part.bars[own.bar].start > end {
            break;
        }
        if own.is_struck() && own.sound == part[note].sound && part.onset(next) == end && free(next) {
            let length = part.sounding(next);
            lacking -= length;
            end += length;
            out.push(next);
        }
    }
    (lacking == Time::from(0) && out.len() > 1).then_some(out)
}
