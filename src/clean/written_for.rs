//! A part as the player of another instrument reads it.

use super::compare::Signs;
use super::content::{Content, mark_line};
use super::fit::Player;
use super::step::{CleanCopy, Steps};
use super::transpose::{move_fifths, prove_key_signs};
use super::{Cleaned, Difference, Failure};
use crate::instrument::{Clef, Instrument, ReadAs};
use crate::keys::{View, simplest};
use crate::musicxml::Edits;
use crate::musicxml::rewrite::{Alone, Context, Refusal, WrittenPart};
use crate::pitch::{Interval, key_name};
use crate::plan::Plan;
use crate::score::{Category, Part, Sound};

/// A part to be written for an instrument.
#[derive(Debug, Clone)]
pub struct PartFor<'a> {
    /// Who plays the part.
    pub player: Player<'a>,
    /// What it is called then; `None` where its name tells the instrument already.
    pub name: Option<String>,
}

/// What was written, for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    pub instrument: String,
    pub clef: Clef,
    /// From what its player reads to what sounds.
    pub transposition: Interval,
    pub octave_sentence: String,
    /// From how the copy sounded before to how it sounds now.
    pub sounds: Interval,
}

/// How written and sounding notes go from the old writing to the new.
struct Turn {
    reading: ReadAs,
    /// From what the player reads to what sounds.
    instrument: Interval,
    /// Of the new clef: in its octave stand the notes of the document.
    clef: Interval,
    /// To another spelling of all of it.
    respelled: Interval,
}

impl Turn {
    fn new(part: &Part, instrument: &Instrument, reading: ReadAs) -> Turn {
        let clef = Interval::octaves(instrument.clef.octaves);
        let mut turn = Turn { reading, instrument: instrument.transposition(), clef, respelled: Interval::UNISON };
        let bars = || part.bars.iter().enumerate();
        if bars().any(|(_, bar)| turn.paper(bar.transpose).fifths() != 0) {
            let fifths = |(at, bar): (usize, &crate::score::Bar)| {
                (bar.fifths + turn.paper(bar.transpose).fifths(), part.struck_in(at).count())
            };
            turn.respelled = simplest(0, &bars().map(fifths).collect::<Vec<_>>());
        }
        turn
    }

    /// How the new writing sounds.
    fn transpose(&self) -> Interval {
        self.instrument.plus(self.clef.inverse())
    }

    /// How far notes move on paper, for how the old writing sounds.
    fn paper(&self, old: Interval) -> Interval {
        let by = match self.reading {
            ReadAs::Sounding => old.plus(self.transpose().inverse()),
            ReadAs::Written => self.clef,
        };
        by.plus(self.respelled)
    }

    /// How far the music moves as it sounds.
    fn sound(&self, old: Interval) -> Interval {
        self.paper(old).plus(self.transpose()).plus(old.inverse())
    }
}

/// Writes one part of the copy for an instrument.
///
/// # Errors
/// Where it is none of one staff with pitches, or would need too many signs.
pub(super) fn write<'t>(
    steps: Steps<'_, 't>,
    copy: CleanCopy<'t>,
    cleaned: &mut Cleaned,
    wanted: &PartFor,
) -> Result<CleanCopy<'t>, Failure> {
    let Player { instrument, asked, part: place } = wanted.player;
    let (before, after) = steps.take(copy, cleaned, Signs::Move, |copy, cleaned| {
        let (score, mut edits) = (&copy.score, Edits::new(&copy.tree));
        let part = &score.parts[place];
        refuse(part, instrument)?;
        // The name that is told for it goes into the part list, by an id.
        if wanted.name.is_some() && part.id == format!("part {}", place + 1) {
            return Err(Failure::Unsupported(format!(
                "part {} cannot be written for the {}: the file gives it no id, by which it could be named",
                part.spoken(),
                instrument.name
            )));
        }
        let (reading, octave_sentence) = ReadAs::of(part, instrument, asked);
        let turn = Turn::new(part, instrument, reading);
        let plan = Plan::keep_all(part);
        let context = Context::alone(&copy.tree, part, &plan);
        let mut rewrite = Alone::new(&context, &mut edits);
        let by = |old: Interval| turn.paper(old);
        let writing = WrittenPart { instrument, by: &by, transpose: turn.transpose(), name: wanted.name.as_deref() };
        rewrite.write_for(&writing).map_err(|refusal| told(part, instrument, &refusal))?;
        rewrite.finish();
        let first = part.bars.first().map_or(Interval::UNISON, |bar| bar.transpose);
        cleaned.written = Some(Written {
            instrument: instrument.name.clone(),
            clef: instrument.clef,
            transposition: instrument.transposition(),
            octave_sentence,
            sounds: turn.sound(first).plus(turn.respelled.inverse()),
        });
        let mut expected: Vec<Content> = score.parts.iter().map(Content::of).collect();
        for content in &mut expected {
            content.without_signs();
        }
        expected[place] = turned(part, &turn);
        Ok((edits.finish(), expected))
    })?;
    let (old, new) = (&before.score.parts[place], &after.score.parts[place]);
    let turn = Turn::new(old, instrument, ReadAs::of(old, instrument, asked).0);
    prove_key_signs(old, new, |transpose| turn.paper(transpose))?;
    prove_reading(old, new, wanted)?;
    Ok(after)
}

