//! Files made to do harm, or broken beyond use: each ends in an error that says
//! what and where, in 200 MB of memory, and leaves nothing behind.

use crate::common::program::obelus;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use zip::write::{SimpleFileOptions, ZipWriter};

const NOTE: &str = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>";

/// A score of one part around some bars, after a document type.
fn score_after(doctype: &str, bars: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?>\n{doctype}<score-partwise>\n<part-list><score-part id=\"P1\"><part-name>Solo</part-name>\
         </score-part></part-list>\n<part id=\"P1\">\n{bars}</part></score-partwise>"
    )
}

fn score(bars: &str) -> String {
    score_after("", bars)
}

/// A bar whose divisions and whose note's duration are as given.
fn lengths(divisions: &str, duration: &str) -> String {
    let note = NOTE.replace(">1<", &format!(">{duration}<"));
    score(&format!("<measure number=\"7\"><attributes><divisions>{divisions}</divisions></attributes>{note}</measure>"))
}

/// Kilobytes of address space, with the 64 MB that the allocator keeps free for each of two threads; the engraver's code,
/// which is not called here, takes 40 MB more.
const ROOM: u32 = 270_336 + if cfg!(feature = "engrave") { 40_960 } else { 0 };

/// Runs the program in so much memory, of address space, and in some seconds
/// of processor time, more than it may take even on a slow machine.
fn run(arguments: &[&str]) -> Output {
    let program = env!("CARGO_BIN_EXE_obelus");
    let mut command = if cfg!(unix) {
        let mut shell = Command::new("sh");
        let limits = format!("ulimit -v {ROOM} && ulimit -t 10 && exec \"$0\" \"$@\"");
        shell.args(["-c", &limits, program]);
        shell
    } else {
        Command::new(program)
    };
    command.args(arguments).stdin(Stdio::null()).output().expect("the program starts")
}

/// Checks that no command reads this file, and what they say of it.
fn refused(name: &str, content: &[u8], words: &[&str]) {
    let folder = tempfile::tempdir().expect("a folder for a test");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (hostile, good, out) = (path(name), path("good.xml"), path("out"));
    fs::write(&hostile, content).expect("a file for a test");
    fs::write(&good, score(&format!("<measure>{NOTE}</measure>"))).expect("a file for a test");
    for arguments in [
        &["audit", &hostile, &good, "-o", &out][..],
        &["audit", &good, &hostile, "-o", &out],
        &["clean", &hostile, &good, "-o", &out],
        &["range", &hostile, "-o", &out],
        &["marks", &hostile, &good, "-o", &out],
    ] {
        let output = run(arguments);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(3), "{name}: {said}");
        assert_eq!(said.lines().count(), 1, "{name}: {said}");
        assert!(said.len() < 1000, "{name}: {} bytes of message", said.len());
        for word in [&[name], words].concat() {
            assert!(said.contains(word), "{word:?} is not in {said:?}");
        }
        assert!(!Path::new(&out).exists(), "{name}: something was written");
    }
}

#[test]
fn entities_are_refused() {
    let mut bomb = String::from("<!DOCTYPE score-partwise [\n<!ENTITY a0 \"ha\">");
    (1..30).for_each(|n| bomb += &format!("<!ENTITY a{n} \"&a{0};&a{0};\">", n - 1));
    let bars = "<measure><direction><direction-type><words>&a29;</words></direction-type></direction></measure>";
    refused("bomb.xml", score_after(&format!("{bomb}]>"), bars).as_bytes(), &["line 3", "entity"]);

    let long = format!("<!DOCTYPE a [<!ENTITY a \"{}\">]>", "a".repeat(50_000));
    refused("square.xml", score_after(&long, &"&a;".repeat(50_000)).as_bytes(), &["line 2", "entity"]);
    let parameter = "<!DOCTYPE a [<!ENTITY % a SYSTEM \"/etc/passwd\"> %a;]>";
    refused("outside.xml", score_after(parameter, "<measure/>").as_bytes(), &["line 2", "entity"]);
    refused("unknown.xml", score("<measure>&nbsp;</measure>").as_bytes(), &["line 5", "nbsp"]);
}

