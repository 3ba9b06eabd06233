//! Marks of one's own go with their notes from one copy to another of the same scores that was decided otherwise.

use super::layer::{End, locate, moved, part_of};
use super::made_for::{MadeFor, Moved};
use super::{BarBeat, Sheet, SheetMark, Sides};
use crate::alignment::{EditionNote, SourceNote};
use crate::score::{Note, NoteId, Part, Place, Score, Sound};
use crate::time::{Time, beat_text};
use std::collections::{BTreeMap, BTreeSet};

/// A copy in its own key and without marks, and the row of the outline of each of its bars.
pub struct PlainCopy {
    pub score: Score,
    pub rows: Vec<usize>,
}

/// A sheet for another copy.
pub struct Carried {
    pub sheet: Sheet,
    /// The marks whose notes are gone: the sheet has them no more.
    pub gone: Vec<SheetMark>,
}

/// What a note of a copy comes from. The notes of two copies that have one of these in common are the same note.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Origin {
    /// Of a pair of lines, the edition's note or the source's that has no partner.
    Edition(usize, EditionNote),
    Source(usize, SourceNote),
    /// What begins at a place of a row; no pitch for a rest.
    Place(usize, Time, Option<i32>),
}

/// The sheet of one copy for another: each mark stands on the note on which it stood. `part` is where marks go that
/// name no part.
pub fn carry(sides: Sides, sheet: &Sheet, from: &PlainCopy, to: &PlainCopy, part: usize) -> Carried {
    let [old, new] = [from, to].map(|copy| copy.score.parts.get(part).map(MadeFor::of));
    let made_for = if old == new { sheet.made_for.clone() } else { new };
    let mut out = Sheet { title: sheet.title.clone(), made_for, marks: Vec::new() };
    let mut gone = Vec::new();
    let moved = from.score.parts.get(part).map(|own| moves(sheet, own)).unwrap_or_default();
    let mut ways: BTreeMap<usize, Way> = BTreeMap::new();
    for mark in &sheet.marks {
        // What had no place before has none now; it is not lost by this.
        let known = part_of(mark, &from.score, part).ok().filter(|own| *own < to.score.parts.len());
        let Some(own) = known else {
            out.marks.push(mark.clone());
            continue;
        };
        let way = ways.entry(own).or_insert_with(|| Way::new(sides, own, from, to));
        match way.carried(mark, &moved) {
            Ok(carried) => out.marks.push(carried),
            Err(Lost::Before) => out.marks.push(mark.clone()),
            Err(Lost::Now) => gone.push(mark.clone()),
        }
    }
    Carried { sheet: out, gone }
}

/// Of each mark of a sheet the edition's bar that it stands in, its place and its number, where the edition has it.
pub fn edition_bars(sides: Sides, sheet: &Sheet, copy: &PlainCopy, part: usize) -> Vec<Option<(usize, String)>> {
    let moved = copy.score.parts.get(part).map(|own| moves(sheet, own)).unwrap_or_default();
    let number = |mark: &SheetMark| {
        let own = part_of(mark, &copy.score, part).ok()?;
        let (kind, (from, _)) = (mark.kind().ok()?, mark.places().ok()?);
        let at = locate(copy.score.parts.get(own)?, mark, &kind, (&from, End::First), &moved).ok()?;
        let bar = sides.collation.outline[*copy.rows.get(at.place.bar)?].edition?;
        Some((bar.index(), sides.edition.parts.get(own)?.bars.get(bar.index())?.number.clone()))
    };
    sheet.marks.iter().map(number).collect()
}

/// Where the bars of a sheet are in this part. A sheet of a copy in another key has the same bars.
fn moves(sheet: &Sheet, part: &Part) -> Moved {
    let is_same = sheet.made_for.as_ref().is_some_and(|made_for| made_for.has_rhythm_of(part));
    if is_same { Moved::default() } else { moved(sheet, part) }
}

enum Lost {
    /// It had no place in the copy before.
    Before,
    Now,
}

/// The way from one part to the same of another copy.
struct Way<'c> {
    from: (&'c Part, &'c [usize]),
    to: (&'c Part, &'c [usize]),
    lines: Vec<Line<'c>>,
    /// The notes of the other by what they come from.
    there: BTreeMap<Origin, NoteId>,
}

/// A pair of lines that is laid in a part.
struct Line<'c> {
    place: usize,
    sides: Sides<'c, 'c>,
}

