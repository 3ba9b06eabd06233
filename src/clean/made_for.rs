//! Which bars a mark sheet counts: it says of the copy that it was made for what
//! music each bar has, so that its marks follow the music where bars came or went.

use crate::readable;
use crate::score::{Part, Sound};
use crate::time::text;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The copy that a sheet was made for.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MadeFor {
    pub bars: usize,
    /// For each bar its number and a sign, as `12:3f9a07c2`: four places for its
    /// length and where its notes begin, four for how they lie to each other,
    /// whatever the key. Some sheets have the first four alone.
    pub music: String,
}

/// Places of a sign that say how long a bar is and where its notes begin.
const RHYTHM: usize = 4;
/// Pairs of bars, no more of which are tried.
const MOST: usize = 1 << 24;

/// Where the bars of a sheet are in another copy.
#[derive(Debug, Default)]
pub(super) struct Moved {
    /// By the number in the sheet the place of the bar in the copy, where it is not the bar of that number.
    pub to: BTreeMap<String, usize>,
    /// Bars of which that cannot be said.
    pub unsure: Vec<String>,
}

impl MadeFor {
    pub(super) fn of(part: &Part) -> MadeFor {
        let music: Vec<String> = (0..part.bars.len()).map(|bar| sign(part, bar)).collect();
        MadeFor { bars: part.bars.len(), music: music.join(" ") }
    }

    /// Whether this part has the same bars, number for number, by their lengths and where their notes begin.
    pub(super) fn has_rhythm_of(&self, part: &Part) -> bool {
        let now = MadeFor::of(part);
        let rhythms = |music: &str| -> Vec<(String, String)> {
            signs(music)
                .into_iter()
                .map(|(number, sign)| (number.into(), sign.chars().take(RHYTHM).collect()))
                .collect()
        };
        rhythms(&self.music) == rhythms(&now.music)
    }

    /// Where some bars, by their numbers, have gone in this part.
    pub(super) fn moved(&self, part: &Part, numbers: impl Iterator<Item = String>) -> Moved {
        let now = MadeFor::of(part);
        let (theirs, all) = (signs(&self.music), signs(&now.music));
        let places = theirs.iter().map(|bar| bar.1.len()).max().unwrap_or(RHYTHM);
        let ours: Vec<(&str, &str)> =
            all.iter().map(|(number, sign)| (*number, &sign[..places.min(sign.len())])).collect();
        let mut out = Moved::default();
        if theirs == ours {
            return out;
        }
        let [old, new] = [&theirs, &ours].map(|bars| bars.iter().map(|bar| bar.1).collect::<Vec<_>>());
        let targets = targets(&old, &new);
        let first = |bars: &[(&str, &str)], number: &str| bars.iter().position(|bar| bar.0 == number);
        for number in numbers {
            // Of several bars with one number the first, as marks count.
            let plain = joined(&number);
            let Some(from) = first(&theirs, &plain) else { continue };
            match targets[from] {
                Some(to) if first(&ours, &plain) == Some(to) => {}
                Some(to) => _ = out.to.insert(number, to),
                None if !out.unsure.contains(&number) => out.unsure.push(number),
                None => {}
            }
        }
        out
    }
}

/// A number without blanks, which part a sheet's bars.
fn joined(number: &str) -> String {
    readable::plain(number).replace(' ', "_")
}

/// The number and the sign of each bar.
fn signs(music: &str) -> Vec<(&str, &str)> {
    music.split(' ').filter_map(|bar| bar.rsplit_once(':')).filter(|bar| bar.1.is_ascii()).collect()
}

/// For each old sign the new one that is the same bar in every way to lay most
/// bars beside their like; for one that changed, the bar between two such.
fn targets(old: &[&str], new: &[&str]) -> Vec<Option<usize>> {
    let mut out = if old.len() * new.len() <= MOST { surely(old, new) } else { vec![None; old.len()] };
    let rhythm = |sign: &str| sign[..RHYTHM.min(sign.len())].to_string();
    let known: Vec<(usize, usize)> = out.iter().enumerate().filter_map(|(from, to)| Some((from, (*to)?))).collect();
    for from in (0..old.len()).filter(|from| out[*from].is_none()).collect::<Vec<_>>() {
        // One more, so that there is a bar before the first.
        let before = known.iter().rev().find(|k| k.0 < from).map_or((0, 0), |k| (k.0 + 1, k.1 + 1));
        let after = known.iter().find(|k| k.0 > from).copied().unwrap_or((old.len(), new.len()));
        let to = before.1 + from - before.0;
        if after.0 - before.0 == after.1 - before.1 && rhythm(new[to]) == rhythm(old[from]) {
            out[from] = Some(to);
        }
    }
    out
}

