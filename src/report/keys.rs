//! The result of `obelus keys`.

use super::fingers::{TempoReport, hundredths};
use super::keys_part::{Easiest, OctaveChange, PartInKeys};
use super::range::{CompassNote, CompassReport, ReadingReport};
use super::{PartName, Point, SCHEMA, ScoreName, Transposition, json};
use crate::instrument::{BetterOctave, Instrument, PlayedOn, Range, ReadAs, check};
use crate::keys::{Chart, Study, Tempo, Trial, View};
use crate::pitch::{Pitch, key_in_words, key_name};
use crate::score::{NoteId, Part, Score};
use serde::Serialize;

/// So many are told with their reasons in the text.
pub(super) const BEST: usize = 5;

/// What `obelus keys` says.
#[derive(Debug, Serialize)]
pub struct KeysReport {
    /// The version of the JSON.
    pub schema: u32,
    /// The score's file and title.
    pub score: ScoreName,
    /// The tempo that difficulty is measured at.
    pub tempo: TempoReport,
    /// Part by part.
    pub parts: Vec<KeysPart>,
    /// What was unusual in the file, in sentences.
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
    /// Where the part would lie better as it stands; `None` where it lies well enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub better_octave: Option<BetterOctave>,
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
    /// The key in words; both where the part does not say its mode, none for church modes.
    pub key: Option<String>,
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

impl KeysReport {
    /// The report as JSON, with a line end.
    pub fn json(&self) -> String {
        json(self)
    }
}

/// What is to be worked out for a part: its place, and instruments.
pub type Wanted<'a> = (usize, Vec<PlayedOn<'a>>);

/// Tries parts of a score in every key. `asked` is the user's reading of the octave.
pub fn keys_report(
    score: &Score,
    file: &str,
    wanted: &[Wanted],
    asked: Option<ReadAs>,
    tempo: &Tempo,
    warnings: Vec<String>,
) -> KeysReport {
    let chart = Chart::recorder();
    let parts = wanted
        .iter()
        .map(|(place, instruments)| {
            let part = &score.parts[*place];
            let on = |PlayedOn { instrument, guessed }: &PlayedOn| {
                let (reading, sentence) = ReadAs::of(part, instrument, asked);
                let study = Study::new(part, instrument, View::new(reading, instrument), &chart, tempo);
                let reading = ReadingReport { pitches: reading, sentence };
                let better_octave = BetterOctave::of(part, instrument, &check(part, instrument, asked));
                KeysInstrument { guessed: *guessed, better_octave, ..of_study(part, instrument, &study, reading) }
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
        let hard = trials.iter().enumerate().filter(|(_, t)| fits(t));
        let hard = hard.filter_map(|(place, t)| Some((t.fingers.as_ref()?.difficulty, place)));
        hard.min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let easiest = least(&|t| t.proposal.outside == 0)
        .map(|least| (least, ["that fits as it is", "that fit as they are"]))
        .or_else(|| Some((least(&|t| t.left.is_empty())?, ["that can be made to fit"; 2])))
        .or_else(|| Some((least(&|_| true)?, ["there is", "there are"])));
    let easiest = easiest.map(|((difficulty, place), [one, all])| {
        // Where a reader of the first lines does not meet it, it is named.
        let name = if place < BEST { String::new() } else { format!(" ({})", name_of(part, &trials[place])) };
        Easiest { difficulty, one: format!("{one}{name}"), all }
    });
    let in_keys = PartInKeys { part, instrument, study, easiest };
    KeysInstrument {
        instrument: instrument.name.clone(),
        written: limits(&instrument.written),
        sounding: limits(&instrument.sounding),
        reading,
        better_octave: None,
        fingerings: study.has_fingerings(),
        top_register_from: study.top_register().to_string(),
        notes: trials[0].notes,
        accidentals,
        in_reach: trials.iter().any(|t| t.proposal.outside * 2 <= t.notes),
        transpositions: trials.iter().enumerate().map(|(place, t)| in_keys.key(place + 1, t)).collect(),
        guessed: false,
    }
}

/// A transposition by its interval and the key that it leads to.
fn name_of(part: &Part, trial: &Trial) -> String {
    let fifths = trial.signatures.first().map_or(0, |s| s.1);
    let key = key_in_words(fifths, part.bars.first().and_then(|bar| bar.mode));
    format!("{}, {}", trial.interval.name(), key.unwrap_or_else(|| key_name(fifths)))
}

impl PartInKeys<'_> {
    pub(super) fn at(&self, note: NoteId) -> Point {
        Point::new(self.part, self.part.notes[note].place())
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
            key: key_in_words(fifths, self.part.bars.first().and_then(|bar| bar.mode)),
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
            octave_changes: trial.proposal.moves.iter().map(|m| OctaveChange::new(self.part, m)).collect(),
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
}
