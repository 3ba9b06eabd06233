//! Source and edition as one score: valid, read back as both, and with a colour
//! for every finding.

#[path = "common/program.rs"]
mod program;
#[path = "common/python.rs"]
mod python;

use program::{json_of, obelus, obelus_fails};
use serde_json::Value;
use std::ffi::OsStr;
use std::fs;
use std::path::Path;

const COLORS: [&str; 3] = ["#D55E00", "#009E73", "#0072B2"];

fn demo(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo").join(name).display().to_string()
}

/// Writes both sides and gives the text.
fn both(edition: &str, source: &str, file: &Path) -> String {
    let name = file.display().to_string();
    obelus(&["audit", edition, source, "--format", "json", "--side-by-side", &name, "-o", "/dev/null"]);
    fs::read_to_string(file).unwrap()
}

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
    python::run("validate.py", &[file.as_os_str()]);
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

#[test]
fn what_cannot_be_laid_side_by_side_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("both.musicxml").display().to_string();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let failed = obelus_fails(&["audit", "-", &source, "--side-by-side", &file]);
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains("give files, not standard input"), "{}", failed.stderr);
    let failed = obelus_fails(&["audit", &edition, &source, "--side-by-side", &edition]);
    assert!(failed.stderr.contains("overwrite an input"), "{}", failed.stderr);
    assert!(!Path::new(&file).exists());
}

/// A score of one part; each bar has a tune's four quarters, below them other music if it has two staves.
fn on_staves(staves: usize) -> String {
    let mut out =
        String::from("<score-partwise><part-list><score-part id=\"P1\"><part-name>Keys</part-name></score-part>");
    out += "</part-list><part id=\"P1\">";
    for (bar, tune) in ["GABC", "DBGD", "ECAF", "DECD", "BGCA", "FDEB", "CADG", "EDCC"].iter().enumerate() {
        out += &format!("<measure number=\"{}\">", bar + 1);
        if bar == 0 {
            out += &format!("<attributes><divisions>1</divisions><staves>{staves}</staves></attributes>");
        }
        for staff in 1..=staves {
            let (octave, notes) = if staff == 1 { (5, *tune) } else { (3, "CGEG") };
            for step in notes.chars() {
                let pitch = format!("<pitch><step>{step}</step><octave>{octave}</octave></pitch>");
                out +=
                    &format!("<note>{pitch}<duration>1</duration><voice>{staff}</voice><staff>{staff}</staff></note>");
            }
            out += if staff < staves { "<backup><duration>4</duration></backup>" } else { "" };
        }
        out += "</measure>";
    }
    out + "</part></score-partwise>"
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
    python::run("validate.py", &[folder.path().join("both.xml").as_os_str()]);
}

/// Real scores with a known editor's work: valid, and each staff the score it was.
#[test]
fn real_scores_side_by_side_are_valid() {
    let folder = tempfile::tempdir().unwrap();
    let folder_name = folder.path().as_os_str();
    let said = python::run(
        "beside.py",
        &[OsStr::new(env!("CARGO_BIN_EXE_obelus")), folder_name, OsStr::new("--seeds"), OsStr::new("1-6")],
    );
    assert!(said.lines().last().is_some_and(|l| l.ends_with(" right, 0 wrong")), "{said}");
}
