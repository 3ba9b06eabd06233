//! The demo in every form in which a score may come: the same report, and a
//! clean copy in the form of its edition.

use crate::common::program::{json_of, obelus};
use crate::common::unsigned;
use obelus::Input;
use serde_json::Value;
use std::fs;
use std::io::{Cursor, Read, Write};
use std::path::{Path, PathBuf};
use tempfile::TempDir;
use zip::ZipArchive;
use zip::write::{SimpleFileOptions, ZipWriter};

const DECLARED: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>";

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo").join(name)
}

/// The demo's edition with a title that is not ASCII.
fn edition() -> String {
    let text = fs::read_to_string(demo("edition.musicxml")).expect("the demo is there");
    assert!(text.starts_with(DECLARED));
    text.replace("Celebrated", "C\u{e9}l\u{e8}bre")
}

/// An edition beside the demo's source.
struct Pair {
    folder: TempDir,
    edition: String,
    source: String,
}

impl Pair {
    fn new(name: &str, edition: &[u8]) -> Pair {
        let folder = tempfile::tempdir().expect("a folder for a test");
        let path = folder.path().join(name);
        fs::write(&path, edition).expect("a file for a test");
        let text = |path: PathBuf| path.display().to_string();
        Pair { edition: text(path), source: text(demo("source.musicxml")), folder }
    }

    /// The report, apart from the file's name.
    fn report(&self) -> Value {
        let mut report = json_of(&["audit", &self.edition, &self.source, "--format", "json"]);
        assert!(report["edition"]["title"].as_str().is_some_and(|t| t.starts_with("C\u{e9}l\u{e8}bre")));
        assert_eq!(report["warnings"], Value::Array(Vec::new()));
        report["edition"]["file"] = Value::Null;
        report
    }

    fn clean(&self) -> Vec<u8> {
        let out = self.folder.path().join("out").join(Path::new(&self.edition).file_name().expect("a name"));
        fs::create_dir(out.parent().expect("a folder")).expect("a folder for a test");
        obelus(&["clean", &self.edition, &self.source, "-o", &out.display().to_string()]);
        // Its name and its bytes are told in it, and differ.
        let copy = Input::from_bytes("copy", fs::read(out).expect("a clean copy")).expect("a score");
        copy.encode(&unsigned::unsigned(&copy.text)).expect("the form that it came in")
    }
}

/// The demo's edition as it is: what all its other forms are compared with.
fn plain() -> (Value, String) {
    let pair = Pair::new("plain.musicxml", edition().as_bytes());
    (pair.report(), String::from_utf8(pair.clean()).expect("UTF-8"))
}

/// From a text to the bytes of a file.
type Form<'a> = &'a dyn Fn(&str) -> Vec<u8>;

fn check(forms: &[(&str, Form)]) {
    let (report, clean) = plain();
    for (name, form) in forms {
        let pair = Pair::new(name, &form(&edition()));
        assert_eq!(pair.report(), report, "{name}");
        assert!(pair.clean() == form(&clean), "{name}: the clean copy has another form");
    }
}

#[test]
fn encodings_and_marks_are_kept() {
    let utf16 = |text: &str, bytes: fn(u16) -> [u8; 2], mark: &[u16]| -> Vec<u8> {
        let text = text.replace("UTF-8", "UTF-16");
        mark.iter().copied().chain(text.encode_utf16()).flat_map(bytes).collect()
    };
    let latin = |text: &str, name: &str| -> Vec<u8> {
        let text = text.replace("\"UTF-8\"", name);
        text.chars().map(|c| u8::try_from(c as u32).expect("the demo is Latin")).collect()
    };
    check(&[
        ("le.xml", &|text| utf16(text, u16::to_le_bytes, &[0xFEFF])),
        ("be.xml", &|text| utf16(text, u16::to_be_bytes, &[0xFEFF])),
        ("bare.xml", &|text| utf16(text, u16::to_le_bytes, &[])),
        ("mark.xml", &|text| [b"\xEF\xBB\xBF", text.as_bytes()].concat()),
        ("latin.xml", &|text| latin(text, "'ISO-8859-1'")),
        ("windows.xml", &|text| latin(text, "\"windows-1252\"")),
        ("undeclared.xml", &|text| text.replace(DECLARED, "").into_bytes()),
    ]);
}

