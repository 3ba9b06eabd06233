//! The files of one call: what it reads, each once, and what it writes. No output is an input or another output.

use super::failure::Failure;
use super::output::Output;
use crate::whole_file::folder;
use std::collections::HashMap;
use std::fs::Metadata;
use std::io;
use std::path::{Path, PathBuf};

/// All files that a call names.
pub struct Files {
    taken: HashMap<Identity, Use>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Use {
    Read,
    Written,
}

/// What is the same for all names of one file.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Identity {
    Stdout,
    /// Device and number.
    #[cfg(unix)]
    There(u64, u64),
    /// The path with links followed.
    Path(PathBuf),
}

/// Names of standard output and standard input.
const STDOUT: [&str; 4] = ["-", "/dev/stdout", "/dev/fd/1", "/proc/self/fd/1"];
const STDIN: [&str; 4] = ["-", "/dev/stdin", "/dev/fd/0", "/proc/self/fd/0"];

impl Files {
    /// What a call reads.
    ///
    /// # Errors
    /// Wrong use, where something is named twice that can be read once only.
    pub fn new(inputs: &[&Path]) -> Result<Files, Failure> {
        let is_stdin = |path: &Path| STDIN.iter().any(|name| path.as_os_str() == *name);
        if inputs.iter().any(|path| path.as_os_str() == "-") && inputs.iter().filter(|path| is_stdin(path)).count() > 1
        {
            return Err(Failure::wrong_use("only one file can be read from standard input; name the other"));
        }
        let mut taken = HashMap::new();
        for path in inputs.iter().filter(|path| path.as_os_str() != "-") {
            let Ok(about) = std::fs::metadata(path) else { continue };
            let before = taken.insert(identity(path, Some(&about)), Use::Read);
            if before.is_some() && !about.is_file() && !about.is_dir() {
                let named = path.display();
                return Err(Failure::wrong_use(format!("{named}: this can be read once only; name another file")));
            }
        }
        Ok(Files { taken })
    }

    /// A place to write to, which is nothing that is read or written already. `None` and `-` are standard output.
    ///
    /// # Errors
    /// Wrong use, when the output is an input, another output, a folder, read-only, or in no folder.
    pub fn output(&mut self, output: Option<&Path>) -> Result<Output, Failure> {
        let Some(named_path) = output.filter(|path| !STDOUT.iter().any(|name| path.as_os_str() == *name)) else {
            return match self.taken.insert(Identity::Stdout, Use::Written) {
                None => Ok(Output::Stdout),
                Some(_) => {
                    Err(Failure::wrong_use("only one result can go to standard output; give the other a file name"))
                }
            };
        };
        let named = named_path.display().to_string();
        let wrong = |reason: &str| Failure::wrong_use(format!("{named}: {reason}"));
        if named.is_empty() {
            return Err(Failure::wrong_use("the output has no name; give one after -o"));
        }
        let path = followed(named_path).map_err(|reason| wrong(&reason))?;
        let about = std::fs::metadata(&path).ok();
        match &about {
            Some(about) if about.is_dir() => Err(wrong("this is a folder; give the output a file name")),
            Some(about) if about.permissions().readonly() => Err(wrong("the file is read-only; choose another name")),
            None if !folder(&path).is_dir() => {
                let folder = folder(&path).display();
                Err(wrong(&match path == named_path {
                    true => format!("there is no folder {folder}; make it first"),
                    false => format!("this is a link to {}, and there is no folder {folder}", path.display()),
                }))
            }
            _ => Ok(()),
        }?;
        match self.taken.insert(identity(&path, about.as_ref()), Use::Written) {
            Some(Use::Read) => {
                return Err(wrong("the output would overwrite an input; choose another name"));
            }
            // Whatever goes there is let go.
            Some(Use::Written) if named != "/dev/null" => {
                return Err(wrong("two outputs cannot have the same name; choose another"));
            }
            _ => {}
        }
        Ok(match about.is_none_or(|about| about.is_file()) {
            true => Output::File { path, named },
            false => Output::Stream { path },
        })
    }

    /// Whether a result goes to standard output.
    pub fn use_stdout(&self) -> bool {
        self.taken.contains_key(&Identity::Stdout)
    }
}

/// Where links lead, also to a file that is not there yet. Pipes and devices keep their names.
fn followed(path: &Path) -> Result<PathBuf, String> {
    let mut path = path.to_path_buf();
    // As many links as systems follow.
    for _ in 0..40 {
        match std::fs::metadata(&path) {
            Ok(about) if about.is_file() => return path.canonicalize().map_err(|e| e.to_string()),
            Err(e) if e.kind() == io::ErrorKind::NotFound => {}
            Err(e) if e.kind() == io::ErrorKind::NotADirectory => return Ok(path),
            Err(e) => return Err(e.to_string()),
            Ok(_) => return Ok(path),
        }
        let Ok(target) = std::fs::read_link(&path) else { return Ok(path) };
        path = folder(&path).join(target);
    }
    Err("this link leads to itself".into())
}

fn identity(path: &Path, about: Option<&Metadata>) -> Identity {
    match about {
        #[cfg(unix)]
        Some(about) => {
            use std::os::unix::fs::MetadataExt;
            Identity::There(about.dev(), about.ino())
        }
        _ => {
            let whole = |path: &Path| path.canonicalize().ok();
            let in_folder = || Some(whole(folder(path))?.join(path.file_name()?));
            Identity::Path(whole(path).or_else(in_folder).unwrap_or_else(|| path.into()))
        }
    }
}

/// Whether two names lead to one file, through links of any kind.
pub fn is_same_file(one: &Path, other: &Path) -> bool {
    let there = |path| std::fs::metadata(path).ok().map(|about| identity(path, Some(&about)));
    there(one).is_some_and(|one| Some(one) == there(other))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn refusal(output: &Path, inputs: &[&Path]) -> String {
        Files::new(inputs).unwrap().output(Some(output)).unwrap_err().line()
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
    fn two_outputs_are_never_one() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("one.txt");
        let mut files = Files::new(&[]).unwrap();
        files.output(Some(&file)).unwrap();
        let again = dir.path().join(".").join("one.txt");
        assert!(files.output(Some(&again)).unwrap_err().line().contains("same name"));
        files.output(None).unwrap();
        assert!(files.use_stdout());
        for name in STDOUT {
            assert!(files.output(Some(Path::new(name))).unwrap_err().line().contains("standard output"), "{name}");
        }
    }

    #[test]
    #[cfg(unix)]
    fn a_link_to_no_file_is_followed() {
        use std::os::unix::fs::symlink;
        let dir = tempfile::tempdir().unwrap();
        let [link, other, round] = ["link.txt", "other.txt", "round.txt"].map(|name| dir.path().join(name));
        symlink("file.txt", &link).unwrap();
        let mut files = Files::new(&[]).unwrap();
        let Output::File { path, .. } = files.output(Some(&link)).unwrap() else { panic!("no file") };
        assert_eq!(path, dir.path().join("file.txt"));
        assert!(files.output(Some(&path)).unwrap_err().line().contains("same name"));
        symlink("no/file.txt", &other).unwrap();
        assert!(refusal(&other, &[]).contains("a link to"));
        symlink("round.txt", &round).unwrap();
        assert!(refusal(&round, &[]).contains("round.txt"));
    }
}
