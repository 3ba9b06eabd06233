//! Bars that cannot be undone provably stay as the edition has them, in every
//! part, and are named.

use crate::common::desk::Desk;
use crate::common::music::{Style, scores};
use crate::common::program::{obelus, obelus_fails};
use serde_json::Value;

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

fn clean(desk: &Desk, options: &[&str]) -> Vec<String> {
    let own = ["clean".to_string(), desk.at("edition.musicxml"), desk.at("source.musicxml"), "-o".into()];
    let options = options.iter().map(|o| o.to_string());
    own.into_iter().chain([desk.at("clean.musicxml")]).chain(options).collect()
}

fn args(all: &[String]) -> Vec<&str> {
    all.iter().map(String::as_str).collect()
}

fn pair() -> Desk {
    let of = |music| scores(&[(Style::default(), music)]);
    Desk::with(&timewise(&of(EDITION)), &of(SOURCE))
}

#[test]
fn a_bar_that_cannot_come_back_is_left_and_named_and_the_rest_is_clean() {
    let desk = pair();
    let told: Value = serde_json::from_str(&obelus(&args(&clean(&desk, &["--format", "json"])))).unwrap();
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
    let told = obelus(&args(&clean(&desk, &["--notes", &notes])));
    assert!(told.contains("1 bar stays as in the edition"), "{told}");
    assert!(told.contains("\n  bar 3: the source's bars are not put back here"), "{told}");
    let notes = std::fs::read_to_string(notes).unwrap();
    let cut = notes.lines().find(|line| line.contains(",cut,")).expect("the cut is noted");
    assert!(cut.contains("could not be reverted") && cut.contains("partwise"), "{cut}");
}

#[test]
fn strict_writes_nothing_where_a_bar_would_be_left() {
    let desk = pair();
    let failed = obelus_fails(&args(&clean(&desk, &["--strict"])));
    assert_eq!(failed.status, 4, "{}", failed.stderr);
    assert!(failed.stderr.contains("nothing was written"), "{}", failed.stderr);
    assert!(!std::path::Path::new(&desk.at("clean.musicxml")).exists());
    // What needs no bar left is written.
    obelus(&args(&clean(&desk, &["--strict", "--no-restore", "passages"])));
}

#[test]
fn a_source_that_lacks_much_is_doubted_first() {
    let of = |music: &str| scores(&[(Style::default(), music)]);
    let more = "E5q G5q C6q G5q | D5q F5q A5q F5q | ";
    let edition = SOURCE.replacen("C5w", &format!("{more}C5w"), 1);
    let desk = Desk::with(&of(&edition), &of(SOURCE));
    let told = obelus(&args(&clean(&desk, &[])));
    assert!(!told.contains("Is the source complete?"), "{told}");
    let edition = SOURCE.replacen("C5w", &format!("{more}{more}{more}C5w"), 1);
    let desk = Desk::with(&of(&edition), &of(SOURCE));
    let told = obelus(&args(&clean(&desk, &[])));
    assert!(told.starts_with("Is the source complete? It lacks 6 of the edition's 11 bars"), "{told}");
}

#[test]
fn a_file_name_that_no_score_can_hold_is_told_in_the_copy_without_its_controls() {
    let of = |music: &str| scores(&[(Style::default(), music)]);
    let desk = Desk::with(&of(EDITION), &of(SOURCE));
    let odd = desk.at("so\u{1}urce\n.musicxml");
    std::fs::write(&odd, of(SOURCE)).unwrap();
    obelus(&["clean", &desk.at("edition.musicxml"), &odd, "-o", &desk.at("clean.musicxml")]);
    assert!(desk.read("clean.musicxml").contains("source: so urce .musicxml (BLAKE3 "));
}

