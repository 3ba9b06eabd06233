//! Which notes of two scores meet at one place, whatever part they are in.

use super::compared::Compared;
use super::parts::{self, Pairing};
use super::{Layout, PartView, bars, height};
use crate::alignment::{Edition, EditionNote, NoteOf, Side, Source, SourceNote, SourcePart, Table};
use crate::pitch::Interval;
use crate::score::{Bar, Category, Line, Note, Part, Score};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::collections::{BTreeMap, BTreeSet};

/// A voice of a staff of a part.
pub(super) struct Unit {
    pub part: usize,
    pub staff: u32,
    /// 0-based, as the part counts its voices.
    pub voice: u32,
    /// Struck notes in the bars that both sides have.
    pub notes: usize,
    /// All its struck notes.
    pub all: usize,
}

/// Two notes at one place of one pitch class, by their voices, and so many octaves from each other.
struct Meeting {
    edition: (usize, EditionNote),
    source: (usize, SourceNote),
    /// The source's note among those of all its parts.
    source_at: usize,
    octaves: i32,
    row: usize,
}

pub(super) struct Meetings {
    pub edition: Vec<Unit>,
    pub source: Vec<Unit>,
    /// From source to edition, by the least octave.
    pub interval: Interval,
    /// How many octaves more most notes move.
    octaves: i32,
    /// Those of each note of the edition together.
    all: Vec<Meeting>,
    /// How many notes the source has in them.
    source_notes: usize,
    /// For each voice of the edition those of `all` that are its, in order.
    of_unit: Vec<Vec<u32>>,
    /// For each voice of the edition the mean height of its notes.
    heights: Vec<f64>,
}

/// So many tell which line is which; of hundreds of parts each note meets hundreds.
const MOST_MEETINGS: usize = 1 << 21;
/// A voice goes with the line that has so much of it.
const USUAL_SHARE: f64 = 0.7;
/// A note in another octave tells half as much.
const OTHER_OCTAVE: f64 = 0.5;

/// Lays some parts of both scores beside each other as a whole. `None` where they share no melodies.
pub(super) fn meet(edition: &Score, source: &Score, compared: &Compared, known: &Pairing) -> Option<Meetings> {
    let (interval, likest) = parts::interval_of_all(compared)?;
    let likest = known.pairs.first().map_or(likest, |p| (p.edition, p.source));
    let mut ours: AllInOne<Edition> = AllInOne::new(edition, &compared.editions, likest.0);
    let mut theirs: AllInOne<Source> = AllInOne::new(source, &compared.sources, likest.1);
    let view = PartView::new(&edition.parts[likest.0], &source.parts[likest.1], interval);
    let scale = parts::scale(&[view]);
    let view = PartView::new(&ours.part, &theirs.part, interval);
    let (rows, _) = bars::outline(&[view], scale, Layout::Played);
    let (mut all, mut sums) = (Vec::new(), vec![0.0; ours.units.len()]);
    let both = |r: &(usize, &super::rows::Row)| r.1.pair.edition.is_some() && r.1.pair.source.is_some();
    'rows: for (index, row) in rows.iter().enumerate().filter(both) {
        let mut other: Vec<(Time, i32, usize, SourceNote, usize)> = Vec::new();
        for n in row.source_notes(view.source) {
            let note = &view.source[n];
            let unit = note.voice as usize;
            theirs.units[unit].notes += 1;
            other.push((row.pair.to_edition(note.offset), view.source_height(n), unit, theirs.note_of[n], n.index()));
        }
        other.sort_unstable();
        for n in row.edition_notes(view.edition) {
            if all.len() >= MOST_MEETINGS {
                break 'rows;
            }
            let note = &view.edition[n];
            let (unit, own) = (note.voice as usize, view.edition_height(n));
            ours.units[unit].notes += 1;
            sums[unit] += f64::from(own);
            let from = other.partition_point(|b| b.0 < note.offset);
            let here = other[from..].iter().take_while(|b| b.0 == note.offset);
            all.extend(here.filter(|b| (own - b.1) % 1200 == 0).map(|b| Meeting {
                edition: (unit, ours.note_of[n]),
                source: (b.2, b.3),
                source_at: b.4,
                octaves: (own - b.1) / 1200,
                row: index,
            }));
        }
    }
    let octaves = octave_of_lines(&all)?;
    let source_notes = theirs.part.notes.len();
    let heights = sums.iter().zip(&ours.units).map(|(sum, unit)| sum / unit.notes.max(1) as f64).collect();
    let mut of_unit = vec![Vec::new(); ours.units.len()];
    all.iter().enumerate().for_each(|(at, m)| of_unit[m.edition.0].push(at as u32));
    let (edition, source) = (ours.units, theirs.units);
    Some(Meetings { edition, source, interval, octaves, all, source_notes, of_unit, heights })
}

