//! The audit as a page, in headless Chromium.

use crate::browser;
use crate::common::page::{long, page_of, report_of};
use crate::common::program::demo;
use std::fs;

#[test]
fn pages_in_the_browser() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let written = |name: &str, text: String| {
        fs::write(path(name), text).unwrap();
        path(name).display().to_string()
    };
    let (long_edition, long_source) = (written("le.xml", long(20, true)), written("ls.xml", long(20, false)));
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let cases: [(&str, Vec<&str>); 5] = [
        ("demo", vec![&edition, &source]),
        ("bars", vec![&edition, &source, "--bars", "19-27"]),
        ("itself", vec![&source, &source]),
        ("long", vec![&long_edition, &long_source]),
        ("strangers", vec![&long_edition, &source]),
    ];
    let mut pages = Vec::new();
    for (name, args) in &cases {
        let (page, report) = (path(&format!("{name}.html")), path(&format!("{name}.json")));
        fs::write(&page, page_of(args)).unwrap();
        fs::write(&report, report_of(args).to_string()).unwrap();
        pages.push((page, report));
    }
    let said = browser::check(&pages);
    let checks: usize = said.strip_suffix(" checks").and_then(|n| n.parse().ok()).expect("it says how many checks");
    assert!(checks > 200, "{said}");
}
