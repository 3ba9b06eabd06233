//! What leaves the range of an instrument in a copy, and the phrases that went to another octave so that less does.

use crate::instrument::{BetterOctave, Instrument, Outside, check, played};
use crate::report::phrases::{bar_list, count};
use crate::score::{NoteId, Part, Place};
use crate::time::{beat_text, parse_beat};
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What `clean` says of octave changes.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Changes {
    done: Vec<Change>,
    not_done: Vec<Change>,
}

#[derive(Debug, Clone, Deserialize)]
struct Change {
    from: At,
    to: At,
    octaves: i32,
    sentence: String,
}

#[derive(Debug, Clone, Deserialize)]
struct At {
    bar: String,
    bar_index: usize,
    beat: String,
    offset: String,
}

impl At {
    fn place(&self) -> Option<Place> {
        Some(Place { bar: self.bar_index, offset: parse_beat(&self.offset)? })
    }
}

/// A part of a copy on its instrument.
#[derive(Debug, Default)]
pub struct InRange {
    instrument: String,
    outside: BTreeMap<NoteId, Outside>,
    /// Of each note that went to another octave its phrase, and how far it went.
    moved: BTreeMap<NoteId, (usize, i32)>,
    changes: Changes,
    better: Option<BetterOctave>,
}

impl InRange {
    pub fn new(part: &Part, instrument: &Instrument, changes: Changes) -> InRange {
        let checked = check(part, instrument, None);
        let better = BetterOctave::of(part, instrument, &checked);
        let outside = checked.outside.into_iter().map(|o| (o.note, o)).collect();
        let mut moved = BTreeMap::new();
        // All voices go together, so a phrase is all that is played between its ends.
        for (phrase, change) in changes.done.iter().enumerate() {
            let Some((from, to)) = change.from.place().zip(change.to.place()) else { continue };
            let own = played(part).filter(|note| (from..=to).contains(&part.notes[*note].place()));
            moved.extend(own.flat_map(|note| part.tied(note)).map(|note| (note, (phrase, change.octaves))));
        }
        InRange { instrument: instrument.name.clone(), outside, moved, changes, better }
    }

    /// Whether a note is outside. What is tied to it is not said again.
    pub fn is_outside(&self, note: NoteId) -> bool {
        self.outside.contains_key(&note)
    }

    pub fn moved(&self, note: NoteId) -> Option<(usize, i32)> {
        self.moved.get(&note).copied()
    }

    /// For the page: in words, and where each thing stands.
    pub fn told(&self, part: &Part) -> Value {
        let mut bars: BTreeMap<usize, Vec<&Outside>> = BTreeMap::new();
        self.outside.values().for_each(|o| bars.entry(part.notes[o.note].bar).or_default().push(o));
        let bar = |(bar, own): (&usize, &Vec<&Outside>)| {
            let number = &part.bars[*bar].number;
            let at = part.notes[own[0].note].place();
            let pitches: Vec<String> = own.iter().map(|o| o.pitch.to_string()).collect();
            json!({
                "part": part.id, "bar": bar, "at": format!("{number}:{}", beat_text(part.beat(at))),
                "what": format!("bar {number}"), "why": pitches.join(", "),
            })
        };
        let summary = match self.outside.len() {
            0 => format!("Every note lies within the range of the {}.", self.instrument),
            n => format!(
                "{} the range of the {}, in {} {}.",
                if n == 1 { "1 note leaves".into() } else { format!("{} leave", count(n, "note")) },
                self.instrument,
                if bars.len() == 1 { "bar" } else { "bars" },
                bar_list(bars.keys().map(|bar| (*bar, part.bars[*bar].number.as_str()))),
            ),
        };
        let better = self.better.as_ref().map_or(String::new(), |better| {
            let other = better.instrument.as_ref().map_or(String::new(), |name| format!(" The {name} plays it there."));
            format!(" {}{other}", better.fits)
        });
        let change = |change: &Change| {
            let (place, rest) = change.sentence.split_once(": ").unwrap_or((&change.sentence, ""));
            let (what, why) = rest.split_once(", ").unwrap_or((rest, ""));
            json!({
                "part": part.id, "bar": change.from.bar_index,
                "at": format!("{}:{}", change.from.bar, change.from.beat),
                "what": format!("{place}: {what}"), "why": why,
            })
        };
        json!({
            "summary": summary + &better,
            "outside": bars.iter().map(bar).collect::<Vec<_>>(),
            "moved": self.changes.done.iter().map(change).collect::<Vec<_>>(),
            "not_moved": self.changes.not_done.iter().map(change).collect::<Vec<_>>(),
        })
    }
}
