//! What a player is advised: a tempo to begin at, an octave, a key.

use crate::common::music::{Style, score};
use crate::common::program::{json_of, obelus, obelus_fails};
use serde_json::Value;
use std::path::{Path, PathBuf};

const ALTO: [&str; 2] = ["--instrument", "alto recorder"];

struct Piece {
    folder: tempfile::TempDir,
    path: PathBuf,
}

fn piece(style: &Style, music: &str) -> Piece {
    marked(style, music, "")
}

/// With a metronome mark before the first note, as `eighth` or `quarter.` and a number.
fn marked(style: &Style, music: &str, mark: &str) -> Piece {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("piece.musicxml");
    let mut text = score(style, music);
    if let Some((unit, number)) = mark.split_once(' ') {
        let dot = if unit.ends_with('.') { "<beat-unit-dot/>" } else { "" };
        let unit = unit.trim_end_matches('.');
        let mark = format!(
            "<direction><direction-type><metronome><beat-unit>{unit}</beat-unit>{dot}<per-minute>{number}</per-minute>\
             </metronome></direction-type></direction>"
        );
        let first = text.find("<note>").unwrap();
        text.insert_str(first, &mark);
    }
    std::fs::write(&path, text).unwrap();
    Piece { folder, path }
}

impl Piece {
    fn name(&self) -> &str {
        self.path.to_str().unwrap()
    }

    fn json(&self, command: &str, options: &[&str]) -> Value {
        json_of(&[&[command, self.name(), "--format", "json"], options].concat())
    }

