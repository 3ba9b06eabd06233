//! Names and words of files with line ends, controls and turned directions: they make no lines of a report, and none of
//! them reaches a terminal.

use crate::common::program::demo;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// What a score can bring along, with the sign that is read.
const ODD: [(&str, char); 10] = [
    ("&#10;", '\n'),
    ("&#13;", '\r'),
    ("&#9;", '\t'),
    ("\u{7f}", '\u{7f}'),
    ("\u{85}", '\u{85}'),
    ("&#x9b;", '\u{9b}'),
    ("\u{2028}", '\u{2028}'),
    ("\u{202e}", '\u{202e}'),
    ("\u{2067}", '\u{2067}'),
    ("\u{200f}", '\u{200f}'),
];

fn is_odd(c: char) -> bool {
    c.is_control() && c != '\n' || ODD.iter().any(|odd| odd.1 == c && c != '\n')
}

/// An edition and its source in whose every name and word stands `odd`.
fn pair(folder: &Path, odd: &str) -> [String; 2] {
    let name = |what: &str| format!("{what}{odd}Forged");
    let note = |step: &str, octave: u32, more: &str| {
        format!(
            "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration><voice>{}</voice>\
             <type>quarter</type>{more}</note>",
            name("1")
        )
    };
    let direction = |what: &str| format!("<direction><direction-type>{what}</direction-type></direction>");
    let bars = |is_edition: bool| {
        let mut out = String::new();
        for (bar, steps) in ["CDEF", "GABC", "DFAC", "EGBD", "CEGB"].iter().enumerate() {
            let far = if is_edition && bar == 2 { 3 } else { 5 };
            let fingering =
                format!("<notations><technical><fingering>{}</fingering></technical></notations>", name("2"));
            let lyric = format!("<lyric><text>{}</text></lyric>", name("Ah"));
            let notes: Vec<String> = steps
                .chars()
                .enumerate()
                .map(|(place, step)| {
                    let more = if is_edition && place == 1 { [&*fingering, &*lyric].concat() } else { String::new() };
                    note(&step.to_string(), far, &more)
                })
                .collect();
            let mut marks = String::new();
            if is_edition {
                marks += &direction(&format!("<words>{}</words>", name("Zqx")));
                marks += &direction(&format!("<rehearsal>{}</rehearsal>", name("A")));
                marks += &format!(
                    "<harmony><root><root-step>C</root-step></root><kind text=\"{}\">major</kind></harmony>",
                    name("maj")
                );
            }
            out += &format!("<measure number=\"{}\">{marks}{}</measure>", name(&(bar + 1).to_string()), notes.concat());
        }
        out
    };
    let score = |side: &str, is_edition: bool| {
        let other = if is_edition { "" } else { "<part id=\"Q\"><measure number=\"1\"/></part>" };
        let listed = format!("<score-part id=\"Q\"><part-name>{}</part-name></score-part>", name("Basso"));
        format!(
            "<score-partwise><work><work-title>{}</work-title></work><movement-title>{}</movement-title>\
             <identification><creator type=\"arranger\">{}</creator></identification><credit page=\"1\"><credit-words>{}\
             </credit-words></credit><part-list><score-part id=\"{}\"><part-name>{}</part-name></score-part>{}</part-list>\
             <part id=\"{}\">{}</part>{other}</score-partwise>",
            name(&format!("Work of {side}")),
            name(&format!("Movement of {side}")),
            name("Editor"),
            name("arranged by Editor"),
            name("P1"),
            name("Oboe"),
            if is_edition { "" } else { &listed },
            name("P1"),
            bars(is_edition),
        )
    };
    let write = |file: &str, is_edition: bool| {
        let path = folder.join(file);
        fs::write(&path, score(file, is_edition)).expect("a file for a test");
        path.display().to_string()
    };
    [write("edition.xml", true), write("source.xml", false)]
}

/// A table of instruments, a mark sheet and a broken file of decisions with the sign in every name.
fn sides(folder: &Path, odd: char) -> [String; 3] {
    let odd = format!("\\u{:04x}", u32::from(odd));
    let write = |file: &str, text: String| {
        let path = folder.join(file);
        fs::write(&path, text).expect("a file for a test");
        path.display().to_string()
    };
    let table = format!("[[instrument]]\nname = \"fife{odd}Forged\"\nwritten = [\"C5\", \"C6\"]\n");
    let sheet = format!("[[mark]]\nat = \"9{odd}Forged:1\"\ntext = \"x\"\n");
    let decisions = format!("[findings]\n\"P1 9:1{odd}Forged\" = \"keep\"\n");
    [write("mine.toml", table), write("sheet.toml", sheet), write("strange.toml", decisions)]
}

fn run(args: &[String]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_obelus")).args(args).env("COLUMNS", "100").output().expect("the program starts")
}

