//! Engraved staves and pages: what the engraver may do wrong, and what it must get right.
#![cfg(feature = "engrave")]

use crate::common::program::{demo, json_of, obelus, obelus_fails};
use crate::common::staves::{on_staves, quarters};
use crate::python;
#[cfg(unix)]
use crate::terminal::on_terminal;
use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// What stands in the tags of a page's staves: classes and rows, without the excerpts.
fn marks(page: &str) -> Vec<(Vec<&str>, Vec<usize>)> {
    let score = page.split("<h3 id=\"p1-score\">").nth(1).expect("the page has a score");
    let score = score.split("<h3").next().unwrap();
    let groups = score.split("<g class=\"").skip(1);
    // What goes on in the next piece of a system is there again, for narrow screens.
    let mut is_again = false;
    let groups = groups.filter(|group| {
        let is_within = is_again;
        is_again = (is_within || group.starts_with("again\"")) && !group.contains('<');
        !is_within && !group.starts_with("again\"")
    });
    groups
        .map(|group| {
            let classes = group.split('"').next().unwrap().split(' ').collect();
            let tag = group.split('>').next().unwrap();
            let rows = tag.split("data-rows=\"").nth(1).map_or("", |r| r.split('"').next().unwrap());
            (classes, rows.split(' ').filter(|r| !r.is_empty()).map(|r| r.parse().unwrap()).collect())
        })
        .collect()
}

#[test]
fn every_finding_of_the_demo_is_drawn_and_what_is_plain_is_the_sources() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let page = obelus(&["audit", &edition, &source, "--format", "html"]);
    let report = json_of(&["audit", &edition, &source, "--format", "json"]);
    let findings = report["parts"][0]["findings"].as_array().unwrap();
    let marks = marks(&page);
    let is = |classes: &[&str], class: &str| classes.contains(&class);
    let mut flags = Vec::new();
    for (row, finding) in findings.iter().enumerate() {
        let status = finding["status"].as_str().unwrap();
        let own: Vec<_> = marks.iter().filter(|m| m.1.contains(&row)).collect();
        assert!(!own.is_empty(), "{finding}");
        // A mark with several findings has the look of one of them.
        assert!(own.iter().any(|m| is(&m.0, status) || m.1.len() > 1), "{finding}");
        if own.iter().all(|m| is(&m.0, "flag")) {
            flags.push(finding["category"].as_str().unwrap());
        }
    }
    // The metronome mark is drawn with the words before it.
    assert_eq!(flags, ["tempo"]);
    // What has no colour is in both: of each kind twice as many as marks that both sides have alike.
    let plain = |class: &str| {
        let own = marks.iter().filter(|m| is(&m.0, class));
        own.filter(|m| !["added", "omitted", "altered"].iter().any(|s| is(&m.0, s))).count()
    };
    let colored = |class: &str, status: &str| marks.iter().filter(|m| is(&m.0, class) && is(&m.0, status)).count();
    let text = |file: &str| fs::read_to_string(file).unwrap();
    let (ours, theirs) = (text(&edition), text(&source));
    let theirs = theirs.split("<part id=\"P2\"").next().unwrap();
    for (class, element) in [
        ("slur", "<slur "),
        ("hairpin", "<wedge "),
        ("trill", "<trill-mark"),
        ("turn", "<turn"),
        ("mordent", "mordent"),
        ("breath", "<breath-mark"),
        ("fing", "<fingering"),
        ("reh", "<rehearsal"),
    ] {
        let starts = |text: &str| {
            let all = text.split(element).skip(1).map(|rest| rest.split('>').next().unwrap());
            all.filter(|tag| !["stop", "continue"].iter().any(|t| tag.contains(&format!("type=\"{t}\"")))).count()
        };
        let count = |status: &str| {
            let category = match class {
                "trill" | "turn" | "mordent" => "ornament",
                "fing" => "fingering",
                "reh" => "rehearsal",
                other => other,
            };
            let own = findings.iter().filter(|f| f["category"] == category && f["status"] == status);
            let is_one = |f: &&serde_json::Value| {
                let reading = f["edition_reading"].as_str().or(f["source_reading"].as_str()).unwrap_or_default();
                category != "ornament" || reading.contains(class)
            };
            own.filter(is_one).count()
        };
        let [added, omitted, altered] = ["added", "omitted", "altered"].map(count);
        // One that goes on in the next system is drawn in both.
        let rows = |status: &str| {
            let own = marks.iter().filter(|m| is(&m.0, class) && is(&m.0, status));
            own.map(|m| &m.1).collect::<std::collections::BTreeSet<_>>().len()
        };
        assert_eq!(rows("added"), added, "{class}");
        assert_eq!(rows("omitted"), omitted, "{class}");
        assert_eq!(colored(class, "altered"), 2 * altered, "{class}");
        let [ours, theirs] = [starts(&ours), starts(theirs)];
        assert_eq!(plain(class), ours + theirs - added - omitted - 2 * altered, "{class}");
    }
    assert!(colored("note", "added") > 40 && colored("note", "omitted") > 4 && colored("note", "altered") > 20);
}

