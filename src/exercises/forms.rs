//! What one does with a hard stretch: each form makes tries of its notes. Common practice of recorder teachers; the
//! measures in them are our own.

use super::passage::Passage;
use super::rhythms::Rhythm;
use super::tone::{Tone, Try};
use super::wider;
use crate::instrument::Range;
use crate::time::Time;
use strum::{EnumIter, EnumString, IntoStaticStr};

/// An exercise by what is done with the stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, EnumIter, EnumString, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
pub enum Form {
    /// The two notes of the worst change.
    Change,
    /// Beat by beat, each with the note that it leads to.
    Beats,
    /// From the first note on, more each time.
    Adding,
    /// From the last notes on, more each time.
    Backwards,
    /// The same notes in other rhythms.
    Rhythms,
    /// Beyond the stretch on both sides.
    Wider,
    /// All of it, in its own rhythm.
    Whole,
}

/// Tries of one form; more would be played by nobody.
const MOST_TRIES: usize = 5;
/// What stands before a rhythm's name in its heading.
pub const RHYTHM: &str = "Rhythm: ";
/// Fewer notes are in no rhythm.
const FEWEST_IN_RHYTHM: usize = 4;

/// An exercise: its heading in words, and what is played.
#[derive(Debug, Clone)]
pub struct Made {
    pub heading: String,
    pub tries: Vec<Try>,
    /// Between the tries there is time to get ready.
    pub rests: bool,
}

impl Form {
    /// As `--form` takes it.
    pub fn name(self) -> &'static str {
        self.into()
    }

    /// The exercises of a form, none where the stretch has nothing for it: one for each rhythm, else one.
    pub fn make(self, whole: &Passage, rhythms: &[Rhythm], range: &Range) -> Vec<Made> {
        let passage = &whole.taken_apart();
        let one = |heading: &str, tries: Vec<Try>| vec![Made { heading: heading.into(), tries, rests: true }];
        let made = match self {
            Form::Change => change(passage),
            Form::Beats => one("Beat by beat", beats(passage)),
            Form::Adding => one("Adding on", adding(passage)),
            Form::Backwards => one("Working backwards", backwards(passage)),
            Form::Rhythms => rhythms.iter().map(|rhythm| in_rhythm(passage, rhythm)).collect(),
            Form::Wider => one("Wider than needed", wider::wider(passage, range).into_iter().collect()),
            Form::Whole => one("The whole, joined", vec![whole.once_more()]),
        };
        made.into_iter().filter(|made| !made.tries.is_empty()).collect()
    }
}

/// To and fro slowly, twice as fast, then with the note before and after.
fn change(passage: &Passage) -> Vec<Made> {
    let Some(at) = passage.worst else { return Vec::new() };
    let (tones, pulse) = (&passage.tones, passage.metre.pulse);
    let [from, to] = [&tones[at], &tones[at + 1]];
    if from.pitch == to.pitch {
        return Vec::new();
    }
    let own = |lengths: &[Time], tones: &[&Tone]| Try {
        tones: tones.iter().zip(lengths).map(|(tone, length)| Tone { joined: None, ..tone.plain(*length) }).collect(),
        start: Time::zero(),
        lands: true,
    };
    let beats = (passage.metre.bar / pulse).floor().to_integer().max(1) as usize;
    let part = if passage.metre.is_compound() { 3 } else { 2 };
    let fast = pulse / Time::from(part as i64);
    // Each leaves a beat of the bar for a rest, where the bar has three or more.
    let to_and_fro = |count: usize| [from, to].into_iter().cycle().take(count).collect::<Vec<_>>();
    let slow = beats.saturating_sub(1).clamp(2, 4);
    let slowly = own(&vec![pulse; slow], &to_and_fro(slow));
    let faster = part * beats.saturating_sub(2).clamp(1, 2) + 1;
    let faster = own(&vec![fast; faster], &to_and_fro(faster));
    let before = at.checked_sub(1).map(|before| &tones[before]).filter(|tone| tone.pitch.is_some());
    let after = tones.get(at + 2).filter(|tone| tone.pitch.is_some());
    let mut around = vec![from, to];
    around.splice(0..0, before);
    around.extend(after);
    let mut tries = vec![slowly, faster];
    if around.len() > 2 {
        tries.push(own(&vec![fast; around.len()], &around));
    }
    let names = [from, to].map(|tone| tone.pitch.map_or(String::new(), |pitch| pitch.to_string()));
    vec![Made { heading: format!("The worst change: {} to {}", names[0], names[1]), tries, rests: false }]
}

