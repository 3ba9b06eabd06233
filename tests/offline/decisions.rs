//! Decisions on single findings, from the file that an audit writes to the copy
//! that follows it, and the critical notes that tell of them.

use crate::common::desk::Desk;
use crate::common::music::{Style, scores};
use crate::common::program::{demo, json_of, obelus, obelus_fails};
use serde_json::Value;
use std::path::Path;

/// The file of decisions of the demo.
fn decisions(desk: &Desk, name: &str) -> String {
    let file = desk.at(name);
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    obelus(&["audit", &edition, &source, "--decisions", &file, "-o", &desk.at("report.txt")]);
    desk.read(name)
}

/// Cleans the demo by decisions that were changed; what the program says.
fn clean(desk: &Desk, decisions: &str, options: &[&str]) -> String {
    desk.write("mine.toml", decisions);
    obelus(&command(desk, options))
}

fn command<'a>(desk: &'a Desk, options: &[&'a str]) -> Vec<&'a str> {
    let own = |text: String| &*Box::leak(text.into_boxed_str());
    let (edition, source) = (own(demo("edition.musicxml")), own(demo("source.musicxml")));
    let (copy, mine) = (own(desk.at("clean.musicxml")), own(desk.at("mine.toml")));
    [&["clean", edition, source, "-o", copy, "--decisions", mine], options].concat()
}

/// What an audit of the copy finds.
fn found(desk: &Desk) -> Vec<Value> {
    let report = json_of(&["audit", &desk.at("clean.musicxml"), &demo("source.musicxml"), "--format", "json"]);
    report["parts"][0]["findings"].as_array().unwrap().clone()
}

/// The text with another word behind the names that have all of `parts`.
fn decide(text: &str, parts: &[&str], word: &str) -> String {
    let mut changed = 0;
    let lines = text.lines().map(|line| {
        if line.starts_with('"') && parts.iter().all(|p| line.contains(p)) {
            changed += 1;
            format!("{} = \"{word}\"", line.rsplit_once(" = ").unwrap().0)
        } else {
            line.to_string()
        }
    });
    let out = lines.collect::<Vec<_>>().join("\n") + "\n";
    assert!(changed > 0, "nothing is called {parts:?}");
    out
}

#[test]
fn every_finding_has_a_name_and_it_survives_a_second_run() {
    let desk = Desk::new();
    let (first, second) = (decisions(&desk, "a.toml"), decisions(&desk, "b.toml"));
    assert_eq!(first, second);
    let table: toml::Table = first.parse().unwrap();
    let report = json_of(&["audit", &demo("edition.musicxml"), &demo("source.musicxml"), "--format", "json"]);
    let count = |name: &str| report["parts"][0][name].as_array().unwrap().len();
    assert_eq!(table["findings"].as_table().unwrap().len(), count("findings"));
    assert_eq!(table["passages"].as_table().unwrap().len(), count("passages"));
    // As it was written, the file says what is done anyway.
    assert!(clean(&desk, &first, &[]).contains("193 findings") || found(&desk).is_empty());
    assert_eq!(found(&desk).len(), 0);
}

#[test]
fn what_is_kept_by_name_is_all_that_an_audit_of_the_copy_finds() {
    let desk = Desk::new();
    let text = decide(&decisions(&desk, "all.toml"), &["breath added"], "keep");
    let text = decide(&text, &["9:1 dynamics added f"], "bracket");
    let said = clean(&desk, &text, &[]);
    assert!(said.replace('\n', " ").contains("4 findings kept"), "{said}");
    let found = found(&desk);
    let breaths = found.iter().filter(|f| f["category"] == "breath").count();
    assert_eq!(breaths, text.matches("breath added").count());
    assert_eq!(found.len(), breaths + 1);
    assert!(found.iter().all(|f| f["status"] == "added"));
}

#[test]
fn a_passage_is_kept_with_all_that_is_in_it() {
    let desk = Desk::new();
    let text = decide(&decisions(&desk, "all.toml"), &["inserted passage"], "keep");
    clean(&desk, &text, &["--notes", &desk.at("notes.md")]);
    let report = json_of(&["audit", &desk.at("clean.musicxml"), &demo("source.musicxml"), "--format", "json"]);
    let passages = report["parts"][0]["passages"].as_array().unwrap();
    assert_eq!(passages.len(), 1);
    assert_eq!(passages[0]["kind"], "inserted-passage");
    assert!(found(&desk).iter().all(|f| f["passage"] == 0), "nothing else is left");
    let notes = desk.read("notes.md");
    assert!(notes.contains("inserted, not in the source"), "{notes}");
    assert!(notes.contains("kept as the edition has it"), "{notes}");
}

#[test]
fn faults_of_a_file_of_decisions_are_told_and_nothing_is_written() {
    let desk = Desk::new();
    let all = decisions(&desk, "all.toml");
    for (text, status, told) in [
        (decide(&all, &["octave altered"], "bracket"), 2, "only marks that the editor added can"),
        (all.replace("= \"out\"", "= \"away\""), 3, ", column 3"),
        ("[findings]\n\"P1 1:1 slur added slur\" = \"out\"\n[findings]\n".into(), 3, "line 3"),
        ("[findings]\n\"P9 1:1 nothing of the kind\" = \"keep\"\n".into(), 2, "was it written for another pair?"),
    ] {
        std::fs::write(desk.at("mine.toml"), &text).unwrap();
        let failed = obelus_fails(&command(&desk, &[]));
        assert_eq!(failed.status, status, "{}", failed.stderr);
        assert!(failed.stderr.contains(told) && failed.stderr.contains("mine.toml"), "{}", failed.stderr);
        assert!(!Path::new(&desk.at("clean.musicxml")).exists());
    }
}

#[test]
fn a_decision_that_meets_nothing_is_told() {
    let desk = Desk::new();
    let text = decisions(&desk, "all.toml") + "\"P1 99:1 breath added breath-mark\" = \"keep\"\n";
    let said = clean(&desk, &text, &[]);
    assert!(said.replace('\n', " ").contains("\"P1 99:1 breath added breath-mark\" matches no finding"), "{said}");
}

#[test]
fn critical_notes_tell_every_finding_and_what_became_of_it() {
    let desk = Desk::new();
    let text = decide(&decisions(&desk, "all.toml"), &["4:2 ornament added"], "keep");
    clean(&desk, &text, &["--notes", &desk.at("notes.csv")]);
    let notes = desk.read("notes.csv");
    let lines: Vec<&str> = notes.lines().collect();
    assert_eq!(lines[0], "part,bar,sign,source_bar,category,edition,source,remark,decision_name");
    assert!(
        notes.contains("Treble Recorder,4,2,4,ornament,trill,,addition; kept,P1 4:2 ornament added trill\n"),
        "{notes}"
    );
    assert!(notes.contains(",addition; taken out,"), "{notes}");
    assert!(notes.contains(",omission; put back,"), "{notes}");
    assert!(notes.contains("an octave lower than the source"), "{notes}");
    // Each finding has its line, and each passage.
    let report = json_of(&["audit", &demo("edition.musicxml"), &demo("source.musicxml"), "--format", "json"]);
    let count = |name: &str| report["parts"][0][name].as_array().unwrap().len();
    assert_eq!(lines.len() - 1, count("findings") + count("passages"));
    for finding in report["parts"][0]["findings"].as_array().unwrap() {
        let said = |name: &str| finding[name].as_str().unwrap_or("").to_string();
        let parts = [format!(",{},", said("bar")), format!(",{},", said("category"))];
        let readings = [said("edition_reading"), said("source_reading")];
        let tells = |line: &&str| parts.iter().chain(&readings).all(|p| line.contains(p.as_str()));
        assert!(lines.iter().any(tells), "{finding} is in no note");
    }
    clean(&desk, &text, &["--notes", &desk.at("notes.md")]);
    let notes = desk.read("notes.md");
    let displaced = notes.lines().find(|l| l.contains("| octave displacement |")).expect("the passage");
    assert!(displaced.contains("| G4 F4 D4 Eb4 ") && displaced.contains("| G5 F5 D5 Eb5 "), "{displaced}");
    let failed = obelus_fails(&command(&desk, &["--notes", &desk.at("notes.txt")]));
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains(".md or .csv"), "{}", failed.stderr);
}

