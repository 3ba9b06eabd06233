//! What a user of a terminal takes for granted: pipes wherever files are, links, full disks, slips of the fingers.

use crate::common::program::{demo, obelus, obelus_fails};
use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder for a test")
}

/// Runs lines of a shell in a folder: `$obelus` is the program, `$demo` the folder of the demo. Gives the exit status,
/// what was printed, and what was said besides.
fn shell(folder: &Path, lines: &str) -> (i32, String, String) {
    let demo = demo("");
    let done = Command::new("sh")
        .args(["-c", lines])
        .current_dir(folder)
        .env("obelus", env!("CARGO_BIN_EXE_obelus"))
        .env("demo", demo.trim_end_matches('/'))
        .env_remove("COLUMNS")
        .stdin(Stdio::null())
        .output()
        .expect("a shell");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (done.status.code().expect("no signal ended the shell"), text(done.stdout), text(done.stderr))
}

fn text(path: impl AsRef<Path>) -> String {
    fs::read_to_string(path).expect("a file that was written")
}

const AUDIT: &str = "$obelus audit $demo/edition.musicxml $demo/source.musicxml";
const CLEAN: &str = "$obelus clean $demo/edition.musicxml $demo/source.musicxml";

#[test]
fn pipes_are_read_wherever_a_file_is() {
    let dir = folder();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let findings = |report: &str| report.split("Treble Recorder (source").nth(1).expect("a part").to_string();
    let expected = findings(&obelus(&["audit", &edition, &source]));
    for lines in [
        "mkfifo e s; cat $demo/edition.musicxml > e & cat $demo/source.musicxml > s & $obelus audit e s",
        "cat $demo/edition.musicxml | $obelus audit - $demo/source.musicxml",
        "cat $demo/edition.musicxml | $obelus audit /dev/stdin $demo/source.musicxml",
        "$obelus audit /dev/stdin $demo/source.musicxml < $demo/edition.musicxml",
        "mkfifo d; $obelus audit $demo/edition.musicxml $demo/source.musicxml --decisions d & cat d > decisions; wait",
    ] {
        let dir = folder();
        let (status, report, said) = shell(dir.path(), lines);
        assert_eq!((status, said.as_str()), (0, ""), "{lines}");
        assert_eq!(findings(&report), expected, "{lines}");
    }
    let with_marks = |lines: &str| {
        let dir = folder();
        let (status, _, said) = shell(dir.path(), lines);
        assert_eq!(status, 0, "{lines}: {said}");
        text(dir.path().join("out.musicxml"))
    };
    let sheet = with_marks(
        "cp $demo/marks.toml .; cat marks.toml | $obelus clean $demo/edition.musicxml \
        $demo/source.musicxml -o out.musicxml --mine -",
    );
    assert!(sheet.contains("own marks: standard input ("), "the sheet is named in the copy");
    let (_, _, said) = shell(
        dir.path(),
        &format!(
            "{CLEAN} -o clean.musicxml > summary; {CLEAN} -o marked.musicxml \
        --mine $demo/marks.toml > summary"
        ),
    );
    assert_eq!(said, "");
    // A marked copy from a pipe is known by how it begins.
    let (status, _, said) =
        shell(dir.path(), &format!("mkfifo m; cat marked.musicxml > m & {CLEAN} -o out.musicxml --mine m"));
    assert_eq!(status, 0, "{said}");
    assert_eq!(
        text(dir.path().join("out.musicxml")).matches("<breath-mark").count(),
        sheet.matches("<breath-mark").count()
    );
    let (status, ranking, said) = shell(
        dir.path(),
        "mkfifo f; cat $demo/source.musicxml > f & $obelus rank f \
        $demo/edition.musicxml --audits audits",
    );
    assert_eq!(status, 0, "{said}");
    assert!(ranking.contains("76."), "{ranking}");
    assert!(dir.path().join("audits/edition.html").is_file());
}

