//! What can go wrong with a file, said with its place.

use std::io;

/// Why a score could not be read or written. Lines and columns are 1-based.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The system could not read or write it.
    #[error("{file}: {reason}")]
    Io {
        /// The file.
        file: String,
        /// What is wrong, in words.
        reason: String,
    },
    /// There is nothing in it.
    #[error("{file}: the file is empty")]
    Empty {
        /// The file.
        file: String,
    },
    /// A packed score that cannot be unpacked.
    #[error("{file}: not a readable .mxl archive: {reason}")]
    Container {
        /// The file.
        file: String,
        /// What is wrong, in words.
        reason: String,
    },
    /// It is not text of its encoding, from this byte on.
    #[error("{file}: the text is not {encoding} from byte {at} on; save it again as UTF-8")]
    Encoding {
        /// The file.
        file: String,
        /// The encoding that it names.
        encoding: String,
        /// Bytes from the start.
        at: usize,
    },
    /// It is not XML.
    #[error("{file}: line {line}, column {column}: {reason}")]
    Syntax {
        /// The file.
        file: String,
        /// 1-based.
        line: u32,
        /// 1-based.
        column: u32,
        /// What is wrong, in words.
        reason: String,
    },
    /// It is XML, but no score.
    #[error("{file}: line {line}, column {column}: not MusicXML: {reason}")]
    NotMusicXml {
        /// The file.
        file: String,
        /// 1-based.
        line: u32,
        /// 1-based.
        column: u32,
        /// What is wrong, in words.
        reason: String,
    },
    /// A score with something that cannot be read; `path` are the elements above it.
    #[error("{file}: line {line}, column {column} ({path}): {reason}")]
    Content {
        /// The file.
        file: String,
        /// 1-based.
        line: u32,
        /// 1-based.
        column: u32,
        /// The elements around, outermost first.
        path: String,
        /// What is wrong, in words.
        reason: String,
    },
    /// It cannot be used for this.
    #[error("{file}: {reason}")]
    Unsuited {
        /// The file.
        file: String,
        /// What is wrong, in words.
        reason: String,
    },
}

impl Error {
    /// A reading error of the system, in a musician's words.
    pub fn io(file: &str, error: &io::Error) -> Error {
        let reason = match error.kind() {
            io::ErrorKind::NotFound => "there is no such file".into(),
            io::ErrorKind::PermissionDenied => "permission denied".into(),
            io::ErrorKind::IsADirectory => "this is a folder, not a file".into(),
            _ => error.to_string(),
        };
        Error::Io { file: file.into(), reason }
    }
}