/// An audit plays repeats and cuts bars where a cleaning goes bar by bar: the notes tell what an audit finds.
#[test]
fn critical_notes_tell_what_an_audit_finds_in_repeats_and_in_other_bars() {
    let desk = Desk::new();
    let (edition, source, copy, notes) =
        (desk.at("edition.musicxml"), desk.at("source.musicxml"), desk.at("copy.musicxml"), desk.at("notes.csv"));
    let noted = |music: [(&str, &str); 2], options: &[&str]| {
        for (file, (time, music)) in [&edition, &source].into_iter().zip(music) {
            let (beats, unit) = time.split_once('/').unwrap();
            let style = Style { time: (beats.parse().unwrap(), unit.parse().unwrap()), ..Style::default() };
            std::fs::write(file, scores(&[(style, music)])).unwrap();
        }
        let report = json_of(&["audit", &edition, &source, "--format", "json"]);
        obelus(&[&["clean", &edition, &source, "-o", &copy, "--notes", &notes], options].concat());
        let notes = desk.read("notes.csv");
        let findings = report["parts"][0]["findings"].as_array().unwrap();
        assert!(!findings.is_empty());
        for finding in findings {
            let said = |name: &str| finding[name].as_str().unwrap_or("").to_string();
            let bar = format!(",{},", said("bar"));
            let readings = format!(",{},{},{},", said("category"), said("edition_reading"), said("source_reading"));
            assert!(notes.lines().any(|l| l.contains(&bar) && l.contains(&readings)), "{finding}\n{notes}");
        }
        notes
    };
    let strain = "C5q D5q E5q F5q | G5q A5q B5q C6q";
    let close = "D6q C6q A5q F5q | E5q G5q D5q B4q | C5w";
    let written_out = format!("{strain} | {} | {close}", strain.replacen("E5q", "Eb5q", 1));
    let repeated = format!("{strain} :] | {close}");
    let told = noted([("4/4", &written_out), ("4/4", &repeated)], &[]);
    assert!(told.contains(",pitch,Eb5,E5,alteration; taken out with its bar,"), "{told}");
    assert!(told.contains("written out a second time (8 notes); one of the two passes taken out,"), "{told}");
    let told = noted([("4/4", &written_out), ("4/4", &repeated)], &["--no-restore", "passages"]);
    assert!(told.contains("written out a second time (8 notes); kept as the edition has it,"), "{told}");
    assert!(told.contains(",pitch,Eb5,E5,alteration; the edition's reading kept,"), "{told}");
    let told = noted([("4/4", &repeated), ("4/4", &written_out)], &[]);
    assert!(told.contains("(8 notes); one of the two passes put back"), "{told}");
    assert!(told.contains(",pitch,E5,Eb5,\"alteration; reverted with its bar, which was put back\","), "{told}");
    // Two bars of the one are a bar of the other.
    let halves = "C5q D5q | E5q F5q(tenuto) | G5q A5q | B5q C6q | D6q C6q | A5q Gb5q | E5q G5q | D5q B4q | C5h | C5h";
    let whole = "C5q D5q E5q F5q | G5q A5q B5q C6q | D6q C6q A5q F5q | E5q G5q D5q B4q | C5h C5h";
    noted([("2/4", halves), ("4/4", whole)], &[]);
}

