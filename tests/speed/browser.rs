//! How soon a browser shows a page. It needs Chromium, Node.js and the packages that
//! the browser's tests install; where they are missing nothing is measured.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Seconds from the navigation until the first staves of a page are painted.
pub fn first_staves(page: &Path) -> Option<String> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser/paint.mjs");
    let copy = folder.join("paint.mjs");
    std::fs::copy(script, &copy).ok()?;
    // Chromium knows what a file is by its name.
    let named = page.with_extension("html");
    std::fs::copy(page, &named).ok()?;
    let done = Command::new("node").arg(&copy).arg(chromium()?).arg(&named).output().ok()?;
    let said = String::from_utf8(done.stdout).ok().filter(|_| done.status.success())?;
    Some(said.trim().to_string())
}

fn chromium() -> Option<PathBuf> {
    let told = std::env::var_os("OBELUS_CHROMIUM").map(PathBuf::from);
    let folders: Vec<PathBuf> = std::env::split_paths(&std::env::var_os("PATH")?).collect();
    let names = ["chromium", "chromium-browser", "google-chrome"];
    let known = names.iter().flat_map(|name| folders.iter().map(move |folder| folder.join(name)));
    told.into_iter().chain(known).find(|path| path.is_file())
}
