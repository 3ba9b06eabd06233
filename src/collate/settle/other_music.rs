//! Stretches where the music is simply not the same.

use super::super::rows::Row;
use super::super::{PartAlignment, PartView};
use super::items::{Item, Kind, items};
use crate::alignment::{EditionNote, OtherMusic, RowRange, SourceNote};
use crate::score::Place;
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};

/// More notes than this that agree are no accident.
const LARGEST_ISLAND: usize = 16;
/// So many notes in a row may be in another octave, or of another length, by chance.
const STRAYS: usize = 2;
/// From this many notes on, differences next to each other are other music
/// rather than wrong notes.
const LEAST_STRETCH: usize = 4;

/// So many at the very end are a close of the editor's own.
const LEAST_CLOSE: usize = 3;

pub(super) fn find(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    let items = items(view, rows, alignment);
    let voices = items.iter().map(|i| i.1).max().map_or(0, |v| v + 1);
    let mut found: Vec<Vec<Item>> = Vec::new();
    for voice in 0..voices {
        let own: Vec<&Item> = items.iter().filter(|i| i.1 == voice).map(|i| &i.0).collect();
        found.extend(runs(&own));
    }
    found.retain(|run| !is_voice_among_others(run, &items));
    found.extend(close_of_its_own(&items, &found, rows));
    found.sort_by_key(|run| (run[0].row, run[0].offset));
    let empty = rows.iter().enumerate().filter(|(_, r)| r.is_alien() && !r.rewritten);
    let mut stretches: Vec<OtherMusic> = Vec::new();
    // Runs come in order: what lies behind one lies behind all that follow.
    let mut behind = 0;
    for run in found {
        let next = bound(view, rows, run);
        while stretches.get(behind).is_some_and(|s| s.rows.last + 1 < next.rows.first) {
            behind += 1;
        }
        match stretches[behind..].iter_mut().find(|s| touches(s, &next, rows)) {
            Some(stretch) => merge(stretch, next),
            None => stretches.push(next),
        }
    }
    // Bars without notes that only one side has are other music, too.
    for (row, _) in empty {
        if !stretches.iter().any(|s| s.rows.contains(row)) {
            let bare = OtherMusic {
                edition: vec![],
                source: vec![],
                rows: RowRange { first: row, last: row },
                from: Time::from(0),
                to: None,
                to_the_end: false,
            };
            match stretches.iter_mut().find(|s| touches(s, &bare, rows)) {
                Some(stretch) => merge(stretch, bare),
                None => stretches.push(bare),
            }
        }
    }
    stretches.sort_by_key(|s| (s.rows, s.from));
    // Bars without notes may have closed the gap between two.
    let mut at = 0;
    while at + 1 < stretches.len() {
        if touches(&stretches[at], &stretches[at + 1], rows) {
            let next = stretches.remove(at + 1);
            merge(&mut stretches[at], next);
        } else {
            at += 1;
        }
    }
    join_over_islands(&items, &mut stretches);
    take_in_last_note(&items, &mut stretches, rows);
    let (mut ours, mut theirs) = (view.edition.for_notes(false), view.source.for_notes(false));
    for stretch in &mut stretches {
        for &e in &stretch.edition {
            alignment.part_edition(e);
        }
        for &s in &stretch.source {
            if let Some(e) = alignment.source_to_edition[s] {
                alignment.part_edition(e);
            }
        }
        pair_the_same(view, rows, stretch, alignment);
        stretch.edition.sort_unstable();
        stretch.source.sort_unstable();
        stretch.edition.iter().for_each(|n| ours[*n] = true);
        stretch.source.iter().for_each(|n| theirs[*n] = true);
    }
    alignment.ties.retain(|t| !t.edition.iter().any(|n| ours[*n]) && !t.source.iter().any(|n| theirs[*n]));
    alignment.written_out.retain(|r| !theirs[r.source]);
    for chords in &mut alignment.revoiced {
        chords.edition.retain(|n| !ours[*n]);
        chords.source.retain(|n| !theirs[*n]);
    }
    alignment.revoiced.retain(|chords| !chords.edition.is_empty() || !chords.source.is_empty());
    alignment.other_music = stretches;
}