const TUNE: [&str; 2] = ["C5q D5q E5q F5q | G5q A5q B5q C6q | ", "D6q C6q A5q F5q | E5q G5q D5q B4q | C5w"];
const BASS: [&str; 2] = ["C3h G3h | E3h A3h | ", "F3h D3h | C3h G3h | C3w"];

/// Bars of rests have no finding of their own: what is told of them must be what was done.
#[test]
fn bars_of_rests_that_went_are_told_as_gone() {
    let desk = Desk::new();
    let score = |between: &str| {
        let part = |name: &str, [one, other]: [&str; 2]| {
            (Style { name: name.into(), ..Style::default() }, format!("{one}{between}{other}"))
        };
        let parts = [part("Violin", TUNE), part("Cello", BASS)];
        scores(&parts.each_ref().map(|(style, music)| (style.clone(), music.as_str())))
    };
    let (edition, source) = (desk.at("edition.musicxml"), desk.at("source.musicxml"));
    let staccato = "<notations><articulations><staccato/></articulations></notations></note>";
    std::fs::write(&edition, score("rw | rw | ").replacen("</note>", staccato, 1)).unwrap();
    std::fs::write(&source, score("")).unwrap();
    let (copy, notes) = (desk.at("copy.musicxml"), desk.at("notes.md"));
    let clean = |options: &[&str]| {
        let said = obelus(&[&["clean", &edition, &source, "-o", &copy, "--notes", &notes], options].concat());
        (said.replace('\n', " "), desk.read("notes.md"))
    };
    let (said, told) = clean(&[]);
    assert!(said.contains("2 bars taken out"), "{said}");
    assert!(told.contains("bars 3 to 4: inserted, not in the source (rests); taken out |"), "{told}");
    let (_, told) = clean(&["--no-restore", "passages"]);
    assert!(told.contains("(rests); kept as the edition has it |"), "{told}");
    // Neither are they as in the source.
    let audit = obelus(&["audit", &edition, &source, "--part", "Violin"]);
    assert!(audit.contains("As in the source: bars 2, 5 to 7."), "{audit}");
    let page = obelus(&["audit", &edition, &source, "--part", "Violin", "--format", "html"]);
    let cell =
        |bar: usize| page.split("<li><a href=\"#p1-b").nth(bar).unwrap().split("</li>").next().unwrap().to_string();
    assert!(cell(2).contains('·') && cell(2).contains("as in the source"), "{}", cell(2));
    assert!(!cell(3).contains('·') && cell(3).contains("not in the source"), "{}", cell(3));
    // Nobody asked for the cello: that is not to say that the source has none.
    let (said, told) = clean(&["--part", "Violin"]);
    assert!(said.contains("are the source's; parts that were not cleaned are the edition's."), "{said}");
    let cello = "part Cello was not cleaned; bars that were taken out are gone there too";
    assert!(said.contains(cello) && told.contains(cello), "{said}\n{told}");
    assert!(!told.contains("no match for it"), "{told}");
    let audit = json_of(&["audit", &edition, &source, "--part", "Cello", "--format", "json"]);
    assert!(audit["not_compared"]["source"].as_array().is_some_and(Vec::is_empty), "{audit}");
    // Where the source has none, that is what is said.
    let alone = desk.at("alone.musicxml");
    let violin = (Style { name: "Violin".into(), ..Style::default() }, TUNE.concat());
    std::fs::write(&alone, scores(&[(violin.0, &violin.1)])).unwrap();
    let said = obelus(&["clean", &edition, &alone, "-o", &copy]).replace('\n', " ");
    assert!(said.contains("part Cello was not cleaned (no match in the source); bars that were taken out"), "{said}");
    // The other way: what was cut comes back.
    let said = obelus(&["clean", &source, &edition, "-o", &copy, "--part", "Cello", "--notes", &notes]);
    assert!(
        said.replace('\n', " ").contains("part Violin was not cleaned; bars that were put back are rests there"),
        "{said}"
    );
    assert!(desk.read("notes.md").contains("(rests); put back |"), "{}", desk.read("notes.md"));
}

