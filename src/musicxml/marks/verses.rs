//! Which verse a syllable belongs to. Programs number verses, name them
//! (`chorus`) or both (`part1verse2`); players see only their order.

use super::Collector;
use crate::score::{Part, Sign};
use std::collections::BTreeSet;

/// More verses than any song has; what is beyond counts as one.
const MOST: usize = 1000;
/// Added to the place of a verse that has no number, until all are known.
const UNNUMBERED: u32 = 1 << 20;

/// What the verses of a part are called that have no number, in the order of
/// their first syllables, and the numbers of the others.
#[derive(Debug, Default)]
pub(super) struct Verses {
    named: Vec<String>,
    numbers: BTreeSet<u32>,
}

impl Verses {
    /// The number of a verse.
    pub fn number(&mut self, called: &str) -> u32 {
        let digits = called.len() - called.trim_end_matches(|c: char| c.is_ascii_digit()).len();
        let number = called[called.len() - digits..].parse().ok().filter(|n| (1..MOST as u32).contains(n));
        if let Some(number) = number {
            self.numbers.insert(number);
            return number;
        }
        let known = self.named.iter().position(|n| n == called).unwrap_or(self.named.len());
        if known == self.named.len() && known < MOST {
            self.named.push(called.to_string());
        }
        UNNUMBERED + known as u32
    }

    /// The numbers that are free go to the verses without, in their order.
    fn settled(&self) -> Vec<u32> {
        (1..).filter(|n| !self.numbers.contains(n)).take(self.named.len() + 1).collect()
    }
}

impl Collector {
    /// Gives the verses that are only named their numbers.
    pub fn number_verses(&self, part: &mut Part) {
        if self.verses.named.is_empty() {
            return;
        }
        let numbers = self.verses.settled();
        for mark in &mut part.marks {
            let Sign::Lyric { verse, .. } = &mut mark.sign else { continue };
            let place = verse.checked_sub(UNNUMBERED);
            if let Some(number) = place.and_then(|p| numbers.get(p as usize)) {
                *verse = *number;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_fill_the_free_numbers_in_their_order() {
        let mut verses = Verses::default();
        let called = ["chorus", "1", "part1verse3", "refrain", "chorus", "0"];
        let found: Vec<u32> = called.iter().map(|c| verses.number(c)).collect();
        assert_eq!(found, [UNNUMBERED, 1, 3, UNNUMBERED + 1, UNNUMBERED, UNNUMBERED + 2]);
        assert_eq!(verses.settled()[..3], [2, 4, 5]);
    }
}
