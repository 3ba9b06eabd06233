//! A mark sheet beside the copy that it was laid on.

use super::content::mark_line;
use super::fingerings;
use super::layer::{End, ends, expected_line, locate, moved, part_of};
use super::made_for::{MadeFor, Moved};
use super::{Sheet, SheetError, SheetMark};
use crate::pitch::Interval;
use crate::score::{MarkId, Score};

/// The sheet with the bars of this copy: its marks have followed the music, and it says so. `part` is where marks go
/// that name no part.
pub fn sheet_on(sheet: &Sheet, copy: &Score, part: usize) -> Sheet {
    let Some(own) = copy.parts.get(part) else { return sheet.clone() };
    let moved = moved(sheet, own);
    let follow = |place: &Option<String>| {
        let (bar, beat) = place.as_deref()?.rsplit_once(':')?;
        let to = moved.to.get(bar).and_then(|to| own.bars.get(*to));
        Some(format!("{}:{beat}", to.map_or(bar, |to| &to.number)))
    };
    let marks = sheet.marks.iter().map(|mark| SheetMark {
        at: follow(&mark.at).or(mark.at.clone()),
        from: follow(&mark.from).or(mark.from.clone()),
        to: follow(&mark.to).or(mark.to.clone()),
        ..mark.clone()
    });
    Sheet { title: sheet.title.clone(), made_for: Some(MadeFor::of(own)), marks: marks.collect() }
}

/// The marks of a sheet that have no place in a copy, and why.
pub fn without_place(sheet: &Sheet, copy: &Score, part: usize) -> Vec<(usize, SheetError)> {
    let moved = copy.parts.get(part).map(|own| moved(sheet, own)).unwrap_or_default();
    let place = |mark: &SheetMark| {
        let own = &copy.parts[part_of(mark, copy, part)?];
        ends(own, mark, &mark.kind()?, &moved)
    };
    sheet.marks.iter().enumerate().filter_map(|(index, mark)| Some((index, place(mark).err()?))).collect()
}

/// A fingering that says for which note of a copy it is made; any other mark as it is.
pub fn for_its_note(mark: &SheetMark, copy: &Score, part: usize) -> SheetMark {
    let note = || {
        let own = copy.parts.get(part_of(mark, copy, part).ok()?)?;
        let (at, _) = ends(own, mark, &mark.kind().ok()?, &Moved::default()).ok()?;
        fingerings::note(own, at)
    };
    SheetMark { on: mark.fingering.as_ref().and_then(|_| note()), ..mark.clone() }
}

/// Of each mark of a sheet the part that it is in, and which mark of it.
pub fn found_on(sheet: &Sheet, copy: &Score, part: usize) -> Vec<Option<(usize, MarkId)>> {
    let moved = copy.parts.get(part).map(|own| moved(sheet, own)).unwrap_or_default();
    let find = |mark: &SheetMark| {
        let place = part_of(mark, copy, part).ok()?;
        let own = copy.parts.get(place)?;
        let (kind, (from, to)) = (mark.kind().ok()?, mark.places().ok()?);
        let at = locate(own, mark, &kind, (&from, End::First), &moved).ok()?;
        let end = to.map(|to| locate(own, mark, &kind, (&to, End::Last), &moved)).transpose().ok()?;
        let wanted = expected_line(&kind, at, end);
        let is_it = |m: &MarkId| {
            let there = &own.marks[*m];
            mark_line(there, there.at.place, there.end.map(|e| e.place), Interval::UNISON) == wanted
        };
        (0..own.marks.len()).find(is_it).map(|found| (place, found))
    };
    sheet.marks.iter().map(find).collect()
}