/// The marks of a page of two scores of quarters, and of the page its text.
fn drawn(edition: &[(&str, &str)], source: &[(&str, &str)]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let [ours, theirs] = ["edition.xml", "source.xml"].map(|name| folder.path().join(name).display().to_string());
    fs::write(&ours, quarters(edition)).unwrap();
    fs::write(&theirs, quarters(source)).unwrap();
    obelus(&["audit", &ours, &theirs, "--format", "html"])
}

fn count_of(page: &str, classes: &[&str]) -> usize {
    marks(page).iter().filter(|mark| classes.iter().all(|class| mark.0.contains(class))).count()
}

#[test]
fn signatures_of_one_side_stand_on_its_staff() {
    let key = "<attributes><key><fifths>2</fifths></key></attributes>";
    let bars = [("CDEF", ""), ("GABG", ""), ("DEAD", ""), ("AEGD", "")];
    let changed = [("CDEF", ""), ("GABG", key), ("DEAD", ""), ("AEGD", "")];
    let signs = |edition, source| count_of(&drawn(edition, source), &["keySig"]);
    let plain = signs(&bars, &bars);
    assert_eq!(signs(&changed, &bars), plain + 1);
    assert_eq!(signs(&bars, &changed), plain + 1);
    assert_eq!(signs(&changed, &changed), plain + 2);
}

/// The engraver would look for the place of the source's clef by the metre and the divisions of the edition's last bar.
#[test]
fn a_clef_that_comes_with_a_bar_stands_before_its_barline() {
    let clef = "<attributes><clef><sign>F</sign></clef></attributes>";
    let short = "<attributes><time><beats>2</beats><beat-type>4</beat-type></time></attributes>";
    let bars = [("CDEF", ""), ("GABG", clef), ("DEAD", short), ("AE", ""), ("CD", "")];
    let folder = tempfile::tempdir().unwrap();
    let [ours, theirs] = ["edition.xml", "source.xml"].map(|name| folder.path().join(name).display().to_string());
    fs::write(&ours, quarters(&bars)).unwrap();
    let finer = quarters(&bars).replace("<divisions>1<", "<divisions>8<").replace("<duration>1<", "<duration>8<");
    fs::write(&theirs, finer).unwrap();
    let page = obelus(&["audit", &ours, &theirs, "--format", "html"]);
    let marks = marks(&page);
    let of = |classes: &Vec<&str>| ["clef", "note"].into_iter().find(|one| classes[0] == *one).map(|one| &one[..1]);
    let order: String = marks.iter().filter_map(|(classes, _)| of(classes)).collect();
    // Bar by bar, the source's notes and the edition's.
    assert_eq!(order, ["nnnnnnnn", "nnnncnnnnc", "nnnnnnnn", "nnnn", "nnnn"].concat());
}

/// A part without a name is called by its id.
#[test]
fn a_part_without_staves_says_which() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    fs::write(at("edition.xml"), on_staves(1).replace("<part-name>Keys<", "<part-name><")).unwrap();
    fs::write(at("source.xml"), on_staves(2)).unwrap();
    let page = obelus(&["audit", &at("edition.xml"), &at("source.xml"), "--format", "html"]);
    assert!(page.contains("Not drawn: P1 has no staves"), "{page}");
}

