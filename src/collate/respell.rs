//! Where keys are enharmonic, signature goes to signature: bars of the source
//! whose signature the edition writes with twelve signs fewer are spelled so.

use super::parts::Pairing;
use super::{Layout, PartView, bars};
use crate::pitch::Interval;
use crate::score::{Part, Score, Sign};
use crate::time::Time;
use std::collections::{BTreeMap, BTreeSet};

/// Signs of keys that sound the same.
const ENHARMONIC: i32 = 12;

/// Adds to the source the parts that have to be spelled otherwise here and there, and pairs these.
pub(super) fn by_signatures(edition: &Score, source: &mut Score, mut pairing: Pairing) -> Pairing {
    let in_doubt = pairing.pairs.iter().any(|p| {
        let (ours, theirs) = (&edition.parts[p.edition], &source.parts[p.source]);
        differ(ours, theirs, p.interval)
    });
    if !in_doubt {
        return pairing;
    }
    let views: Vec<PartView> = pairing
        .pairs
        .iter()
        .map(|p| PartView::new(&edition.parts[p.edition], &source.parts[p.source], p.interval))
        .collect();
    let (rows, _) = bars::outline(&views, Time::from(1), Layout::Printed);
    let mut made: Vec<(usize, Part)> = Vec::new();
    for (place, view) in views.iter().enumerate() {
        let mut turns: BTreeMap<usize, i32> = BTreeMap::new();
        for row in &rows {
            let (Some(e), Some(s)) = (row.pair.edition, row.pair.source) else { continue };
            if view.edition.bar(e).is_some() && view.source.bar(s).is_some() {
                let (ours, theirs) = (view.edition.sounding_fifths(e.index()), view.source.sounding_fifths(s.index()));
                turns.insert(s.index(), turns_between(ours, theirs, view.interval));
            }
        }
        if turns.values().any(|t| *t != 0) {
            made.push((place, respelled(source, pairing.pairs[place].source, &turns)));
        }
    }
    for (place, part) in made {
        source.parts.push(part);
        pairing.pairs[place].source = source.parts.len() - 1;
    }
    pairing
}

/// Whether some signature of the one is far enough from one of the other.
fn differ(ours: &Part, theirs: &Part, by: Interval) -> bool {
    let signatures = |part: &Part| -> BTreeSet<i32> { (0..part.bars.len()).map(|b| part.sounding_fifths(b)).collect() };
    let theirs = signatures(theirs);
    signatures(ours).into_iter().any(|e| theirs.iter().any(|s| turns_between(e, *s, by) != 0))
}

/// How many times twelve signs the edition's signature has more.
fn turns_between(ours: i32, theirs: i32, by: Interval) -> i32 {
    let more = ours - theirs - by.fifths();
    let turns = (more + more.signum() * ENHARMONIC / 2) / ENHARMONIC;
    // Old signatures have one accidental fewer.
    if (more - turns * ENHARMONIC).abs() <= 1 { turns } else { 0 }
}

fn respelled(score: &Score, place: usize, turns: &BTreeMap<usize, i32>) -> Part {
    let mut out = score.parts[place].clone();
    out.derived_from = score.printed_parts_of(place);
    // Bars between go on as the one before.
    let turn = |bar: usize| turns.range(..=bar).next_back().map_or(0, |t| *t.1);
    // Twelve signs more are a letter lower at the same pitch.
    let by = |bar: usize| Interval::new(-turn(bar), 0);
    for (index, bar) in out.bars.iter_mut().enumerate() {
        bar.fifths += ENHARMONIC * turn(index);
    }
    for note in &mut out.notes {
        if let crate::score::Sound::Pitched(pitch) = &mut note.sound {
            *pitch = pitch.moved(by(note.bar));
        }
    }
    for mark in &mut out.marks {
        let own = by(mark.at.bar);
        mark.sign.move_pitches(own);
        if let Sign::Key { written, sounding } = &mut mark.sign {
            let more = ENHARMONIC * turn(mark.at.bar);
            (*written, *sounding) = (*written + more, *sounding + more);
        }
    }
    out
}