impl<'c> Way<'c> {
    fn new(sides: Sides<'c, 'c>, part: usize, from: &'c PlainCopy, to: &'c PlainCopy) -> Way<'c> {
        let is_here =
            |line: &usize| sides.edition.printed_parts_of(sides.collation.parts[*line].edition).contains(&part);
        let lines = (0..sides.collation.parts.len()).filter(is_here).map(|place| Line { place, sides });
        let mut way = Way {
            from: (&from.score.parts[part], &from.rows),
            to: (&to.score.parts[part], &to.rows),
            lines: lines.collect(),
            there: BTreeMap::new(),
        };
        for note in (0..way.to.0.notes.len()).rev() {
            let origins = way.origins(way.to, note);
            way.there.extend(origins.into_iter().map(|origin| (origin, note)));
        }
        way
    }

    /// All that a note may come from.
    fn origins(&self, (part, rows): (&Part, &[usize]), note: NoteId) -> BTreeSet<Origin> {
        let own = &part.notes[note];
        let Some(row) = rows.get(own.bar).copied().filter(|_| own.grace == 0) else { return BTreeSet::new() };
        let mut out: BTreeSet<Origin> = self.lines.iter().flat_map(|line| line.origins(row, own)).collect();
        out.insert(Origin::Place(row, own.offset, sound(own)));
        out
    }

    fn carried(&self, mark: &SheetMark, moved: &Moved) -> Result<SheetMark, Lost> {
        let (Ok(kind), Ok((from, to))) = (mark.kind(), mark.places()) else { return Err(Lost::Before) };
        let find =
            |place: &BarBeat, end| locate(self.from.0, mark, &kind, (place, end), moved).map_err(|_| Lost::Before);
        let at = find(&from, End::First)?;
        let end = to.map(|to| find(&to, End::Last)).transpose()?;
        let new = |old: crate::score::Anchor| match old.note {
            Some(note) => self.note(note).map(|new| self.to.0.notes[new].place()).ok_or(Lost::Now),
            None => self.place(old.place).ok_or(Lost::Now),
        };
        let text = |place: Place| format!("{}:{}", self.to.0.bars[place.bar].number, beat_text(self.to.0.beat(place)));
        let (at, end) = (new(at)?, end.map(new).transpose()?);
        let carried = match end {
            None => SheetMark { at: Some(text(at)), ..mark.clone() },
            Some(end) => SheetMark { from: Some(text(at)), to: Some(text(end)), ..mark.clone() },
        };
        // Of several bars with one number the first is meant.
        let (from, to) = carried.places().map_err(|_| Lost::Now)?;
        let is_there = |place: &BarBeat, end, wanted: Place| {
            locate(self.to.0, &carried, &kind, (place, end), &Moved::default()).is_ok_and(|found| found.place == wanted)
        };
        let in_order = end.is_none_or(|end| at < end);
        let all = is_there(&from, End::First, at) && to.zip(end).is_none_or(|(to, end)| is_there(&to, End::Last, end));
        if all && in_order { Ok(carried) } else { Err(Lost::Now) }
    }

    /// The same note of the other copy; of a chord, of any note of it.
    fn note(&self, note: NoteId) -> Option<NoteId> {
        let chord = std::iter::once(note).chain(self.from.0.chord(note));
        chord.flat_map(|n| self.origins(self.from, n)).find_map(|origin| self.there.get(&origin).copied())
    }

    /// The same place of the other copy.
    fn place(&self, place: Place) -> Option<Place> {
        let row = self.from.1.get(place.bar)?;
        let bar = self.to.1.iter().position(|other| other == row)?;
        Some(Place { bar, ..place })
    }
}

impl Line<'_> {
    fn origins(&self, row: usize, own: &Note) -> Vec<Origin> {
        let Some(wanted) = sound(own) else { return Vec::new() };
        let alignment = &self.sides.collation.parts[self.place];
        let pair = self.sides.collation.outline[row];
        let (edition, source) = (alignment.edition_part(self.sides.edition), alignment.source_part(self.sides.source));
        let ours = |e: EditionNote| sound(&edition[e]);
        let theirs = |s: SourceNote| match source[s].sound {
            Sound::Pitched(pitch) => Some(pitch.moved(alignment.interval).sound()),
            Sound::Unpitched(pitch) => Some(pitch.sound()),
            Sound::Rest => None,
        };
        let mut out = Vec::new();
        if let Some(bar) = pair.edition.and_then(|bar| edition.bar(bar)) {
            let here = edition.notes_in(bar).filter(|e| edition[*e].grace == 0 && edition[*e].offset == own.offset);
            let fits = |e: &EditionNote| {
                ours(*e) == Some(wanted) || alignment.edition_to_source[*e].and_then(theirs) == Some(wanted)
            };
            out.extend(here.filter(fits).map(|e| Origin::Edition(self.place, e)));
        }
        if let Some(bar) = pair.source.and_then(|bar| source.bar(bar)) {
            let is_here = |s: &SourceNote| {
                source[*s].grace == 0 && [source[*s].offset, pair.to_edition(source[*s].offset)].contains(&own.offset)
            };
            let fits = |s: &SourceNote| {
                theirs(*s) == Some(wanted) || alignment.source_to_edition[*s].and_then(ours) == Some(wanted)
            };
            out.extend(source.notes_in(bar).filter(is_here).filter(fits).map(|s| {
                alignment.source_to_edition[s].map_or(Origin::Source(self.place, s), |e| Origin::Edition(self.place, e))
            }));
        }
        out
    }
}

fn sound(note: &Note) -> Option<i32> {
    match note.sound {
        Sound::Pitched(pitch) | Sound::Unpitched(pitch) => Some(pitch.sound()),
        Sound::Rest => None,
    }
}
