//! Which bars of both sides are equal, in order.

use rustc_hash::FxHashSet;
use similar::{Algorithm, DiffOp, capture_diff_slices};
use std::ops::Range;

/// Equal bars between two differences may be so many and still be in doubt.
const LONGEST_DOUBT: usize = 16;
/// More of them are not joined to what was in doubt already.
const LARGEST_DOUBT: usize = 1 << 12;

/// Bars of both sides that are equal one by one, or differ as a whole.
pub(super) struct Run {
    pub equal: bool,
    pub edition: Range<usize>,
    pub source: Range<usize>,
    /// Whether the edition has more bars in one of the differences that were joined here, and fewer.
    more: bool,
    fewer: bool,
}

/// The runs of both sides by the numbers of their bars; equal bars have the same.
///
/// Equal bars between two differences are in doubt when the one lacks as many bars as the other has too many: in music
/// that repeats itself the diff may have paired each bar with the one after. Such a stretch is looked at bar by bar, as
/// one difference.
pub(super) fn runs(source: &[u64], edition: &[u64]) -> Vec<Run> {
    // Most of the search in unlike music would be for bars that the other side has nowhere.
    let (theirs, ours) = (had_by(source, edition), had_by(edition, source));
    let numbers = |all: &[u64], some: &[usize]| some.iter().map(|bar| all[*bar]).collect::<Vec<_>>();
    // The source is the old text, the edition the new one.
    let ops = capture_diff_slices(Algorithm::Myers, &numbers(source, &theirs), &numbers(edition, &ours));
    let mut out = Runs::default();
    for op in ops {
        if let DiffOp::Equal { old_index, new_index, len } = op {
            (0..len).for_each(|n| out.pair(ours[new_index + n], theirs[old_index + n]));
        }
    }
    out.differ_to(edition.len(), source.len());
    out.runs
}

/// The places of the numbers that the other side has, too.
fn had_by(own: &[u64], other: &[u64]) -> Vec<usize> {
    let known: FxHashSet<u64> = other.iter().copied().collect();
    (0..own.len()).filter(|place| known.contains(&own[*place])).collect()
}

#[derive(Default)]
struct Runs {
    runs: Vec<Run>,
    /// So many bars of both sides are in them.
    edition: usize,
    source: usize,
}

impl Runs {
    /// Two equal bars, after what differs before them.
    fn pair(&mut self, edition: usize, source: usize) {
        self.differ_to(edition, source);
        (self.edition, self.source) = (edition + 1, source + 1);
        match self.runs.last_mut() {
            Some(last) if last.equal => (last.edition.end, last.source.end) = (self.edition, self.source),
            _ => self.runs.push(Run {
                equal: true,
                edition: edition..self.edition,
                source: source..self.source,
                more: false,
                fewer: false,
            }),
        }
    }

    fn differ_to(&mut self, edition: usize, source: usize) {
        let (edition, source) = (self.edition..edition, self.source..source);
        if edition.is_empty() && source.is_empty() {
            return;
        }
        (self.edition, self.source) = (edition.end, source.end);
        let (more, fewer) = (edition.len() > source.len(), edition.len() < source.len());
        self.runs.push(Run { equal: false, edition, source, more, fewer });
        join_doubtful(&mut self.runs);
    }
}

fn join_doubtful(runs: &mut Vec<Run>) {
    while let [.., before, between, after] = runs.as_slice() {
        let (edition, source) = (before.edition.start..after.edition.end, before.source.start..after.source.end);
        let is_joined = before.more && before.fewer;
        let doubtful = !before.equal
            && between.equal
            && !after.equal
            && between.edition.len() <= LONGEST_DOUBT
            && (before.more && after.fewer || before.fewer && after.more)
            && !(is_joined && edition.len() * source.len() > LARGEST_DOUBT);
        if !doubtful {
            return;
        }
        let joined = Run { equal: false, edition, source, more: true, fewer: true };
        runs.truncate(runs.len() - 3);
        runs.push(joined);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn told(source: &[u64], edition: &[u64]) -> Vec<(bool, Range<usize>, Range<usize>)> {
        runs(source, edition).into_iter().map(|run| (run.equal, run.source, run.edition)).collect()
    }

    #[test]
    fn what_one_side_has_alone_stands_between() {
        assert_eq!(
            told(&[1, 2, 3], &[1, 8, 2, 3, 9]),
            [(true, 0..1, 0..1), (false, 1..1, 1..2), (true, 1..3, 2..4), (false, 3..3, 4..5)]
        );
        // One too many, then one too few: the bar between is in doubt.
        assert_eq!(told(&[1, 2, 3, 4], &[1, 8, 2, 4]), [(true, 0..1, 0..1), (false, 1..3, 1..3), (true, 3..4, 3..4)]);
        assert_eq!(told(&[1], &[2]), [(false, 0..1, 0..1)]);
        assert_eq!(told(&[], &[]), []);
    }

    proptest! {
        #[test]
        fn runs_cover_both_sides_in_order(
            source in prop::collection::vec(0..8_u64, 0..30), edition in prop::collection::vec(0..8_u64, 0..30),
        ) {
            let (mut s, mut e) = (0, 0);
            for (equal, theirs, ours) in told(&source, &edition) {
                prop_assert_eq!((theirs.start, ours.start), (s, e));
                prop_assert!(!equal || source[theirs.clone()] == edition[ours.clone()]);
                (s, e) = (theirs.end, ours.end);
            }
            prop_assert_eq!((s, e), (source.len(), edition.len()));
        }
    }
}
