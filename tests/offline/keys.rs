//! `obelus keys`, and the hardest stretches of `range` and `audit`, on music
//! whose answers are known.

use crate::common::music::{Style, score};
use crate::common::program::{json_of, obelus, obelus_fails};
use serde_json::Value;
use std::path::{Path, PathBuf};

struct Piece {
    _folder: tempfile::TempDir,
    path: PathBuf,
}

fn piece(style: &Style, music: &str) -> Piece {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("piece.musicxml");
    std::fs::write(&path, score(style, music)).unwrap();
    Piece { _folder: folder, path }
}

impl Piece {
    fn json(&self, command: &str, options: &[&str]) -> Value {
        json_of(&[&[command, self.path.to_str().unwrap(), "--format", "json"], options].concat())
    }

    fn text(&self, command: &str, options: &[&str]) -> String {
        obelus(&[&[command, self.path.to_str().unwrap()], options].concat())
    }

    fn keys(&self, instrument: &str) -> Value {
        self.json("keys", &["--instrument", instrument])["parts"][0]["instruments"][0].take()
    }
}

fn key(keys: &Value, semitones: i64) -> &Value {
    let all = keys["transpositions"].as_array().unwrap();
    all.iter().find(|k| k["transposition"]["semitones"] == semitones).unwrap()
}

fn in_key(fifths: i32) -> Style {
    Style { fifths, ..Style::default() }
}

fn difficulty(fifths: i32, music: &str) -> f64 {
    key(&piece(&in_key(fifths), music).keys("alto recorder"), 0)["difficulty"].as_f64().unwrap()
}

// Arithmetic: the flute's D4 to E6 a minor third up is the alto's F4 to G6, and
// only D#6 or Eb6 lands on the note that it lacks.
#[test]
fn the_flutes_compass_fits_the_alto_a_minor_third_up_but_for_one_note() {
    let flute = "D4q D#4q E4q F4q | F#4q G4q G#4q A4q | Bb4q B4q C5q C#5q | D5q Eb5q E5q F5q \
                 | F#5q G5q Ab5q A5q | Bb5q B5q C6q C#6q | D6q D#6q E6h";
    let keys = piece(&in_key(1), flute).keys("alto recorder");
    let up = key(&keys, 3);
    assert_eq!(up["transposition"]["name"], "up a minor third");
    assert_eq!(up["fifths"], -2);
    assert_eq!((&up["written"]["lowest"]["pitch"], &up["written"]["highest"]["pitch"]), (&"F4".into(), &"G6".into()));
    assert_eq!(up["outside"], 0);
    assert_eq!(up["no_true_fingering"].as_array().unwrap().len(), 1);
    assert_eq!(up["no_true_fingering"][0]["pitch"], "F#6");
    assert_eq!(up["no_true_fingering"][0]["bar"], "7");
    let reason = up["reason"].as_str().unwrap();
    assert!(reason.starts_with("fits exactly; one F#6 in bar 7 has no true fingering"), "{reason}");
    for other in (-12..=12).filter(|s| *s != 3) {
        assert!(key(&keys, other)["outside"].as_u64() > Some(0), "{other}");
    }
    let flat = piece(&in_key(1), &flute.replace("D#6", "Eb6")).keys("alto recorder");
    assert_eq!(key(&flat, 3)["no_true_fingering"][0]["pitch"], "Gb6");
}

// Orderings that players agree on: common practice, no source.
#[test]
fn a_scale_in_a_plain_key_is_easier_than_in_five_sharps() {
    let scale = |names: [&str; 7]| {
        let up: String = names.iter().map(|n| format!("{n}e ")).collect();
        let down: String = names.iter().rev().map(|n| format!("{n}e ")).collect();
        format!("{up}{}e | {down}{}e", names[6], names[0])
    };
    let b = difficulty(5, &scale(["B4", "C#5", "D#5", "E5", "F#5", "G#5", "A#5"]));
    for (fifths, names) in [
        (-1, ["F4", "G4", "A4", "Bb4", "C5", "D5", "E5"]),
        (0, ["C5", "D5", "E5", "F5", "G5", "A5", "B5"]),
        (1, ["G4", "A4", "B4", "C5", "D5", "E5", "F#5"]),
        (-2, ["Bb4", "C5", "D5", "Eb5", "F5", "G5", "A5"]),
    ] {
        let plain = difficulty(fifths, &scale(names));
        assert!(plain < b, "{fifths}: {plain} against {b}");
    }
}

