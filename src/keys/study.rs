//! A part on an instrument: where it lies and how hard, as it stands and in
//! every key.

use super::fingering::Fingering;
use super::fingerings::Chart;
use super::line::{Event, Line, View, lines};
use super::measure::{self, Fingers};
use super::phrases::{self, Phrases, Proposal};
use super::stretches::{self, HardStretch};
use super::together::together;
use super::{choice, tempo::Tempo};
use crate::instrument::{Instrument, Range};
use crate::pitch::{Interval, Pitch, key_alter};
use crate::score::{NoteId, Part};
use crate::time::Time;
use std::cell::OnceCell;

/// One note in so many lies in the top register, where that counts.
const HIGH: usize = 6;

/// A note of a stretch, and how it is fingered.
#[derive(Debug, Clone)]
pub struct Fingered {
    pub note: NoteId,
    /// As the player reads it.
    pub pitch: Pitch,
    /// From the start of the part.
    pub onset: Time,
    pub end: Time,
    pub is_grace: bool,
    /// A grace note that belongs to the note before it.
    pub is_after: bool,
    /// Where the instrument has a table that has the note.
    pub fingering: Option<Fingering>,
}

/// A part read for an instrument, so that many keys can be tried.
pub struct Study<'a> {
    part: &'a Part,
    instrument: &'a Instrument,
    chart: Option<(&'a Chart, Pitch)>,
    view: View,
    tempo: &'a Tempo,
    lines: Vec<Line>,
    /// All voices as one, with its phrases.
    whole: Option<(Line, Phrases)>,
    /// Fifths of the signature that the player reads in each bar.
    fifths: Vec<i32>,
    /// Quarter notes of each bar in which the part plays, 0 of the others.
    playing: Vec<f64>,
    /// Of the part as it stands, once somebody asks: of each line its fingers, and the difficulty of the median bar.
    fingers: OnceCell<(Vec<Fingers>, f64)>,
}

/// The part moved by an interval, and to other octaves where it leaves the range.
#[derive(Debug, Clone)]
pub struct Trial {
    /// From the part as it stands to the part in this key.
    pub interval: Interval,
    /// What the player reads: bar and fifths of each signature.
    pub signatures: Vec<(usize, i32)>,
    /// Lowest and highest note, written, before any octave change.
    pub compass: Option<[(NoteId, Pitch); 2]>,
    pub notes: usize,
    pub proposal: Proposal,
    /// Notes still outside, written.
    pub left: Vec<(NoteId, Pitch)>,
    /// Notes in the highest quarter of the range.
    pub top_register: usize,
    /// Notes that are not as the signature has them.
    pub accidentals: usize,
    /// Notes that are sharp or flat, by the signature or by an accidental.
    pub sharp_or_flat: usize,
    /// `None` without a table of fingerings.
    pub fingers: Option<Handling>,
}

/// How a trial lies under the fingers, octave changes made.
#[derive(Debug, Clone, Default)]
pub struct Handling {
    pub forked: usize,
    pub half_holes: usize,
    pub pinched: usize,
    /// Notes without a true fingering, written.
    pub untrue: Vec<(NoteId, Pitch)>,
    /// Points per second.
    pub difficulty: f64,
    /// The same of each bar; 0 where the part rests.
    pub bars: Vec<f64>,
}

/// The lowest semitone of the highest quarter of a range, in hundredths.
fn top_register(range: &Range) -> i32 {
    let size = (range.highest.sound() - range.lowest.sound()) / 100;
    range.highest.sound() - size / 4 * 100 + 100
}

/// One player has one voice at a time; of two in a bar the harder counts.
fn take_harder(loads: &mut [f64], line: &Line, fingers: &Fingers) {
    let events: Vec<_> = line.events.iter().zip(&fingers.load).collect();
    for bar in events.chunk_by(|a, b| a.0.bar == b.0.bar) {
        let load = bar.iter().map(|(_, load)| **load).sum();
        let known = &mut loads[bar[0].0.bar];
        *known = known.max(load);
    }
}