#[test]
fn what_can_be_read_once_is_read_once() {
    let dir = folder();
    for (lines, words) in [
        ("cat $demo/edition.musicxml | $obelus audit - /dev/stdin", "standard input"),
        ("cat $demo/edition.musicxml | $obelus clean - $demo/source.musicxml -o c.musicxml --mine -", "standard input"),
        ("cat $demo/edition.musicxml | $obelus audit /dev/stdin /dev/fd/0", "once only"),
        ("mkfifo f; $obelus audit f ./f", "once only"),
        ("$obelus desk f $demo/source.musicxml --no-open", "again and again"),
    ] {
        let (status, printed, said) = shell(dir.path(), lines);
        assert_eq!((status, printed.as_str()), (2, ""), "{lines}: {said}");
        assert!(said.contains(words), "{lines}: {said}");
    }
    let left: Vec<_> = fs::read_dir(dir.path()).expect("the folder").map(|e| e.expect("a file").file_name()).collect();
    assert_eq!(left, ["f"], "something was made");
}

#[test]
fn results_go_into_pipes_and_devices() {
    let dir = folder();
    let (_, expected, _) = shell(dir.path(), AUDIT);
    // What stood there stays.
    let (status, _, said) = shell(dir.path(), &format!("echo before > report; {AUDIT} -o /dev/stdout >> report"));
    assert_eq!((status, said.as_str()), (0, ""));
    assert_eq!(text(dir.path().join("report")), format!("before\n{expected}"));
    for name in ["-", "/dev/stdout", "/dev/fd/1"] {
        let (status, report, said) = shell(dir.path(), &format!("{AUDIT} -o {name} | cat"));
        assert_eq!((status, report.as_str(), said.as_str()), (0, expected.as_str(), ""), "{name}");
    }
    let (status, report, _) = shell(dir.path(), &format!("mkfifo p; {AUDIT} -o p & cat p; wait"));
    assert_eq!((status, report.as_str()), (0, expected.as_str()));
    // The summary does not run into the notes.
    let (status, notes, said) = shell(dir.path(), &format!("{CLEAN} -o clean.musicxml --notes -"));
    assert_eq!(status, 0);
    assert!(notes.starts_with("# Critical notes") && said.contains("taken out"), "{notes}{said}");
    assert!(!notes.contains("Proved:"), "{notes}");
}

#[test]
fn two_results_never_have_one_place() {
    let dir = folder();
    for (lines, words) in [
        (format!("{AUDIT} --format csv -o one --side-by-side ./one"), "same name"),
        (format!("touch one; ln one two; {AUDIT} --decisions one --side-by-side two"), "same name"),
        (format!("{AUDIT} --side-by-side -"), "standard output"),
        (format!("{AUDIT} --decisions /dev/stdout"), "standard output"),
        (format!("{CLEAN} -o - --notes /dev/stdout"), "standard output"),
        (
            "$obelus rank $demo/source.musicxml $demo/edition.musicxml --format html --audits . -o edition.html".into(),
            "same name",
        ),
    ] {
        let (status, printed, said) = shell(dir.path(), &lines);
        assert_eq!((status, printed.as_str()), (2, ""), "{lines}: {said}");
        assert!(said.contains(words), "{lines}: {said}");
        assert!(!dir.path().join("edition.html").exists());
    }
}

#[test]
fn a_link_is_followed_and_stays_a_link() {
    let dir = folder();
    let link = dir.path().join("link.txt");
    symlink("report.txt", &link).expect("a link");
    for _ in 0..2 {
        let (status, _, said) = shell(dir.path(), &format!("{AUDIT} -o link.txt"));
        assert_eq!(status, 0, "{said}");
        assert!(link.is_symlink());
        assert!(text(dir.path().join("report.txt")).contains("Treble Recorder"));
    }
    symlink("nowhere/report.txt", dir.path().join("lost.txt")).expect("a link");
    let (status, _, said) = shell(dir.path(), &format!("{AUDIT} -o lost.txt"));
    assert_eq!(status, 2);
    assert!(said.contains("a link to") && dir.path().join("lost.txt").is_symlink(), "{said}");
}

#[test]
fn nothing_is_written_when_a_later_check_fails() {
    let dir = folder();
    for lines in [
        format!("{AUDIT} --bars 99 --side-by-side both.musicxml --decisions d.toml"),
        format!("{AUDIT} --instrument 'alto recodrer' --side-by-side both.musicxml --decisions d.toml -o report.txt"),
        format!("{AUDIT} --side-by-side both.musicxml --decisions d.toml > /dev/full"),
        format!("{CLEAN} -o clean.musicxml --notes /dev/full"),
        format!("{CLEAN} -o clean.musicxml --notes - > /dev/full"),
    ] {
        if lines.contains("/dev/full") && !Path::new("/dev/full").exists() {
            continue;
        }
        let (status, _, said) = shell(dir.path(), &lines);
        assert_eq!((status, said.lines().count()), (2, 1), "{lines}: {said}");
        assert_eq!(fs::read_dir(dir.path()).expect("the folder").count(), 0, "{lines}");
    }
}