#[test]
fn structures_that_no_score_has_are_refused() {
    let nested = |open: &dyn Fn(usize) -> String, count: usize| {
        score(&format!("<measure>{}{}</measure>", (0..count).map(open).collect::<String>(), "</a>".repeat(count)))
    };
    refused("deep.xml", nested(&|_| "<a>".into(), 1_000_000).as_bytes(), &["line 5", "nested"]);
    refused(
        "namespaces.xml",
        nested(&|n| format!("<a xmlns:n{n}=\"u\">"), 2_000).as_bytes(),
        &["line 5", "namespaces"],
    );
    let attributes: String = (0..300_000).map(|n| format!(" a{n}=\"\"")).collect();
    refused("attributes.xml", score(&format!("<measure{attributes}/>")).as_bytes(), &["line 5", "attributes"]);
    refused("elements.xml", score(&"<a/>".repeat(4_000_000)).as_bytes(), &["line 5", "elements"]);
    refused("bars.xml", score(&"<measure/>".repeat(50_001)).as_bytes(), &["more than 50000 bars"]);
    let notes = score(&format!("<measure>{}</measure>", NOTE.repeat(10_001)));
    refused("notes.xml", notes.as_bytes(), &["line 5", "more than 10000 notes or marks"]);
    let slurs = "<slur type=\"start\"/>".repeat(10_001);
    let marks = score(&format!(
        "<measure>{}</measure>",
        NOTE.replace("</note>", &format!("<notations>{slurs}</notations></note>"))
    ));
    refused("marks.xml", marks.as_bytes(), &["line 5", "more than 10000 notes or marks"]);
    let chord = NOTE.replace("<note>", "<note><chord/>").repeat(1_001);
    refused(
        "chord.xml",
        score(&format!("<measure>{NOTE}{chord}</measure>")).as_bytes(),
        &["a chord of more than 1000"],
    );
    let voices: String = (0..1_001).map(|n| NOTE.replace("</note>", &format!("<voice>{n}</voice></note>"))).collect();
    refused("voices.xml", score(&format!("<measure>{voices}</measure>")).as_bytes(), &["more than 1000 voices"]);
}

#[test]
fn lengths_that_are_none_are_refused() {
    for divisions in ["0", "-4", "16777217", "99999999999999999999999999", "1e9", "NaN", "0.5", ""] {
        let words = ["line 5", "part P1, measure 7, attributes, divisions", "whole number from 1 to 16777216"];
        refused("divisions.xml", lengths(divisions, "1").as_bytes(), &words);
    }
    for duration in ["-1", "99999999999999999999999999", "1e9", "NaN", "9223372036854775807", "long"] {
        refused(
            "duration.xml",
            lengths("1", duration).as_bytes(),
            &["line 5", "measure 7", "a duration of", "not a length"],
        );
    }
    // Divisions that share no factor, so that sums have no end of digits.
    let primes = [16_777_213, 16_777_199, 16_777_183, 16_777_153];
    let bars: String = primes
        .iter()
        .map(|p| format!("<measure><attributes><divisions>{p}</divisions></attributes>{NOTE}</measure>"))
        .collect();
    refused("primes.xml", score(&bars).as_bytes(), &["do not add up"]);
}

#[test]
fn parts_that_are_two_are_refused() {
    let twice = score("<measure/></part>\n<part id=\"P1\"><measure/>");
    refused("twice.xml", twice.as_bytes(), &["line 6", "two parts have the id P1"]);
    let timewise =
        "<score-timewise><part-list/>\n<measure><part id=\"P1\"/><part id=\"P1\"/></measure></score-timewise>";
    refused("timewise.xml", timewise.as_bytes(), &["line 2", "P1 appears twice"]);
    let crowd: String = (0..251).map(|n| format!("<part id=\"Q{n}\"/>")).collect();
    refused("crowd.xml", score(&format!("</part>{crowd}<part id=\"P2\">")).as_bytes(), &["more than 250 parts"]);
}

/// Reports tell them with each finding: a file of one megabyte made a table of hundreds.
#[test]
fn names_that_are_none_are_refused() {
    let long = "n".repeat(251);
    let bar = format!("<measure number=\"1\">{NOTE}</measure>");
    let named = score(&bar).replace(">Solo<", &format!(">{long}<"));
    refused("named.xml", named.as_bytes(), &["line 3", "the name of a part of more than 250 bytes"]);
    let ids = score(&bar).replace("\"P1\"", &format!("\"{long}\""));
    refused("ids.xml", ids.as_bytes(), &["line 4", "the id of a part of more than 250 bytes"]);
    let numbered = score(&bar.replace("\"1\"", &format!("\"{long}\"")));
    refused("numbered.xml", numbered.as_bytes(), &["line 5", "the number of a bar of more than 250 bytes"]);
}

