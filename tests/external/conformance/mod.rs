//! Every conformance file of the packages music21 and musicscore: docs/conformance.md says how it reads, and a file laid
//! beside itself has no editor.

mod claims;
mod files;
mod marks;
mod table;

use obelus::{AuditWishes, Comparison, Input, Lines, Policy, ReadScore, Texts, Wishes};
use std::fs;
use std::path::Path;

#[test]
fn the_page_says_how_every_file_reads() {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs").join("conformance.md");
    let made = table::page();
    if std::env::var_os("UPDATE_DOCS").is_some_and(|v| v == "1") {
        fs::write(&page, &made).expect("the page can be written");
    }
    let written = fs::read_to_string(&page).expect("docs/conformance.md is there");
    let differs = written.lines().zip(made.lines()).find(|(a, b)| a != b);
    assert!(
        written == made,
        "docs/conformance.md is not what is read; UPDATE_DOCS=1 writes it anew. The first line that differs: {differs:?}"
    );
}

#[test]
fn a_file_beside_itself_has_no_editor() {
    let mut read = 0;
    for package in files::PACKAGES {
        for (code, path) in files::files(package) {
            let name = format!("{package} {code}");
            files::with(path, |score| {
                let Ok((tree, _)) = score else { return };
                read += 1;
                is_its_own_source(&name, tree.input, &fs::read(path).expect("the file is there"));
            });
        }
    }
    assert!(read > 190, "only {read} files could be read");
}

/// Every part is found in its source, which is the same file.
///
/// # Panics
/// If a part is not, if anything is found, or if the clean copy is not the same bytes.
fn is_its_own_source(name: &str, input: &Input, bytes: &[u8]) {
    let read = || ReadScore::of(input).expect("it was read before");
    let comparison = Comparison::new(read(), read(), &Lines::default()).expect("no line is named");
    let audit = comparison.audit(&AuditWishes::default()).expect("nothing is wished for");
    let found: Vec<_> = audit.parts.iter().flat_map(|part| &part.findings).collect();
    assert!(found.is_empty(), "{name}: {found:?}");
    assert!(audit.parts.iter().all(|part| part.passages.is_empty()), "{name}: there are passages");
    let alone = &audit.not_compared;
    assert!(alone.edition.is_empty() && alone.source.is_empty(), "{name}: a part is alone");
    let texts = Texts::new();
    let made = comparison.clean(&Policy::default(), &Wishes::default(), None, &texts);
    let (copy, _) = made.unwrap_or_else(|e| panic!("{name}: {e}"));
    assert!(copy.text() == input.text, "{name}: the clean copy is another text");
    assert!(input.encode(copy.text()).expect("an unchanged archive") == bytes, "{name}: other bytes");
}
