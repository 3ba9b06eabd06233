//! A part as the one who plays it meets it: in each voice one note after another.

use crate::instrument::{Instrument, ReadAs};
use crate::pitch::{Interval, Pitch};
use crate::score::{Category, NoteId, Part};
use crate::time::Time;
use std::ops::Range;

/// Quarter notes that a grace note is given.
const GRACE: f64 = 0.125;
/// No two notes are taken to follow each other faster, in quarter notes.
const FASTEST: f64 = 0.0625;

/// The notes of one voice in order.
#[derive(Debug, Clone)]
pub struct Line {
    pub voice: u32,
    /// The notes of all events.
    pub notes: Vec<(NoteId, Pitch)>,
    pub events: Vec<Event>,
}

/// A note, or a chord that is struck at once.
#[derive(Debug, Clone)]
pub struct Event {
    /// Its notes in `Line::notes`.
    pub notes: Range<usize>,
    /// Its highest note in `Line::notes`; its fingers are this note's.
    pub top: usize,
    pub bar: usize,
    /// From the start of the part.
    pub onset: Time,
    pub end: Time,
    pub grace: bool,
    /// A grace note that belongs to the note before it.
    pub after: bool,
    /// Quarter notes since the event before it began.
    pub since: f64,
    /// A rest, a breath or a hold stands before it.
    pub after_rest: bool,
    /// It goes with the event before it: a slur or a glissando joins them, that event still
    /// sounds, or one is a grace note of the other.
    pub joined: bool,
}

impl Line {
    /// The note whose fingers are taken.
    pub fn top(&self, event: &Event) -> (NoteId, Pitch) {
        self.notes[event.top]
    }
}

/// How a part is read for an instrument: which pitches, and what its player reads.
#[derive(Debug, Clone, Copy)]
pub struct View {
    pub read_as: ReadAs,
    /// From the instrument's written to its sounding pitch.
    pub transposition: Interval,
}

impl View {
    pub fn new(read_as: ReadAs, instrument: &Instrument) -> View {
        View { read_as, transposition: instrument.transposition() }
    }

    /// What the player reads for a note.
    pub fn written(&self, part: &Part, note: NoteId) -> Option<Pitch> {
        let note = &part.notes[note];
        let pitch = note.pitch()?;
        Some(match self.read_as {
            ReadAs::Written => pitch.moved(note.transpose.inverse()),
            ReadAs::Sounding => pitch.moved(self.transposition.inverse()),
        })
    }

    /// The signature that the player reads.
    pub fn fifths(&self, part: &Part, bar: usize) -> i32 {
        match self.read_as {
            ReadAs::Written => part.bars[bar].fifths,
            ReadAs::Sounding => part.sounding_fifths(bar) - self.transposition.fifths(),
        }
    }
}

/// The voices of a part, with the pitches that `pitch` gives. Cues are left out.
pub fn lines(part: &Part, pitch: impl Fn(NoteId) -> Option<Pitch>) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for (id, note) in part.notes.iter().enumerate() {
        if note.cue || note.is_rest() || note.tied_from.is_some() {
            continue;
        }
        let Some(pitch) = pitch(id) else { continue };
        let voice = note.voice as usize;
        while lines.len() <= voice {
            lines.push(Line { voice: lines.len() as u32, notes: Vec::new(), events: Vec::new() });
        }
        let line = &mut lines[voice];
        let onset = part.onset(id);
        let end = onset + part.sounding(id);
        let at = line.notes.len();
        line.notes.push((id, pitch));
        match line.events.last_mut() {
            Some(last) if note.chord && last.onset == onset && last.grace == (note.grace > 0) => {
                last.notes.end = at + 1;
                last.end = last.end.max(end);
                if pitch.sound() > line.notes[last.top].1.sound() {
                    last.top = at;
                }
            }
            _ => line.events.push(Event {
                notes: at..at + 1,
                top: at,
                bar: note.bar,
                onset,
                end,
                grace: note.grace > 0,
                after: note.grace_after,
                since: 0.0,
                after_rest: false,
                joined: false,
            }),
        }
    }
    lines.retain(|line| !line.events.is_empty());
    for line in &mut lines {
        // Nearly always so already; a voice may be written in two goes.
        line.events.sort_by_key(|event| event.onset);
        times(line);
        joints(part, line);
    }
    lines
}

pub(super) fn times(line: &mut Line) {
    // Until when what came before sounds: of a chord some notes may be held longer.
    let mut held = Time::zero();
    for place in 1..line.events.len() {
        let [before, event] = &mut line.events[place - 1..=place] else { unreachable!("two events") };
        let led_to = before.grace && !before.after;
        held = held.max(before.end);
        event.after_rest = event.onset > held && !led_to;
        let gap = event.onset - before.onset;
        let since = gap.numer() as f64 / gap.denom() as f64;
        event.since = if before.grace || (event.grace && since <= 0.0) { GRACE } else { since.max(FASTEST) };
        event.joined = led_to || event.after || event.onset < held;
    }
}

/// Where slurs join and where breaths part.
pub(super) fn joints(part: &Part, line: &mut Line) {
    let mut place_of: Vec<(NoteId, usize)> = line
        .events
        .iter()
        .enumerate()
        .flat_map(|(place, event)| line.notes[event.notes.clone()].iter().map(move |n| (n.0, place)))
        .collect();
    place_of.sort_unstable();
    let find = |note: NoteId| {
        let found = place_of.binary_search_by_key(&part.head(note), |p| p.0).ok()?;
        Some(place_of[found].1)
    };
    // How many slurs begin less how many end there.
    let mut change = vec![0i32; line.events.len() + 1];
    for mark in &part.marks {
        match mark.category {
            _ if mark.sign.joins_notes() => {
                let ends = mark.at.note.and_then(find).zip(mark.end.and_then(|e| e.note).and_then(find));
                if let Some((from, to)) = ends.filter(|(from, to)| from < to) {
                    change[from + 1] += 1;
                    change[to + 1] -= 1;
                }
            }
            Category::Breath | Category::Fermata => {
                let next = mark
                    .at
                    .note
                    .and_then(find)
                    .and_then(|place| line.events[place + 1..].iter_mut().find(|event| !event.after));
                if let Some(next) = next {
                    next.after_rest = true;
                }
            }
            _ => {}
        }
    }
    let mut open = 0;
    for (event, change) in line.events.iter_mut().zip(change) {
        open += change;
        event.joined |= open > 0;
    }
}

/// Semitones of the smallest leap, a fourth.
pub(super) const LEAP: i32 = 5;

/// Whether a phrase may end before an event.
pub(super) fn may_part(line: &Line, place: usize) -> bool {
    let (before, event) = (&line.events[place - 1], &line.events[place]);
    if event.joined {
        return false;
    }
    event.after_rest || semitones(line.top(before).1, line.top(event).1).abs() >= LEAP
}

pub(super) fn semitones(from: Pitch, to: Pitch) -> i32 {
    Interval::between(from, to).semitones
}