/// An archive with a container and what `fill` adds.
fn archive(container: &str, fill: impl FnOnce(&mut ZipWriter<std::io::Cursor<Vec<u8>>>)) -> Vec<u8> {
    let mut writer = ZipWriter::new(std::io::Cursor::new(Vec::new()));
    writer.start_file("META-INF/container.xml", SimpleFileOptions::default()).expect("a member");
    writer.write_all(container.as_bytes()).expect("a member");
    fill(&mut writer);
    writer.finish().expect("an archive").into_inner()
}

#[test]
fn archives_that_are_traps_are_refused() {
    let named = |name: &str| format!("<container><rootfiles><rootfile full-path=\"{name}\"/></rootfiles></container>");
    let spaces = |megabytes: usize| {
        archive(&named("s.xml"), |writer| {
            writer.start_file("s.xml", SimpleFileOptions::default()).expect("a member");
            let megabyte = vec![b' '; 1 << 20];
            (0..megabytes).for_each(|_| writer.write_all(&megabyte).expect("a member"));
        })
    };
    refused("bomb.mxl", &spaces(1000), &["s.xml", "larger than 64 MB"]);
    // The size is forged, in the archive's directory and before the member.
    let mut forged = spaces(63);
    let (told, lie) = ((63_u32 << 20).to_le_bytes(), 1000_u32.to_le_bytes());
    let places: Vec<usize> = (0..forged.len() - 4).filter(|at| forged[*at..at + 4] == told).collect();
    assert!(places.len() >= 2);
    places.iter().for_each(|at| forged[*at..at + 4].copy_from_slice(&lie));
    refused("forged.mxl", &forged, &["s.xml", "cannot be decompressed"]);

    let members = archive(&named("s.xml"), |writer| {
        (0..10_000).for_each(|n| writer.start_file(n.to_string(), SimpleFileOptions::default()).expect("a member"));
    });
    refused("members.mxl", &members, &["more than 10000 files"]);
    refused("missing.mxl", &archive(&named("../s.xml"), |_| ()), &["names ../s.xml", "no such file"]);
    refused("nameless.mxl", &archive("<container/>", |_| ()), &["container.xml", "names no score"]);
    let entity = "<!DOCTYPE a [<!ENTITY a \"b\">]><container>&a;</container>";
    refused("entity.mxl", &archive(entity, |_| ()), &["container.xml", "entity"]);
    refused("deep.mxl", &archive(&"<a>".repeat(1_000_000), |_| ()), &["container.xml", "nested"]);
    let mut cut = spaces(1);
    cut.truncate(cut.len() / 2);
    refused("cut.mxl", &cut, &["damaged or cut short"]);
}

#[test]
fn texts_without_end_are_refused() {
    refused("long.xml", score(&" ".repeat(64 << 20)).as_bytes(), &["larger than 64 MB"]);
    for (name, sign) in
        [("open.xml", "<"), ("quote.xml", "<a '"), ("comment.xml", "<!--"), ("section.xml", "<![CDATA[")]
    {
        refused(name, sign.repeat(1_000_000).as_bytes(), &["line 1"]);
    }
}

