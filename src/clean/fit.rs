//! How a clean part lies on the instrument that it is meant for, and octave
//! changes where it leaves the range.

use super::compare::Signs;
use super::content::{Content, mark_line};
use super::step::{CleanCopy, Steps};
use super::{Cleaned, Failure};
use crate::instrument::{self, Instrument, Outside, RangeCheck, ReadAs};
use crate::keys::phrases::{Move, propose};
use crate::musicxml::Edits;
use crate::musicxml::rewrite::{Alone, Context, TouchedLine, touched_octave_lines};
use crate::pitch::Interval;
use crate::plan::Plan;
use crate::score::{Category, Mark, MarkId, NoteId, Part, Score, Sign};
use std::collections::HashMap;

/// Who plays a part.
#[derive(Debug, Clone, Copy)]
pub struct Player<'a> {
    /// What they play.
    pub instrument: &'a Instrument,
    /// The user's reading of the octave.
    pub asked: Option<ReadAs>,
    /// The place of the part in the score.
    pub part: usize,
}

/// A clean part on its instrument.
#[derive(Debug)]
pub struct OnInstrument {
    /// The place of the part in the score.
    pub place: usize,
    /// As it was before notes went to other octaves.
    pub part: Part,
    pub instrument: String,
    pub octave_sentence: String,
    /// In the reading that was taken, for people.
    pub range: String,
    /// Notes outside before any change.
    pub outside: usize,
    /// `None` where no octave was to change.
    pub moves: Option<Vec<Move>>,
    /// Phrases that stayed, for a line joins them to a note that does.
    pub held: Vec<Move>,
    /// Notes outside now, with the pitches that they have now.
    pub left: Vec<Outside>,
}

/// How parts lie on their instruments.
pub(super) fn as_they_are(score: &Score, players: &[Player]) -> Vec<OnInstrument> {
    players.iter().map(|player| Adapted::of(score, player, Octaves::AsTheyAre).on).collect()
}

/// Moves what leaves the range of its instrument to another octave.
pub(super) fn fit<'t>(
    steps: Steps<'_, 't>,
    copy: CleanCopy<'t>,
    cleaned: &mut Cleaned,
    players: &[Player],
) -> Result<CleanCopy<'t>, Failure> {
    let done = steps.take(copy, cleaned, Signs::Stay, |copy, cleaned| {
        let (score, mut edits) = (&copy.score, Edits::new(&copy.tree));
        let adapted: Vec<Adapted> = players.iter().map(|player| Adapted::of(score, player, Octaves::Moved)).collect();
        let mut expected: Vec<Content> = score.parts.iter().map(Content::of).collect();
        for one in adapted.iter().filter(|one| one.moves_any()) {
            let part = &score.parts[one.on.place];
            let plan = Plan::keep_all(part);
            let context = Context::alone(&copy.tree, part, &plan);
            let mut rewrite = Alone::new(&context, &mut edits);
            rewrite.move_octaves(&one.octaves);
            let mut rewrite = rewrite.marks();
            let lines = touched_octave_lines(part, &one.octaves);
            for line in &lines {
                let mark = &part.marks[line.mark];
                if line.needless {
                    rewrite.remove(mark);
                } else {
                    let bar = &part.bars[mark.at.bar].number;
                    let what = mark.reading();
                    cleaned.warnings.push(format!(
                        "part {}, bar {bar}: check the octave line ({what}): notes at it went to another octave",
                        part.spoken()
                    ));
                }
            }
            rewrite.finish();
            expected[one.on.place] = fitted(part, &one.octaves, &lines);
        }
        cleaned.on = adapted.into_iter().map(|one| one.on).collect();
        Ok((edits.finish(), expected))
    });
    Ok(done?.1)
}

/// Whether phrases go to the octave that fits.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Octaves {
    AsTheyAre,
    Moved,
}

/// A part on its instrument.
struct Adapted {
    on: OnInstrument,
    /// Of each note of the part.
    octaves: Vec<i32>,
}

impl Adapted {
    fn of(score: &Score, player: &Player, octaves: Octaves) -> Adapted {
        let part = &score.parts[player.part];
        let check = instrument::check(part, player.instrument, player.asked);
        let Fitting { moves, held, octaves: by, left } = match octaves {
            Octaves::Moved => Fitting::new(part, &check, Interval::UNISON),
            Octaves::AsTheyAre => Fitting::of(part, &check, Interval::UNISON, Vec::new()),
        };
        let better = instrument::BetterOctave::of(part, player.instrument, &check);
        let octave_sentence = [Some(check.octave_sentence), better.map(|better| better.sentence)];
        let on = OnInstrument {
            place: player.part,
            part: part.clone(),
            instrument: check.instrument,
            octave_sentence: octave_sentence.into_iter().flatten().collect::<Vec<_>>().join(" "),
            range: check.range_words,
            outside: check.outside.len(),
            moves: (octaves == Octaves::Moved).then_some(moves),
            held,
            left,
        };
        Adapted { on, octaves: by }
    }

