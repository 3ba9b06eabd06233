//! The result of `obelus range`.

use super::fingers::{self, Hands, Hardest};
use super::{PartName, Point, SCHEMA, ScoreName, json};
use crate::instrument::{BetterOctave, PlayedOn, RangeCheck, ReadAs, Side, check};
use crate::keys::{Chart, Tempo};
use crate::score::{NoteId, Part, Score};
use serde::Serialize;

/// What `obelus range` says.
#[derive(Debug, Serialize)]
pub struct RangeReport {
    /// The version of the JSON.
    pub schema: u32,
    /// The score's file and title.
    pub score: ScoreName,
    /// Part by part.
    pub parts: Vec<RangePart>,
    /// What was unusual in the file, in sentences.
    pub warnings: Vec<String>,
}

/// One part against an instrument.
#[derive(Debug, Serialize)]
pub struct RangePart {
    /// Which part.
    pub part: PartName,
    /// `None` when no instrument is known.
    pub reading: Option<ReadingReport>,
    /// Notes outside of the range.
    pub range: Option<RangeOutside>,
    /// Where the part would lie better; `None` where it lies well enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub better_octave: Option<BetterOctave>,
    /// `None` for a part without pitches, or when no instrument is known.
    pub compass: Option<CompassReport>,
    /// Octave displacements and what they lead out of the range.
    pub passages: Vec<Passage>,
    /// `None` when the instrument's fingerings are not known.
    pub hardest: Option<Hardest>,
    /// How many notes the part strikes, grace notes included.
    pub notes: usize,
    #[serde(skip)]
    /// The instrument was read off the part's name.
    pub guessed: bool,
}

#[derive(Debug, Serialize)]
pub struct ReadingReport {
    /// Which pitches were compared.
    pub pitches: ReadAs,
    pub sentence: String,
}

#[derive(Debug, Serialize)]
pub struct RangeOutside {
    pub instrument: String,
    pub lowest: String,
    pub highest: String,
    pub outside: Vec<OutsideNote>,
    #[serde(skip)]
    pub words: String,
}

#[derive(Debug, Serialize)]
pub struct OutsideNote {
    #[serde(flatten)]
    pub at: Point,
    pub pitch: String,
    pub side: Side,
}

#[derive(Debug, Serialize)]
pub struct CompassReport {
    pub lowest: CompassNote,
    pub highest: CompassNote,
}

#[derive(Debug, Serialize)]
pub struct CompassNote {
    #[serde(flatten)]
    pub at: Point,
    pub pitch: String,
}

/// Notes of one voice that leave the range together.
#[derive(Debug, Serialize)]
pub struct Passage {
    pub side: Side,
    pub from: Point,
    pub to: Point,
    /// All its notes, the few inside the range too.
    pub notes: usize,
    pub outside: usize,
    /// Towards the range: 1 is an octave up.
    pub octave: i32,
    /// How many notes would be outside after that octave.
    pub outside_moved: usize,
    /// Its notes in the list of those outside.
    #[serde(skip)]
    pub outside_places: Vec<usize>,
}

impl RangeReport {
    /// The report as JSON, with a line end.
    pub fn json(&self) -> String {
        json(self)
    }
}

/// Checks parts of a score. `parts` gives the place of each part, and its
/// instrument if one is known; `asked` is the user's reading of the octave.
pub fn range_report(
    score: &Score,
    file: &str,
    parts: &[(usize, Option<PlayedOn>)],
    asked: Option<ReadAs>,
    tempo: &Tempo,
    warnings: Vec<String>,
) -> RangeReport {
    let chart = Chart::recorder();
    let hands = Hands { chart: &chart, tempo };
    let parts = parts
        .iter()
        .map(|(place, on)| {
            let part = &score.parts[*place];
            let result = on.map(|on| check(part, on.instrument, asked));
            let hardest = on
                .zip(result.as_ref())
                .and_then(|(on, check)| fingers::hardest(part, on.instrument, check.read_as, hands));
            let better_octave =
                on.zip(result.as_ref()).and_then(|(on, check)| BetterOctave::of(part, on.instrument, check));
            RangePart { hardest, better_octave, guessed: on.is_none_or(|on| on.guessed), ..of_part(part, result) }
        })
        .collect();
    RangeReport { schema: SCHEMA, score: ScoreName { file: file.into(), title: score.title.clone() }, parts, warnings }
}

fn of_part(part: &Part, check: Option<RangeCheck>) -> RangePart {
    let at = |n: NoteId| Point::new(part, part.notes[n].place());
    let played = |n: &&crate::score::Note| !n.cue && !n.is_rest() && n.tied_from.is_none();
    let mut out = RangePart {
        part: PartName::of(part),
        reading: None,
        range: None,
        better_octave: None,
        compass: None,
        passages: Vec::new(),
        hardest: None,
        notes: part.notes.iter().filter(played).count(),
        guessed: false,
    };
    let Some(check) = check else { return out };
    out.reading = Some(ReadingReport { pitches: check.read_as, sentence: check.octave_sentence.clone() });
    out.compass = check.compass.map(|c| {
        let [lowest, highest] =
            [c.lowest, c.highest].map(|(note, pitch)| CompassNote { at: at(note), pitch: pitch.to_string() });
        CompassReport { lowest, highest }
    });
    out.passages = check
        .passages
        .iter()
        .map(|p| Passage {
            side: p.side,
            from: at(p.notes[0]),
            to: at(*p.notes.last().expect("a passage has a note")),
            notes: p.notes.len(),
            outside: p.outside,
            octave: p.octave,
            outside_moved: p.outside_moved,
            outside_places: p
                .notes
                .iter()
                .filter_map(|n| check.outside.binary_search_by_key(n, |o| o.note).ok())
                .collect(),
        })
        .collect();
    let outside = check
        .outside
        .iter()
        .map(|o| OutsideNote { at: at(o.note), pitch: o.pitch.to_string(), side: o.side })
        .collect();
    out.range = Some(RangeOutside {
        instrument: check.instrument,
        lowest: check.range.lowest.to_string(),
        highest: check.range.highest.to_string(),
        outside,
        words: check.range_words,
    });
    out
}