/// Each beat with the first note of the next. The last note alone is the end of the beat before it.
fn beats(passage: &Passage) -> Vec<Try> {
    let pulse = passage.metre.pulse;
    let starts = passage.starts_of(pulse);
    if starts.len() < 2 {
        return Vec::new();
    }
    let mut out = Vec::new();
    for (place, first) in starts.iter().enumerate() {
        let end = starts.get(place + 1).map_or(passage.tones.len(), |next| next + 1);
        if end - first > 1 {
            out.push(passage.part(*first..end));
        }
    }
    out
}

fn adding(passage: &Passage) -> Vec<Try> {
    let ends = spread(passage.sounding().into_iter().skip(1).map(|last| last + 1).collect());
    ends.into_iter().map(|end| passage.part(0..end)).collect()
}

fn backwards(passage: &Passage) -> Vec<Try> {
    let metre = passage.metre;
    let mut starts = passage.starts_of(metre.part());
    if starts.len() > MOST_TRIES {
        starts = passage.starts_of(metre.pulse);
    }
    // The last note by itself is no try.
    starts.retain(|first| passage.tones[*first..].iter().filter(|tone| tone.pitch.is_some()).count() > 1);
    let starts = spread(starts.into_iter().rev().collect());
    if starts.len() < 2 {
        return Vec::new();
    }
    starts.into_iter().map(|first| passage.part(first..passage.tones.len())).collect()
}

/// Some of many, the last among them.
fn spread(all: Vec<usize>) -> Vec<usize> {
    if all.len() <= MOST_TRIES {
        return all;
    }
    (1..=MOST_TRIES).map(|step| all[all.len() * step / MOST_TRIES - 1]).collect()
}

/// All notes in order, with these lengths in turn; the last is held to the end of its beat.
fn in_rhythm(passage: &Passage, rhythm: &Rhythm) -> Made {
    let sounding = passage.sounding();
    let heading = format!("{RHYTHM}{}", rhythm.name);
    if sounding.len() < FEWEST_IN_RHYTHM {
        return Made { heading, tries: Vec::new(), rests: true };
    }
    let lengths = rhythm.lengths.iter().cycle().map(|length| *length * passage.metre.pulse);
    let mut tones: Vec<Tone> =
        sounding.iter().zip(lengths).map(|(place, length)| passage.tones[*place].plain(length)).collect();
    // Across a rest nothing is joined.
    for (tone, pair) in tones.iter_mut().zip(sounding.windows(2)) {
        tone.joined = tone.joined.filter(|_| pair[1] == pair[0] + 1);
    }
    Made { heading, tries: vec![Try { tones, start: Time::zero(), lands: true }], rests: true }
}

#[cfg(test)]
mod tests {
    use super::*;
    use strum::IntoEnumIterator;

    #[test]
    fn forms_have_the_names_that_the_command_takes() {
        let names: Vec<&str> = Form::iter().map(Form::name).collect();
        assert_eq!(names, ["change", "beats", "adding", "backwards", "rhythms", "wider", "whole"]);
        assert!(Form::iter().all(|form| form.name().parse() == Ok(form)));
    }

    #[test]
    fn of_many_some_are_taken_and_the_last() {
        assert_eq!(spread((1..=4).collect()), [1, 2, 3, 4]);
        assert_eq!(spread((1..=10).collect()), [2, 4, 6, 8, 10]);
        assert_eq!(spread((1..=7).collect()).last(), Some(&7));
    }
}
