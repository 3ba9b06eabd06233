//! What DEVELOPERS.md promises of the sources: rooms import lower ones only, and files stay small.

use std::fs;
use std::path::{Path, PathBuf};

/// Lowest first, as in DEVELOPERS.md.
const ROOMS: [&str; 18] = [
    "pitch",
    "time",
    "patch",
    "score",
    "alignment",
    "plan",
    "instrument",
    "musicxml",
    "collate",
    "findings",
    "keys",
    "clean",
    "engrave",
    "beside",
    "handout",
    "report",
    "read_score",
    "comparison",
];

const MOST_LINES: usize = 400;

fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()) {
        match entry.is_dir() {
            true => sources(&entry, out),
            false => out.extend(Some(entry).filter(|e| e.extension().is_some_and(|x| x == "rs"))),
        }
    }
}

fn all() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    assert!(files.len() > 200, "only {} files", files.len());
    let name = |file: &PathBuf| file.strip_prefix(&root).unwrap().to_str().unwrap().replace('\\', "/");
    files.iter().map(|file| (name(file), fs::read_to_string(file).unwrap())).collect()
}

#[test]
fn rooms_import_lower_ones_only() {
    let floor = |room: &str| ROOMS.iter().position(|r| *r == room);
    let mut seen = 0;
    for (name, text) in all() {
        let room = name.split('/').next().unwrap().trim_end_matches(".rs");
        // Tests may use all.
        let (Some(own), false) = (floor(room), name.ends_with("tests.rs")) else { continue };
        let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
        for path in code.split("crate::").skip(1) {
            let other: String = path.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            let Some(other) = floor(&other) else { continue };
            seen += 1;
            assert!(other <= own, "{name} imports {}, which is above {room}", ROOMS[other]);
        }
    }
    assert!(seen > 500, "only {seen} imports were found");
}

#[test]
fn files_stay_small() {
    for (name, text) in all() {
        let lines = text.lines().count();
        assert!(lines <= MOST_LINES, "{name} has {lines} lines; split it");
    }
}
