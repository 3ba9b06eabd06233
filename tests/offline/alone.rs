//! `clean --alone`: one line of the edition comes out as a part of its own, and
//! is what it was. That the copies are valid is looked at in `tests/external/valid.rs`.

use crate::common::desk::Desk;
use crate::common::lines::{self, BASS, TUNE, args, piano, plain};
use crate::common::program::{Failed, json_of, obelus_fails, obelus_with};
use serde_json::Value;

/// What the program says, and the copy, in which nothing is left of other lines.
fn copy(desk: &Desk, options: &str) -> (String, String) {
    let (said, text) = lines::copy(desk, options);
    for gone in ["<staves>", "<staff>", "clef number"] {
        assert!(!text.contains(gone), "{gone} stands in {text}");
    }
    assert_eq!(one(&text, "<score-part "), 1, "{text}");
    (said, text)
}

/// The same, and the copy is the source.
fn alone(desk: &Desk, options: &str) -> (String, String) {
    let (said, text) = copy(desk, options);
    let report = json_of(&["audit", &desk.at("copy.musicxml"), &desk.at("source.musicxml"), "--format", "json"]);
    let parts = report["parts"].as_array().unwrap();
    let found: Vec<&Value> = parts.iter().flat_map(|p| p["findings"].as_array().unwrap()).collect();
    assert_eq!((parts.len(), found.len()), (1, 0), "{found:#?}\n{text}");
    (said, text)
}

fn fails(desk: &Desk, options: &str) -> Failed {
    obelus_fails(&args(desk, options).iter().map(String::as_str).collect::<Vec<_>>())
}

fn one(text: &str, what: &str) -> usize {
    text.matches(what).count()
}

/// The notes of a copy: what is written of each, without its layout.
fn notes(text: &str) -> Vec<String> {
    let all = text.split("<note").skip(1).map(|n| n.split("</note>").next().unwrap());
    let of =
        |n: &str, name: &str| n.split(&format!("<{name}>")).nth(1).and_then(|t| t.split('<').next()).map(String::from);
    all.map(|n| {
        let pitch = of(n, "step").map(|step| step + &of(n, "octave").unwrap()).unwrap_or("r".into());
        let chord = if n.contains("<chord") { "+" } else { "" };
        format!("{chord}{pitch}:{}", of(n, "duration").unwrap_or("0".into()))
    })
    .collect()
}

#[test]
fn the_tune_comes_out_of_a_piano_edition() {
    let desk = Desk::with(&piano(), &plain(TUNE));
    let (said, text) = alone(&desk, "--staff 1");
    assert!(said.contains("It holds only the edition's Piano, staff 1, as a separate part."), "{said}");
    assert_eq!(one(&text, "<backup>") + one(&text, "<forward>"), 0, "{text}");
    assert_eq!((one(&text, "<clef>"), one(&text, "<sign>F</sign>")), (1, 0));
    assert_eq!(one(&text, "<part-name>Piano</part-name>"), 1);
    assert!(text.contains("settings: additions strip, Piano, staff 1 alone"), "{text}");
}

#[test]
fn what_stands_once_for_all_goes_with_the_lower_staff() {
    let desk = Desk::with(&piano(), &plain(BASS));
    let (_, text) = alone(&desk, "--staff 2");
    assert_eq!((one(&text, "<clef>"), one(&text, "<sign>G</sign>")), (1, 0));
    assert_eq!((one(&text, "<repeat"), one(&text, "<time>"), one(&text, "Andante")), (2, 2, 1), "{text}");
    let (name, at) = ("<words>Andante", text.find("<note>").unwrap());
    assert!(text.find(name).unwrap() < at, "the tempo stands before the first note: {text}");
}

#[test]
fn an_instrument_gets_the_tune() {
    let desk = Desk::with(&piano(), &plain(TUNE));
    let (said, text) = copy(&desk, "--staff 1 --for alto_recorder");
    assert!(said.contains("It holds only the edition's Piano, staff 1"), "{said}");
    assert_eq!(one(&text, "<part-name>Alto recorder</part-name>"), 1, "{text}");
}

#[test]
fn a_voice_is_silent_where_it_was() {
    let desk = Desk::with(&lines::voices(), &plain("rh F#4h | rw | G4h rh"));
    let (_, text) = alone(&desk, "--voice 2");
    assert_eq!(notes(&text), ["F4:96", "r:192", "G4:96", "r:96"]);
    assert_eq!(one(&text, "<forward>"), 1, "{text}");
    assert_eq!(one(&text, "<rest measure=\"yes\"/>"), 1);
}

#[test]
fn signs_that_two_voices_shared() {
    let edition = lines::shared_sign();
    let desk = Desk::with(&edition, &plain("rh F#5h"));
    let (_, text) = alone(&desk, "--voice 2");
    assert_eq!(one(&text, "<accidental>sharp</accidental>"), 1, "the sharp that the other voice printed: {text}");
    let desk = Desk::with(&edition, &plain("F#5h G5h"));
    let (_, text) = alone(&desk, "--voice 1");
    assert_eq!((one(&text, "<stem>"), one(&text, "<accidental>")), (0, 1), "{text}");
}

#[test]
fn a_chord_of_two_staves_is_divided() {
    let edition = lines::divided_chords();
    let desk = Desk::with(&edition, &plain("E4+G4h E4+G4h | rw"));
    let (_, text) = alone(&desk, "--staff 1");
    assert_eq!(notes(&text), ["E4:96", "+G4:96", "E4:96", "+G4:96", "r:192"]);
    let desk = Desk::with(&edition, &plain("C4h C4h | C4w"));
    let (_, text) = alone(&desk, "--staff 2");
    assert_eq!(notes(&text), ["C4:96", "C4:96", "C4:192"]);
}

#[test]
fn what_reaches_into_another_line_is_told() {
    let edition = lines::slur_across();
    let desk = Desk::with(&edition, &plain("rh A4h | rw | G3h~ G3h"));
    let (said, text) = copy(&desk, "--staff 2");
    assert!(said.contains("the slur in bar 1 is partly in another line; it was left out"), "{said}");
    assert_eq!((one(&text, "<slur"), one(&text, "<tie ")), (0, 2), "{text}");
    // The other staff has its end.
    let desk = Desk::with(&edition, &plain("C5h rh | D5h E5h | rw"));
    let (said, text) = copy(&desk, "--staff 1");
    assert!(said.contains("the slur in bar 1 is partly in another line; it was left out"), "{said}");
    assert_eq!((one(&text, "<slur"), one(&text, "<tie ")), (0, 0), "{text}");
}

#[test]
fn one_of_several_parts_and_of_a_timewise_score() {
    let source = plain("E4h F4h | G4w");
    let desk = Desk::with(&lines::flute_and_piano(), &source);
    obelus_with(&args(&desk, "--alone --part Piano --staff 2"));
    let text = desk.read("copy.musicxml");
    assert_eq!((one(&text, "<score-part "), one(&text, "<part "), one(&text, "Flute")), (1, 1, 0));
    let desk = Desk::with(&lines::flute_and_piano_timewise(), &source);
    let (_, text) = alone(&desk, "--part Piano --staff 2");
    assert_eq!(notes(&text), ["E4:96", "F4:96", "G4:192"]);
}

#[test]
fn a_line_must_be_named() {
    let desk = Desk::with(&piano(), &plain(TUNE));
    let failed = fails(&desk, "--alone");
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains("name it with --part, --staff or --voice"), "{}", failed.stderr);
    let failed = fails(&desk, "--alone --staff 3");
    assert_eq!(failed.status, 2, "{}", failed.stderr);
}