#[test]
fn repeats_of_the_edition_are_drawn_and_bars_lie_by_time() {
    let repeat = "<barline><bar-style>light-heavy</bar-style><repeat direction=\"backward\"/></barline>";
    let ending = |kind: &str, location: &str| {
        format!("<barline location=\"{location}\"><ending number=\"1\" type=\"{kind}\"/></barline>")
    };
    let source = [("CDEF", ""), ("GABG", ""), ("DECD", ""), ("AFGC", "")];
    let (starts, stops) = (ending("start", "left"), ending("stop", "right"));
    let page = drawn(&[("CDEF", ""), ("GAB", repeat), ("G", ""), ("DECD", &starts), ("AFGC", &stops)], &source);
    assert_eq!(count_of(&page, &["barLine", "added"]), 1);
    assert_eq!((count_of(&page, &["bracketSpan", "added"]), count_of(&page, &["flag"])), (1, 0));
    // Each side has sixteen notes; those of the bar that was cut stand in the bar beside theirs.
    assert_eq!(count_of(&page, &["note"]), 32);
    let other = drawn(&source, &[("CDEF", ""), ("GAB", repeat), ("G", ""), ("DECD", ""), ("AFGC", "")]);
    assert_eq!((count_of(&other, &["barLine", "omitted"]), count_of(&other, &["flag"])), (1, 0));
}

#[test]
fn pages_and_sheets_are_the_same_twice() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let page = || obelus(&["audit", &edition, &source, "--format", "html"]);
    assert_eq!(page(), page());
}

/// A program in the engraver's place.
#[cfg(unix)]
fn stand_in(folder: &Path, does: &str) -> PathBuf {
    use std::os::unix::fs::PermissionsExt;
    let file = folder.join("engraver");
    fs::write(&file, format!("#!/bin/sh\n{does}\n")).unwrap();
    fs::set_permissions(&file, fs::Permissions::from_mode(0o755)).unwrap();
    file
}

#[cfg(unix)]
fn with_engraver(program: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_obelus"))
        .args(args)
        .env("OBELUS_ENGRAVER", program)
        .env("OBELUS_ENGRAVE_SECONDS", "1")
        .output()
        .unwrap()
}

#[test]
#[cfg(unix)]
fn an_engraver_that_fails_takes_only_the_staves() {
    let folder = tempfile::tempdir().unwrap();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let (page, copy, pdf) =
        (folder.path().join("p.html"), folder.path().join("c.musicxml"), folder.path().join("c.pdf"));
    for (does, told) in [
        ("kill -SEGV $$", "crashed on this music (signal 11)"),
        ("exit 7", "crashed on this music (exit status 7)"),
        ("exec tail -f /dev/null", "was stopped after 1 seconds; set OBELUS_ENGRAVE_SECONDS to allow more"),
        ("echo 'no music'", "answer cannot be read"),
        ("echo '{\"pictures\": []}'", "answer cannot be read"),
        ("cat >&2; echo '{\"pictures\": [[\"<svg\"]]}'", "answer cannot be read"),
        // Too much is said, or for too long.
        ("exec yes", "the engraver"),
    ] {
        let program = stand_in(folder.path(), does);
        let name = page.display().to_string();
        let done = with_engraver(&program, &["audit", &edition, &source, "--format", "html", "-o", &name]);
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(done.status.success(), "{does}: {said}");
        // What passes for a drawing is found out when it is put into the page.
        assert!(said.contains(told), "{does}: {said}");
        let text = fs::read_to_string(&page).unwrap();
        assert!(text.contains("Not drawn: ") && text.contains(told), "{does}");
        assert!(!text.contains("class=\"staves") && text.contains("Critical notes"), "{does}");
        fs::remove_file(&page).unwrap();
        if does.contains("<svg") {
            continue;
        }
        let (to, pages) = (copy.display().to_string(), pdf.display().to_string());
        let done = with_engraver(&program, &["clean", &edition, &source, "-o", &to, "--pdf", &pages]);
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!(done.status.code(), Some(2), "{does}: {said}");
        assert!(said.contains(told) && said.contains("everything else is"), "{does}: {said}");
        assert!(copy.is_file() && !pdf.exists(), "{does}");
        fs::remove_file(&copy).unwrap();
    }
    let missing = folder.path().join("none");
    let done = with_engraver(&missing, &["audit", &edition, &source, "--format", "html"]);
    assert!(done.status.success());
    assert!(String::from_utf8_lossy(&done.stderr).contains("could not be started"));
}