/// The octave by which most lines move: of each voice that of the voice it meets most often.
fn octave_of_lines(all: &[Meeting]) -> Option<i32> {
    let mut counts: BTreeMap<(usize, i32, usize), usize> = BTreeMap::new();
    all.iter().for_each(|m| *counts.entry((m.edition.0, m.octaves, m.source.0)).or_default() += 1);
    let mut best: BTreeMap<usize, (usize, i32)> = BTreeMap::new();
    for ((unit, octaves, _), count) in counts {
        let own = best.entry(unit).or_default();
        if (count, -octaves.abs()) > (own.0, -own.1.abs()) {
            *own = (count, octaves);
        }
    }
    let mut votes: BTreeMap<i32, usize> = BTreeMap::new();
    best.into_values().for_each(|(count, octaves)| *votes.entry(octaves).or_default() += count);
    votes.into_iter().max_by_key(|(octaves, count)| (*count, -octaves.abs(), *octaves)).map(|v| v.0)
}

/// The number that comes most often; of several the nearest to a usual one.
fn most(numbers: impl Iterator<Item = i32>, usual: i32) -> Option<i32> {
    let mut counts: BTreeMap<i32, usize> = BTreeMap::new();
    numbers.for_each(|n| *counts.entry(n).or_default() += 1);
    counts.into_iter().max_by_key(|(n, count)| (*count, -(n - usual).abs(), *n)).map(|c| c.0)
}

/// What a meeting tells, in the octave of most or elsewhere.
fn worth(elsewhere: bool) -> f64 {
    if elsewhere { OTHER_OCTAVE } else { 1.0 }
}

impl Meetings {
    fn worth(&self, meeting: &Meeting) -> f64 {
        worth(meeting.octaves != self.octaves)
    }

    /// The meetings of some voices of the edition.
    fn of(&self, ours: &[usize]) -> impl Iterator<Item = &Meeting> {
        // A voice that is told twice has them once.
        let once: BTreeSet<usize> = ours.iter().copied().collect();
        once.into_iter().flat_map(|unit| &self.of_unit[unit]).map(|at| &self.all[*at as usize])
    }

    /// How many notes of some voices of the edition meet some of the source's, and the other way round.
    pub fn between(&self, ours: &[usize], theirs: &[usize]) -> (f64, f64) {
        let mut other = vec![0.0_f64; self.source_notes];
        let mut mine = 0.0;
        let of_ours: Vec<&Meeting> = self.of(ours).collect();
        for of_note in of_ours.chunk_by(|a, b| a.edition == b.edition) {
            let mut best = 0.0_f64;
            for meeting in of_note.iter().filter(|m| theirs.contains(&m.source.0)) {
                let worth = self.worth(meeting);
                best = best.max(worth);
                let known = &mut other[meeting.source_at];
                *known = known.max(worth);
            }
            mine += best;
        }
        (mine, other.into_iter().sum())
    }

    /// The same for every group of the edition's voices and every group of the source's, row by row: each meeting is
    /// looked at once, however many groups there are. No voice is in two groups of one side.
    pub fn between_all(&self, ours: &[&[usize]], theirs: &[&[usize]]) -> Vec<(f64, f64)> {
        let groups_of = |units: usize, groups: &[&[usize]]| {
            let mut out = vec![None; units];
            groups.iter().enumerate().for_each(|(group, own)| own.iter().for_each(|unit| out[*unit] = Some(group)));
            out
        };
        let of_ours = groups_of(self.edition.len(), ours);
        let of_theirs = groups_of(self.source.len(), theirs);
        let mut out = vec![(0.0, 0.0); ours.len() * theirs.len()];
        let mut others: Vec<(u32, u32, u32, bool)> = Vec::new();
        let mut own: Vec<(usize, usize, bool)> = Vec::new();
        for of_note in self.all.chunk_by(|a, b| a.edition == b.edition) {
            own.clear();
            for meeting in of_note {
                let (Some(a), Some(b)) = (of_ours[meeting.edition.0], of_theirs[meeting.source.0]) else { continue };
                let elsewhere = meeting.octaves != self.octaves;
                own.push((a, b, elsewhere));
                others.push((meeting.source_at as u32, a as u32, b as u32, elsewhere));
            }
            // The best of each comes first.
            own.sort_unstable();
            own.dedup_by_key(|m| (m.0, m.1));
            own.iter().for_each(|(a, b, elsewhere)| out[a * theirs.len() + b].0 += worth(*elsewhere));
        }
        others.sort_unstable();
        others.dedup_by_key(|m| (m.0, m.1));
        others
            .iter()
            .for_each(|(_, a, b, elsewhere)| out[*a as usize * theirs.len() + *b as usize].1 += worth(*elsewhere));
        out
    }