    fn text(&self, command: &str, options: &[&str]) -> String {
        let text = obelus(&[&[command, self.name()], options].concat());
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn range(&self, options: &[&str]) -> Value {
        self.json("range", options)["parts"][0].take()
    }

    /// In which beat its hardest stretch begins, and how fast the piece goes in it.
    fn begins(&self) -> (String, f64, f64) {
        let first = &self.range(&ALTO)["hardest"]["stretches"][0];
        let number = |what: &Value| what["per_minute"].as_f64().unwrap();
        (first["start"]["beat"].as_str().unwrap().into(), number(&first["start"]), number(&first["tempo"]))
    }
}

fn style(fifths: i32, time: (i64, i64)) -> Style {
    Style { fifths, time, ..Style::default() }
}

const IN_SIX: &str = "F4q. A4q. | C5q. A4q. | G4e A4e Bb4e C5q. | C6s Eb6s C6s Eb6s C6s D6s F4q. | F4q. C5q.";
const IN_THREE: &str = "F4q. | A4q. | G4e A4e Bb4e | C6s Eb6s C6s Eb6s C6s D6s | F4q.";
const IN_FOUR: &str = "F4q G4q A4q G4q | F4q A4q C5q A4q | A4e C6s Eb6s C6s Eb6s D6e F4h | G4q F4q F4h";

// Common practice, no source.
#[test]
fn the_tempo_to_begin_at_is_in_what_is_counted() {
    for (time, music, mark, beat, tempo) in [
        ((6, 8), IN_SIX, "", "dotted quarter", 72.0),
        ((6, 8), IN_SIX, "quarter. 60", "dotted quarter", 60.0),
        ((6, 8), IN_SIX, "eighth 132", "eighth", 132.0),
        // Nobody counts three in 6/8.
        ((6, 8), IN_SIX, "quarter 90", "dotted quarter", 60.0),
        ((3, 8), IN_THREE, "", "eighth", 144.0),
        ((3, 8), IN_THREE, "quarter. 48", "dotted quarter", 48.0),
        ((4, 4), IN_FOUR, "", "quarter", 72.0),
        ((4, 4), IN_FOUR, "half 54", "half", 54.0),
        ((2, 2), IN_FOUR, "", "half", 72.0),
        // Slower than a metronome goes: the next smaller value is counted.
        ((2, 2), IN_FOUR, "half 30", "quarter", 60.0),
        ((6, 8), IN_SIX, "quarter. 32", "eighth", 96.0),
    ] {
        let (counted, start, piece) = marked(&style(-1, time), music, mark).begins();
        assert_eq!((counted.as_str(), piece), (beat, tempo), "{time:?} {mark}");
        assert!((30.0..=tempo).contains(&start), "{time:?} {mark}: {start}");
    }
}

#[test]
fn a_mark_of_another_time_signature_says_nothing_of_the_beat() {
    let two = format!("{IN_FOUR} | @6/8 C6s Eb6s C6s Eb6s C6s D6s C6s Eb6s C6s Eb6s C6s D6s");
    let report = marked(&style(-1, (4, 4)), &two, "half 60").range(&ALTO);
    let beats: Vec<(&str, &str)> = report["hardest"]["stretches"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| (s["from"]["bar"].as_str().unwrap(), s["start"]["beat"].as_str().unwrap()))
        .collect();
    assert!(beats.contains(&("5", "dotted quarter")) && beats.contains(&("3", "half")), "{beats:?}");
}

/// As docs/keys.md has it, worked out from what else is reported.
#[test]
fn nobody_begins_slower_than_thirty_beats_and_what_needs_it_lies_badly() {
    let scale = "F4e G4e A4e Bb4e C5e D5e E5e F5e | G5e A5e Bb5e C6e D6e E6e F6e E6e | \
                 D6e C6e Bb5e A5e G5e F5e E5e D5e | C5e Bb4e A4e G4e F4h";
    let own = |report: &Value| {
        let keys = report["parts"][0]["instruments"][0]["transpositions"].as_array().unwrap().clone();
        keys.into_iter().find(|k| k["transposition"]["semitones"] == 0).unwrap()
    };
    let of_scale = own(&piece(&style(-1, (4, 4)), scale).json("keys", &[&ALTO[..], &["--tempo", "60"]].concat()));
    // The last note lasts longer than the others.
    let plain = of_scale["difficulty"].as_f64().unwrap() * (16.0_f64 / 14.0).sqrt();
    // It leaves none of the ranges, so that no octave is changed.
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo/source.musicxml");
    let (mut badly, mut well, mut easily) = (0, 0, 0);
    for instrument in ["alto recorder", "soprano recorder", "voice flute", "tenor recorder"] {
        for tempo in ["11", "40", "66", "120", "300"] {
            let options = ["--part", "Oboe", "--instrument", instrument, "--tempo", tempo, "--format", "json"];
            let report = |command| json_of(&[&[command, source.to_str().unwrap()], &options[..]].concat());
            let bars = own(&report("keys"))["bar_difficulties"].clone();
            let mut bars: Vec<f64> = bars.as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect();
            bars.sort_by(f64::total_cmp);
            let median = (bars[(bars.len() - 1) / 2] + bars[bars.len() / 2]) / 2.0;
            for s in report("range")["parts"][0]["hardest"]["stretches"].as_array().unwrap() {
                let [start, piece] = ["start", "tempo"].map(|of| s[of]["per_minute"].as_f64().unwrap());
                let wanted = piece * (median.max(plain) / s["difficulty"].as_f64().unwrap()).min(1.0);
                assert!(start >= 30.0 && piece >= 40.0 && start <= piece, "{s}");
                assert!((start - wanted.max(30.0)).abs() < 1.5, "{wanted} {plain} {median}: {s}");
                if (wanted - 30.0).abs() > 0.5 {
                    assert_eq!(s["lies_badly"], wanted < 30.0, "{wanted}: {s}");
                }
                badly += usize::from(wanted < 30.0);
                well += usize::from(wanted > 30.0);
                easily += usize::from(median < plain);
            }
        }
    }
    assert!(badly > 5 && well > 5 && easily > 5, "{badly} {well} {easily}");
}

#[test]
fn what_is_no_harder_than_a_scale_can_be_played_at_once() {
    let easy = piece(&style(-1, (4, 4)), "F4w | F4w | F4w | F4q G4q A4q Bb4q | C5q Bb4q A4q G4q | F4w | F4w");
    let text = easy.text("range", &ALTO);
    assert!(text.contains("start at the tempo itself, quarter = 72") && !text.contains("badly"), "{text}");
    let hard = piece(&style(-1, (4, 4)), IN_FOUR);
    let text = hard.text("range", &[&ALTO[..], &["--tempo", "160"]].concat());
    assert!(text.contains("lies badly on this instrument, even at quarter = 30"), "{text}");
}

/// Each case: what is read, for which instrument, the octave, and what brings it there.
#[test]
fn a_part_in_another_octave_is_offered_that_octave_first() {
    let low = "C2q E2q G2q C3q | D3q B2q G2q D2q | E2q G2q C3q G2q | C2w";
    let middle = low.replace('3', "6").replace('2', "5");
    for (music, instrument, octaves, remedy) in [
        (middle.replace('6', "7").replace('5', "6"), "soprano recorder", -1, "--sounding"),
        (middle.replace('6', "4").replace('5', "3"), "soprano recorder", 1, "--instrument \"great bass recorder\""),
        (low.into(), "tenor recorder", 2, "--instrument \"great bass recorder\""),
        (low.into(), "voice flute", 2, "clean --transpose \"up two octaves\""),
        (middle.clone(), "great bass recorder", -2, "--instrument \"tenor recorder\""),
        (middle.clone(), "bassoon", -1, "clean --transpose \"down an octave\""),
    ] {
        let piece = piece(&style(0, (4, 4)), &music);
        let on = ["--instrument", instrument];
        let report = piece.range(&on);
        let better = &report["better_octave"];
        assert_eq!(better["octaves"], octaves, "{instrument}: {report:#}");
        assert!(better["remedies"].as_array().unwrap().contains(&remedy.into()), "{instrument}: {better}");
        let keys = piece.json("keys", &on)["parts"][0]["instruments"][0].take();
        assert_eq!(&keys["better_octave"], better, "{instrument}");
        // It is as good as it says.
        for remedy in better["remedies"].as_array().unwrap().iter().map(|r| r.as_str().unwrap()) {
            let words: Vec<&str> = remedy.splitn(2, ' ').collect();
            let outside = match words.as_slice() {
                ["--instrument", name] => piece.range(&["--instrument", name.trim_matches('"')])["range"].take(),
                [reading] => piece.range(&[&on[..], &[*reading]].concat())["range"].take(),
                [_, transpose] => {
                    let copy = piece.folder.path().join("copy.musicxml");
                    let interval = transpose.strip_prefix("--transpose ").unwrap().trim_matches('"');
                    let copy = copy.to_str().unwrap();
                    obelus(&["clean", piece.name(), piece.name(), "-o", copy, "--transpose", interval]);
                    json_of(&["range", copy, "--format", "json", on[0], on[1]])["parts"][0]["range"].take()
                }
                _ => unreachable!(),
            };
            let left = outside["outside"].as_array().unwrap().len();
            assert!(left as u64 <= better["outside"].as_u64().unwrap(), "{instrument}, {remedy}: {outside}");
        }
        let text = piece.text("range", &on);
        let (offered, listed) = (text.find(remedy), text.find("the range: bar"));
        assert!(offered.is_some() && offered < listed && !text.contains("Hardest"), "{text}");
        let text = piece.text("keys", &[&on[..], &["--part", "1"]].concat());
        assert!(text.find(remedy).is_some_and(|at| at < text.find(" 1 ").unwrap()), "{text}");
    }
}

#[test]
fn a_part_that_lies_well_is_offered_no_other_octave() {
    for music in ["F4q G4q A4q Bb4q | C5q D5q E5q F5q | G5q A5q C6q E4q", "F4q G6q F4q G6q | E4q A6q E4q A6q"] {
        let report = piece(&style(0, (4, 4)), music).range(&ALTO);
        assert!(report.get("better_octave").is_none(), "{report:#}");
    }
}

#[test]
fn among_equals_the_key_that_it_is_in_comes_first_and_then_the_fewest_signs() {
    for (fifths, music) in [
        (-2, "Bb4q C5q D5q Eb5q | F5q G5q A5q Bb5q | Bb4w"),
        (4, "E5q F#5q G#5q A5q | B5q A5q G#5q F#5q | E5w"),
        (1, "G4q A4q B4q C5q | D5q C5q B4q A4q | G4w"),
    ] {
        for instrument in ["violin", "modern oboe", "modern flute"] {
            let report = piece(&style(fifths, (4, 4)), music).json("keys", &["--instrument", instrument]);
            let keys = report["parts"][0]["instruments"][0].clone();
            let number = |of: &Value| of.as_i64().unwrap();
            let fit: Vec<i64> = keys["transpositions"]
                .as_array()
                .unwrap()
                .iter()
                .filter(|k| k["outside"] == 0 && number(&k["top_register"]) * 6 <= number(&keys["notes"]))
                .filter(|k| number(&k["transposition"]["semitones"]) % 12 != 0 || k["rank"] == 1)
                .map(|k| number(&k["fifths"]).abs())
                .collect();
            assert_eq!(keys["transpositions"][0]["transposition"]["semitones"], 0, "{instrument} {fifths}");
            assert!(fit.len() > 4 && fit[1..].is_sorted(), "{instrument} {fifths}: {fit:?}");
        }
    }
}

#[test]
fn the_hardest_stretches_have_a_table_of_their_own() {
    let piece = piece(&style(-1, (4, 4)), IN_FOUR);
    let file = |name: &str| piece.folder.path().join(name).to_str().unwrap().to_string();
    let (outside, hardest) = (file("outside.csv"), file("hardest.csv"));
    let base = [&["range", piece.name()], &ALTO[..]].concat();
    obelus(&[&base[..], &["--format", "csv", "-o", &outside, "--stretches", &hardest]].concat());
    assert!(std::fs::read_to_string(&outside).unwrap().starts_with("part,instrument,bar,beat,offset,pitch,side"));
    let table = std::fs::read_to_string(&hardest).unwrap();
    let stretches = piece.range(&ALTO)["hardest"]["stretches"].as_array().unwrap().clone();
    assert_eq!(table.lines().count(), 1 + stretches.len());
    let first = &stretches[0];
    let cells: Vec<&str> = table.lines().nth(1).unwrap().split(',').collect();
    let start = first["start"]["per_minute"].to_string();
    assert_eq!(&cells[1..5], ["alto recorder", "1", "3", first["from"]["beat"].as_str().unwrap()]);
    assert_eq!((cells[11], cells[12]), ("quarter", start.trim_end_matches(".0")));
    // With the other forms, too; never over the report or the score.
    assert!(obelus(&[&base[..], &["--stretches", &hardest]].concat()).contains("Hardest"));
    for wrong in [["-o", &hardest, "--stretches", &hardest], ["-o", &outside, "--stretches", piece.name()]] {
        let csv = ["--format", "csv"];
        assert_eq!(obelus_fails(&[&base[..], &wrong, &csv].concat()).status, 2, "{wrong:?}");
    }
    let json = obelus_fails(&[&base[..], &["--stretches", &file("hardest.json")]].concat());
    assert!(json.status == 2 && json.stderr.contains(".csv"), "{}", json.stderr);
}
