//! `obelus rank`: the order, the reasons, the forms; sources looked for in a
//! folder; files that cannot be read among good ones.

use crate::common::music::{Style, score};
use crate::common::program::{demo, json_of, obelus, obelus_fails};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const TUNE: &str = "C5q D5q E5q F5q | G5q A5e G5e F5q E5q | D5q E5q F5q D5q | E5h C5h \
                    | G5q E5q C5q E5q | F5q A5q G5q F5q | E5q G5q F5q D5q | C5w";
const OTHER: &str = "A4q C5e B4e A4q E5q | D5q F5e E5e D5q B4q | G#4q B4q E5q D5q | C5h A4h \
                     | E5e D5e C5e B4e A4q C5q | B4q D5e C5e B4q G#4q | A4q E4q A4q G#4q | A4w";

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Folder {
        Folder(tempfile::tempdir().unwrap())
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        self.at(name).to_str().unwrap().into()
    }

    fn put(&self, name: &str, content: impl AsRef<[u8]>) {
        fs::create_dir_all(self.at(name).parent().unwrap()).unwrap();
        fs::write(self.at(name), content).unwrap();
    }

    fn tune(&self, name: &str, music: &str) {
        self.put(name, score(&Style::default(), music));
    }

    /// The tune as the source, and editions of it in the folder `editions`.
    fn with_editions() -> Folder {
        let out = Folder::new();
        out.tune("source.musicxml", TUNE);
        out.tune("editions/e.musicxml", TUNE);
        out.tune("editions/d.musicxml", &TUNE.replacen("C5q", "C5q(staccato)", 1));
        out.tune("editions/c.musicxml", &TUNE.replace("F5q ", "F5q(accent) "));
        // Bars 5 to 7 an octave lower.
        let (head, tail) = TUNE.split_once("| G5q E5q").unwrap();
        out.tune(
            "editions/b.musicxml",
            &format!("{head}| G5q E5q{tail}").replacen(
                "| G5q E5q C5q E5q | F5q A5q G5q F5q | E5q G5q F5q D5q",
                "| G4q E4q C4q E4q | F4q A4q G4q F4q | E4q G4q F4q D4q",
                1,
            ),
        );
        out.tune(
            "editions/sub/a.musicxml",
            &TUNE.replace("E5q E5q | D5q", "E5q C5q | B4q").replace("E5h C5h", "G5h E5h"),
        );
        let up = "D5q E5q F#5q G5q | A5q B5e A5e G5q F#5q | E5q F#5q G5q E5q | F#5h D5h \
                  | A5q F#5q D5q F#5q | G5q B5q A5q G5q | F#5q A5q G5q E5q | D5w";
        out.put("editions/key.xml", score(&Style { fifths: 2, ..Style::default() }, up));
        out
    }

    fn ranked(&self, more: &[&str]) -> Value {
        let (source, editions) = (self.text("source.musicxml"), self.text("editions"));
        json_of(&[&["rank", source.as_str(), editions.as_str(), "--format", "json"], more].concat())
    }
}

fn names(ranking: &Value) -> Vec<String> {
    let file = |e: &Value| Path::new(e["file"].as_str().unwrap()).file_stem().unwrap().to_str().unwrap().to_string();
    ranking["editions"].as_array().unwrap().iter().map(file).collect()
}

#[test]
fn the_most_faithful_comes_first() {
    let folder = Folder::with_editions();
    let ranking = folder.ranked(&["--instrument", "alto recorder"]);
    assert_eq!(names(&ranking), ["e", "d", "c", "b", "a", "key"]);
    let editions = ranking["editions"].as_array().unwrap();
    let ranks: Vec<_> = editions.iter().map(|e| e["rank"].as_u64().unwrap()).collect();
    assert_eq!(ranks, [1, 2, 3, 4, 5, 6]);
    assert_eq!(editions[0]["notes"]["alike_in_100"], 100.0);
    assert_eq!(editions[0]["bars"]["without_finding"], 8);
    assert_eq!(editions[1]["marks"]["added"], 1);
    assert_eq!(editions[3]["notes"]["in_another_octave"], 12);
    assert_eq!(editions[3]["passages"]["octave-displacement"], 1);
    assert_eq!(editions[3]["notes"]["changed"], 0);
    // The alto recorder's lowest note is F4: E4, C4, E4; E4, D4.
    assert_eq!(editions[3]["outside"], 5);
    assert_eq!(editions[5]["key"]["name"], "up a major second");
    let reasons: Vec<_> = editions.iter().filter_map(|e| e["reason"].as_str()).collect();
    assert_eq!(reasons.len(), 2);
    assert!(reasons[0].contains("has least of an editor in it: no note is changed and no mark is the editor's"));
    assert!(reasons[0].contains("by its editor's marks (0 against 1)"), "{}", reasons[0]);
    assert!(reasons[1].contains("has most of an editor in it") && reasons[1].contains("by its key"), "{}", reasons[1]);
}

