//! What a part holds, in a form that can be compared.

use crate::musicxml::rewrite::Signatures;
use crate::pitch::{Interval, Pitch};
use crate::plan::{BarPlan, Plan};
use crate::score::{Category, Mark, MarkId, Meaning, Meter, NoteId, Part, Place, Sign, Sound};
use crate::time::Time;
use std::collections::HashMap;

/// The notes and marks of a part in a form that can be compared. Bars are
/// counted from 0 in the result, offsets in quarter notes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Content {
    pub part: String,
    pub bars: usize,
    pub notes: Vec<NoteLine>,
    pub marks: Vec<MarkLine>,
    /// Fifths of the signature and length of the time signature, for each bar.
    pub signatures: Vec<(i32, Meter)>,
}

/// One struck note, ties counted into its length.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct NoteLine {
    pub at: Place,
    pub sound: Sound,
    pub length: Time,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct MarkLine {
    pub at: Place,
    pub end: Option<Place>,
    pub category: Category,
    pub meaning: Meaning<'static>,
}

impl MarkLine {
    /// Which accidentals stand at a figure or an ornament is not compared.
    pub(super) fn without_signs(&mut self) {
        let meaning = std::mem::replace(&mut self.meaning, Meaning::Accidental);
        self.meaning = meaning.without_signs();
    }
}

impl Content {
    /// What a part holds as it stands.
    pub fn of(part: &Part) -> Content {
        unmatched(part, Plan::keep_all(part).rows(), &[])
    }

    /// A struck note of a part, its pitch moved.
    pub(super) fn note(part: &Part, id: NoteId, moved: impl Fn(Pitch) -> Pitch) -> NoteLine {
        let note = &part.notes[id];
        let sound = match note.sound {
            Sound::Pitched(pitch) => Sound::Pitched(moved(pitch)),
            other => other,
        };
        note_line(note.place(), sound, Interval::UNISON, part.sounding(id))
    }

    /// The notes and marks of another line of the part.
    pub(super) fn take_in(&mut self, other: Content) {
        self.notes.extend(other.notes);
        self.marks.extend(other.marks);
        self.sort();
    }

    /// Which signs stand at figures and ornaments is not compared.
    pub(super) fn without_signs(&mut self) {
        self.marks.iter_mut().for_each(MarkLine::without_signs);
        self.sort();
    }

    pub(super) fn sort(&mut self) {
        self.notes.sort_unstable();
        self.marks.sort_unstable();
    }
}

pub(super) fn note_line(at: Place, sound: Sound, by: Interval, length: Time) -> NoteLine {
    let sound = match sound {
        Sound::Pitched(pitch) => Sound::Pitched(pitch.moved(by)),
        other => other,
    };
    NoteLine { at, sound, length }
}

pub(super) fn mark_line(mark: &Mark, at: Place, end: Option<Place>, by: Interval) -> MarkLine {
    let meaning = mark.meaning(by).into_owned();
    MarkLine { at, end, category: mark.category, meaning }
}

/// Whether the mark is a sign that may have a line, not a line.
fn is_trill(mark: &Mark) -> bool {
    mark.category == Category::Ornament && !matches!(mark.sign, Sign::Line { .. } | Sign::Trill { has_sign: false })
}

/// The result's bar for each row.
pub(super) fn numbered(plan: &[BarPlan]) -> Vec<Option<usize>> {
    let mut next = 0;
    plan.iter()
        .map(|plan| {
            plan.is_in_result().then(|| {
                next += 1;
                next - 1
            })
        })
        .collect()
}