fn refuse(part: &Part, instrument: &Instrument) -> Result<(), Failure> {
    let name = &instrument.name;
    let refused =
        |why: &str| Failure::Unsupported(format!("part {} cannot be written for the {name}: {why}", part.spoken()));
    if part.staves > 1 || part.notes.iter().any(|n| n.staff > 1) {
        return Err(refused("only a part with one staff can be"));
    }
    if part.notes.iter().any(|n| matches!(n.sound, Sound::Unpitched(_))) {
        return Err(refused("it has unpitched notes, as percussion has"));
    }
    if part.notes.iter().all(|n| n.pitch().is_none()) {
        return Err(refused("it has no notes with pitches"));
    }
    Ok(())
}

fn told(part: &Part, instrument: &Instrument, refusal: &Refusal) -> Failure {
    let (bar, why) = match refusal {
        Refusal::Signs(signs) => (signs.bar, format!("its signature would have {}", key_name(signs.fifths))),
        Refusal::Clef { bar, sign } => (*bar, format!("a {sign:?} clef has no pitches")),
    };
    let number = &part.bars[bar].number;
    let (part, name) = (part.spoken(), &instrument.name);
    Failure::Unsupported(format!("part {part} cannot be written for the {name}: bar {number}: {why}"))
}

/// What the part must hold afterwards: the same sound, or the same some octaves away.
fn turned(part: &Part, turn: &Turn) -> Content {
    let mut out = Content::of(part);
    out.notes = part
        .struck()
        .map(|id| {
            let old = part.notes[id].transpose;
            Content::note(part, id, |pitch| {
                let written = pitch.moved(old.inverse()).moved(turn.paper(old)).simplest();
                written.moved(turn.transpose())
            })
        })
        .collect();
    let marks = part.marks.iter().filter(|m| m.category != Category::Signature);
    out.marks = marks
        .map(|m| {
            let by = turn.sound(part.bars[m.at.bar].transpose);
            let mut line = mark_line(m, m.at.place, m.end.map(|e| e.place), by);
            line.without_signs();
            line
        })
        .collect();
    move_fifths(&mut out, part, |old| turn.paper(old));
    out.sort();
    out
}

/// Read for the instrument as it stands, with nothing asked, the new part
/// gives its player the notes that the old one gave, and has its name.
fn prove_reading(before: &Part, after: &Part, wanted: &PartFor) -> Result<(), Failure> {
    let Player { instrument, asked, .. } = wanted.player;
    let wrong = |bar: usize, what: String| {
        let bar = after.bars.get(bar).map_or("-".to_string(), |b| b.number.clone());
        Failure::Unproved(vec![Difference { part: after.id.clone(), bar, what, bars: vec![] }])
    };
    if let Some(name) = wanted.name.as_ref().filter(|name| **name != after.name) {
        return Err(wrong(0, format!("the part is called {:?} instead of {name:?}", after.name)));
    }
    let old = View::new(ReadAs::of(before, instrument, asked).0, instrument);
    let new = View::new(ReadAs::of(after, instrument, None).0, instrument);
    for note in 0..after.notes.len() {
        let read = |view: &View, part: &Part| view.written(part, note).map(|p| p.sound());
        if read(&old, before) != read(&new, after) {
            return Err(wrong(after.notes[note].bar, format!("the {} reads another note", instrument.name)));
        }
    }
    Ok(())
}