/// The engraver goes on until the bar is there; if none comes, until its time is over.
#[test]
#[cfg(unix)]
fn long_work_shows_a_bar_on_a_terminal_and_nowhere_else() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (edition, source, page, gate) = (demo("edition.musicxml"), demo("source.musicxml"), at("p.html"), at("gate"));
    let args = ["audit", &edition, &source, "--format", "html", "-o", &page];
    assert!(Command::new("mkfifo").arg(&gate).status().unwrap().success());
    let mut opener = fs::OpenOptions::new().read(true).write(true).open(&gate).unwrap();
    let waits = stand_in(folder.path(), &format!("read opened <'{gate}'"));
    let mut command = on_terminal(&args);
    command.env("OBELUS_ENGRAVER", &waits).env("OBELUS_ENGRAVE_SECONDS", "60");
    let mut seeing = command.stdout(Stdio::piped()).spawn().unwrap();
    let mut screen = seeing.stdout.take().unwrap();
    let (mut seen, mut piece) = (String::new(), [0; 4096]);
    let shows = |seen: &str| seen.contains("drawing the staves") && seen.contains("3 of 4");
    loop {
        let read = screen.read(&mut piece).unwrap();
        let before = shows(&seen);
        seen += &String::from_utf8_lossy(&piece[..read]);
        if read == 0 {
            break;
        }
        if shows(&seen) && !before {
            // Now the engraver ends, without a drawing, however often it is called.
            opener.write_all(&b"open\n".repeat(9)).unwrap();
        }
    }
    assert!(seeing.wait().unwrap().success());
    assert!(shows(&seen), "{seen}");
    // Where nobody looks on, no bar comes in all the time that the engraver has, which is more than a bar waits.
    let ends_never = stand_in(folder.path(), "exec tail -f /dev/null");
    let mut command = Command::new(env!("CARGO_BIN_EXE_obelus"));
    command.args(args).env("OBELUS_ENGRAVER", &ends_never).env("OBELUS_ENGRAVE_SECONDS", "2").env("TERM", "xterm");
    let piped = command.output().unwrap();
    let said = String::from_utf8_lossy(&[piped.stdout, piped.stderr].concat()).into_owned();
    assert_eq!(said.lines().count(), 1, "{said}");
    assert!(said.contains("was stopped after 2 seconds"), "{said}");
}

#[test]
fn the_demos_part_is_a_pdf_with_its_fonts_and_words() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    let (edition, source, marks) = (demo("edition.musicxml"), demo("source.musicxml"), demo("marks.toml"));
    let (copy, pdf) = (file("c.musicxml"), file("c.pdf"));
    for (paper, additions, size) in
        [("a4", "strip", "595.27 841.88"), ("letter", "bracket", "612.0 792.0"), ("a4", "color", "595.27 841.88")]
    {
        let args = ["clean", &edition, &source, "-o", &copy, "--mine", &marks, "--pdf", &pdf];
        obelus(&[&args[..], &["--paper", paper, "--additions", additions]].concat());
        let said = python::run("pages.py", &[pdf.as_ref()]);
        let mut lines = said.lines();
        assert_eq!(lines.next(), Some(size), "{paper}");
        let text = lines.collect::<Vec<_>>().join(" ");
        // The sheet's title, then the source's headings.
        for word in
            ["Andante, for the Thursday lesson", "Tobias Wendelin Harrasch", "Treble Recorder", "Source: Sonata III"]
        {
            assert!(text.contains(word), "{word}: {text}");
        }
        assert!(!text.contains("Celebrated") && !text.contains("Larkhill"), "{text}");
        // Bar numbers at the beginning of lines, and a mark of the teacher's own.
        assert!(text.contains("cantabile") && text.contains("0 13 46"), "{text}");
        assert_eq!(text.contains("[dolce]"), additions != "strip", "{text}");
        assert_eq!(text.contains("added by the editor"), additions != "strip", "{text}");
    }
}

/// The words of a PDF, without the line that says its size.
fn words_of(pdf: &str) -> String {
    python::run("pages.py", &[pdf.as_ref()]).lines().skip(1).collect::<Vec<_>>().join(" ")
}

#[test]
fn headings_are_the_sources_or_the_users() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let (copy, pdf) = (file("c.musicxml"), file("c.pdf"));
    let clean = |more: &[&str]| {
        obelus(&[&["clean", &edition, &source, "-o", &copy, "--pdf", &pdf][..], more].concat());
        words_of(&pdf)
    };
    let text = clean(&[]);
    for word in ["Andante", "Sonata III for Oboe and Basso", "Tobias Wendelin Harrasch"] {
        assert!(text.contains(word), "{word}: {text}");
    }
    let text = clean(&["--title", "Slow Air", "--subtitle", "", "--composer", "Anonymous"]);
    assert!(text.contains("Slow Air") && text.contains("Anonymous"), "{text}");
    assert!(!text.contains("Wendelin") && text.matches("Sonata III").count() == 1, "{text}");
}

