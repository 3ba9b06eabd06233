//! Cleaning the demo: its source in the edition's key comes out, with or
//! without a teacher's marks, and nothing else in the file is touched. What is in
//! it, a reader of its own says in `tests/external/clean.rs`.

use crate::common::clean::Clean;
use crate::common::desk::Desk;
use crate::common::music::{Style, score};
use crate::common::program::{demo, json_of, obelus, obelus_fails};
use crate::common::unsigned::unsigned;
use serde_json::{Value, json};

#[test]
fn a_mark_sheet_adds_its_marks_and_no_more() {
    let clean = Clean::demo(&["--mine", &demo("marks.toml")]);
    let sheet: toml::Table = std::fs::read_to_string(demo("marks.toml")).unwrap().parse().unwrap();
    assert!(clean.findings().iter().all(|f| f["status"] == "added"));
    assert_eq!(clean.findings().len(), sheet["mark"].as_array().unwrap().len());
}

#[test]
fn the_sheet_that_is_lifted_says_what_was_written_by_hand() {
    let (plain, marked) = (Clean::demo(&[]), Clean::demo(&["--mine", &demo("marks.toml")]));
    let lifted = obelus(&["marks", marked.name(), plain.name()]);
    let marks = |text: &str| {
        let table: toml::Table = text.parse().unwrap();
        let mut marks: Vec<String> = table["mark"].as_array().unwrap().iter().map(same_places).collect();
        marks.sort();
        marks
    };
    assert_eq!(marks(&lifted), marks(&std::fs::read_to_string(demo("marks.toml")).unwrap()));
}

/// A mark with its beats as fractions: 2.5 and 2+1/2 are the same.
fn same_places(mark: &toml::Value) -> String {
    let mut out: Vec<String> = Vec::new();
    for (key, value) in mark.as_table().unwrap() {
        let text = value.to_string();
        let place = value.as_str().filter(|_| matches!(key.as_str(), "at" | "from" | "to"));
        match place.and_then(|p| p.split_once(':')) {
            Some((bar, beat)) => {
                let beat = obelus::time::parse_beat(beat).unwrap();
                out.push(format!("{key} {bar} {beat}"));
            }
            None => out.push(format!("{key} {text}")),
        }
    }
    out.sort();
    out.join(", ")
}

#[test]
fn what_is_kept_stays_and_what_is_not_restored_is_left() {
    let kept = Clean::demo(&["--keep", "breath,fingering"]);
    let found: Vec<(Value, Value)> =
        kept.findings().iter().map(|f| (f["category"].clone(), f["status"].clone())).collect();
    assert_eq!(found.len(), 8);
    assert!(found.iter().all(|f| (f.0 == "breath" || f.0 == "fingering") && f.1 == "added"));

    let octaves = Clean::demo(&["--no-restore", "octaves"]);
    assert!(octaves.findings().iter().all(|f| f["passage"] == 0), "what is inside the passage stays with it");
    assert_eq!(octaves.findings().iter().filter(|f| f["category"] == "octave").count(), 14);

    let passages = Clean::demo(&["--no-restore", "passages"]);
    let report = json_of(&["audit", passages.name(), &demo("source.musicxml"), "--format", "json"]);
    let kinds: Vec<&Value> = report["parts"][0]["passages"].as_array().unwrap().iter().map(|p| &p["kind"]).collect();
    assert_eq!(kinds, [&json!("inserted-passage"), &json!("invented-ending")]);
    assert!(passages.findings().iter().all(|f| !f["passage"].is_null()));

    let all = Clean::demo(&["--no-restore", "octaves,passages,readings,omissions", "--keep", EVERY]);
    let edition = std::fs::read(demo("edition.musicxml")).unwrap();
    let ours = std::fs::read(&all.path).unwrap();
    assert!(ours == edition, "nothing was to change");
}

const EVERY: &str = "dynamics,hairpin,slur,articulation,breath,ornament,grace,fermata,tempo,expression,fingering,bowing,\
                     technique,octave-line,pedal,structure,signature,accidental,rehearsal,harmony,lyric,text";

#[test]
fn lines_that_are_not_edited_stay_byte_for_byte() {
    let clean = Clean::demo(&[]);
    let edition = std::fs::read_to_string(demo("edition.musicxml")).unwrap();
    let ours = unsigned(&std::fs::read_to_string(&clean.path).unwrap());
    // The second credit names the editor.
    let (from, to) = (edition.rfind("\n  <credit ").unwrap(), edition.find("\n  <part-list>").unwrap());
    let head = format!("{}{}", &edition[..from], &edition[to..edition.find("<part id=").unwrap()]);
    assert_eq!(ours[..ours.find("<part id=").unwrap()], head);
    // New lines are few and stand where something was restored: four bars that
    // were written again, and single notes and marks. All others are the edition's.
    let (old, new): (Vec<&str>, Vec<&str>) = (edition.lines().collect(), ours.lines().collect());
    let ops = similar::capture_diff_slices(similar::Algorithm::Myers, &old, &new);
    let kept: usize = ops.iter().filter(|o| o.tag() == similar::DiffTag::Equal).map(|o| o.new_range().len()).sum();
    assert!(new.len() - kept < 470, "{} of {} lines are new", new.len() - kept, new.len());
    assert_eq!(clean.findings().len(), 0);
    let second = Clean::of(clean.name(), &demo("source.musicxml"), &[]);
    assert!(
        std::fs::read(&second.path).unwrap() == std::fs::read(&clean.path).unwrap(),
        "a second clean changes nothing"
    );
}

