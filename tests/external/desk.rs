//! The desk in headless Chromium: the whole way by pointer and by keyboard, on a desktop and on a phone, and every file
//! that it hands out beside what the commands make of the same files.
#![cfg(feature = "engrave")]

use crate::browser;
use crate::common::program::demo;
use crate::python;
use std::ffi::OsStr;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// Ends with the test, whatever happens.
struct Desk(Child);

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts a desk on two scores; gives the address that it prints.
fn start(folder: &Path, scores: [&Path; 2], more: &[&str]) -> (Desk, String) {
    start_with(folder, scores, more, &[])
}

fn start_with(
    folder: &Path,
    [edition, source]: [&Path; 2],
    more: &[&str],
    variables: &[(&str, &OsStr)],
) -> (Desk, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_obelus"))
        .args(["desk", "--no-open", "--stay", "--folder"])
        .args([folder, edition, source])
        .args(more)
        .envs(variables.iter().copied())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    (Desk(child), line.trim().to_string())
}

/// What the desk has written is what `clean` makes of its decisions, marks and settings.
fn same_by_hand(folder: &Path, [edition, source]: [&Path; 2]) {
    let by_hand = tempfile::tempdir().unwrap();
    let settings: toml::Table = fs::read_to_string(folder.join("desk.toml")).unwrap().parse().unwrap();
    let mut clean = Command::new(env!("CARGO_BIN_EXE_obelus"));
    clean.arg("clean").args([edition, source]).arg("-o").arg(by_hand.path().join("clean.musicxml"));
    clean.arg("--decisions").arg(folder.join("decisions.toml")).arg("--mine").arg(folder.join("my-marks.toml"));
    clean.arg("--notes").arg(by_hand.path().join("notes.md")).arg("--pdf").arg(by_hand.path().join("part.pdf"));
    for (name, value) in settings.get("player").and_then(toml::Value::as_table).into_iter().flatten() {
        match value {
            toml::Value::String(value) => _ = clean.arg(format!("--{name}={value}")),
            _ => _ = clean.arg(format!("--{name}")),
        }
    }
    let done = clean.output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    for name in ["clean.musicxml", "notes.md", "part.pdf"] {
        let [ours, theirs] = [folder, by_hand.path()].map(|f| fs::read(f.join(name)).unwrap());
        assert!(ours == theirs, "{name} of the desk is another file than that of clean");
    }
}

fn whole_way(view: &str, scores: [&Path; 2], more: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let (_desk, address) = start(folder.path(), scores, more);
    browser::desk(view, &address);
    same_by_hand(folder.path(), scores);
}

#[test]
fn the_whole_way_by_pointer_keyboard_and_on_a_phone() {
    let [edition, source] = ["edition.musicxml", "source.musicxml"].map(demo);
    for view in ["pointer", "keyboard", "phone", "phone-dark"] {
        whole_way(view, [Path::new(&edition), Path::new(&source)], &["--instrument", "alto recorder"]);
    }
}

/// The exposition of a sonata for keyboard, on two staves, from the corpus of music21, with forty marks of an imagined editor.
#[test]
fn the_whole_way_on_a_score_of_two_staves() {
    let dir = tempfile::tempdir().unwrap();
    let source = python::corpus("mozart/k545/movement1_exposition.mxl");
    let files = ["edition", "moved", "truth"].map(|name| dir.path().join(format!("{name}.xml")));
    let mut args: Vec<&OsStr> = vec![source.as_os_str()];
    args.extend(files.iter().map(|f| f.as_os_str()));
    args.extend(["--steps", "0", "--semitones", "0", "--seed", "7", "--marks", "40"].map(OsStr::new));
    python::run("editor.py", &args);
    whole_way("pointer", [&files[0], &source], &[]);
}

/// A file name, titles, names of parts and words that would be markup, scripts and very long, if they were no text.
#[test]
fn hostile_scores_are_text() {
    let dir = tempfile::tempdir().unwrap();
    let evil = "<img src=x onerror=alert(1)><script>alert(2)</script>\"'&{{}}`${alert(3)}`";
    let long = "Wolkenkuckucksheim".repeat(200);
    let text = |text: &str| text.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;");
    let score = |words: &str, fingering: &str| {
        format!(
            "<score-partwise><work><work-title>{t}{l}</work-title></work><part-list><score-part id=\"P1\"><part-name>{t}{n}\
             </part-name></score-part></part-list><part id=\"P1\"><measure number=\"{t}\"><attributes><divisions>1\
             </divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>{words}<note><pitch><step>C\
             </step><octave>5</octave></pitch><duration>4</duration><type>whole</type>{fingering}<lyric><text>{t}</text>\
             </lyric></note></measure></part></score-partwise>",
            t = text(evil),
            l = text(&long),
            // As long as names may be.
            n = &long[..250 - evil.len()],
        )
    };
    let words = format!(
        "<direction><direction-type><words>{}{}</words></direction-type></direction>\
         <direction><direction-type><rehearsal>{}</rehearsal></direction-type></direction>",
        text(evil),
        text(&long),
        text(evil)
    );
    let fingering = format!("<notations><technical><fingering>{}</fingering></technical></notations>", text(evil));
    let files = ["<b>edition'&.xml", "<i>source.xml"].map(|name| dir.path().join(name));
    fs::write(&files[0], score(&words, &fingering)).unwrap();
    fs::write(&files[1], score("", "")).unwrap();
    let folder = dir.path().join("desk");
    let (_desk, address) = start(&folder, [&files[0], &files[1]], &["--instrument", "alto recorder"]);
    browser::desk("hostile", &address);
}

/// An engraver that never answers: all but the staves goes on.
#[test]
#[cfg(unix)]
fn an_engraver_that_hangs_does_not_hang_the_desk() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let stuck = dir.path().join("stuck");
    fs::write(&stuck, "#!/bin/sh\nexec sleep 600\n").unwrap();
    fs::set_permissions(&stuck, fs::Permissions::from_mode(0o755)).unwrap();
    let [edition, source] = ["edition.musicxml", "source.musicxml"].map(demo);
    let (desk, address) = start_with(
        &dir.path().join("desk"),
        [Path::new(&edition), Path::new(&source)],
        &[],
        &[("OBELUS_ENGRAVER", stuck.as_os_str()), ("OBELUS_ENGRAVE_SECONDS", OsStr::new("600"))],
    );
    browser::desk("stuck", &address);
    drop(desk);
}