#[test]
fn any_part_is_printed_without_a_source() {
    let folder = tempfile::tempdir().unwrap();
    let pdf = folder.path().join("p.pdf").display().to_string();
    let source = demo("source.musicxml");
    obelus(&["print", &source, "--part", "Basso", "--pdf", &pdf]);
    let text = words_of(&pdf);
    assert!(text.contains("Basso") && text.contains("Andante") && !text.contains("Source:"), "{text}");
    obelus(&["print", &source, "--part", "1", "--staff", "1", "--pdf", &pdf, "--title", "Tune"]);
    assert!(words_of(&pdf).contains("Tune"));
    // On few large staves or on many small ones.
    let pages = |height: &str| {
        obelus(&["print", &source, "--part", "Basso", "--pdf", &pdf, "--staff-size", height]);
        let text = words_of(&pdf);
        (2..9).find(|pages| text.contains(&format!("1 of {pages}"))).unwrap_or(1)
    };
    assert!(pages("12") > pages("4"));
    let failed = obelus_fails(&["print", &source, "--pdf", &pdf, "--staff-size", "40"]);
    assert!(failed.status == 2 && failed.stderr.contains("3 to 12 millimetres"), "{}", failed.stderr);
    let failed = obelus_fails(&["print", &source, "--part", "Viola", "--pdf", &pdf]);
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains("Viola"), "{}", failed.stderr);
}

/// The processes that another one has started.
#[cfg(target_os = "linux")]
fn children(of: u32) -> Vec<u32> {
    let is_child = |stat: &str| {
        // After the name, in brackets, come its state and who started it.
        let mut rest = stat.rsplit(')').next().unwrap_or("").split_whitespace();
        rest.next() != Some("Z") && rest.next().and_then(|parent| parent.parse().ok()) == Some(of)
    };
    let all = fs::read_dir("/proc").unwrap().filter_map(|e| e.ok()?.file_name().to_str()?.parse::<u32>().ok());
    all.filter(|pid| fs::read_to_string(format!("/proc/{pid}/stat")).is_ok_and(|stat| is_child(&stat))).collect()
}

/// Whoever ends the program ends its engraver: none lives on with nobody to draw for.
#[test]
#[cfg(target_os = "linux")]
fn the_engraver_ends_with_its_program() {
    use std::time::{Duration, Instant};
    let folder = tempfile::tempdir().unwrap();
    let music = ["C5e D5e E5e F5e G5e A5e B5e C6e"; 400].join(" | ");
    let score = crate::common::music::score(&Default::default(), &music);
    let [edition, source] = ["edition.musicxml", "source.musicxml"].map(|name| folder.path().join(name));
    fs::write(&edition, &score).unwrap();
    fs::write(&source, score).unwrap();
    for signal in ["TERM", "KILL", "INT", "HUP"] {
        let mut program = Command::new(env!("CARGO_BIN_EXE_obelus"))
            .args([Path::new("audit"), &edition, &source, Path::new("--format"), Path::new("html"), Path::new("-o")])
            .arg(folder.path().join("page.html"))
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let own = loop {
            let own = children(program.id());
            if !own.is_empty() {
                break own;
            }
            assert!(program.try_wait().unwrap().is_none(), "it was done before it was stopped");
            std::thread::yield_now();
        };
        // It has to have said that it wants to end with its caller: it reads the job after that.
        let is_bound = |line: &str| line.starts_with("Max address space") && !line.contains("unlimited");
        let reads =
            |pid: &u32| fs::read_to_string(format!("/proc/{pid}/limits")).is_ok_and(|l| l.lines().any(is_bound));
        while !own.iter().all(reads) && program.try_wait().unwrap().is_none() {
            std::thread::yield_now();
        }
        Command::new("kill").args([&format!("-{signal}"), &program.id().to_string()]).status().unwrap();
        program.wait().unwrap();
        let begin = Instant::now();
        let alive = |pid: &u32| {
            let stat = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
            !stat.is_empty() && !stat.rsplit(')').next().unwrap_or("").trim_start().starts_with('Z')
        };
        while own.iter().any(alive) {
            assert!(begin.elapsed() < Duration::from_secs(30), "{signal}: the engraver lives on");
            std::thread::yield_now();
        }
    }
}