#[test]
fn another_key_may_count_for_nothing() {
    let ranking = Folder::with_editions().ranked(&["--any-key"]);
    let editions = ranking["editions"].as_array().unwrap();
    assert_eq!(names(&ranking)[..3], ["e", "key", "d"]);
    assert_eq!((&editions[0]["rank"], &editions[1]["rank"]), (&1.into(), &1.into()));
}

#[test]
fn people_read_reasons_and_a_table() {
    let folder = Folder::with_editions();
    folder.put("editions/broken.xml", "no score");
    folder.tune("editions/other.musicxml", OTHER);
    // Where lines end must not depend on where the folder is.
    let here = |more: &[&str]| {
        let args = [&["rank", "source.musicxml", "editions"], more].concat();
        let mut command = Command::new(env!("CARGO_BIN_EXE_obelus"));
        let output = command.args(args).current_dir(folder.0.path()).env_remove("COLUMNS").output().unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    insta::assert_snapshot!("rank_text", here(&[]));
    insta::assert_snapshot!("rank_csv", here(&["--format", "csv"]));
}

#[test]
fn the_page_has_a_strip_for_each_edition_and_links_to_its_audit() {
    let folder = Folder::with_editions();
    folder.tune("editions/sub/e.musicxml", &TUNE.replacen("D5q", "D5q(trill)", 1));
    let (page, audits) = (folder.text("ranking.html"), folder.text("the audits"));
    let (source, editions) = (folder.text("source.musicxml"), folder.text("editions"));
    obelus(&["rank", &source, &editions, "--format", "html", "-o", &page, "--audits", &audits]);
    let text = fs::read_to_string(&page).unwrap();
    assert_eq!(text.matches("role=\"img\"").count(), 7);
    assert!(text.contains(
        "aria-label=\"8 bars: 5 as in the source, 0 with the editor's marks, 0 with other notes, 3 in passages\""
    ));
    // Two editions of one name have pages of their own.
    let written: BTreeSet<String> =
        fs::read_dir(&audits).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    let wanted = ["a", "b", "c", "d", "e", "e-2", "key"].map(|name| format!("{name}.html"));
    assert_eq!(written, BTreeSet::from(wanted));
    for name in &written {
        assert!(text.contains(&format!("href=\"the%20audits/{name}\"")), "{name}");
        assert!(fs::read_to_string(folder.at("the audits").join(name)).unwrap().contains("What the editor did"));
    }
    assert!(!text.contains("<script"));
}

#[test]
fn lines_come_in_order_and_shards_are_all_of_them() {
    let folder = Folder::with_editions();
    folder.put("editions/broken.xml", "");
    let (source, editions) = (folder.text("source.musicxml"), folder.text("editions"));
    let all = obelus(&["rank", &source, &editions, "--lines"]);
    let of = |line: &str| serde_json::from_str::<Value>(line).unwrap()["file"].as_str().unwrap().to_string();
    let files: Vec<String> = all.lines().map(of).collect();
    assert_eq!(files.len(), 7);
    assert!(files.is_sorted(), "{files:?}");
    let mut shards = Vec::new();
    for shard in ["1/3", "2/3", "3/3"] {
        let file = folder.text("shard.jsonl");
        obelus(&["rank", &source, &editions, "--lines", "--shard", shard, "-o", &file]);
        shards.extend(fs::read_to_string(file).unwrap().lines().map(str::to_string).collect::<Vec<_>>());
    }
    let sorted = |lines: &mut Vec<String>| lines.sort();
    let mut lines: Vec<String> = all.lines().map(str::to_string).collect();
    sorted(&mut lines);
    sorted(&mut shards);
    assert_eq!(lines, shards);
}

#[test]
fn each_edition_finds_its_source() {
    let folder = Folder::with_editions();
    folder.tune("sources/tune.musicxml", TUNE);
    folder.tune("sources/more/other.musicxml", OTHER);
    folder.put("sources/broken.xml", "no score");
    folder.tune("editions/other.musicxml", &OTHER.replacen("A4q", "A4q(fermata)", 1));
    folder.tune("editions/strange.musicxml", "F5q Bb4q D5q Bb4q | Eb5q G4q Eb5q C5q | F5q F4q A4q C5q | Bb4w");
    let sources = folder.text("sources");
    let ranking = json_of(&["rank", "--sources", &sources, &folder.text("editions"), "--format", "json"]);
    for edition in ranking["editions"].as_array().unwrap() {
        let file = edition["file"].as_str().unwrap();
        let wanted = match () {
            () if file.ends_with("strange.musicxml") => None,
            () if file.ends_with("other.musicxml") => Some("other.musicxml"),
            () => Some("tune.musicxml"),
        };
        let found = edition["source"].as_str().map(|s| Path::new(s).file_name().unwrap().to_str().unwrap());
        assert_eq!(found, wanted, "{file}");
        assert_eq!(edition["sure"].as_bool(), wanted.map(|_| true), "{file}");
        if wanted.is_none() {
            assert!(edition["fault"].as_str().unwrap().contains("no score in"), "{edition}");
        }
    }
    assert!(ranking["warnings"][0].as_str().unwrap().contains("broken.xml"));
    // A second copy of a source is as like: it is named, and nothing is sure.
    folder.tune("sources/again.musicxml", TUNE);
    let edition = folder.text("editions/d.musicxml");
    let ranking = json_of(&["rank", "--sources", &sources, &edition, "--format", "json"]);
    let edition = &ranking["editions"][0];
    assert_eq!(edition["sure"], false);
    assert_eq!(edition["candidates"].as_array().unwrap().len(), 2);
}

#[test]
fn a_file_that_cannot_be_read_does_not_stop_the_others() {
    let folder = Folder::with_editions();
    let deep = format!("<score-partwise>{}{}</score-partwise>", "<a>".repeat(10_000), "</a>".repeat(10_000));
    folder.put("editions/deep.xml", deep);
    folder.put("editions/zip.mxl", b"PK\x03\x04 and no more");
    folder.put("editions/empty.musicxml", "");
    let bomb = "<!DOCTYPE a [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">]><score-partwise>&b;</score-partwise>";
    folder.put("editions/entities.xml", bomb);
    // Larger than any that is read (docs/reading.md).
    folder.put("editions/huge.xml", " ".repeat(64 << 20) + TUNE);
    let ranking = folder.ranked(&[]);
    let editions = ranking["editions"].as_array().unwrap();
    assert_eq!(editions.iter().filter(|e| e["rank"].is_u64()).count(), 6);
    for edition in editions.iter().filter(|e| e["rank"].is_null()) {
        let fault = edition["fault"].as_str().unwrap();
        assert!(fault.contains(edition["file"].as_str().unwrap()), "{edition}");
        assert_eq!(edition["readable"], false);
    }
    assert_eq!(editions.len(), 11);
    // Only where nothing can be read it is a failure.
    let failed = obelus_fails(&["rank", &folder.text("source.musicxml"), &folder.text("editions/deep.xml")]);
    assert_eq!(failed.status, 3);
    let failed = obelus_fails(&["rank", &folder.text("editions/deep.xml"), &folder.text("editions/d.musicxml")]);
    assert_eq!(failed.status, 3, "the source");
}