#[test]
fn semitones_and_repeated_notes_lie_as_players_say() {
    let again = |one: &str, other: &str| format!("{one}e {other}e {one}e {other}e {one}e {other}e {one}e {other}e");
    assert!(difficulty(0, &again("E#5", "F#5")) > difficulty(0, &again("E5", "F5")));
    // Over the thumb's register and within it.
    assert!(difficulty(0, &again("G5", "A5")) > difficulty(0, &again("D5", "E5")));
    assert_eq!(difficulty(0, "C5e C5e C5e C5e C5s C5s C5s C5s C5e C5e"), 0.0);
    // Twice as fast is twice as hard.
    let slow = difficulty(0, "D5q E5q D5q E5q | D5q E5q D5q E5q | D5q E5q D5q E5q");
    let fast = difficulty(0, &again("D5", "E5"));
    assert!(fast > 1.5 * slow && fast < 2.5 * slow, "{slow} {fast}");
}

#[test]
fn every_bar_has_its_difficulty() {
    let piece = piece(&in_key(0), "C5q D5q E5q D5q | rw | F5e G5e A5e Bb5e C6e D6e Eb6e D6e");
    let report = piece.json("keys", &["--instrument", "alto recorder"]);
    assert_eq!(report["parts"][0]["bars"], serde_json::json!(["1", "2", "3"]));
    let own = key(&report["parts"][0]["instruments"][0], 0).clone();
    let bars: Vec<f64> = own["bar_difficulties"].as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect();
    assert_eq!(bars.len(), 3);
    assert_eq!(bars[1], 0.0);
    assert!(bars[2] > bars[0]);
    let whole = own["difficulty"].as_f64().unwrap();
    assert!(bars[0] < whole && whole < bars[2], "{bars:?} {whole}");
    // Nobody says how fast; a mark or the user does.
    assert_eq!(report["tempo"]["source"], "assumed");
    let slower = piece.json("keys", &["--instrument", "alto recorder", "--tempo", "36"]);
    let half = key(&slower["parts"][0]["instruments"][0], 0)["difficulty"].as_f64().unwrap();
    assert!((half * 2.0 - whole).abs() < 0.02, "{half} {whole}");
}

#[test]
fn without_fingerings_there_is_range_and_register_only() {
    let piece = piece(&in_key(2), "A3q D4q F#4q A4q | D5h A3h");
    let keys = piece.keys("modern oboe");
    assert_eq!(keys["fingerings"], false);
    let own = key(&keys, 0);
    assert_eq!(own["outside"], 2);
    assert!(own["difficulty"].is_null() && own["forked"].is_null());
    assert_eq!(keys["transpositions"][0]["outside"], 0);
    let text = piece.text("keys", &["--instrument", "modern oboe"]);
    assert!(text.contains("fingerings are not known"), "{text}");
    assert!(piece.json("range", &["--instrument", "modern oboe"])["parts"][0]["hardest"].is_null());
}

#[test]
fn a_clarinet_reads_its_own_signature_and_compass() {
    let keys = piece(&in_key(0), "C4q D4q E4q G4q").keys("clarinet in B flat");
    let own = key(&keys, 0);
    assert_eq!(own["fifths"], 2);
    assert_eq!((&own["written"]["lowest"]["pitch"], &own["sounding"]["lowest"]), (&"D4".into(), &"C4".into()));
}