/// The last notes of a piece, if every one of them is another, in whatever
/// rhythm, and there are too many for wrong notes.
fn close_of_its_own(items: &[(Item, usize)], found: &[Vec<Item>], rows: &[Row]) -> Option<Vec<Item>> {
    let close: Vec<Item> = items.iter().rev().map(|i| i.0).take_while(|i| i.kind == Kind::Different).collect();
    let (last, first) = (close.first()?, close.last()?);
    let both = close.iter().any(|i| i.edition.is_some()) && close.iter().any(|i| i.source.is_some());
    let known = |i: &Item| (i.edition, i.source) == (last.edition, last.source);
    let one_chord = (first.row, first.offset) == (last.row, last.offset);
    let told = found.iter().flatten().any(known);
    (both && !one_chord && !told && close.len() >= LEAST_CLOSE && last.row + 1 == rows.len())
        .then(|| close.into_iter().rev().collect())
}

/// Whether a run is a voice that one side has more, while the others go on as
/// they were: single notes, no music put in or cut out.
fn is_voice_among_others(run: &[Item], items: &[(Item, usize)]) -> bool {
    let one_sided = run.iter().all(|i| i.edition.is_none()) || run.iter().all(|i| i.source.is_none());
    if !one_sided || run.iter().any(|i| i.kind == Kind::Alien) {
        return false;
    }
    let (first, last) = (&run[0], &run[run.len() - 1]);
    let from = items.partition_point(|(i, _)| (i.row, i.offset) < (first.row, first.offset));
    let during = items[from..].iter().take_while(|(i, _)| (i.row, i.offset) <= (last.row, last.offset));
    let others = during.filter(|(i, _)| i.edition.is_some() && i.source.is_some() && i.kind != Kind::Different);
    2 * others.count() >= run.len()
}

/// Runs of differences in one voice, long enough to be other music. One equal
/// note between differences may be chance, and so may two in another octave.
fn runs(items: &[&Item]) -> Vec<Vec<Item>> {
    let differs = |i: &Item| matches!(i.kind, Kind::Different | Kind::Alien);
    let mut out: Vec<Vec<Item>> = Vec::new();
    let mut at = 0;
    while at < items.len() {
        if !differs(items[at]) {
            at += 1;
            continue;
        }
        let (mut end, mut last, mut same, mut strays) = (at + 1, at, 0, 0);
        // A whole bar without a note of the voice ends a run.
        while end < items.len() && items[end].row <= items[last].row + 1 {
            match items[end].kind {
                Kind::Different | Kind::Alien => (last, same, strays) = (end, 0, 0),
                Kind::Same if items[end].exact => same += 1,
                // Another length or octave of the same note may be chance, too.
                Kind::Same | Kind::Octave => strays += 1,
                Kind::Doubtful => {}
            }
            if same > 1 || strays > STRAYS {
                break;
            }
            end += 1;
        }
        let run = &items[at..=last];
        let first = at;
        at = last + 1;
        if run.iter().any(|i| i.kind == Kind::Alien) {
            // Alien bars stay; what hangs on to them must be unbroken.
            let (from, to) = around_alien(run);
            out.push(with_strays(items, first + from, first + to));
            continue;
        }
        let count = |kind: Kind| run.iter().filter(|i| i.kind == kind).count();
        let different = count(Kind::Different) - more_in_chords(run);
        let exact = run.iter().filter(|i| i.exact).count();
        let loose = count(Kind::Same) - exact;
        if different >= LEAST_STRETCH && different >= 3 * exact && 2 * different >= 3 * loose {
            out.push(with_strays(items, first, last + 1));
        }
    }
    out
}

/// How many notes only thicken or thin a chord of which a note has stayed.
fn more_in_chords(run: &[&Item]) -> usize {
    let surplus = |chord: &[&Item]| {
        let of = |only: fn(&Item) -> bool| chord.iter().filter(|i| i.kind == Kind::Different && only(i)).count();
        let (ours, theirs) = (of(|i| i.source.is_none()), of(|i| i.edition.is_none()));
        if chord.iter().any(|i| i.kind == Kind::Same) { ours.abs_diff(theirs) } else { 0 }
    };
    run.chunk_by(|a, b| (a.row, a.offset) == (b.row, b.offset)).map(surplus).sum()
}

