//! The program's own commands, each in a process of its own: what the desk makes is what they make.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;
use tokio::process::Command;

/// No command of ours takes as long.
const LONGEST: Duration = Duration::from_secs(300);

/// What a command has said.
pub struct Said {
    /// Its standard output.
    pub text: String,
    /// Its remarks, one a line.
    pub remarks: Vec<String>,
}

/// Runs a command. It is stopped where nobody waits for it any more.
///
/// # Errors
/// What the command says of its fault.
pub async fn run(args: Vec<OsString>) -> Result<Said, String> {
    let program = std::env::current_exe().map_err(|fault| fault.to_string())?;
    let mut command = Command::new(program);
    command.args(args).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).kill_on_drop(true);
    let run = tokio::time::timeout(LONGEST, command.output());
    let done = run.await.map_err(|_| format!("this took longer than {} seconds and was stopped", LONGEST.as_secs()))?;
    let done = done.map_err(|fault| match fault.kind() {
        std::io::ErrorKind::NotFound => "obelus was replaced while it ran; start obelus desk again".to_string(),
        _ => format!("the program could not be started again: {fault}"),
    })?;
    let remarks: Vec<String> = String::from_utf8_lossy(&done.stderr)
        .lines()
        .map(|line| line.strip_prefix("obelus: ").unwrap_or(line).trim().to_string())
        .filter(|line| !line.is_empty())
        .collect();
    if done.status.success() {
        Ok(Said { text: String::from_utf8_lossy(&done.stdout).into_owned(), remarks })
    } else if remarks.is_empty() {
        Err(format!("the command stopped ({})", done.status))
    } else {
        Err(remarks.join(" "))
    }
}

/// The files that a copy is made from.
pub struct From<'f> {
    pub edition: &'f Path,
    pub source: &'f Path,
    /// Where there are any.
    pub decisions: Option<PathBuf>,
    pub marks: Option<PathBuf>,
}

impl From<'_> {
    /// `clean` with these files, to another.
    pub fn clean(&self, to: &Path, options: &[String]) -> Vec<OsString> {
        let mut out: Vec<OsString> =
            vec!["clean".into(), self.edition.into(), self.source.into(), "-o".into(), to.into()];
        for (name, file) in [("--decisions", &self.decisions), ("--mine", &self.marks)] {
            out.extend(file.iter().flat_map(|file| [OsString::from(name), file.into()]));
        }
        out.extend(options.iter().map(OsString::from));
        out
    }
}

/// A command as a user would type it.
pub fn typed(args: &[OsString]) -> String {
    let word = |arg: &OsString| {
        let text = arg.to_string_lossy();
        let is_plain = |c: char| c.is_alphanumeric() || "-_./=,:".contains(c);
        match !text.is_empty() && text.chars().all(is_plain) {
            true => text.into_owned(),
            false => format!("'{}'", text.replace('\'', "'\\''")),
        }
    };
    std::iter::once("obelus".to_string()).chain(args.iter().map(word)).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_can_be_typed_again() {
        let from = From {
            edition: Path::new("/a b/e.mxl"),
            source: Path::new("s.mxl"),
            decisions: None,
            marks: Some("m.toml".into()),
        };
        let args = from.clean(Path::new("out.musicxml"), &["--key=F major".into(), "--title=it's".into()]);
        assert_eq!(
            typed(&args),
            "obelus clean '/a b/e.mxl' s.mxl -o out.musicxml --mine m.toml '--key=F major' '--title=it'\\''s'"
        );
    }
}
