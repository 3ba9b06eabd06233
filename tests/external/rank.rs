//! `obelus rank` on real scores with known amounts of editing: `tests/python/ranks.py` makes the editions.

use crate::python;
use serde_json::Value;
use std::ffi::OsStr;

fn ranks(what: &str, options: &[&str]) -> Value {
    let program = env!("CARGO_BIN_EXE_obelus");
    let args: Vec<&OsStr> = [what, program].iter().chain(options).map(OsStr::new).collect();
    let told = python::run("ranks.py", &args);
    println!("{told}");
    serde_json::from_str(&told).unwrap()
}

/// None, 1, 5, 20 and 60 marks, an octave, an ending, another key: in this order, on each of 20 scores.
#[test]
fn editions_stand_in_the_order_of_what_was_done_to_them() {
    let told = ranks("order", &["--count", "20"]);
    assert_eq!(told["sources"], 20);
    assert_eq!(told["right"], 20, "{}", told["wrong"]);
}

/// Of 100 editions (other keys, some parts, cuts, octaves, endings, marks) beside a folder of 300 scores.
#[test]
fn editions_find_their_sources() {
    for seed in ["1", "2"] {
        let told = ranks("sources", &["--seed", seed]);
        assert_eq!((&told["editions"], &told["library"]), (&100.into(), &300.into()));
        assert!(told["found"].as_u64().unwrap() >= 98, "{told}");
        assert_eq!(told["wrong"].as_array().unwrap().len(), 0, "{told}");
    }
}
