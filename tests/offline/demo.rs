//! The program against the demo: an edition whose every intervention is known.

use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo")
}

fn audit(options: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_obelus"))
        .arg("audit")
        .arg(demo().join("edition.musicxml"))
        .arg(demo().join("source.musicxml"))
        .args(options)
        .output()
        .expect("the program starts");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{errors}");
    assert_eq!(errors, "");
    String::from_utf8(output.stdout).expect("reports are UTF-8")
}

fn report(options: &[&str]) -> Value {
    let all = [&["--format", "json"], options].concat();
    serde_json::from_str(&audit(&all)).expect("the report is JSON")
}

fn truth() -> Value {
    let text = std::fs::read_to_string(demo().join("truth.json")).expect("the demo has its truth");
    serde_json::from_str(&text).expect("the truth is JSON")
}

/// What identifies a finding: for what is omitted, its place in the source.
fn key(finding: &Value) -> String {
    let omitted = finding["status"] == "omitted";
    let end = &finding["end"];
    let place = if omitted {
        json!([finding["source_bar"], finding["source_offset"]])
    } else {
        json!([finding["bar"], finding["offset"], end["bar"], end["offset"]])
    };
    let (category, status) = (&finding["category"], &finding["status"]);
    format!("{category} {status} {place} passage {}", finding["passage"])
}

fn passage_key(passage: &Value) -> String {
    let place = |name: &str| json!([passage[name]["bar"], passage[name]["offset"]]);
    let rest =
        ["octaves", "notes", "outside_range", "outside_range_restored"].map(|name| format!("{name} {}", passage[name]));
    format!(
        "{} {} to {}, source {} to {}, {}",
        passage["kind"],
        place("from"),
        place("to"),
        place("source_from"),
        place("source_to"),
        rest.join(", ")
    )
}

/// The lines that only one of two sorted lists has.
fn differences(found: Vec<String>, known: Vec<String>) -> Vec<String> {
    let mut found = found;
    let mut out = Vec::new();
    for line in known {
        match found.iter().position(|f| *f == line) {
            Some(place) => {
                found.remove(place);
            }
            None => out.push(format!("not found: {line}")),
        }
    }
    out.extend(found.into_iter().map(|line| format!("not there: {line}")));
    out
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().expect("a list")
}

#[test]
fn every_intervention_is_found_and_nothing_else() {
    let (report, truth) = (report(&[]), truth());
    let part = &report["parts"][0];
    assert_eq!(part["transposition"], truth["transposition"]);
    let keys = |v: &Value| list(v).iter().map(key).collect::<Vec<_>>();
    let apart = differences(keys(&part["findings"]), keys(&truth["findings"]));
    assert!(apart.is_empty(), "\n{}", apart.join("\n"));
    let keys = |v: &Value| list(v).iter().map(passage_key).collect::<Vec<_>>();
    let apart = differences(keys(&part["passages"]), keys(&truth["passages"]));
    assert!(apart.is_empty(), "\n{}", apart.join("\n"));
    assert_eq!(part["totals"], truth["totals"]);
    assert_eq!(report["warnings"], json!([]));
}

#[test]
fn the_report_has_the_promised_fields() {
    let report = report(&[]);
    let names = |v: &Value| {
        let mut names: Vec<String> = v.as_object().expect("an object").keys().cloned().collect();
        names.sort();
        names.join(" ")
    };
    assert_eq!(names(&report), "edition not_compared parts schema source warnings");
    assert_eq!(report["schema"], 2);
    assert_eq!(names(&report["edition"]), "file title");
    let part = &report["parts"][0];
    assert_eq!(names(part), "bars findings notes part passages range scope source_part totals transposition");
    assert_eq!(
        names(&part["findings"][0]),
        "bar bar_index beat category edition_reading end offset passage source_bar \
         source_bar_index source_offset source_reading staff status voice"
    );
    assert_eq!(
        names(&part["passages"][0]),
        "from kind notes octaves outside_range outside_range_restored source_from source_to to"
    );
    assert_eq!(names(&part["passages"][0]["from"]), "bar bar_index beat offset");
    assert_eq!(names(&part["bars"][0]), "bar bar_index counts source_bar");
    let range = &part["range"];
    assert_eq!(names(range), "highest instrument lowest outside");
    assert_eq!(names(&range["outside"][0]), "bar bar_index beat displaced offset pitch side");
    // The basso is the source's only.
    let basso = json!({"id": "P2", "name": "Basso", "staff": null, "voice": null, "notes": 205});
    assert_eq!(report["not_compared"], json!({"edition": [], "source": [basso]}));
}

#[test]
fn a_stretch_of_bars_is_all_that_is_shown() {
    let whole = report(&[]);
    let some = report(&["--bars", "19-20"]);
    let part = &some["parts"][0];
    let within = |f: &&Value| f["bar"] == "19" || f["bar"] == "20";
    let known = list(&whole["parts"][0]["findings"]).iter().filter(within);
    assert_eq!(list(&part["findings"]).len(), known.count());
    assert_eq!(list(&part["passages"]).len(), 1);
    assert_eq!(list(&part["bars"]).len(), 2);
    assert_eq!(part["totals"]["octave"], json!({"altered": 14}));
    assert_eq!(list(&part["range"]["outside"]).len(), 10);
    // Passages are counted anew.
    let ending = report(&["--bars", "39"]);
    let part = &ending["parts"][0];
    assert_eq!(part["passages"][0]["kind"], "invented-ending");
    assert!(list(&part["findings"]).iter().all(|f| f["passage"] == 0));
}

#[test]
fn the_spreadsheet_has_a_line_for_each_finding() {
    let text = audit(&["--format", "csv"]);
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("part,bar,beat,offset,category,status,edition,source,end_bar,end_beat,passage"));
    let findings = &report(&[])["parts"][0]["findings"];
    assert_eq!(lines.clone().count(), list(findings).len());
    assert!(lines.any(|l| l == "Treble Recorder,19,1.5,1/2,octave,altered,G4,G5,,,octave-displacement"));
}

#[test]
fn strict_says_by_its_status_that_something_was_found() {
    let status = |edition: &str| {
        Command::new(env!("CARGO_BIN_EXE_obelus"))
            .arg("audit")
            .arg(demo().join(edition))
            .arg(demo().join("source.musicxml"))
            .args(["--strict", "--format", "csv"])
            .output()
            .expect("the program starts")
            .status
            .code()
    };
    assert_eq!(status("edition.musicxml"), Some(1));
    assert_eq!(status("source.musicxml"), Some(0));
}

#[test]
fn text_in_a_pipe_has_no_colour_and_reads_well() {
    let text = audit(&[]);
    assert!(!text.contains('\u{1b}'));
    let long: Vec<&str> = text.lines().filter(|l| l.chars().count() > 100).collect();
    // File names are never broken.
    assert!(long.iter().all(|l| l.contains(".musicxml")), "{long:?}");
}
