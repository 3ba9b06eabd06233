//! Which bars a mark sheet counts: it says of the copy that it was made for what
//! music each bar has.

use crate::score::Part;
use crate::time::text;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;

/// The copy that a sheet was made for.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MadeFor {
    pub bars: usize,
    /// For each bar its number and a sign for its length and where its notes begin, as `12:3f9a`.
    pub music: String,
}

impl MadeFor {
    pub(super) fn of(part: &Part) -> MadeFor {
        let music: Vec<String> = (0..part.bars.len()).map(|bar| sign(part, bar)).collect();
        MadeFor { bars: part.bars.len(), music: music.join(" ") }
    }

    /// Of some bars, by their numbers, those that have other music in this part.
    pub(super) fn other_music(&self, part: &Part, numbers: impl Iterator<Item = String>) -> Vec<String> {
        let now = MadeFor::of(part);
        let (theirs, ours) = (by_number(&self.music), by_number(&now.music));
        let mut out: Vec<String> = Vec::new();
        for number in numbers {
            if theirs.get(number.as_str()) != ours.get(number.as_str()) && !out.contains(&number) {
                out.push(number);
            }
        }
        out
    }
}

/// The sign of each bar; of several with one number, the first, as marks count.
fn by_number(music: &str) -> HashMap<&str, &str> {
    let all = music.split(' ').rev().filter_map(|bar| bar.rsplit_once(':'));
    all.collect()
}

fn sign(part: &Part, bar: usize) -> String {
    let own = &part.bars[bar];
    let mut onsets: Vec<_> = part.struck_in(bar).map(|n| part.notes[n].offset).collect();
    onsets.sort();
    onsets.dedup();
    let said: Vec<String> = std::iter::once(own.length).chain(onsets).map(text).collect();
    let hash = blake3::hash(said.join(" ").as_bytes()).to_hex();
    format!("{}:{}", own.number.replace(' ', "_"), &hash[..4])
}
