//! What DEVELOPERS.md promises of the sources: rooms import lower ones only, no files import each other, and files
//! stay small.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Lowest first, as in DEVELOPERS.md.
const ROOMS: [&str; 27] = [
    "readable",
    "side_file",
    "at_once",
    "pitch",
    "time",
    "suggest",
    "patch",
    "whole_file",
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
    "exercises",
    "read_score",
    "comparison",
    "rank",
    "desk",
    "cli",
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

/// The module that a file is.
fn module(file: &str) -> String {
    file.trim_end_matches(".rs").trim_end_matches("/mod").replace('/', "::")
}

/// The paths of a use tree: `a::{b, c::d}` is `a::b` and `a::c::d`.
fn paths(tree: &str) -> Vec<String> {
    let Some((before, rest)) = tree.split_once('{') else { return vec![tree.trim().to_string()] };
    let inner = &rest[..rest.rfind('}').expect("a brace closes")];
    let (mut depth, mut from, mut items) = (0, 0, Vec::new());
    for (at, c) in inner.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                items.push(&inner[from..at]);
                from = at + 1;
            }
            _ => {}
        }
    }
    items.push(&inner[from..]);
    let before = before.trim();
    items.iter().flat_map(|item| paths(item.trim())).map(|path| format!("{before}{path}")).collect()
}

/// The modules that a file imports, its own children left out: they belong to it.
fn imports(own: &str, text: &str, modules: &BTreeSet<String>) -> BTreeSet<String> {
    let code = text.split("#[cfg(test)]\nmod ").next().unwrap();
    let mut found = BTreeSet::new();
    for (at, _) in code.match_indices("use ") {
        let line = code[..at].rsplit('\n').next().unwrap().trim_start();
        if !matches!(line.trim_end(), "" | "pub" | "pub(super)" | "pub(crate)") {
            continue;
        }
        let item = code[at + 4..].split(';').next().unwrap().replace('\n', " ");
        for path in paths(&item) {
            let mut steps: Vec<&str> = path.split("::").map(|s| s.split(" as ").next().unwrap().trim()).collect();
            let mut base: Vec<&str> = own.split("::").collect();
            match steps[0] {
                "crate" => base.clear(),
                "super" | "self" => {
                    while matches!(steps.first(), Some(&"super" | &"self")) {
                        if steps.remove(0) == "super" {
                            base.pop();
                        }
                    }
                    steps.insert(0, "");
                }
                _ => continue,
            }
            base.extend(&steps[1..]);
            while !base.is_empty() && !modules.contains(&base.join("::")) {
                base.pop();
            }
            let to = base.join("::");
            if !to.is_empty() && to != own && !to.starts_with(&format!("{own}::")) {
                found.insert(to);
            }
        }
    }
    found
}

#[test]
fn no_files_import_each_other() {
    let files: Vec<(String, String)> =
        all().into_iter().filter(|(name, _)| !matches!(name.as_str(), "lib.rs" | "main.rs")).collect();
    let modules: BTreeSet<String> = files.iter().map(|(name, _)| module(name)).collect();
    let mut open: BTreeMap<String, BTreeSet<String>> =
        files.iter().map(|(name, text)| (module(name), imports(&module(name), text, &modules))).collect();
    assert!(open.values().map(BTreeSet::len).sum::<usize>() > 500, "imports were not found");
    // Whoever imports nothing that is open is in no circle.
    while let Some(free) = open.iter().find(|(_, to)| to.iter().all(|to| !open.contains_key(to))).map(|o| o.0.clone()) {
        open.remove(&free);
    }
    let circle: Vec<&String> = open.keys().collect();
    assert!(circle.is_empty(), "files that import each other, and those above them: {circle:?}");
}