/// The alien bars of a run, with the differences right before and after them.
fn around_alien(run: &[&Item]) -> (usize, usize) {
    let first = run.iter().position(|i| i.kind == Kind::Alien).expect("checked by the caller");
    let last = run.iter().rposition(|i| i.kind == Kind::Alien).expect("checked by the caller");
    let from = run[..first].iter().rposition(|i| i.exact).map_or(0, |p| p + 1);
    let to = run[last + 1..].iter().position(|i| i.exact).map_or(run.len(), |p| last + 1 + p);
    (from, to)
}

/// A run with the few notes beside it that only share a name or a pitch with the
/// other side's, in another octave or length.
fn with_strays(items: &[&Item], mut from: usize, mut to: usize) -> Vec<Item> {
    // A voice that rests for a bar has come to an end.
    let stray = |i: &Item, next: &Item| {
        matches!(i.kind, Kind::Octave | Kind::Same) && !i.exact && i.row.abs_diff(next.row) <= 1
    };
    let before = (0..from).rev().take_while(|at| stray(items[*at], items[at + 1])).count();
    let after = (to..items.len()).take_while(|at| stray(items[*at], items[at - 1])).count();
    if before <= STRAYS {
        from -= before;
    }
    if after <= STRAYS {
        to += after;
    }
    items[from..to].iter().map(|item| **item).collect()
}

/// A note that both sides have at one place and as high is neither added nor
/// left out, whatever is around it; rather one as long than one of another length.
fn pair_the_same(view: &PartView, rows: &[Row], stretch: &OtherMusic, alignment: &mut PartAlignment) {
    let mut ours: FxHashMap<(Place, i32), Vec<EditionNote>> = FxHashMap::default();
    for &e in &stretch.edition {
        ours.entry((view.edition.place(e), view.edition_height(e))).or_default().push(e);
    }
    let theirs: FxHashSet<SourceNote> = stretch.source.iter().copied().collect();
    for as_long in [true, false] {
        for row in rows[stretch.rows.iter()].iter().filter(|r| r.pair.source.is_some()) {
            let Some(bar) = row.pair.edition else { continue };
            let free = |s: &SourceNote| theirs.contains(s) && alignment.source_to_edition[*s].is_none();
            for s in row.source_notes(view.source).filter(free).collect::<Vec<_>>() {
                let offset = row.pair.to_edition(view.source[s].offset);
                let length = view.source.sounding(s) * row.pair.scale;
                let Some(there) = ours.get_mut(&(bar.at(offset), view.source_height(s))) else { continue };
                if let Some(at) = there.iter().position(|e| !as_long || view.edition.sounding(*e) == length) {
                    alignment.pair(there.remove(at), s);
                }
            }
        }
    }
}

fn bound(view: &PartView, rows: &[Row], run: Vec<Item>) -> OtherMusic {
    let (first, last) = (run[0], run[run.len() - 1]);
    let whole = |row: usize| rows[row].is_alien();
    let end = run.iter().filter(|i| i.row == last.row).map(|i| i.offset + length(view, i)).max();
    OtherMusic {
        edition: run.iter().filter_map(|i| i.edition).collect(),
        source: run.iter().filter_map(|i| i.source).collect(),
        rows: RowRange { first: first.row, last: last.row },
        from: if whole(first.row) { Time::from(0) } else { first.offset },
        to: if whole(last.row) { None } else { end.filter(|end| *end < bar_end(view, &rows[last.row])) },
        to_the_end: false,
    }
}

fn bar_end(view: &PartView, row: &Row) -> Time {
    let whole = row.pair.edition.and_then(|b| view.edition.bar(b)).map_or(Time::from(0), |b| b.length);
    row.edition_to.unwrap_or(whole)
}

fn length(view: &PartView, item: &Item) -> Time {
    let ours = item.edition.map(|n| view.edition[n].duration);
    let theirs = item.source.map(|n| view.source[n].duration);
    ours.into_iter().chain(theirs).max().unwrap_or_default()
}

/// Whether two stretches overlap, or are alien bars side by side.
fn touches(a: &OtherMusic, b: &OtherMusic, rows: &[Row]) -> bool {
    let (first, second) = if (a.rows, a.from) <= (b.rows, b.from) { (a, b) } else { (b, a) };
    if first.rows.last > second.rows.first {
        return true;
    }
    if first.rows.last == second.rows.first {
        return first.to.is_none_or(|to| to > second.from);
    }
    let side_by_side = first.rows.last + 1 == second.rows.first;
    let whole = |row: usize| rows[row].is_alien();
    side_by_side
        && first.to.is_none()
        && second.from == Time::from(0)
        && (whole(first.rows.last) || whole(second.rows.first))
}

