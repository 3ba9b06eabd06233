//! Where results go: standard output, or a file that is written whole or not
//! at all.

use super::failure::Failure;
use super::readable::readable;
use crate::whole_file::{self, folder};
use std::fs::Metadata;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// A place for a result, checked before any work is done.
#[derive(Debug)]
pub enum Output {
    Stdout,
    /// The path with links followed.
    File {
        path: PathBuf,
        named: String,
    },
}

/// What is written: text for people may have colours where they are wanted.
#[derive(Debug, Clone, Copy)]
pub enum Content<'a> {
    Text(&'a str),
    Bytes(&'a [u8]),
}

/// Endings that plainly name a form, what has them, and how to get it.
const FORMS: [(&[&str], &str, &str); 8] = [
    (&["pdf"], "pages", "clean prints a part with --pdf FILE"),
    (&["html", "htm"], "a page", "audit writes one with --format html"),
    (&["json"], "JSON", "audit, range and keys write it with --format json"),
    (&["csv"], "a table", "audit, range and keys write one with --format csv, clean with --notes FILE.csv"),
    (&["md"], "critical notes", "clean writes them with --notes FILE.md"),
    (&["toml"], "mark sheets and decisions", "marks writes the one, audit the other with --decisions FILE"),
    (&["musicxml", "xml"], "a score", "clean writes one, and audit another with --side-by-side FILE"),
    (&["mxl"], "a compressed score", "clean writes one"),
];

/// Refuses a name that plainly asks for another form than what goes there:
/// `what`, in files with one of the endings `own`.
///
/// # Errors
/// Wrong use, with the option for that form.
pub fn suits(file: Option<&Path>, what: &str, own: &[&str]) -> Result<(), Failure> {
    let Some((file, ending)) = file.and_then(|f| Some((f, f.extension()?.to_string_lossy().to_lowercase()))) else {
        return Ok(());
    };
    let other = FORMS.iter().find(|(endings, ..)| endings.contains(&ending.as_str()));
    let Some((_, form, how)) = other.filter(|_| !own.contains(&ending.as_str())) else { return Ok(()) };
    let named = file.display();
    let ours = own.first().copied().unwrap_or_default();
    Err(Failure::wrong_use(format!(
        "{named}: this would be {what}, but .{ending} is the ending of {form}: {how}; the name of {what} ends in .{ours}"
    )))
}

impl Output {
    /// Checks an output against the inputs and the outputs before it, which it
    /// must not overwrite.
    /// `None` and `-` are standard output.
    ///
    /// # Errors
    /// Wrong use, when the output is an input, a folder, read-only, or in no
    /// folder.
    pub fn new(output: Option<&Path>, inputs: &[&Path]) -> Result<Output, Failure> {
        let Some(named_path) = output.filter(|p| p.as_os_str() != "-") else {
            return Ok(Output::Stdout);
        };
        let named = named_path.display().to_string();
        let wrong = |reason: &str| Failure::wrong_use(format!("{named}: {reason}"));
        if named.is_empty() {
            return Err(Failure::wrong_use("the output has no name; give one after -o"));
        }
        for other in inputs.iter().filter(|i| i.as_os_str() != "-") {
            if is_same_file(named_path, other) {
                return Err(wrong("the output would overwrite an input; choose another name"));
            }
            if named_path == *other {
                return Err(wrong("two outputs cannot have the same name; choose another"));
            }
        }
        match std::fs::metadata(named_path) {
            Ok(about) if about.is_dir() => Err(wrong("this is a folder; give the output a file name")),
            Ok(about) if about.permissions().readonly() => Err(wrong("the file is read-only; choose another name")),
            Ok(_) => Ok(Output::File { path: named_path.canonicalize().map_err(|e| wrong(&e.to_string()))?, named }),
            Err(_) if !folder(named_path).is_dir() => {
                let folder = folder(named_path).display().to_string();
                Err(wrong(&format!("there is no folder {folder}; make it first")))
            }
            Err(_) => Ok(Output::File { path: named_path.to_path_buf(), named }),
        }
    }

    pub fn is_file(&self) -> bool {
        matches!(self, Output::File { .. })
    }

    /// Writes everything or nothing.
    ///
    /// # Errors
    /// Wrong use, when the place cannot be written.
    pub fn write(&self, content: Content) -> Result<(), Failure> {
        match self {
            Output::Stdout => {
                to_stdout(content).map_err(|e| Failure::wrong_use(format!("standard output cannot be written: {e}")))
            }
            Output::File { path, named } => {
                let plain;
                let bytes = match content {
                    Content::Bytes(bytes) => bytes,
                    Content::Text(text) => {
                        plain = anstream::adapter::strip_str(&readable(text)).to_string();
                        plain.as_bytes()
                    }
                };
                whole_file::write(path, bytes).map_err(|e| {
                    let reason = match e.kind() {
                        ErrorKind::PermissionDenied => "permission denied".to_string(),
                        _ => e.to_string(),
                    };
                    Failure::wrong_use(format!("{named}: cannot be written: {reason}"))
                })
            }
        }
    }
}

fn to_stdout(content: Content) -> io::Result<()> {
    let done = match content {
        Content::Text(text) => {
            let mut out = anstream::stdout().lock();
            out.write_all(readable(text).as_bytes()).and_then(|()| out.flush())
        }
        Content::Bytes(bytes) => {
            let mut out = io::stdout().lock();
            out.write_all(bytes).and_then(|()| out.flush())
        }
    };
    match done {
        // The reader has seen enough, as `head` does.
        Err(e) if e.kind() == ErrorKind::BrokenPipe => Ok(()),
        other => other,
    }
}

/// Whether two names lead to one file, through links of any kind.
pub fn is_same_file(one: &Path, other: &Path) -> bool {
    let (Ok(a), Ok(b)) = (one.canonicalize(), other.canonicalize()) else {
        return false;
    };
    a == b
        || match (std::fs::metadata(a), std::fs::metadata(b)) {
            (Ok(a), Ok(b)) => is_same_inode(&a, &b),
            _ => false,
        }
}

#[cfg(unix)]
fn is_same_inode(a: &Metadata, b: &Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    (a.dev(), a.ino()) == (b.dev(), b.ino())
}

#[cfg(not(unix))]
fn is_same_inode(_: &Metadata, _: &Metadata) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn refusal(output: &Path, inputs: &[&Path]) -> String {
        Output::new(Some(output), inputs).unwrap_err().line()
    }

    #[test]
    fn an_output_is_written_whole_and_keeps_its_permissions() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("out.txt");
        let write = |text: &str| {
            let output = Output::new(Some(&path), &[]).unwrap();
            output.write(Content::Text(text)).unwrap();
        };
        write("one\n");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        }
        write("\u{1b}[1mtwo\u{1b}[0m\n");
        assert_eq!(fs::read_to_string(&path).unwrap(), "two\n");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = fs::metadata(&path).unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o640);
        }
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn an_input_is_never_an_output() {
        let dir = tempfile::tempdir().unwrap();
        let input = dir.path().join("in.xml");
        fs::write(&input, "x").unwrap();
        assert!(refusal(&input, &[&input]).contains("overwrite"));
        let roundabout = dir.path().join(".").join("in.xml");
        assert!(refusal(&roundabout, &[&input]).contains("overwrite"));
        #[cfg(unix)]
        {
            let link = dir.path().join("link.xml");
            std::os::unix::fs::symlink(&input, &link).unwrap();
            assert!(refusal(&link, &[&input]).contains("overwrite"));
            let hard = dir.path().join("hard.xml");
            fs::hard_link(&input, &hard).unwrap();
            assert!(refusal(&hard, &[&input]).contains("overwrite"));
        }
    }

    #[test]
    fn places_that_cannot_be_written_are_refused_first() {
        let dir = tempfile::tempdir().unwrap();
        assert!(refusal(dir.path(), &[]).contains("folder"));
        assert!(refusal(&dir.path().join("no/out.txt"), &[]).contains("no folder"));
        let fixed = dir.path().join("fixed.txt");
        fs::write(&fixed, "x").unwrap();
        let mut permissions = fs::metadata(&fixed).unwrap().permissions();
        permissions.set_readonly(true);
        fs::set_permissions(&fixed, permissions).unwrap();
        assert!(refusal(&fixed, &[]).contains("read-only"));
    }

    #[test]
    #[cfg(unix)]
    fn a_device_is_written_into() {
        let output = Output::new(Some(Path::new("/dev/null")), &[]).unwrap();
        output.write(Content::Bytes(b"x")).unwrap();
        assert!(!fs::metadata("/dev/null").unwrap().is_file());
    }
}
