//! The engraver's own troubles: what it lacks is told as that, and whoever kills its program leaves nothing of it.
#![cfg(all(feature = "engrave", target_os = "linux"))]

use crate::common::program::demo;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// Folders of its own for all that the program may leave: files that pass, a cache, and what it is asked for.
struct Room(tempfile::TempDir);

impl Room {
    fn new() -> Room {
        let room = Room(tempfile::tempdir().unwrap());
        ["passing", "cache", "out"].iter().for_each(|name| fs::create_dir(room.path(name)).unwrap());
        room
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_obelus"));
        command.args(arguments).current_dir(self.path("out"));
        command.env("TMPDIR", self.path("passing")).env("XDG_CACHE_HOME", self.path("cache"));
        command
    }

    fn page(&self) -> Command {
        let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
        self.command(&["audit", &edition, &source, "--format", "html", "-o", "page.html"])
    }

    /// A program in the engraver's place, which may go on as the engraver.
    fn stand_in(&self, does: &str) -> PathBuf {
        let file = self.path("engraver");
        let program = env!("CARGO_BIN_EXE_obelus");
        fs::write(&file, format!("#!/bin/sh\n{does}\nexec '{program}' \"$@\"\n")).unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o755)).unwrap();
        file
    }

    fn count(&self, folder: &str) -> usize {
        fs::read_dir(self.path(folder)).unwrap().count()
    }
}

fn said(done: &Output) -> String {
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8_lossy(&done.stderr).into_owned()
}

#[test]
fn what_the_engraver_lacks_is_told_as_that() {
    let room = Room::new();
    let whole = said(&room.page().output().unwrap());
    assert!(!whole.contains("no staves"), "{whole}");
    let drawn = fs::read(room.path("out/page.html")).unwrap();
    for (does, told) in [
        ("ulimit -v 60000", "the engraver had too little memory"),
        ("kill -XCPU $$", "the system's limit on processor time"),
        ("kill -KILL $$", "was killed from outside"),
        ("echo 'terminate called: std::bad_alloc' >&2; exit 1", "the engraver had too little memory"),
        ("echo 'obelus: there is no room' >&2; exit 2", "the engraver gave up: there is no room"),
    ] {
        let done = room.page().env("OBELUS_ENGRAVER", room.stand_in(does)).output().unwrap();
        let said = said(&done);
        assert!(said.contains(told) && !said.contains("on this music"), "{does}: {said}");
    }
    // A limit that is no hindrance is none.
    for does in ["ulimit -v 2000000", "ulimit -t 50"] {
        let done = room.page().env("OBELUS_ENGRAVER", room.stand_in(does)).output().unwrap();
        let said = said(&done);
        assert!(!said.contains("no staves"), "{does}: {said}");
        assert!(fs::read(room.path("out/page.html")).unwrap() == drawn, "{does}");
    }
    assert_eq!(room.count("passing"), 0);
}

#[test]
fn fonts_have_a_place_or_it_is_told_that_they_have_none() {
    let room = Room::new();
    assert!(!said(&room.page().output().unwrap()).contains("no staves"));
    let drawn = fs::read(room.path("out/page.html")).unwrap();
    let file = room.path("file");
    fs::write(&file, "no folder").unwrap();
    // No cache can be made: the fonts pass through a folder that goes again.
    for cache in [&file, Path::new("/proc/none")] {
        let done = room.page().env("XDG_CACHE_HOME", cache).output().unwrap();
        assert!(!said(&done).contains("no staves"));
        assert!(fs::read(room.path("out/page.html")).unwrap() == drawn);
        assert_eq!(room.count("passing"), 0);
    }
    // With a cache nothing passes.
    assert!(!said(&room.page().env("TMPDIR", "/proc/none").output().unwrap()).contains("no staves"));
    let done = room.page().env("XDG_CACHE_HOME", &file).env("TMPDIR", "/proc/none").output().unwrap();
    let said = said(&done);
    assert!(said.contains("neither the cache nor /proc/none has room for its fonts"), "{said}");
    assert!(!said.contains("on this music"), "{said}");
}

/// The processes that have this folder in their environment.
fn with_folder(folder: &Path) -> Vec<u32> {
    let folder = folder.to_str().unwrap();
    let all = fs::read_dir("/proc").unwrap().filter_map(|e| e.ok()?.file_name().to_str()?.parse::<u32>().ok());
    let has = |pid: &u32| {
        let said = fs::read(format!("/proc/{pid}/environ")).unwrap_or_default();
        String::from_utf8_lossy(&said).contains(folder)
    };
    all.filter(has).collect()
}

/// Kills a command at moments of its way; every other time there is an old file in its place.
fn kill_at_moments(arguments: &[&str], target: &str, kills: u32) {
    let room = Room::new();
    let run = || {
        let begin = Instant::now();
        let status = room.command(arguments).stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap();
        assert!(status.success(), "{arguments:?}");
        begin.elapsed()
    };
    // The first one fills the cache.
    run();
    let whole_way = run();
    let target = room.path("out").join(target);
    let whole = fs::read(&target).unwrap();
    let others = room.count("out");
    let (mut killed, mut random) = (0, 0x2545_F491_4F6C_DD1D_u64);
    for round in 0..kills {
        let old = (round % 2 == 1).then(|| b"an old file".to_vec());
        match &old {
            Some(old) => fs::write(&target, old).unwrap(),
            None => drop(fs::remove_file(&target)),
        }
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        let moment = whole_way / 1000 * (random % 1100) as u32;
        let mut child = room.command(arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        let begin = Instant::now();
        while begin.elapsed() < moment && child.try_wait().unwrap().is_none() {
            std::thread::yield_now();
        }
        let _ = child.kill();
        killed += u32::from(!child.wait().unwrap().success());
        let begin = Instant::now();
        while !with_folder(room.0.path()).is_empty() {
            assert!(begin.elapsed() < Duration::from_secs(30), "round {round}: a process lives on");
            std::thread::yield_now();
        }
        match fs::read(&target) {
            Ok(found) => assert!(found == whole || Some(found) == old, "round {round}: a part of a file"),
            Err(_) => assert!(old.is_none(), "round {round}: the old file is gone"),
        }
        assert_eq!(room.count("passing"), 0, "round {round}");
        let left = others - usize::from(!target.exists());
        assert!(
            room.count("out") <= left,
            "round {round}: {:?}",
            fs::read_dir(room.path("out")).unwrap().collect::<Vec<_>>()
        );
        assert_eq!(room.count("cache/obelus"), 1, "round {round}");
    }
    assert!(killed > 0, "all were done before they were killed");
    println!("{killed} of {kills} killed");
}

fn kill_all(kills: u32) {
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    kill_at_moments(&["audit", &edition, &source, "--format", "html", "-o", "page.html"], "page.html", kills);
    kill_at_moments(&["print", &source, "--part", "Oboe", "--pdf", "oboe.pdf"], "oboe.pdf", kills);
    let clean = ["clean", &edition, &source, "-o", "copy.musicxml", "--part", "Treble Recorder", "--pdf", "part.pdf"];
    kill_at_moments(&clean, "part.pdf", kills);
}

#[test]
fn a_killed_program_leaves_no_engraver_and_no_part_of_a_file() {
    kill_all(12);
}

#[test]
#[ignore = "takes minutes"]
fn a_program_killed_at_many_moments_leaves_no_engraver_and_no_part_of_a_file() {
    kill_all(200);
}
