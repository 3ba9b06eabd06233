//! Scores that are odd and right: signatures of single accidentals, parts without names, bars with time left over.

use crate::common::adapt::written;
use crate::common::music::{Style, score};
use crate::common::program::{obelus, obelus_fails};
use std::fs;

const PLAIN: &str = "<key>\n          <fifths>0</fifths>\n        </key>";

/// A score in D with F sharp and B flat in its signature, and nothing printed at its notes.
fn hijaz() -> String {
    let text = score(&Style::default(), "F#4q G4q A4q Bb4q | Bb4h F#4h");
    let signs = "<key><key-step>F</key-step><key-alter>1</key-alter><key-accidental>sharp</key-accidental>\
                 <key-step>B</key-step><key-alter>-1</key-alter><key-accidental>flat</key-accidental>\
                 <key-octave number=\"1\">5</key-octave><key-octave number=\"2\">4</key-octave></key>";
    let text = text.replace(PLAIN, signs);
    assert!(text.contains(signs));
    let bare = text.replace("<accidental>sharp</accidental>", "").replace("<accidental>flat</accidental>", "");
    assert!(!bare.contains("<accidental>"));
    bare
}

fn cleaned(text: &str, options: &[&str]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (edition, source, copy) = (path("edition.xml"), path("source.xml"), path("copy.xml"));
    fs::write(&edition, text).unwrap();
    fs::write(&source, text).unwrap();
    obelus(&[&["clean", &edition, &source, "-o", &copy], options].concat());
    fs::read_to_string(copy).unwrap()
}

fn all<'t>(text: &'t str, name: &str) -> Vec<&'t str> {
    text.split(&format!("<{name}>")).skip(1).filter_map(|rest| rest.split('<').next()).collect()
}

#[test]
fn a_signature_of_single_accidentals_moves_with_its_music() {
    let up = cleaned(&hijaz(), &["--transpose", "up a major second"]);
    // B flat becomes C, and E becomes F sharp: the signature is of the same scale, a tone higher.
    assert_eq!((all(&up, "key-step"), all(&up, "key-alter")), (vec!["G", "F"], vec!["1", "1"]));
    assert_eq!(all(&up, "key-accidental"), ["sharp", "sharp"]);
    assert!(up.contains("<key-octave number=\"1\">5</key-octave>") && up.matches("<key-octave").count() == 1);
    assert_eq!(all(&up, "step"), ["G", "A", "B", "C", "C", "G"]);
    // Its notes need no more signs than before.
    assert!(!up.contains("<accidental>"), "{up}");
    // An octave moves nothing, and a step back leads to where it was.
    let octave = cleaned(&hijaz(), &["--transpose", "up an octave"]);
    assert_eq!((all(&octave, "key-step"), all(&octave, "key-alter")), (vec!["F", "B"], vec!["1", "-1"]));
    let back = cleaned(&up, &["--transpose", "down a major second"]);
    assert_eq!(all(&back, "step"), all(&hijaz(), "step"));
    let signs = |text: &str| {
        let mut signs: Vec<_> =
            all(text, "key-step").into_iter().zip(all(text, "key-alter")).map(|s| format!("{s:?}")).collect();
        signs.sort();
        signs
    };
    assert_eq!(signs(&back), signs(&hijaz()));
}

#[test]
fn a_signature_of_single_accidentals_that_needs_none_any_more() {
    let text = hijaz()
        .replace("<key-alter>-1</key-alter><key-accidental>flat", "<key-alter>1</key-alter><key-accidental>sharp");
    // F sharp and B sharp a fourth higher are B and E sharp.
    assert_eq!(all(&cleaned(&text, &["--transpose", "up a perfect fourth"]), "key-step"), ["E"]);
    let one = score(&Style::default(), "F#4q G4q A4q B4q")
        .replace(PLAIN, "<key><key-step>F</key-step><key-alter>1</key-alter></key>");
    let up = cleaned(&one, &["--transpose", "up a perfect fourth"]);
    assert!(up.contains("<fifths>0</fifths>") && !up.contains("key-step"), "{up}");
}

#[test]
fn a_signature_of_single_accidentals_is_written_for_an_instrument() {
    let clarinet = written(&hijaz(), "clarinet in B flat");
    assert_eq!((all(&clarinet, "key-step"), all(&clarinet, "key-alter")), (vec!["G", "F"], vec!["1", "1"]));
    assert_eq!(all(&clarinet, "step"), ["G", "A", "B", "C", "C", "G"]);
    // For an instrument that changes, the signature is said again where it does.
    let change = "<measure number=\"2\">\n      <attributes><transpose><diatonic>-1</diatonic><chromatic>-2</chromatic>\
                  </transpose></attributes>";
    let changing = hijaz().replace("<measure number=\"2\">", change);
    let flute = written(&changing, "modern flute");
    assert_eq!(all(&flute, "key-step"), ["F", "B", "A", "B"]);
    assert_eq!(all(&flute, "key-alter"), ["1", "-1", "-1", "-1"]);
}

