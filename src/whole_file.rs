//! Files that are written whole or not at all.

use std::fs::{File, Metadata};
use std::io::{self, Write};
use std::path::Path;
use tempfile::NamedTempFile;

/// A new file takes the place of the old one when it is complete and on disk.
/// Whatever stops the program or the disk before, the old one stays.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let old = std::fs::metadata(path).ok();
    // A device or a pipe can only be written into.
    if old.as_ref().is_some_and(|about| !about.is_file()) {
        return std::fs::write(path, bytes);
    }
    #[cfg(target_os = "linux")]
    if let Some(file) = nameless::file(folder(path)) {
        fill(&file, bytes, old.as_ref())?;
        // Where the system does not let it have a name, another way is tried.
        if nameless::name(&file, path).is_ok() {
            return Ok(());
        }
    }
    let file = named_file(folder(path))?;
    fill(file.as_file(), bytes, old.as_ref())?;
    file.persist(path).map_err(|e| e.error)?;
    Ok(())
}

fn fill(mut file: &File, bytes: &[u8], old: Option<&Metadata>) -> io::Result<()> {
    file.write_all(bytes)?;
    file.sync_all()?;
    match old {
        Some(old) => file.set_permissions(old.permissions()),
        None => Ok(()),
    }
}

/// Readable by whom the system's habit lets read new files.
fn named_file(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".obelus-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
        builder.tempfile_in(folder)
    }
    #[cfg(not(unix))]
    builder.tempfile_in(folder)
}

pub fn folder(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Files that have no name until they are complete: one whose program is
/// killed leaves nothing behind.
#[cfg(target_os = "linux")]
mod nameless {
    use super::*;
    use rustix::fs::{AtFlags, CWD, Mode, OFlags, linkat, open};
    use std::os::fd::AsRawFd;

    /// `None` where the file system has no such files.
    pub fn file(folder: &Path) -> Option<File> {
        let flags = OFlags::TMPFILE | OFlags::RDWR | OFlags::CLOEXEC;
        open(folder, flags, Mode::from_raw_mode(0o666)).ok().map(File::from)
    }

    /// Gives a file its name, which it takes over where another file has it.
    pub fn name(file: &File, path: &Path) -> io::Result<()> {
        let link = |to: &Path| {
            let from = format!("/proc/self/fd/{}", file.as_raw_fd());
            linkat(CWD, from, CWD, to, AtFlags::SYMLINK_FOLLOW)
        };
        match link(path) {
            Err(rustix::io::Errno::EXIST) => {}
            done => return Ok(done?),
        }
        // A name can be taken over from a file that has one, only. Who is killed between the two leaves it
        // behind: where passing files lie, if they lie on the same disk.
        let named = |folder: &Path| tempfile::Builder::new().prefix(".obelus-").make_in(folder, |to| Ok(link(to)?));
        let other = named(&std::env::temp_dir()).or_else(|_| named(folder(path)))?;
        other.into_temp_path().persist(path).map_err(|e| e.error)
    }
}
