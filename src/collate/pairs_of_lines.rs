//! The pairs of lines that meetings tell of, with the lines that no part prints:
//! a staff, a voice, a share of a staff, several staves together.

use super::derive::{Contents, derive_line, share, together, wandering};
use super::meetings::{Meetings, Unit};
use super::parts::Pair;
use crate::alignment::SourcePart;
use crate::pitch::Interval;
use crate::score::{Line, Score};
use crate::time::Time;
use rustc_hash::FxHashSet;

/// A line that shares another's source has so much of it that the other has not.
pub(super) const LEAST_SHARED: f64 = 0.2;
/// Voices that go apart have so much of the one line, and none of another.
const CLEANLY: f64 = 0.8;
/// A voice that one of several lines has for itself has so much in common with it, and so much less with any other:
/// voices go in octaves, too.
const LEAST_APART: f64 = 0.5;
const MOST_OF_OTHERS: f64 = 0.85;
/// Staves of parts that else belong together may be as much rewritten.
const LEAST_REWRITTEN: f64 = 0.12;
/// In a line that is one, so few of the notes are struck together with another.
const MOST_TOGETHER: f64 = 0.05;

/// A staff of either side by its place in the table of meetings.
pub(super) struct Staff {
    pub part: usize,
    pub staff: u32,
    pub units: Vec<usize>,
    pub notes: usize,
}

/// One staff of the edition with those of the source whose music it has.
pub(super) type Met = (usize, Vec<usize>);

/// The pairs while they are being made, with the lines that they need.
pub(super) struct Made<'s> {
    pub edition: &'s mut Score,
    pub source: &'s mut Score,
    pub meetings: &'s Meetings,
    pub ours: &'s [Staff],
    pub theirs: &'s [Staff],
    pub pairs: Vec<Pair>,
}