#[test]
fn a_mark_between_coarse_divisions_leaves_the_key_as_it_is() {
    let style = Style { fifths: 2, divisions: 1, ..Style::default() };
    let desk = Desk::with(&score(&style, "D5w | A4w"), &score(&style, "D5w | A4w"));
    let sheet = desk.write("sheet.toml", "[[mark]]\nfrom = \"1:1\"\nto = \"1:2.5\"\nhairpin = \"crescendo\"\n");
    let (edition, source, out) = (desk.at("edition.musicxml"), desk.at("source.musicxml"), desk.at("out.musicxml"));
    obelus(&["clean", &edition, &source, "-o", &out, "--mine", &sheet]);
    let copy = desk.read("out.musicxml");
    assert!(copy.contains("<fifths>2</fifths>") && copy.contains("<divisions>2</divisions>"), "{copy}");
}

#[test]
fn a_mark_without_its_note_is_an_error_that_names_the_nearest() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.toml");
    let out = folder.path().join("clean.musicxml");
    std::fs::write(&sheet, "[[mark]]\nat = \"4:3+1/2\"\narticulation = \"tenuto\"\n").unwrap();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let failed =
        obelus_fails(&["clean", &edition, &source, "-o", out.to_str().unwrap(), "--mine", sheet.to_str().unwrap()]);
    assert_eq!(failed.status, 2);
    let told = "the mark articulation = \"tenuto\" at 4:3+1/2: no note starts at 4:3.5; the nearest are F#5 at 4:2 and \
                D5 at 4:4";
    assert!(failed.stderr.contains(told), "{}", failed.stderr);
    assert!(!out.exists());
}

#[test]
fn the_editor_is_named_in_the_provenance_and_not_in_the_credits() {
    let said = "revised for Treble Recorder by E. Larkhill-Voss";
    let printed = |text: &str| text.split("<part-list>").next().unwrap().matches("<credit ").count();
    let edition = std::fs::read_to_string(demo("edition.musicxml")).unwrap();
    let stripped = Clean::demo(&[]);
    let text = std::fs::read_to_string(stripped.name()).unwrap();
    assert_eq!(printed(&text), printed(&edition) - 1);
    let field = text.split("<miscellaneous-field name=\"obelus\">").nth(1).unwrap();
    let field = field.split("</miscellaneous-field>").next().unwrap();
    assert!(field.contains(&format!("taken out of the credits: &quot;{said}&quot;")), "{field}");
    assert_eq!(text.matches(said).count(), 1);
    // What stands in the identification is the law's.
    assert!(text.contains("<rights>Revised and fingered edition</rights>") && text.contains("type=\"editor\""));
    let bracketed = Clean::demo(&["--additions", "bracket"]);
    assert_eq!(printed(&std::fs::read_to_string(bracketed.name()).unwrap()), printed(&edition));

    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("c.musicxml").display().to_string();
    let both = [demo("edition.musicxml"), demo("source.musicxml")];
    let told = json_of(&["clean", &both[0], &both[1], "-o", &copy, "--format", "json", "--key", "E minor"]);
    assert_eq!(told["credits"], json!([said]));
}

/// It is read as one without signs, and another key needs to say its own.
#[test]
fn a_signature_that_says_nothing_gets_its_signs_in_another_key() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.musicxml");
    let text = score(&Style::default(), "C5q D5q E5q F5q").replace("<fifths>0</fifths>", "");
    assert!(text.contains("<key>") && !text.contains("<fifths>"), "{text}");
    std::fs::write(&path, text).unwrap();
    let [path, out] = [&path, &folder.path().join("out.musicxml")].map(|p| p.display().to_string());
    obelus(&["clean", &path, &path, "-o", &out, "--transpose", "down a fifth"]);
    assert!(std::fs::read_to_string(out).unwrap().contains("<fifths>-1</fifths>"));
}

/// Signs that say nothing, say it twice or go too far are read and moved as one.
#[test]
fn a_broken_signature_of_single_accidentals_moves_as_it_is_read() {
    let sign = |step: &str, alters: &[&str]| {
        let alters: String = alters.iter().map(|alter| format!("<key-alter>{alter}</key-alter>")).collect();
        format!("<key-step>{step}</key-step>{alters}")
    };
    let folder = tempfile::tempdir().unwrap();
    for signs in [
        [sign("F", &["1"]), sign("A", &["-1", "-1"]), sign("B", &["-1"])],
        [sign("G", &[]), sign("A", &["-1"]), sign("B", &["-0.5"])],
        [sign("A", &["7"]), sign("E", &[]), sign("E", &["2"])],
    ] {
        let path = folder.path().join("part.musicxml");
        let text = score(&Style::default(), "C5q D5q E5q F5q").replace("<fifths>0</fifths>", &signs.concat());
        std::fs::write(&path, text).unwrap();
        let [path, out] = [&path, &folder.path().join("out.musicxml")].map(|p| p.display().to_string());
        obelus(&["clean", &path, &path, "-o", &out, "--transpose", "down a fifth"]);
    }
}
