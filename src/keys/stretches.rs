//! The stretches of a part that will hurt, why, and how slowly to begin.

use super::beat::BeatsPerMinute;
use super::effort::Effort;
use super::fingerings::Chart;
use super::line::{LEAP, Line, semitones};
use super::measure::{Fingers, difficulty, plain_scale};
use super::tempo::Tempo;
use crate::pitch::Pitch;
use crate::score::{NoteId, Part};
use crate::time::Time;

/// Nobody begins slower than with so many beats a minute.
const SLOWEST: f64 = 30.0;
/// Fewer changes are no stretch.
const FEWEST: usize = 2;
/// More are not looked at in one stretch, however many a file puts into half a bar.
const LONGEST: usize = 64;

/// A stretch of one voice, about half a bar long.
#[derive(Debug, Clone)]
pub struct HardStretch {
    /// From the note that is left first to the one that is reached last.
    pub first: NoteId,
    pub last: NoteId,
    /// First notes of where the same comes again.
    pub again: Vec<NoteId>,
    /// Points per second at the given tempo.
    pub difficulty: f64,
    /// The tempo to begin at: as hard as the median bar or a plain scale there, whichever is harder; never above `tempo`.
    pub start: BeatsPerMinute,
    /// The tempo of the piece in the same beats.
    pub tempo: BeatsPerMinute,
    /// That would be slower than anybody begins.
    pub lies_badly: bool,
    /// What its points are made of.
    pub effort: Effort,
    pub forks: usize,
    pub half_holes: usize,
    pub high: usize,
    pub registers: usize,
    /// Fourths and more from note to note.
    pub leaps: usize,
    pub notes: usize,
    /// The hardest single change, as the player reads it.
    pub worst: (Pitch, Pitch),
    /// Notes without a true fingering, as the player reads them.
    pub untrue: Vec<Pitch>,
}

struct Candidate {
    line: usize,
    /// Changes, by the events they come to.
    changes: std::ops::Range<usize>,
    difficulty: f64,
}

/// The hardest stretches that do not overlap, the hardest first; none that is
/// no harder than `usual`, the difficulty of the median bar.
pub fn hardest(
    part: &Part,
    chart: Option<&Chart>,
    lines: &[(&Line, &Fingers)],
    tempo: &Tempo,
    usual: f64,
    most: usize,
) -> Vec<HardStretch> {
    // What is no harder than a scale needs no slower tempo, however easy the rest of the part is.
    let easy = usual.max(plain_scale(chart));
    let mut candidates = Vec::new();
    for (place, (line, fingers)) in lines.iter().enumerate() {
        windows(part, place, line, fingers, tempo, &mut candidates);
    }
    candidates.retain(|c| c.difficulty > usual);
    candidates.sort_by(|a, b| b.difficulty.total_cmp(&a.difficulty));
    let mut taken: Vec<Vec<bool>> = lines.iter().map(|(line, _)| vec![false; line.events.len()]).collect();
    let mut out: Vec<(HardStretch, Vec<(Time, i32)>)> = Vec::new();
    for candidate in candidates {
        let (line, fingers) = &lines[candidate.line];
        let own = &mut taken[candidate.line][candidate.changes.clone()];
        if own.iter().any(|t| *t) {
            continue;
        }
        let figure = figure(line, &candidate);
        if let Some((known, _)) = out.iter_mut().find(|(_, other)| *other == figure) {
            own.fill(true);
            known.again.push(line.top(&line.events[candidate.changes.start - 1]).0);
        } else if out.len() < most {
            own.fill(true);
            let first = &line.events[candidate.changes.start - 1];
            let tempo = tempo.in_bar(part, first.bar);
            let start = start(tempo, easy / candidate.difficulty);
            out.push((stretch(chart, line, fingers, &candidate, (start, tempo)), figure));
        }
    }
    let mut out: Vec<HardStretch> = out.into_iter().map(|o| o.0).collect();
    for stretch in &mut out {
        stretch.again.sort_unstable();
    }
    out
}

/// Some share of a tempo in whole beats, and whether nobody would begin so slowly.
fn start(tempo: BeatsPerMinute, share: f64) -> (BeatsPerMinute, bool) {
    let wanted = tempo.per_minute * share.min(1.0);
    let per_minute = wanted.floor().max(SLOWEST);
    (BeatsPerMinute { per_minute, ..tempo }, wanted < SLOWEST)
}