#[test]
fn a_copy_says_where_it_comes_from_unless_nothing_changed() {
    let desk = Desk::new();
    let decisions = decisions(&desk, "all.toml");
    clean(&desk, &decisions, &[]);
    let copy = desk.read("clean.musicxml");
    let field = copy.split("<miscellaneous-field name=\"obelus\">").nth(1).expect("a field");
    let field = field.split('<').next().unwrap();
    let edition = std::fs::read(demo("edition.musicxml")).unwrap();
    let checksum = blake3::hash(&edition).to_hex().to_string();
    assert!(field.contains(&format!("edition: edition.musicxml (BLAKE3 {checksum})")), "{field}");
    assert!(field.contains("189 findings undone, 0 left as the edition has them"), "{field}");
    assert!(copy.contains("<encoding-description>Derived from edition.musicxml by obelus"), "{copy}");
    let same = desk.at("same.musicxml");
    obelus(&["clean", &demo("edition.musicxml"), &demo("edition.musicxml"), "-o", &same]);
    assert!(std::fs::read(&same).unwrap() == edition, "nothing changed, so nothing is said");
}

/// What is inside a kept passage stays, whoever keeps it, unless it is decided by itself.
#[test]
fn one_wish_means_one_thing_to_the_marks_inside_a_passage() {
    let desk = Desk::new();
    let all = decisions(&desk, "all.toml");
    let plain = |options: &[&str], text: &str| {
        clean(&desk, text, options);
        let copy = desk.read("clean.musicxml");
        copy[copy.find("<part id=").unwrap()..].to_string()
    };
    for (kind, names) in [
        ("octaves", &["octave displacement"][..]),
        ("passages", &["inserted passage", "invented ending"][..]),
        ("readings", &["written-out ornament"][..]),
    ] {
        let kept = names.iter().fold(all.clone(), |text, name| decide(&text, &[name, " to "], "keep"));
        let by_file = plain(&[], &kept);
        assert_ne!(by_file, plain(&[], &all), "{kind}");
        if kind != "readings" {
            let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
            obelus(&["clean", &edition, &source, "-o", &desk.at("option.musicxml"), "--no-restore", kind]);
            let copy = desk.read("option.musicxml");
            assert_eq!(copy[copy.find("<part id=").unwrap()..], by_file, "{kind}");
        }
        // A mark inside, decided by itself.
        let inside = |f: &&Value| !f["passage"].is_null() && f["status"] == "added" && f["category"] != "note";
        plain(&[], &kept);
        let Some(mark) = found(&desk).iter().find(inside).cloned() else { continue };
        let (bar, category) = (mark["bar"].as_str().unwrap(), mark["category"].as_str().unwrap());
        let name = format!("P1 {bar}:{} {category} added", mark["beat"].as_str().unwrap());
        let before = found(&desk).len();
        plain(&[], &decide(&kept, &[&name], "out"));
        assert!(found(&desk).len() < before, "{name} stays");
    }
    // An explicit decision wins over a category, too.
    let one = decide(&all, &["4:2 ornament added"], "out");
    plain(&["--keep", "ornament"], &one);
    assert!(found(&desk).is_empty(), "{:?}", found(&desk));
}

