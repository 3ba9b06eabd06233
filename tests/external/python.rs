//! The Python test tools: a virtual environment made on first use, and calls into `tests/python`.
//!
//! A missing Python or network is a failure with a reason, never a test that passes unseen.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// `tests/python` of this repository.
fn scripts() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join("python")
}

/// The folder of the virtual environment.
fn environment() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("python")
}

/// The interpreter of the virtual environment, which is made or renewed on the first call.
///
/// # Panics
/// If Python is missing, or if the packages cannot be installed.
pub fn python() -> &'static Path {
    // What fails is not tried again by the next test.
    static PYTHON: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    PYTHON.get_or_init(prepare).as_ref().unwrap_or_else(|missing| panic!("{missing}"))
}

/// Makes the environment, or says in a line what that needs.
fn prepare() -> Result<PathBuf, String> {
    let folder = environment();
    let interpreter =
        if cfg!(windows) { folder.join("Scripts").join("python.exe") } else { folder.join("bin").join("python") };
    let requirements = scripts().join("requirements.txt");
    let wanted = fs::read_to_string(&requirements)
        .unwrap_or_else(|error| panic!("cannot read {}: {error}", requirements.display()));
    let stamp = folder.join("requirements.stamp");

    // Another run may come here at the same time: one installs, the other waits.
    let parent = Path::new(env!("CARGO_TARGET_TMPDIR"));
    fs::create_dir_all(parent).unwrap_or_else(|error| panic!("cannot make {}: {error}", parent.display()));
    let lock_path = parent.join("python.lock");
    let lock = File::create(&lock_path).unwrap_or_else(|error| panic!("cannot make {}: {error}", lock_path.display()));
    lock.lock().unwrap_or_else(|error| panic!("cannot lock {}: {error}", lock_path.display()));

    // The stamp is written last, so an installation that broke off is begun anew.
    if interpreter.exists() && fs::read_to_string(&stamp).is_ok_and(|done| done == wanted) {
        return Ok(interpreter);
    }
    let system = ["python3", "python"]
        .into_iter()
        .find(|name| {
            Command::new(name)
                .args(["-c", "import sys; sys.exit(sys.version_info < (3, 11))"])
                .output()
                .is_ok_and(|output| output.status.success())
        })
        .ok_or("this test needs Python 3.11 or later: install it so that `python3` is found")?;
    step(
        Command::new(system).args(["-m", "venv", "--clear"]).arg(&folder),
        "this test needs Python's venv module (on Debian: python3-venv)",
    )?;
    step(
        Command::new(&interpreter)
            .args(["-m", "pip", "install", "--quiet", "--no-input"])
            .args(["--disable-pip-version-check", "-r"])
            .arg(&requirements),
        "this test needs the packages of tests/python/requirements.txt and, to install them, the network",
    )?;
    fs::write(&stamp, &wanted).unwrap_or_else(|error| panic!("cannot write {}: {error}", stamp.display()));
    Ok(interpreter)
}

/// Runs one step of the installation. What fails is told in a line: the need, and the last that the step said.
fn step(command: &mut Command, need: &str) -> Result<(), String> {
    match command.output() {
        Ok(output) if output.status.success() => Ok(()),
        Ok(output) => Err(format!("{need} ({})", said(&output).trim().lines().last().unwrap_or_default())),
        Err(error) => Err(format!("{need} ({error})")),
    }
}

/// All that a command said, for a panic message: some tools complain on standard output.
fn said(output: &Output) -> String {
    format!("{}\n{}{}", output.status, String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr),)
}

/// Runs `tests/python/<script>` and gives its standard output.
///
/// # Panics
/// If the script fails; the message holds what it said.
pub fn run(script: &str, args: &[&OsStr]) -> String {
    let path = scripts().join(script);
    let output = Command::new(python())
        // No byte code beside the sources, and UTF-8 whatever the locale says.
        .args(["-B", "-X", "utf8"])
        .arg(&path)
        .args(args)
        .output()
        .unwrap_or_else(|error| panic!("cannot run {}: {error}", path.display()));
    assert!(output.status.success(), "{script} {args:?} failed: {}", said(&output));
    String::from_utf8(output.stdout).unwrap_or_else(|error| panic!("{script} did not write UTF-8: {error}"))
}

/// The folder of an installed package, such as `music21`.
///
/// # Panics
/// If the package is not there.
pub fn package(name: &str) -> PathBuf {
    python();
    let unix = fs::read_dir(environment().join("lib"))
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path().join("site-packages"));
    let windows = environment().join("Lib").join("site-packages");
    unix.chain([windows])
        .map(|packages| packages.join(name))
        .find(|path| path.is_dir())
        .unwrap_or_else(|| panic!("the package {name} is not installed"))
}

/// A file of music21's corpus, by its path there, such as `cpebach/h186.mxl`.
///
/// # Panics
/// If the corpus holds no such file.
pub fn corpus(relative: &str) -> PathBuf {
    let path = package("music21").join("corpus").join(relative);
    assert!(path.is_file(), "music21's corpus holds no file {relative}");
    path
}

/// Every score in a folder and below it, in order: `.xml`, `.musicxml` and `.mxl`.
pub fn scores_in(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(folder) = folders.pop() {
        let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("cannot list {}: {e}", folder.display()));
        for path in entries.flatten().map(|entry| entry.path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "mxl" || e == "xml" || e == "musicxml") {
                files.push(path);
            }
        }
    }
    files.sort();
    files
}
