//! The reports of small scores and of the demo, as a reader sees them.

use super::page::Page;
use super::*;
use crate::collate::{self, Layout};
use crate::findings as find;
use crate::instrument::{Instruments, PlayedOn};
use crate::keys::Tempo;
use crate::musicxml::{self, Input, Tree};
use crate::score::Score;
use std::path::Path;

fn demo(name: &str) -> Score {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo").join(name);
    read(Input::open(&path).unwrap())
}

fn read(input: Input) -> Score {
    let tree = Tree::parse(&input).unwrap();
    musicxml::read(&tree).unwrap().score
}

/// A score of one part in 4/4: a string of quarter notes for each bar.
fn score(name: &str, bars: &[&str]) -> Score {
    scores(&[(name, bars)])
}

/// The same of several parts.
fn scores(parts: &[(&str, &[&str])]) -> Score {
    let list: String = (1..=parts.len())
        .zip(parts)
        .map(|(id, part)| format!("<score-part id=\"P{id}\"><part-name>{}</part-name></score-part>", part.0))
        .collect();
    let mut text = format!("<score-partwise><part-list>{list}</part-list>");
    for (id, (_, bars)) in (1..).zip(parts) {
        text += &format!("<part id=\"P{id}\">");
        for (place, bar) in bars.iter().enumerate() {
            text += &format!("<measure number=\"{}\">", place + 1);
            if place == 0 {
                text += "<attributes><divisions>1</divisions><time><beats>4</beats>\
                         <beat-type>4</beat-type></time></attributes>";
            }
            bar.split_whitespace().for_each(|n| text += &note(n));
            text += "</measure>";
        }
        text += "</part>";
    }
    text += "</score-partwise>";
    read(Input::from_bytes("test", text.into_bytes()).unwrap())
}

/// A quarter note; with an apostrophe, staccato, and with a plus, of a chord.
fn note(text: &str) -> String {
    let (text, chord) = text.strip_prefix('+').map_or((text, ""), |t| (t, "<chord/>"));
    let (name, mark) = text
        .strip_suffix('\'')
        .map_or((text, ""), |name| (name, "<notations><articulations><staccato/></articulations></notations>"));
    let (step, octave) = name.split_at(1);
    format!(
        "<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration>\
         <voice>1</voice>{mark}</note>"
    )
}

fn compare(edition: &Score, source: &Score, bars: Option<&str>) -> Audit {
    report(edition, source, &collate::collate(edition, source, Default::default()), bars)
}

fn report(edition: &Score, source: &Score, collation: &collate::Collation, bars: Option<&str>) -> Audit {
    let findings = find::find(edition, source, collation);
    let table = Instruments::standard();
    let guess = |p: &collate::PartAlignment| {
        table.guess(&edition.parts[p.edition].name).map(|instrument| PlayedOn { instrument, guessed: true })
    };
    let instruments: Vec<_> = collation.parts.iter().map(guess).collect();
    let bars = bars.map(|b| Bars(b.into()));
    audit(Material {
        edition,
        source,
        edition_file: "edition.musicxml",
        source_file: "source.musicxml",
        collation,
        findings: &findings,
        instruments: &instruments,
        bars: bars.as_ref(),
        asked: None,
        hands: None,
        warnings: Vec::new(),
    })
    .unwrap()
}

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

const TUNE: [&str; 8] = [
    "G4 A4 B4 C5",
    "D5 B4 G4 D5",
    "E5 C5 A4 F5",
    "D5 E5 C5 D5",
    "B4 G4 C5 A4",
    "F5 D5 E5 B4",
    "C5 A4 D5 G4",
    "E5 D5 C5 C5",
];

#[test]
fn the_demo_reads_well() {
    let audit = compare(&demo("edition.musicxml"), &demo("source.musicxml"), None);
    insta::assert_snapshot!("demo", plain(&audit.text(80)));
}

#[test]
fn a_few_bars_read_well() {
    let audit = compare(&demo("edition.musicxml"), &demo("source.musicxml"), Some("17-20"));
    insta::assert_snapshot!("demo_bars", plain(&audit.text(80)));
}

#[test]
fn nothing_found_is_said_plainly() {
    let tune = score("Oboe", &TUNE);
    let text = plain(&compare(&tune, &tune, None).text(80));
    assert!(text.contains("Nothing found"), "{text}");
    assert!(text.contains("at the same pitch"), "{text}");
    assert!(!text.contains("Findings"), "{text}");
}

#[test]
fn music_that_has_nothing_in_common_is_said_plainly() {
    let other = score("Oboe", &["C4 B5 D4 C6"; 8]);
    let audit = compare(&other, &score("Oboe", &TUNE), None);
    let text = plain(&audit.text(80));
    assert!(text.contains("nothing was compared"), "{text}");
    assert!(audit.found_something());
}

