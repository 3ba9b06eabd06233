//! The table of an audit: a row for each bar that has findings, a column for
//! each category that occurs.

use super::page::{Ink, Page, width};
use super::{BarReport, PartReport};
use crate::findings::{Status, Totals};
use crate::score::Category;
use std::collections::BTreeMap;

/// The headings, short enough for many columns beside each other.
fn heading(category: Category) -> &'static str {
    match category {
        Category::Octave => "oct",
        Category::Pitch => "pitch",
        Category::Spelling => "spell",
        Category::Rhythm => "rhy",
        Category::Note => "note",
        Category::Tie => "tie",
        Category::WrittenOut => "writ",
        Category::Dynamics => "dyn",
        Category::Hairpin => "hair",
        Category::Slur => "slur",
        Category::Articulation => "art",
        Category::Breath => "br",
        Category::Ornament => "orn",
        Category::Grace => "grc",
        Category::Fermata => "ferm",
        Category::Tempo => "tmp",
        Category::Expression => "expr",
        Category::Fingering => "fing",
        Category::Bowing => "bow",
        Category::Technique => "tech",
        Category::OctaveLine => "8va",
        Category::Pedal => "ped",
        Category::Structure => "str",
        Category::Signature => "sig",
        Category::Accidental => "acc",
        Category::Rehearsal => "reh",
        Category::Harmony => "harm",
        Category::Lyric => "lyr",
        Category::Text => "text",
    }
}

pub const LEGEND: &str = "+ added   - omitted   ~ altered";

/// The table within the page's width, in several blocks where it is wider.
/// Notes and marks part first, for they are read apart.
pub fn table(page: &mut Page, part: &PartReport) {
    let categories: Vec<Category> = part.totals.keys().copied().collect();
    let whole = Block::new(part, &categories);
    if whole.width(1) <= page.width {
        return whole.print(page);
    }
    let (notes, marks): (Vec<_>, Vec<_>) = categories.into_iter().partition(|c| c.is_of_notes());
    let blocks = [notes, marks].iter().flat_map(|group| split(part, group, page.width)).collect::<Vec<_>>();
    for (place, block) in blocks.iter().enumerate() {
        if place > 0 {
            page.blank();
        }
        block.print(page);
    }
}

/// As few blocks as the width allows, about equally wide.
fn split<'a>(part: &'a PartReport, group: &[Category], width: usize) -> Vec<Block<'a>> {
    (1..=group.len())
        .map(|blocks| {
            let each = group.len().div_ceil(blocks);
            group.chunks(each).map(|c| Block::new(part, c)).collect::<Vec<_>>()
        })
        .find(|blocks| {
            let fits = blocks.iter().all(|b| b.width(1) <= width);
            fits || blocks.len() == group.len()
        })
        .unwrap_or_default()
}

struct Block<'a> {
    /// Headings of the columns, then the rows; the first column is the bar.
    rows: Vec<Vec<Cell>>,
    widths: Vec<usize>,
    part: &'a PartReport,
}

/// Pieces of text, each with the status that colours it.
type Cell = Vec<(Option<Status>, String)>;

impl Block<'_> {
    fn new<'a>(part: &'a PartReport, categories: &[Category]) -> Block<'a> {
        let has = |bar: &&BarReport| categories.iter().any(|c| bar.counts.contains_key(c));
        let bars: Vec<&BarReport> = part.bars.iter().filter(has).collect();
        let plain = |text: &str| vec![(None, text.to_string())];
        let mut head = vec![plain("bar")];
        head.extend(categories.iter().map(|c| plain(heading(*c))));
        let mut rows = vec![head];
        for bar in bars {
            let mut row = vec![plain(&bar.bar)];
            row.extend(categories.iter().map(|c| cell(&bar.counts, *c)));
            rows.push(row);
        }
        let mut sum = vec![plain("all")];
        sum.extend(categories.iter().map(|c| cell(&part.totals, *c)));
        rows.push(sum);
        let widths =
            (0..rows[0].len()).map(|column| rows.iter().map(|r| cell_width(&r[column])).max().unwrap_or(0)).collect();
        Block { rows, widths, part }
    }

    /// In columns, with so many spaces between them.
    fn width(&self, space: usize) -> usize {
        2 + self.widths.iter().sum::<usize>() + space * (self.widths.len() - 1)
    }

    fn print(&self, page: &mut Page) {
        let space = (1..=3).rev().find(|s| self.width(*s) <= page.width).unwrap_or(1);
        let last = self.rows.len() - 1;
        for (place, row) in self.rows.iter().enumerate() {
            // One bar needs no line of sums.
            if place == last && self.part.bars.len() == 1 {
                break;
            }
            let mut line = vec![(Ink::Plain, "  ".to_string())];
            let mut owed = 0;
            for (cell, width) in row.iter().zip(&self.widths) {
                owed += width - cell_width(cell);
                if !cell.is_empty() {
                    line.push((Ink::Plain, " ".repeat(owed)));
                    owed = 0;
                }
                for (status, text) in cell {
                    let ink = match status {
                        Some(status) => Ink::Status(*status),
                        None if place == 0 || place == last => Ink::Quiet,
                        None => Ink::Plain,
                    };
                    line.push((ink, text.clone()));
                }
                owed += space;
            }
            page.line(&line);
        }
    }
}

fn cell(counts: &Totals, category: Category) -> Cell {
    let none = BTreeMap::new();
    counts
        .get(&category)
        .unwrap_or(&none)
        .iter()
        .map(|(status, n)| (Some(*status), format!("{}{n}", sign(*status))))
        .collect()
}

/// The sign of a status before a number.
pub fn sign(status: Status) -> char {
    match status {
        Status::Added => '+',
        Status::Omitted => '-',
        Status::Altered => '~',
    }
}

fn cell_width(cell: &Cell) -> usize {
    cell.iter().map(|piece| width(&piece.1)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_are_short_and_differ() {
        let mut all: Vec<&str> = Category::all().map(heading).collect();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), Category::all().count());
        assert!(all.iter().all(|h| h.len() <= 5));
    }
}
