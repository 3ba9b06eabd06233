//! The table of marks against the MusicXML 4.0 schema, against the reader, and
//! against what is written about it.

#[path = "common/compare.rs"]
mod compare;
#[path = "common/python.rs"]
mod python;
#[path = "common/sample.rs"]
mod sample;

use compare::{compare, reading};
use obelus::musicxml::{PLACEMENTS, Placement, placement};
use obelus::score::Category;
use roxmltree::{Document, Node};
use sample::{bare, room, sample};
use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;

fn schema() -> String {
    let path = python::package("musicxml").join("generate_classes").join("musicxml_4_0.xsd");
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Names and types of all elements that a type or a group of the schema allows.
fn allowed<'a>(schema: &'a Document<'_>, kind: &str, of: &str, out: &mut BTreeMap<&'a str, &'a str>) {
    let mut definitions = schema.root_element().children().filter(|n| n.tag_name().name() == kind);
    // What extends a type of mere text has no definition of this kind.
    let Some(found) = definitions.find(|n| n.attribute("name") == Some(of)) else { return };
    for node in found.descendants().filter(Node::is_element) {
        match node.tag_name().name() {
            "element" => {
                let name = node.attribute("name").expect("the schema's inner elements are named");
                // Some types are defined in place; nothing of theirs is placed.
                out.insert(name, node.attribute("type").unwrap_or(""));
            }
            "group" => {
                if let Some(of) = node.attribute("ref") {
                    allowed(schema, "group", of, out);
                }
            }
            "extension" => allowed(schema, "complexType", node.attribute("base").expect("it extends a type"), out),
            _ => {}
        }
    }
}

#[test]
fn every_element_of_the_schema_has_one_place_and_no_other_has_one() {
    let text = schema();
    let schema = Document::parse(&text).unwrap();
    let mut wrong = Vec::new();
    let mut seen = BTreeSet::new();
    let mut open = vec![("measure", "group", "music-data")];
    while let Some((of, kind, definition)) = open.pop() {
        if !seen.insert(of) {
            continue;
        }
        let mut names = BTreeMap::new();
        allowed(&schema, kind, definition, &mut names);
        assert!(!names.is_empty(), "the schema has nothing in {of}");
        let placed: Vec<&str> = PLACEMENTS.iter().filter(|r| r.of == of).flat_map(|r| r.names).copied().collect();
        for name in &placed {
            let times = placed.iter().filter(|n| n == &name).count();
            if times > 1 {
                wrong.push(format!("{of}/{name} is placed {times} times"));
            }
            if !names.contains_key(name) {
                wrong.push(format!("{of}/{name} is placed, but the schema does not know it"));
            }
        }
        for (name, definition) in &names {
            if !placed.contains(name) {
                wrong.push(format!("{of}/{name} is not placed"));
            }
            if PLACEMENTS.iter().any(|r| r.of == *name) {
                open.push((name, "complexType", definition));
            } else if placement(of, name) == Some(Placement::Holder) {
                wrong.push(format!("{of}/{name} holds marks, but nothing in it is placed"));
            }
        }
    }
    wrong.extend(PLACEMENTS.iter().filter(|r| !seen.contains(r.of)).map(|r| format!("{} is never reached", r.of)));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(seen.contains("dynamics") && seen.contains("figure"), "{seen:?}");
}

/// All elements of the table.
fn elements() -> impl Iterator<Item = (&'static str, &'static str, Placement)> {
    PLACEMENTS.iter().flat_map(|row| row.names.iter().map(|name| (row.of, *name, row.is)))
}

/// A score that holds an element, and the same without it.
fn pair(of: &str, name: &str) -> (String, String) {
    let (first, second) = sample(of, name);
    (room(of, &first, &second).score(), bare(of, name).score())
}

fn told(text: &str) -> Vec<(Category, String)> {
    let mut out: Vec<_> =
        reading(text).score.parts[0].marks.iter().map(|m| (m.category, m.meaning.to_string())).collect();
    out.sort();
    out
}

#[test]
fn the_instances_are_valid_music() {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    for (of, name, _) in elements().filter(|e| e.2 != Placement::Holder) {
        let path = folder.path().join(format!("{of}-{name}.musicxml"));
        std::fs::write(&path, pair(of, name).0).unwrap();
        files.push(path);
    }
    let args: Vec<&OsStr> = files.iter().map(|f| f.as_os_str()).collect();
    python::run("validate.py", &args);
}

