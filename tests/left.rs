//! Bars that cannot be undone provably stay as the edition has them, in every
//! part, and are named.

#[path = "common/music.rs"]
mod music;
#[path = "common/program.rs"]
mod program;

use music::{Style, scores};
use program::{obelus, obelus_fails};
use serde_json::Value;

struct Desk {
    folder: tempfile::TempDir,
}

const SOURCE: &str = "C5q D5q E5q F5q | G5q F5q E5q D5q | C5q E5q G5q E5q | A5q G5q F5q E5q | C5w";
/// Its third bar is cut, and a slur and a note are the editor's.
const EDITION: &str = "C5q(slur[) D5q(slur]) E5q F5q | G5q F5q E5q D5q | A5q G5q F5q D5q | C5w";

/// The same music bar by bar: into a timewise score no whole bar can be put back.
fn timewise(text: &str) -> String {
    let (head, music) = text.split_once("  <part id=\"P1\">\n").unwrap();
    let head = head.replace("score-partwise", "score-timewise");
    let music = music.replace("  </part>\n", "").replace("score-partwise", "score-timewise");
    let music = music.replace("</measure>", "</part>\n    </measure>");
    let open = |line: &str| {
        if line.contains("<measure") { format!("{line}\n      <part id=\"P1\">\n") } else { format!("{line}\n") }
    };
    head + &music.lines().map(open).collect::<String>()
}

impl Desk {
    fn new(edition: &str, source: &str) -> Desk {
        let desk = Desk { folder: tempfile::tempdir().unwrap() };
        std::fs::write(desk.at("edition.musicxml"), edition).unwrap();
        std::fs::write(desk.at("source.musicxml"), source).unwrap();
        desk
    }

    fn at(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_string()
    }

    fn clean(&self, options: &[&str]) -> Vec<String> {
        let own = ["clean".to_string(), self.at("edition.musicxml"), self.at("source.musicxml"), "-o".into()];
        let options = options.iter().map(|o| o.to_string());
        own.into_iter().chain([self.at("clean.musicxml")]).chain(options).collect()
    }
}

fn args(all: &[String]) -> Vec<&str> {
    all.iter().map(String::as_str).collect()
}

fn pair() -> Desk {
    let of = |music| scores(&[(Style::default(), music)]);
    Desk::new(&timewise(&of(EDITION)), &of(SOURCE))
}

#[test]
fn a_bar_that_cannot_come_back_is_left_and_named_and_the_rest_is_clean() {
    let desk = pair();
    let told: Value = serde_json::from_str(&obelus(&args(&desk.clean(&["--format", "json"])))).unwrap();
    let left = told["left"].as_array().unwrap();
    assert_eq!(left.len(), 1, "{told}");
    assert_eq!((&left[0]["bar"], &left[0]["bar_index"]), (&"3".into(), &2.into()));
    let reason = left[0]["reason"].as_str().unwrap();
    assert!(reason.contains("not put back") && reason.contains("partwise"), "{reason}");
    assert_eq!(left[0]["option"], "--no-restore passages");
    assert_eq!((&told["taken_out"], &told["put_back"]), (&1.into(), &1.into()), "{told}");
    assert_eq!(told["proved"]["bars"], 4);
    let copy = std::fs::read_to_string(desk.at("clean.musicxml")).unwrap();
    assert!(!copy.contains("<slur") && copy.matches("<step>E</step>").count() == 3, "{copy}");
}

#[test]
fn a_bar_that_is_left_stands_in_text_and_notes_with_its_reason() {
    let desk = pair();
    let notes = desk.at("notes.csv");
    let told = obelus(&args(&desk.clean(&["--notes", &notes])));
    assert!(told.contains("1 bar is left as in the edition"), "{told}");
    assert!(told.contains("\n  bar 3: what the source has here is not put back"), "{told}");
    let notes = std::fs::read_to_string(notes).unwrap();
    let cut = notes.lines().find(|line| line.contains(",cut,")).expect("the cut is noted");
    assert!(cut.contains("could not be undone") && cut.contains("partwise"), "{cut}");
}

#[test]
fn strict_writes_nothing_where_a_bar_would_be_left() {
    let desk = pair();
    let failed = obelus_fails(&args(&desk.clean(&["--strict"])));
    assert_eq!(failed.status, 4, "{}", failed.stderr);
    assert!(failed.stderr.contains("nothing was written"), "{}", failed.stderr);
    assert!(!std::path::Path::new(&desk.at("clean.musicxml")).exists());
    // What needs no bar left is written.
    obelus(&args(&desk.clean(&["--strict", "--no-restore", "passages"])));
}