#[test]
fn the_key_that_numerals_count_in_moves_too() {
    let numeral = "<harmony><numeral><numeral-root>5</numeral-root><numeral-key><numeral-fifths>-1</numeral-fifths>\
                   <numeral-mode>major</numeral-mode></numeral-key></numeral><kind>major</kind></harmony>";
    let text = score(&Style::default(), "F4q G4q A4q B4q").replacen("<note>", &format!("{numeral}<note>"), 1);
    assert_eq!(all(&cleaned(&text, &["--transpose", "up a major second"]), "numeral-fifths"), ["1"]);
}

#[test]
fn a_part_without_a_name_is_written_for_an_instrument() {
    let text = score(&Style::default(), "C5q D5q E5q F5q");
    let name = "<part-name>Flute</part-name>";
    let named = |text: &str| text.matches("<part-name>alto recorder</part-name>").count();
    let (open, close) = (text.find("<part-list>").unwrap(), text.find("</part-list>").unwrap());
    let list = &text[open..close + "</part-list>".len()];
    let start = list.find("<part-name>").unwrap();
    let end = list.find("</part-name>").unwrap() + "</part-name>".len();
    let own = &list[start..end];
    for other in [
        list.replace(own, ""),
        list.replace(own, "<part-name/>"),
        list.replace(own, "<identification/><part-link/><part-abbreviation>F.</part-abbreviation>"),
        "<part-list/>".to_string(),
        String::new(),
    ] {
        let copy = written(&text.replace(list, &other), "alto recorder");
        assert_eq!(named(&copy), 1, "{copy}");
        assert!(!copy.contains(name));
    }
    let at = |copy: &str, what: &str| copy.find(what).unwrap();
    let copy =
        written(&text.replace(own, "<identification/><part-abbreviation>F.</part-abbreviation>"), "alto recorder");
    assert!(at(&copy, "<identification/>") < at(&copy, "<part-name>"), "{copy}");
    // Without an id it cannot be named: that is no failure of the proof.
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let nameless = text.replace(list, "").replace("<part id=\"P1\">", "<part>");
    fs::write(path("a.xml"), &nameless).unwrap();
    fs::write(path("b.xml"), &nameless).unwrap();
    let failed =
        obelus_fails(&["clean", &path("a.xml"), &path("b.xml"), "-o", &path("c.xml"), "--for", "alto recorder"]);
    assert!(failed.status == 2 && failed.stderr.contains("no id"), "{}: {}", failed.status, failed.stderr);
}

/// Time that only passes makes no bar longer, with a measure or without: values are no other for it.
#[test]
fn time_at_the_end_of_every_bar_is_no_length() {
    let bars =
        "C5q D5q E5q F5q | G5q E5q C5q D5q | B4q D5q G4q A4q | C5q B4q A4q G4q | A4q F4q B4q C5q | D5q E5q F5q D5q";
    let metered = score(&Style::default(), bars);
    let time = metered.find("<time>").unwrap()..metered.find("</time>").unwrap() + "</time>".len();
    for measure in [&metered[time.clone()], "<time><senza-misura/></time>", ""] {
        let plain = metered.replace(&metered[time.clone()], measure);
        for quarters in 1..=8 {
            let divisions: i64 = plain.split("<divisions>").nth(1).unwrap().split('<').next().unwrap().parse().unwrap();
            let forward = format!("<forward><duration>{}</duration></forward></measure>", divisions * quarters);
            let longer = plain.replace("</measure>", &forward);
            let folder = tempfile::tempdir().unwrap();
            let path = |name: &str| folder.path().join(name).display().to_string();
            fs::write(path("plain.xml"), &plain).unwrap();
            fs::write(path("longer.xml"), &longer).unwrap();
            for (edition, source) in [("plain.xml", "longer.xml"), ("longer.xml", "plain.xml")] {
                let said = obelus(&["audit", &path(edition), &path(source)]);
                assert!(said.contains("24 notes against 24: all match."), "{measure} {quarters}: {said}");
                assert!(!said.contains("as long"), "{measure} {quarters}: {said}");
            }
        }
    }
}