impl<'a> Study<'a> {
    /// A part as `view` reads it. The fingers are measured where the chart is
    /// the instrument's.
    pub fn new(
        part: &'a Part,
        instrument: &'a Instrument,
        view: View,
        chart: &'a Chart,
        tempo: &'a Tempo,
    ) -> Study<'a> {
        let lines = lines(part, |note| view.written(part, note));
        let whole = together(part, &lines).map(|line| {
            let phrases = Phrases::of(&line);
            (line.into_owned(), phrases)
        });
        let mut playing = vec![0.0; part.bars.len()];
        for event in lines.iter().flat_map(|l| &l.events) {
            let length = part.bars[event.bar].length;
            playing[event.bar] = length.numer() as f64 / length.denom() as f64;
        }
        Study {
            part,
            instrument,
            chart: chart.lowest(instrument).map(|lowest| (chart, lowest)),
            view,
            tempo,
            lines,
            whole,
            fifths: (0..part.bars.len()).map(|bar| view.fifths(part, bar)).collect(),
            playing,
            fingers: OnceCell::new(),
        }
    }

    pub fn has_fingerings(&self) -> bool {
        self.chart.is_some()
    }

    /// The lowest note of the highest quarter of the range, as it is written.
    pub fn top_register(&self) -> Pitch {
        let lowest = top_register(&self.instrument.written);
        // Spelled without a sign where it can be.
        let low = self.instrument.written.lowest;
        let up = choice::simplest((lowest - low.sound()) / 100, &[(0, 1)]);
        low.moved(up)
    }

    /// Every transposition from an octave down to an octave up.
    pub fn trials(&self) -> Vec<Trial> {
        let mut signatures: Vec<(i32, usize)> = Vec::new();
        for (bar, fifths) in self.fifths.iter().enumerate() {
            let notes = self.part.struck_in(bar).count();
            match signatures.iter_mut().find(|s| s.0 == *fifths) {
                Some(known) => known.1 += notes,
                None => signatures.push((*fifths, notes)),
            }
        }
        (-12..=12).map(|semitones| self.trial(choice::simplest(semitones, &signatures))).collect()
    }

    /// The octave changes in a key, and the octaves of each note of the part (empty where nothing moves).
    fn propose(&self, interval: Interval, proposal: &mut Proposal) -> Vec<i32> {
        let Some((line, phrases)) = &self.whole else { return Vec::new() };
        let (own, octaves) = phrases::of_line(line, phrases, interval, &self.instrument.written);
        *proposal = own;
        let mut out = if octaves.is_empty() { Vec::new() } else { vec![0; self.part.notes.len()] };
        for (event, octaves) in line.events.iter().zip(octaves) {
            line.notes[event.notes.clone()].iter().for_each(|n| out[n.0] = octaves);
        }
        out
    }

    pub fn trial(&self, interval: Interval) -> Trial {
        let range = &self.instrument.written;
        let top = top_register(range);
        let turn = interval.fifths();
        let mut trial = Trial {
            interval,
            signatures: self.signatures(turn),
            compass: None,
            notes: 0,
            proposal: Proposal::default(),
            left: Vec::new(),
            top_register: 0,
            accidentals: 0,
            sharp_or_flat: 0,
            fingers: self.chart.map(|_| Handling::default()),
        };
        let mut loads = vec![0.0_f64; self.part.bars.len()];
        let octaves = self.propose(interval, &mut trial.proposal);
        for line in &self.lines {
            let octave = |event: usize| {
                let note = line.notes[line.events[event].notes.start].0;
                octaves.get(note).copied().unwrap_or(0)
            };
            for (place, event) in line.events.iter().enumerate() {
                let signature = self.fifths[event.bar] + turn;
                for (id, pitch) in &line.notes[event.notes.clone()] {
                    let plain = pitch.moved(interval);
                    trial.widen(*id, plain);
                    trial.notes += 1;
                    trial.accidentals += usize::from(plain.alter != key_alter(signature, plain.step));
                    trial.sharp_or_flat += usize::from(plain.alter != 0);
                    let sound = plain.sound() + 1200 * octave(place);
                    trial.top_register += usize::from(sound >= top && sound <= range.highest.sound());
                    if sound < range.lowest.sound() || sound > range.highest.sound() {
                        trial.left.push((*id, plain.moved(Interval::octaves(octave(place)))));
                    }
                }
            }
            if let (Some((chart, lowest)), Some(handling)) = (self.chart, &mut trial.fingers) {
                let semitones = |place: usize| {
                    let pitch = line.top(&line.events[place]).1;
                    (pitch.sound() - lowest.sound()).div_euclid(100) + interval.semitones + 12 * octave(place)
                };
                let n: Vec<i32> = (0..line.events.len()).map(semitones).collect();
                let fingers = measure::finger(line, chart, &n);
                take_harder(&mut loads, line, &fingers);
                for (place, fingering) in fingers.chosen.iter().enumerate() {
                    let Some(fingering) = fingering.map(|f| chart.fingering(f)) else { continue };
                    handling.forked += usize::from(fingering.is_forked());
                    handling.half_holes += usize::from(fingering.has_half_hole());
                    handling.pinched += usize::from(fingering.is_pinched());
                    if fingering.bell {
                        let (id, pitch) = line.top(&line.events[place]);
                        handling.untrue.push((id, pitch.moved(interval).moved(Interval::octaves(octave(place)))));
                    }
                }
            }
        }
        trial.left.sort_by_key(|l| l.0);
        if let Some(handling) = &mut trial.fingers {
            handling.untrue.sort_by_key(|u| u.0);
            handling.difficulty = self.difficulty(loads.iter().sum(), self.playing.iter().sum());
            handling.bars = loads.iter().zip(&self.playing).map(|(load, time)| self.difficulty(*load, *time)).collect();
        }
        trial
    }

    /// The hardest stretches of the part as it stands, the hardest first; `None`
    /// without a table of fingerings.
    pub fn hardest(&self, most: usize) -> Option<Vec<HardStretch>> {
        self.chart.map(|_| self.to_practise(most))
    }

    /// The same, or without a table of fingerings the stretches with most to do.
    pub fn to_practise(&self, most: usize) -> Vec<HardStretch> {
        let (hands, usual) = self.hands();
        stretches::hardest(self.part, self.chart.map(|c| c.0), &hands, self.tempo, usual, most)
    }

    /// A stretch that somebody names, from one struck note to another of its voice; `None` where it is less than two
    /// notes.
    pub fn named(&self, first: NoteId, last: NoteId) -> Option<HardStretch> {
        let (hands, usual) = self.hands();
        stretches::named(self.part, self.chart.map(|c| c.0), &hands, self.tempo, usual, [first, last])
    }

    /// The notes of a stretch in order, of chords the highest, with the fingerings that are taken for them.
    pub fn notes(&self, first: NoteId, last: NoteId) -> Vec<Fingered> {
        let (hands, _) = self.hands();
        let mut out = Vec::new();
        for (line, fingers) in hands {
            let Some((from, to)) = stretches::events(line, [first, last]) else { continue };
            for place in from..=to {
                let event = &line.events[place];
                let (note, pitch) = line.top(event);
                let fingering = self.chart.and_then(|(chart, _)| Some(*chart.fingering(fingers.chosen[place]?)));
                let Event { onset, end, grace: is_grace, after: is_after, .. } = *event;
                out.push(Fingered { note, pitch, onset, end, is_grace, is_after, fingering });
            }
            break;
        }
        out
    }

    /// All voices with their fingers, and the difficulty of the median bar.
    fn hands(&self) -> (Vec<(&Line, &Fingers)>, f64) {
        let (fingers, usual) = self.fingers.get_or_init(|| self.finger());
        (self.lines.iter().zip(fingers).collect(), *usual)
    }

    fn finger(&self) -> (Vec<Fingers>, f64) {
        let of = |line: &Line| match self.chart {
            Some((chart, lowest)) => {
                let n: Vec<i32> =
                    line.events.iter().map(|e| (line.top(e).1.sound() - lowest.sound()).div_euclid(100)).collect();
                measure::finger(line, chart, &n)
            }
            None => measure::without_chart(line, |bar| self.fifths[bar]),
        };
        let fingers: Vec<Fingers> = self.lines.iter().map(of).collect();
        let mut loads = vec![0.0_f64; self.part.bars.len()];
        for (line, own) in self.lines.iter().zip(&fingers) {
            take_harder(&mut loads, line, own);
        }
        let played = loads.iter().zip(&self.playing).filter(|(_, time)| **time > 0.0);
        let usual = measure::median(played.map(|(load, time)| self.difficulty(*load, *time)).collect());
        (fingers, usual)
    }

    fn difficulty(&self, load: f64, quarters: f64) -> f64 {
        measure::difficulty(load, quarters, self.tempo.quarters_per_second())
    }

    fn signatures(&self, turn: i32) -> Vec<(usize, i32)> {
        let mut out: Vec<(usize, i32)> = Vec::new();
        for (bar, fifths) in self.fifths.iter().enumerate() {
            if out.last().is_none_or(|last| last.1 != fifths + turn) {
                out.push((bar, fifths + turn));
            }
        }
        out
    }

    /// What sounds when the player reads a pitch.
    pub fn sounding(&self, written: Pitch) -> Pitch {
        written.moved(self.view.transposition)
    }
}

