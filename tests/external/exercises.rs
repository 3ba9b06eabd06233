//! Practice sheets of real solo parts: every exercise as music21 10.5.1 reads it back, and valid by the schema.

use crate::python;
use serde_json::{Value, json};
use std::ffi::OsStr;
use std::path::Path;

/// Checks the parts of the list in `tests/python/exercise_parts.txt` of whose place `chosen` holds.
fn check(chosen: impl Fn(usize) -> bool) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let list = std::fs::read_to_string(root.join("tests/python/exercise_parts.txt")).unwrap();
    let rows = list.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    let case = |row: &str| {
        let fields: Vec<&str> = row.split('|').map(str::trim).collect();
        let [instrument, score, part, options] = fields[..] else { panic!("four fields: {row}") };
        let (part, options): (u32, Vec<&str>) = (part.parse().unwrap(), options.split(' ').collect());
        json!({"instrument": instrument, "score": python::corpus(score), "part": part, "options": options})
    };
    let cases: Vec<Value> = rows.enumerate().filter(|(place, _)| chosen(*place)).map(|(_, row)| case(row)).collect();
    let folder = tempfile::tempdir().unwrap();
    let (file, sheets) = (folder.path().join("cases.json"), folder.path().join("sheets"));
    std::fs::create_dir(&sheets).unwrap();
    std::fs::write(&file, Value::from(cases).to_string()).unwrap();
    let fingerings = root.join("src/keys/fingerings.toml");
    let program = OsStr::new(env!("CARGO_BIN_EXE_obelus"));
    let args = [program, file.as_os_str(), fingerings.as_os_str(), sheets.as_os_str()];
    let found: Value = serde_json::from_str(&python::run("exercises_check.py", &args)).expect("the script prints JSON");
    // All that were written, whatever the script found.
    let written = python::scores_in(&sheets);
    assert_eq!(Some(written.len() as u64), found["parts"].as_u64(), "{found:#}");
    python::run("validate.py", &written.iter().map(|path| path.as_os_str()).collect::<Vec<_>>());
    found
}

#[test]
fn sheets_of_six_parts_are_what_their_forms_say() {
    let found = check(|place| place < 6);
    assert_eq!(found["differences"], json!([]), "{found:#}");
    assert_eq!((&found["parts"], &found["stretches"]), (&json!(6), &json!(30)), "{found}");
    assert_eq!(found["instruments"].as_array().map(Vec::len), Some(6), "{found}");
    // Seven forms, four rhythms among them, and the stretch as it stands.
    assert!(found["exercises"].as_u64() > Some(30 * 8), "{found}");
    assert!(found["fingerings"].as_u64() > Some(50), "{found}");
    assert!(found["slurred"].as_u64() > Some(500), "{found}");
}

/// `cargo test --release --features external-tests --test external exercises:: -- --ignored --nocapture`
#[test]
#[ignore = "takes some minutes"]
fn sheets_of_forty_parts_are_what_their_forms_say() {
    let found = check(|_| true);
    println!("{found:#}");
    assert_eq!(found["differences"], json!([]));
    assert_eq!(found["parts"], json!(40));
    assert!(found["instruments"].as_array().map(Vec::len) >= Some(6));
}