#[test]
fn the_reading_of_the_octave_is_printed_and_can_be_set() {
    let piece = piece(&in_key(0), "C5q D5q E5q G5q");
    let read = |options: &[&str]| {
        let report = piece.json("keys", &[&["--instrument", "soprano recorder"], options].concat());
        let on = &report["parts"][0]["instruments"][0];
        (on["reading"]["pitches"].clone(), key(on, 0)["written"]["lowest"]["pitch"].clone())
    };
    assert_eq!(read(&[]), ("written".into(), "C5".into()));
    assert_eq!(read(&["--written"]), ("written".into(), "C5".into()));
    assert_eq!(read(&["--sounding"]), ("sounding".into(), "C4".into()));
    for command in ["keys", "range"] {
        let text = piece.text(command, &["--instrument", "soprano recorder", "--sounding"]);
        assert!(text.contains("As --sounding asks"), "{text}");
    }
    let both = obelus_fails(&["keys", piece.path.to_str().unwrap(), "--written", "--sounding"]);
    assert_eq!(both.status, 2);
    let tempo = obelus_fails(&["keys", piece.path.to_str().unwrap(), "--tempo", "fast"]);
    assert!(tempo.status == 2 && tempo.stderr.contains("quarter notes per minute"), "{}", tempo.stderr);
}

const STUDY: &str = "F4q G4q A4q G4q | F4q A4q C5q A4q | G4q Bb4q A4q G4q | A4e C6s Eb6s C6s Eb6s D6e F4h | \
                     G4q A4q G4q F4q | A4e C6s Eb6s C6s Eb6s D6e F4h | G4q F4q F4h";

#[test]
fn the_hardest_stretch_is_named_with_a_tempo_to_begin_at() {
    let piece = piece(&in_key(-1), STUDY);
    let on = ["--instrument", "alto recorder"];
    let report = piece.json("range", &on);
    let hardest = &report["parts"][0]["hardest"];
    let first = &hardest["stretches"][0];
    assert_eq!((&first["from"]["bar"], &first["again"][0]["bar"]), (&"4".into(), &"6".into()));
    let why = first["why"].as_str().unwrap();
    assert!(why.contains("fork") && why.contains("hardest C6 to Eb6"), "{why}");
    assert_eq!(first["start"]["beat"], "quarter");
    assert_eq!(first["start"]["per_minute"].as_f64(), first["start_quarters"].as_f64());
    let hard = first["difficulty"].as_f64().unwrap();
    let slowly = piece.json("range", &[&on[..], &["--tempo", "36"]].concat());
    let slow = &slowly["parts"][0]["hardest"]["stretches"][0];
    assert!((slow["difficulty"].as_f64().unwrap() * 2.0 - hard).abs() < 0.02);
    let text = piece.text("range", &on);
    assert!(text.contains("Hardest under the fingers at quarter = 72 (assumed"), "{text}");
    assert!(text.contains("again in bar 6"), "{text}");
}

#[test]
fn an_audit_names_them_where_an_instrument_is_named() {
    let piece = piece(&in_key(-1), STUDY);
    let path = piece.path.to_str().unwrap();
    let named = json_of(&["audit", path, path, "--instrument", "alto recorder", "--format", "json"]);
    assert_eq!(named["parts"][0]["range"]["hardest"]["stretches"][0]["from"]["bar"], "4");
    let tempo = |tempo: &[&str]| {
        let base = ["audit", path, path, "--instrument", "alto recorder", "--format", "json"];
        json_of(&[&base[..], tempo].concat())["parts"][0]["range"]["hardest"]["stretches"][0]["difficulty"].as_f64()
    };
    assert!((tempo(&["--tempo", "36"]).unwrap() * 2.0 - tempo(&[]).unwrap()).abs() < 0.02);
    assert_eq!(obelus_fails(&["audit", path, path, "--tempo", "36"]).status, 2);
    let text = obelus(&["audit", path, path, "--instrument", "alto recorder", "--sounding"]);
    assert!(text.contains("Fingers\n") && text.contains("As --sounding asks"), "{text}");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo/edition.musicxml");
    let demo = demo.to_str().unwrap();
    let guessed = json_of(&["audit", demo, demo, "--format", "json"]);
    assert!(guessed["parts"][0]["range"].get("hardest").is_none());
}

