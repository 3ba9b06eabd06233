//! The program against real music that nobody here wrote: the open corpus of
//! the Python package music21 (10.5.1). What an editor does to it, the tools in
//! `tests/python` do, and they read the results independently.

use crate::common::program::{json_of, obelus, obelus_fails};
use crate::common::unsigned::unsigned;
use crate::python;
use serde_json::Value;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// One edition made from a real score, with what is known of it.
struct Case {
    folder: tempfile::TempDir,
    source: PathBuf,
}

impl Case {
    /// `interval` is (steps, semitones).
    fn new(score: &str, interval: (i32, i32), seed: u32, marks: u32) -> Case {
        Case::with_deeds(score, interval, seed, marks, "")
    }

    /// `deeds` are what the editor does besides adding marks, by their names
    /// in `tests/python/deeds.py`.
    fn with_deeds(score: &str, interval: (i32, i32), seed: u32, marks: u32, deeds: &str) -> Case {
        let case = Case { folder: tempfile::tempdir().unwrap(), source: python::corpus(score) };
        let numbers = [interval.0.to_string(), interval.1.to_string(), seed.to_string(), marks.to_string()];
        let [steps, semitones, seed, marks] = &numbers;
        let files = [case.edition(), case.moved(), case.path("truth.json")];
        let mut args: Vec<&OsStr> = vec![case.source.as_os_str()];
        args.extend(files.iter().map(|f| f.as_os_str()));
        for (name, value) in [("--steps", steps), ("--semitones", semitones), ("--seed", seed), ("--marks", marks)] {
            args.push(OsStr::new(name));
            args.push(OsStr::new(value));
        }
        if !deeds.is_empty() {
            args.extend([OsStr::new("--deeds"), OsStr::new(deeds)]);
        }
        python::run("editor.py", &args);
        case
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn edition(&self) -> PathBuf {
        self.path("edition.musicxml")
    }

    /// The source in the edition's key, without any editor.
    fn moved(&self) -> PathBuf {
        self.path("moved.musicxml")
    }

    fn clean(&self) -> PathBuf {
        self.path("clean.musicxml")
    }

    fn truth(&self) -> Value {
        serde_json::from_str(&std::fs::read_to_string(self.path("truth.json")).unwrap()).unwrap()
    }

    /// The audit names every mark of the editor and nothing else; cleaning
    /// gives back the moved original's notes and marks, and valid music.
    fn check(&self) -> usize {
        let truth = self.truth();
        let report = json_of(&["audit", text(&self.edition()), text(&self.source), "--format", "json"]);
        let mut known: Vec<String> = list(&truth["findings"]).iter().map(|f| line(&f["part"], f)).collect();
        let mut found = Vec::new();
        for part in list(&report["parts"]) {
            assert_eq!(part["transposition"]["semitones"], truth["transposition"]["semitones"]);
            assert_eq!(part["transposition"]["steps"], truth["transposition"]["steps"]);
            found.extend(list(&part["findings"]).iter().map(|f| line(&part["part"]["id"], f)));
        }
        known.sort();
        found.sort();
        assert_eq!(found, known, "{}", self.source.display());

        self.check_clean();
        known.len()
    }

    fn check_clean(&self) {
        obelus(&["clean", text(&self.edition()), text(&self.source), "-o", text(&self.clean())]);
        let content =
            |file: &Path| near(serde_json::from_str(&python::run("content.py", &[file.as_os_str()])).unwrap());
        assert!(content(&self.clean()) == content(&self.moved()), "{}: the contents differ", self.source.display());
        python::run("validate.py", &[self.edition().as_os_str(), self.clean().as_os_str()]);
        let again = json_of(&["audit", text(&self.clean()), text(&self.source), "--format", "json"]);
        for part in list(&again["parts"]) {
            assert_eq!(list(&part["findings"]), &Vec::<Value>::new(), "{}", self.source.display());
        }
    }

    /// As `check`, where bars may have come, gone or become other music: what
    /// is found is compared bar by bar, passages by kind. Findings inside
    /// other music are the editor's taste, and their number is not known.
    fn check_deeds(&self) {
        let truth = self.truth();
        let report = json_of(&["audit", text(&self.edition()), text(&self.source), "--format", "json"]);
        let other = ["invented-ending", "rewritten-passage"];
        let mut loose: Vec<String> = Vec::new();
        let mut zone = |part: &Value, passage: &Value| {
            for (side, from, to) in [("e", "from", "to"), ("s", "source_from", "source_to")] {
                if let (Some(a), Some(b)) = (passage[from]["bar_index"].as_u64(), passage[to]["bar_index"].as_u64()) {
                    loose.extend((a..=b).map(|bar| format!("{part} {side} {bar}")));
                }
            }
        };
        for passage in list(&truth["passages"]).iter().filter(|p| other.iter().any(|k| p["kind"] == *k)) {
            zone(&passage["part"], passage);
        }
        let key = |part: &Value, finding: &Value| {
            let omitted = finding["status"] == "omitted";
            let (side, bar) = if omitted { ("s", &finding["source_bar_index"]) } else { ("e", &finding["bar_index"]) };
            let touched = loose.contains(&format!("{part} e {}", finding["bar_index"]))
                || loose.contains(&format!("{part} s {}", finding["source_bar_index"]));
            (!touched).then(|| format!("{part} {} {} {side} {bar}", finding["category"], finding["status"]))
        };
        let mut known: Vec<String> =
            list(&truth["findings"]).iter().filter(|f| f["loose"] != true).filter_map(|f| key(&f["part"], f)).collect();
        let mut found: Vec<String> = Vec::new();
        let mut passages: Vec<String> = Vec::new();
        for part in list(&report["parts"]) {
            found.extend(list(&part["findings"]).iter().filter_map(|f| key(&part["part"]["id"], f)));
            let kinds = list(&part["passages"]).iter().map(|p| format!("{} {}", part["part"]["id"], p["kind"]));
            passages.extend(kinds);
        }
        let mut wanted: Vec<String> =
            list(&truth["passages"]).iter().map(|p| format!("{} {}", p["part"], p["kind"])).collect();
        for list in [&mut known, &mut found, &mut passages, &mut wanted] {
            list.sort();
        }
        assert_eq!(found, known, "{}", self.source.display());
        assert_eq!(passages, wanted, "{}", self.source.display());
        self.check_clean();
    }
}

fn text(path: &Path) -> &str {
    path.to_str().expect("test paths are UTF-8")
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().expect("a list")
}

/// A quarter note is divided so finely where places are compared: durations in these files are
/// often rounded, and the program takes them for what they round.
const GRID: f64 = 48.0;

/// With all places and lengths on the grid.
fn near(value: Value) -> Value {
    match value {
        Value::Array(all) => all.into_iter().map(near).collect(),
        Value::Object(all) => all.into_iter().map(|(name, value)| (name, near(value))).collect(),
        Value::String(text) => {
            let fraction =
                text.split_once('/').and_then(|(n, d)| Some(n.parse::<f64>().ok()? / d.parse::<f64>().ok()?));
            fraction.map_or(Value::String(text), |f| format!("{}/{GRID}", (f * GRID).round()).into())
        }
        other => other,
    }
}

/// What must agree of a finding.
fn line(part: &Value, finding: &Value) -> String {
    let finding = near(finding.clone());
    let end = &finding["end"];
    format!(
        "{part} {} {} in bar {} at {} to {} {}",
        finding["category"],
        finding["status"],
        finding["bar_index"],
        finding["offset"],
        end["bar_index"],
        end["offset"]
    )
}

const SONATA: &str = "cpebach/h186.mxl";

#[test]
fn a_score_compared_with_itself_has_no_editor() {
    let sonata = python::corpus(SONATA);
    let report = json_of(&["audit", text(&sonata), text(&sonata), "--format", "json", "--strict"]);
    for part in list(&report["parts"]) {
        assert_eq!(list(&part["findings"]).len(), 0);
        assert_eq!(part["transposition"]["name"], "the same pitch");
    }
    let folder = tempfile::tempdir().unwrap();
    let clean = folder.path().join("clean.mxl");
    obelus(&["clean", text(&sonata), text(&sonata), "-o", text(&clean)]);
    let inside = |path: &Path| obelus::Input::open(path).unwrap().text;
    assert!(inside(&clean) == inside(&sonata), "not byte for byte the same");
}

#[test]
fn a_sonata_moved_by_a_second_a_third_and_a_fourth() {
    for (interval, seed) in [((1, 2), 1), ((-1, -2), 2), ((2, 3), 3), ((-2, -3), 4), ((3, 5), 5), ((-3, -5), 6)] {
        let case = Case::new(SONATA, interval, seed, 60);
        let marks = case.check();
        assert!(marks >= 40, "{marks} marks");
        // Only marks were added, so taking them out gives back every byte.
        let text = |path: PathBuf| std::fs::read_to_string(path).unwrap();
        assert!(unsigned(&text(case.clean())) == text(case.moved()), "not byte for byte the moved sonata");
    }
}

#[test]
fn a_strict_audit_of_a_real_edition_says_so() {
    let case = Case::new(SONATA, (2, 3), 9, 5);
    let failed = obelus_fails(&["audit", text(&case.edition()), text(&case.source), "--strict"]);
    assert_eq!(failed.status, 1);
}

#[test]
fn scores_of_many_kinds_with_an_editor() {
    // A trio sonata, a chorale, a quartet, a song with piano, a keyboard piece,
    // music with lyrics, and a score in .xml with bare carriage returns.
    let scores = [
        ("corelli/opus3no1/1grave.xml", (1, 2)),
        ("bach/bwv66.6.mxl", (-1, -2)),
        ("haydn/opus74no1/movement3.mxl", (2, 3)),
        ("schubert/Lindenbaum.xml", (-2, -3)),
        ("joplin/maple_leaf_rag.mxl", (0, 0)),
        ("monteverdi/madrigal.3.1.mxl", (3, 5)),
        ("mozart/k155/movement2.mxl", (1, 2)),
    ];
    for (seed, (score, interval)) in scores.into_iter().enumerate() {
        Case::new(score, interval, seed as u32 + 20, 50).check();
    }
}

#[test]
fn notes_bars_and_endings_that_an_editor_changed() {
    let cases = [
        (SONATA, (2, 3), "wrong-notes,octaves,omitted-marks"),
        (SONATA, (-1, -2), "rhythm,notes,spelling,altered-marks"),
        ("corelli/opus3no1/1grave.xml", (1, 2), "ties,wrong-notes,insertion"),
        ("bach/bwv66.6.mxl", (3, 5), "octaves,cut"),
        ("haydn/opus74no1/movement3.mxl", (-2, -3), "rhythm,octaves,ending"),
        ("mozart/k155/movement2.mxl", (1, 2), "notes,ties,altered-marks,rewrite"),
        ("monteverdi/madrigal.3.1.mxl", (0, 0), "octaves,spelling,insertion"),
        ("bach/bwv347.mxl", (-1, -2), "wrong-notes,rhythm,ties,ending"),
    ];
    for (seed, (score, interval, deeds)) in cases.into_iter().enumerate() {
        Case::with_deeds(score, interval, seed as u32 + 40, 20, deeds).check_deeds();
    }
}
