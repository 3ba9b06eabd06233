//! After the notes are paired: held against struck notes, ornaments written
//! out, and stretches where the music is simply not the same.

mod stretches;

use super::bars::Row;
use super::{PartAlignment, PartView, Realisation, TieChange};
use crate::score::{Category, MarkId, NoteId, Part};
use crate::time::Time;

pub fn settle(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    ties(view, alignment);
    realisations(view, rows, alignment);
    stretches::find(view, rows, alignment);
}

fn ties(view: &PartView, alignment: &mut PartAlignment) {
    let pairs: Vec<(NoteId, NoteId)> =
        alignment.edition_to_source.iter().enumerate().filter_map(|(e, s)| s.map(|s| (e, s))).collect();
    for (e, s) in pairs {
        if view.edition_height(e) != view.source_height(s) {
            continue;
        }
        let (ours, theirs) = (view.edition.sounding(e), view.source.sounding(s));
        if ours > theirs {
            let more = struck_again(view.source, s, ours - theirs, |n| alignment.source_to_edition[n].is_none());
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
fn struck_again(part: &Part, note: NoteId, mut lacking: Time, free: impl Fn(NoteId) -> bool) -> Option<Vec<NoteId>> {
    let mut out = vec![note];
    let mut end = part.onset(note) + part.sounding(note);
    for next in note + 1..part.notes.len() {
        let own = &part.notes[next];
        if lacking == Time::from(0) || part.bars[own.bar].start > end {
            break;
        }
        if own.is_struck() && own.sound == part.notes[note].sound && part.onset(next) == end && free(next) {
            let length = part.sounding(next);
            lacking -= length;
            end += length;
            out.push(next);
        }
    }
    (lacking == Time::from(0) && out.len() > 1).then_some(out)
}

fn realisations(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    for row in rows.iter().filter(|r| !r.rewritten) {
        let (Some(eb), Some(sb)) = (row.pair.edition, row.pair.source) else {
            continue;
        };
        if eb >= view.edition.bars.len() || sb >= view.source.bars.len() {
            continue;
        }
        for s in view.source.struck_in(sb).collect::<Vec<_>>() {
            if alignment.is_in_tie_change(None, Some(s)) {
                continue;
            }
            let onset = view.source.notes[s].offset + row.pair.shift;
            let Some(edition) = written_out(view, alignment, s, eb, onset) else {
                continue;
            };
            let sign = sign_of(view.source, s);
            if is_realisation(view, s, &edition, sign) {
                for &e in &edition {
                    alignment.part_edition(e);
                }
                alignment.pair(edition[0], s);
                alignment.realisations.push(Realisation { source: s, edition, sign });
            }
        }
    }
}

/// The edition's notes that exactly fill the time of one source note, none of
/// them the partner of another.
fn written_out(view: &PartView, alignment: &PartAlignment, s: NoteId, bar: usize, onset: Time) -> Option<Vec<NoteId>> {
    let length = view.source.sounding(s);
    let partner = alignment.source_to_edition[s];
    let own = |n: NoteId| alignment.edition_to_source[n].is_none_or(|p| p == s);
    let voice = partner.map(|n| view.edition.notes[n].voice);
    let first = view.edition.struck_in(bar).find(|n| {
        let note = &view.edition.notes[*n];
        note.offset == onset && own(*n) && voice.is_none_or(|v| v == note.voice)
    })?;
    let mut out = vec![first];
    let mut sum = view.edition.sounding(first);
    let mut end = view.edition.onset(first) + sum;
    for next in first + 1..view.edition.notes.len() {
        if sum >= length {
            break;
        }
        let note = &view.edition.notes[next];
        if !note.is_struck() || note.voice != view.edition.notes[first].voice {
            continue;
        }
        if view.edition.onset(next) != end || !own(next) {
            return None;
        }
        let more = view.edition.sounding(next);
        sum += more;
        end += more;
        out.push(next);
    }
    let holds_partner = partner.is_none_or(|p| out.contains(&p));
    (sum == length && out.len() > 1 && holds_partner).then_some(out)
}

/// The ornament or grace notes that the source prints at a note.
fn sign_of(part: &Part, note: NoteId) -> Option<MarkId> {
    let is_sign = |category| matches!(category, Category::Ornament | Category::Grace);
    part.marks.iter().position(|m| is_sign(m.category) && m.at.note == Some(note))
}

/// Small notes around the main note. Without a sign there must be three at
/// least, going to and fro: two notes are more likely a changed rhythm.
fn is_realisation(view: &PartView, s: NoteId, edition: &[NoteId], sign: Option<MarkId>) -> bool {
    let Some(main) = view.source.notes[s].pitch().map(|p| view.moved(p)) else {
        return false;
    };
    let steps: Option<Vec<i32>> =
        edition.iter().map(|n| view.edition.notes[*n].pitch().map(|p| p.staff_place() - main.staff_place())).collect();
    let Some(steps) = steps else { return false };
    let reach = if sign.is_some() { 2 } else { 1 };
    let near = steps.iter().all(|d| d.abs() <= reach) && steps.contains(&0) && steps.iter().any(|d| *d != 0);
    let moves = steps.windows(2).all(|pair| pair[0] != pair[1]);
    near && moves && (sign.is_some() || steps.len() >= 3)
}
