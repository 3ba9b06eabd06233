//! Editions whose additions are set apart, and the copies of them.

use super::compare::compare_with;
use super::music::{Style, score};
use super::sample::{bare, room, sample};
use obelus::testing::{ELEMENTS, Placement};
use obelus::{Additions, Policy};

pub fn policy(additions: Additions) -> Policy {
    Policy { additions, ..Policy::default() }
}

/// The copy of an edition.
pub fn set_apart(edition: &str, source: &str, additions: Additions) -> String {
    compare_with(edition, source, &policy(additions)).clean
}

/// Every element that is a mark, in a score that has it and in one that has not.
pub fn pairs() -> Vec<(String, String, String)> {
    let marks = ELEMENTS.iter().filter(|s| matches!(s.is, Placement::Mark(_) | Placement::Words));
    let elements = marks.flat_map(|s| s.names().map(|name| (s.of, name)));
    elements
        .map(|(of, name)| {
            let (first, second) = sample(of, name);
            (format!("{of}-{name}"), room(of, &first, &second).score(), bare(of, name).score())
        })
        .collect()
}

/// The same with another rhythm in the source, where the mark can stand in a bar that is written again.
pub fn pairs_of_another_rhythm() -> Vec<(String, String, String)> {
    let notes_own =
        |name: &str| !name.starts_with("attributes") && !name.starts_with("barline") && name != "note-grace";
    let own = pairs().into_iter().filter(|pair| notes_own(&pair.0));
    own.map(|(name, with, without)| (name, with, with_another_rhythm(&without))).collect()
}

/// The same score with another rhythm at the end of the bar that holds the marks.
fn with_another_rhythm(score: &str) -> String {
    let (before, after) = score.split_once("<measure number=\"3\">").unwrap();
    let note = before.rfind("<note>").unwrap();
    let (head, last) = before.split_at(note);
    let end = last.find("</note>").unwrap() + "</note>".len();
    let eighth = last[..end].replace(">24<", ">12<").replace("quarter", "eighth");
    format!("{head}{eighth}\n      {eighth}{}<measure number=\"3\">{after}", &last[end..])
}

pub const TUNE: &str = "G4q A4e B4e C5q D5q | E5e D5e C5e B4e A4h | B4q G4q C5e B4e A4e G4e | F#4q A4q D4h";

pub fn g_major(music: &str) -> String {
    score(&Style { fifths: 1, ..Style::default() }, music)
}

/// An edition and a source with something added, something left out and something altered.
pub fn three_kinds_of_change() -> (String, String) {
    let source = "%p G4q A4e(slur[) B4e(slur]) C5q(mordent) D5q | E5e D5e C5e B4e A4h(fermata) | B4q G4q C5e B4e A4e G4e | \
                  \"dolce\" F#4q A4q(accent) D4h";
    let edition =
        "%f G4q A4e B4e C5q(turn) D5q | E5e D5e F5e B4e A4h | B4q G4q C5e. B4s A4e G4e | F#4q A4q \"dolce\" D4h";
    (g_major(edition), g_major(source))
}

/// An edition that has a bar less than its source.
pub fn cut() -> (String, String) {
    let long = [TUNE, "D5e E5e F#5e G5e A5h", TUNE].join("|");
    (g_major(&[TUNE, TUNE].join("|")), g_major(&long))
}
