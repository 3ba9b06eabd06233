//! The audit as a page, in headless Chromium.

use crate::browser;
use crate::common::page::{long, page_of, report_of};
use crate::common::program::demo;
use std::fs;

/// Parts of so many bars of one note each, which has a mark if it is the edition.
fn sustained(parts: usize, bars: usize, marked: bool) -> String {
    let list = (1..=parts).map(|n| format!("<score-part id=\"P{n}\"><part-name>Voice {n}</part-name></score-part>"));
    let mut out = format!("<score-partwise><part-list>{}</part-list>", list.collect::<String>());
    let mark = if marked { "<notations><articulations><accent/></articulations></notations>" } else { "" };
    for part in 1..=parts {
        out += &format!("<part id=\"P{part}\">");
        for bar in 1..=bars {
            out += &format!("<measure number=\"{bar}\">");
            if bar == 1 {
                out += "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
            }
            let step = char::from(b"CDEFGAB"[bar * bar * (part + 1) % 7]);
            out += &format!(
                "<note><pitch><step>{step}</step><octave>{}</octave></pitch><duration>4</duration><type>whole</type>{mark}</note></measure>",
                6 - part
            );
        }
        out += "</part>";
    }
    out + "</score-partwise>"
}

#[test]
fn pages_in_the_browser() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let written = |name: &str, text: String| {
        fs::write(path(name), text).unwrap();
        path(name).display().to_string()
    };
    let (long_edition, long_source) = (written("le.xml", long(20, true)), written("ls.xml", long(20, false)));
    let two_parts = |bars: usize| {
        let of = |marked| written(&format!("{bars}{marked}.xml"), sustained(2, bars, marked));
        [of(true), of(false)]
    };
    let ([long_parts, their_source], [short_parts, own_source]) = (two_parts(60), two_parts(5));
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let cases: [(&str, Vec<&str>); 7] = [
        ("demo", vec![&edition, &source]),
        ("bars", vec![&edition, &source, "--bars", "19-27"]),
        ("itself", vec![&source, &source]),
        ("long", vec![&long_edition, &long_source]),
        ("folded", vec![&long_parts, &their_source]),
        ("parts", vec![&short_parts, &own_source]),
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
