//! What is said on a terminal. Python has one to run the program on.

#![cfg(unix)]

use crate::common::program::{demo, obelus};
use crate::python;
use std::path::PathBuf;
use std::process::Command;

/// A command that runs the program on a terminal.
pub fn on_terminal(args: &[&str]) -> Command {
    let script: PathBuf = [env!("CARGO_MANIFEST_DIR"), "tests", "python", "terminal.py"].iter().collect();
    let mut command = Command::new(python::python());
    command.arg("-B").arg(script).arg(env!("CARGO_BIN_EXE_obelus")).args(args).env("TERM", "xterm");
    command
}

#[test]
fn a_page_is_not_poured_onto_a_terminal() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let shown = |form: &str| {
        let output = on_terminal(&["audit", &edition, &source, "--format", form]).output().expect("Python starts");
        (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
    };
    let (status, said) = shown("html");
    assert_eq!((status, said.lines().count()), (Some(2), 1), "{said}");
    assert!(said.contains("-o page.html"), "{said}");
    assert_eq!(shown("text").0, Some(0));
    // Where nobody looks on, it comes.
    assert!(obelus(&["audit", &edition, &source, "--format", "html"]).ends_with("</html>\n"));
}

/// JSON and mark sheets have a file's words as they are, but no terminal is to obey them.
#[test]
fn data_on_a_terminal_is_escaped() {
    let folder = tempfile::tempdir().expect("a folder for a test");
    let odd = "dolce\u{202e}x\u{200f}y";
    let file = folder.path().join("odd.musicxml").display().to_string();
    let score = std::fs::read_to_string(demo("edition.musicxml")).expect("the demo");
    std::fs::write(&file, score.replacen("dolce", odd, 1)).expect("a file for a test");
    let source = demo("source.musicxml");
    for args in [&["audit", &file, &source, "--format", "json"][..], &["marks", &file, &source]] {
        assert!(obelus(args).contains(odd), "{args:?}");
        let shown = on_terminal(args).output().expect("Python starts");
        let shown = String::from_utf8(shown.stdout).expect("reports are UTF-8");
        assert!(shown.contains("dolce\\u202ex\\u200fy"), "{args:?}");
        assert!(!shown.contains(['\u{202e}', '\u{200f}']), "{args:?}");
    }
}

/// A score has its words as numbers there, which say the same.
#[test]
fn a_score_on_a_terminal_commands_nothing() {
    let folder = tempfile::tempdir().expect("a folder for a test");
    let file = folder.path().join("odd.musicxml").display().to_string();
    let score = std::fs::read_to_string(demo("source.musicxml")).expect("the demo");
    std::fs::write(&file, score.replacen("Sonata III", "Sonata \u{9b}2J\u{202e}III", 1)).expect("a file for a test");
    for args in [
        &["clean", &file, &file, "-o", "-"][..],
        &["exercises", &file, "--part", "Oboe", "--instrument", "alto recorder", "-o", "-"],
        &["exercises", &file, "--part", "Oboe", "--instrument", "alto recorder", "-o", "/dev/tty"],
    ] {
        let shown = on_terminal(args).output().expect("Python starts");
        let shown = String::from_utf8(shown.stdout).expect("a score is UTF-8");
        assert!(shown.contains("<score-partwise"), "{args:?}: {shown}");
        assert!(!shown.contains(['\u{9b}', '\u{202e}']), "{args:?}");
    }
}