/// What XML forbids is refused with its place; what it allows goes whole through reports and copies.
#[test]
fn controls_in_names_and_words_are_refused_or_harmless() {
    let of = |name: &str, music: &str| scores(&[(Style { name: name.into(), ..Style::default() }, music)]);
    let worded = EDITION.replacen("A5q", "\"dolce\" A5q", 1);
    let with = |name: &str, odd: &str| of(name, &worded).replacen("dolce", &format!("dol{odd}ce"), 1);
    for odd in ["&#x1;", "&#x0;", "&#xb;", "\u{1}"] {
        for edition in [of(&format!("So{odd}lo"), EDITION), with("Solo", odd)] {
            let desk = Desk::with(&edition, &of("Solo", SOURCE));
            let (edition, source) = (desk.at("edition.musicxml"), desk.at("source.musicxml"));
            for command in
                [vec!["audit", &edition, &source], vec!["marks", &edition, &source], args(&clean(&desk, &[]))]
            {
                let failed = obelus_fails(&command);
                assert_eq!(failed.status, 3, "{odd:?}: {}", failed.stderr);
                assert!(failed.stderr.contains("edition.musicxml: line "), "{}", failed.stderr);
            }
        }
    }
    for odd in ["&#x85;", "\u{9b}", "\u{2028}", "&#x2029;", "\u{202e}"] {
        let desk = Desk::with(&with(&format!("So{odd}lo"), odd), &of(&format!("So{odd}lo"), SOURCE));
        let (edition, source) = (desk.at("edition.musicxml"), desk.at("source.musicxml"));
        let told = [
            obelus(&["audit", &edition, &source]),
            obelus(&args(&clean(&desk, &["--notes", &desk.at("notes.md"), "--for", "viola"]))),
            obelus(&args(&clean(&desk, &["--keep", "expression,text"]))),
        ];
        for told in told {
            let lines = |c: char| c != '\n' && (c.is_control() || ('\u{2028}'..='\u{202e}').contains(&c));
            assert!(!told.contains(lines), "{odd:?}: {told:?}");
        }
        let copy = std::fs::read_to_string(desk.at("clean.musicxml")).unwrap();
        assert!(copy.contains(&format!("<part-name>So{odd}lo<")) && copy.contains(&format!("dol{odd}ce")), "{copy}");
    }
}

#[test]
fn a_sheet_follows_the_music_or_says_where_it_is_other_music() {
    let of = |music: &str| scores(&[(Style::default(), music)]);
    let desk = Desk::with(&of(SOURCE), &of(SOURCE));
    let marked = SOURCE.replacen("A5q", "A5q(tenuto)", 1).replacen("D5q", "D5q(tenuto)", 1);
    std::fs::write(desk.at("marked.musicxml"), of(&marked)).unwrap();
    let sheet = desk.at("sheet.toml");
    obelus(&["marks", &desk.at("marked.musicxml"), &desk.at("source.musicxml"), "-o", &sheet]);
    let told = obelus(&args(&clean(&desk, &["--mine", &sheet])));
    assert!(!told.contains("run otherwise"), "{told}");
    // A bar came in before bar 4: its marks go with the music.
    for (bar, key) in [("A5e A5e G5q A5h", ""), ("G5q C5q G5q C5q", ""), ("A5e A5e G5q A5h", "in another key")] {
        let longer = SOURCE.replacen("A5q", &format!("{bar} | A5q"), 1);
        let style = Style { transpose: (!key.is_empty()).then_some((1, 2)), ..Style::default() };
        let longer = scores(&[(style, longer.as_str())]);
        let desk = Desk::with(&longer, &longer);
        let told = obelus(&args(&clean(&desk, &["--mine", &sheet]))).replace('\n', " ");
        assert!(told.contains("its marks in bar 4 moved with the music to bar 5"), "{told}");
        let copy = std::fs::read_to_string(desk.at("clean.musicxml")).unwrap();
        let marked = |number: usize| {
            let bar = copy.split("<measure ").nth(number).unwrap();
            bar.matches("<tenuto").count()
        };
        assert_eq!([1, 2, 3, 4, 5, 6].map(marked), [1, 0, 0, 0, 1, 0]);
    }
    // Nobody can say which of two equal bars is the one that was marked; other music is no bar of the sheet.
    let twice = of(&SOURCE.replacen("A5q G5q F5q E5q", "A5q G5q F5q E5q | A5q G5q F5q E5q", 1));
    let other = of(&SOURCE.replacen("A5q G5q F5q E5q", "A5q G5h. | C5w", 1));
    for copy in [twice, other] {
        let desk = Desk::with(&copy, &copy);
        let told = obelus(&args(&clean(&desk, &["--mine", &sheet]))).replace('\n', " ");
        assert!(told.contains("in all): check its marks in bar 4"), "{told}");
    }
}
