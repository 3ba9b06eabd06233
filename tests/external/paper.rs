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

/// Two movements of six bars for two parts with long names.
fn two_movements() -> String {
    let note = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><type>whole</type></note>";
    let words =
        |said: &str| format!("<direction placement=\"above\"><direction-type>{said}</direction-type></direction>");
    let tempo = |said: &str| words(&format!("<words>{said}</words>"));
    let piano = words("<words>più </words><words font-family=\"Music Text\">\u{E520}</words>");
    let head = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
    let end = "<barline location=\"right\"><bar-style>light-heavy</bar-style></barline>";
    let bar = |number: usize, inner: &str| format!("<measure number=\"{number}\">{inner}{note}</measure>");
    let plain = |first: usize| (first..6).map(|number| bar(number, "")).collect::<String>();
    let last = format!("<measure number=\"6\">{note}{end}</measure>");
    let first = [bar(1, &format!("{head}{}", tempo("Allegro"))), bar(2, &piano), plain(3), last.clone()].concat();
    let second = [bar(1, &tempo("Andante")), bar(2, &tempo("dolce")), plain(3), last].concat();
    let part = |id: &str| format!("<part id=\"{id}\">{first}{second}</part>");
    let name = |id: &str| format!("<score-part id=\"{id}\"><part-name>A part with a name</part-name></score-part>");
    let list = format!("<part-list>{}{}</part-list>", name("P1"), name("P2"));
    format!("<score-partwise version=\"4.0\">{list}{}{}</score-partwise>", part("P1"), part("P2"))
}

#[test]
fn movements_begin_a_line_and_keep_their_marks() {
    let folder = tempfile::tempdir().unwrap();
    let [score, pdf] = ["s.musicxml", "s.pdf"].map(|name| folder.path().join(name));
    std::fs::write(&score, two_movements()).unwrap();
    obelus(&["print", &score.display().to_string(), "--pdf", &pdf.display().to_string()]);
    let pages = pages(&pdf);
    assert_eq!(faults(&pages), Vec::<String>::new());
    let place = |said: &str| {
        let all = pages[0].texts.iter().filter(|text| text.said == said);
        all.map(|text| text.place).next().unwrap_or_else(|| panic!("no {said}"))
    };
    let [allegro, andante, dolce] = ["Allegro", "Andante", "dolce"].map(place);
    assert!(andante[1] > allegro[3] && andante[0] < SIDE + 12.0, "{andante:?}");
    assert!((dolce[3] - andante[3]).abs() < 5.0 && dolce[0] > andante[2], "{dolce:?}");
    assert!(pages[0].texts.iter().any(|text| text.said.starts_with("più\u{a0}")), "its space");
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
