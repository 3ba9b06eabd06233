//! Clean copies of editions whose source is known, and marks that go from copy to copy:
//! `tests/python/cleaning.py` and `tests/python/layers.py` make both out of real scores and look at them with tools
//! that share nothing with the program. `tests/python/transposing.py` compares copies in other keys with music21's,
//! `tests/python/adapting.py` those for other instruments.

use crate::python;
use serde_json::Value;
use std::ffi::OsStr;

/// Of each check how many passed, and of how many.
fn counts(script: &str, seeds: &str) -> Vec<(String, u64, u64)> {
    let folder = tempfile::tempdir().unwrap();
    let figures = folder.path().join("figures.json");
    let program = OsStr::new(env!("CARGO_BIN_EXE_obelus"));
    let args = [program, OsStr::new("--seeds"), OsStr::new(seeds), OsStr::new("--json"), figures.as_os_str()];
    println!("{}", python::run(script, &args));
    let told: Value = serde_json::from_str(&std::fs::read_to_string(figures).unwrap()).unwrap();
    let number = |value: &Value| value.as_u64().expect("a number");
    let counts = told["counts"].as_object().unwrap().iter();
    counts.map(|(name, of)| (name.clone(), number(&of[0]), number(&of[1]))).collect()
}

/// Every check passes on every pair; `least` is how many it is made on at least.
fn assert_all(script: &str, seeds: &str, least: u64) {
    for (name, good, all) in counts(script, seeds) {
        assert!(all >= least, "{name}: made on {all} only");
        assert_eq!(good, all, "{name}");
    }
}

#[test]
fn clean_copies_of_twelve_editions() {
    assert_all("cleaning.py", "1-12", 12);
}

#[test]
fn sheets_on_twelve_scores() {
    assert_all("layers.py", "3-14", 8);
}

/// Transposed copies of so many scores, twelve intervals each: how many were compared.
fn transposed(scores: &str) -> u64 {
    let folder = tempfile::tempdir().unwrap();
    let figures = folder.path().join("figures.json");
    let program = OsStr::new(env!("CARGO_BIN_EXE_obelus"));
    let args = [program, OsStr::new("--count"), OsStr::new(scores), OsStr::new("--json"), figures.as_os_str()];
    println!("{}", python::run("transposing.py", &args));
    let told: Value = serde_json::from_str(&std::fs::read_to_string(figures).unwrap()).unwrap();
    assert_eq!(told["wrong"], Value::Array(Vec::new()));
    told["compared"].as_u64().expect("a number")
}

#[test]
fn copies_in_twelve_keys_are_as_music21_moves_them() {
    assert!(transposed("3") >= 30);
}

#[test]
#[ignore = "takes minutes"]
fn copies_of_forty_scores_in_twelve_keys() {
    assert!(transposed("44") >= 440);
}

/// Parts of so many scores for seven instruments: how many were written for one, how many made to fit.
fn adapted(scores: &str) -> (u64, u64) {
    let folder = tempfile::tempdir().unwrap();
    let figures = folder.path().join("figures.json");
    let program = OsStr::new(env!("CARGO_BIN_EXE_obelus"));
    let args = [program, OsStr::new("--count"), OsStr::new(scores), OsStr::new("--json"), figures.as_os_str()];
    println!("{}", python::run("adapting.py", &args));
    let told: Value = serde_json::from_str(&std::fs::read_to_string(figures).unwrap()).unwrap();
    assert_eq!(told["wrong"], Value::Array(Vec::new()));
    let number = |name: &str| told[name].as_u64().expect("a number");
    assert!(number("moved") > 0);
    (number("for"), number("fit"))
}

#[test]
fn parts_for_seven_instruments_sound_as_before() {
    let (written, fitted) = adapted("2");
    assert!(written >= 40 && fitted >= 28, "{written} {fitted}");
}

#[test]
#[ignore = "takes minutes"]
fn parts_of_forty_scores_for_seven_instruments() {
    let (written, fitted) = adapted("44");
    assert!(written >= 800 && fitted >= 600, "{written} {fitted}");
}

/// The whole run, on seeds that nothing was made to suit: `cargo test --release --features external-tests --test external cleaning:: -- --ignored --nocapture`.
#[test]
#[ignore = "takes minutes"]
fn clean_copies_of_three_hundred_editions() {
    for (name, good, all) in counts("cleaning.py", "1000-1319") {
        // Which bytes an edit may touch is guessed from the findings.
        let least = if name == "untouched" { all * 98 / 100 } else { all };
        assert!(good >= least && all >= 300, "{name}: {good} of {all}");
    }
}

#[test]
#[ignore = "takes minutes"]
fn two_hundred_sheets() {
    assert_all("layers.py", "1000-1239", 200);
}
