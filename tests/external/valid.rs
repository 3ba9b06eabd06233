//! What obelus writes is valid by the MusicXML schema: copies of one line, copies with additions set apart, parts for
//! other instruments, both sides as one score.

use crate::common::apart::{cut, pairs, pairs_of_another_rhythm, set_apart, three_kinds_of_change};
use crate::common::desk::Desk;
use crate::common::lines::{self, BASS, TUNE, piano, plain};
use crate::common::program::{demo, obelus};
use crate::common::{adapt, staves};
use crate::python;
use obelus::Additions;
use std::ffi::OsStr;

/// All texts are music by the schema. The names are for the message.
fn assert_valid(texts: &[(String, String)]) {
    let desk = Desk::new();
    let files: Vec<String> = texts.iter().map(|(name, text)| desk.write(&format!("{name}.musicxml"), text)).collect();
    python::run("validate.py", &files.iter().map(OsStr::new).collect::<Vec<_>>());
}

#[test]
fn lines_that_come_out_alone() {
    let copies = [
        (piano(), TUNE, "--staff 1"),
        (piano(), BASS, "--staff 2"),
        (piano(), TUNE, "--staff 1 --for alto_recorder"),
        (lines::voices(), "rh F#4h | rw | G4h rh", "--voice 2"),
        (lines::shared_sign(), "rh F#5h", "--voice 2"),
        (lines::shared_sign(), "F#5h G5h", "--voice 1"),
        (lines::divided_chords(), "E4+G4h E4+G4h | rw", "--staff 1"),
        (lines::divided_chords(), "C4h C4h | C4w", "--staff 2"),
        (lines::slur_across(), "rh A4h | rw | G3h~ G3h", "--staff 2"),
        (lines::slur_across(), "C5h rh | D5h E5h | rw", "--staff 1"),
        (lines::flute_and_piano(), "E4h F4h | G4w", "--part Piano --staff 2"),
        (lines::flute_and_piano_timewise(), "E4h F4h | G4w", "--part Piano --staff 2"),
    ];
    let of = |(at, (edition, source, options)): (usize, (String, &str, &str))| {
        (format!("{at} {options}"), lines::copy(&Desk::with(&edition, &plain(source)), options).1)
    };
    assert_valid(&copies.into_iter().enumerate().map(of).collect::<Vec<_>>());
}

#[test]
fn marks_of_every_kind_set_apart() {
    let (bracket, color) = (Additions::Bracket, Additions::Color);
    let mut texts = Vec::new();
    for (name, with, without) in pairs() {
        texts.push((format!("{name}-bracket"), set_apart(&with, &without, bracket)));
        texts.push((format!("{name}-added"), set_apart(&with, &without, color)));
        texts.push((format!("{name}-omitted"), set_apart(&without, &with, color)));
    }
    for (name, with, source) in pairs_of_another_rhythm() {
        texts.push((format!("{name}-again-bracket"), set_apart(&with, &source, bracket)));
        texts.push((format!("{name}-again-color"), set_apart(&with, &source, color)));
    }
    for (name, (edition, source)) in [("proof", three_kinds_of_change()), ("cut", cut())] {
        texts.push((name.into(), set_apart(&edition, &source, color)));
    }
    assert_valid(&texts);
}

#[test]
fn the_demo_set_apart() {
    let desk = Desk::new();
    let copies = ["bracket", "color"].map(|additions| {
        let copy = desk.at(&format!("{additions}.musicxml"));
        let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
        obelus(&["clean", &edition, &source, "-o", &copy, "--additions", additions]);
        copy
    });
    python::run("validate.py", &copies.each_ref().map(OsStr::new));
}

#[test]
fn parts_for_other_instruments() {
    let [plain, keyed] = adapt::changing_clarinets().map(|text| adapt::written(&text, "modern flute"));
    let flute = adapt::flute_with_its_sound();
    let table = adapt::shawm();
    let shawm = adapt::write_for(&flute, table.find("shawm").unwrap(), None).unwrap().text;
    let desk = Desk::new();
    let (duet, copy) = (desk.write("duet.musicxml", &adapt::duet()), desk.at("copy.musicxml"));
    let wish = ["--for", "soprano recorder", "--part", "Oboe", "--transpose", "down a perfect fifth", "--fit"];
    obelus(&[&["clean", &duet, &duet, "-o", &copy], &wish[..]].concat());
    let all = [
        ("plain", plain),
        ("keyed", keyed),
        ("recorder", adapt::written(&flute, "alto recorder")),
        ("shawm", shawm),
        ("duet", desk.read("copy.musicxml")),
    ];
    assert_valid(&all.map(|(name, text)| (name.into(), text)));
}

#[test]
fn both_sides_as_one_score() {
    let desk = Desk::new();
    let keys = desk.write("keys.xml", &staves::on_staves(2));
    let pairs = [(demo("edition.musicxml"), demo("source.musicxml")), (keys.clone(), keys)];
    let texts = pairs.map(|(edition, source)| staves::both(&edition, &source, desk.at("both.xml").as_ref()));
    let [demo, keys] = texts;
    assert_valid(&[("demo".into(), demo), ("keys".into(), keys)]);
}

/// Real scores with a known editor's work: valid, and each staff the score it was.
#[test]
fn real_scores_side_by_side_are_valid() {
    let folder = tempfile::tempdir().unwrap();
    let folder_name = folder.path().as_os_str();
    let said = python::run(
        "beside.py",
        &[OsStr::new(env!("CARGO_BIN_EXE_obelus")), folder_name, OsStr::new("--seeds"), OsStr::new("1-6")],
    );
    assert!(said.lines().last().is_some_and(|l| l.ends_with(" right, 0 wrong")), "{said}");
}
