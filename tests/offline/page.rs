//! The audit as a page, of the demo and of small scores.

use crate::common::page::{long, page_of, report_of};
use crate::common::program::demo;
use std::collections::BTreeMap;
use std::fs;

/// How often a piece of text stands in another.
fn times(text: &str, piece: &str) -> usize {
    text.matches(piece).count()
}

fn counts_agree(args: &[&str]) {
    let (page, report) = (page_of(args), report_of(args));
    let parts: Vec<&str> = page.split("<section class=\"part\"").skip(1).collect();
    let reports = report["parts"].as_array().unwrap();
    assert_eq!(parts.len(), reports.len());
    for (part, report) in parts.iter().zip(reports) {
        let mut notes: BTreeMap<(&str, &str), usize> = BTreeMap::new();
        for f in report["findings"].as_array().unwrap() {
            *notes.entry((f["category"].as_str().unwrap(), f["status"].as_str().unwrap())).or_default() += 1;
        }
        for ((category, status), n) in &notes {
            let row = format!("data-category=\"{category}\" data-status=\"{status}\" data-row=");
            assert_eq!(times(part, &row), *n, "{category} {status}");
        }
        assert_eq!(times(part, " data-row=\""), notes.values().sum::<usize>());
        assert_eq!(times(part, "class=\"plot small\""), report["passages"].as_array().unwrap().len());
        let passages = times(part, "<li id=\"p1-s") + times(part, "<li id=\"p2-s");
        assert_eq!(passages, report["passages"].as_array().unwrap().len());
    }
}

#[test]
fn the_demos_page_says_what_its_report_says() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    counts_agree(&[&edition, &source]);
    counts_agree(&[&edition, &source, "--bars", "19-27"]);
    let page = page_of(&[&edition, &source]);
    for said in [
        "an octave lower than the source (14 notes, 10 of them below the alto recorder&#39;s F4; once restored, all fit)",
        "The edition sounds a perfect fourth above the source. It begins with 2 flats, the source with 1 flat",
        "The editor added 104 of its 124 marks (84 %)",
        "10 notes below F4: bars 19, 20, all due to an octave displacement.",
        "your local law decides.",
    ] {
        let page = page.replace('\'', "&#39;");
        assert!(page.contains(said), "{said}");
    }
}

#[test]
fn a_page_without_staves_says_how_to_get_them() {
    let page = page_of(&[&demo("edition.musicxml"), &demo("source.musicxml")]);
    let told = page.contains("Not drawn: this build cannot draw staves; `cargo install --path . --features engrave`");
    assert_eq!(told, cfg!(not(feature = "engrave")));
    assert_eq!(page.contains("class=\"staves"), cfg!(feature = "engrave"));
}

#[test]
fn a_page_is_the_same_twice() {
    let args = [demo("edition.musicxml"), demo("source.musicxml")];
    assert_eq!(page_of(&[&args[0], &args[1]]), page_of(&[&args[0], &args[1]]));
}

#[test]
fn nothing_in_a_score_becomes_part_of_the_page_and_long_ones_stay_small() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    let (edition, source) = (file("a&<b>\".musicxml"), file("source.musicxml"));
    let hostile = "&lt;script&gt;alert(1)&lt;/script&gt;&quot;&gt;&lt;img src=x&gt;";
    let words = format!("<direction><direction-type><words>{hostile}</words></direction-type></direction><note>");
    let text = long(300, true)
        .replace(">Flute<", &format!(">{hostile}<"))
        .replace("<part-list>", &format!("<movement-title>{hostile}</movement-title><part-list>"))
        .replacen("<note>", &words, 1)
        .replacen("number=\"2\"", &format!("number=\"{hostile}\""), 1);
    fs::write(&edition, text).unwrap();
    fs::write(&source, long(300, false)).unwrap();
    let page = page_of(&[&edition, &source]);
    assert_eq!(times(&page, "<script"), 1);
    assert_eq!(times(&page, "<img"), 0);
    assert!(times(&page, "&lt;script&gt;alert(1)&lt;/script&gt;&quot;&gt;&lt;img src=x&gt;") >= 4);
    assert!(page.len() > 500_000 && page.len() < 10_000_000, "{} bytes", page.len());
    counts_agree(&[&edition, &source]);
}
