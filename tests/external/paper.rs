//! Printed pages, read as PDF: where their texts and staves are, and what they say.
#![cfg(feature = "engrave")]

use crate::common::program::{demo, obelus};
use crate::python;
use serde_json::Value;
use std::ffi::OsStr;
use std::path::Path;

/// Millimetres that two texts may share before it is seen: a quarter of the space between two lines of a staff.
const TOUCH: f64 = 0.35;
/// And that one may lie beyond a margin: letters lean.
const EDGE: f64 = 0.6;
/// The margins of a page, left and right, above, and below the foot, in millimetres.
const SIDE: f64 = 13.0;
const ABOVE: f64 = 11.5;
const BELOW: f64 = 9.0;
/// A brace stands to the left of its system.
const BRACE: f64 = 3.0;

/// A text and its box: left, top, right, bottom.
struct Text {
    said: String,
    place: [f64; 4],
}

struct Page {
    size: [f64; 2],
    texts: Vec<Text>,
    drawn: [f64; 4],
    staves: usize,
}

fn numbers<const N: usize>(value: &Value) -> [f64; N] {
    let all: Vec<f64> = value.as_array().unwrap().iter().map(|n| n.as_f64().unwrap()).collect();
    all.try_into().unwrap()
}

fn pages(pdf: &Path) -> Vec<Page> {
    let told: Value = serde_json::from_str(&python::run("layout.py", &[pdf.as_os_str()])).unwrap();
    let text = |text: &Value| Text { said: text["said"].as_str().unwrap().into(), place: numbers(&text["box"]) };
    let page = |page: &Value| Page {
        size: numbers(&page["size"]),
        texts: page["texts"].as_array().unwrap().iter().map(text).collect(),
        drawn: numbers(&page["drawn"]),
        staves: page["staves"].as_array().unwrap().len(),
    };
    told[0].as_array().unwrap().iter().map(page).collect()
}

/// What a reader would cross out.
fn faults(pages: &[Page]) -> Vec<String> {
    let mut out = Vec::new();
    for (number, page) in pages.iter().enumerate() {
        let number = number + 1;
        let [width, height] = page.size;
        let beyond = |[left, top, right, bottom]: [f64; 4], side: f64| {
            [side - left, ABOVE - top, right - width + SIDE, bottom - height + BELOW]
                .into_iter()
                .fold(f64::MIN, f64::max)
        };
        let by = beyond(page.drawn, SIDE - BRACE);
        if by > EDGE {
            out.push(format!("page {number}: something is {by:.1} mm outside"));
        }
        for (place, text) in page.texts.iter().enumerate() {
            let by = beyond(text.place, SIDE);
            if by > EDGE {
                out.push(format!("page {number}: \"{}\" is {by:.1} mm outside", text.said));
            }
            for other in &page.texts[..place] {
                let shared = |side: usize| {
                    text.place[side + 2].min(other.place[side + 2]) - text.place[side].max(other.place[side])
                };
                if shared(0) > TOUCH && shared(1) > TOUCH {
                    out.push(format!("page {number}: \"{}\" on \"{}\"", text.said, other.said));
                }
            }
        }
        let says = |said: &str| page.texts.iter().any(|text| text.said.ends_with(said));
        if pages.len() > 1 && !says(&format!("{number} of {}", pages.len())) {
            out.push(format!("page {number} does not say that it is"));
        }
        if page.staves == 0 {
            out.push(format!("page {number} is empty"));
        }
    }
    out
}

fn says(pages: &[Page], said: &str) -> bool {
    pages[0].texts.iter().any(|text| text.said == said)
}

/// Bar numbers at the beginning of systems.
fn bar_numbers(pages: &[Page]) -> usize {
    let is_one = |text: &&Text| text.place[0] < SIDE + 6.0 && text.said.parse::<u32>().is_ok();
    pages.iter().flat_map(|page| &page.texts).filter(is_one).count()
}

#[test]
fn the_demos_part_has_all_in_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    let (edition, source, marks) = (demo("edition.musicxml"), demo("source.musicxml"), demo("marks.toml"));
    let (copy, pdf) = (file("c.musicxml"), file("c.pdf"));
    for (paper, additions) in [("a4", "strip"), ("letter", "bracket"), ("a4", "color")] {
        let args = ["clean", &edition, &source, "-o", &copy, "--mine", &marks, "--pdf", &pdf];
        obelus(&[&args[..], &["--paper", paper, "--additions", additions]].concat());
        let pages = pages(Path::new(&pdf));
        assert_eq!(faults(&pages), Vec::<String>::new(), "{paper} {additions}");
        assert_eq!(pages.len(), 1);
        for said in ["Andante, for the Thursday lesson", "Treble Recorder", "Tobias Wendelin Harrasch"] {
            assert!(says(&pages, said), "{said}");
        }
        // Every system but the first has its bar number.
        assert_eq!(bar_numbers(&pages), pages[0].staves - 1, "{paper} {additions}");
    }
}

/// Scores of several kinds, as the list of the tests in Python has them.
fn scores() -> impl Iterator<Item = &'static str> {
    let lines = include_str!("../python/scores.txt").lines().filter(|line| !line.starts_with('#'));
    lines.filter_map(|line| line.split_once(' ')).map(|(_, path)| path)
}

/// The score, with marks of an imagined editor, and its first part.
fn faults_of(score: &str, seed: usize) -> Vec<String> {
    let folder = tempfile::tempdir().unwrap();
    let source = python::corpus(score);
    let files = ["edition.xml", "moved.xml", "truth.json"].map(|name| folder.path().join(name));
    let seed = seed.to_string();
    let mut args: Vec<&OsStr> = vec![source.as_os_str()];
    args.extend(files.iter().map(|f| f.as_os_str()));
    args.extend(["--steps", "0", "--semitones", "0", "--seed", &seed, "--marks", "50"].map(OsStr::new));
    python::run("editor.py", &args);
    let [edition, pdf] = [&files[0], &folder.path().join("p.pdf")].map(|file| file.display().to_string());
    let mut out = Vec::new();
    for part in [&[][..], &["--part", "1"]] {
        obelus(
            &[&["print", &edition, "--pdf", &pdf, "--title", "A title", "--composer", "A composer"][..], part].concat(),
        );
        let pages = pages(Path::new(&pdf));
        out.extend(faults(&pages));
        if !says(&pages, "A title") || !says(&pages, "A composer") {
            out.push("no title or no composer".into());
        }
    }
    out.into_iter().map(|fault| format!("{score}: {fault}")).collect()
}

#[test]
fn six_scores_and_their_parts_have_all_in_its_place() {
    let faults: Vec<String> = scores().take(6).enumerate().flat_map(|(seed, score)| faults_of(score, seed)).collect();
    assert_eq!(faults, Vec::<String>::new());
}

/// `cargo test --release --all-features --test external paper:: -- --ignored`.
#[test]
#[ignore = "takes minutes"]
fn forty_scores_and_their_parts_have_hardly_anything_out_of_place() {
    let all = scores().take(40).enumerate();
    let faults: Vec<String> = all.flat_map(|(seed, score)| faults_of(score, seed + 100)).collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