/// For each note what begins there and is half a bar long, or at least a beat.
fn windows(part: &Part, place: usize, line: &Line, fingers: &Fingers, tempo: &Tempo, out: &mut Vec<Candidate>) {
    let events = &line.events;
    let (mut end, mut load) = (1, 0.0);
    for first in 0..events.len() {
        let meter = part.bars[events[first].bar].meter;
        let length = (meter.bar / Time::from(2)).max(meter.beat);
        // The window holds the changes after its first note.
        end = end.max(first + 1);
        while end < events.len() && end - first <= LONGEST && events[end].onset <= events[first].onset + length {
            load += fingers.load[end];
            end += 1;
        }
        if end - first > FEWEST && load > 0.0 {
            let quarters = length.numer() as f64 / length.denom() as f64;
            let difficulty = difficulty(load, quarters, tempo.quarters_per_second());
            out.push(Candidate { line: place, changes: first + 1..end, difficulty });
        }
        if first + 1 < end {
            load = f64::max(load - fingers.load[first + 1], 0.0);
        }
    }
}

/// The music itself: when each note comes, and its sound.
fn figure(line: &Line, candidate: &Candidate) -> Vec<(Time, i32)> {
    let events = &line.events[candidate.changes.start - 1..candidate.changes.end];
    events.iter().map(|e| (e.onset - events[0].onset, line.top(e).1.sound())).collect()
}

/// The events of a voice from one note to another, if it has both.
pub fn events(line: &Line, ends: [NoteId; 2]) -> Option<(usize, usize)> {
    let find = |note: NoteId| line.events.iter().position(|e| line.notes[e.notes.clone()].iter().any(|n| n.0 == note));
    let [first, last] = ends.map(find);
    first.zip(last).filter(|(first, last)| first < last)
}

/// A stretch that somebody names.
pub fn named(
    part: &Part,
    chart: Option<&Chart>,
    lines: &[(&Line, &Fingers)],
    tempo: &Tempo,
    usual: f64,
    ends: [NoteId; 2],
) -> Option<HardStretch> {
    let find = |place: usize| Some((place, events(lines[place].0, ends)?));
    let (place, (from, to)) = (0..lines.len()).find_map(find)?;
    let (line, fingers) = &lines[place];
    let length = line.events[to].onset - line.events[from].onset;
    let quarters = length.numer() as f64 / length.denom() as f64;
    let load = fingers.load[from + 1..=to].iter().sum();
    let difficulty = difficulty(load, quarters, tempo.quarters_per_second());
    let tempo = tempo.in_bar(part, line.events[from].bar);
    let easy = usual.max(plain_scale(chart));
    let share = if difficulty > 0.0 { easy / difficulty } else { 1.0 };
    let candidate = Candidate { line: place, changes: from + 1..to + 1, difficulty };
    Some(stretch(chart, line, fingers, &candidate, (start(tempo, share), tempo)))
}

fn stretch(
    chart: Option<&Chart>,
    line: &Line,
    fingers: &Fingers,
    candidate: &Candidate,
    ((start, lies_badly), tempo): ((BeatsPerMinute, bool), BeatsPerMinute),
) -> HardStretch {
    let changes = candidate.changes.clone();
    let top = |event: usize| line.top(&line.events[event]);
    let hardest =
        changes.clone().fold(changes.start, |best, e| if fingers.load[e] > fingers.load[best] { e } else { best });
    let mut out = HardStretch {
        first: top(changes.start - 1).0,
        last: top(changes.end - 1).0,
        again: Vec::new(),
        difficulty: candidate.difficulty,
        start,
        tempo,
        // Only fingerings can tell.
        lies_badly: lies_badly && chart.is_some(),
        effort: Effort::default(),
        forks: 0,
        half_holes: 0,
        high: 0,
        registers: 0,
        worst: (top(hardest - 1).1, top(hardest).1),
        leaps: changes.clone().filter(|e| semitones(top(*e - 1).1, top(*e).1).abs() >= LEAP).count(),
        notes: changes.len() + 1,
        untrue: Vec::new(),
    };
    let Some(chart) = chart else { return out };
    for event in changes {
        let effort = fingers.effort(chart, event);
        out.effort += effort;
        out.forks += usize::from(effort.forks > 0.0);
        out.half_holes += usize::from(effort.half_holes > 0.0);
        out.high += usize::from(effort.high > 0.0);
        out.registers += usize::from(effort.register > 0.0);
        if effort.bell > 0.0 {
            out.untrue.push(top(event).1);
        }
    }
    out
}
