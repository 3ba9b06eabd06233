//! The conformance files in the two installed packages, by their codes.

use crate::python;
use obelus::testing::{self, Parsed};
use obelus::{Input, Tree};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// The packages, in the order of the table.
pub const PACKAGES: [&str; 2] = ["music21", "musicscore"];

static FILES: LazyLock<[BTreeMap<String, PathBuf>; 2]> = LazyLock::new(|| PACKAGES.map(find));

/// The files of a package by their code: the digits and letters with which the subject starts, such as `01a` in
/// `01a-…` and `test_01a_…`.
pub fn files(package: &str) -> &'static BTreeMap<String, PathBuf> {
    &FILES[PACKAGES.iter().position(|p| *p == package).expect("one of the packages")]
}

fn find(package: &str) -> BTreeMap<String, PathBuf> {
    let mut found = BTreeMap::new();
    for path in python::scores_in(&python::package(package)) {
        let name = path.file_name().expect("a file has a name").to_string_lossy().into_owned();
        let Some(code) = code(&name) else { continue };
        let other = found.insert(code, path);
        assert!(other.is_none(), "{name} and {other:?} have the same code");
    }
    found
}

/// Two digits and one or two letters, with nothing but a known word before and a separator after them.
fn code(name: &str) -> Option<String> {
    let subject = ["test_", "wip_"].into_iter().find_map(|w| name.strip_prefix(w)).unwrap_or(name);
    let end = subject.find(['-', '_'])?;
    let (digits, letters) = subject[..end].split_at_checked(2)?;
    let fits = digits.bytes().all(|b| b.is_ascii_digit())
        && (1..=2).contains(&letters.len())
        && letters.bytes().all(|b| b.is_ascii_lowercase());
    fits.then(|| subject[..end].to_string())
}

/// Opens a file and calls `then` with what is read in it, or with why it is refused.
pub fn with<T>(path: &Path, then: impl FnOnce(Result<(&Tree<'_>, &Parsed), String>) -> T) -> T {
    let input = Input::open(path).unwrap_or_else(|e| panic!("{e}"));
    let tree = match Tree::parse(&input) {
        Ok(tree) => tree,
        Err(error) => return then(Err(error.to_string())),
    };
    match testing::read(&tree) {
        Ok(reading) => then(Ok((&tree, &reading))),
        Err(error) => then(Err(error.to_string())),
    }
}

/// What is read in one file.
pub fn read(package: &str, code: &str) -> Parsed {
    let input = Input::open(&files(package)[code]).unwrap_or_else(|e| panic!("{e}"));
    let tree = Tree::parse(&input).unwrap_or_else(|e| panic!("{e}"));
    testing::read(&tree).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn codes_are_found_in_names() {
    let cases = [("01a-A-B.xml", "01a"), ("12ab-X.mxl", "12ab"), ("test_24c_Y.xml", "24c"), ("wip_31c_Z.xml", "31c")];
    for (name, expected) in cases {
        assert_eq!(code(name).as_deref(), Some(expected), "{name}");
    }
    for name in ["1a-A.xml", "01-A.xml", "01abc-A.xml", "01a.xml", "other_01a_A.xml", "h186.mxl", "01A-A.xml"] {
        assert_eq!(code(name), None, "{name}");
    }
}
