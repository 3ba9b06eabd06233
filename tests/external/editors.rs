//! What the audit finds of editors whose doings are known: `tests/python/measure.py` makes pairs of an
//! edition and a source out of real scores, and counts what is right, false and missed. `tests/python/poly.py` does so
//! for scores of several parts, voices and staves, and looks at clean copies and critical notes as well.

use crate::python;
use serde_json::Value;
use std::ffi::OsStr;

/// The measure over edited pairs, over pairs that differ in writing only, and over pairs of different pieces.
fn measure(edited: &str, plain: &str, strangers: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let figures = folder.path().join("figures.json");
    let program = OsStr::new(env!("CARGO_BIN_EXE_obelus"));
    let seeds = ["--seeds", edited, "--plain", plain, "--strangers", strangers, "--json"].map(OsStr::new);
    let args: Vec<&OsStr> = [program].into_iter().chain(seeds).chain([figures.as_os_str()]).collect();
    println!("{}", python::run("measure.py", &args));
    let told: Value = serde_json::from_str(&std::fs::read_to_string(figures).unwrap()).unwrap();
    for fault in ["crashes", "generator_faults"] {
        assert_eq!(told[fault], 0, "{fault}");
    }
    let pairs = told["pairs"].as_u64().unwrap() + told["plain_pairs"].as_u64().unwrap();
    assert_eq!(told["transposition_right"].as_u64().unwrap(), pairs, "the interval or the parts that belong together");
    told
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

#[test]
fn editors_of_twenty_four_scores() {
    let told = measure("1-24", "1-12", "1-24");
    assert!(number(&told["all"]["f1"]) >= 0.995, "{}", told["all"]);
    assert!(number(&told["passages"]["f1"]) >= 0.98, "{}", told["passages"]);
    assert_eq!(told["plain_with_findings"], 0);
    assert_eq!(told["strangers"]["with_parts"], 0);
}

/// The whole run, on seeds that nothing was made to suit: `cargo test --release --features external-tests --test external editors:: -- --ignored --nocapture`.
#[test]
#[ignore = "takes minutes"]
fn editors_of_three_hundred_scores() {
    let told = measure("1000-1319", "1000-1199", "1000-1199");
    assert!(number(&told["all"]["f1"]) >= 0.995, "{}", told["all"]);
    for (category, figures) in told["categories"].as_object().unwrap() {
        assert!(number(&figures["f1"]) >= 0.98, "{category}: {figures}");
    }
    assert!(number(&told["passages"]["f1"]) >= 0.98, "{}", told["passages"]);
    assert_eq!(told["plain_with_findings"], 0);
    assert_eq!(told["strangers"]["with_parts"], 0);
}

/// The measure over pairs of several parts, voices and staves, with their clean copies and critical notes.
fn several_parts(edited: &str, plain: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let figures = folder.path().join("figures.json");
    let program = OsStr::new(env!("CARGO_BIN_EXE_obelus"));
    let options = ["--seeds", edited, "--plain", plain, "--clean", "--notes", "--json"].map(OsStr::new);
    let args: Vec<&OsStr> = [program].into_iter().chain(options).chain([figures.as_os_str()]).collect();
    println!("{}", python::run("poly.py", &args));
    let told: Value = serde_json::from_str(&std::fs::read_to_string(figures).unwrap()).unwrap();
    for fault in ["crashes", "generator_faults"] {
        assert_eq!(told[fault], 0, "{fault}");
    }
    told
}

/// What must hold of them; of clean copies one in a hundred may have bars left, which it names.
fn assert_several_parts(told: &Value) {
    let pairs = told["pairs"].as_u64().unwrap() + told["plain_pairs"].as_u64().unwrap();
    assert_eq!(told["transposition_right"].as_u64().unwrap(), pairs, "lines, interval or scope");
    assert!(number(&told["all"]["f1"]) >= 0.995, "{}", told["all"]);
    for (category, figures) in told["categories"].as_object().unwrap() {
        let instances = number(&figures["hits"]) + number(&figures["missed"]);
        assert!(instances < 20.0 || number(&figures["f1"]) >= 0.98, "{category}: {figures}");
    }
    assert!(number(&told["passages"]["f1"]) >= 0.98, "{}", told["passages"]);
    assert_eq!(told["plain_with_findings"], 0);
    assert_eq!(told["clean"]["wrong"], 0, "{}", told["clean"]);
    assert!(number(&told["clean"]["left"]) * 100.0 <= number(&told["clean"]["pairs"]), "{}", told["clean"]);
    assert_eq!(told["notes"]["wrong"], 0, "{}", told["notes"]);
}

#[test]
fn editors_of_scores_of_several_parts() {
    assert_several_parts(&several_parts("1-4", "1-6"));
}

/// The whole run, on seeds that nothing was made to suit.
#[test]
#[ignore = "takes minutes"]
fn editors_of_three_hundred_scores_of_several_parts() {
    assert_several_parts(&several_parts("1000-1299", "1000-1199"));
}

/// The pairs are what their truth says, by the schema and by an independent reader.
#[test]
fn pairs_of_several_parts_are_as_they_are_told() {
    println!("{}", python::run("poly_check.py", &["--seeds", "1-12"].map(OsStr::new)));
}

/// Additions set apart and coloured, and taken out again, by `tests/python/apart.py`.
fn set_apart(seeds: &str) {
    let folder = tempfile::tempdir().unwrap();
    let figures = folder.path().join("figures.json");
    let program = OsStr::new(env!("CARGO_BIN_EXE_obelus"));
    let args = [program, OsStr::new("--seeds"), OsStr::new(seeds), OsStr::new("--json"), figures.as_os_str()];
    let said = python::run("apart.py", &args);
    println!("{said}");
    let told: Value = serde_json::from_str(&std::fs::read_to_string(figures).unwrap()).unwrap();
    assert_eq!(told["wrong"], 0, "{said}");
    assert!(number(&told["set apart"]) > 10.0 * number(&told["pairs"]), "{told}");
}

#[test]
fn additions_to_six_scores_are_set_apart() {
    set_apart("1-6");
}

#[test]
#[ignore = "takes minutes"]
fn additions_to_a_hundred_scores_are_set_apart() {
    set_apart("1000-1099");
}
