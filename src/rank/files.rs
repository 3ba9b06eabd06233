//! Which files are meant: those that were named, and the scores in folders
//! that were named.

use std::path::{Path, PathBuf};
use std::str::FromStr;
use walkdir::WalkDir;

/// Endings of scores.
const SCORES: [&str; 3] = ["musicxml", "xml", "mxl"];

/// All editions that are meant, in order: folders are searched through, their scores by name. A file that was named is
/// one whatever its ending; each comes once.
///
/// # Errors
/// In a sentence, where a folder has no scores, or something named is not there.
pub fn editions(named: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
    let mut out: Vec<PathBuf> = Vec::new();
    for path in named {
        if !path.is_dir() {
            out.push(path.clone());
            continue;
        }
        let found = scores_in(path)?;
        if found.is_empty() {
            return Err(format!(
                "{}: there is no score in this folder; scores end in .musicxml, .xml or .mxl",
                path.display()
            ));
        }
        out.extend(found);
    }
    let mut seen = std::collections::HashSet::new();
    out.retain(|path| seen.insert(path.clone()));
    Ok(out)
}

/// The scores of a folder and the folders in it, by name. Links to folders are not followed, hidden files left out.
pub fn scores_in(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let is_hidden =
        |entry: &walkdir::DirEntry| entry.depth() > 0 && entry.file_name().to_string_lossy().starts_with('.');
    let mut out = Vec::new();
    for entry in WalkDir::new(folder).sort_by_file_name().into_iter().filter_entry(|e| !is_hidden(e)) {
        // What cannot be looked into is told; a link that leads nowhere is no score.
        let entry = entry.map_err(|e| format!("{}: cannot be searched: {e}", folder.display()))?;
        let ending = entry.path().extension().map(|e| e.to_string_lossy().to_lowercase());
        let is_score = ending.is_some_and(|e| SCORES.contains(&e.as_str()));
        // A pipe or a device in a folder would hang the search.
        if is_score && entry.path().metadata().is_ok_and(|about| about.is_file()) {
            let path = entry.path();
            out.push(path.strip_prefix(".").unwrap_or(path).to_path_buf());
        }
    }
    Ok(out)
}

/// One part of the work of several machines: every N-th edition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    /// 1-based.
    number: usize,
    of: usize,
}

impl FromStr for Shard {
    type Err = String;

    /// As in `3/16`.
    fn from_str(text: &str) -> Result<Shard, String> {
        let numbers = text.split_once('/').and_then(|(i, n)| Some((i.trim().parse().ok()?, n.trim().parse().ok()?)));
        match numbers {
            Some((number, of)) if number >= 1 && number <= of => Ok(Shard { number, of }),
            _ => Err("this part of the work is written I/N, such as 3/16, with I from 1 to N".into()),
        }
    }
}

impl Shard {
    /// Its editions.
    pub fn of(self, all: Vec<PathBuf>) -> Vec<PathBuf> {
        all.into_iter().skip(self.number - 1).step_by(self.of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_are_all_editions_once() {
        let all: Vec<PathBuf> = (0..17).map(|n| PathBuf::from(n.to_string())).collect();
        let mut found: Vec<PathBuf> =
            (1..=5).flat_map(|i| format!("{i}/5").parse::<Shard>().expect("well written").of(all.clone())).collect();
        found.sort_by_key(|p| p.to_string_lossy().parse::<usize>().expect("a number"));
        assert_eq!(found, all);
        for wrong in ["0/5", "6/5", "1", "a/b", "1/0", "-1/2"] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_folder_gives_its_scores_by_name() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        std::fs::create_dir_all(at("b/.hidden")).expect("a folder");
        for name in ["z.XML", "a.mxl", "b/c.musicxml", "notes.txt", ".d.xml", "b/.hidden/e.xml"] {
            std::fs::write(at(name), "").expect("a file");
        }
        assert_eq!(scores_in(folder.path()).expect("it can be read"), [at("a.mxl"), at("b/c.musicxml"), at("z.XML")]);
        let named = [at("z.XML"), folder.path().to_path_buf()];
        assert_eq!(editions(&named).expect("they are there"), [at("z.XML"), at("a.mxl"), at("b/c.musicxml")]);
        std::fs::create_dir(at("empty")).expect("a folder");
        assert!(editions(&[at("empty")]).is_err());
    }
}
