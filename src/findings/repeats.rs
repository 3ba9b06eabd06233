//! Strains that one side writes out a second time: the passages, and what the
//! second time has otherwise than the first.

use super::passages::over;
use super::{Finder, Finding, Passage, PassageKind, Status};
use crate::alignment::{BarOf, EditionNote, NoteOf, PartOf, Side, SourceBar, SourceNote};
use crate::collate::BarPair;
use crate::score::{Category, Note, Place, Stretch};
use crate::time::Time;
use std::collections::HashSet;
use std::ops::Range;

/// A passage for each strain that one side writes out and the other repeats.
pub(super) fn of_repeats(finder: &Finder) -> Vec<Passage> {
    let outline = &finder.collation.outline;
    let mut out = Vec::new();
    let mut row = 0;
    while row < outline.len() {
        if outline[row].again.is_none() {
            row += 1;
            continue;
        }
        let edition_writes = outline[row].edition.is_some();
        // Where it begins anew, another strain comes back.
        let goes_on = |at: &usize| {
            let (last, own) = (&outline[at - 1], &outline[*at]);
            own.again.is_some() && own.again >= last.again && own.edition.is_some() == edition_writes
        };
        let end = (row + 1..outline.len()).take_while(goes_on).last().map_or(row + 1, |last| last + 1);
        let rows = row..end;
        let (edition, source): (Vec<EditionNote>, Vec<SourceNote>) = match edition_writes {
            true => {
                (finder.written_by_edition(rows.clone()), rows.flat_map(|r| finder.repeated_by_source(r)).collect())
            }
            false => {
                (rows.clone().flat_map(|r| finder.repeated_by_edition(r)).collect(), finder.written_by_source(rows))
            }
        };
        let whole = |start: fn(&BarPair) -> Option<Place>| {
            let start = |row: &BarPair| start(row).unwrap_or(Place::start_of(0));
            Stretch { from: start(&outline[row]), to: start(&outline[end - 1]) }
        };
        let at = over(finder.edition, &edition).unwrap_or_else(|| whole(|r| Some(r.edition_played()?.start())));
        let in_source = over(finder.source, &source).unwrap_or_else(|| whole(|r| Some(r.source_played()?.start())));
        let mut bars: Vec<SourceBar> = outline[row..end].iter().filter_map(|r| r.source).collect();
        bars.dedup();
        out.push(Passage {
            kind: PassageKind::WrittenOutRepeat,
            row,
            at,
            in_source: Some(in_source),
            octaves: None,
            edition,
            source,
            bars: bars.len(),
            other_music: None,
            ornaments: vec![],
        });
        row = end;
    }
    out
}

impl Finder<'_> {
    /// The struck notes of the edition in some rows.
    fn written_by_edition(&self, rows: Range<usize>) -> Vec<EditionNote> {
        let bars = rows.clone().filter_map(|row| self.collation.outline[row].edition);
        let row = |note: &Note| self.collation.edition_row(note.place());
        struck_in(self.edition, bars, |note| rows.contains(&row(note)))
    }

    fn written_by_source(&self, rows: Range<usize>) -> Vec<SourceNote> {
        let bars = rows.clone().filter_map(|row| self.collation.outline[row].source);
        let row = |note: &Note| self.collation.source_row(note.place());
        struck_in(self.source, bars, |note| rows.contains(&row(note)))
    }

    /// The struck notes of the edition that come back in a row which the source writes out.
    fn repeated_by_edition(&self, row: usize) -> Vec<EditionNote> {
        let pair = &self.collation.outline[row];
        come_back(self.edition, pair, pair.edition_played(), pair.edition_from)
    }

    fn repeated_by_source(&self, row: usize) -> Vec<SourceNote> {
        let pair = &self.collation.outline[row];
        come_back(self.source, pair, pair.source_played(), pair.source_from)
    }

    /// What the second time of a strain lacks, adds or alters against the first,
    /// as far as no note of the edition tells it.
    pub(super) fn second_times(&self, out: &mut Vec<Finding>) {
        let a = self.alignment;
        for (row, pair) in self.collation.outline.iter().enumerate().filter(|r| r.1.again.is_some()) {
            // What the first time lacks, too, is told there.
            if pair.edition.is_some() {
                let written = self.written_by_edition(row..row + 1);
                let met: HashSet<SourceNote> = written.iter().filter_map(|n| a.edition_to_source[*n]).collect();
                let repeated = self.repeated_by_source(row).into_iter();
                for s in repeated.filter(|s| !met.contains(s) && a.source_to_edition[*s].is_some()) {
                    let at = self.in_row(row, self.source.place(s));
                    let finding = self.note_finding(Category::Note, Status::Omitted, None, Some(s), None);
                    out.push(Finding { row, at, ..finding });
                }
            } else {
                let written = self.written_by_source(row..row + 1);
                let met: HashSet<EditionNote> = written.iter().filter_map(|n| a.source_to_edition[*n]).collect();
                let repeated = self.repeated_by_edition(row).into_iter();
                for e in repeated.filter(|e| !met.contains(e) && a.edition_to_source[*e].is_some()) {
                    let finding = self.note_finding(Category::Note, Status::Added, Some(e), None, None);
                    out.push(Finding { row, ..finding });
                }
                written.into_iter().for_each(|s| self.second_time(row, pair, s, out));
            }
        }
    }

    /// A note of the source's second time against the edition's one time.
    fn second_time(&self, row: usize, pair: &BarPair, s: SourceNote, out: &mut Vec<Finding>) {
        let Some(e) = self.alignment.source_to_edition[s] else { return };
        let as_first = self.alignment.edition_to_source[e].is_some_and(|first| {
            let (one, other) = (&self.source[first], &self.source[s]);
            one.sound == other.sound && self.source.sounding(first) == self.source.sounding(s)
        });
        if as_first {
            return;
        }
        let apart = self.apart(e, s);
        let moved = self.edition[e].offset != pair.to_edition(self.source[s].offset);
        if apart != 0 {
            let category = if apart % 1200 == 0 { Category::Octave } else { Category::Pitch };
            out.push(Finding { row, ..self.note_finding(category, Status::Altered, Some(e), Some(s), None) });
        }
        if moved || self.edition.sounding(e) != self.source.sounding(s) * self.collation.scale {
            out.extend(self.rhythm(e, s).map(|finding| Finding { row, ..finding }));
        }
    }
}

/// The struck notes of some bars of a part that are inside.
fn struck_in<S: Side>(
    part: PartOf<S>,
    bars: impl Iterator<Item = BarOf<S>>,
    inside: impl Fn(&Note) -> bool,
) -> Vec<NoteOf<S>> {
    let mut bars: Vec<BarOf<S>> = bars.filter(|b| part.bar(*b).is_some()).collect();
    bars.dedup();
    bars.into_iter().flat_map(|b| part.struck_in(b)).filter(|n| inside(&part[*n])).collect()
}

/// The struck notes of the side that repeats from an offset of the bar that comes back.
fn come_back<S: Side>(part: PartOf<S>, pair: &BarPair, bar: Option<BarOf<S>>, from: Time) -> Vec<NoteOf<S>> {
    let Some(bar) = bar.filter(|b| part.bar(*b).is_some()) else { return Vec::new() };
    let inside = |n: &NoteOf<S>| {
        let at = part[*n].offset;
        (at >= from || from.is_zero()) && pair.again_to.is_none_or(|to| at < to)
    };
    part.struck_in(bar).filter(inside).collect()
}
