//! Practice sheets: what is said, what is written, and what is refused.

use crate::common::program::{demo, json_of, obelus, obelus_fails};
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder for a test")
}

fn at(folder: &TempDir, name: &str) -> String {
    folder.path().join(name).display().to_string()
}

/// Writes a part of one staff; each bar is the text of its elements.
fn part(folder: &TempDir, name: &str, bars: &[String]) -> String {
    let bars: String = (1..).zip(bars).map(|(n, bar)| format!("<measure number=\"{n}\">{bar}</measure>")).collect();
    let text = format!(
        "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>{name}</part-name></score-part>\
         </part-list><part id=\"P1\">{bars}</part></score-partwise>"
    );
    let path = folder.path().join("part.musicxml");
    fs::write(&path, text).expect("a file for a test");
    path.display().to_string()
}

const HEAD: &str = "<attributes><divisions>4</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4\
                    </beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>";

fn note(pitch: &str, sixteenths: u32) -> String {
    let (step, octave) = pitch.split_at(1);
    format!("<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{sixteenths}</duration></note>")
}

fn exercises(score: &str, more: &[&str]) -> Value {
    let dir = folder();
    let out = at(&dir, "out.musicxml");
    json_of(&[&["exercises", score, "-o", &out, "--format", "json"], more].concat())
}

#[test]
fn a_sheet_has_a_ladder_and_exercises_for_each_stretch() {
    let source = demo("source.musicxml");
    let told = exercises(&source, &["--part", "Oboe", "--instrument", "alto recorder"]);
    let stretches = told["stretches"].as_array().unwrap();
    assert_eq!(stretches.len(), 5);
    for stretch in stretches {
        let ladder: Vec<u64> = stretch["ladder"].as_array().unwrap().iter().map(|n| n.as_u64().unwrap()).collect();
        assert!(ladder.windows(2).all(|w| w[0] < w[1]), "{ladder:?}");
        assert_eq!(ladder[0] as f64, stretch["start"]["per_minute"].as_f64().unwrap());
        assert_eq!(ladder.last().copied(), Some(72));
        let forms: Vec<&str> =
            stretch["exercises"].as_array().unwrap().iter().filter_map(|e| e["form"].as_str()).collect();
        for form in ["change", "beats", "adding", "backwards", "rhythms", "wider", "whole"] {
            assert!(forms.contains(&form), "{form} is not in {forms:?}");
        }
    }
}

#[test]
fn forms_are_chosen_and_ordered() {
    let source = demo("source.musicxml");
    let told = exercises(&source, &["--part", "Oboe", "--form", "whole,change", "--most", "1"]);
    let forms: Vec<&Value> = told["stretches"][0]["exercises"].as_array().unwrap().iter().map(|e| &e["form"]).collect();
    assert_eq!(forms, [&Value::Null, &Value::from("whole"), &Value::from("change")]);
    let said = obelus_fails(&["exercises", &source, "-o", "-", "--form", "rythms"]).stderr;
    assert!(said.contains("did you mean \"rhythms\"?"), "{said}");
}

#[test]
fn rhythms_of_a_teacher_are_taken() {
    let (dir, source) = (folder(), demo("source.musicxml"));
    let [table, out] = ["mine.toml", "out.musicxml"].map(|name| at(&dir, name));
    fs::write(&table, "[[rhythm]]\nname = \"limping\"\nlengths = [1, 3]\n").unwrap();
    let calls = ["exercises", &source, "--part", "Oboe", "-o", &out, "--form", "rhythms", "--rhythms", &table];
    let told = json_of(&[&calls[..], &["--format", "json"]].concat());
    let headings: Vec<&str> =
        told["stretches"][0]["exercises"].as_array().unwrap().iter().map(|e| e["heading"].as_str().unwrap()).collect();
    assert_eq!(headings, ["As it stands", "Rhythm: limping"]);
    fs::write(&table, "[[rhythm]]\nname = \"limping\"\nlengths = [1]\n").unwrap();
    let failed = obelus_fails(&calls);
    assert_eq!(failed.status, 3);
    assert!(failed.stderr.contains("mine.toml") && failed.stderr.contains("2 to 16 lengths"), "{}", failed.stderr);
}

