//! The table of marks against the MusicXML 4.0 schema.

use crate::common::sample::{elements, pair};
use crate::python;
use obelus::testing::{ELEMENTS, Placement, placement};
use roxmltree::{Document, Node};
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
        let placed: Vec<&str> = ELEMENTS.iter().filter(|r| r.of == of).flat_map(|r| r.names()).collect();
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
            if ELEMENTS.iter().any(|r| r.of == *name) {
                open.push((name, "complexType", definition));
            } else if placement(of, name) == Some(Placement::Holder) {
                wrong.push(format!("{of}/{name} holds marks, but nothing in it is placed"));
            }
        }
    }
    wrong.extend(ELEMENTS.iter().filter(|r| !seen.contains(r.of)).map(|r| format!("{} is never reached", r.of)));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(seen.contains("dynamics") && seen.contains("figure"), "{seen:?}");
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
