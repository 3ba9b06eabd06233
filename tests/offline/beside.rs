//! Source and edition as one score: read back as both, and with a colour for
//! every finding. That it is valid is looked at in `tests/external/valid.rs`.

use crate::common::program::{demo, json_of, obelus_fails};
use crate::common::staves::{both, on_staves, quarters};
use serde_json::Value;
use std::fs::{self, File};
use std::path::Path;
use std::process::Command;

const COLORS: [&str; 3] = ["#D55E00", "#009E73", "#0072B2"];

fn findings(args: &[&str]) -> Vec<Value> {
    let report = json_of(&[&["audit"], args, &["--format", "json"]].concat());
    assert_eq!(report["parts"].as_array().unwrap().len(), 1, "{args:?}");
    report["parts"][0]["findings"].as_array().unwrap().clone()
}

#[test]
fn the_demos_sides_are_read_back_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("both.musicxml");
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let text = both(&edition, &source, &file);
    let name = file.display().to_string();
    let ours = findings(&[&name, &edition, "--part", "P1-edition"]);
    assert!(ours.is_empty(), "{ours:#?}");
    let report = json_of(&["audit", &name, &source, "--part", "P1-source", "--format", "json"]);
    let theirs = report["parts"][0]["findings"].as_array().unwrap();
    assert!(theirs.is_empty(), "{theirs:#?}");
    assert_eq!(report["parts"][0]["transposition"]["name"], "up a perfect fourth");
    for color in COLORS {
        assert!(text.matches(color).count() > 3, "{color}");
    }
    let staff = text.split("<part id=\"P1-edition\"").nth(1).unwrap();
    let marks = |line: &str| line.contains("<slur ") && line.contains("type=\"start\"");
    let found = findings(&[&edition, &source]);
    let of = |status: &str| found.iter().filter(|f| f["category"] == "slur" && f["status"] == status).count();
    for (status, color) in [("added", "#D55E00"), ("altered", "#0072B2")] {
        let colored = staff.lines().filter(|l| marks(l) && l.contains(color)).count();
        assert_eq!(colored, of(status), "{status} slurs");
    }
    let plain = staff.lines().filter(|l| marks(l) && !l.contains("color=")).count();
    let all = fs::read_to_string(&edition).unwrap().lines().filter(|l| marks(l)).count();
    assert_eq!(plain, all - of("added") - of("altered"), "slurs as in the source");
    // The same bars on both staves, with the editor's and without the lost ones.
    let staves: Vec<usize> = text.split("<part id=").skip(1).map(|p| p.matches("<measure ").count()).collect();
    assert_eq!(staves.len(), 2);
    assert_eq!(staves[0], staves[1]);
}

#[test]
fn what_does_not_differ_has_no_colour() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("both.musicxml");
    let text = both(&demo("source.musicxml"), &demo("source.musicxml"), &file);
    assert!(!text.contains("color="), "{text}");
}

/// Both inputs are read once, so that one of them may come from standard input.
#[test]
fn an_edition_from_standard_input_is_audited_and_laid_side_by_side() {
    let folder = tempfile::tempdir().unwrap();
    let [piped, plain] = ["piped.musicxml", "plain.musicxml"].map(|name| folder.path().join(name));
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let mut command = Command::new(env!("CARGO_BIN_EXE_obelus"));
    command.args(["audit", "-", &source, "--side-by-side"]).arg(&piped).stdin(File::open(&edition).unwrap());
    assert!(command.output().unwrap().status.success());
    assert_eq!(fs::read_to_string(&piped).unwrap(), both(&edition, &source, &plain));
}

#[test]
fn what_cannot_be_laid_side_by_side_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("both.musicxml").display().to_string();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let failed = obelus_fails(&["audit", &edition, &source, "--side-by-side", &edition]);
    assert!(failed.stderr.contains("overwrite an input"), "{}", failed.stderr);
    assert!(!Path::new(&file).exists());
}

#[test]
fn a_line_on_one_staff_of_several_is_refused_with_a_reason() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    fs::write(at("edition.xml"), on_staves(1)).unwrap();
    fs::write(at("source.xml"), on_staves(2)).unwrap();
    let failed = obelus_fails(&["audit", &at("edition.xml"), &at("source.xml"), "--side-by-side", &at("both.xml")]);
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains("the music of Keys on one staff of several"), "{}", failed.stderr);
    // Two staves stay two.
    let text = both(&at("source.xml"), &at("source.xml"), &folder.path().join("both.xml"));
    assert_eq!(text.matches("<staves>2</staves>").count(), 2);
}

/// Of each bar of a part its number, how many notes it has, and the style of its barline.
fn bars_of<'t>(text: &'t str, part: &str) -> Vec<(&'t str, usize, &'t str)> {
    let own = text.split(&format!("<part id=\"{part}\"")).nth(1).unwrap().split("</part>").next().unwrap();
    let one = |bar: &'t str| {
        let style = bar.split("<bar-style>").nth(1).map_or("", |rest| rest.split('<').next().unwrap());
        (bar.split('"').next().unwrap(), bar.matches("<pitch>").count(), style)
    };
    own.split("<measure number=\"").skip(1).map(one).collect()
}