#[test]
fn line_ends_are_kept() {
    check(&[
        ("crlf.xml", &|text| text.replace('\n', "\r\n").into_bytes()),
        ("cr.xml", &|text| text.replace('\n', "\r").into_bytes()),
    ]);
}

const CONTAINER: &str = "<container><rootfiles><rootfile full-path=\"a folder/score.bin\"/>\
    <rootfile full-path=\"page.pdf\" media-type=\"application/pdf\"/></rootfiles></container>";

/// An archive with more in it than a score.
fn archive(text: &str) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let deflated = SimpleFileOptions::default();
    for (name, options, content) in [
        ("mimetype", stored, "application/vnd.recordare.musicxml"),
        ("page.pdf", deflated, "not a page"),
        ("META-INF/container.xml", stored, CONTAINER),
        ("a folder/score.bin", deflated, text),
        ("a folder/\u{e9}.txt", stored, "another file"),
    ] {
        writer.start_file(name, options).expect("a member");
        writer.write_all(content.as_bytes()).expect("a member");
    }
    writer.finish().expect("an archive").into_inner()
}

/// Every member with its name and its bytes, unpacked.
fn members(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).expect("an archive");
    (0..archive.len())
        .map(|index| {
            let mut member = archive.by_index(index).expect("a member");
            let mut content = Vec::new();
            member.read_to_end(&mut content).expect("a member");
            (member.name().expect("a name").to_string(), content)
        })
        .collect()
}

#[test]
fn an_archive_keeps_all_its_members() {
    let (report, clean) = plain();
    let pair = Pair::new("odd.mxl", &archive(&edition()));
    assert_eq!(pair.report(), report);
    assert_eq!(members(&pair.clean()), members(&archive(&clean)));
}

/// Only the findings are compared: the text around them differs.
fn same_findings(name: &str, edition: &str) -> String {
    let pair = Pair::new(name, edition.as_bytes());
    let report = pair.report();
    assert_eq!(report["parts"], plain().0["parts"], "{name}");
    String::from_utf8(pair.clean()).expect("UTF-8")
}

#[test]
fn comments_and_instructions_may_stand_anywhere() {
    let noise = "<!-- a <note> & -- more --><?print <now>?>".replace("-- more", "more");
    let clean = same_findings("noise.xml", &edition().replace(">\n", &format!(">{noise}\n")));
    assert!(clean.contains(&noise));
    // Inside an element, around its text.
    same_findings(
        "inside.xml",
        &edition().replace("<step>", "<step><!-- letter -->").replace("</duration>", "<?x?></duration>"),
    );
}

#[test]
fn versions_and_document_types_do_not_matter() {
    let edition = edition();
    let start = edition.find("<!DOCTYPE").expect("a document type");
    let end = edition.find("<score-partwise version=\"4.0\">").expect("a root");
    let edition = format!("{}{}", &edition[..start], &edition[end..]);
    let doctype = "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 0.7b Partwise//EN\" \"partwise.dtd\" [\n\
         <!-- nothing --> <!ELEMENT own ANY>\n]>\n<score-partwise>";
    same_findings("old.xml", &edition.replace("<score-partwise version=\"4.0\">", doctype));
    let spaced = "<score-partwise xmlns=\"urn:x\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" version=\"4.1\">";
    same_findings("spaced.xml", &edition.replace("<score-partwise version=\"4.0\">", spaced));
}

/// Turns the score round: bars with parts in them.
fn timewise(text: &str) -> String {
    let (head, music) = text.split_once("<part id=\"P1\">").expect("one part");
    assert!(!music.contains("<part id"));
    let head = head.replace("score-partwise", "score-timewise");
    let music = music.replace("</part>", "").replace("score-partwise", "score-timewise");
    let mut out = String::new();
    for piece in music.split_inclusive("<measure ") {
        out.push_str(piece);
    }
    let opened = out.replace("</measure>", "</part></measure>");
    let mut turned = String::new();
    let mut rest = opened.as_str();
    while let Some(at) = rest.find("<measure ") {
        let end = at + rest[at..].find('>').expect("a tag ends") + 1;
        turned.push_str(&rest[..end]);
        turned.push_str("<part id=\"P1\">");
        rest = &rest[end..];
    }
    head + &turned + rest
}

#[test]
fn a_score_that_goes_bar_by_bar_reads_the_same() {
    let turned = timewise(&edition());
    let pair = Pair::new("timewise.xml", turned.as_bytes());
    assert_eq!(pair.report()["parts"], plain().0["parts"]);
}
