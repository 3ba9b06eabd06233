//! The cases of docs/hard-cases.md: what each `found` says must be what the
//! program finds. A case that goes another way shows in the page's diff, where
//! a person who reads music can judge it.

use crate::common::music::{Style, scores};
use obelus::{Audit, AuditWishes, Comparison, Input, Lines, Policy, ReadScore, Texts, Wishes, testing};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

/// The parts of one side: how they are written, and their music.
type Side = Vec<(Style, String)>;

#[test]
fn the_page_says_what_happens() {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs").join("hard-cases.md");
    let written = std::fs::read_to_string(&page).expect("docs/hard-cases.md is there");
    let (made, cases) = run(&written);
    assert!(cases > 30, "only {cases} cases were read");
    if std::env::var_os("UPDATE_DOCS").is_some_and(|v| v == "1") {
        std::fs::write(&page, &made).expect("the page can be written");
    }
    let differs = written.lines().zip(made.lines()).enumerate().find(|(_, (a, b))| a != b);
    assert!(written == made, "docs/hard-cases.md is not what happens: {differs:?}; UPDATE_DOCS=1 writes it anew");
}

/// The page with every `found` made anew, and how many there were.
fn run(page: &str) -> (String, usize) {
    let (mut out, mut cases) = (String::new(), 0);
    let (mut source, mut edition): (Side, Side) = (vec![], vec![]);
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        out.push_str(line);
        out.push('\n');
        let Some(info) = line.strip_prefix("```").filter(|i| !i.is_empty()) else { continue };
        let block: Vec<&str> = lines.by_ref().take_while(|l| *l != "```").collect();
        let (role, style) = info.split_once(' ').unwrap_or((info, ""));
        match role {
            "source" => source.push((style_of(style), block.join(" "))),
            "edition" => edition.push((style_of(style), block.join(" "))),
            "found" => {
                out.push_str(&found(&edition, &source));
                out.push_str("```\n");
                edition.clear();
                cases += 1;
                // Another edition of the same source may follow.
                if !style.contains("same source") {
                    source.clear();
                }
                continue;
            }
            other => panic!("no block is called {other}"),
        }
        for line in block {
            let _ = writeln!(out, "{line}");
        }
        out.push_str("```\n");
    }
    (out, cases)
}

/// As in `3/4 -1 Flute`: time, fifths of the signature, name.
fn style_of(text: &str) -> Style {
    let mut style = Style::default();
    let mut name = Vec::new();
    for word in text.split_whitespace() {
        if let Some((beats, kind)) = word.split_once('/') {
            style.time = (beats.parse().unwrap(), kind.parse().unwrap());
        } else if let Ok(fifths) = word.parse() {
            style.fifths = fifths;
        } else if word == "pickup" {
            style.first = 0;
        } else {
            name.push(word);
        }
    }
    if !name.is_empty() {
        style.name = name.join(" ");
    }
    style
}

fn text(side: &Side) -> String {
    let parts: Vec<(Style, &str)> = side.iter().map(|(style, music)| (style.clone(), music.as_str())).collect();
    scores(&parts)
}

/// What an audit finds, and whether a clean copy leaves anything of it.
fn found(edition: &Side, source: &Side) -> String {
    let (edition, source) = (text(edition), text(source));
    let (audit, copy) = work(&edition, &source);
    let mut out = told(&audit);
    match copy {
        Err(error) => {
            let _ = writeln!(out, "no clean copy: {error}");
        }
        Ok(copy) => {
            let (again, _) = work(&copy, &source);
            let left: usize = again.parts.iter().map(|p| p.findings.len() + p.passages.len()).sum();
            if left > 0 {
                let _ = writeln!(out, "in the clean copy is left:");
                out.push_str(&told(&again));
            }
        }
    }
    out
}

fn work(edition: &str, source: &str) -> (Audit, Result<String, String>) {
    let inputs = [edition, source].map(|t| Input::from_bytes("score.musicxml", t.into()).unwrap());
    let [edition, source] = inputs.each_ref().map(|input| ReadScore::of(input).unwrap());
    let comparison = Comparison::new(edition, source, &Lines::default()).unwrap();
    let texts = Texts::new();
    let made = comparison.clean(&Policy::default(), &Wishes::default(), None, &texts);
    let copy = made.map(|(copy, _)| copy.text().to_string()).map_err(|e| e.to_string());
    (comparison.audit(&AuditWishes::default()).unwrap(), copy)
}

fn told(audit: &Audit) -> String {
    let mut out = String::new();
    for part in &audit.parts {
        if audit.parts.len() > 1 || part.part.name != part.source_part.name {
            let _ = writeln!(out, "{} from {}", part.part.spoken(), part.source_part.spoken());
        }
        if part.transposition.semitones != 0 {
            let _ = writeln!(out, "{}", part.transposition.name);
        }
        for (place, passage) in part.passages.iter().enumerate() {
            let mut inside: BTreeMap<String, usize> = BTreeMap::new();
            for f in part.findings.iter().filter(|f| f.passage == Some(place)) {
                *inside.entry(format!("{} {}", f.category, f.status.name())).or_default() += 1;
            }
            let inside: Vec<String> = inside.iter().map(|(what, n)| format!("{n} {what}")).collect();
            let ends = [&passage.from, &passage.to].map(|p| format!("{}:{}", p.bar, p.beat));
            let _ = writeln!(
                out,
                "{} [{} to {}: {}]",
                testing::passage_line(part, place),
                ends[0],
                ends[1],
                inside.join(", ")
            );
        }
        for f in part.findings.iter().filter(|f| f.passage.is_none()) {
            let reading = |r: &Option<String>| r.clone().unwrap_or("-".into());
            let readings = (reading(&f.edition_reading), reading(&f.source_reading));
            let place = format!("{}:{}", f.at.bar, f.at.beat);
            let _ = writeln!(out, "{place} {} {}: {} / {}", f.category, f.status.name(), readings.0, readings.1);
        }
    }
    let alone = |side: &str, lines: &[obelus::LineAlone]| {
        let told = |l: &obelus::LineAlone| format!("{side}'s line without a partner: {}\n", l.part.spoken());
        lines.iter().map(told).collect::<String>()
    };
    let warnings: String = audit.warnings.iter().map(|w| format!("warning: {w}\n")).collect();
    out + &warnings
        + &alone("the edition", &audit.not_compared.edition)
        + &alone("the source", &audit.not_compared.source)
}