/// All that the commands say of these files, without what differs from folder to folder.
fn said(odd: (&str, char)) -> Vec<(String, String)> {
    let dir = tempfile::tempdir().expect("a folder for a test");
    let folder = dir.path();
    let [edition, source] = &pair(folder, odd.0);
    let [table, sheet, strange] = &sides(folder, odd.1);
    let at = |name: &str| folder.join(name).display().to_string();
    let [out, notes, list] = &[at("out.xml"), at("notes.md"), at("notes.csv")];
    let fife = format!("fife{}Forged", odd.1);
    let calls: Vec<Vec<&str>> = vec![
        vec!["audit", edition, source, "--instruments", table, "--instrument", &fife],
        vec!["audit", edition, source, "--format", "csv"],
        vec!["range", edition, "--instruments", table, "--instrument", &fife],
        vec!["range", edition, "--instruments", table, "--instrument", &fife, "--format", "csv"],
        vec!["range", edition, "--instrument", "alto recorder"],
        vec!["range", "--list", "--instruments", table],
        vec!["keys", edition, "--instrument", "alto recorder"],
        vec!["keys", edition, "--instruments", table, "--instrument", &fife, "--format", "csv"],
        vec!["rank", source, edition],
        vec!["rank", source, edition, "--format", "csv"],
        vec!["clean", edition, source, "-o", out, "--notes", notes],
        vec!["clean", edition, source, "-o", out, "--notes", list, "--instruments", table, "--for", &fife, "--fit"],
        vec!["clean", edition, source, "-o", out, "--mine", sheet],
        vec!["clean", edition, source, "-o", out, "--decisions", strange],
        vec!["audit", edition, source, "--part", "Tuba"],
        vec!["audit", edition, source, "--bars", &fife],
        vec!["audit", edition, source, "--instrument", &fife],
    ];
    let mut all = Vec::new();
    for call in calls {
        let call: Vec<String> = call.into_iter().map(String::from).collect();
        let output = run(&call);
        let name = call.iter().map(|arg| arg.replace(&at(""), "")).collect::<Vec<_>>().join(" ");
        let name = name.replace(odd.1, " ");
        for (stream, bytes) in [("output", output.stdout), ("errors", output.stderr)] {
            all.push((format!("{name}: {stream}"), String::from_utf8(bytes).expect("reports are UTF-8")));
        }
    }
    for file in [notes, list] {
        all.push((file.replace(&at(""), ""), fs::read_to_string(file).expect("critical notes")));
    }
    for one in &mut all {
        one.1 = one
            .1
            .replace(&at(""), "")
            .replace(&folder.display().to_string(), "")
            .lines()
            .filter(|l| !l.contains("BLAKE3"))
            .fold(String::new(), |a, l| a + l + "\n");
    }
    all
}

/// Wherever it stands, an odd sign is a space to the reader: no line more, none that begins elsewhere.
#[test]
fn odd_signs_are_spaces_in_every_report() {
    let plain = said((" ", ' '));
    assert!(plain.iter().filter(|(_, text)| text.contains("Forged")).count() > 15, "{plain:#?}");
    for odd in ODD {
        for ((call, now), (_, plain)) in said(odd).iter().zip(&plain) {
            assert_eq!(now, plain, "{call} with {:?}", odd.1);
            assert!(!now.contains(is_odd), "{call} with {:?}: {now:?}", odd.1);
        }
    }
}

/// What turns the direction of a name would turn the rest of the page.
#[test]
fn no_page_has_turned_directions() {
    let dir = tempfile::tempdir().expect("a folder for a test");
    let at = |name: &str| dir.path().join(name).display().to_string();
    let [edition, source] = &pair(dir.path(), "\u{202e}\u{2067}");
    for command in [["audit", edition, source], ["rank", source, edition]] {
        let page = at("page.html");
        let call = [&command[..], &["--format", "html", "-o", &page]].concat();
        assert!(run(&call.iter().map(|arg| arg.to_string()).collect::<Vec<_>>()).status.success());
        let text = fs::read_to_string(page).expect("a page");
        assert!(text.contains("Forged") && !text.contains(['\u{202e}', '\u{2067}']), "{}", command[0]);
    }
}