impl Trial {
    fn widen(&mut self, note: NoteId, pitch: Pitch) {
        let own = (note, pitch);
        let [lowest, highest] = self.compass.get_or_insert([own, own]);
        // Of several equal notes the first.
        let before = |a: (NoteId, Pitch), b: (NoteId, Pitch)| a.1.sound() == b.1.sound() && a.0 < b.0;
        if pitch.sound() < lowest.1.sound() || before(own, *lowest) {
            *lowest = own;
        }
        if pitch.sound() > highest.1.sound() || before(own, *highest) {
            *highest = own;
        }
    }

    /// So much of it lies in the highest quarter of the range that it is worth a word.
    pub fn lies_high(&self) -> bool {
        self.top_register * HIGH > self.notes
    }

    /// How much worse than merely its fingers a trial is; the smaller the
    /// better. A part with a hundredth of its notes out of reach, or a quarter of
    /// it an octave away, counts as half as hard again.
    pub fn burden(&self) -> f64 {
        let notes = self.notes.max(1) as f64;
        let moved: usize = self.proposal.moves.iter().map(|m| m.notes.len()).sum();
        let left = 50.0 * self.left.len() as f64 / notes;
        let changes = 2.0 * moved as f64 / notes + 0.05 * self.proposal.moves.len() as f64;
        let high = self.top_register as f64 / notes;
        let hardness = match &self.fingers {
            Some(handling) => handling.difficulty * (1.0 + 20.0 * handling.untrue.len() as f64 / notes + 0.5 * high),
            // Without fingerings the signature stands for them, and the height where the part lies
            // high. In its own key a part has the signature that it is known with.
            None => {
                let is_own = self.interval.semitones % 12 == 0;
                let signs = self.signatures.iter().map(|s| s.1.abs()).max().filter(|_| !is_own).unwrap_or(0);
                1.0 + 0.05 * f64::from(signs) + if self.lies_high() { high } else { 0.0 }
            }
        };
        hardness * (1.0 + left + changes)
    }
}
