//! What is to become of a score's bars in a copy: plain data, which `clean` settles and
//! `musicxml::rewrite` carries out.

use crate::score::Part;
use crate::time::Time;
use std::ops::Index;
use std::rc::Rc;

/// What becomes of one row of the outline.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BarPlan {
    /// The edition's bar stays; single notes and marks in it may change.
    Keep { edition: usize, source: Option<usize>, shift: Time },
    /// The edition's bar gets the music of the source's, so much later as the
    /// one is filled up with rests before it and the other is not.
    Rebuild { edition: usize, source: usize, shift: Time },
    /// A bar of the source that the edition lacks comes in.
    Fresh { source: usize },
    /// A bar of the edition goes.
    Drop { edition: usize },
    /// A bar of the source stays out.
    Absent,
}

impl BarPlan {
    pub fn edition(self) -> Option<usize> {
        match self {
            BarPlan::Keep { edition, .. } | BarPlan::Rebuild { edition, .. } | BarPlan::Drop { edition } => {
                Some(edition)
            }
            BarPlan::Fresh { .. } | BarPlan::Absent => None,
        }
    }

    /// The source bar whose music the row has afterwards, or stands for.
    pub fn source(self) -> Option<usize> {
        match self {
            BarPlan::Keep { source, .. } => source,
            BarPlan::Rebuild { source, .. } | BarPlan::Fresh { source } => Some(source),
            BarPlan::Drop { .. } | BarPlan::Absent => None,
        }
    }

    /// How much later in its bar the source's music stands.
    pub fn shift(self) -> Time {
        match self {
            BarPlan::Keep { shift, .. } | BarPlan::Rebuild { shift, .. } => shift,
            _ => Time::zero(),
        }
    }

    pub fn is_kept(self) -> bool {
        matches!(self, BarPlan::Keep { .. })
    }

    pub fn is_composed(self) -> bool {
        matches!(self, BarPlan::Rebuild { .. } | BarPlan::Fresh { .. })
    }

    pub fn is_in_result(self) -> bool {
        !matches!(self, BarPlan::Drop { .. } | BarPlan::Absent)
    }
}

/// What becomes of every row: of a score, or of one part of it.
#[derive(Debug, Clone)]
pub struct Plan {
    rows: Vec<BarPlan>,
    /// The same for all parts of a score.
    index: Rc<RowIndex>,
}

/// The row of each bar of either side.
#[derive(Debug)]
struct RowIndex {
    edition: Vec<Option<usize>>,
    source: Vec<Option<usize>>,
}

impl RowIndex {
    fn new(rows: &[BarPlan]) -> RowIndex {
        let index = |bar: fn(BarPlan) -> Option<usize>| {
            let mut out = Vec::new();
            for (row, bar) in rows.iter().enumerate().filter_map(|(row, plan)| Some((row, bar(*plan)?))) {
                if out.len() <= bar {
                    out.resize(bar + 1, None);
                }
                out[bar] = Some(row);
            }
            out
        };
        RowIndex { edition: index(BarPlan::edition), source: index(BarPlan::source) }
    }
}

impl Plan {
    pub fn new(rows: Vec<BarPlan>) -> Plan {
        Plan { index: Rc::new(RowIndex::new(&rows)), rows }
    }

    /// Every bar of a part as it is, bar for row.
    pub fn keep_all(part: &Part) -> Plan {
        let keep = |edition| BarPlan::Keep { edition, source: None, shift: Time::zero() };
        Plan::new((0..part.bars.len()).map(keep).collect())
    }

    /// The same for one part, which may have fewer bars than others.
    pub fn of_part(&self, part: &Part) -> Plan {
        let has = |bar: &BarPlan| bar.edition().is_none_or(|bar| bar < part.bars.len());
        let rows = self.rows.iter().map(|bar| if has(bar) { *bar } else { BarPlan::Absent }).collect();
        Plan { rows, index: self.index.clone() }
    }

    pub fn rows(&self) -> &[BarPlan] {
        &self.rows
    }

    /// The row of a bar of the edition.
    pub fn edition_row(&self, bar: usize) -> Option<usize> {
        self.index.edition.get(bar).copied().flatten()
    }

    /// The row of a bar of the source, if it has one.
    pub fn source_row(&self, bar: usize) -> Option<usize> {
        self.index.source.get(bar).copied().flatten()
    }

    /// The kept bar of a row gets the music of the source's.
    pub fn rebuild(&mut self, row: usize, shift: Time) {
        if let BarPlan::Keep { edition, source: Some(source), .. } = self.rows[row] {
            self.rows[row] = BarPlan::Rebuild { edition, source, shift };
        }
    }

    /// Whether bars neither come, go nor change their music.
    pub fn keeps_all(&self) -> bool {
        self.rows.iter().all(|bar| matches!(bar, BarPlan::Keep { .. } | BarPlan::Absent))
    }
}

impl Index<usize> for Plan {
    type Output = BarPlan;

    fn index(&self, row: usize) -> &BarPlan {
        &self.rows[row]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_of_both_sides_find_their_rows() {
        let keep = |edition, source| BarPlan::Keep { edition, source, shift: Time::zero() };
        let rows = vec![keep(0, Some(0)), BarPlan::Fresh { source: 1 }, BarPlan::Drop { edition: 1 }, keep(2, Some(3))];
        let mut plan = Plan::new(rows);
        assert_eq!([0, 1, 2, 3].map(|bar| plan.edition_row(bar)), [Some(0), Some(2), Some(3), None]);
        assert_eq!([0, 1, 2, 3].map(|bar| plan.source_row(bar)), [Some(0), Some(1), None, Some(3)]);
        plan.rebuild(3, Time::from(1));
        assert_eq!(plan[3], BarPlan::Rebuild { edition: 2, source: 3, shift: Time::from(1) });
        plan.rebuild(2, Time::zero());
        assert_eq!(plan[2], BarPlan::Drop { edition: 1 });
    }
}
