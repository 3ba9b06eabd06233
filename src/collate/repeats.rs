//! Strains that one side writes twice and the other between repeat signs.

use super::PartView;
use super::bars::Row;
use super::cells::{Side, likeness};
use crate::score::{Category, Part};

/// Bars of the second time are the first time's when they share this much on the average.
const LEAST_COMMON: f64 = 0.7;

/// Marks the rows of a second time that only one side writes out.
pub(super) fn find(views: &[PartView], edition: &Side, source: &Side, rows: &mut [Row]) {
    let Some(view) = views.first() else { return };
    for side in [written(source, edition, &strains(view.source)), folded(source, edition, &strains(view.edition))] {
        if !side.strains.is_empty() {
            side.work(rows);
        }
    }
}

/// A strain between repeat signs, and how many of its bars come back before
/// the second ending.
struct Strain {
    first: usize,
    last: usize,
    again: usize,
}

fn strains(part: &Part) -> Vec<Strain> {
    let of = |what: &str| -> Vec<usize> {
        let signs = part.marks.iter().filter(|m| m.category == Category::Structure && m.reading.starts_with(what));
        signs.map(|m| m.at.bar).collect()
    };
    let (forward, backward, first_endings) = (of("forward repeat"), of("backward repeat"), of("ending 1"));
    let mut out: Vec<Strain> = Vec::new();
    for last in backward {
        let after = out.last().map_or(0, |s| s.last + 1);
        let first = forward.iter().copied().filter(|b| *b <= last && *b >= after).max().unwrap_or(after);
        let ending = first_endings.iter().copied().find(|b| (first..=last).contains(b));
        if first <= last {
            out.push(Strain { first, last, again: ending.unwrap_or(last + 1) - first });
        }
    }
    out
}

/// One side that writes the second time out, the other that repeats.
struct Search<'a> {
    strains: &'a [Strain],
    writes: &'a Side<'a>,
    repeats: &'a Side<'a>,
    /// The edition is the one that writes it out.
    edition_writes: bool,
}

fn written<'a>(source: &'a Side, edition: &'a Side, strains: &'a [Strain]) -> Search<'a> {
    Search { strains, writes: edition, repeats: source, edition_writes: true }
}

fn folded<'a>(source: &'a Side, edition: &'a Side, strains: &'a [Strain]) -> Search<'a> {
    Search { strains, writes: source, repeats: edition, edition_writes: false }
}

impl Search<'_> {
    fn writes(&self, row: &Row) -> Option<usize> {
        if self.edition_writes { row.pair.edition } else { row.pair.source }
    }

    fn repeats(&self, row: &Row) -> Option<usize> {
        if self.edition_writes { row.pair.source } else { row.pair.edition }
    }

    fn work(&self, rows: &mut [Row]) {
        // Only bars in one piece.
        if self.writes.cells.len() != self.writes.cells.last().map_or(0, |c| c.bar + 1) {
            return;
        }
        let mut at = 0;
        while at < rows.len() {
            let end =
                at + rows[at..].iter().take_while(|r| self.writes(r).is_some() && self.repeats(r).is_none()).count();
            if end == at {
                at += 1;
                continue;
            }
            self.run(rows, at, end);
            at = end;
        }
    }

    /// A run of bars that only the writing side has, wherever the diff put it: it
    /// may as well begin earlier, as long as the bars before it are like its last,
    /// or later, as long as the bars after it are like its first.
    fn run(&self, rows: &mut [Row], from: usize, to: usize) {
        let bars = to - from;
        if self.strains.iter().all(|s| s.again != bars) {
            return;
        }
        for up in 0..=from.min(bars) {
            if up > 0 && !self.slides(rows, from - up, to - up) {
                break;
            }
            let before = rows[..from - up].iter().rev().find_map(|r| self.repeats(r));
            let Some(first) = self.begins(rows, from - up, to - from, before) else { continue };
            for step in 0..up {
                slide(rows, from - step - 1, to - step - 1);
            }
            return self.mark(rows, from - up, to - up, first);
        }
        for down in 1..=(rows.len() - to).min(bars) {
            if !self.slides(rows, to + down - 1, from + down - 1) {
                return;
            }
            let before = self.repeats(&rows[to + down - 1]);
            let Some(first) = self.begins(rows, from + down, to - from, before) else { continue };
            for step in 0..down {
                slide(rows, to + step, from + step);
            }
            return self.mark(rows, from + down, to + down, first);
        }
    }

    fn mark(&self, rows: &mut [Row], from: usize, to: usize, first: usize) {
        for (n, row) in rows[from..to].iter_mut().enumerate() {
            row.pair.again = Some(first + n);
        }
    }

    /// The first bar of the strain that comes back in a run after `before`.
    fn begins(&self, rows: &[Row], from: usize, bars: usize, before: Option<usize>) -> Option<usize> {
        let strain = self.strains.iter().find(|s| Some(s.last) == before && s.again == bars)?;
        self.comes_back(rows, from, strain).then_some(strain.first)
    }

    /// Whether the partner of a bar could as well be a run's bar's.
    fn slides(&self, rows: &[Row], partner: usize, of_run: usize) -> bool {
        let bar = |row: usize| self.writes(&rows[row]).and_then(|b| self.writes.cells.get(b));
        self.repeats(&rows[partner]).is_some()
            && !rows[partner].rewritten
            && bar(partner).zip(bar(of_run)).is_some_and(|(a, b)| likeness(&a.content, &b.content) >= LEAST_COMMON)
    }

    fn comes_back(&self, rows: &[Row], from: usize, strain: &Strain) -> bool {
        let shared: f64 = (0..strain.again)
            .map(|n| {
                let own = self.writes(&rows[from + n]).expect("of the run");
                let own = &self.writes.cells[own].content;
                // What is folded away must be the very same.
                let at = self.repeats.cells.partition_point(|c| c.bar < strain.first + n);
                self.repeats.cells.get(at).filter(|c| c.bar == strain.first + n).map_or(0.0, |c| {
                    match own == &c.content {
                        true => 1.0,
                        false if self.edition_writes => likeness(own, &c.content),
                        false => -(strain.again as f64),
                    }
                })
            })
            .sum();
        shared >= LEAST_COMMON * strain.again as f64
    }
}

/// Gives the partner of a row beside a run to a row of the run.
fn slide(rows: &mut [Row], partner: usize, of_run: usize) {
    let (a, b) = (rows[partner].pair, rows[of_run].pair);
    let edition_alone = b.source.is_none();
    if edition_alone {
        rows[of_run].pair = super::BarPair { edition: b.edition, ..a };
        rows[partner].pair = super::BarPair { edition: a.edition, ..b };
    } else {
        rows[of_run].pair = super::BarPair { source: b.source, ..a };
        rows[partner].pair = super::BarPair { source: a.source, ..b };
    }
}
