//! Where results go: standard output, or a file that is written whole or not
//! at all.

use super::failure::Failure;
use crate::readable::{escaped, numbered};
use crate::whole_file::{self, WholeFile};
use clap::ValueEnum;
use std::borrow::Cow;
use std::fs::File;
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// A place for a result, checked before any work is done.
#[derive(Debug)]
pub enum Output {
    Stdout,
    /// A pipe or a device, which can only be written into.
    Stream {
        path: PathBuf,
    },
    /// The path with links followed.
    File {
        path: PathBuf,
        named: String,
    },
}

/// What is written.
#[derive(Debug, Clone, Copy)]
pub enum Content<'a> {
    /// For people, with colours where they are wanted.
    Text(&'a str),
    /// JSON or TOML, without what a terminal would obey where it goes to one.
    Data(&'a str),
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
    pub fn is_file(&self) -> bool {
        matches!(self, Output::File { .. })
    }

    pub fn is_stdout(&self) -> bool {
        matches!(self, Output::Stdout)
    }

    /// Writes everything or nothing.
    ///
    /// # Errors
    /// Wrong use, when the place cannot be written.
    pub fn write(&self, content: Content) -> Result<(), Failure> {
        write_all(&[(self, content)])
    }

    fn refuse(&self, error: &io::Error) -> Failure {
        let reason = whole_file::reason(error);
        Failure::wrong_use(match self {
            Output::Stdout => format!("standard output cannot be written: {reason}"),
            Output::Stream { path } => format!("{}: cannot be written: {reason}", path.display()),
            Output::File { named, .. } => format!("{named}: cannot be written: {reason}"),
        })
    }
}

/// Writes several results: no file gets its name before all are complete and on disk.
///
/// # Errors
/// Wrong use, when a place cannot be written; then no file was.
pub fn write_all(results: &[(&Output, Content)]) -> Result<(), Failure> {
    let mut files = Vec::new();
    for (output, content) in results {
        let Output::File { path, .. } = output else { continue };
        let plain;
        let bytes = match content {
            Content::Bytes(bytes) => bytes,
            Content::Data(text) => text.as_bytes(),
            Content::Text(text) => {
                plain = anstream::adapter::strip_str(text).to_string();
                plain.as_bytes()
            }
        };
        files.push((output, WholeFile::new(path, bytes).map_err(|e| output.refuse(&e))?));
    }
    for (output, content) in results {
        let done = match output {
            Output::Stdout => to_stdout(*content),
            Output::Stream { path } => to_stream(path, *content),
            Output::File { .. } => Ok(()),
        };
        match done {
            // The reader has seen enough, as `head` does.
            Err(e) if e.kind() == ErrorKind::BrokenPipe => {}
            done => done.map_err(|e| output.refuse(&e))?,
        }
    }
    files.into_iter().try_for_each(|(output, file)| file.place().map_err(|e| output.refuse(&e)))
}

fn to_stdout(content: Content) -> io::Result<()> {
    match content {
        Content::Text(text) => {
            let mut out = anstream::stdout().lock();
            out.write_all(text.as_bytes()).and_then(|()| out.flush())
        }
        Content::Data(text) if io::stdout().is_terminal() => to_stdout(Content::Bytes(escaped(text).as_bytes())),
        Content::Data(text) => to_stdout(Content::Bytes(text.as_bytes())),
        Content::Bytes(bytes) => {
            let shown = if io::stdout().is_terminal() { on_terminal(bytes) } else { bytes.into() };
            let bytes = &*shown;
            let mut out = io::stdout().lock();
            out.write_all(bytes).and_then(|()| out.flush())
        }
    }
}

fn to_stream(path: &Path, content: Content) -> io::Result<()> {
    let mut out = File::options().write(true).open(path)?;
    match content {
        Content::Text(text) => anstream::AutoStream::auto(out).write_all(text.as_bytes()),
        Content::Data(text) if out.is_terminal() => out.write_all(escaped(text).as_bytes()),
        Content::Data(text) => out.write_all(text.as_bytes()),
        Content::Bytes(bytes) if out.is_terminal() => out.write_all(&on_terminal(bytes)),
        Content::Bytes(bytes) => out.write_all(bytes),
    }
}

/// A score, or whatever it is, without what a terminal would obey.
fn on_terminal(bytes: &[u8]) -> Cow<'_, [u8]> {
    numbered(&String::from_utf8_lossy(bytes)).into_owned().into_bytes().into()
}

/// The form of what is said of a result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Told {
    Text,
    Json,
}

impl Told {
    /// Says it, never mixed with a result on standard output.
    ///
    /// # Errors
    /// Wrong use, when standard output cannot be written.
    pub fn say(self, text: &str, result_on_stdout: bool) -> Result<(), Failure> {
        let content = match self {
            Told::Text => Content::Text(text),
            Told::Json => Content::Data(text),
        };
        match result_on_stdout {
            true => to_stderr(content),
            false => Output::Stdout.write(content)?,
        }
        Ok(())
    }
}

/// Says what was done where standard output has the result.
fn to_stderr(content: Content) {
    // Nobody may be there to be told.
    let _ = match content {
        Content::Data(text) if io::stderr().is_terminal() => io::stderr().write_all(escaped(text).as_bytes()),
        Content::Text(text) => anstream::stderr().write_all(text.as_bytes()),
        Content::Data(text) => io::stderr().write_all(text.as_bytes()),
        Content::Bytes(bytes) => io::stderr().write_all(bytes),
    };
}

#[cfg(test)]
mod tests {
    use super::super::files::Files;
    use super::*;
    use std::fs;

    fn at(path: &Path) -> Output {
        Files::new(&[]).unwrap().output(Some(path)).unwrap()
    }

    #[test]
    fn an_output_is_written_whole_and_keeps_its_permissions() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("out.txt");
        let write = |text: &str| {
            at(&path).write(Content::Text(text)).unwrap();
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
    #[cfg(unix)]
    fn a_device_is_written_into() {
        at(Path::new("/dev/null")).write(Content::Bytes(b"x")).unwrap();
        assert!(!fs::metadata("/dev/null").unwrap().is_file());
    }
}