/// Files beside the score, in as little memory as any score.
#[test]
#[cfg(unix)]
fn files_beside_a_score_have_a_measure() {
    let folder = tempfile::tempdir().expect("a folder for a test");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (score_file, out) = (path("score.xml"), path("out.xml"));
    fs::write(&score_file, score(&format!("<measure number=\"1\">{NOTE}</measure>"))).expect("a file for a test");
    let long = |name: &str, text: &str, bytes: usize| {
        fs::write(path(name), text.repeat(bytes / text.len())).expect("a file for a test");
        path(name)
    };
    let files = [
        ("/dev/zero".to_string(), "larger than 8 MB"),
        (long("large.toml", "# no more than words\n", 9 << 20), "larger than 8 MB"),
        (long("lines.toml", "\n", 1 << 20), "more than 500000 lines and values"),
        (long("values.toml", "{},", 4 << 20), "more than 500000 lines and values"),
    ];
    // A mark sheet is known by its name.
    let link = path("zero.toml");
    std::os::unix::fs::symlink("/dev/zero", &link).expect("a link for a test");
    for (file, words) in &files {
        let sheet = if file.starts_with("/dev") { &link } else { file };
        let clean = ["clean", &score_file, &score_file, "-o", &out];
        for call in [
            [&clean[..], &["--decisions", file]].concat(),
            [&clean[..], &["--mine", sheet]].concat(),
            [&clean[..], &["--additions", "color", "--apart", file]].concat(),
            [&clean[..], &["--instruments", file]].concat(),
            vec!["range", &score_file, "--instruments", file],
            vec!["range", "--list", "--instruments", file],
        ] {
            let output = run(&call);
            let said = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(3), "{call:?}: {said}");
            assert!(said.contains(words) && said.lines().count() == 1, "{call:?}: {said}");
        }
    }
    let many = long("many.toml", "[[mark]]\nat = \"1:1\"\nbreath = true\n", 100_000);
    let output = run(&["clean", &score_file, &score_file, "-o", &out, "--mine", &many]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("breath at 1:1: the sheet has more than 1000 marks in this bar"), "{said}");
    // What is allowed is read in that memory, too.
    for (name, text, signs) in [
        ("marks.toml", "[[mark]]\nat=\"1:1\"\nslur=true\n", 9),
        ("empty.toml", "[[mark]]\n", 5),
        ("tables.toml", "[a.b]\n", 3),
        ("names.toml", "[[instrument]]\nname=\"x\"\nwritten=[\"C4\",\"C5\"]\n", 10),
    ] {
        let file = long(name, text, 500_000 / signs * text.len());
        for option in ["--mine", "--decisions", "--apart", "--instruments"] {
            let output = run(&["clean", &score_file, &score_file, "-o", &out, "--additions", "color", option, &file]);
            let said = String::from_utf8_lossy(&output.stderr);
            assert!(output.status.code().is_some_and(|status| status < 4), "{name} {option}: {said}");
        }
    }
}

/// A file without line ends takes no longer than another: the work grew with the square of its length.
#[test]
fn a_score_on_one_line_is_cleaned() {
    let folder = tempfile::tempdir().expect("a folder for a test");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let slurred = NOTE.replace("</note>", "<notations><articulations><staccato/></articulations></notations></note>");
    let bars =
        |first: &str| score(&format!("<measure>{first}{}</measure>", NOTE.repeat(3)).repeat(20_000)).replace('\n', "");
    fs::write(path("edition.xml"), bars(NOTE)).expect("a file for a test");
    fs::write(path("source.xml"), bars(&slurred)).expect("a file for a test");
    let done = Command::new("sh")
        .args(["-c", "ulimit -t 10 && exec \"$0\" clean \"$1\" \"$2\" -o \"$3\"", env!("CARGO_BIN_EXE_obelus")])
        .args([path("edition.xml"), path("source.xml"), path("clean.xml")])
        .output()
        .expect("the program starts");
    assert!(done.status.success(), "{}: {}", done.status, String::from_utf8_lossy(&done.stderr));
    assert_eq!(fs::read_to_string(path("clean.xml")).expect("a copy").matches("<staccato/>").count(), 20_000);
}

/// Letters without order, the same on every run.
fn melody(seed: u64, notes: usize) -> impl Iterator<Item = String> {
    let mut random = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    (0..notes).map(move |_| {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        let step = ["C", "D", "E", "F", "G", "A", "B"][(random % 7) as usize];
        NOTE.replace("<step>C", &format!("<step>{step}")).replace(">4<", [">4<", ">5<"][(random >> 8 & 1) as usize])
    })
}

/// A part of some bars of four notes.
fn strange_bars(seed: u64, bars: usize) -> String {
    let notes: Vec<String> = melody(seed, bars * 4).collect();
    notes.chunks(4).map(|bar| format!("<measure>{}</measure>", bar.concat())).collect()
}

/// As many parts as may be; each with the music of its seed.
fn orchestra(seed: impl Fn(u64) -> u64) -> String {
    let list = |n: u64| format!("<score-part id=\"P{n}\"><part-name>Part {n}</part-name></score-part>");
    let part = |n: u64| format!("<part id=\"P{n}\">{}</part>", strange_bars(seed(n), 4));
    let (list, parts): (String, String) = (0..250).map(|n| (list(n), part(n))).unzip();
    format!("<score-partwise><part-list>{list}</part-list>{parts}</score-partwise>")
}

