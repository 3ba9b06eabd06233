//! Strains that one side writes out a second time: the passages, and what the
//! second time has otherwise than the first.

use super::passages::spot;
use super::{Finder, Finding, Passage, PassageKind, Spot, Status};
use crate::collate::BarPair;
use crate::score::{Category, NoteId, Part};
use crate::time::Time;
use std::collections::HashSet;

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
        let (edition, source): (Vec<NoteId>, Vec<NoteId>) = match edition_writes {
            true => (finder.written(row..end, true), (row..end).flat_map(|r| finder.repeated(r)).collect()),
            false => ((row..end).flat_map(|r| finder.repeated(r)).collect(), finder.written(row..end, false)),
        };
        let ends = |part: &Part, notes: &[NoteId], bar: fn(&BarPair) -> Option<usize>| {
            let spots = notes.iter().map(|n| spot(part, *n));
            let whole = |row: &BarPair| Spot { bar: bar(row).or(row.again).unwrap_or(0), offset: Time::from(0) };
            spots.clone().min().zip(spots.max()).unwrap_or((whole(&outline[row]), whole(&outline[end - 1])))
        };
        let (from, to) = ends(finder.edition, &edition, |r| r.edition);
        let (source_from, source_to) = ends(finder.source, &source, |r| r.source);
        let mut bars: Vec<usize> = outline[row..end].iter().filter_map(|r| r.source).collect();
        bars.dedup();
        out.push(Passage {
            kind: PassageKind::WrittenOutRepeat,
            row,
            from,
            to,
            source_from: Some(source_from),
            source_to: Some(source_to),
            octaves: None,
            edition,
            source,
            bars: bars.len(),
            stretch: None,
            ornaments: vec![],
        });
        row = end;
    }
    out
}

impl Finder<'_> {
    /// The struck notes of the side that writes out, in some rows.
    fn written(&self, rows: std::ops::Range<usize>, of_edition: bool) -> Vec<NoteId> {
        let part = if of_edition { self.edition } else { self.source };
        let bar = |row: usize| {
            let pair = &self.collation.outline[row];
            if of_edition { pair.edition } else { pair.source }.filter(|b| *b < part.bars.len())
        };
        let mut bars: Vec<usize> = rows.clone().filter_map(bar).collect();
        bars.dedup();
        let row = |n: &NoteId| {
            let note = &part.notes[*n];
            match of_edition {
                true => self.collation.edition_row(note.bar, note.offset),
                false => self.collation.source_row(note.bar, note.offset),
            }
        };
        bars.into_iter().flat_map(|b| part.struck_in(b)).filter(|n| rows.contains(&row(n))).collect()
    }

    /// The struck notes that come back in a row, of the side that repeats.
    fn repeated(&self, row: usize) -> Vec<NoteId> {
        let pair = &self.collation.outline[row];
        let (part, from) = match pair.edition {
            Some(_) => (self.source, pair.source_from),
            None => (self.edition, pair.edition_from),
        };
        let Some(bar) = pair.again.filter(|b| *b < part.bars.len()) else { return Vec::new() };
        let inside = |n: &NoteId| {
            let at = part.notes[*n].offset;
            (at >= from || from.is_zero()) && pair.again_to.is_none_or(|to| at < to)
        };
        part.struck_in(bar).filter(inside).collect()
    }

    /// What the second time of a strain lacks, adds or alters against the first,
    /// as far as no note of the edition tells it.
    pub(super) fn second_times(&self, out: &mut Vec<Finding>) {
        for (row, pair) in self.collation.outline.iter().enumerate().filter(|r| r.1.again.is_some()) {
            let edition_writes = pair.edition.is_some();
            let (written, repeated) = (self.written(row..row + 1, edition_writes), self.repeated(row));
            let partners =
                if edition_writes { &self.alignment.edition_to_source } else { &self.alignment.source_to_edition };
            let first =
                if edition_writes { &self.alignment.source_to_edition } else { &self.alignment.edition_to_source };
            let met: HashSet<NoteId> = written.iter().filter_map(|n| partners[*n]).collect();
            // What the first time lacks, too, is told there.
            for &note in repeated.iter().filter(|n| !met.contains(n) && first[**n].is_some()) {
                let mut finding = match edition_writes {
                    true => self.note_finding(Category::Note, Status::Omitted, None, Some(note), None),
                    false => self.note_finding(Category::Note, Status::Added, Some(note), None, None),
                };
                if edition_writes {
                    finding.at = self.in_row(row, spot(self.source, note));
                }
                finding.row = row;
                out.push(finding);
            }
            if !edition_writes {
                for &s in &written {
                    self.second_time(row, pair, s, out);
                }
            }
        }
    }

    /// A note of the source's second time against the edition's one time.
    fn second_time(&self, row: usize, pair: &BarPair, s: NoteId, out: &mut Vec<Finding>) {
        let Some(e) = self.alignment.source_to_edition[s] else { return };
        let as_first = self.alignment.edition_to_source[e].is_some_and(|first| {
            let (one, other) = (&self.source.notes[first], &self.source.notes[s]);
            one.sound == other.sound && self.source.sounding(first) == self.source.sounding(s)
        });
        if as_first {
            return;
        }
        let apart = self.apart(e, s);
        let moved = self.edition.notes[e].offset != pair.to_edition(self.source.notes[s].offset);
        if apart != 0 {
            let category = if apart % 1200 == 0 { Category::Octave } else { Category::Pitch };
            out.push(Finding { row, ..self.note_finding(category, Status::Altered, Some(e), Some(s), None) });
        }
        if moved || self.edition.sounding(e) != self.source.sounding(s) * self.collation.scale {
            out.extend(self.rhythm(e, s).map(|finding| Finding { row, ..finding }));
        }
    }
}
