//! Octave changes that a musician would make where music leaves a range: whole
//! phrases, between rests or at leaps, never inside a slur or a step.
//!
//! The weights are our own proposal; docs/keys.md tells them.

use super::line::{Event, Line, lines, may_part, semitones};
use super::together::together;
use crate::instrument::{Range, ReadAs};
use crate::pitch::Interval;
use crate::score::{NoteId, Part};

/// Octaves that a phrase may go either way.
const FAR: i32 = 2;
const SHIFTS: usize = 2 * FAR as usize + 1;
/// Notes of the shortest figure of a sequence.
const FIGURE: usize = 3;

/// Points that the choice weighs.
const OUTSIDE: f64 = 60.0;
const MOVED: f64 = 1.0;
const AT_REST: f64 = 0.5;
const AT_LEAP: f64 = 6.0;
/// For each semitone beyond an octave that a changed seam leaps.
const WIDE: f64 = 0.5;
/// A leap that would vanish into a repeated note.
const FLAT: f64 = 3.0;
const UNALIKE: f64 = 40.0;

/// What should go to another octave so that a part fits a range.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Proposal {
    /// In the order of the part.
    pub moves: Vec<Move>,
    /// Notes outside the range before.
    pub outside: usize,
    /// Notes still outside after all moves.
    pub left: usize,
    /// In points; 0 where nothing is outside.
    pub cost: f64,
}

/// Notes that go to another octave together, of all voices that sound there.
#[derive(Debug, Clone, PartialEq)]
pub struct Move {
    /// The first voice of the part.
    pub voice: u32,
    /// Struck and grace notes, in order; what is tied to one goes with it.
    pub notes: Vec<NoteId>,
    /// 1 is an octave up.
    pub octaves: i32,
    pub below: usize,
    pub above: usize,
    /// How many are outside after the move.
    pub left: usize,
    pub begins: Seam,
    pub ends: Seam,
}

/// Where a moved phrase is parted from the music beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seam {
    /// The first or the last note of the part.
    Edge,
    /// A rest, a breath or a hold.
    Rest,
    /// The interval between the notes on both sides, before and after the move.
    Leap {
        /// As it was.
        was: Interval,
        /// As it would be.
        becomes: Interval,
    },
}

/// Octave changes for a part that is moved by an interval and should fit a
/// range. `range` is compared with sounding or, with `ReadAs::Written`, with
/// written pitches.
pub fn propose(part: &Part, read_as: ReadAs, interval: Interval, range: &Range) -> Proposal {
    let lines = lines(part, |id| {
        let note = &part.notes[id];
        let pitch = note.pitch()?;
        Some(match read_as {
            ReadAs::Sounding => pitch,
            ReadAs::Written => pitch.moved(note.transpose.inverse()),
        })
    });
    together(part, &lines).map_or(Proposal::default(), |line| of_line(&line, &Phrases::of(&line), interval, range).0)
}

/// Where a line may be parted, and which of its pieces are alike.
#[derive(Debug, Clone)]
pub(super) struct Phrases {
    /// First events of the pieces.
    starts: Vec<usize>,
    /// For each piece, whether it repeats the figure of the one before it.
    alike: Vec<bool>,
}

impl Phrases {
    pub(super) fn of(line: &Line) -> Phrases {
        let parts = |place: &usize| *place == 0 || may_part(line, *place);
        let starts: Vec<usize> = (0..line.events.len()).filter(parts).collect();
        let mut out = Phrases { alike: vec![false; starts.len()], starts };
        for piece in 1..out.starts.len() {
            out.alike[piece] = is_figure_again(line, out.events(line, piece - 1), out.events(line, piece));
        }
        out
    }

    fn events<'l>(&self, line: &'l Line, piece: usize) -> &'l [Event] {
        let end = self.starts.get(piece + 1).copied().unwrap_or(line.events.len());
        &line.events[self.starts[piece]..end]
    }
}

/// The same steps in the same rhythm, on whatever degree.
fn is_figure_again(line: &Line, one: &[Event], other: &[Event]) -> bool {
    let shape = |events: &[Event]| {
        let (onset, place) = (events[0].onset, line.top(&events[0]).1.staff_place());
        let of = |e: &Event| (e.onset - onset, e.grace, line.top(e).1.staff_place() - place);
        events.iter().map(of).collect::<Vec<_>>()
    };
    one.len() >= FIGURE && one.len() == other.len() && shape(one) == shape(other)
}

/// The proposal for a line, and the octaves of each of its events (empty
/// where nothing moves).
pub(super) fn of_line(line: &Line, phrases: &Phrases, interval: Interval, range: &Range) -> (Proposal, Vec<i32>) {
    let judge = Judge::new(line, phrases, interval, range);
    let outside: usize = judge.outside.iter().map(|o| o[FAR as usize]).sum();
    if outside == 0 {
        return (Proposal::default(), Vec::new());
    }
    let (shifts, cost) = judge.cheapest();
    let left = judge.outside.iter().zip(&shifts).map(|(o, s)| o[(s + FAR) as usize]).sum();
    let mut octaves = vec![0; line.events.len()];
    let mut moves = Vec::new();
    let mut piece = 0;
    while piece < shifts.len() {
        let end = (piece..shifts.len()).find(|p| shifts[*p] != shifts[piece]).unwrap_or(shifts.len());
        if shifts[piece] != 0 {
            moves.push(judge.make_move(piece..end, &shifts));
            let last = phrases.starts.get(end).copied().unwrap_or(line.events.len());
            octaves[phrases.starts[piece]..last].fill(shifts[piece]);
        }
        piece = end;
    }
    (Proposal { moves, outside, left, cost }, octaves)
}

