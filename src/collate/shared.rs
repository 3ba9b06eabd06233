//! What stands once for several lines belongs to each of them: tempo, rehearsal
//! marks, repeats and road words of a score to all its parts, dynamics between
//! two staves to both. A line that prints them as well has added nothing, one
//! that does not has lost nothing.

use super::derive::is_of_all;
use super::{Collation, MarkPair, PartAlignment};
use crate::pitch::Interval;
use crate::score::{Category, Element, Mark, Meaning, Part, Score};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::cell::LazyCell;

/// What a mark says.
type Saying<'s> = (Category, Meaning<'s>);
/// What is said, and when in the source's time.
type Said<'s> = FxHashMap<Saying<'s>, Vec<Time>>;

/// Marks that stand less than this apart are moved for the layout.
const LAYOUT: (i64, i64) = (1, 4);

/// Whether the same is said at a time, or hardly beside it.
fn is_said(said: &Said, (saying, time): &(Saying, Time)) -> bool {
    let near = |t: &Time| (*t).max(*time) - (*t).min(*time) < Time::new(LAYOUT.0, LAYOUT.1);
    said.get(saying).is_some_and(|times| times.iter().any(near))
}

/// Takes out of the alignments what another line of the same score has at the same time, and what another line of the
/// same part tells already.
pub(super) fn settle(edition: &Score, source: &Score, collation: &mut Collation) {
    let groups = groups(edition, source, collation);
    told_elsewhere(edition, source, collation, &groups);
    told_once(edition, source, collation);
}

/// An element of one of the documents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Printed {
    InEdition(Element),
    InSource(Element),
}

/// A mark of a staff stands in each of its voices, and one of the score in all its lines: it is told once for each part
/// of the edition, or once for all, where it has a partner if it has one anywhere.
fn told_once(edition: &Score, source: &Score, collation: &mut Collation) {
    let mut seen: FxHashSet<(Option<usize>, Printed)> = FxHashSet::default();
    // Where a mark is told, and its element.
    let key = |line: usize, mark: &Mark, printed: fn(Element) -> Printed| {
        let own = || edition.printed_part_of(line);
        let home = if is_of_all(mark.category) { None } else { Some(own()) };
        mark.elements.first().map(|element| (home, printed(*element)))
    };
    let concerns = |line: usize, mark: &Mark| is_of_all(mark.category) || !edition.parts[line].is_printed();
    let in_doubt = |alignment: &PartAlignment, p: &MarkPair| {
        let mark = match (p.edition, p.source) {
            (Some(m), None) if !p.same => alignment.edition_part(edition).mark(m),
            (None, Some(m)) => alignment.source_part(source).mark(m),
            _ => return false,
        };
        is_free(mark) && concerns(alignment.edition, mark)
    };
    // Most scores have none.
    if !collation.parts.iter().any(|a| a.marks.iter().any(|p| in_doubt(a, p))) {
        return;
    }
    for alignment in &collation.parts {
        let line = alignment.edition;
        let (ours, theirs) = (alignment.edition_part(edition), alignment.source_part(source));
        for (e, s) in alignment.marks.iter().filter_map(|p| p.edition.zip(p.source)) {
            let (mine, other) = (ours.mark(e), theirs.mark(s));
            if concerns(line, mine) {
                seen.extend(
                    [key(line, mine, Printed::InEdition), key(line, other, Printed::InSource)].into_iter().flatten(),
                );
            }
        }
    }
    for alignment in &mut collation.parts {
        let line = alignment.edition;
        let (ours, theirs) = (alignment.edition_part(edition), alignment.source_part(source));
        alignment.marks.retain(|p| {
            let (mark, printed): (&Mark, fn(Element) -> Printed) = match (p.edition, p.source) {
                (Some(m), None) if !p.same => (ours.mark(m), Printed::InEdition),
                (None, Some(m)) => (theirs.mark(m), Printed::InSource),
                _ => return true,
            };
            let told = Some(mark).filter(|m| is_free(m) && concerns(line, m)).and_then(|m| key(line, m, printed));
            told.is_none_or(|key| seen.insert(key))
        });
    }
}

