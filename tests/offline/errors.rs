//! Whatever goes wrong is told in one line, with the right status, and leaves
//! nothing behind.

use crate::common::program::demo;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_obelus"))
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts")
}

/// Checks that a call fails with a status and one line that has these words.
fn fails(arguments: &[&str], status: i32, words: &[&str]) {
    let output = run(arguments);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(status), "{arguments:?}: {said}");
    assert_eq!(said.lines().count(), 1, "{arguments:?}: {said}");
    assert!(said.starts_with("obelus: "), "{said}");
    for word in words {
        assert!(said.contains(word), "{word:?} is not in {said:?}");
    }
    assert!(output.stdout.is_empty(), "{arguments:?} wrote a result");
}

/// A folder with one file of this content.
fn file(name: &str, content: &[u8]) -> (TempDir, PathBuf) {
    let dir = tempfile::tempdir().expect("a folder for a test");
    let path = dir.path().join(name);
    fs::write(&path, content).expect("a file for a test");
    (dir, path)
}

#[test]
fn inputs_that_cannot_be_read() {
    let whole = fs::read(demo("source.musicxml")).expect("the demo is there");
    let none = String::from_utf8_lossy(&whole).replacen("<part-name>", "<part-name>\n  &#xD800;", 1);
    let cases: [(&str, &[u8], &[&str]); 14] = [
        ("surrogate.xml", none.as_bytes(), &["line ", "column 3", "the number of no character"]),
        ("empty.xml", b"", &["empty"]),
        ("blank.xml", b" \n ", &["empty"]),
        ("words.xml", b"dolce", &["line 1"]),
        ("page.xml", b"<html><body/></html>", &["not MusicXML", "<html>", "line 1, column 1"]),
        ("cut.musicxml", &whole[..whole.len() / 2], &["line ", "column ", "cut off", "download it"]),
        ("head.musicxml", &whole[..30], &["line 1", "cut off"]),
        ("bare.xml", b"<score-partwise/>", &["no part"]),
        ("broken.mxl", b"PK\x03\x04 and no more", &["archive"]),
        ("bits.mxl", b">\x0d\x90\xe2\xf9\0\x06", &["neither an .mxl archive", "download it again"]),
        ("bits.xml", b"\x90\xe2\xf9\0\x06", &["not MusicXML", "not text"]),
        ("print.musicxml", b"%PDF-1.7\n%\xe2\xe3", &["not MusicXML", "a PDF"]),
        ("latin.xml", b"<score-partwise>\xff</score-partwise>", &["UTF-8"]),
        ("entity.xml", b"<!DOCTYPE x [<!ENTITY a \"b\">]>\n<score-partwise/>", &["entity", "line 1"]),
    ];
    for (name, content, words) in cases {
        let (dir, path) = file(name, content);
        let path = path.display().to_string();
        let words = [words, &[name]].concat();
        let out = dir.path().join("out.txt").display().to_string();
        let good = demo("source.musicxml");
        fails(&["audit", &path, &good, "-o", &out], 3, &words);
        fails(&["audit", &good, &path, "-o", &out], 3, &words);
        fails(&["range", &path, "-o", &out], 3, &words);
        let files = fs::read_dir(dir.path()).expect("the folder is there");
        assert_eq!(files.count(), 1, "{name}: something was written");
    }
}

#[test]
fn inputs_that_are_no_files() {
    let dir = tempfile::tempdir().expect("a folder for a test");
    let folder = dir.path().display().to_string();
    let missing = dir.path().join("missing.xml").display().to_string();
    let good = demo("source.musicxml");
    fails(&["audit", &folder, &good], 3, &["folder", &folder]);
    fails(&["audit", &good, &missing], 3, &["no such file", "missing.xml"]);
    fails(&["range", &missing], 3, &["no such file"]);
    fails(&["range", "-"], 3, &["standard input", "empty"]);
    fails(&["audit", "-", "-"], 2, &["standard input"]);
}

#[test]
fn names_that_nothing_has() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let audit = |more: &[&str], words: &[&str]| {
        let all = [&["audit", &edition, &source], more].concat();
        fails(&all, 2, words);
    };
    audit(&["--part", "Tuba"], &["Tuba", "Treble Recorder (P1)", "edition.musicxml"]);
    audit(&["--source-part", "3"], &["\"3\"", "1 Oboe (P1)", "2 Basso (P2)"]);
    audit(&["--instrument", "alto recordr"], &["did you mean", "alto recorder"]);
    audit(&["--bars", "50"], &["no bar 50", "from 0 to 39"]);
    audit(&["--bars", "20-19"], &["backwards"]);
    audit(&["--format", "pdf"], &["pdf", "text, json, csv"]);
    audit(&["--colour"], &["--colour"]);
    fails(&["audit", &edition], 2, &["<SOURCE>"]);
    fails(&["range"], 2, &["<SCORE>"]);
    fails(&["collate"], 2, &["collate"]);
}

#[test]
fn tables_of_instruments_that_cannot_be_read() {
    let score = demo("edition.musicxml");
    let (_dir, path) = file("mine.toml", b"[[instrument]]\nname = \"x\"\nwritten = [\"Q4\", \"C5\"]\n");
    let path = path.display().to_string();
    fails(&["range", &score, "--instruments", &path], 3, &["mine.toml", "line 3", "Q4"]);
    fails(&["range", "--list", "--instruments", "nowhere.toml"], 3, &["no such file"]);
    fails(&["range", &score, "--instruments", &score], 3, &["line 1"]);
}

