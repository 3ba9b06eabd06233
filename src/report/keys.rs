//! The result of `obelus keys`.

use super::fingers::{TempoReport, hundredths};
use super::phrases::{count, stretch};
use super::range::{CompassNote, CompassReport, ReadingReport};
use super::{PartName, Point, SCHEMA, ScoreName, Transposition, json};
use crate::instrument::{Instrument, Range, Reading};
use crate::keys::phrases::{Move, Seam};
use crate::keys::{Chart, Study, Tempo, Trial, View};
use crate::pitch::{Pitch, key_name};
use crate::score::{NoteId, Part, Score};
use serde::Serialize;

/// What `obelus keys` says.
#[derive(Debug, Serialize)]
pub struct KeysReport {
    pub schema: u32,
    pub score: ScoreName,
    pub tempo: TempoReport,
    pub parts: Vec<KeysPart>,
    pub warnings: Vec<String>,
}

#[derive(Debug, Serialize)]
pub struct KeysPart {
    pub part: PartName,
    /// Printed numbers of all bars, in order; `bar_difficulties` follow them.
    pub bars: Vec<String>,
    pub instruments: Vec<KeysInstrument>,
}

/// A part on one instrument, in every key.
#[derive(Debug, Serialize)]
pub struct KeysInstrument {
    pub instrument: String,
    pub written: Limits,
    pub sounding: Limits,
    pub reading: ReadingReport,
    /// Whether its fingerings are known.
    pub fingerings: bool,
    /// The highest quarter of the range begins here, as it is written.
    pub top_register_from: String,
    pub notes: usize,
    /// Notes that are not as the signature has them, with the part in its own key.
    pub accidentals: usize,
    /// The best first.
    pub transpositions: Vec<Key>,
    /// In some key at least half the notes can be reached.
    #[serde(skip)]
    pub in_reach: bool,
    #[serde(skip)]
    pub guessed: bool,
}

#[derive(Debug, Serialize)]
pub struct Limits {
    pub lowest: String,
    pub highest: String,
}

/// One transposition.
#[derive(Debug, Serialize)]
pub struct Key {
    /// 1-based.
    pub rank: usize,
    pub transposition: Transposition,
    /// Of the first signature that the player reads.
    pub fifths: i32,
    pub signature: String,
    pub signatures: Vec<Signature>,
    /// What the player reads, before any octave change.
    pub written: Option<CompassReport>,
    pub sounding: Option<Limits>,
    pub outside: usize,
    pub octave_changes: Vec<OctaveChange>,
    pub outside_after: usize,
    pub top_register: usize,
    pub accidentals: usize,
    pub sharp_or_flat: usize,
    pub forked: Option<usize>,
    pub half_holes: Option<usize>,
    pub pinched: Option<usize>,
    pub no_true_fingering: Vec<CompassNote>,
    /// Points per second.
    pub difficulty: Option<f64>,
    pub bar_difficulties: Option<Vec<f64>>,
    pub reason: String,
}

#[derive(Debug, Serialize)]
pub struct Signature {
    pub bar: String,
    pub bar_index: usize,
    pub fifths: i32,
}

/// A phrase that should go to another octave.
#[derive(Debug, Serialize)]
pub struct OctaveChange {
    pub from: Point,
    pub to: Point,
    pub voice: u32,
    pub octaves: i32,
    pub notes: usize,
    pub below: usize,
    pub above: usize,
    pub outside_after: usize,
    pub sentence: String,
}

impl KeysReport {
    /// The report as JSON, with a line end.
    pub fn json(&self) -> String {
        json(self)
    }
}

/// What is to be worked out for a part: its place, and instruments with whether they were guessed.
pub type Wanted<'a> = (usize, Vec<(&'a Instrument, bool)>);

/// Tries parts of a score in every key. `asked` is the user's reading of the octave.
pub fn keys_report(
    score: &Score,
    file: &str,
    wanted: &[Wanted],
    asked: Option<Reading>,
    tempo: Tempo,
    warnings: Vec<String>,
) -> KeysReport {
    let chart = Chart::recorder();
    let parts = wanted
        .iter()
        .map(|(place, instruments)| {
            let part = &score.parts[*place];
            let on = |(instrument, guessed): &(&Instrument, bool)| {
                let (reading, sentence) = Reading::of(part, instrument, asked);
                let study = Study::new(part, instrument, View::new(reading, instrument), &chart, tempo);
                let reading = ReadingReport { pitches: reading, sentence };
                KeysInstrument { guessed: *guessed, ..of_study(part, instrument, &study, reading) }
            };
            KeysPart {
                part: PartName::of(part),
                bars: part.bars.iter().map(|b| b.number.clone()).collect(),
                instruments: instruments.iter().map(on).collect(),
            }
        })
        .collect();
    let score = ScoreName { file: file.into(), title: score.title.clone() };
    KeysReport { schema: SCHEMA, score, tempo: tempo.into(), parts, warnings }
}