fn merge(into: &mut OtherMusic, from: OtherMusic) {
    let first = if from.rows.first < into.rows.first { from.from } else { into.from };
    into.from = if from.rows.first == into.rows.first { into.from.min(from.from) } else { first };
    into.to = match from.rows.last.cmp(&into.rows.last) {
        std::cmp::Ordering::Less => into.to,
        std::cmp::Ordering::Greater => from.to,
        std::cmp::Ordering::Equal => into.to.zip(from.to).map(|(a, b)| a.max(b)),
    };
    into.rows = into.rows.with(from.rows);
    into.edition.extend(from.edition);
    into.source.extend(from.source);
}

/// Between two stretches a few notes may agree by chance: where less than half
/// of them are the same note in the same place, it is all one stretch.
fn join_over_islands(items: &[(Item, usize)], stretches: &mut Vec<OtherMusic>) {
    let mut at = 0;
    while at + 1 < stretches.len() {
        let (left, right) = (&stretches[at], &stretches[at + 1]);
        let after =
            |i: &Item| left.to.is_some_and(|to| i.row == left.rows.last && i.offset >= to) || i.row > left.rows.last;
        let before = |i: &Item| (i.row, i.offset) < (right.rows.first, right.from);
        // The items come in the order of time.
        let first = items.partition_point(|i| !after(&i.0));
        let island: Vec<&Item> = items[first..].iter().map(|i| &i.0).take_while(|i| before(i)).collect();
        let exact = island.iter().filter(|i| i.exact).count();
        if island.is_empty() || island.len() > LARGEST_ISLAND || 2 * exact >= island.len() {
            at += 1;
            continue;
        }
        let edition: Vec<EditionNote> = island.iter().filter_map(|i| i.edition).collect();
        let source: Vec<SourceNote> = island.iter().filter_map(|i| i.source).collect();
        let right = stretches.remove(at + 1);
        let left = &mut stretches[at];
        left.edition.extend(edition.into_iter().chain(right.edition));
        left.source.extend(source.into_iter().chain(right.source));
        left.rows.last = right.rows.last;
        left.to = right.to;
    }
}

/// A close of the editor's own may end on the same last note by chance: what
/// follows other music and is no more than one chord, or mostly something else,
/// belongs to it.
fn take_in_last_note(items: &[(Item, usize)], stretches: &mut [OtherMusic], rows: &[Row]) {
    let Some(last) = stretches.last_mut() else {
        return;
    };
    let inside = |item: &Item| {
        item.edition.is_some_and(|n| last.edition.contains(&n)) || item.source.is_some_and(|n| last.source.contains(&n))
    };
    let Some(at) = items.iter().rposition(|i| inside(&i.0)) else {
        return;
    };
    let rest = &items[at + 1..];
    // In a part that rests from there on it is not the end of the piece.
    let end = rest.last().map_or(0, |i| i.0.row).max(last.rows.last);
    if end + 1 < rows.len() {
        return;
    }
    let one_chord = rest.iter().all(|(item, _)| item.offset == rest[0].0.offset && item.row == rest[0].0.row);
    let exact = rest.iter().filter(|(item, _)| item.exact).count();
    // Nor is it one where other voices go on as in the source.
    let from = items.partition_point(|(i, _)| (i.row, i.offset) < (last.rows.first, last.from));
    let beside = items[from..].iter().filter(|(item, _)| item.exact && !inside(item)).count().saturating_sub(exact);
    if 2 * beside >= last.edition.len().max(1) {
        return;
    }
    if !one_chord && (rest.len() > LARGEST_ISLAND || 2 * exact >= rest.len()) {
        return;
    }
    if last.edition.is_empty() || (last.source.is_empty() && !rest.is_empty()) {
        // A cut, or a cadenza before the last chord.
        last.to_the_end = rest.is_empty();
        return;
    }
    last.edition.extend(rest.iter().filter_map(|i| i.0.edition));
    last.source.extend(rest.iter().filter_map(|i| i.0.source));
    last.rows.last = rows.len() - 1;
    last.to = None;
    last.to_the_end = true;
}