#[test]
#[cfg(unix)]
fn file_names_with_odd_signs_are_told_on_one_line() {
    let (dir, text) = (tempfile::tempdir().expect("a folder"), fs::read(demo("source.musicxml")).expect("the demo"));
    let at = |name: &str| dir.path().join(name).display().to_string();
    let odd = "a\n\u{1b}[2J\u{9b}2J\r\u{2028}\u{202e}Forged.musicxml";
    fs::write(at(odd), text).expect("a file with such a name");
    let (file, other, report) = (at(odd), demo("edition.musicxml"), at("\nForged.txt"));
    let (no_folder, missing) = (at("\nno/Forged.musicxml"), at("no\nForged.xml"));
    let (pdf, decisions) = (at("\nForged.pdf"), at("d\nForged.toml"));
    fs::write(&decisions, "[findings]\nx = 3\n").expect("a file with such a name");
    for call in [
        &["audit", &other, &file][..],
        &["audit", &other, &file, "--format", "csv"],
        &["range", &file],
        &["rank", &file, &other],
        &["rank", &other, &file, "--format", "csv"],
        &["audit", &other, &file, "-o", &report],
        &["audit", &missing, &file],
        &["clean", &other, &missing, "-o", &report],
        &["clean", &other, &file, "-o", &no_folder],
        &["clean", &other, &other, "-o", &at("x.xml"), "--decisions", &decisions],
        &["clean", &other, &demo("source.musicxml"), "-o", &at("x\nForged.xml")],
        &["audit", &other, &file, "-o", &pdf],
        &["marks", &file, &other, "-o", &no_folder],
        &["audit", &missing, &file, "--folder\nForged"],
        &["clean", &other, &file, "-o", &report, "--transpose", "up\nForged\u{9b}"],
        &["\u{1b}[2J\nForged"],
    ] {
        let output = run(&call.iter().map(|arg| arg.to_string()).collect::<Vec<_>>());
        for bytes in [output.stdout, output.stderr] {
            let text = String::from_utf8(bytes).expect("reports are UTF-8");
            assert!(!text.contains(is_odd), "{call:?}: {text:?}");
            assert!(!text.lines().any(|line| line.starts_with("Forged")), "{call:?}: {text:?}");
        }
    }
}

/// A message that quotes a text of a file or an argument is no longer than a few lines.
#[test]
fn long_texts_in_messages_are_cut() {
    let dir = tempfile::tempdir().expect("a folder for a test");
    let at = |name: &str| dir.path().join(name).display().to_string();
    let long = "x".repeat(100_000);
    let score = fs::read_to_string(demo("edition.musicxml")).expect("the demo");
    let (named, sheet, odd) = (at("named.musicxml"), at("sheet.toml"), at("odd.toml"));
    fs::write(&named, score.replace("Treble Recorder", &long[..250])).expect("a file for a test");
    fs::write(&sheet, format!("[[mark]]\nat = \"{long}:1\"\ntext = \"{long}\"\n")).expect("a file for a test");
    fs::write(&odd, format!("{long} = 1\n")).expect("a file for a test");
    let (source, out) = (demo("source.musicxml"), at("out.xml"));
    for (call, words) in [
        (&["audit", &named, &source, "--part", &long][..], &["no part is called", "(P1)"][..]),
        (&["audit", &named, &source, "--bars", &long], &["there is no bar", "go from 0 to 39"]),
        (&["audit", &named, &source, "--instrument", &long], &["xxx … xxx", "range --list"]),
        (&["audit", &named, &source, &long], &["unexpected argument", "--help"]),
        (&["clean", &named, &source, "-o", &out, "--mine", &sheet], &["the mark text", "goes from bar 0 to 36"]),
        (&["clean", &named, &source, "-o", &out, "--mine", &odd], &["line 1, column 1", "unknown field"]),
        (&["clean", &named, &source, "-o", &out, "--apart", &odd, "--additions", "bracket"], &["odd.toml", "line 1"]),
        (&["clean", &named, &source, "-o", &out, "--decisions", &odd], &["odd.toml", "line 1"]),
        (&["range", &named, "--instruments", &odd], &["odd.toml", "line 1"]),
    ] {
        let output = run(&call.iter().map(|arg| arg.to_string()).collect::<Vec<_>>());
        let text = String::from_utf8_lossy(&output.stderr);
        assert!(!output.status.success(), "{words:?}");
        assert!(text.chars().count() < 1000 && text.contains(" … "), "{words:?}: {} bytes", text.len());
        for word in words {
            assert!(text.contains(word), "{word:?} is not in {text}");
        }
    }
}

/// What XML cannot hold is a space in all that is written: in the name of a score, and of an instrument.
#[test]
#[cfg(unix)]
fn what_is_written_can_be_read_whatever_names_have() {
    let dir = tempfile::tempdir().expect("a folder for a test");
    let at = |name: &str| dir.path().join(name).display().to_string();
    let odd = at("a\u{1}\u{1b}b\u{fffe}.musicxml");
    fs::copy(demo("edition.musicxml"), &odd).expect("a file with such a name");
    let (table, source) = (at("mine.toml"), demo("source.musicxml"));
    let row =
        "[[instrument]]\nname = \"fife\\u0001\\uFFFEx\"\nwritten = [\"D4\", \"A6\"]\nsounding = [\"F4\", \"C7\"]\n";
    fs::write(&table, row).expect("a file for a test");
    let (sheet, copy) = (at("sheet.musicxml"), at("copy.musicxml"));
    for call in [
        &["exercises", &odd, "-o", &sheet][..],
        &["range", &sheet],
        &["clean", &odd, &source, "-o", &copy, "--instruments", &table, "--for", "fife x"],
        &["range", &copy, "--instruments", &table, "--instrument", "fife x"],
    ] {
        let output = run(&call.iter().map(|arg| arg.to_string()).collect::<Vec<_>>());
        assert!(output.status.success(), "{call:?}: {}", String::from_utf8_lossy(&output.stderr));
    }
}
