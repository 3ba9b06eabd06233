//! How soon a browser shows a page, or what a click at the desk has changed. It needs Chromium, Node.js and the packages that
//! the browser's tests install; where they are missing nothing is measured.

use crate::chromium::chromium;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

/// Seconds from the navigation until the first staves of a page are painted.
pub fn first_staves(page: &Path) -> Option<String> {
    // Chromium knows what a file is by its name.
    let named = page.with_extension("html");
    std::fs::copy(page, &named).ok()?;
    said_by("paint.mjs", &named.display().to_string())
}

/// The median of the times from a click at the desk to the changed staves.
pub fn click(edition: &Path, source: &Path) -> Option<String> {
    let folder = tempfile::tempdir().ok()?;
    let mut desk = Command::new(env!("CARGO_BIN_EXE_obelus"))
        .args(["desk", "--no-open", "--stay", "--folder"])
        .args([folder.path(), edition, source])
        .stdout(Stdio::piped())
        .spawn()
        .ok()?;
    let mut line = String::new();
    let read = desk.stdout.take().map(|out| BufReader::new(out).read_line(&mut line));
    let said = read.and_then(|_| said_by("click.mjs", line.trim()));
    let _ = desk.kill();
    let _ = desk.wait();
    said
}

/// What a script of the browser's tests prints.
fn said_by(script: &str, about: &str) -> Option<String> {
    let copy = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser").join(script);
    std::fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser").join(script), &copy).ok()?;
    let done = Command::new("node").arg(&copy).arg(chromium()?).arg(about).output().ok()?;
    let said = String::from_utf8(done.stdout).ok().filter(|_| done.status.success())?;
    Some(said.trim().to_string())
}
