//! The table of docs/conformance.md: what the program reads in each file, and a remark.

use super::files::{self, PACKAGES};
use obelus::score::Category;
use obelus::testing::Parsed;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

const INTRODUCTION: &str = "\
# The conformance files

Two of the Python packages that the tests install bring sets of small MusicXML files, each made to show one difficulty
of the format. This page says how obelus reads every one of them. A file is named by the digits and letters at the start
of its name (after `test_` or `wip_` in musicscore); the same code mostly stands for the same subject in both packages.

- The second column is made from what is read: parts, bars, notes (rests and grace notes apart), marks by category, and
  every warning. *signature* counts keys and meters, also the key that is assumed where none is given.
- The third column says what is difficult in the file and how it is taken.
- `cargo test --features external-tests --test external conformance::` compares this page with the program byte for byte
  and checks the delicate remarks against notes and marks that were worked out by hand. It also lays every file beside
  itself: nothing may be found, and the clean copy must be the same bytes. With `UPDATE_DOCS=1` it writes the page anew;
  the remarks are in `tests/external/conformance/remarks.toml`.

What is read and what is not, in general, is said in [reading.md](reading.md).
";

/// Remarks by package and code.
#[derive(Deserialize)]
#[serde(transparent)]
struct Remarks(BTreeMap<String, BTreeMap<String, String>>);

/// The whole page. Every file must have its remark, and every remark its file.
pub fn page() -> String {
    let remarks: Remarks = toml::from_str(include_str!("remarks.toml")).expect("the remarks are TOML");
    let known: BTreeSet<&str> = remarks.0.keys().map(String::as_str).collect();
    assert_eq!(known, BTreeSet::from(PACKAGES), "the packages that have remarks");
    let mut page = INTRODUCTION.to_string();
    for package in PACKAGES {
        let remarks = &remarks.0[package];
        let files = files::files(package);
        let (told, there): (BTreeSet<_>, BTreeSet<_>) = (remarks.keys().collect(), files.keys().collect());
        let lonely: Vec<_> = told.symmetric_difference(&there).collect();
        assert!(lonely.is_empty(), "{package}: a file has no remark or a remark no file: {lonely:?}");
        let _ = write!(
            page,
            "\n## {package}\n\n{} files.\n\n| file | reads as | remark |\n| --- | --- | --- |\n",
            files.len()
        );
        for (code, path) in files {
            let remark = &remarks[code];
            assert!(!remark.contains(['|', '\n']), "{package} {code}: a remark is one line of a table");
            let reads = files::with(path, |read| match read {
                Ok((tree, reading)) => summary(reading, &tree.input.file),
                Err(error) => format!("refused: “{}”", unnamed(&error, &path.display().to_string())),
            });
            let _ = writeln!(page, "| {code} | {reads} | {remark} |");
        }
    }
    page
}

/// `1 part, 3 bars, 12 notes, 2 rests; signature 2, slur 1`, and the warnings.
fn summary(reading: &Parsed, file: &str) -> String {
    let parts = &reading.score.parts;
    let notes = || parts.iter().flat_map(|p| &p.notes);
    let mut counts = vec![(parts.len(), "part"), (parts.iter().map(|p| p.bars.len()).max().unwrap_or(0), "bar")];
    counts.push((notes().filter(|n| n.grace == 0 && !n.is_rest()).count(), "note"));
    counts.push((notes().filter(|n| n.grace == 0 && n.is_rest()).count(), "rest"));
    counts.push((notes().filter(|n| n.grace > 0).count(), "grace note"));
    let plural = |(count, what): &(usize, &str)| format!("{count} {what}{}", if *count == 1 { "" } else { "s" });
    let shown: Vec<String> = counts.iter().filter(|c| c.0 > 0).map(plural).collect();
    let marks: Vec<String> = Category::all()
        .map(|category| (category, parts.iter().flat_map(|p| &p.marks).filter(|m| m.category == category).count()))
        .filter(|(_, count)| *count > 0)
        .map(|(category, count)| format!("{category} {count}"))
        .collect();
    let mut text = shown.join(", ");
    if !marks.is_empty() {
        let _ = write!(text, "; {}", marks.join(", "));
    }
    for warning in &reading.warnings {
        let _ = write!(text, "; warns: “{}”", unnamed(warning, file));
    }
    text.replace('|', "\\|")
}

/// Without the file's name, which stands in the row already.
fn unnamed<'m>(message: &'m str, file: &str) -> &'m str {
    message.strip_prefix(file).map_or(message, |rest| rest.trim_start_matches([':', ' ']))
}
