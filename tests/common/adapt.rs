//! A score cleaned by itself and then made one's own, by the library; and such scores.

use super::music::{Style, score, scores};
use obelus::{
    Cleaned, Comparison, Failure, Input, Instrument, Instruments, Lines, PartFor, Player, Policy, ReadAs, ReadScore,
    Texts, Wishes,
};
use std::ops::Deref;
use std::sync::LazyLock;

static TABLE: LazyLock<Instruments> = LazyLock::new(Instruments::standard);

/// A copy's text, and what was done.
#[derive(Debug)]
pub struct Adapted {
    pub text: String,
    cleaned: Cleaned,
}

impl Deref for Adapted {
    type Target = Cleaned;

    fn deref(&self) -> &Cleaned {
        &self.cleaned
    }
}

/// # Panics
/// If the standard table has no such instrument.
pub fn instrument(name: &str) -> &'static Instrument {
    TABLE.find(name).unwrap()
}

/// The first part made to fit, at most moving octaves.
pub fn fit(text: &str, name: &str) -> Adapted {
    let players = vec![Player { instrument: instrument(name), asked: None, part: 0 }];
    adapt(text, &Wishes { players, fit: true, ..Wishes::default() }).unwrap()
}

/// The first part written for an instrument, and called so.
pub fn write_for(text: &str, instrument: &Instrument, asked: Option<ReadAs>) -> Result<Adapted, Failure> {
    let player = Player { instrument, asked, part: 0 };
    let written_for = Some(PartFor { player, name: Some(instrument.name.clone()) });
    adapt(text, &Wishes { written_for, ..Wishes::default() })
}

pub fn adapt(text: &str, wishes: &Wishes) -> Result<Adapted, Failure> {
    let input = Input::from_bytes("score.musicxml", text.into()).unwrap();
    let read = || ReadScore::of(&input).unwrap();
    let comparison = Comparison::new(read(), read(), &Lines::default()).unwrap();
    let texts = Texts::new();
    let (copy, cleaned) = comparison.clean(&Policy::default(), wishes, None, &texts)?;
    Ok(Adapted { text: copy.text().to_string(), cleaned })
}

pub fn written(text: &str, name: &str) -> String {
    write_for(text, instrument(name), None).unwrap().text
}

pub fn named(style: Style, name: &str) -> Style {
    Style { name: name.into(), ..style }
}

pub fn in_key(fifths: i32) -> Style {
    Style { fifths, ..Style::default() }
}

/// A part for the clarinet in A that goes over to the one in B flat, without a new key and with one.
pub fn changing_clarinets() -> [String; 2] {
    let text = score(
        &Style { transpose: Some((-2, -3)), name: "Clarinet".into(), ..in_key(0) },
        "C5q D5q E5q F5q | G5w | B4q C#5q D#5q E5q",
    );
    let change = "      <attributes>\n        <transpose>\n          <diatonic>-1</diatonic>\n          <chromatic>-2</chromatic>\n        \
                  </transpose>\n      </attributes>\n";
    let keyed =
        change.replace("<transpose>", "<key>\n          <fifths>5</fifths>\n        </key>\n        <transpose>");
    let head = "<measure number=\"3\">\n";
    [change, &keyed].map(|change| text.replace(head, &format!("{head}{change}")))
}

const FLUTE: &str = "<part-name print-object=\"no\">Flute</part-name><part-name-display><display-text>Flute</display-text>\
                    </part-name-display><part-abbreviation>Fl.</part-abbreviation><score-instrument id=\"P1-I1\">\
                    <instrument-name>Flute</instrument-name><instrument-sound>wind.flutes.flute</instrument-sound>\
                    </score-instrument><midi-instrument id=\"P1-I1\"><midi-channel>1</midi-channel>\
                    <midi-program>74</midi-program></midi-instrument>";

/// A part whose head says how it is called and how it is played back.
pub fn flute_with_its_sound() -> String {
    score(&named(in_key(0), "Flute"), "C5q D5q E5h").replace("<part-name>Flute</part-name>", FLUTE)
}

/// A table with an instrument of which only the range is known.
pub fn shawm() -> Instruments {
    let folder = tempfile::tempdir().unwrap();
    let table = folder.path().join("mine.toml");
    std::fs::write(&table, "[[instrument]]\nname = \"shawm\"\nwritten = [\"C4\", \"A5\"]\n").unwrap();
    Instruments::with_file(&table).unwrap()
}

pub fn duet() -> String {
    scores(&[(named(in_key(1), "Oboe"), "G4q A4e B4e C5q D5q | E4w"), (named(in_key(1), "Basso"), "G3w | G3w")])
}
