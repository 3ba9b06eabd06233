//! `obelus rank` on real scores with known amounts of editing: `tests/python/ranks.py` makes the editions.

use crate::{browser, python};
use serde_json::Value;
use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::process::Command;

fn ranks(what: &str, options: &[&str]) -> Value {
    let program = env!("CARGO_BIN_EXE_obelus");
    let args = [&[what, program], options].concat();
    let args: Vec<&OsStr> = args.iter().map(OsStr::new).collect();
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

/// The page in Chromium: the rows and strips of its report, axe-core without violations, nothing fetched, on a desktop
/// and a phone, light and dark. Two editions of the demo, and a file that is none.
#[test]
fn the_page_in_the_browser() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo");
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let run = |args: &[&OsStr]| {
        let done = Command::new(env!("CARGO_BIN_EXE_obelus")).args(args).current_dir(folder.path()).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    };
    let [edition, source] = ["edition", "source"].map(|name| demo.join(format!("{name}.musicxml")));
    let arg = OsStr::new;
    fs::create_dir(at("editions")).unwrap();
    run(&[arg("clean"), edition.as_ref(), source.as_ref(), arg("-o"), arg("editions/clean.musicxml")]);
    fs::copy(&edition, at("editions/edition.musicxml")).unwrap();
    fs::write(at("editions/<b>none.xml"), "no score").unwrap();
    for (form, file) in [("html", "ranking.html"), ("json", "ranking.json")] {
        let args = [source.as_os_str(), arg("editions"), arg("--instrument"), arg("alto recorder")];
        run(&[&[arg("rank")], &args[..], &[arg("--format"), arg(form), arg("-o"), arg(file)]].concat());
    }
    println!("{}", browser::check(&[(at("ranking.html"), at("ranking.json"))]));
}
