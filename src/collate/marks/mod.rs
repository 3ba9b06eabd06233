//! Which mark is which: by the note or the time it stands at, and by meaning.

mod map;

use super::matcher::{Entry, Matcher};
use super::rows::Row;
use super::{MarkPair, PartAlignment, PartView};
use crate::alignment::{Edition, Source, SourceMark};
use crate::pitch::Interval;
use crate::score::{Category, Mark, Meaning};
use crate::time::Time;
use map::Map;
use rustc_hash::FxHashMap;

pub fn pair(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    let map = Map::new(view, rows, alignment);
    let mut edition: Vec<Entry<Edition>> = view.edition.marks().map(|(id, m)| map.edition_entry(id, m)).collect();
    let mut source: Vec<Entry<Source>> = view.source.marks().map(|(id, m)| map.source_entry(id, m)).collect();
    for row in (0..rows.len()).filter(|r| rows[*r].pair.again.is_some()) {
        map.come_back(row, &mut edition, &mut source);
    }
    let mut matcher = Matcher::new(&edition, &source);
    matcher.run();
    let mut pairs = matcher.finish();
    // A sign that the edition writes out is not missing.
    let mut written_out = view.source.for_notes(false);
    alignment.written_out.iter().filter(|r| !r.by_source).for_each(|r| written_out[r.source] = true);
    let is_told = |id: SourceMark| {
        let mark = &view.source[id];
        matches!(mark.category, Category::Ornament | Category::Grace)
            && view.source.carrier(mark.at).is_some_and(|n| written_out[n])
    };
    // What lies outside of the piece stays what it is.
    let said = |p: &MarkPair| map.is_outside(p) || map.closes(p);
    pairs.retain(|p| p.edition.is_some() || !said(p));
    pairs.iter_mut().filter(|p| p.source.is_none() && said(p)).for_each(|p| p.same = true);
    pairs.retain(|p| !(map.prevails(p) || p.edition.is_none() && p.source.is_some_and(|m| map.only_once(m))));
    pairs.retain(|p| p.edition.is_some() || !p.source.is_some_and(is_told));
    pair_in_other_music(&map, &mut pairs);
    alignment.marks = pairs;
}

/// Pairs marks that say the same at the same time inside other music, where no note carries them.
fn pair_in_other_music(map: &Map, pairs: &mut Vec<MarkPair>) {
    let view = map.view;
    let mut free: FxHashMap<Said, Vec<usize>> = FxHashMap::default();
    for (at, pair) in pairs.iter().enumerate() {
        if let (None, Some(mark), None) = (pair.edition, pair.source, pair.again)
            && let Some(times) = map.free_in_source(&view.source[mark])
        {
            let mark = &view.source[mark];
            free.entry((mark.category, of_source(mark, view), times)).or_default().push(at);
        }
    }
    if free.is_empty() {
        return;
    }
    let mut gone = vec![false; pairs.len()];
    for at in 0..pairs.len() {
        let (Some(own), None, false) = (pairs[at].edition, pairs[at].source, pairs[at].same) else { continue };
        let mark = &view.edition[own];
        let Some(times) = map.free_in_edition(mark) else { continue };
        let there = free.get_mut(&(mark.category, of_edition(mark, view), times)).and_then(Vec::pop);
        if let Some(there) = there {
            gone[there] = true;
            pairs[at] = MarkPair { source: pairs[there].source, same: true, ..pairs[at] };
        }
    }
    let mut gone = gone.into_iter();
    pairs.retain(|_| gone.next() != Some(true));
}

/// What a mark says, and from when to when.
type Said<'m> = (Category, Meaning<'m>, (Time, Option<Time>));

/// What a mark of the edition says in the source's key.
fn of_edition<'m>(mark: &'m Mark, view: &PartView) -> Meaning<'m> {
    comparable(mark.meaning(view.interval.inverse()), view)
}

/// What a mark of the source says.
fn of_source<'m>(mark: &'m Mark, view: &PartView) -> Meaning<'m> {
    comparable(mark.meaning(Interval::UNISON), view)
}

/// In another key an ornament may need another accidental.
fn comparable<'m>(meaning: Meaning<'m>, view: &PartView) -> Meaning<'m> {
    match meaning {
        Meaning::AccidentalMark(_) if view.interval.fifths() != 0 => meaning.without_signs(),
        _ => meaning,
    }
}
