//! Lines beside lines: a part, a staff of it, or a voice where staves are
//! shared. Where the two sides divide their music alike, parts are paired as
//! they are printed. Else both scores are laid beside each other as a whole,
//! and notes that meet at one place and pitch say which line is which.

use super::compared::Compared;
use super::derive::{Contents, wandering};
use super::meetings::{Meetings, Unit, meet};
use super::pairs_of_lines::{LEAST_SHARED, Made, Met, Staff, lines_left};
use super::parts::{self, Choice, Pair, Pairing, Partner};
use super::respell;
use crate::score::Score;
use std::cmp::Reverse;

/// From this share of common melodies on, a part has its source.
const WELL_MATCHED: f64 = 0.9;
/// Of two lines that belong together so much of the shorter one meets the other.
const LEAST_MET: f64 = 0.4;
/// And so much of the shorter one in whatever bars: a few bars that are alike make no counterpart.
const LEAST_OF_WHOLE: f64 = 0.2;
/// The same where no part has melodies of another in order: unrelated music has up to a third by chance.
const LEAST_WITHOUT_MELODIES: f64 = 0.5;
/// The same where the two are alone, and nothing else speaks for them.
const LEAST_ALONE: f64 = 0.45;
/// A line that follows another's source doubles so much of it at least.
const LEAST_DOUBLED: f64 = 0.75;
/// A line has no counterpart that it is so much less like than another.
const MUCH_MORE: f64 = 0.25;
/// A line that is one of several in another brings so much of its own.
const LEAST_OWN: f64 = 0.3;
/// Fewer notes than this meet by chance.
const FEWEST: usize = 3;

/// Pairs lines, after adding to both scores those that no part prints. Where
/// the user chose a line, only that is looked at.
pub fn pair_parts(edition: &mut Score, source: &mut Score, choice: Choice) -> Pairing {
    let compared = parts::compare(edition, source, choice);
    let pairing = parts::pair_compared(edition, source, choice, &compared);
    let by_notes = match is_divided_alike(edition, source, choice, &pairing) {
        true => None,
        false => by_meetings(edition, source, choice, (&pairing, compared)),
    };
    let pairing = by_notes.unwrap_or_else(|| with_wandering(edition, source, choice, pairing));
    respell::by_signatures(edition, source, pairing)
}

/// Whether parts belong to parts, and nothing is left that could be a line of one.
fn is_divided_alike(edition: &Score, source: &Score, choice: Choice, pairing: &Pairing) -> bool {
    let sounds = |score: &Score, part: &usize| score.parts[*part].struck().next().is_some();
    let staves = |p: &Pair| edition.parts[p.edition].staves == source.parts[p.source].staves;
    let weak = || pairing.pairs.iter().any(|p| p.share < WELL_MATCHED);
    let left = pairing.unmatched_source.iter().any(|p| sounds(source, p)) && choice.source.is_none();
    let more = pairing.unmatched_edition.iter().any(|p| sounds(edition, p)) || left && weak();
    !more && !pairing.pairs.is_empty() && pairing.pairs.iter().all(staves)
}

/// Adds lines that wander between two parts of the source, where they fit better.
fn with_wandering(edition: &Score, source: &mut Score, choice: Choice, pairing: Pairing) -> Pairing {
    if choice.source.is_some() || source.printed().len() < 2 {
        return pairing;
    }
    let weak = |p: &&Pair| {
        p.share < WELL_MATCHED && edition.parts[p.edition].staves <= 1 && source.parts[p.source].staves <= 1
    };
    if !pairing.pairs.iter().any(|p| weak(&p)) {
        return pairing;
    }
    let contents = Contents::of(source);
    let found: Vec<_> = pairing
        .pairs
        .iter()
        .filter(weak)
        .filter_map(|p| wandering(&edition.parts[p.edition], source, &contents, p.source, p.interval))
        .filter(|p| p.struck().next().is_some())
        .collect();
    if found.is_empty() {
        return pairing;
    }
    source.parts.extend(found);
    parts::pair(edition, source, choice)
}

fn staves(score: &Score, units: &[Unit]) -> Vec<Staff> {
    let mut out: Vec<Staff> = Vec::new();
    for (at, unit) in units.iter().enumerate() {
        // Where a part has one staff, a note on another is on that one.
        let staff = if score.parts[unit.part].staves > 1 { unit.staff } else { 1 };
        match out.iter_mut().find(|s| (s.part, s.staff) == (unit.part, staff)) {
            Some(staff) => {
                staff.units.push(at);
                staff.notes += unit.notes;
            }
            None => out.push(Staff { part: unit.part, staff, units: vec![at], notes: unit.notes }),
        }
    }
    out
}

/// The struck notes of a staff, in whatever bars.
fn all_notes(units: &[Unit], staff: &Staff) -> usize {
    staff.units.iter().map(|u| units[*u].all).sum()
}

