//! The browser test's tools: its packages, installed on first use, and the browser itself.
//!
//! A missing browser, node or network is a failure with a reason, never a test that passes unseen.

use crate::chromium::chromium;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command;

/// The folder of the script and its packages.
///
/// # Panics
/// If node is missing, or if the packages cannot be installed.
fn prepare() -> PathBuf {
    let own = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
    fs::create_dir_all(&folder).expect("the folder for tests can be written");
    let lock = File::create(folder.join("lock")).expect("the folder for tests can be written");
    lock.lock().expect("the lock is free in the end");
    for name in ["package.json", "package-lock.json", "desk.mjs", "page.mjs", "score.mjs"] {
        fs::copy(own.join(name), folder.join(name)).expect("the script can be copied");
    }
    // The stamp is written last, so an installation that broke off is begun anew.
    let wanted = fs::read_to_string(own.join("package-lock.json")).expect("the list of packages is there");
    let stamp = folder.join("installed");
    if fs::read_to_string(&stamp).is_ok_and(|done| done == wanted) {
        return folder;
    }
    let npm = if cfg!(windows) { "npm.cmd" } else { "npm" };
    let done = Command::new(npm)
        .args(["ci", "--ignore-scripts", "--no-audit", "--no-fund"])
        .current_dir(&folder)
        .output()
        .unwrap_or_else(|e| panic!("this test needs Node.js 18 or later with npm ({npm}: {e})"));
    let said = String::from_utf8_lossy(&done.stderr);
    let first = said.trim().lines().next().unwrap_or_default();
    assert!(
        done.status.success(),
        "this test needs the packages of tests/browser/package.json and, to install them, the network ({first})"
    );
    fs::write(&stamp, wanted).expect("the folder for tests can be written");
    folder
}

fn browser() -> PathBuf {
    chromium().unwrap_or_else(|| {
        panic!(
            "this test needs Chromium (on Debian: chromium); OBELUS_CHROMIUM=/path/to/chromium tells where another is"
        )
    })
}

/// Runs `tests/browser/score.mjs` on pages; gives what it read of each, by the names of the files.
///
/// # Panics
/// If a page cannot be read.
#[cfg(feature = "engrave")]
pub fn drawn(pages: &[PathBuf]) -> serde_json::Value {
    let browser = browser();
    let folder = prepare();
    let done = Command::new("node")
        .arg(folder.join("score.mjs"))
        .arg(browser)
        .args(pages)
        .output()
        .unwrap_or_else(|e| panic!("this test needs Node.js 18 or later (node: {e})"));
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).expect("it prints JSON")
}

/// Runs `tests/browser/page.mjs` on pages and their reports as JSON; gives what it says.
///
/// # Panics
/// If anything is wrong with a page.
pub fn check(pages: &[(PathBuf, PathBuf)]) -> String {
    let browser = browser();
    let folder = prepare();
    let files = pages.iter().flat_map(|(page, report)| [page, report]);
    let done = Command::new("node")
        .arg(folder.join("page.mjs"))
        .arg(browser)
        .arg("-")
        .args(files)
        .output()
        .unwrap_or_else(|e| panic!("this test needs Node.js 18 or later (node: {e})"));
    let said = String::from_utf8_lossy(&done.stdout).trim().to_string();
    assert!(done.status.success(), "{said}\n{}", String::from_utf8_lossy(&done.stderr));
    said
}

/// Runs `tests/browser/desk.mjs` on a desk that is open at an address. `OBELUS_PICTURES` names a folder for pictures of
/// every state, among them those of the documentation.
///
/// # Panics
/// If anything is wrong with it.
#[cfg(feature = "engrave")]
pub fn desk(view: &str, address: &str) {
    let browser = browser();
    let folder = prepare();
    let done = Command::new("node")
        .arg(folder.join("desk.mjs"))
        .arg(browser)
        .arg(std::env::var_os("OBELUS_PICTURES").unwrap_or_else(|| "--".into()))
        .args([view, address])
        .output()
        .unwrap_or_else(|e| panic!("this test needs Node.js 18 or later (node: {e})"));
    let said = String::from_utf8_lossy(&done.stdout).trim().to_string();
    assert!(done.status.success(), "{said}\n{}", String::from_utf8_lossy(&done.stderr));
}
