//! Lines that go together: several of one score that have the same music.

use super::{Collation, PartAlignment};
use crate::alignment::{EditionNote, EditionPart, SourceMark, SourceNote, SourcePart};
use crate::score::{Category, Note, NoteId, Part, Score};
use rustc_hash::FxHashSet;
use std::cmp::Reverse;

/// So many notes in a hundred of a line that doubles another are the other's.
const DOUBLED: usize = 75;

/// Whether a line has the notes of another of its score, in whatever octave.
pub fn doubles(part: &Part, other: &Part) -> bool {
    let key = |part: &Part, n: NoteId| {
        let pitch = part.notes[n].pitch()?;
        Some((part.notes[n].place(), pitch.sound().rem_euclid(1200)))
    };
    let theirs: FxHashSet<_> = other.struck().filter_map(|n| key(other, n)).collect();
    let all = part.struck().count();
    let met = part.struck().filter_map(|n| key(part, n)).filter(|k| theirs.contains(k)).count();
    all > 0 && met * 100 >= all * DOUBLED
}

/// Lines of the edition beside one of the source: the words that none of them has are missing in one, that which is
/// named as the source's or has most of its notes. An instrument that goes with a voice sings none.
pub(super) fn words_once(edition: &Score, source: &Score, collation: &mut Collation) {
    let mut of_source: Vec<Vec<usize>> = vec![Vec::new(); source.parts.len()];
    collation.parts.iter().enumerate().for_each(|(place, a)| of_source[a.source].push(place));
    for (from, group) in of_source.iter().enumerate().filter(|(_, group)| group.len() > 1) {
        let theirs = SourcePart::new(&source.parts[from]);
        if !theirs.marks.iter().any(|m| m.category == Category::Lyric) {
            continue;
        }
        let sings = |a: &PartAlignment| edition.parts[a.edition].marks.iter().any(|m| m.category == Category::Lyric);
        let likeness = |place: &usize| {
            let a = &collation.parts[*place];
            let ours = a.edition_part(edition);
            (sings(a), ours.name == theirs.name, alike(a, ours, theirs), Reverse(*place))
        };
        let Some(lead) = group.iter().copied().max_by_key(likeness) else { continue };
        for place in group.iter().copied().filter(|p| *p != lead) {
            let a = &mut collation.parts[place];
            if !sings(a) {
                let is_word = |m: SourceMark| theirs[m].category == Category::Lyric;
                a.marks.retain(|p| p.edition.is_some() || !p.source.is_some_and(is_word));
            }
        }
    }
}

/// How many notes of a line are as high as the source's.
fn alike(a: &PartAlignment, ours: EditionPart, theirs: SourcePart) -> usize {
    let height = |note: &Note| note.pitch().map(|p| p.sound());
    let by = a.interval.semitones * 100;
    let same = |(e, s): &(EditionNote, &Option<SourceNote>)| {
        s.is_some_and(|s| height(&ours[*e]) == height(&theirs[s]).map(|sound| sound + by))
    };
    a.edition_to_source.iter().filter(same).count()
}