#[test]
fn the_reader_does_with_every_element_what_the_table_says() {
    let mut wrong = Vec::new();
    for (of, name, is) in elements() {
        if is == Placement::Holder {
            continue;
        }
        let (with, without) = pair(of, name);
        let (more, less) = (told(&with), told(&without));
        let warnings = reading(&with).warnings;
        let mut new = more.clone();
        for mark in &less {
            if let Some(at) = new.iter().position(|m| m == mark) {
                new.remove(at);
            }
        }
        let categories: Vec<Category> = new.iter().map(|m| m.0).collect();
        let right = match is {
            Placement::Mark(category) => categories == [category] && more.len() == less.len() + 1,
            Placement::Words => categories == [Category::Text] && more.len() == less.len() + 1,
            Placement::Within => more.len() == less.len(),
            Placement::Apart(_) => more == less,
            Placement::Holder => true,
        };
        if !right {
            wrong.push(format!("{of}/{name} is {is:?}, but brings {new:?}"));
        }
        // Of some there is only room for one end.
        let half = matches!((of, name), ("barline", "ending" | "wavy-line") | (_, "tie" | "tied"));
        if !(half || warnings.is_empty()) {
            wrong.push(format!("{of}/{name}: {warnings:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_mark_is_found_taken_out_and_brought_back() {
    let mut wrong = Vec::new();
    for (of, name, is) in elements() {
        let category = match is {
            Placement::Mark(category) => category,
            Placement::Words => Category::Text,
            _ => continue,
        };
        let (with, without) = pair(of, name);
        let same = compare(&with, &with);
        if !same.found.is_empty() || same.clean != with {
            wrong.push(format!("{of}/{name} against itself: {:?}", same.found));
        }
        let added = compare(&with, &without);
        if added.found.len() != 1 || !added.found[0].starts_with(&format!("{category} added ")) {
            wrong.push(format!("{of}/{name} added: {:?}", added.found));
        }
        if added.clean != without {
            wrong.push(format!("{of}/{name} is not taken out:\n{}", added.clean));
        }
        let omitted = compare(&without, &with);
        if omitted.found.len() != 1 || !omitted.found[0].starts_with(&format!("{category} omitted ")) {
            wrong.push(format!("{of}/{name} omitted: {:?}", omitted.found));
        }
        let again = compare(&omitted.clean, &with);
        if !again.found.is_empty() {
            wrong.push(format!("{of}/{name} is not brought back: {:?}\n{}", again.found, omitted.clean));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_belongs_to_a_mark_is_compared_with_it() {
    // Of these only the place counts, and the sample leaves it as it is.
    let of_place = ["staff", "duration", "voice"];
    for (of, name, is) in elements().filter(|e| matches!(e.0, "harmony" | "figured-bass" | "figure" | "lyric")) {
        let (with, without) = pair(of, name);
        let found = compare(&with, &without).found;
        let compared = is == Placement::Within && !of_place.contains(&name);
        assert_eq!(found.len(), usize::from(compared), "{of}/{name}: {found:?}");
        assert!(found.iter().all(|f| f.contains(" altered ")), "{of}/{name}: {found:?}");
    }
}

#[test]
fn the_written_list_is_the_table() {
    let list = |rows: Vec<&obelus::musicxml::PlacementRow>| {
        let named = |names: &[&str]| names.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
        rows.iter().map(|r| format!("in `{}`: {}", r.of, named(r.names))).collect::<Vec<_>>().join("; ")
    };
    let rows = |wanted: &dyn Fn(Placement) -> bool| list(PLACEMENTS.iter().filter(|r| wanted(r.is)).collect());
    let mut wanted: Vec<String> = Vec::new();
    for category in Category::ALL.into_iter().filter(|c| !c.is_of_notes()) {
        let elements = rows(&|is| is == Placement::Mark(category));
        if !elements.is_empty() {
            wanted.push(format!("| `{category}` | {elements} |"));
        }
    }
    wanted.push(format!("| as the words say | {} |", rows(&|is| is == Placement::Words)));
    let mut reasons: Vec<&str> = Vec::new();
    for row in PLACEMENTS {
        if let Placement::Apart(why) = row.is
            && !reasons.contains(&why)
        {
            reasons.push(why);
        }
    }
    wanted.extend(reasons.iter().map(|why| format!("| {why} | {} |", rows(&|is| is == Placement::Apart(why)))));
    let within = PLACEMENTS.iter().filter(|r| r.is == Placement::Within);
    wanted.extend(within.map(|r| format!("| `{}` | {} |", r.of, list(vec![r]).split_once(": ").unwrap().1)));
    let written = include_str!("../docs/marks.md");
    let written: Vec<&str> = written.lines().filter(|l| l.starts_with("| ") && l.contains('`')).collect();
    assert_eq!(written, wanted, "docs/marks.md should have these rows:\n{}", wanted.join("\n"));
}