/// The pairs that are in every longest common sequence.
fn surely(old: &[&str], new: &[&str]) -> Vec<Option<usize>> {
    let (rows, width) = (old.len(), new.len() + 1);
    // How many bars of both have their like before two places, and after them.
    let (mut before, mut after) = (vec![0u32; (rows + 1) * width], vec![0u32; (rows + 1) * width]);
    for i in 0..rows {
        for j in 0..new.len() {
            before[(i + 1) * width + j + 1] = match old[i] == new[j] {
                true => before[i * width + j] + 1,
                false => before[i * width + j + 1].max(before[(i + 1) * width + j]),
            };
        }
    }
    for i in (0..rows).rev() {
        for j in (0..new.len()).rev() {
            after[i * width + j] = match old[i] == new[j] {
                true => after[(i + 1) * width + j + 1] + 1,
                false => after[(i + 1) * width + j].max(after[i * width + j + 1]),
            };
        }
    }
    let most = after[0];
    let target = |i: usize| {
        let is_left_out = (0..width).any(|j| before[i * width + j] + after[(i + 1) * width + j] == most);
        let fits = |j: &usize| old[i] == new[*j] && before[i * width + j] + 1 + after[(i + 1) * width + j + 1] == most;
        let mut all = (0..new.len()).filter(fits);
        let one = all.next().filter(|_| !is_left_out)?;
        all.next().is_none().then_some(one)
    };
    (0..rows).map(target).collect()
}

fn sign(part: &Part, bar: usize) -> String {
    let own = &part.bars[bar];
    let mut onsets: Vec<_> = part.struck_in(bar).map(|n| part.notes[n].offset).collect();
    onsets.sort();
    onsets.dedup();
    let rhythm: Vec<String> = std::iter::once(own.length).chain(onsets).map(text).collect();
    let mut heights: Vec<_> = part
        .struck_in(bar)
        .map(|n| {
            let height = match part.notes[n].sound {
                Sound::Pitched(pitch) | Sound::Unpitched(pitch) => pitch.sound(),
                Sound::Rest => 0,
            };
            (part.notes[n].offset, height)
        })
        .collect();
    heights.sort_unstable();
    let first = heights.first().map_or(0, |first| first.1);
    let shape: Vec<String> = heights.iter().map(|(_, height)| (height - first).to_string()).collect();
    let hash = |said: Vec<String>| blake3::hash(said.join(" ").as_bytes()).to_hex()[..RHYTHM].to_string();
    format!("{}:{}{}", joined(&own.number), hash(rhythm), hash(shape))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moved(old: &str, new: &str) -> Vec<Option<usize>> {
        let bars = |text: &str| text.chars().map(String::from).collect::<Vec<_>>();
        let (old, new) = (bars(old), bars(new));
        let [old, new] = [&old, &new].map(|bars| bars.iter().map(String::as_str).collect::<Vec<_>>());
        targets(&old, &new)
    }

    #[test]
    fn bars_are_followed_where_only_one_way_lays_most_beside_their_like() {
        assert_eq!(moved("abcd", "abcd"), [Some(0), Some(1), Some(2), Some(3)]);
        assert_eq!(moved("abcd", "abxcd"), [Some(0), Some(1), Some(3), Some(4)]);
        assert_eq!(moved("abcd", "acd"), [Some(0), None, Some(1), Some(2)]);
        assert_eq!(moved("aab", "aaab"), [None, None, Some(3)]);
        assert_eq!(moved("abc", "xyz"), [None, None, None]);
        assert_eq!(moved("ab", "ba"), [None, None]);
    }

    #[test]
    fn a_bar_that_changed_between_two_that_did_not_keeps_its_place() {
        let signs = |all: &[&'static str]| all.to_vec();
        let old = signs(&["1111aaaa", "2222bbbb", "1111cccc"]);
        let new = signs(&["9999dddd", "1111aaaa", "2222eeee", "1111cccc"]);
        assert_eq!(targets(&old, &new), [Some(1), Some(2), Some(3)]);
        let other = signs(&["9999dddd", "1111aaaa", "3333eeee", "1111cccc"]);
        assert_eq!(targets(&old, &other), [Some(1), None, Some(3)]);
    }
}