#[test]
fn several_instruments_are_compared() {
    let piece = piece(&in_key(-1), STUDY);
    let on = ["--instrument", "alto recorder", "--instrument", "tenor recorder", "--instrument", "treble recorder"];
    let report = piece.json("keys", &on);
    let names: Vec<&str> = report["parts"][0]["instruments"]
        .as_array()
        .unwrap()
        .iter()
        .map(|i| i["instrument"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["alto recorder", "tenor recorder"]);
    let csv = piece.text("keys", &[&on[..], &["--format", "csv"]].concat());
    assert_eq!(csv.lines().count(), 1 + 2 * 25);
    let columns = csv.lines().next().unwrap().split(',').count();
    assert_eq!(columns, 22);
    for on in report["parts"][0]["instruments"].as_array().unwrap() {
        let all = on["transpositions"].as_array().unwrap();
        assert_eq!(all.len(), 25);
        let ranks: Vec<u64> = all.iter().map(|k| k["rank"].as_u64().unwrap()).collect();
        assert_eq!(ranks, (1..=25).collect::<Vec<_>>());
    }
}

#[test]
fn the_report_reads_well() {
    let style = Style { name: "Oboe".into(), ..in_key(-1) };
    let piece = piece(&style, "D4q E4q F4q rq | C5q D5q E5q F5q | G5q F5q E5q rq | C4q D4q E4q F4q | F5h C5h");
    let text = piece.text("keys", &["--instrument", "alto recorder"]);
    let text = text.replace(piece.path.to_str().unwrap(), "piece.musicxml");
    let lines: Vec<&str> = text.lines().filter(|l| !l.contains("/")).collect();
    insta::assert_snapshot!("keys", lines.join("\n"));
}

/// What others are measured by is named where it is not among those told first.
#[test]
fn the_easiest_key_is_named_where_it_ranks_low() {
    let edition = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo/edition.musicxml");
    let mut named = 0;
    for instrument in ["alto recorder", "voice flute", "sopranino recorder", "bass recorder"] {
        let report = json_of(&["keys", edition.to_str().unwrap(), "--instrument", instrument, "--format", "json"]);
        let keys = report["parts"][0]["instruments"][0]["transpositions"].as_array().unwrap().clone();
        let least = |fits: &dyn Fn(&Value) -> bool| {
            let fitting = keys.iter().filter(|k| fits(k));
            fitting.min_by(|a, b| a["difficulty"].as_f64().unwrap().total_cmp(&b["difficulty"].as_f64().unwrap()))
        };
        let easiest = least(&|k| k["outside"] == 0).or_else(|| least(&|k| k["outside_after"] == 0)).unwrap();
        let name =
            format!("({}, {})", easiest["transposition"]["name"].as_str().unwrap(), easiest["key"].as_str().unwrap());
        let reason =
            keys.iter().map(|k| k["reason"].as_str().unwrap()).find(|r| r.contains("as the easiest key")).unwrap();
        let is_low = easiest["rank"].as_u64().unwrap() > 5;
        assert_eq!(reason.contains(&name), is_low, "{instrument}: {name}: {reason}");
        named += usize::from(is_low);
    }
    assert!((1..4).contains(&named), "{named}");
}

/// A note without any length, a grace note after it, and another voice.
#[test]
fn a_note_without_length_stands_in_no_order() {
    let note = |kind: &str, step: &str, more: &str, voice: u32| {
        format!("<note>{kind}<pitch><step>{step}</step><octave>5</octave></pitch>{more}<voice>{voice}</voice></note>")
    };
    let quarter = "<duration>1</duration>";
    let bar = [
        note("", "C", "<duration>0</duration>", 1),
        note("<grace/>", "D", "", 1),
        note("", "E", quarter, 1),
        "<backup><duration>1</duration></backup>".into(),
        note("", "G", quarter, 2),
    ];
    let text = format!(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>Violin</part-name></score-part></part-list>\
         <part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions></attributes>{}</measure></part>\
         </score-partwise>",
        bar.concat()
    );
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.musicxml");
    std::fs::write(&path, text).unwrap();
    assert!(obelus(&["keys", path.to_str().unwrap(), "--instrument", "cello"]).contains("on the cello"));
}
