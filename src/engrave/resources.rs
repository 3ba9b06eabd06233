//! The engraver's fonts in files, where it wants them.

use crate::whole_file;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use verovio_data::DATA;

/// Music fonts with their metrics, the metrics of the text font, and a list it asks for.
const NEEDED: [&str; 6] = ["Leipzig", "Leipzig.xml", "Bravura", "Bravura.xml", "text", "tuning-glyphnames.json"];
/// Changes with what is in the folder.
const VERSION: &str = concat!("engraving-", env!("CARGO_PKG_VERSION"), "-0.3.6");

/// The beginning of the names of our own passing folders; the number of their process follows.
const PASSING: &str = "obelus-engraving-";

/// A folder with the fonts: the user's cache, or one of our own that goes with `Folder`.
pub enum Folder {
    Cached(PathBuf),
    Passing(tempfile::TempDir),
}

impl Folder {
    /// # Errors
    /// When not even a temporary folder can be written: where, and why.
    pub fn find() -> io::Result<Folder> {
        if let Some(path) = dirs::cache_dir().and_then(|cache| cached(&cache.join("obelus")).ok()) {
            return Ok(Folder::Cached(path));
        }
        let home = std::env::temp_dir();
        sweep(&home);
        passing(&home).map(Folder::Passing).map_err(|fault| {
            let reason = format!("neither the cache nor {} has room for its fonts: {fault}", home.display());
            io::Error::new(fault.kind(), reason)
        })
    }

    pub fn path(&self) -> &Path {
        match self {
            Folder::Cached(path) => path,
            Folder::Passing(folder) => folder.path(),
        }
    }
}

fn passing(home: &Path) -> io::Result<tempfile::TempDir> {
    let folder = tempfile::Builder::new().prefix(&format!("{PASSING}{}-", std::process::id())).tempdir_in(home)?;
    complete(folder.path())?;
    Ok(folder)
}

/// Takes away what an engraver left that was killed before its end.
fn sweep(home: &Path) {
    let is_left = |name: &str| {
        let process = name.strip_prefix(PASSING).and_then(|rest| rest.split('-').next());
        let process = process.filter(|number| number.parse::<u32>().is_ok());
        process.is_some_and(|number| Path::new("/proc/self").exists() && !Path::new("/proc").join(number).exists())
    };
    for entry in fs::read_dir(home).into_iter().flatten().flatten() {
        if entry.file_name().to_str().is_some_and(is_left) {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// The folder in the cache.
fn cached(home: &Path) -> io::Result<PathBuf> {
    let path = home.join(VERSION);
    complete(&path)?;
    Ok(path)
}

/// Makes anew what a folder lacks or holds otherwise. Each file gets its name when it is whole: two programs may write
/// it at once, and either may be killed.
fn complete(folder: &Path) -> io::Result<()> {
    make_folder(folder)?;
    for name in NEEDED {
        if let Some(file) = DATA.get_file(name) {
            complete_file(&folder.join(name), file.contents())?;
            continue;
        }
        let dir = DATA.get_dir(name).ok_or_else(|| io::Error::new(io::ErrorKind::NotFound, name))?;
        make_folder(&folder.join(name))?;
        for file in dir.files() {
            complete_file(&folder.join(file.path()), file.contents())?;
        }
    }
    Ok(())
}

fn make_folder(path: &Path) -> io::Result<()> {
    if path.is_file() {
        fs::remove_file(path)?;
    }
    fs::create_dir_all(path)
}

fn complete_file(path: &Path, contents: &[u8]) -> io::Result<()> {
    match fs::read(path) {
        Ok(found) if found == contents => return Ok(()),
        Err(_) if path.is_dir() => fs::remove_dir_all(path)?,
        _ => {}
    }
    whole_file::write_soon(path, contents)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_damaged_cache_is_made_anew() {
        let home = tempfile::tempdir().unwrap();
        let path = cached(home.path()).unwrap();
        let font = path.join("Leipzig.xml");
        let whole = fs::read(&font).unwrap();
        let damage: [&dyn Fn(); 7] = [
            &|| fs::write(&font, b"").unwrap(),
            &|| fs::write(&font, &whole[..whole.len() / 2]).unwrap(),
            &|| fs::write(&font, vec![0; whole.len()]).unwrap(),
            &|| fs::remove_file(&font).unwrap(),
            &|| (fs::remove_file(&font).unwrap(), fs::create_dir(&font).unwrap()).1,
            &|| (fs::remove_dir_all(path.join("Leipzig")).unwrap(), fs::write(path.join("Leipzig"), "a").unwrap()).1,
            &|| (fs::remove_dir_all(&path).unwrap(), fs::write(&path, "a file").unwrap()).1,
        ];
        for (place, damage) in damage.iter().enumerate() {
            damage();
            assert_eq!(cached(home.path()).unwrap(), path, "{place}");
            assert_eq!(fs::read(&font).unwrap(), whole, "{place}");
            assert!(fs::read_dir(path.join("Leipzig")).unwrap().count() > 100, "{place}");
            assert_eq!(fs::read_dir(home.path()).unwrap().count(), 1, "{place}");
        }
    }

    #[test]
    #[cfg(target_os = "linux")]
    fn what_a_killed_engraver_left_is_taken_away() {
        let home = tempfile::tempdir().unwrap();
        // No process has this number.
        let left = home.path().join(format!("{PASSING}4194999-abc"));
        let other = home.path().join("other");
        fs::create_dir(&left).unwrap();
        fs::create_dir(&other).unwrap();
        let own = passing(home.path()).unwrap();
        sweep(home.path());
        assert!(!left.exists() && other.exists() && own.path().join("Leipzig.xml").exists());
    }
}
