//! The table of marks against the reader and against what is written about it.
//! `tests/external/schema.rs` lays it beside the MusicXML 4.0 schema.

use crate::common::compare::{compare, reading};
use crate::common::sample::{elements, pair};
use obelus::pitch::Interval;
use obelus::score::{Category, Meaning};
use obelus::testing::{ELEMENTS, Placement};

fn told(text: &str) -> Vec<(Category, Meaning<'static>)> {
    let mut out: Vec<_> = reading(text).score.parts[0]
        .marks
        .iter()
        .map(|m| (m.category, m.meaning(Interval::UNISON).into_owned()))
        .collect();
    out.sort();
    out
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
            Placement::NotCompared(_) => more == less,
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
    let list = |all: Vec<&obelus::testing::Siblings>| {
        let named = |s: &obelus::testing::Siblings| s.names().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
        all.iter().map(|r| format!("in `{}`: {}", r.of, named(r))).collect::<Vec<_>>().join("; ")
    };
    let rows = |wanted: &dyn Fn(Placement) -> bool| list(ELEMENTS.iter().filter(|r| wanted(r.is)).collect());
    let mut wanted: Vec<String> = Vec::new();
    for category in Category::of_marks() {
        let elements = rows(&|is| is == Placement::Mark(category));
        if !elements.is_empty() {
            wanted.push(format!("| `{category}` | {elements} |"));
        }
    }
    wanted.push(format!("| as the words say | {} |", rows(&|is| is == Placement::Words)));
    let mut reasons: Vec<&str> = Vec::new();
    for siblings in ELEMENTS {
        if let Placement::NotCompared(why) = siblings.is
            && !reasons.contains(&why)
        {
            reasons.push(why);
        }
    }
    wanted.extend(reasons.iter().map(|why| format!("| {why} | {} |", rows(&|is| is == Placement::NotCompared(why)))));
    let within = ELEMENTS.iter().filter(|r| r.is == Placement::Within);
    wanted.extend(within.map(|r| format!("| `{}` | {} |", r.of, list(vec![r]).split_once(": ").unwrap().1)));
    let written = include_str!("../../docs/marks.md");
    let written: Vec<&str> = written.lines().filter(|l| l.starts_with("| ") && l.contains('`')).collect();
    assert_eq!(written, wanted, "docs/marks.md should have these rows:\n{}", wanted.join("\n"));
}