impl Made<'_> {
    /// Parts of both sides all of whose staves belong to each other.
    pub fn whole_parts(&self, met: &[Met]) -> Vec<(usize, usize)> {
        let mut out = Vec::new();
        let parts: Vec<usize> = met.iter().map(|m| self.ours[m.0].part).collect();
        for part in sorted(parts) {
            let own: Vec<&Met> = met.iter().filter(|m| self.ours[m.0].part == part).collect();
            let theirs = sorted(own.iter().flat_map(|m| m.1.iter().map(|b| self.theirs[*b].part)).collect());
            let [from] = theirs[..] else { continue };
            let left_e: Vec<usize> = self.places(self.ours, part).filter(|a| own.iter().all(|m| m.0 != *a)).collect();
            let has = |b: &usize| own.iter().any(|m| m.1.contains(b));
            let left_s: Vec<usize> = self.places(self.theirs, from).filter(|b| !has(b)).collect();
            let several = self.places(self.ours, part).count() > 1 || self.places(self.theirs, from).count() > 1;
            // What others have as well is all of it in a part that doubles them, else a share.
            let of_other = |m: &Met| self.ours[m.0].part != part && m.1.iter().any(|b| self.theirs[*b].part == from);
            let shared = met.iter().any(of_other) && (several || !self.has_most(part, from));
            // What is left on both sides may be the same, much changed.
            let rewritten = left_e.len() == left_s.len()
                && left_e.iter().zip(&left_s).all(|(a, b)| {
                    let (mine, other) = self.meetings.between(&self.ours[*a].units, &self.theirs[*b].units);
                    mine + other >= LEAST_REWRITTEN * (self.ours[*a].notes + self.theirs[*b].notes) as f64
                });
            let straight = self.places(self.ours, part).count() == self.places(self.theirs, from).count();
            if !shared && (straight && rewritten || !several) {
                out.push((part, from));
            }
        }
        out
    }

    /// Whether a part of the edition has most of the notes of one of the source.
    fn has_most(&self, part: usize, from: usize) -> bool {
        let units = |staves: &[Staff], part: usize| -> Vec<usize> {
            self.places(staves, part).flat_map(|s| staves[s].units.clone()).collect()
        };
        let notes: usize = self.places(self.theirs, from).map(|b| self.theirs[b].notes).sum();
        let (_, met) = self.meetings.between(&units(self.ours, part), &units(self.theirs, from));
        met >= CLEANLY * notes as f64
    }

    fn places<'t>(&self, staves: &'t [Staff], part: usize) -> impl Iterator<Item = usize> + use<'t> {
        (0..staves.len()).filter(move |s| staves[*s].part == part)
    }

    /// Lays one staff of the edition beside what it has of the source.
    pub fn line(&mut self, a: usize, those: &[usize], met: &[Met]) {
        let own = &self.ours[a];
        if let [b] = those {
            let others: Vec<usize> = met.iter().filter(|m| m.0 != a && m.1 == [*b]).map(|m| m.0).collect();
            // Where both sound, each has what the other has not; else the one doubles the other.
            let shares = |other: &usize| {
                let (mine, other, staff) = (&own.units, &self.ours[*other].units, &self.theirs[*b]);
                let least = LEAST_SHARED * staff.notes as f64;
                self.meetings.more_of_theirs(mine, other, &staff.units) >= least
                    && self.meetings.more_of_theirs(other, mine, &staff.units) >= least
            };
            let mut parts_of_it: Vec<usize> = others.iter().copied().filter(shares).collect();
            let all: Vec<usize> = sorted(others.iter().copied().chain([a]).collect());
            if parts_of_it.is_empty() && self.voice_of(a, &all, &self.theirs[*b].units).is_some() {
                // They take turns, each in a voice of its own.
                parts_of_it = others;
            }
            let ours = self.staff_of_edition(a);
            let whole =
                self.meetings.between(&own.units, &self.theirs[*b].units).1 >= CLEANLY * self.theirs[*b].notes as f64;
            let theirs = self.staff_of_source(*b);
            let theirs =
                if parts_of_it.is_empty() || whole { theirs } else { self.shared_out(a, &parts_of_it, *b, theirs) };
            return self.pair(ours, theirs);
        }
        if self.is_one_line(a) {
            let (ours, theirs) = (self.staff_of_edition(a), self.staff_of_source(those[0]));
            self.pair(ours, theirs);
            let interval = self.pairs[self.pairs.len() - 1].interval;
            let contents = Contents::of(self.source);
            let found = wandering(&self.edition.parts[ours], self.source, &contents, theirs, interval);
            if let Some(line) = found {
                self.source.parts.push(line);
                self.pairs.last_mut().expect("just made").source = self.source.parts.len() - 1;
            }
            return;
        }
        if let Some(voices) = self.voices_apart(a, those) {
            for (unit, b) in voices {
                let unit = &self.meetings.edition[unit];
                let staff = Some(unit.staff).filter(|_| self.edition.parts[unit.part].staves > 1);
                let line = Line { staff, voice: Some(self.edition.parts[unit.part].voice_number(unit.voice)) };
                let ours = derive_line(self.edition, unit.part, line);
                let theirs = self.staff_of_source(b);
                self.pair(ours, theirs);
            }
            return;
        }
        let ours = self.staff_of_edition(a);
        let parts = sorted(those.iter().map(|b| self.staff_of_source(*b)).collect());
        let theirs = match parts[..] {
            [one] => one,
            _ => together(self.source, &parts),
        };
        self.pair(ours, theirs);
    }

    /// Whether hardly two notes of a staff are struck together: what it has of two parts it has one after the other.
    fn is_one_line(&self, a: usize) -> bool {
        let part = &self.edition.parts[self.ours[a].part];
        let mut onsets: Vec<Time> =
            part.struck().filter(|n| part.notes[*n].staff == self.ours[a].staff).map(|n| part.onset(n)).collect();
        onsets.sort_unstable();
        let together = onsets.windows(2).filter(|two| two[0] == two[1]).count();
        (together as f64) < MOST_TOGETHER * onsets.len() as f64
    }

    /// The voices of a staff, where each has one of the source's staves to itself.
    fn voices_apart(&self, a: usize, those: &[usize]) -> Option<Vec<(usize, usize)>> {
        let units = &self.ours[a].units;
        if units.len() != those.len() {
            return None;
        }
        let mut out = Vec::new();
        for unit in units {
            let notes = self.meetings.edition[*unit].notes as f64;
            let has = |b: &usize| {
                let (mine, other) = self.meetings.between(&[*unit], &self.theirs[*b].units);
                mine >= CLEANLY * notes && other >= CLEANLY * self.theirs[*b].notes as f64
            };
            out.push((*unit, those.iter().copied().find(|b| has(b) && out.iter().all(|(_, taken)| taken != b))?));
        }
        Some(out)
    }

    /// Of a staff of the source that several of the edition have between them, the share of one: a voice if one
    /// has it to itself, else the notes that it has, and of the others those that lie nearest.
    fn shared_out(&mut self, a: usize, others: &[usize], b: usize, derived: usize) -> usize {
        let staff = &self.theirs[b];
        let mut all = others.to_vec();
        all.push(a);
        all.sort_unstable();
        if let Some(unit) = self.voice_of(a, &all, &staff.units) {
            let voice = self.source.parts[staff.part].voice_number(self.meetings.source[unit].voice);
            let line = Line { staff: self.source.parts[derived].line.staff, voice: Some(voice) };
            return derive_line(self.source, staff.part, line);
        }
        let nth = all.iter().position(|x| *x == a).expect("one of them");
        let units: Vec<&[usize]> = all.iter().map(|x| self.ours[*x].units.as_slice()).collect();
        let whole = SourcePart::new(&self.source.parts[staff.part]);
        let owners = self.meetings.owners(&units, whole, &staff.units);
        let mine: FxHashSet<_> =
            owners.into_iter().filter(|o| o.1.contains(&nth)).map(|(note, _)| whole[note].element).collect();
        let notes: Vec<bool> = self.source.parts[derived].notes.iter().map(|n| mine.contains(&n.element)).collect();
        share(self.source, derived, |note| notes[note])
    }

    /// The voice that one of several staves of the edition has, where each has one voice of the source's staff.
    fn voice_of(&self, a: usize, all: &[usize], units: &[usize]) -> Option<usize> {
        if units.len() != all.len() {
            return None;
        }
        let mut owners: Vec<(usize, usize)> = Vec::new();
        for unit in units {
            let met = |x: &usize| self.meetings.between(&self.ours[*x].units, &[*unit]).1;
            let owner = all.iter().copied().max_by(|x, y| met(x).total_cmp(&met(y)))?;
            let others = all.iter().filter(|x| **x != owner).map(met).fold(0.0, f64::max);
            let notes = self.meetings.source[*unit].notes as f64;
            let clear = met(&owner) >= LEAST_APART * notes && others <= MOST_OF_OTHERS * met(&owner);
            if !clear || owners.iter().any(|o| o.0 == owner) {
                return None;
            }
            owners.push((owner, *unit));
        }
        owners.into_iter().find(|o| o.0 == a).map(|o| o.1)
    }

    fn staff_of_edition(&mut self, a: usize) -> usize {
        let Staff { part, staff, .. } = self.ours[a];
        let line = Line { staff: Some(staff).filter(|_| self.edition.parts[part].staves > 1), voice: None };
        derive_line(self.edition, part, line)
    }

    fn staff_of_source(&mut self, b: usize) -> usize {
        let Staff { part, staff, .. } = self.theirs[b];
        let line = Line { staff: Some(staff).filter(|_| self.source.parts[part].staves > 1), voice: None };
        derive_line(self.source, part, line)
    }

    pub fn pair(&mut self, edition: usize, source: usize) {
        let units = |score: &Score, part: usize, all: &[Unit]| -> Vec<usize> {
            let own = &score.parts[part];
            let from = score.printed_parts_of(part);
            let line = own.line;
            let inside = |u: &Unit| {
                let voice = || score.parts[u.part].voice_number(u.voice);
                from.contains(&u.part)
                    && line.staff.is_none_or(|s| s == u.staff)
                    && line.voice.is_none_or(|v| v == voice())
            };
            (0..all.len()).filter(|u| inside(&all[*u])).collect()
        };
        let ours = units(self.edition, edition, &self.meetings.edition);
        let theirs = units(self.source, source, &self.meetings.source);
        let octaves = self.meetings.octaves(&ours, &theirs);
        let interval = self.meetings.interval.plus(Interval::octaves(octaves));
        let (mine, _) = self.meetings.between(&ours, &theirs);
        let notes: usize = ours.iter().map(|u| self.meetings.edition[*u].notes).sum();
        let share = mine / notes.max(1) as f64;
        self.pairs.push(Pair { edition, source, interval, share });
    }
}

