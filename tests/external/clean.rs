//! What is in clean copies of the demo, by the independent reader of `tests/python`, and that they are valid.

use crate::common::clean::Clean;
use crate::common::program::{demo, obelus};
use crate::python;
use serde_json::Value;
use std::ffi::OsStr;

/// Notes and marks, bar by bar.
fn content(file: &str, moved: bool) -> Vec<Value> {
    let mut args = vec![OsStr::new(file), OsStr::new("--part"), OsStr::new("P1")];
    if moved {
        args.extend(["--steps", "3", "--semitones", "5"].map(OsStr::new));
    }
    let parts: Value = serde_json::from_str(&python::run("content.py", &args)).unwrap();
    parts["parts"][0]["bars"].as_array().unwrap().clone()
}

fn lines(bars: &[Value], kind: &str) -> Vec<String> {
    let of_bar = |(index, bar): (usize, &Value)| {
        bar[kind].as_array().unwrap().iter().map(|line| format!("{index} {line}")).collect::<Vec<_>>()
    };
    let mut out: Vec<String> = bars.iter().enumerate().flat_map(of_bar).collect();
    out.sort();
    out
}

#[test]
fn the_clean_demo_is_the_source_in_the_editions_key() {
    let clean = Clean::demo(&[]);
    let (ours, theirs) = (content(clean.name(), false), content(&demo("source.musicxml"), true));
    assert_eq!(lines(&ours, "notes"), lines(&theirs, "notes"));
    assert_eq!(lines(&ours, "marks"), lines(&theirs, "marks"));
    assert_eq!(clean.findings().len(), 0);
    let numbers = |bars: &[Value]| bars.iter().map(|b| b["number"].clone()).collect::<Vec<_>>();
    assert_eq!(numbers(&ours), numbers(&theirs));
    python::run("validate.py", &[clean.path.as_os_str()]);
}

#[test]
fn the_copy_has_the_marks_of_the_source_and_of_the_sheet() {
    let clean = Clean::demo(&["--mine", &demo("marks.toml")]);
    let sheet: toml::Table = std::fs::read_to_string(demo("marks.toml")).unwrap().parse().unwrap();
    let marks = sheet["mark"].as_array().unwrap();
    let (ours, theirs) = (content(clean.name(), false), content(&demo("source.musicxml"), true));
    assert_eq!(lines(&ours, "notes"), lines(&theirs, "notes"));
    let (ours, theirs) = (lines(&ours, "marks"), lines(&theirs, "marks"));
    assert!(theirs.iter().all(|line| ours.contains(line)), "a mark of the source is missing");
    assert_eq!(ours.len(), theirs.len() + marks.len());
    python::run("validate.py", &[clean.path.as_os_str()]);
}

#[test]
fn marks_that_were_laid_on_can_be_lifted_and_laid_on_again() {
    let (plain, marked) = (Clean::demo(&[]), Clean::demo(&["--mine", &demo("marks.toml")]));
    let lifted = obelus(&["marks", marked.name(), plain.name()]);
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("lifted.toml");
    std::fs::write(&sheet, &lifted).unwrap();
    let again = Clean::demo(&["--mine", sheet.to_str().unwrap()]);
    let bars = |clean: &Clean| content(clean.name(), false);
    assert_eq!(lines(&bars(&again), "marks"), lines(&bars(&marked), "marks"));
}