/// Where every stretch is left out, it is not said that there is none.
#[test]
fn stretches_that_are_all_left_out_are_told_as_such() {
    let dir = folder();
    let easy = [note("G4", 4), note("A4", 4), note("G4", 4), note("A4", 4)].concat();
    // Wherever one begins, a note is not on the instrument.
    let hard: String = "D4 F6 E6 A5 D4 F6 G5 D4".split(' ').map(|pitch| note(pitch, 1)).collect();
    let bars = [format!("{HEAD}{easy}"), easy.clone(), hard.repeat(2), easy.clone(), easy];
    let score = part(&dir, "Alto Recorder", &bars);
    let out = at(&dir, "out.musicxml");
    let said = obelus(&["exercises", &score, "-o", &out]);
    let words = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("was left out, so no sheet was written") && words.contains("does not have these"), "{said}");
    assert!(!Path::new(&out).exists());
}

/// An exercise that no note values say is left out by itself.
#[test]
fn a_rhythm_that_cannot_be_written_leaves_the_others() {
    let dir = folder();
    let run: String = "C5 E5 D5 F5 E5 G5 F5 A5".split(' ').map(|pitch| note(pitch, 1)).collect();
    let score = part(&dir, "Alto Recorder", &[format!("{HEAD}{run}{}", note("G5", 8))]);
    let [table, out] = ["mine.toml", "out.musicxml"].map(|name| at(&dir, name));
    let row = |name: &str, lengths: &str| format!("[[rhythm]]\nname = \"{name}\"\nlengths = [{lengths}]\n");
    fs::write(&table, row("even", &["1"; 15].join(", ")) + &row("limping", "1, 3")).unwrap();
    let call = ["exercises", &score, "-o", &out, "--form", "rhythms", "--rhythms", &table, "--bars", "1"];
    let said = obelus(&call);
    assert!(said.contains("cannot be written as notes: Rhythm: even"), "{said}");
    let text = fs::read_to_string(&out).unwrap();
    assert!(text.contains("Rhythm: limping") && !text.contains("Rhythm: even"), "{said}");
}

#[test]
fn named_bars_are_practised() {
    let source = demo("source.musicxml");
    let told = exercises(&source, &["--part", "Oboe", "--bars", "13-14"]);
    let stretches = told["stretches"].as_array().unwrap();
    assert_eq!(stretches.len(), 1);
    assert_eq!((&stretches[0]["from"]["bar"], &stretches[0]["to"]["bar"]), (&Value::from("13"), &Value::from("14")));
}

#[test]
fn what_cannot_be_practised_is_told_and_nothing_is_written() {
    let dir = folder();
    let out = at(&dir, "out.musicxml");
    let refuses = |score: &str, more: &[&str], words: &str| {
        let failed = obelus_fails(&[&["exercises", score, "-o", &out], more].concat());
        assert_eq!((failed.status, failed.stderr.lines().count()), (2, 1), "{}", failed.stderr);
        assert!(failed.stderr.contains(words), "{}", failed.stderr);
        assert!(!Path::new(&out).exists());
    };
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    refuses(&source, &[], "name it with --part: 1 Oboe, 2 Basso");
    refuses(&edition, &["--bars", "19-20"], "bars 19 to 20: the alto recorder does not have these notes (D4 Eb4 C4");
    refuses(&edition, &["--bars", "99"], "no bar 99");
    refuses(&edition, &["--bars", "1-30"], "name fewer bars");
    let rest = format!("{HEAD}<note><rest measure=\"yes\"/><duration>16</duration></note>");
    refuses(&part(&dir, "Oboe", &[rest]), &[], "no notes with a pitch");
    let drum = "<note><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched>\
                <duration>16</duration></note>";
    refuses(&part(&dir, "Oboe", &[format!("{HEAD}{drum}")]), &[], "no notes with a pitch");
    refuses(&part(&dir, "Kazoo", &[format!("{HEAD}{}", note("C5", 16))]), &[], "which instrument plays it");
    refuses(&part(&dir, "Oboe", &[format!("{HEAD}{}", note("C5", 16))]), &["--bars", "1"], "at least two notes");
}

