//! The browser of the tests.

use std::path::PathBuf;

/// Chromium, where `OBELUS_CHROMIUM` says or where programs are found.
pub fn chromium() -> Option<PathBuf> {
    if let Some(told) = std::env::var_os("OBELUS_CHROMIUM") {
        return Some(told.into());
    }
    let folders: Vec<PathBuf> = std::env::split_paths(&std::env::var_os("PATH")?).collect();
    let names = ["chromium", "chromium-browser", "google-chrome", "chrome.exe"];
    let mut known = names.iter().flat_map(|name| folders.iter().map(move |folder| folder.join(name)));
    known.find(|path| path.is_file())
}