#[test]
fn wrong_use_is_told() {
    let folder = Folder::with_editions();
    let (source, editions) = (folder.text("source.musicxml"), folder.text("editions"));
    let edition = folder.text("editions/d.musicxml");
    folder.put("empty/notes.txt", "no score");
    let (empty, text) = (folder.text("empty"), folder.text("edition.txt"));
    folder.tune("edition.txt", TUNE);
    for (args, said) in [
        (&[source.as_str()][..], "name the source, then the editions"),
        (&[&editions, &edition], "named with --sources"),
        (&[&source, &empty], "no score in this folder"),
        (&[&source, &source], "no edition besides the source"),
        (&["--sources", &source, &edition], "no such folder"),
        (&["-", "-"], "only one file can be read from standard input"),
        (&[&source, &text, "-o", &text], "overwrite an input"),
        (&[&source, &edition, "--shard", "3/2"], "I/N"),
        (&[&source, &edition, "--instrument", "kazoo"], "kazoo"),
        (&[&source, &edition, "--format", "csv", "-o", "a.html"], ".html"),
    ] {
        let failed = obelus_fails(&[&["rank"], args].concat());
        assert_eq!(failed.status, 2, "{args:?}: {}", failed.stderr);
        assert!(failed.stderr.contains(said), "{args:?}: {}", failed.stderr);
    }
    // A part that one edition lacks is that edition's fault alone.
    let ranking = folder.ranked(&["--part", "Viola"]);
    assert!(ranking["editions"].as_array().unwrap().iter().all(|e| e["fault"].as_str().unwrap().contains("Viola")));
}

