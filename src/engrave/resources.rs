//! The engraver's fonts in files, where it wants them.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use verovio_data::DATA;

/// Music fonts with their metrics, the metrics of the text font, and a list it asks for.
const NEEDED: [&str; 6] = ["Leipzig", "Leipzig.xml", "Bravura", "Bravura.xml", "text", "tuning-glyphnames.json"];
/// Changes with what is in the folder.
const VERSION: &str = concat!("engraving-", env!("CARGO_PKG_VERSION"), "-0.3.6");

/// A folder with the fonts: the user's cache, written once, or one of our own
/// that goes with `Folder`.
pub enum Folder {
    Cached(PathBuf),
    Passing(tempfile::TempDir),
}

impl Folder {
    /// # Errors
    /// When not even a temporary folder can be written.
    pub fn find() -> io::Result<Folder> {
        match dirs::cache_dir().and_then(|cache| cached(&cache.join("obelus")).ok()) {
            Some(path) => Ok(Folder::Cached(path)),
            None => {
                let folder = tempfile::tempdir()?;
                fill(folder.path())?;
                Ok(Folder::Passing(folder))
            }
        }
    }

    pub fn path(&self) -> &Path {
        match self {
            Folder::Cached(path) => path,
            Folder::Passing(folder) => folder.path(),
        }
    }
}

/// The folder in the cache. It gets its name when it is complete: two programs
/// may write it at once, and either may be killed.
fn cached(home: &Path) -> io::Result<PathBuf> {
    let path = home.join(VERSION);
    if !path.is_dir() {
        fs::create_dir_all(home)?;
        let folder = tempfile::Builder::new().prefix(".engraving-").tempdir_in(home)?;
        fill(folder.path())?;
        // Another program may have been quicker.
        if let Err(fault) = fs::rename(folder.path(), &path)
            && !path.is_dir()
        {
            return Err(fault);
        }
    }
    Ok(path)
}

fn fill(folder: &Path) -> io::Result<()> {
    for name in NEEDED {
        if let Some(file) = DATA.get_file(name) {
            fs::write(folder.join(name), file.contents())?;
            continue;
        }
        let dir = DATA.get_dir(name).ok_or_else(|| io::Error::new(io::ErrorKind::NotFound, name))?;
        fs::create_dir(folder.join(name))?;
        for file in dir.files() {
            fs::write(folder.join(file.path()), file.contents())?;
        }
    }
    Ok(())
}