fn limits(range: &Range) -> Limits {
    Limits { lowest: range.lowest.to_string(), highest: range.highest.to_string() }
}

fn of_study(part: &Part, instrument: &Instrument, study: &Study, reading: ReadingReport) -> KeysInstrument {
    let mut trials = study.trials();
    let accidentals = trials.iter().find(|t| t.interval.semitones == 0).map_or(0, |t| t.accidentals);
    // Of equal ones the nearest to where the part is, and up rather than down.
    trials.sort_by(|a, b| {
        let near = |t: &Trial| (t.interval.semitones.abs(), -t.interval.semitones);
        a.burden().total_cmp(&b.burden()).then(near(a).cmp(&near(b)))
    });
    let least = |fits: &dyn Fn(&Trial) -> bool| {
        let hard = trials.iter().filter(|t| fits(t)).filter_map(|t| Some(t.fingers.as_ref()?.difficulty));
        hard.min_by(f64::total_cmp)
    };
    let easiest = least(&|t| t.proposal.outside == 0)
        .map(|d| (d, ("that fits as it is", "that fit as they are")))
        .or_else(|| Some((least(&|t| t.left.is_empty())?, ("that can be made to fit", "that can be made to fit"))))
        .or_else(|| Some((least(&|_| true)?, ("there is", "there are"))));
    let teller = Teller { part, instrument, study, easiest };
    KeysInstrument {
        instrument: instrument.name.clone(),
        written: limits(&instrument.written),
        sounding: limits(&instrument.sounding),
        reading,
        fingerings: study.has_fingerings(),
        top_register_from: study.top_register().to_string(),
        notes: trials[0].notes,
        accidentals,
        in_reach: trials.iter().any(|t| t.proposal.outside * 2 <= t.notes),
        transpositions: trials.iter().enumerate().map(|(place, t)| teller.key(place + 1, t)).collect(),
        guessed: false,
    }
}

struct Teller<'a> {
    part: &'a Part,
    instrument: &'a Instrument,
    study: &'a Study<'a>,
    /// The least difficulty of the keys that fit best, and what they are called.
    easiest: Option<(f64, (&'static str, &'static str))>,
}

