//! Files that are written whole or not at all.

use std::fs::{File, Metadata};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::Path;
use tempfile::NamedTempFile;

/// A new file takes the place of the old one when it is complete and on disk.
/// Whatever stops the program or the disk before, the old one stays.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    // A device or a pipe can only be written into.
    if std::fs::metadata(path).is_ok_and(|about| !about.is_file()) {
        return std::fs::write(path, bytes);
    }
    WholeFile::new(path, bytes)?.place()
}

/// The same of what can be made anew at any time: it need not be on disk yet.
#[cfg(feature = "engrave")]
pub fn write_soon(path: &Path, bytes: &[u8]) -> io::Result<()> {
    WholeFile::filled(path, bytes, false)?.place()
}

/// A file that is complete and on disk, but not in its place.
#[derive(Debug)]
pub struct WholeFile<'p> {
    path: &'p Path,
    made: Made,
}

#[derive(Debug)]
enum Made {
    #[cfg(target_os = "linux")]
    Nameless(File),
    Named(NamedTempFile),
}

impl<'p> WholeFile<'p> {
    /// `path` leads to a file or to none.
    pub fn new(path: &'p Path, bytes: &[u8]) -> io::Result<WholeFile<'p>> {
        WholeFile::filled(path, bytes, true)
    }

    fn filled(path: &'p Path, bytes: &[u8], at_once: bool) -> io::Result<WholeFile<'p>> {
        let old = std::fs::metadata(path).ok();
        #[cfg(target_os = "linux")]
        if let Some(file) = nameless::file(folder(path)) {
            fill(&file, bytes, old.as_ref(), at_once)?;
            return Ok(WholeFile { path, made: Made::Nameless(file) });
        }
        let file = named_file(folder(path))?;
        fill(file.as_file(), bytes, old.as_ref(), at_once)?;
        Ok(WholeFile { path, made: Made::Named(file) })
    }

    /// Gives it its name, which it takes over from an older file.
    pub fn place(self) -> io::Result<()> {
        match self.made {
            #[cfg(target_os = "linux")]
            Made::Nameless(file) => nameless::name(&file, self.path).or_else(|_| {
                // Where the system does not let it have a name, it is written once more.
                let mut bytes = Vec::new();
                (&file).seek(SeekFrom::Start(0))?;
                (&file).read_to_end(&mut bytes)?;
                let named = named_file(folder(self.path))?;
                fill(named.as_file(), &bytes, Some(&file.metadata()?), true)?;
                named.persist(self.path).map(|_| ()).map_err(|e| e.error)
            }),
            Made::Named(file) => file.persist(self.path).map(|_| ()).map_err(|e| e.error),
        }
    }
}

/// Why something could not be written, for people.
pub fn reason(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::PermissionDenied => "permission denied".into(),
        ErrorKind::StorageFull => "the disk is full".into(),
        ErrorKind::QuotaExceeded => "your share of the disk is full".into(),
        ErrorKind::FileTooLarge => "it would be larger than files may be here".into(),
        ErrorKind::ReadOnlyFilesystem => "nothing can be written on this disk".into(),
        _ => error.to_string(),
    }
}

fn fill(mut file: &File, bytes: &[u8], old: Option<&Metadata>, at_once: bool) -> io::Result<()> {
    file.write_all(bytes)?;
    if at_once {
        file.sync_all()?;
    }
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
