//! Why a key is good or bad, and an octave change, in plain words.

use super::Point;
use super::keys_part::{Easiest, OctaveChange, PartInKeys};
use super::phrases::{count, octaves_away, stretch};
use crate::keys::Trial;
use crate::keys::phrases::{Move, Seam};
use crate::pitch::Pitch;
use crate::score::{NoteId, Part};

impl PartInKeys<'_> {
    pub(super) fn reason(&self, trial: &Trial) -> String {
        let mut said = vec![self.fit(trial)];
        if let Some(fingers) = &trial.fingers {
            if !fingers.untrue.is_empty() {
                said.push(self.untrue(&fingers.untrue));
            }
            if let Some(Easiest { difficulty, one, all }) = self.easiest.as_ref().filter(|e| e.difficulty > 0.0) {
                let times = fingers.difficulty / difficulty;
                said.push(match times {
                    1.0 => format!("the easiest under the fingers of all keys {all}"),
                    t if t > 1.05 => format!("{t:.1} times as hard as the easiest key {one}"),
                    t if t > 0.95 => format!("about as easy as the easiest key {one}"),
                    _ => format!("easier than any key {one}"),
                });
            }
        }
        if trial.lies_high() {
            said.push(format!("lies high ({} of {} notes)", trial.top_register, trial.notes));
        }
        said.join("; ")
    }

    fn fit(&self, trial: &Trial) -> String {
        let moves = &trial.proposal.moves;
        let moved: usize = moves.iter().map(|m| m.notes.len()).sum();
        let them = match moves.as_slice() {
            [one] => {
                let change = OctaveChange::new(self.part, one);
                let noun = count(moved, "note");
                format!(
                    "{} ({noun}) {} {}",
                    stretch(&change.from, &change.to),
                    goes(&change),
                    octaves_away(one.octaves)
                )
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

impl OctaveChange {
    pub(super) fn new(part: &Part, m: &Move) -> OctaveChange {
        let [from, to] = ends(part, m).map(|note| Point::new(part, part.notes[note].place()));
        OctaveChange {
            from,
            to,
            voice: m.voice,
            octaves: m.octaves,
            notes: m.notes.len(),
            below: m.below,
            above: m.above,
            outside_after: m.left,
            sentence: octave_change_sentence(part, m),
        }
    }
}

/// The first and the last note of a move as it sounds.
pub(super) fn ends(part: &Part, m: &Move) -> [NoteId; 2] {
    let when = |note: &NoteId| (part.notes[*note].bar, part.notes[*note].offset);
    let first = m.notes.iter().copied().min_by_key(when).expect("a move has a note");
    [first, m.notes.iter().copied().max_by_key(when).unwrap_or(first)]
}

/// An octave change in one sentence: where, how far, why, and what it does at both ends.
pub fn octave_change_sentence(part: &Part, m: &Move) -> String {
    let at = |note: NoteId| Point::new(part, part.notes[note].place());
    let [first, last] = ends(part, m);
    let place = stretch(&at(first), &at(last));
    let why = match (m.below, m.above) {
        (0, 0) => "none of them outside, to keep the line whole".to_string(),
        (below, 0) => format!("{below} of them below the range"),
        (0, above) => format!("{above} of them above the range"),
        (below, above) => format!("{below} of them below the range and {above} above it"),
    };
    let left = match m.left {
        0 => "then all fit".to_string(),
        1 => "1 is still outside".to_string(),
        n => format!("{n} are still outside"),
    };
    let seam = |seam: Seam, what: &str, edge: &str| match seam {
        Seam::Edge => format!("{what} {edge} the part"),
        Seam::Rest => format!("{what} at a rest or breath"),
        Seam::Leap { was, becomes } => format!("{what} at a leap ({} becomes {})", was.name(), becomes.name()),
    };
    format!(
        "{place}: {} {}, {why}; {left}; {}, {}",
        count(m.notes.len(), "note"),
        octaves_away(m.octaves),
        seam(m.begins, "begins", "with"),
        seam(m.ends, "ends", "with"),
    )
}