fn told_elsewhere(edition: &Score, source: &Score, collation: &mut Collation, groups: &[Vec<usize>]) {
    let mut verdicts: Vec<Vec<Verdict>> = Vec::new();
    // What stands once for all has no pitches, and is the same whatever the interval.
    let wide = LazyCell::new(|| {
        let mut said: (Said, Said) = Default::default();
        let of_all = |m: &Mark| is_of_all(m.category);
        edition.printed().iter().for_each(|p| collect_edition(p, collation, of_all, &mut said.0));
        source.printed().iter().for_each(|p| collect_source(p, collation, Interval::UNISON, of_all, &mut said.1));
        said
    });
    for (index, alignment) in collation.parts.iter().enumerate() {
        let (ours, theirs) = (alignment.edition_part(edition), alignment.source_part(source));
        // Most parts have nothing that is in doubt.
        let in_doubt = |p: &MarkPair| match (p.edition, p.source) {
            (Some(m), None) => !p.same && is_free(ours.mark(m)),
            (None, Some(m)) => is_free(theirs.mark(m)),
            _ => false,
        };
        let several = edition.printed().len() + source.printed().len() > 2 || groups[index].len() > 1;
        if !several || !alignment.marks.iter().any(in_doubt) {
            verdicts.push(Vec::new());
            continue;
        }
        let mut near: (Said, Said) = Default::default();
        if groups[index].len() > 1 {
            for line in groups[index].iter().map(|g| &collation.parts[*g]) {
                for part in edition.printed_parts_of(line.edition) {
                    collect_edition(&edition.parts[part], collation, |_| true, &mut near.0);
                }
                for part in source.printed_parts_of(line.source) {
                    collect_source(&source.parts[part], collation, alignment.interval, |_| true, &mut near.1);
                }
            }
        }
        let verdict = |p: &MarkPair| match (p.edition, p.source) {
            (Some(m), None) if !p.same && is_free(ours.mark(m)) => {
                let mark = ours.mark(m);
                let Some(said) = edition_saying(mark, collation) else { return Verdict::Stays };
                let there = if is_of_all(mark.category) { &wide.1 } else { &near.1 };
                if is_said(there, &said) { Verdict::Same } else { Verdict::Stays }
            }
            (None, Some(m)) if is_free(theirs.mark(m)) => {
                let mark = theirs.mark(m);
                let there = if is_of_all(mark.category) { &wide.0 } else { &near.0 };
                let said = source_saying(mark, collation, alignment.interval);
                if is_said(there, &said) { Verdict::Elsewhere } else { Verdict::Stays }
            }
            _ => Verdict::Stays,
        };
        verdicts.push(alignment.marks.iter().map(verdict).collect());
    }
    for (alignment, verdicts) in collation.parts.iter_mut().zip(verdicts) {
        if verdicts.iter().all(|v| *v == Verdict::Stays) {
            continue;
        }
        let settled = alignment.marks.iter().zip(verdicts).filter_map(|(pair, verdict)| match verdict {
            Verdict::Stays => Some(*pair),
            Verdict::Same => Some(MarkPair { same: true, ..*pair }),
            Verdict::Elsewhere => None,
        });
        alignment.marks = settled.collect();
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Stays,
    /// The source has it, in another line.
    Same,
    /// The edition has it, in another line.
    Elsewhere,
}

/// No note carries it.
fn is_free(mark: &Mark) -> bool {
    mark.at.note.is_none() && mark.category != Category::Signature
}

/// A bar begins in all parts where it does in the longest: in one a bar may be too short.
fn source_saying<'s>(mark: &'s Mark, collation: &Collation, by: Interval) -> (Saying<'s>, Time) {
    let start = collation.source_starts.get(mark.at.bar).copied().unwrap_or_default();
    ((mark.category, mark.meaning(by)), start + mark.at.offset)
}

fn edition_saying<'s>(mark: &'s Mark, collation: &Collation) -> Option<(Saying<'s>, Time)> {
    let row = collation.edition_rows.at(mark.at.place)?;
    let pair = collation.outline[row];
    let bar = pair.source_played()?;
    let time = *collation.source_starts.get(bar.index())? + pair.to_source(mark.at.offset);
    Some(((mark.category, mark.meaning(Interval::UNISON)), time))
}

fn collect_edition<'s>(part: &'s Part, collation: &Collation, which: impl Fn(&Mark) -> bool, said: &mut Said<'s>) {
    let own = part.marks.iter().filter(|m| which(m) && is_free(m)).filter_map(|m| edition_saying(m, collation));
    own.for_each(|(saying, time)| said.entry(saying).or_default().push(time));
}

fn collect_source<'s>(
    part: &'s Part,
    collation: &Collation,
    by: Interval,
    which: impl Fn(&Mark) -> bool,
    said: &mut Said<'s>,
) {
    let own = part.marks.iter().filter(|m| which(m) && is_free(m)).map(|m| source_saying(m, collation, by));
    own.for_each(|(saying, time)| said.entry(saying).or_default().push(time));
}

/// For each alignment those whose lines stand in one part with its own, on either side.
fn groups(edition: &Score, source: &Score, collation: &Collation) -> Vec<Vec<usize>> {
    let lines: Vec<(Vec<usize>, Vec<usize>)> = collation
        .parts
        .iter()
        .map(|a| (edition.printed_parts_of(a.edition), source.printed_parts_of(a.source)))
        .collect();
    let beside = |a: &(Vec<usize>, Vec<usize>), b: &(Vec<usize>, Vec<usize>)| {
        a.0.iter().any(|p| b.0.contains(p)) || a.1.iter().any(|p| b.1.contains(p))
    };
    lines.iter().map(|own| (0..lines.len()).filter(|other| beside(own, &lines[*other])).collect()).collect()
}
