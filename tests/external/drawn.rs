//! Every system that is drawn, read in the browser with the letters that the page brings: what lies outside its
//! picture, on other words or on noteheads; whether every note of both sides and every finding is there.
#![cfg(feature = "engrave")]

use crate::browser;
use crate::common::page::{page_of, report_of};
use crate::common::program::demo;
use crate::python;
use obelus::time::Time;
use serde_json::Value;
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

/// Pages of audits, and what must be in them.
struct Pages {
    folder: tempfile::TempDir,
    files: Vec<PathBuf>,
    /// Of each, how many notes both sides have, and the findings of each part.
    wanted: Vec<(usize, Vec<Vec<Value>>)>,
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
        let findings = parts.iter().map(|part| part["findings"].as_array().unwrap().clone()).collect();
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
            faults.extend(list(&read["astray"]).iter().map(|fault| format!("page {place}, astray: {fault}")));
            faults.extend(out_of_order(read, findings).iter().map(|fault| format!("page {place}: {fault}")));
            faults.extend(list(&read["outside"]).iter().map(|fault| format!("page {place}, outside: {fault}")));
            collisions.extend(list(&read["collisions"]).iter().map(|fault| format!("page {place}: {fault}")));
            let drawn = read["notes"].as_u64().unwrap() as usize;
            if drawn != *notes {
                faults.push(format!("page {place}: {drawn} notes, not {notes}"));
            }
            let rows: Vec<usize> =
                read["rows"].as_array().unwrap().iter().map(|n| n.as_u64().unwrap() as usize).collect();
            let found: Vec<usize> = findings.iter().map(Vec::len).collect();
            if rows != found {
                faults.push(format!("page {place}: findings {rows:?}, not {found:?}"));
            }
        }
        assert!(faults.is_empty(), "{}", faults.join("\n"));
        assert!(collisions.len() <= covered, "{}", collisions.join("\n"));
        assert!(pictures as usize >= 3 * self.files.len(), "{pictures} pictures");
    }
}

/// Two and a half staff spaces: so much farther to the left than an earlier one may a mark begin, for its accidental,
/// for the middle of a syllable.
const LEAD: f64 = 450.0;

/// Where something is drawn: its system, how far to the right, and what it is.
#[derive(Debug, Clone, Copy)]
struct Place<'r> {
    system: u64,
    left: f64,
    class: &'r str,
}

impl Place<'_> {
    fn at(&self) -> (u64, f64) {
        (self.system, self.left)
    }
}

/// Findings whose marks do not follow each other in a system as the findings do in time: each is at its beat.
fn out_of_order(read: &Value, parts: &[Vec<Value>]) -> Vec<String> {
    let mut first: BTreeMap<(usize, usize), Place> = BTreeMap::new();
    for place in read["places"].as_array().unwrap() {
        let part: usize = place["part"].as_str().unwrap().trim_start_matches('p').parse().unwrap();
        let here = Place {
            system: place["system"].as_u64().unwrap(),
            left: place["left"].as_f64().unwrap(),
            class: place["class"].as_str().unwrap(),
        };
        for row in place["rows"].as_array().unwrap() {
            let own = first.entry((part - 1, row.as_u64().unwrap() as usize)).or_insert(here);
            if here.at() < own.at() {
                *own = here;
            }
        }
    }
    let mut faults = Vec::new();
    for (part, findings) in parts.iter().enumerate() {
        let mut by_time: BTreeMap<(u64, Time), Vec<Place>> = BTreeMap::new();
        for (row, finding) in findings.iter().enumerate() {
            let time = (finding["bar_index"].as_u64().unwrap(), offset(finding["offset"].as_str().unwrap()));
            by_time.entry(time).or_default().extend(first.get(&(part, row)));
        }
        let mut last = (0, f64::MIN);
        for (time, here) in &by_time {
            let early = here.iter().filter(|p| p.system < last.0 || p.system == last.0 && p.left + LEAD < last.1);
            faults.extend(early.map(|p| format!("part {part} at {time:?}: {p:?} after {last:?} ({})", p.class)));
            last = here.iter().map(Place::at).fold(last, |a, b| if b > a { b } else { a });
        }
    }
    faults
}

/// In quarter notes, as a fraction of whole numbers.
fn offset(text: &str) -> Time {
    let (over, under) = text.split_once('/').unwrap_or((text, "1"));
    Time::new(over.parse().unwrap(), under.parse().unwrap())
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
    // Twice a syllable on the next one, and words on the number of an ending.
    pages.check(3);
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
