//! Keys of real scores: signatures and compass as music21 10.5.1 moves them.

use crate::python;
use serde_json::{Value, json};
use std::ffi::OsStr;
use std::path::Path;

/// All but a unison and the octaves, in both ways.
const INTERVALS: [i32; 12] = [-9, -7, -5, -4, -3, -2, -1, 1, 2, 3, 5, 6];

/// Compares the scores of the list in `tests/python/scores.txt` of whose place `chosen` holds.
fn compare(chosen: impl Fn(usize) -> bool) -> Value {
    let list = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/python/scores.txt");
    let list = std::fs::read_to_string(list).unwrap();
    let rows = list.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    let scores: Vec<_> = rows
        .enumerate()
        .filter(|(place, _)| chosen(*place))
        .map(|(_, row)| python::corpus(row.split_once(' ').expect("kind and path").1))
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let cases = folder.path().join("cases.json");
    std::fs::write(&cases, json!({"scores": scores, "semitones": INTERVALS}).to_string()).unwrap();
    let args = [OsStr::new(env!("CARGO_BIN_EXE_obelus")), cases.as_os_str()];
    serde_json::from_str(&python::run("keys_check.py", &args)).expect("the script prints JSON")
}

#[test]
fn four_scores_in_twelve_keys_are_as_music21_has_them() {
    let found = compare(|place| place % 20 == 1);
    assert!(found["scores"].as_u64() >= Some(4), "{found}");
    assert!(found["compared"].as_u64() >= Some(4 * 12 * 2), "{found}");
    assert_eq!(found["differences"], json!([]), "{found:#}");
}

/// `cargo test --release --features external-tests --test external keys:: -- --ignored --nocapture`
#[test]
#[ignore = "takes some minutes"]
fn all_scores_of_the_list_in_twelve_keys() {
    let found = compare(|_| true);
    println!("{found:#}");
    assert!(found["scores"].as_u64() >= Some(40), "{found}");
    assert_eq!(found["differences"], json!([]), "{found:#}");
}