#[test]
fn cuts_are_told_with_the_bars_that_are_missing() {
    let mut bars = TUNE.to_vec();
    bars.drain(2..4);
    let text = plain(&compare(&score("Oboe", &bars), &score("Oboe", &TUNE), None).text(80));
    assert!(text.contains("after bar 2   2 bars of the source (3, 4) are cut (8 notes)"), "{text}");
}

#[test]
fn the_table_splits_where_it_is_too_wide() {
    let audit = compare(&demo("edition.musicxml"), &demo("source.musicxml"), None);
    for width in [30, 60, 80, 100, 200] {
        let mut page = Page::new(width);
        table::table(&mut page, &audit.parts[0]);
        let table = plain(&page.finish());
        assert!(table.lines().all(|l| l.len() <= width), "{width}\n{table}");
        let heads = table.lines().filter(|l| l.trim_start().starts_with("bar ")).count();
        assert_eq!(heads == 1, width == 200, "{width}\n{table}");
    }
}

#[test]
fn an_added_mark_is_in_every_form_of_the_report() {
    let mut bars = TUNE.to_vec();
    bars[1] = "D5 B4' G4 D5";
    let audit = compare(&score("Oboe", &bars), &score("Oboe", &TUNE), None);
    assert!(audit.csv().contains("Oboe,2,2,1,articulation,added,staccato,,,,\n"));
    assert!(audit.json().contains("\"edition_reading\": \"staccato\""));
    let text = plain(&audit.text(80));
    assert!(text.contains("bar 2\n  2  articulation  added    staccato\n"), "{text}");
}

#[test]
fn ranges_read_well() {
    let mut bars = TUNE.to_vec();
    bars[3] = "D4 E4 C4 D4";
    let score = score("Treble Recorder", &bars);
    let table = Instruments::standard();
    let on = table.guess("Treble Recorder").map(|instrument| PlayedOn { instrument, guessed: true });
    let parts = [(0, on)];
    let report = range_report(&score, "score.musicxml", &parts, None, &Tempo::of(&score, None), Vec::new());
    insta::assert_snapshot!("range", plain(&report.text(80)));
    insta::assert_snapshot!("range_json", report.json());
    insta::assert_snapshot!("range_csv", report.csv());
}

#[test]
fn a_line_that_goes_with_another_is_told_as_that() {
    let low: Vec<String> = TUNE.map(|bar| bar.replace('5', "3").replace('4', "2")).to_vec();
    let low: Vec<&str> = low.iter().map(String::as_str).collect();
    let bass = [
        "G3 F3 G3 E3",
        "B2 D3 G3 F3",
        "G3 A3 B3 C4",
        "B3 A3 G3 F3",
        "E3 G3 D3 G2",
        "D3 F3 C3 A2",
        "A3 F3 D3 B3",
        "C3 D3 E3 C3",
    ];
    let voices = scores(&[("Soprano", &TUNE), ("Bass", &bass)]);
    let all = scores(&[("Oboe", &TUNE), ("Soprano", &TUNE), ("Bass", &bass), ("Organ", &low)]);
    let told = |edition: &Score, source: &Score| {
        let (mut edition, mut source) = (edition.clone(), source.clone());
        let pairing = collate::pair_parts(&mut edition, &mut source, Default::default());
        let collation = collate::lay(&edition, &source, pairing, Layout::Played);
        plain(&report(&edition, &source, &collation, None).text(120))
    };
    let more = told(&all, &voices);
    assert!(more.contains("The edition's Soprano also matches the source's Soprano."), "{more}");
    assert!(
        more.contains("Not compared: the edition's Organ (32 notes). It doubles a line already compared."),
        "{more}"
    );
    let fewer = told(&voices, &all);
    assert!(
        fewer.contains("Not compared: the source's Oboe, Organ (64 notes). They double lines already compared."),
        "{fewer}"
    );
}

#[test]
fn the_notes_of_chords_laid_out_otherwise_are_named_on_both_sides() {
    let source = score("Harp", &["C4 E4 +G4 E4 +G4 G3", "F4 A4 +C5 A4 +C5 E4", "C4 D4 E4 F4", "G4 E4 C4 G3"]);
    let edition = score("Harp", &["C4 G4 +E5 G4 +E5 G3", "F4 C5 +A5 C5 +A5 E4", "C4 D4 E4 F4", "G4 E4 C4 G3"]);
    let text = plain(&compare(&edition, &source, None).text(120));
    assert!(text.contains("the same chords, revoiced") && !text.contains("octaves"), "{text}");
}