/// Two lines of one part have its name in common, and a word may look like a count.
#[test]
fn every_finding_has_a_name_of_its_own() {
    let desk = Desk::new();
    let (tune, bass) = ("G5q A5q B5q C6q | D6q C6q B5q A5q | G5w", "C4q D4q G3q A3q | B3q G3q D4q E4q | C4w");
    let tune_of = tune.replacen("G5q", "\"dolce\" \"dolce\" \"counted\" G5q(staccato)", 1);
    let bars = tune_of.split(" | ").zip(bass.split(" | "));
    let lower = |bar: &str| bar.split(' ').map(|note| format!("2:{note}")).collect::<Vec<_>>().join(" ");
    let both: Vec<String> = bars.map(|(upper, bar)| format!("{upper} & {}", lower(bar))).collect();
    let both = both.join(" | ").replacen("2:C4q", "2:C4q(staccato)", 1);
    let edition = scores(&[(Style::default(), &both)]).replace("counted", "dolce (2)");
    std::fs::write(desk.at("edition.musicxml"), edition).unwrap();
    let source = scores(&[(Style::default(), tune), (Style::default(), bass)]);
    std::fs::write(desk.at("source.musicxml"), source).unwrap();
    let (edition, source) = (desk.at("edition.musicxml"), desk.at("source.musicxml"));
    let (file, copy) = (desk.at("all.toml"), desk.at("copy.musicxml"));
    obelus(&["audit", &edition, &source, "--decisions", &file, "-o", &desk.at("report.txt")]);
    let names: Vec<String> = desk.read("all.toml").lines().filter(|l| l.starts_with('"')).map(str::to_string).collect();
    assert_eq!(names.iter().filter(|n| n.contains("dolce")).count(), 3, "{names:?}");
    assert_eq!(names.iter().filter(|n| n.contains("staccato")).count(), 2, "{names:?}");
    obelus(&["clean", &edition, &source, "-o", &copy, "--decisions", &file]);
}