#[test]
fn outputs_that_cannot_be_written() {
    let score = fs::read(demo("edition.musicxml")).expect("the demo is there");
    let (dir, path) = file("edition.musicxml", &score);
    let edition = path.display().to_string();
    let source = demo("source.musicxml");
    let audit = |out: &Path, words: &[&str]| {
        let out = out.display().to_string();
        fails(&["audit", &edition, &source, "-o", &out], 2, words);
    };
    audit(&path, &["overwrite", "edition.musicxml"]);
    audit(&dir.path().join("./edition.musicxml"), &["overwrite"]);
    audit(dir.path(), &["folder"]);
    audit(&dir.path().join("no/report.txt"), &["no folder"]);
    fails(&["range", &edition, "-o", &edition], 2, &["overwrite"]);
    assert_eq!(fs::read(&path).expect("it is there"), score);
    assert_eq!(fs::read_dir(dir.path()).expect("it is there").count(), 1);
}

/// A name that plainly says another form than what would be written is a slip.
#[test]
fn outputs_whose_names_say_something_else() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let dir = tempfile::tempdir().expect("a folder for a test");
    let at = |name: &str| dir.path().join(name).display().to_string();
    let both = |command: &'static str| vec![command, &edition, &source];
    let one = |command: &'static str| vec![command, &source];
    for (start, option, name, words) in [
        (both("clean"), "-o", "x.pdf", &["--pdf", ".musicxml"][..]),
        (both("clean"), "-o", "x.md", &["--notes"]),
        (both("clean"), "-o", "x.HTML", &["audit", "--format html"]),
        (both("audit"), "-o", "x.html", &["--format html", ".txt"]),
        (both("audit"), "-o", "x.json", &["--format json"]),
        (both("audit"), "-o", "x.toml", &["--decisions"]),
        (both("audit"), "-o", "x.musicxml", &["--side-by-side"]),
        (both("audit"), "--side-by-side", "x.mxl", &["an uncompressed score", ".musicxml"]),
        (both("audit"), "--decisions", "x.json", &["--format json", ".toml"]),
        (one("range"), "-o", "x.csv", &["--format csv"]),
        (one("keys"), "-o", "x.json", &["--format json"]),
        (both("marks"), "-o", "x.musicxml", &["a mark sheet", ".toml"]),
    ] {
        let file = at(name);
        fails(&[&start[..], &[option, &file]].concat(), 2, &[words, &[name]].concat());
    }
    let file = at("x.json");
    fails(&["audit", &edition, &source, "--format", "html", "-o", &file], 2, &["a page", ".html"]);
    assert_eq!(fs::read_dir(dir.path()).expect("the folder").count(), 0, "something was written");
    // Names that say nothing, or the form itself.
    for (form, name) in [("text", "x.txt"), ("text", "x"), ("csv", "x.csv"), ("html", "x.HTM"), ("json", "x.report")] {
        let output = run(&["audit", &edition, &source, "--format", form, "-o", &at(name)]);
        assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

/// A reader that stops early, as `head` does, is no error.
#[test]
fn a_pipe_may_close_early() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_obelus"))
        .args(["audit", &demo("edition.musicxml"), &demo("source.musicxml")])
        .args(["--format", "json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty());
}

#[test]
fn a_clean_copy_is_whole_or_not_there() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let (dir, broken) = file("cut.musicxml", &fs::read(&source).expect("the demo is there")[..5000]);
    let out = dir.path().join("out.musicxml");
    let path = |p: &Path| p.display().to_string();
    let (broken, out, folder) = (path(&broken), path(&out), path(dir.path()));
    let lost = path(&dir.path().join("no/out.musicxml"));
    let sheet = path(&dir.path().join("sheet.toml"));
    fs::write(&sheet, "[[mark]]\nat = \"99:1\"\ndynamics = \"p\"\n").expect("a sheet");
    fails(&["clean", &broken, &source, "-o", &out], 3, &["line ", "column "]);
    fails(&["clean", &edition, &folder, "-o", &out], 3, &["folder"]);
    fails(&["clean", &edition, &source, "-o", &edition], 2, &["overwrite"]);
    fails(&["clean", &edition, &source, "-o", &source], 2, &["overwrite"]);
    fails(&["clean", &edition, &source, "-o", &folder], 2, &["folder"]);
    fails(&["clean", &edition, &source, "-o", &lost], 2, &["no folder"]);
    fails(&["clean", &edition, &source], 2, &["--output"]);
    fails(&["clean", &edition, &source, "-o", &out, "--keep", "slurs"], 2, &["slur, articulation"]);
    fails(&["clean", &edition, &source, "-o", &out, "--part", "Viola"], 2, &["Treble Recorder"]);
    fails(&["clean", &edition, &source, "-o", &out, "--mine", &sheet], 2, &["no bar 99", "0 to 36"]);
    fails(&["clean", &edition, &source, "-o", &out, "--mine", "no.toml"], 3, &["no such file"]);
    let marks = path(&dir.path().join("marks.toml"));
    fails(&["marks", &edition, &broken, "-o", &marks], 3, &["line "]);
    fails(&["marks", &edition, &source, "-o", &edition], 2, &["overwrite"]);
    assert!(!Path::new(&marks).exists());
    assert!(!Path::new(&out).exists());
    assert_eq!(fs::read_dir(dir.path()).expect("the folder").count(), 2, "something was left behind");
}