/// A part without a source keeps what is its own, but for bars that go, and some marks.
pub(super) fn unmatched(part: &Part, plan: &[BarPlan], gone: &[MarkId]) -> Content {
    let bars = numbered(plan);
    let mut out = Content { part: part.id.clone(), bars: bars.iter().flatten().count(), ..Content::default() };
    let mut row_of: HashMap<usize, usize> = HashMap::new();
    let mut last = part.bars.first().map_or((0, Meter::default()), |b| (b.fifths, b.meter));
    for (row, plan) in plan.iter().enumerate() {
        if let BarPlan::Keep { edition, .. } = plan
            && let Some(bar) = part.bars.get(*edition)
        {
            row_of.insert(*edition, row);
            last = (bar.fifths, bar.meter);
        }
        if plan.is_in_result() {
            out.signatures.push(last);
        }
    }
    let place = |bar: usize| row_of.get(&bar).and_then(|r| bars[*r]);
    for note in 0..part.notes.len() {
        let own = &part.notes[note];
        let Some(bar) = place(own.bar).filter(|_| own.grace == 0 && !own.is_rest()) else { continue };
        // A tie holds between bars that stand side by side.
        let before = std::iter::successors(own.tied_from, |n| part.notes[*n].tied_from);
        let before = before.map(|n| part.notes[n].bar).find_map(place);
        if before.is_some_and(|before| before + 1 >= bar) {
            continue;
        }
        let (mut last, mut length) = (bar, own.duration);
        for held in part.tied(note).skip(1).map(|n| &part.notes[n]) {
            match place(held.bar) {
                Some(bar) if bar <= last + 1 => {
                    length += held.duration;
                    last = bar;
                }
                Some(_) => break,
                None => {}
            }
        }
        out.notes.push(note_line(Place { bar, ..own.place() }, own.sound, Interval::UNISON, length));
    }
    let comes_back: Vec<usize> =
        (plan.iter().zip(&bars)).filter(|(f, _)| matches!(f, BarPlan::Fresh { .. })).filter_map(|(_, b)| *b).collect();
    let stays = |(id, mark): &(MarkId, &Mark)| mark.category != Category::Signature && !gone.contains(id);
    for (_, mark) in part.marks.iter().enumerate().filter(stays) {
        let Some(bar) = place(mark.at.bar) else { continue };
        let end = mark.end.and_then(|e| place(e.bar).map(|bar| Place { bar, ..e.place }));
        // A slur does not go over a bar of rest, and no line ends nowhere.
        let over_rest = end.is_some_and(|end| comes_back.iter().any(|b| bar < *b && *b < end.bar));
        let torn = mark.end.is_some() && end.is_none() && !is_trill(mark);
        if !(torn || mark.sign.joins_notes() && over_rest) {
            out.marks.push(mark_line(mark, Place { bar, ..mark.at.place }, end, Interval::UNISON));
        }
    }
    out.sort();
    out
}

/// Each bar's signatures, the edition's or the source's; the source's key moves
/// by so many fifths. Without an interval keys are the part's own.
pub(super) fn signatures(
    edition: &Part,
    source: &Part,
    plan: &[BarPlan],
    whose: Signatures,
    by: Option<i32>,
) -> Vec<(i32, Meter)> {
    let first = edition.bars.first();
    let mut last = first.map_or((0, Meter::default()), |b| (b.fifths, b.meter));
    let mut follows = false;
    let mut transpose = first.map_or(0, |b| b.transpose.fifths());
    let mut out = Vec::new();
    for plan in plan.iter().filter(|f| f.is_in_result()) {
        let own = plan.edition().and_then(|b| edition.bars.get(b));
        transpose = own.map_or(transpose, |b| b.transpose.fifths());
        let bar = plan.source().filter(|b| *b < source.bars.len());
        let key = bar.zip(by).map(|(b, by)| source.sounding_fifths(b) + by - transpose);
        // A source that says no time leaves the edition's.
        let time = bar.filter(|b| says_time(source, *b)).map(|b| source.bars[b].meter);
        let Some(own) = own else {
            last = (key.filter(|_| follows).unwrap_or(last.0), time.unwrap_or(last.1));
            out.push(last);
            continue;
        };
        follows = key == Some(own.fifths);
        let near = key.is_none_or(|k| (k - own.fifths).abs() <= 1);
        last = match (bar, plan.edition()) {
            (Some(_), _) if whose == Signatures::Source => {
                (if near { own.fifths } else { key.unwrap_or(own.fifths) }, time.unwrap_or(own.meter))
            }
            // A bar that is the edition's own goes on in what was restored before it.
            (None, Some(bar)) if whose == Signatures::Source && bar > 0 => {
                let before = &edition.bars[bar - 1];
                let key = if own.fifths != before.fifths { own.fifths } else { last.0 };
                (key, if own.meter != before.meter { own.meter } else { last.1 })
            }
            _ => (own.fifths, own.meter),
        };
        out.push(last);
    }
    out
}

/// Whether a part says in or before a bar which time it is in.
fn says_time(part: &Part, bar: usize) -> bool {
    part.marks.iter().any(|m| matches!(m.sign, Sign::Time(_)) && m.at.bar <= bar)
}