fn sorted(mut all: Vec<usize>) -> Vec<usize> {
    all.sort_unstable();
    all.dedup();
    all
}

/// What of a part is in no line that is used: all of it, staves, or voices.
pub(super) fn lines_left(score: &mut Score, part: usize, used: &[usize]) -> Vec<usize> {
    let of_part = |u: &&usize| **u == part || score.parts[**u].derived_from.contains(&part);
    let own: Vec<usize> = used.iter().filter(of_part).copied().collect();
    if own.is_empty() {
        return vec![part];
    }
    if own.contains(&part) || score.parts[part].derived_from.contains(&part) {
        return vec![];
    }
    let lines: Vec<Line> = own.iter().map(|u| score.parts[*u].line).collect();
    let whole = &score.parts[part];
    let mut left: Vec<Line> = Vec::new();
    for note in whole.struck().map(|n| &whole.notes[n]) {
        if lines.iter().any(|l| l.holds(whole, note)) || left.iter().any(|l| l.holds(whole, note)) {
            continue;
        }
        let staff = Some(note.staff).filter(|_| whole.staves > 1);
        let of_voices = lines.iter().any(|l| l.voice.is_some() && l.staff.is_none_or(|s| Some(s) == staff));
        left.push(Line { staff, voice: Some(whole.voice_number(note.voice)).filter(|_| of_voices) });
    }
    left.into_iter().map(|line| derive_line(score, part, line)).collect()
}