#[test]
fn bars_of_unlike_length_lie_beside_each_other_by_time() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let repeat = "<barline><bar-style>light-heavy</bar-style><repeat direction=\"backward\"/></barline>";
    fs::write(at("source.xml"), quarters(&[("CDEF", ""), ("GABG", ""), ("DECD", ""), ("AFGC", "")])).unwrap();
    let cut = [("CDEF", ""), ("GAB", repeat), ("G", ""), ("DECD", ""), ("AFGC", "")];
    fs::write(at("edition.xml"), quarters(&cut)).unwrap();
    let text = both(&at("edition.xml"), &at("source.xml"), &folder.path().join("both.xml"));
    let [source, edition] = ["P1-source", "P1-edition"].map(|part| bars_of(&text, part));
    assert_eq!(source, [("1", 4, ""), ("2", 3, "none"), ("3", 1, ""), ("4", 4, ""), ("5", 4, "")]);
    let notes = |bars: &[(&str, usize, &str)]| bars.iter().map(|bar| bar.1).collect::<Vec<_>>();
    assert_eq!(notes(&edition), notes(&source));
    assert!(text.contains("<repeat direction=\"backward\"/>"));
}

#[test]
fn a_bar_of_the_source_alone_has_its_number() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let bars = [("CDEF", ""), ("GABG", ""), ("DECD", ""), ("AFGC", ""), ("EGBA", ""), ("CCDC", "")];
    fs::write(at("source.xml"), quarters(&bars)).unwrap();
    fs::write(at("edition.xml"), quarters(&[bars[0], bars[1], bars[4], bars[5]])).unwrap();
    let text = both(&at("edition.xml"), &at("source.xml"), &folder.path().join("both.xml"));
    let numbers: Vec<&str> = bars_of(&text, "P1-source").iter().map(|bar| bar.0).collect();
    assert_eq!(numbers, ["1", "2", "S3", "S4", "3", "4"]);
    assert!(!text.contains("implicit=\"yes\""), "{text}");
    // Where a side has nothing it has no barlines.
    let silent: Vec<&str> = bars_of(&text, "P1-edition").iter().map(|bar| bar.2).collect();
    assert_eq!(silent, ["", "", "none", "", "", ""]);
}

#[test]
fn a_repeat_without_a_style_has_its_colour_in_one() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let bars = |repeat| [("CDEF", ""), ("GABG", repeat), ("DECD", ""), ("AFGC", "")];
    fs::write(at("source.xml"), quarters(&bars(""))).unwrap();
    let repeat = "<barline location=\"right\"><repeat direction=\"backward\"/></barline>";
    fs::write(at("edition.xml"), quarters(&bars(repeat))).unwrap();
    let text = both(&at("edition.xml"), &at("source.xml"), &folder.path().join("both.xml"));
    assert!(text.contains("<bar-style color=\"#D55E00\">light-heavy</bar-style>"), "{text}");
}

#[test]
fn the_source_keeps_its_own_clefs_where_its_notes_stay() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let clef = |sign: &str| format!("<attributes><clef><sign>{sign}</sign></clef></attributes>");
    let (alto, treble) = (clef("C"), clef("G"));
    let bars = |clef| [("CDEF", ""), ("GABG", clef), ("DECD", ""), ("AFGC", "")];
    fs::write(at("source.xml"), quarters(&bars(&alto))).unwrap();
    fs::write(at("edition.xml"), quarters(&bars(&treble))).unwrap();
    let text = both(&at("edition.xml"), &at("source.xml"), &folder.path().join("both.xml"));
    let of = |part: &str| text.split(&format!("<part id=\"{part}\"")).nth(1).unwrap().split("</part>").next().unwrap();
    let signs = |part: &str| ["C", "G"].map(|sign| of(part).contains(&format!("<sign>{sign}</sign>")));
    assert_eq!([signs("P1-source"), signs("P1-edition")], [[true, false], [false, true]]);
    // Notes that are moved stand under the edition's.
    fs::write(at("source.xml"), quarters(&bars(&alto)).replace("<octave>5", "<octave>4")).unwrap();
    let text = both(&at("edition.xml"), &at("source.xml"), &folder.path().join("both.xml"));
    assert!(!text.contains("<sign>C</sign>") && text.matches("<sign>G</sign>").count() == 2, "{text}");
}

#[test]
fn a_clef_that_a_lower_staff_says_after_the_notes_of_the_upper_one_begins_the_source_too() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let clef = "</backup><attributes><clef number=\"2\"><sign>F</sign><line>4</line></clef></attributes>";
    let edition = on_staves(2).replacen("</backup>", clef, 1);
    fs::write(at("edition.xml"), &edition).unwrap();
    let lower = |from: u32| format!("<octave>{}<", from - 1);
    let moved = (2..8).fold(edition, |text, n| text.replace(&format!("<octave>{n}<"), &lower(n)));
    fs::write(at("source.xml"), moved).unwrap();
    let text = both(&at("edition.xml"), &at("source.xml"), &folder.path().join("both.xml"));
    let source = text.split("<part id=\"P1-source\"").nth(1).unwrap();
    let first = source.split("</measure>").next().unwrap();
    assert_eq!(first.matches("<sign>F</sign>").count(), 1, "{first}");
    assert!(first.find("<sign>F").unwrap() < first.find("<note>").unwrap(), "{first}");
}
