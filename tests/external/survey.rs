//! Every score of the packages music21 and musicscore, read, compared with itself and cleaned; the notes that are
//! read are compared with those that music21 reads. `tests/python/survey.py` does the runs and the comparison;
//! `tests/external/survey` lists the files that are refused and those that music21 reads otherwise.

#![cfg(unix)] // the memory of a run is asked of the system

use crate::contents;
use crate::python;
use obelus::testing::{Parsed, read};
use obelus::{Error, Input, ReadScore, Tree};
use serde_json::{Value, json};
use std::ffi::OsStr;
use std::fs;
use std::path::Path;

const PACKAGES: [&str; 2] = ["music21", "musicscore"];

fn read_contents(path: &Path) -> Result<Value, Error> {
    let input = Input::open(path)?;
    let tree = Tree::parse(&input)?;
    let whole = read(&tree)?;
    let told = contents::contents(&whole);
    // Where nothing but the music is needed, less of the text is read.
    let music = ReadScore::music(&input)?;
    let music = Parsed { score: music.score().clone(), warnings: music.warnings().to_vec(), ..whole };
    assert!(contents::contents(&music) == told, "{}: the music is read otherwise", path.display());
    Ok(told)
}

/// Surveys every file of which `chosen` holds, and prints the figures.
fn survey(chosen: impl Fn(usize) -> bool, options: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    let mut count = 0;
    for package in PACKAGES {
        let root = python::package(package);
        for path in python::scores_in(&root) {
            let place = count;
            count += 1;
            if !chosen(place) {
                continue;
            }
            let contents = folder.path().join(format!("{place}.json"));
            let refusal = match read_contents(&path) {
                Ok(value) => {
                    fs::write(&contents, value.to_string()).unwrap();
                    None
                }
                Err(error) => Some(error.to_string()),
            };
            files.push(json!({
                "package": package, "file": path.strip_prefix(&root).unwrap(), "path": path,
                "contents": contents, "refusal": refusal,
            }));
        }
    }
    let list = folder.path().join("files.json");
    fs::write(&list, json!({"files": files, "all": count}).to_string()).unwrap();
    let lists = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/external/survey");
    let mut args = vec![OsStr::new(env!("CARGO_BIN_EXE_obelus")), list.as_os_str(), lists.as_os_str()];
    args.extend(options.iter().map(OsStr::new));
    println!("{}", python::run("survey.py", &args));
}

#[test]
fn every_tenth_file() {
    survey(|place| place % 10 == 0, &[]);
}

/// `cargo test --release --features external-tests --test external survey:: -- --ignored --nocapture`
#[test]
#[ignore = "takes some ten minutes, and its times are those of a release build"]
fn every_file() {
    survey(|_| true, &["--timed"]);
}
