//! Cleaning in rounds: where the copy of one round cannot be proved, the bars
//! concerned stay as the edition has them in the next.

use super::Failure;
use std::collections::{BTreeMap, BTreeSet};

/// Rounds before all is left as it is.
const ROUNDS: usize = 12;
/// Searches for a fault that does not say where it is.
const SEARCHES: usize = 3;

/// Why the copy of a round is not what it should be.
#[derive(Debug)]
pub(super) struct Fault {
    pub failure: Failure,
    /// The rows of the outline in which it shows, with what is wrong there; none where that cannot be said.
    pub rows: BTreeMap<usize, String>,
}

impl From<Failure> for Fault {
    fn from(failure: Failure) -> Fault {
        Fault { failure, rows: BTreeMap::new() }
    }
}

/// What a round is to leave as the edition has it, with the reason.
pub(super) type LeftRows = BTreeMap<usize, String>;

/// The rows of one cleaning, as a round sees them.
pub(super) struct Field<'f> {
    /// The rows in which something is to be done.
    pub wanted: BTreeSet<usize>,
    /// The rows of the passages that a row belongs to.
    pub passages: &'f dyn Fn(usize) -> BTreeSet<usize>,
}

impl Field<'_> {
    /// The rows to leave for a fault that shows in a row: the row, then its neighbours, then the passages around it.
    fn around(&self, row: usize, times: usize) -> BTreeSet<usize> {
        let before = self.wanted.range(..row).next_back().copied();
        let after = self.wanted.range(row + 1..).next().copied();
        let mut out = BTreeSet::from([row]);
        if times > 1 || !self.wanted.contains(&row) {
            out.extend(before);
            out.extend(after);
        }
        if times > 2 {
            out = out.iter().flat_map(|r| (self.passages)(*r)).collect();
            let reach = 1 << times.min(16);
            out.extend(self.wanted.range(row.saturating_sub(reach)..=row + reach));
        }
        out
    }
}

/// Tries until a round holds: each attempt is told what to leave, and whether
/// it is the last, which leaves everything. Gives what came out, and what was left for it.
///
/// # Errors
/// The last round's.
pub(super) fn try_in_rounds<T>(
    field: &Field,
    mut left: LeftRows,
    mut attempt: impl FnMut(&BTreeSet<usize>, bool) -> Result<T, Fault>,
) -> Result<(T, LeftRows), Failure> {
    let mut times: BTreeMap<usize, usize> = BTreeMap::new();
    let mut searches = 0;
    for _ in 0..ROUNDS {
        let fault = match attempt(&left.keys().copied().collect(), false) {
            Ok(done) => return Ok((done, left)),
            Err(fault) => fault,
        };
        let before = left.len();
        if fault.rows.is_empty() {
            if searches == SEARCHES {
                break;
            }
            searches += 1;
            let row = search(field, &left, &mut attempt);
            row.into_iter().for_each(|r| _ = left.entry(r).or_insert_with(|| fault.failure.to_string()));
        }
        for (row, reason) in fault.rows {
            let count = times.entry(row).or_default();
            *count += 1;
            for row in field.around(row, *count) {
                left.entry(row).or_insert_with(|| reason.clone());
            }
        }
        let all_known = field.wanted.iter().all(|row| left.contains_key(row));
        if all_known || left.len() == before && times.values().all(|n| *n > 3) {
            break;
        }
    }
    let reason = left.values().next().cloned().unwrap_or_default();
    for row in &field.wanted {
        left.entry(*row).or_insert_with(|| reason.clone());
    }
    match attempt(&left.keys().copied().collect(), true) {
        Ok(done) => Ok((done, left)),
        Err(fault) => Err(fault.failure),
    }
}

/// The first row that cannot be undone together with all before it.
fn search<T>(
    field: &Field,
    left: &LeftRows,
    attempt: &mut impl FnMut(&BTreeSet<usize>, bool) -> Result<T, Fault>,
) -> Option<usize> {
    let open: Vec<usize> = field.wanted.iter().copied().filter(|row| !left.contains_key(row)).collect();
    let (mut holds, mut fails) = (0, open.len());
    while fails > holds + 1 {
        let middle = (holds + fails) / 2;
        let rows = left.keys().chain(&open[middle..]).copied().collect();
        match attempt(&rows, false) {
            Err(fault) if fault.rows.is_empty() => fails = middle,
            _ => holds = middle,
        }
    }
    open.get(fails.checked_sub(1)?).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(rows: &[usize]) -> Fault {
        let rows = rows.iter().map(|r| (*r, format!("row {r}"))).collect();
        Fault { failure: Failure::Unsupported("no".into()), rows }
    }

    /// The rows that are left where an attempt holds only once all `bad` rows are; faults show in `shown`.
    fn rounds(wanted: &[usize], bad: &[usize], shown: impl Fn(usize) -> Vec<usize>) -> Vec<usize> {
        let field = Field { wanted: wanted.iter().copied().collect(), passages: &|row| BTreeSet::from([row]) };
        let (kept, left) =
            try_in_rounds(&field, LeftRows::new(), |left, last| match bad.iter().find(|row| !left.contains(row)) {
                Some(row) if !last => Err(fault(&shown(*row))),
                _ => Ok(left.clone()),
            })
            .unwrap();
        assert_eq!(kept, left.keys().copied().collect());
        kept.into_iter().collect()
    }

    #[test]
    fn what_holds_leaves_nothing() {
        assert_eq!(rounds(&[1, 2, 3], &[], |row| vec![row]), [0; 0]);
    }

    #[test]
    fn only_the_rows_of_faults_are_left() {
        assert_eq!(rounds(&[1, 2, 3, 7, 9], &[2, 9], |row| vec![row]), [2, 9]);
    }

    #[test]
    fn a_fault_that_shows_elsewhere_leaves_the_rows_around_it() {
        assert_eq!(rounds(&[1, 4, 8, 20], &[4], |_| vec![5]), [4, 5, 8]);
        assert_eq!(rounds(&[1, 2, 3, 4, 40], &[3], |_| vec![2]), [1, 2, 3]);
    }

    #[test]
    fn a_fault_without_a_place_is_searched_for() {
        let wanted: Vec<usize> = (0..100).collect();
        assert_eq!(rounds(&wanted, &[37], |_| vec![]), [37]);
        assert_eq!(rounds(&wanted, &[37, 80], |_| vec![]), [37, 80]);
    }

    #[test]
    fn what_never_holds_leaves_everything() {
        let wanted: Vec<usize> = (0..30).collect();
        assert_eq!(rounds(&wanted, &wanted, |row| vec![row]), wanted);
        assert_eq!(rounds(&wanted, &[29], |_| vec![0]), wanted);
    }
}