/// Runs a command on two scores, in the room and the time of all hostile files, and gives what it wrote.
fn done(edition: &str, source: &str, arguments: &[&str]) -> String {
    let folder = tempfile::tempdir().expect("a folder for a test");
    let path = |name: &str| folder.path().join(name).display().to_string();
    fs::write(path("edition.xml"), edition).expect("a file for a test");
    fs::write(path("source.xml"), source).expect("a file for a test");
    let (edition, source, out) = (path("edition.xml"), path("source.xml"), path("out"));
    let output = run(&[&[arguments[0], &edition, &source, "-o", &out], &arguments[1..]].concat());
    assert!(output.status.success(), "{}: {}", output.status, String::from_utf8_lossy(&output.stderr));
    fs::read_to_string(out).expect("it was written")
}

/// Each part was held against each other part, and then all notes of both scores for every two of them.
#[test]
fn hundreds_of_parts_are_compared() {
    let strange = done(&orchestra(|n| n + 1), &orchestra(|n| n + 1_001), &["audit", "--format", "csv"]);
    assert!(strange.lines().count() < 10_000, "{} lines", strange.lines().count());
    let same = done(&orchestra(|_| 7), &orchestra(|_| 7), &["audit"]);
    assert_eq!(same.matches("16 notes against 16: all match").count(), 250);
}

/// Every bar that was written again looked for its clef in all bars before it.
#[test]
fn a_long_part_is_written_again_bar_by_bar() {
    let (edition, source) = (strange_bars(1, 20_000), strange_bars(2, 20_000));
    let folder = tempfile::tempdir().expect("a folder for a test");
    let path = |name: &str| folder.path().join(name).display().to_string();
    fs::write(path("edition.xml"), score(&edition)).expect("a file for a test");
    fs::write(path("source.xml"), score(&source)).expect("a file for a test");
    let done = Command::new("sh")
        .args(["-c", "ulimit -t 60 && exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_obelus"), "clean"])
        .args([path("edition.xml"), path("source.xml"), "-o".into(), path("clean.xml")])
        .args(["--part", "Solo", "--source-part", "Solo"])
        .output()
        .expect("the program starts");
    assert!(done.status.success(), "{}: {}", done.status, String::from_utf8_lossy(&done.stderr));
}

/// Each passage in another octave was held against all before it.
#[test]
fn tens_of_thousands_of_passages_are_told() {
    let plain = strange_bars(3, 20_000);
    // Every other note of every other two bars.
    let moves = |note: usize| note.is_multiple_of(2) && note % 16 < 8;
    let moved = plain.split_inclusive("</note>").enumerate().map(|(place, note)| match moves(place) {
        true => note.replace("<octave>4", "<octave>6"),
        false => note.to_string(),
    });
    let edition: String = moved.collect();
    let told = done(&score(&edition), &score(&plain), &["audit", "--format", "csv"]);
    assert!(told.matches("octave").count() > 10_000, "{} lines", told.lines().count());
}

/// A page stays one that a browser can show, and says what it leaves out.
#[test]
fn a_page_lists_so_many_findings() {
    let staccato = NOTE.replace("</note>", "<notations><articulations><staccato/></articulations></notations></note>");
    let bars = |note: &str| score(&format!("<measure>{}</measure>", note.repeat(10)).repeat(5_100));
    let folder = tempfile::tempdir().expect("a folder for a test");
    let path = |name: &str| folder.path().join(name).display().to_string();
    fs::write(path("edition.xml"), bars(&staccato)).expect("a file for a test");
    fs::write(path("source.xml"), bars(NOTE)).expect("a file for a test");
    let page = obelus(&["audit", &path("edition.xml"), &path("source.xml"), "--format", "html"]);
    assert_eq!(page.matches("data-row=").count(), 50_000);
    assert!(page.contains("1000 further findings"));
}

/// All voices were held against all others, and for each two of them all notes.
#[test]
fn as_many_voices_as_may_be_are_compared() {
    let voice = |v: u32| {
        let step = ["C", "D", "E", "F", "G", "A", "B"][(v % 7) as usize];
        NOTE.replace("<step>C", &format!("<step>{step}")).replace("</note>", &format!("<voice>{v}</voice></note>"))
            + "<backup><duration>1</duration></backup>"
    };
    let bar: String = (0..1000).map(voice).collect();
    let choir = score(&format!("<measure>{bar}</measure>").repeat(8));
    let said = done(&choir, &choir, &["audit"]);
    assert!(said.contains("8000 notes against 8000: all match"), "{said}");
}