    /// How many notes of some voices of the edition meet `more` and not `before`.
    pub fn more_of_ours(&self, ours: &[usize], before: &[usize], more: &[usize]) -> f64 {
        let met = |theirs: &[usize]| -> BTreeSet<(usize, EditionNote)> {
            let inside = |m: &&Meeting| m.octaves == self.octaves && theirs.contains(&m.source.0);
            self.of(ours).filter(inside).map(|m| m.edition).collect()
        };
        met(more).difference(&met(before)).count() as f64
    }

    /// How many notes of some voices of the source meet `more` of the edition's and not `before`, in the bars in which
    /// some of them meet these, too.
    pub fn more_of_theirs(&self, before: &[usize], more: &[usize], theirs: &[usize]) -> f64 {
        let of = |ours: &[usize]| {
            let exact = |m: &&Meeting| m.octaves == self.octaves && theirs.contains(&m.source.0);
            self.of(ours).filter(exact).collect::<Vec<_>>()
        };
        let (first, second) = (of(before), of(more));
        let rows: BTreeSet<usize> = first.iter().map(|m| m.row).collect();
        let known: BTreeSet<(usize, SourceNote)> = first.iter().map(|m| m.source).collect();
        let own = second.iter().filter(|m| rows.contains(&m.row)).map(|m| m.source);
        own.collect::<BTreeSet<_>>().difference(&known).count() as f64
    }

    /// By how many octaves, more than the interval, most notes of some voices move.
    pub fn octaves(&self, ours: &[usize], theirs: &[usize]) -> i32 {
        let inside = |m: &&Meeting| theirs.contains(&m.source.0);
        most(self.of(ours).filter(inside).map(|m| m.octaves), self.octaves).unwrap_or(self.octaves)
    }