#[test]
fn the_demo_is_ranked_behind_its_clean_copy() {
    let folder = Folder::new();
    let copy = folder.text("clean.musicxml");
    obelus(&["clean", &demo("edition.musicxml"), &demo("source.musicxml"), "-o", &copy]);
    let ranking = json_of(&["rank", &demo("source.musicxml"), &demo("edition.musicxml"), &copy, "--format", "json"]);
    assert_eq!(names(&ranking), ["clean", "edition"]);
    assert_eq!(ranking["editions"][0]["missing"]["parts"][0], "Basso");
}

/// Ctrl-C in the midst of it: what is written is whole, and nothing else is there.
#[test]
#[cfg(unix)]
fn an_interrupt_leaves_whole_files() {
    use std::process::Stdio;
    const KILLS: usize = 20;
    let folder = Folder::with_editions();
    for number in 0..40 {
        folder.tune(&format!("editions/{number:02}.musicxml"), &TUNE.replacen("D5q", "D5q(trill)", number % 5));
    }
    let command = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_obelus"));
        command.args(["rank", "source.musicxml", "editions", "--format", "json", "-o", "ranking.json"]);
        command.args(["--audits", "audits"]).current_dir(folder.0.path()).stdout(Stdio::null()).stderr(Stdio::null());
        command
    };
    assert!(command().status().unwrap().success());
    let pages = |dir: &Path| -> BTreeSet<PathBuf> { fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect() };
    let (all, ranking) = (pages(&folder.at("audits")), fs::read(folder.at("ranking.json")).unwrap());
    let mut stopped = 0;
    for round in 0..KILLS {
        fs::remove_dir_all(folder.at("audits")).unwrap();
        fs::remove_file(folder.at("ranking.json")).unwrap();
        let mut child = command().spawn().unwrap();
        // So many pages, and it is stopped.
        let wanted = all.len() * round / KILLS;
        while fs::read_dir(folder.at("audits")).map_or(0, Iterator::count) < wanted
            && child.try_wait().unwrap().is_none()
        {
            std::thread::yield_now();
        }
        Command::new("kill").args(["-INT", &child.id().to_string()]).stderr(Stdio::null()).status().unwrap();
        stopped += usize::from(!child.wait().unwrap().success());
        assert!(fs::read(folder.at("ranking.json")).map_or(true, |found| found == ranking), "a part of a ranking");
        let audits = folder.at("audits");
        let found = if audits.exists() { pages(&audits) } else { BTreeSet::new() };
        assert!(found.is_subset(&all), "{found:?}");
        for page in found {
            assert!(fs::read_to_string(&page).unwrap().trim_end().ends_with("</html>"), "{}", page.display());
        }
        fs::create_dir_all(&audits).unwrap();
        fs::write(folder.at("ranking.json"), "").unwrap();
    }
    assert!(stopped >= KILLS / 2, "{stopped} of {KILLS} were stopped before they ended");
}
