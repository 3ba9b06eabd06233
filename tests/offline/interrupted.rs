//! What is left when a cleaning is killed, or its disk is full: a whole copy or
//! none, and the inputs as they were.
#![cfg(unix)]

use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

const KILLS: u32 = 200;

struct Desk {
    folder: tempfile::TempDir,
    /// What the folder holds before anything is written.
    inputs: Vec<(PathBuf, Vec<u8>)>,
}

impl Desk {
    fn new() -> Desk {
        let folder = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo");
        let inputs = ["edition.musicxml", "source.musicxml", "marks.toml"].map(|name| {
            let path = folder.path().join(name);
            fs::copy(demo.join(name), &path).unwrap();
            let bytes = fs::read(&path).unwrap();
            (path, bytes)
        });
        Desk { folder, inputs: inputs.into() }
    }

    fn copy(&self) -> PathBuf {
        self.folder.path().join("clean.musicxml")
    }

    fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_obelus"));
        command.current_dir(self.folder.path()).stdout(Stdio::null()).stderr(Stdio::null());
        command.args(["clean", "edition.musicxml", "source.musicxml", "-o", "clean.musicxml", "--mine", "marks.toml"]);
        command
    }

    fn start(&self) -> Child {
        self.command().spawn().expect("the program starts")
    }

    /// The inputs are untouched, and nothing but them and the copy is there.
    fn check(&self) {
        for (path, bytes) in &self.inputs {
            assert!(fs::read(path).unwrap() == *bytes, "{} was changed", path.display());
        }
        let names: Vec<PathBuf> = fs::read_dir(self.folder.path()).unwrap().map(|e| e.unwrap().path()).collect();
        let strange = |p: &&PathBuf| **p != self.copy() && self.inputs.iter().all(|i| i.0 != **p);
        // Where a file system has no nameless files, a killed program leaves its unfinished one under a name of its
        // own, which is no input and not the copy.
        let left: Vec<&PathBuf> = names.iter().filter(strange).collect();
        if cfg!(target_os = "linux") {
            assert!(left.is_empty(), "{left:?}");
        }
    }
}

/// How far a program has come: the processor time it had, in nanoseconds, where the system tells; elsewhere how often it
/// was looked at. A machine that is busy with other things does not move either.
fn progress(child: &Child, looks: u64) -> u64 {
    let told = fs::read_to_string(format!("/proc/{}/schedstat", child.id()));
    told.ok().and_then(|told| told.split(' ').next()?.parse().ok()).unwrap_or(looks)
}

/// Looks on until a program has come so far, or has ended; how far that is. No event tells that some of the work is
/// done, so it is asked again and again.
fn wait(child: &mut Child, far: u64) -> u64 {
    let (mut looks, mut came) = (0, 0);
    loop {
        came = progress(child, looks).max(came);
        if came >= far || child.try_wait().unwrap().is_some() {
            return came;
        }
        looks += 1;
        std::thread::yield_now();
    }
}

#[test]
fn a_killed_program_leaves_a_whole_copy_or_the_old_one() {
    let desk = Desk::new();
    let run = || {
        let mut child = desk.start();
        let whole = wait(&mut child, u64::MAX);
        assert!(child.wait().unwrap().success());
        whole
    };
    let whole_way = [run(), run(), run()].into_iter().min().unwrap();
    let whole = fs::read(desk.copy()).unwrap();

    let (mut killed, mut ended) = (0, 0);
    let mut random = 0x2545_F491_4F6C_DD1D_u64;
    for round in 0..KILLS {
        // Every other time there is an old copy, of another piece.
        let old = (round % 2 == 1).then(|| b"an old copy".to_vec());
        match &old {
            Some(old) => fs::write(desk.copy(), old).unwrap(),
            None => drop(fs::remove_file(desk.copy())),
        }
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        let mut child = desk.start();
        wait(&mut child, whole_way / 1000 * (random % 1200));
        let _ = child.kill();
        match child.wait().unwrap().signal() {
            Some(_) => killed += 1,
            None => ended += 1,
        }
        match fs::read(desk.copy()) {
            Ok(found) => assert!(found == whole || Some(found) == old, "round {round}: a part of a copy"),
            Err(_) => assert!(old.is_none(), "round {round}: the old copy is gone"),
        }
        desk.check();
    }
    println!("{killed} killed, {ended} were done before");
    assert!(killed >= 20, "{killed} of {KILLS} runs were killed before they ended");
}

#[test]
fn a_file_that_may_not_grow_is_not_written() {
    let desk = Desk::new();
    let mut shell = Command::new("sh");
    shell.current_dir(desk.folder.path()).stdout(Stdio::null()).stderr(Stdio::null());
    // At most 8 blocks of 512 bytes: the copy is larger.
    let line = format!(
        "ulimit -f 8; exec {} clean edition.musicxml source.musicxml -o clean.musicxml",
        env!("CARGO_BIN_EXE_obelus")
    );
    assert!(!shell.args(["-c", &line]).status().unwrap().success());
    assert!(!desk.copy().exists());
    desk.check();
}