    /// Which of several groups of the edition's voices have each note of some voices of the source. A note in which two
    /// of them meet belongs to both, unless the source has one for each; one that none has goes with its voice, or to
    /// the group that lies nearest.
    pub fn owners(&self, groups: &[&[usize]], part: SourcePart, voices: &[usize]) -> Vec<(SourceNote, Vec<usize>)> {
        let group_of = |unit: usize| groups.iter().position(|g| g.contains(&unit));
        let mut met: FxHashMap<SourceNote, BTreeSet<usize>> = FxHashMap::default();
        let mut of_group: FxHashMap<(usize, (usize, EditionNote)), BTreeSet<SourceNote>> = FxHashMap::default();
        // How often each voice of the source meets each group.
        let mut counts = vec![vec![0_usize; groups.len()]; self.source.len()];
        for m in self.all.iter().filter(|m| m.octaves == self.octaves && voices.contains(&m.source.0)) {
            if let Some(group) = group_of(m.edition.0) {
                met.entry(m.source.1).or_default().insert(group);
                of_group.entry((group, m.edition)).or_default().insert(m.source.1);
                counts[m.source.0][group] += 1;
            }
        }
        let usual = |unit: usize| {
            let all: usize = counts[unit].iter().sum();
            (0..groups.len()).find(|g| USUAL_SHARE * all as f64 <= counts[unit][*g] as f64 && all > 0)
        };
        // Where a group has another note at the same pitch, of the voice that is its own, this one is not its.
        let unit_of = |n: SourceNote| {
            let note = &part[n];
            voices.iter().copied().find(|u| (self.source[*u].staff, self.source[*u].voice) == (note.staff, note.voice))
        };
        let mut spare: FxHashSet<(usize, SourceNote)> = FxHashSet::default();
        for ((group, _), notes) in of_group.iter().filter(|(_, notes)| notes.len() > 1) {
            let likes = |n: &SourceNote| unit_of(*n).map_or(0, |u| counts[u][*group]);
            let best = notes.iter().copied().max_by_key(|n| (likes(n), std::cmp::Reverse(*n)));
            spare.extend(notes.iter().filter(|n| Some(**n) != best).map(|n| (*group, *n)));
        }
        let mean = |group: &[usize]| {
            let notes: usize = group.iter().map(|u| self.edition[*u].notes).sum();
            let sum: f64 = group.iter().map(|u| self.heights[*u] * self.edition[*u].notes as f64).sum();
            sum / notes.max(1) as f64
        };
        let means: Vec<f64> = groups.iter().map(|g| mean(g)).collect();
        let by = self.interval.plus(Interval::octaves(self.octaves));
        let owners = |n: SourceNote, unit: usize| -> Vec<usize> {
            let of_note = met.get(&n).into_iter().flatten().copied();
            let own: Vec<usize> = of_note.clone().filter(|g| !spare.contains(&(*g, n))).collect();
            if !own.is_empty() {
                return own;
            }
            let nearest = || {
                let own = f64::from(height(part.part(), n.index(), by));
                let distance = |g: &usize| (own - means[*g]).abs();
                (0..means.len()).min_by(|a, b| distance(a).total_cmp(&distance(b))).unwrap_or(0)
            };
            vec![usual(unit).or(of_note.clone().next()).unwrap_or_else(nearest)]
        };
        part.struck().filter_map(|n| Some((n, owners(n, unit_of(n)?)))).collect()
    }
}

/// The struck notes of several parts as one part; each voice of each staff is one of its voices.
struct AllInOne<S> {
    part: Part,
    units: Vec<Unit>,
    /// The note of its own part that each note is.
    note_of: Table<NoteOf<S>, NoteOf<S>>,
}

impl<S: Side> AllInOne<S> {
    /// `signs`: the part whose barlines, repeats and words to go back are those of all.
    fn new(score: &Score, parts: &[usize], signs: usize) -> AllInOne<S> {
        let longest = parts.iter().max_by_key(|p| score.parts[**p].bars.len()).expect("a score has parts");
        let frame = &score.parts[*longest];
        let structure = score.parts[signs].marks.iter().filter(|m| m.category == Category::Structure);
        let notes = parts.iter().map(|p| score.parts[*p].notes.len()).sum();
        let mut out = AllInOne {
            part: Part {
                bars: Vec::with_capacity(frame.bars.len()),
                notes: Vec::with_capacity(notes),
                marks: structure.cloned().collect(),
                line: Line::default(),
                id: frame.id.clone(),
                name: frame.name.clone(),
                staves: frame.staves,
                octave_is_told: frame.octave_is_told,
                derived_from: frame.derived_from.clone(),
                voices: frame.voices.clone(),
            },
            units: Vec::new(),
            note_of: Table::default(),
        };
        let mut note_of = Vec::new();
        for (index, bar) in frame.bars.iter().enumerate() {
            let start = out.part.notes.len();
            for &place in parts {
                let part = &score.parts[place];
                let Some(own) = part.bars.get(index) else { continue };
                for id in own.notes.clone().filter(|n| part.notes[*n].is_struck()) {
                    let note = &part.notes[id];
                    let voice = out.unit(place, note);
                    out.part.notes.push(Note { voice, tied_to: None, chord: false, ..note.clone() });
                    note_of.push(NoteOf::new(id));
                }
            }
            out.part.bars.push(Bar { notes: start..out.part.notes.len(), ..bar.clone() });
        }
        out.note_of = note_of.into_iter().collect();
        out
    }

    fn unit(&mut self, part: usize, note: &Note) -> u32 {
        let is = |u: &Unit| (u.part, u.staff, u.voice) == (part, note.staff, note.voice);
        let known = self.units.iter().position(is);
        let at = known.unwrap_or_else(|| {
            let (staff, voice) = (note.staff, note.voice);
            self.units.push(Unit { part, staff, voice, notes: 0, all: 0 });
            self.units.len() - 1
        });
        self.units[at].all += 1;
        at as u32
    }
}