impl Teller<'_> {
    fn at(&self, note: NoteId) -> Point {
        Point::new(self.part, self.part.notes[note].bar, self.part.notes[note].offset)
    }

    fn note(&self, (note, pitch): (NoteId, Pitch)) -> CompassNote {
        CompassNote { at: self.at(note), pitch: pitch.to_string() }
    }

    fn key(&self, rank: usize, trial: &Trial) -> Key {
        let interval = trial.interval;
        let fifths = trial.signatures.first().map_or(0, |s| s.1);
        let fingers = trial.fingers.as_ref();
        Key {
            rank,
            transposition: Transposition {
                semitones: interval.semitones,
                steps: interval.steps,
                name: interval.name(),
            },
            fifths,
            signature: key_name(fifths),
            signatures: trial
                .signatures
                .iter()
                .map(|(bar, fifths)| Signature {
                    bar: self.part.bars[*bar].number.clone(),
                    bar_index: *bar,
                    fifths: *fifths,
                })
                .collect(),
            written: trial
                .compass
                .map(|[low, high]| CompassReport { lowest: self.note(low), highest: self.note(high) }),
            sounding: trial.compass.map(|[low, high]| {
                let [lowest, highest] = [low, high].map(|n| self.study.sounding(n.1).to_string());
                Limits { lowest, highest }
            }),
            outside: trial.proposal.outside,
            octave_changes: trial.proposal.moves.iter().map(|m| self.change(m)).collect(),
            outside_after: trial.left.len(),
            top_register: trial.top_register,
            accidentals: trial.accidentals,
            sharp_or_flat: trial.sharp_or_flat,
            forked: fingers.map(|f| f.forked),
            half_holes: fingers.map(|f| f.half_holes),
            pinched: fingers.map(|f| f.pinched),
            no_true_fingering: fingers.map_or(Vec::new(), |f| f.untrue.iter().map(|n| self.note(*n)).collect()),
            difficulty: fingers.map(|f| hundredths(f.difficulty)),
            bar_difficulties: fingers.map(|f| f.bars.iter().map(|d| hundredths(*d)).collect()),
            reason: self.reason(trial),
        }
    }

    fn change(&self, m: &Move) -> OctaveChange {
        OctaveChange {
            from: self.at(m.notes[0]),
            to: self.at(*m.notes.last().expect("a move has a note")),
            voice: m.voice,
            octaves: m.octaves,
            notes: m.notes.len(),
            below: m.below,
            above: m.above,
            outside_after: m.left,
            sentence: octave_change_sentence(self.part, m),
        }
    }

    fn reason(&self, trial: &Trial) -> String {
        let mut said = vec![self.fit(trial)];
        if let Some(fingers) = &trial.fingers {
            if !fingers.untrue.is_empty() {
                said.push(self.untrue(&fingers.untrue));
            }
            if let Some((easiest, (one, all))) = self.easiest.filter(|e| e.0 > 0.0) {
                let times = fingers.difficulty / easiest;
                said.push(match times {
                    1.0 => format!("the easiest under the fingers of all keys {all}"),
                    t if t > 1.05 => format!("{t:.1} times as hard under the fingers as the easiest key {one}"),
                    t if t > 0.95 => format!("about as easy under the fingers as the easiest key {one}"),
                    _ => format!("easier under the fingers than any key {one}"),
                });
            }
        }
        said.join("; ")
    }

    fn fit(&self, trial: &Trial) -> String {
        let moves = &trial.proposal.moves;
        let moved: usize = moves.iter().map(|m| m.notes.len()).sum();
        let them = match moves.as_slice() {
            [one] => {
                let change = self.change(one);
                let noun = count(moved, "note");
                format!("{} ({noun}) {} {}", stretch(&change.from, &change.to), goes(&change), way(one.octaves))
            }
            _ => format!("{} ({}) go to another octave", count(moves.len(), "phrase"), count(moved, "note")),
        };
        let range = &self.instrument.written;
        match (trial.proposal.outside, trial.left.len()) {
            (0, _) => {
                let is =
                    |note: Option<&(NoteId, Pitch)>, limit: Pitch| note.is_some_and(|n| n.1.sound() == limit.sound());
                let compass = trial.compass.as_ref();
                let exactly = is(compass.map(|c| &c[0]), range.lowest) && is(compass.map(|c| &c[1]), range.highest);
                if exactly { "fits exactly".into() } else { "fits".into() }
            }
            (_, 0) => format!("fits if {them}"),
            (_, n) => {
                let verb = if n == 1 { "leaves" } else { "leave" };
                let still = if n == 1 { "stays" } else { "stay" };
                match moves.is_empty() {
                    true => format!("{} {verb} the range ({})", count(n, "note"), self.places(&trial.left)),
                    false => {
                        format!("if {them}, {} {still} outside ({})", count(n, "note"), self.places(&trial.left))
                    }
                }
            }
        }
    }

    /// As in `one F#6 in bar 18 has no true fingering`.
    fn untrue(&self, notes: &[(NoteId, Pitch)]) -> String {
        match notes {
            [(note, pitch)] => {
                format!("one {pitch} in bar {} has no true fingering", self.at(*note).bar)
            }
            [(_, first), ..] => format!("{} notes have no true fingering ({first})", notes.len()),
            [] => String::new(),
        }
    }

    /// The first few notes with their bars.
    fn places(&self, notes: &[(NoteId, Pitch)]) -> String {
        const MOST: usize = 3;
        let mut said: Vec<String> =
            notes.iter().take(MOST).map(|(note, pitch)| format!("{pitch} in bar {}", self.at(*note).bar)).collect();
        if notes.len() > MOST {
            said.push("…".into());
        }
        said.join(", ")
    }
}

fn goes(change: &OctaveChange) -> &'static str {
    if change.from.bar_index == change.to.bar_index { "goes" } else { "go" }
}

fn way(octaves: i32) -> String {
    let side = if octaves > 0 { "up" } else { "down" };
    match octaves.abs() {
        1 => format!("an octave {side}"),
        n => format!("{n} octaves {side}"),
    }
}

/// An octave change in one sentence: where, how far, why, and what it does at both ends.
pub fn octave_change_sentence(part: &Part, m: &Move) -> String {
    let at = |note: NoteId| Point::new(part, part.notes[note].bar, part.notes[note].offset);
    let place = stretch(&at(m.notes[0]), &at(*m.notes.last().expect("a move has a note")));
    let why = match (m.below, m.above) {
        (0, 0) => "none of them outside, for the sake of the line".to_string(),
        (below, 0) => format!("{below} of them below the range"),
        (0, above) => format!("{above} of them above the range"),
        (below, above) => format!("{below} of them below the range and {above} above it"),
    };
    let left = match m.left {
        0 => "all then fit".to_string(),
        1 => "1 is still outside".to_string(),
        n => format!("{n} are still outside"),
    };
    let seam = |seam: Seam, what: &str, edge: &str| match seam {
        Seam::Edge => format!("{what} {edge} the part"),
        Seam::Rest => format!("{what} at a rest or breath"),
        Seam::Leap { was, becomes } => format!("{what} at a leap ({} becomes {})", was.name(), becomes.name()),
    };
    format!(
        "{place}: {} {}, {why}; {left}; it {}, and {}",
        count(m.notes.len(), "note"),
        way(m.octaves),
        seam(m.begins, "begins", "with"),
        seam(m.ends, "ends", "with"),
    )
}
