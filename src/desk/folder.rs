//! The folder of a desk: files that the commands read and write, too.

use crate::{side_file, whole_file};
use std::io;
use std::path::{Path, PathBuf};

/// What a user has decided, each in a file of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    Decisions,
    Marks,
    Settings,
}

/// What is handed out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Out {
    Copy,
    Pages,
    Notes,
    Practice,
    PracticePages,
}

impl Held {
    pub const ALL: [Held; 3] = [Held::Decisions, Held::Marks, Held::Settings];

    pub fn file(self) -> &'static str {
        match self {
            Held::Decisions => "decisions.toml",
            Held::Marks => "my-marks.toml",
            Held::Settings => "desk.toml",
        }
    }

    /// What it is, for who does not know its name.
    pub fn about(self) -> &'static str {
        match self {
            Held::Decisions => "your decisions",
            Held::Marks => "your marks",
            Held::Settings => "the settings of this desk",
        }
    }
}

impl Out {
    pub fn file(self) -> &'static str {
        match self {
            Out::Copy => "clean.musicxml",
            Out::Pages => "part.pdf",
            Out::Notes => "notes.md",
            Out::Practice => "practice.musicxml",
            Out::PracticePages => "practice.pdf",
        }
    }
}

/// Files that may be fetched from the page, and what they are.
pub const TO_FETCH: [(&str, &str); 8] = [
    ("clean.musicxml", "application/vnd.recordare.musicxml+xml"),
    ("part.pdf", "application/pdf"),
    ("notes.md", "text/markdown; charset=utf-8"),
    ("practice.pdf", "application/pdf"),
    ("practice.musicxml", "application/vnd.recordare.musicxml+xml"),
    ("decisions.toml", "application/toml"),
    ("my-marks.toml", "application/toml"),
    ("desk.toml", "application/toml"),
];

#[derive(Debug, Clone)]
pub struct Folder(PathBuf);

impl Folder {
    /// Makes it, where it is not there.
    ///
    /// # Errors
    /// Where it cannot be made, or is a file.
    pub fn new(path: &Path) -> io::Result<Folder> {
        std::fs::create_dir_all(path)?;
        Ok(Folder(path.canonicalize()?))
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// The text of a file; `None` where there is none.
    ///
    /// # Errors
    /// Where it cannot be read, is too large or no text.
    pub fn read(&self, held: Held) -> io::Result<Option<String>> {
        let path = self.file(held.file());
        match side_file::read(&path) {
            Err(fault) if fault.kind() == io::ErrorKind::NotFound => Ok(None),
            bytes => String::from_utf8(bytes?)
                .map(Some)
                .map_err(|_| io::Error::new(io::ErrorKind::InvalidData, "the text is not UTF-8")),
        }
    }

    /// Writes a file whole; `None` takes it away.
    ///
    /// # Errors
    /// Where the disk refuses; the old file is there then.
    pub fn write(&self, held: Held, text: Option<&str>) -> io::Result<()> {
        let path = self.file(held.file());
        match text {
            Some(text) => whole_file::write(&path, text.as_bytes()),
            None => match std::fs::remove_file(&path) {
                Err(fault) if fault.kind() != io::ErrorKind::NotFound => Err(fault),
                _ => Ok(()),
            },
        }
    }

    /// Keeps an uploaded score under its own name, or one like it; a file that is there stays.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn keep(&self, name: &str, bytes: &[u8]) -> io::Result<PathBuf> {
        let name = plain(name);
        let (stem, ending) = name.rsplit_once('.').unwrap_or((&name, "musicxml"));
        for number in 1.. {
            let count = if number == 1 { String::new() } else { format!("-{number}") };
            let path = self.file(&format!("{stem}{count}.{ending}"));
            match std::fs::read(&path) {
                Err(fault) if fault.kind() == io::ErrorKind::NotFound => {
                    whole_file::write(&path, bytes)?;
                    return Ok(path);
                }
                Ok(old) if old == bytes => return Ok(path),
                _ => {}
            }
        }
        unreachable!("numbers do not end")
    }
}

/// A name without folders and without what only systems understand; never one of ours.
fn plain(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let is_odd = |c: char| {
        c.is_control() || "<>:\"|?*".contains(c) || matches!(c, '\u{200b}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    let kept: String = last.chars().filter(|c| !is_odd(*c)).take(100).collect();
    let kept = kept.trim_matches([' ', '.']);
    let has_ending = ["musicxml", "xml", "mxl"].iter().any(|e| kept.to_lowercase().ends_with(&format!(".{e}")));
    let kept = if has_ending { kept.to_string() } else { format!("{kept}.musicxml") };
    let stem = if kept.starts_with('.') { "score" } else { "" };
    let own = format!("{stem}{kept}");
    if TO_FETCH.iter().any(|(file, _)| *file == own) { format!("given-{own}") } else { own }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_uploads_stay_in_the_folder() {
        for (given, kept) in [
            ("Air.mxl", "Air.mxl"),
            ("../../etc/passwd", "passwd.musicxml"),
            ("C:\\scores\\a b.xml", "a b.xml"),
            ("..", "score.musicxml"),
            ("", "score.musicxml"),
            ("a\u{202e}\n.xml", "a.xml"),
            ("clean.musicxml", "given-clean.musicxml"),
            ("decisions.toml", "decisions.toml.musicxml"),
        ] {
            assert_eq!(plain(given), kept, "{given:?}");
        }
    }

    #[test]
    fn an_upload_never_takes_the_place_of_another() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::new(dir.path()).unwrap();
        let one = folder.keep("a.xml", b"1").unwrap();
        assert_eq!(folder.keep("a.xml", b"1").unwrap(), one);
        let other = folder.keep("a.xml", b"2").unwrap();
        assert_eq!(other.file_name().unwrap(), "a-2.xml");
        assert_eq!(std::fs::read(one).unwrap(), b"1");
    }

    #[test]
    fn a_file_is_read_written_and_taken_away() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::new(&dir.path().join("new")).unwrap();
        assert_eq!(folder.read(Held::Marks).unwrap(), None);
        folder.write(Held::Marks, Some("title = \"x\"")).unwrap();
        assert_eq!(folder.read(Held::Marks).unwrap().unwrap(), "title = \"x\"");
        folder.write(Held::Marks, None).unwrap();
        folder.write(Held::Marks, None).unwrap();
        assert_eq!(folder.read(Held::Marks).unwrap(), None);
    }
}