#[test]
fn a_part_without_a_hard_stretch_is_told_as_one() {
    let dir = folder();
    let bar = [note("G4", 4), note("A4", 4), note("G4", 4), note("A4", 4)].concat();
    let score = part(&dir, "Alto Recorder", &[format!("{HEAD}{bar}"), bar]);
    let out = at(&dir, "out.musicxml");
    let said = obelus(&["exercises", &score, "-o", &out]);
    let words: Vec<&str> = said.split_whitespace().collect();
    assert!(words.join(" ").contains("no stretch has to begin slower"), "{said}");
    assert!(!Path::new(&out).exists());
    // Named, it is practised all the same.
    obelus(&["exercises", &score, "-o", &out, "--bars", "1"]);
    assert!(Path::new(&out).exists());
}

#[test]
fn a_note_again_is_no_change() {
    let dir = folder();
    let bar = format!("{HEAD}{}", note("A5", 2).repeat(8));
    let told = exercises(&part(&dir, "Oboe", &[bar]), &["--bars", "1"]);
    let forms: Vec<&Value> = told["stretches"][0]["exercises"].as_array().unwrap().iter().map(|e| &e["form"]).collect();
    assert!(!forms.contains(&&Value::from("change")) && forms.contains(&&Value::from("beats")), "{forms:?}");
}

#[test]
fn a_sheet_is_read_back_as_full_bars_in_range() {
    let dir = folder();
    let out = at(&dir, "out.musicxml");
    obelus(&["exercises", &demo("edition.musicxml"), "-o", &out]);
    let told = json_of(&["range", &out, "--instrument", "alto recorder", "--format", "json"]);
    assert_eq!(told["warnings"], Value::from(Vec::<Value>::new()), "it reads without a warning");
    assert_eq!(told["parts"][0]["range"]["outside"], Value::from(Vec::<Value>::new()));
    let sheet = fs::read_to_string(&out).unwrap();
    assert!(sheet.contains("<fingering placement=\"above\">Ø123</fingering>"), "fingerings stand above");
}

#[test]
fn a_stretch_on_many_ledger_lines_is_in_another_clef_of_the_instrument() {
    let dir = folder();
    let out = at(&dir, "out.musicxml");
    let head = HEAD.replace("<sign>G</sign><line>2</line>", "<sign>F</sign><line>4</line>");
    for (high, sign) in [("A4", "F"), ("G5", "G")] {
        let bar = [note("F3", 4), note(high, 4), note("F3", 4), note(high, 4)].concat();
        obelus(&["exercises", &part(&dir, "Cello", &[format!("{head}{bar}")]), "-o", &out, "--bars", "1"]);
        let sheet = fs::read_to_string(&out).unwrap();
        assert!(sheet.contains(&format!("<sign>{sign}</sign>")), "{high}");
    }
}

/// Without fingerings nobody can say that a stretch lies badly, and what goes like a plain scale needs no slower tempo.
#[test]
fn an_instrument_without_a_table_is_not_said_to_be_played_badly() {
    let dir = folder();
    let slow = [note("C4", 4), note("D4", 4), note("C4", 4), note("D4", 4)].concat();
    let still = note("C4", 16);
    let score = part(&dir, "Viola", &[format!("{HEAD}{still}"), slow, still.clone(), still]);
    assert_eq!(exercises(&score, &[])["stretches"], Value::from(Vec::<Value>::new()));
    let fast: String = (0..8).flat_map(|_| [note("C4", 1), note("C6", 1)]).collect();
    let still = note("C4", 16);
    let score = part(&dir, "Viola", &[format!("{HEAD}{still}"), fast, still.clone(), still]);
    let told = exercises(&score, &["--tempo", "120"]);
    assert_eq!(
        (&told["stretches"][0]["start"]["per_minute"], &told["stretches"][0]["lies_badly"]),
        (&30.0.into(), &false.into())
    );
}