    fn moves_any(&self) -> bool {
        self.on.moves.as_ref().is_some_and(|moves| !moves.is_empty())
    }
}

/// A part made to fit, some interval away from where it is.
struct Fitting {
    moves: Vec<Move>,
    held: Vec<Move>,
    octaves: Vec<i32>,
    left: Vec<Outside>,
}

impl Fitting {
    fn new(part: &Part, check: &RangeCheck, by: Interval) -> Fitting {
        Fitting::of(part, check, by, propose(part, check.read_as, by, &check.range).moves)
    }

    fn of(part: &Part, check: &RangeCheck, by: Interval, mut moves: Vec<Move>) -> Fitting {
        let held = hold(part, &mut moves);
        let octaves = octaves(part, &moves);
        let left = instrument::played(part).filter_map(|note| {
            let pitch = check.pitch(part, note)?.moved(by.plus(Interval::octaves(octaves[note])));
            Some(Outside { note, pitch, side: check.range.leaves(pitch)? })
        });
        Fitting { left: left.collect(), moves, held, octaves }
    }
}

/// What it takes to make a part fit that is moved by an interval; less is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Burden {
    /// Notes that stay outside.
    pub outside: usize,
    /// Notes that go to another octave.
    pub moved: usize,
}

impl Burden {
    pub(super) fn of(score: &Score, player: &Player, by: Interval) -> Burden {
        let part = &score.parts[player.part];
        let check = instrument::check(part, player.instrument, player.asked);
        let fitting = Fitting::new(part, &check, by);
        Burden { outside: fitting.left.len(), moved: fitting.moves.iter().map(|m| m.notes.len()).sum() }
    }
}

/// The octaves by which each note goes; what is tied to one goes with it.
fn octaves(part: &Part, moves: &[Move]) -> Vec<i32> {
    let mut out = vec![0; part.notes.len()];
    for m in moves {
        for note in m.notes.iter().flat_map(|n| part.tied(*n)) {
            out[note] = m.octaves;
        }
    }
    out
}

/// Takes out the moves that would tear a slur or a glissando to a note that
/// stays, as cues do.
fn hold(part: &Part, moves: &mut Vec<Move>) -> Vec<Move> {
    let mut held = Vec::new();
    loop {
        let octaves = octaves(part, moves);
        let ends = part
            .marks
            .iter()
            .filter(|m| m.sign.joins_notes())
            .filter_map(|m| m.at.note.zip(m.end.and_then(|e| e.note)));
        let torn: Vec<(NoteId, NoteId)> = ends.filter(|(from, to)| octaves[*from] != octaves[*to]).collect();
        if torn.is_empty() {
            return held;
        }
        let tears = |m: &Move| {
            let has = |note: NoteId| m.notes.binary_search(&part.head(note)).is_ok();
            torn.iter().any(|(from, to)| has(*from) || has(*to))
        };
        let (out, stay) = std::mem::take(moves).into_iter().partition(|m| tears(m));
        *moves = stay;
        held.extend::<Vec<Move>>(out);
    }
}

/// What the part must hold afterwards.
fn fitted(part: &Part, octaves: &[i32], lines: &[TouchedLine]) -> Content {
    let mut out = Content::of(part);
    let by = |note: NoteId| Interval::octaves(octaves[note]);
    out.notes = part.struck().map(|note| Content::note(part, note, |pitch| pitch.moved(by(note)))).collect();
    let own: HashMap<_, NoteId> = part.notes.iter().enumerate().map(|(id, note)| (note.element, id)).collect();
    let gone = |id: MarkId| lines.iter().any(|line| line.mark == id && line.needless);
    let line = |mark: &Mark| {
        let mut mark = mark.clone();
        if let Sign::Grace { pitches, .. } = &mut mark.sign {
            let notes = mark.elements.iter().filter_map(|e| own.get(e).copied());
            let moved = |note: NoteId| Some(part.notes[note].pitch()?.moved(by(note)));
            *pitches = notes.filter_map(moved).collect();
        }
        mark_line(&mark, mark.at.place, mark.end.map(|e| e.place), Interval::UNISON)
    };
    let marks = part.marks.iter().enumerate().filter(|(_, m)| m.category != Category::Signature);
    out.marks = marks.filter(|(id, _)| !gone(*id)).map(|(_, mark)| line(mark)).collect();
    out.sort();
    out
}