fn by_meetings(
    edition: &mut Score,
    source: &mut Score,
    choice: Choice,
    (known, compared): (&Pairing, Compared),
) -> Option<Pairing> {
    let chosen = |part: Option<usize>, score: &Score| part.map_or((0..score.printed().len()).collect(), |p| vec![p]);
    let (editions, sources) = (chosen(choice.edition, edition), chosen(choice.source, source));
    // Lines derived before are looked at as what they are lines of.
    let compared = match compared.sources == sources {
        true => compared,
        false => Compared::new(edition, source, editions.clone(), sources.clone()),
    };
    let meetings = meet(edition, source, &compared, known)?;
    let (ours, theirs) = (staves(edition, &meetings.edition), staves(source, &meetings.source));
    let is_given = choice.edition.is_some() && choice.source.is_some();
    let partner = if is_given { Partner::Given } else { Partner::Sought };
    // Where no part has melodies of another in order, notes that meet have to tell more.
    let least = if known.pairs.is_empty() { LEAST_WITHOUT_MELODIES } else { LEAST_OF_WHOLE };
    let met = meeting_staves(edition, source, &meetings, (&ours, &theirs), least, partner);
    if met.is_empty() {
        return None;
    }
    let mut made = Made { edition, source, meetings: &meetings, ours: &ours, theirs: &theirs, pairs: Vec::new() };
    let whole = made.whole_parts(&met);
    for (a, those) in met.iter().filter(|(a, _)| !whole.iter().any(|w| w.0 == ours[*a].part)) {
        made.line(*a, those, &met);
    }
    for (ours, theirs) in whole {
        made.pair(ours, theirs);
    }
    let mut pairs = made.pairs;
    parts::pair_pitchless(edition, source, &editions, &sources, partner, &mut pairs);
    pairs.sort_by_key(|p| {
        let own = &edition.parts[p.edition];
        (own.derived_from.first().copied().unwrap_or(p.edition), own.line, p.edition)
    });
    let left = |score: &mut Score, all: &[usize], used: &[usize]| -> Vec<usize> {
        all.iter().flat_map(|part| lines_left(score, *part, used)).collect()
    };
    let (used_e, used_s): (Vec<usize>, Vec<usize>) = pairs.iter().map(|p| (p.edition, p.source)).unzip();
    // Beside one part that the user chose, the other side's other parts were not looked for.
    let unmatched_edition = if choice.source.is_some() { vec![] } else { left(edition, &editions, &used_e) };
    let unmatched_source = if choice.edition.is_some() { vec![] } else { left(source, &sources, &used_s) };
    Some(Pairing { pairs, unmatched_edition, unmatched_source })
}

/// Which staves have music in common, each of the edition's with those of the source.
fn meeting_staves(
    edition: &Score,
    source: &Score,
    meetings: &Meetings,
    (ours, theirs): (&[Staff], &[Staff]),
    least_of_whole: f64,
    partner: Partner,
) -> Vec<Met> {
    let alone = ours.len() == 1 && theirs.len() == 1;
    let least = if alone { LEAST_ALONE } else { LEAST_MET };
    // How many notes of each side's staff the other's has.
    fn units(staves: &[Staff]) -> Vec<&[usize]> {
        staves.iter().map(|s| s.units.as_slice()).collect()
    }
    let all = meetings.between_all(&units(ours), &units(theirs));
    let have = |a: usize, b: usize| all[a * theirs.len() + b];
    let mut table: Vec<(f64, usize, usize)> = Vec::new();
    for a in (0..ours.len()).filter(|a| ours[*a].notes > 0) {
        for b in (0..theirs.len()).filter(|b| theirs[*b].notes > 0) {
            let (mine, other) = have(a, b);
            let few = ours[a].notes.min(theirs[b].notes);
            let share = (mine / ours[a].notes as f64).max(other / theirs[b].notes as f64);
            let whole = all_notes(&meetings.edition, &ours[a]).min(all_notes(&meetings.source, &theirs[b]));
            let enough = mine.max(other) >= FEWEST.min(few) as f64 && mine.max(other) >= least_of_whole * whole as f64;
            if partner == Partner::Given && alone || enough && share >= least {
                table.push(((mine + other) / (ours[a].notes + theirs[b].notes) as f64, a, b));
            }
        }
    }
    let likeness = |a: usize, b: usize| {
        let (one, other) = (&edition.parts[ours[a].part], &source.parts[theirs[b].part]);
        let name = one.name.to_lowercase() != other.name.to_lowercase();
        (name, ours[a].staff.abs_diff(theirs[b].staff), ours[a].part.abs_diff(theirs[b].part), a, b)
    };
    // What is even to one in twenty, names and order settle.
    table.sort_by_key(|(share, a, b)| (Reverse((share * 20.0).round() as i64), likeness(*a, *b)));
    let mut out: Vec<Met> = Vec::new();
    let mut taken = vec![false; theirs.len()];
    // A staff that is much more like one that another has already doubles that one.
    let mut best = vec![0.0_f64; ours.len()];
    table.iter().for_each(|(share, a, _)| best[*a] = best[*a].max(*share));
    let mut met = vec![None; ours.len()];
    for (share, a, b) in &table {
        if !taken[*b] && met[*a].is_none() && share + MUCH_MORE > best[*a] {
            taken[*b] = true;
            met[*a] = Some(out.len());
            out.push((*a, vec![*b]));
        }
    }
    // A staff of the source that is one of several in the edition's.
    for (_, a, b) in &table {
        let Some(at) = met[*a].filter(|_| !taken[*b]) else { continue };
        let those = &mut out[at].1;
        let before: Vec<usize> = those.iter().flat_map(|t| theirs[*t].units.clone()).collect();
        if meetings.more_of_ours(&ours[*a].units, &before, &theirs[*b].units) >= LEAST_OWN * theirs[*b].notes as f64 {
            taken[*b] = true;
            those.push(*b);
        }
    }
    // A staff of the edition that has its own share of one of the source's, or doubles it.
    for (_, a, b) in &table {
        if met[*a].is_some() {
            continue;
        }
        let before: Vec<usize> = out.iter().filter(|m| m.1.contains(b)).flat_map(|m| ours[m.0].units.clone()).collect();
        let own = meetings.more_of_theirs(&before, &ours[*a].units, &theirs[*b].units);
        if have(*a, *b).0 >= LEAST_DOUBLED * ours[*a].notes as f64 || own >= LEAST_SHARED * theirs[*b].notes as f64 {
            met[*a] = Some(out.len());
            out.push((*a, vec![*b]));
        }
    }
    out.sort_unstable();
    out
}
