//! A folder of sources, known by their melodies: which of them has the music
//! of an edition, in whatever key. Only the melodies are kept; a source that
//! comes near is read again.

use super::files::scores_in;
use super::shown;
use crate::collate::fingerprint;
use crate::read_score::ReadScore;
use crate::score::Score;
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use std::panic::catch_unwind;
use std::path::{Path, PathBuf};

/// Of 100 notes of the shorter side the other has so many at least.
pub const LEAST_SHARED_NOTES: f64 = 40.0;
/// Where of 100 notes of both fewer are the same, it is not sure.
pub const LEAST_SURE: f64 = 60.0;
/// By so many in 100 the likest has to be ahead to be sure.
pub const MARGIN: f64 = 5.0;
/// Of the melodies of the shorter side so many are shared at least: what is less is chance.
const LEAST_SHARED: f64 = 0.1;
/// And so much of what the nearest shares.
const LEAST_OF_BEST: f64 = 0.5;
/// So many are compared with an edition at most.
const MOST_NEAR: usize = 12;

/// The sources of a folder.
pub struct Library {
    /// Its name.
    pub folder: String,
    /// Which files could not be read, and why.
    pub warnings: Vec<String>,
    sources: Vec<Known>,
    /// Melodies, and which sources have them.
    melodies: FxHashMap<u64, Vec<u32>>,
}

struct Known {
    file: PathBuf,
    melodies: usize,
}

impl Library {
    /// Reads the melodies of all scores of a folder; `step` is called after each.
    ///
    /// # Errors
    /// In a sentence, where the folder cannot be searched, or nothing in it can be read.
    pub fn open(folder: &Path, step: impl Fn() + Sync) -> Result<Library, String> {
        let files = scores_in(folder)?;
        let read = |file: &PathBuf| {
            let melodies = catch_unwind(|| ReadScore::open_alone(file).map(|read| fingerprint(&read.score)));
            step();
            melodies.unwrap_or_else(|_| Ok(Vec::new())).map_err(|e| e.to_string())
        };
        let all: Vec<Result<Vec<u64>, String>> = files.par_iter().map(read).collect();
        let mut out = Library {
            folder: shown(folder),
            warnings: Vec::new(),
            sources: Vec::new(),
            melodies: FxHashMap::default(),
        };
        for (file, melodies) in files.into_iter().zip(all) {
            match melodies {
                Ok(melodies) => {
                    let place = out.sources.len() as u32;
                    melodies.iter().for_each(|melody| out.melodies.entry(*melody).or_default().push(place));
                    out.sources.push(Known { file, melodies: melodies.len() });
                }
                Err(fault) => out.warnings.push(format!("sources, {fault}")),
            }
        }
        match (out.sources.is_empty(), out.warnings.first()) {
            (false, _) => Ok(out),
            (true, Some(fault)) => Err(format!("{}: no source can be read: {fault}", out.folder)),
            (true, None) => Err(format!("{}: there is no score in this folder", out.folder)),
        }
    }

    /// The sources that share most melodies with an edition, the nearest first.
    pub fn near(&self, edition: &Score) -> Vec<&Path> {
        let own = fingerprint(edition);
        let mut shared = vec![0_usize; self.sources.len()];
        for source in own.iter().filter_map(|melody| self.melodies.get(melody)).flatten() {
            shared[*source as usize] += 1;
        }
        let share = |(place, shared): (usize, &usize)| {
            let shorter = own.len().min(self.sources[place].melodies).max(1);
            (*shared as f64 / shorter as f64, *shared, place)
        };
        let mut near: Vec<(f64, usize, usize)> = shared.iter().enumerate().map(share).collect();
        near.retain(|(share, ..)| *share >= LEAST_SHARED);
        // Of two that share as much, the one with more of the edition.
        near.sort_by(|a, b| b.0.total_cmp(&a.0).then((b.1, a.2).cmp(&(a.1, b.2))));
        let best = near.first().map_or(0.0, |n| n.0);
        let near = near.into_iter().take_while(|n| n.0 >= LEAST_OF_BEST * best).take(MOST_NEAR);
        near.map(|(_, _, place)| self.sources[place].file.as_path()).collect()
    }

    /// Said of an edition of which nothing is there.
    pub fn nothing(&self) -> String {
        format!("no score in {} has its music", self.folder)
    }
}
