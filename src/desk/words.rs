//! The user's own marks, as a musician speaks of them.

use crate::clean::{BarBeat, SheetMark};
use crate::musicxml::rewrite::NewMark;
use crate::time::beat_text;

/// What a mark is, without its place: `mf`, `slur`.
fn name(mark: &SheetMark) -> Option<String> {
    Some(match mark.kind().ok()? {
        NewMark::Dynamics(text) | NewMark::Expression(text) | NewMark::Tempo(text) | NewMark::Text(text) => text,
        NewMark::Hairpin { louder } => if louder { "crescendo" } else { "diminuendo" }.into(),
        NewMark::Slur => "slur".into(),
        NewMark::Articulation(name) => name.replace('-', " "),
        NewMark::Ornament(name) => name.trim_end_matches("-mark").replace('-', " "),
        NewMark::Breath => "breath".into(),
        NewMark::Fermata => "fermata".into(),
        NewMark::Fingering(text) => format!("fingering {text}"),
        NewMark::Metronome { .. } => mark.metronome.clone().unwrap_or_default(),
    })
}

/// A mark with its place: `mf, bar 3, beat 1`.
pub fn in_words(mark: &SheetMark) -> String {
    let Some(what) = name(mark) else { return mark.to_string() };
    let place = |place: &BarBeat| format!("bar {}, beat {}", place.bar, beat_text(place.beat));
    let part = mark.part.as_ref().map_or(String::new(), |part| format!(" ({part})"));
    match mark.places() {
        Ok((at, None)) => format!("{what}, {}{part}", place(&at)),
        Ok((from, Some(to))) => format!("{what}, {} to {}{part}", place(&from), place(&to)),
        Err(_) => what,
    }
}

/// That a mark is another now: elsewhere, or otherwise.
pub fn moved(old: &SheetMark, new: &SheetMark) -> String {
    let Some(what) = name(old).filter(|what| name(new).as_ref() == Some(what)) else {
        return format!("change {} to {}", in_words(old), in_words(new));
    };
    let place = |place: &BarBeat| format!("bar {}, beat {}", place.bar, beat_text(place.beat));
    match (old.places(), new.places()) {
        (Ok((from, None)), Ok((to, None))) => format!("move {what} from {} to {}", place(&from), place(&to)),
        (_, Ok((from, Some(to)))) => format!("move {what}, now {} to {}", place(&from), place(&to)),
        _ => format!("change {what}"),
    }
}

/// A mark in the middle of a sentence: `turn in bar 26`.
fn in_bar(mark: &SheetMark) -> String {
    let Some(what) = name(mark) else { return mark.to_string() };
    match mark.places() {
        Ok((from, Some(to))) if from.bar != to.bar => format!("{what} from bar {} to bar {}", from.bar, to.bar),
        Ok((at, _)) => format!("{what} in bar {}", at.bar),
        Err(_) => what,
    }
}

fn joined(marks: &[SheetMark]) -> String {
    let all: Vec<String> = marks.iter().map(in_bar).collect();
    match &all[..] {
        [before @ .., last] if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        _ => all.concat(),
    }
}

/// That marks were taken off, since their notes are gone; nothing where there are none.
pub fn gone(marks: &[SheetMark]) -> Option<String> {
    match marks.len() {
        0 => None,
        1 => Some(format!("Your {} stood on a note that is gone; undo brings it back.", joined(marks))),
        _ => Some(format!("Your {} stood on notes that are gone; undo brings them back.", joined(marks))),
    }
}

/// That marks stand on no note, for they are of another copy.
pub fn without_place(marks: &[SheetMark]) -> Option<String> {
    match marks.len() {
        0 => None,
        1 => Some(format!("Your {} stands on no note of this part; move it or remove it.", joined(marks))),
        _ => Some(format!("Your {} stand on no note of this part; move them or remove them.", joined(marks))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(at: &str) -> SheetMark {
        SheetMark { at: Some(at.into()), ornament: Some("turn".into()), ..SheetMark::default() }
    }

    #[test]
    fn marks_that_are_gone_are_told_in_one_sentence() {
        assert_eq!(gone(&[]), None);
        assert_eq!(
            gone(&[mark("26:2")]).unwrap(),
            "Your turn in bar 26 stood on a note that is gone; undo brings it back."
        );
        let slur =
            SheetMark { from: Some("3:1".into()), to: Some("4:2".into()), slur: Some(true), ..SheetMark::default() };
        assert_eq!(
            gone(&[mark("2:1"), mark("3:1"), slur]).unwrap(),
            "Your turn in bar 2, turn in bar 3 and slur from bar 3 to bar 4 stood on notes that are gone; undo brings \
             them back."
        );
    }
}