#[test]
fn a_limit_a_full_disk_or_a_reader_who_left_is_told() {
    let dir = folder();
    // In blocks of 512 or 1024 bytes; messages go through a pipe.
    let (status, _, said) =
        shell(dir.path(), &format!("(ulimit -f 1; {AUDIT} --format json -o report.json) 2>&1 | cat >&2"));
    assert_eq!(status, 0, "that of cat");
    assert!(said.contains("report.json: cannot be written: it would be larger"), "{said}");
    assert_eq!(fs::read_dir(dir.path()).expect("the folder").count(), 0);
    let (status, ..) = shell(dir.path(), &format!("(ulimit -f 1; {AUDIT} --format json -o report.json)"));
    assert_eq!(status, 2);
    if Path::new("/dev/full").exists() {
        for lines in
            [format!("{AUDIT} > /dev/full"), format!("{AUDIT} -o /dev/full"), "$obelus range --list > /dev/full".into()]
        {
            let (status, _, said) = shell(dir.path(), &lines);
            assert_eq!((status, said.lines().count()), (2, 1), "{lines}: {said}");
            assert!(said.contains("the disk is full"), "{said}");
        }
    }
    let (_, first, said) = shell(dir.path(), &format!("{AUDIT} --format json | head -c 1"));
    assert_eq!((first.as_str(), said.as_str()), ("{", ""));
    // Nobody may hear the messages.
    let (status, ..) = shell(dir.path(), "$obelus range nowhere.xml 2>&-");
    assert_eq!(status, 3);
}

#[test]
fn a_mistyped_name_is_met_with_the_one_that_may_be_meant() {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let asks = |arguments: &[&str], meant: &str| {
        let said = obelus_fails(arguments).stderr;
        assert!(said.contains(&format!("did you mean \"{meant}\"?")), "{said}");
    };
    asks(&["audit", &edition, &source, "--part", "trebel recorder"], "Treble Recorder");
    asks(&["audit", &edition, &source, "--source-part", "baso"], "Basso");
    asks(&["range", &edition, "--instrument", "alto recodrer"], "alto recorder");
    asks(&["clean", &edition, &source, "-o", "-", "--keep", "slurr"], "slur");
    asks(&["clean", &edition, &source, "-o", "-", "--keep", "slur,finggering"], "fingering");
    let said = obelus_fails(&["audit", &edition, &source, "--part", "Trumpet"]).stderr;
    assert!(!said.contains("did you mean"), "{said}");
}

/// No more threads can be had, as where a user may have no more processes: here because they want more memory than any
/// machine has.
#[test]
fn without_threads_the_same_is_done() {
    let dir = folder();
    let alone = |lines: &str| shell(dir.path(), &format!("RUST_MIN_STACK=70368744177664 {lines}"));
    let rank = "$obelus rank $demo/source.musicxml $demo/edition.musicxml $demo/source.musicxml";
    let sources = "$obelus rank $demo/edition.musicxml --sources $demo";
    for call in [AUDIT, rank, sources] {
        let (done, as_usual) = (alone(call), shell(dir.path(), call));
        assert_eq!((done.0, &done.2), (0, &String::new()), "{call}");
        assert_eq!(done, as_usual, "{call}");
    }
    let (status, _, said) = alone("$obelus desk --no-open --folder desk");
    assert_eq!((status, said.lines().count()), (2, 1), "{said}");
}

#[test]
fn help_that_cannot_be_written_is_told() {
    let dir = folder();
    if Path::new("/dev/full").exists() {
        let (status, _, said) = shell(dir.path(), "$obelus --help >/dev/full");
        assert!(status == 2 && said.contains("the disk is full"), "{status}: {said}");
    }
    assert_eq!(shell(dir.path(), "$obelus audit --help | true; $obelus --version").0, 0);
}