struct Judge<'a> {
    line: &'a Line,
    phrases: &'a Phrases,
    interval: Interval,
    /// Limits in hundredths of a semitone.
    limits: (i32, i32),
    /// For each piece how many notes are outside with each shift.
    outside: Vec<[usize; SHIFTS]>,
    /// Whether a piece has notes below the range: these are never lowered.
    dips: Vec<bool>,
}

impl<'a> Judge<'a> {
    fn new(line: &'a Line, phrases: &'a Phrases, interval: Interval, range: &Range) -> Self {
        let limits = (range.lowest.sound(), range.highest.sound());
        let count = |piece: usize| {
            let mut outside = [0; SHIFTS];
            for event in phrases.events(line, piece) {
                for (_, pitch) in &line.notes[event.notes.clone()] {
                    let sound = pitch.sound() + 100 * interval.semitones;
                    for (shift, outside) in outside.iter_mut().enumerate() {
                        let moved = sound + 1200 * (shift as i32 - FAR);
                        *outside += usize::from(moved < limits.0 || moved > limits.1);
                    }
                }
            }
            outside
        };
        let dips = |piece: usize| {
            let notes = phrases.events(line, piece).iter().flat_map(|e| &line.notes[e.notes.clone()]);
            notes.into_iter().any(|n| n.1.sound() + 100 * interval.semitones < limits.0)
        };
        let pieces = 0..phrases.starts.len();
        let outside = pieces.clone().map(count).collect();
        Judge { line, phrases, interval, limits, outside, dips: pieces.map(dips).collect() }
    }

    /// The shift of each piece that costs least together, and what it costs.
    fn cheapest(&self) -> (Vec<i32>, f64) {
        let pieces = self.outside.len();
        let own = |piece: usize, shift: usize| {
            if self.dips[piece] && shift < FAR as usize {
                return f64::INFINITY;
            }
            let octaves = (shift as i32 - FAR).abs();
            let notes = self.phrases.events(self.line, piece).len();
            OUTSIDE * self.outside[piece][shift] as f64 + MOVED * f64::from(octaves) * notes as f64
        };
        let mut costs: [f64; SHIFTS] = std::array::from_fn(|shift| own(0, shift));
        let mut came: Vec<[usize; SHIFTS]> = Vec::with_capacity(pieces);
        for piece in 1..pieces {
            let mut from = [0; SHIFTS];
            let next = std::array::from_fn(|shift| {
                let through = |before: usize| costs[before] + self.seam_cost(piece, before, shift);
                // Of equal ways the one that does not change.
                let mut best = (through(shift), shift);
                for before in 0..SHIFTS {
                    let cost = through(before);
                    if cost < best.0 {
                        best = (cost, before);
                    }
                }
                from[shift] = best.1;
                best.0 + own(piece, shift)
            });
            came.push(from);
            costs = next;
        }
        let rest = FAR as usize;
        let mut last = (0..SHIFTS).fold(rest, |best, s| if costs[s] < costs[best] { s } else { best });
        let cost = costs[last];
        let mut shifts = vec![last as i32 - FAR];
        for from in came.iter().rev() {
            last = from[last];
            shifts.push(last as i32 - FAR);
        }
        shifts.reverse();
        (shifts, cost)
    }

    /// The notes on both sides of the seam before a piece.
    fn beside(&self, piece: usize) -> (&Event, &Event) {
        let start = self.phrases.starts[piece];
        (&self.line.events[start - 1], &self.line.events[start])
    }

    fn seam_cost(&self, piece: usize, before: usize, shift: usize) -> f64 {
        if before == shift {
            return 0.0;
        }
        let (a, b) = self.beside(piece);
        let leap = semitones(self.line.top(a).1, self.line.top(b).1) + 12 * (shift as i32 - before as i32);
        let wide = WIDE * f64::from((leap.abs() - 12).max(0));
        let flat = if leap == 0 && !b.after_rest { FLAT } else { 0.0 };
        let unalike = if self.phrases.alike[piece] { UNALIKE } else { 0.0 };
        unalike + flat + if b.after_rest { AT_REST + wide / 2.0 } else { AT_LEAP + wide }
    }

    fn seam(&self, piece: usize, shifts: &[i32]) -> Seam {
        if piece == 0 || piece == shifts.len() {
            return Seam::Edge;
        }
        let (a, b) = self.beside(piece);
        if b.after_rest {
            return Seam::Rest;
        }
        let was = Interval::between(self.line.top(a).1, self.line.top(b).1);
        Seam::Leap { was, becomes: was.plus(Interval::octaves(shifts[piece] - shifts[piece - 1])) }
    }

    fn make_move(&self, pieces: std::ops::Range<usize>, shifts: &[i32]) -> Move {
        let octaves = shifts[pieces.start];
        let events = pieces.clone().flat_map(|p| self.phrases.events(self.line, p));
        let mut notes: Vec<(NoteId, i32)> = events
            .flat_map(|event| &self.line.notes[event.notes.clone()])
            .map(|(id, pitch)| (*id, pitch.sound() + 100 * self.interval.semitones))
            .collect();
        notes.sort_unstable();
        let count = |is: &dyn Fn(i32) -> bool| notes.iter().filter(|n| is(n.1)).count();
        let (lowest, highest) = self.limits;
        let moved = |sound: i32| sound + 1200 * octaves;
        Move {
            voice: self.line.voice,
            octaves,
            below: count(&|sound| sound < lowest),
            above: count(&|sound| sound > highest),
            left: count(&|sound| moved(sound) < lowest || moved(sound) > highest),
            begins: self.seam(pieces.start, shifts),
            ends: self.seam(pieces.end, shifts),
            notes: notes.into_iter().map(|n| n.0).collect(),
        }
    }
}
