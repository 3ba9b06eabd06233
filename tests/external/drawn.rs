//! Every system that is drawn, read in the browser with the letters that the page brings: what lies outside its
//! picture, on other words or on noteheads; whether every note of both sides and every finding is there.
#![cfg(feature = "engrave")]

use crate::browser;
use crate::common::page::{page_of, report_of};
use crate::common::program::demo;
use crate::python;
use serde_json::Value;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

/// Pages of audits, and what must be in them.
struct Pages {
    folder: tempfile::TempDir,
    files: Vec<PathBuf>,
    /// Of each, how many notes both sides have, and how many findings each part.
    wanted: Vec<(usize, Vec<usize>)>,
}

impl Pages {
    fn new() -> Pages {
        Pages { folder: tempfile::tempdir().unwrap(), files: Vec::new(), wanted: Vec::new() }
    }

    fn add(&mut self, edition: &str, source: &str, notes: usize) {
        let file = self.folder.path().join(format!("{}.html", self.files.len()));
        fs::write(&file, page_of(&[edition, source])).unwrap();
        let report = report_of(&[edition, source]);
        let parts = report["parts"].as_array().unwrap();
        let findings = parts.iter().map(|part| part["findings"].as_array().unwrap().len()).collect();
        self.files.push(file);
        self.wanted.push((notes, findings));
    }

    /// A score of the corpus, and an edition of it with fifty marks of an imagined editor.
    fn add_edited(&mut self, score: &str, seed: usize) {
        let source = python::corpus(score);
        let files = ["edition", "moved", "truth"].map(|name| self.folder.path().join(format!("{name}{seed}.xml")));
        let seed = seed.to_string();
        let mut args: Vec<&OsStr> = vec![source.as_os_str()];
        args.extend(files.iter().map(|f| f.as_os_str()));
        args.extend(["--steps", "0", "--semitones", "0", "--seed", &seed, "--marks", "50"].map(OsStr::new));
        python::run("editor.py", &args);
        let [edition, source] = [&files[0], &source].map(|file| text(file));
        self.add(edition, source, notes_in(edition) + notes_in(source));
    }

    /// Nothing is cut, missing or there twice; no more than so many things lie on something else.
    fn check(&self, covered: usize) {
        let told = browser::drawn(&self.files);
        let (mut pictures, mut faults, mut collisions) = (0, Vec::new(), Vec::new());
        for (place, (notes, findings)) in self.wanted.iter().enumerate() {
            let read = &told[place.to_string()];
            pictures += read["pictures"].as_u64().unwrap();
            faults.extend(list(&read["outside"]).iter().map(|fault| format!("page {place}, outside: {fault}")));
            collisions.extend(list(&read["collisions"]).iter().map(|fault| format!("page {place}: {fault}")));
            let drawn = read["notes"].as_u64().unwrap() as usize;
            if drawn != *notes {
                faults.push(format!("page {place}: {drawn} notes, not {notes}"));
            }
            let rows: Vec<usize> =
                read["rows"].as_array().unwrap().iter().map(|n| n.as_u64().unwrap() as usize).collect();
            if rows != *findings {
                faults.push(format!("page {place}: findings {rows:?}, not {findings:?}"));
            }
        }
        assert!(faults.is_empty(), "{}", faults.join("\n"));
        assert!(collisions.len() <= covered, "{}", collisions.join("\n"));
        assert!(pictures as usize >= 3 * self.files.len(), "{pictures} pictures");
    }
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn list(value: &Value) -> Vec<String> {
    let said = |one: &Value| one.as_str().map_or_else(|| one.to_string(), String::from);
    value.as_array().unwrap().iter().map(said).collect()
}

/// Notes with a place on a staff.
fn notes_in(file: &str) -> usize {
    let text = obelus::Input::open(Path::new(file)).unwrap().text;
    text.matches("<pitch>").count() + text.matches("<unpitched").count()
}

/// Scores of several kinds, as the list of the tests in Python has them.
fn scores() -> impl Iterator<Item = &'static str> {
    let lines = include_str!("../python/scores.txt").lines().filter(|line| !line.starts_with('#'));
    lines.filter_map(|line| line.split_once(' ')).map(|(_, path)| path)
}

#[test]
fn nothing_of_the_demo_and_of_six_scores_is_cut_or_covered() {
    let mut pages = Pages::new();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    // Only the oboe's part is compared.
    let whole = fs::read_to_string(&source).unwrap();
    let oboe = whole.split("<part id=\"P2\"").next().unwrap().matches("<pitch>").count();
    pages.add(&edition, &source, notes_in(&edition) + oboe);
    scores().take(6).enumerate().for_each(|(seed, score)| pages.add_edited(score, seed));
    pages.check(0);
}

/// `cargo test --release --all-features --test external drawn:: -- --ignored`.
#[test]
#[ignore = "takes minutes"]
fn nothing_of_forty_scores_is_cut_and_hardly_anything_covered() {
    let mut pages = Pages::new();
    scores().take(40).enumerate().for_each(|(seed, score)| pages.add_edited(score, seed + 100));
    // Twice a syllable on the next one, words on a chord symbol, and a number below "cresc.".
    pages.check(4);
}

/// An empty sign has no place, and what has none makes no page of kilometres.
#[test]
fn an_empty_sign_is_not_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let source = demo("source.musicxml");
    let whole = fs::read_to_string(&source).unwrap();
    let (head, rest) = whole.split_once("<note").unwrap();
    let sign = |inner: &str| format!("<direction><direction-type>{inner}</direction-type></direction>");
    let empty = sign("<rehearsal/>") + &sign("<words> </words>");
    let edition = folder.path().join("edition.musicxml");
    fs::write(&edition, format!("{head}{empty}<note{rest}")).unwrap();
    let page = page_of(&[text(&edition), &source]);
    let heights = page.split("viewBox=\"").skip(1).filter_map(|v| v.split(['"', ' ']).nth(3)?.parse::<f64>().ok());
    let highest = heights.fold(0.0, f64::max);
    assert!((1000.0..20_000.0).contains(&highest), "{highest}");
}
