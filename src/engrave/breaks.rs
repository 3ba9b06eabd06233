//! Where lines and pages end: of all best the one whose lines are most evenly
//! filled and whose pages end where the player rests.

/// What is known before anything is broken.
pub struct Measures<'a> {
    /// Natural width of each bar.
    pub widths: &'a [f64],
    /// Quarter notes of rest where each bar ends.
    pub rests: &'a [f64],
    /// Width of a line, and what clef and signature take of every line but the first.
    pub line: f64,
    pub clef: f64,
    /// What the names of the parts take of the first.
    pub names: f64,
    /// The bars with which a movement begins: they begin a line.
    pub movements: &'a [usize],
    /// Lines that the first page holds, and every other.
    pub lines: [usize; 2],
}

/// A rest of so many quarter notes is enough to turn a page.
const ENOUGH: f64 = 3.0;
/// What a page costs that ends without any rest; a line half empty costs 0.25.
const NO_REST: f64 = 0.8;
/// What an empty page would cost: half a page is worth more than a turn at a rest. The last may be as empty as it likes.
const EMPTY: f64 = 4.0;
/// What each page costs, so that there are no more than needed.
const PAGE: f64 = 2.0;
/// Of a line that is too full, for each part by which it is.
const TOO_FULL: f64 = 40.0;

/// The best way to a place: what it costs, and where its last line began.
#[derive(Clone, Copy)]
struct Best {
    cost: f64,
    from: usize,
    /// Lines on the page, this one with them, of the state before.
    lines: usize,
    was_first: bool,
}

/// The bars that begin a line, each with whether it begins a page; bar 0 is not among them.
pub fn breaks(measures: &Measures) -> Vec<(usize, bool)> {
    let count = measures.widths.len();
    let most = measures.lines[0].max(measures.lines[1]).max(1);
    // State: bars set, lines on the page (0: a page is just full), whether it is the first page.
    let mut best: Vec<Vec<[Option<Best>; 2]>> = vec![vec![[None; 2]; most + 1]; count + 1];
    best[0][0][1] = Some(Best { cost: 0.0, from: 0, lines: 0, was_first: true });
    for from in 0..count {
        for lines in 0..=most {
            for first in [false, true] {
                let Some(found) = best[from][lines][usize::from(first)] else { continue };
                let room = measures.lines[usize::from(!first)].max(1);
                let mut width = if from == 0 { measures.names } else { measures.clef };
                for (last, own) in measures.widths.iter().enumerate().skip(from) {
                    let to = last + 1;
                    if last > from && measures.movements.contains(&last) {
                        break;
                    }
                    width += own;
                    let fill = width / measures.line;
                    if fill > 1.0 && to > from + 1 {
                        break;
                    }
                    let line = found.cost + if to == count { last_line_cost(fill) } else { line_cost(fill) };
                    let step = |cost| Some(Best { cost, from, lines, was_first: first });
                    let set = lines + 1;
                    if set <= room {
                        better(&mut best[to][set][usize::from(first)], step(line));
                    }
                    if to < count && set <= room {
                        let empty = (room - set) as f64 / room as f64;
                        let rest = (measures.rests.get(last).copied().unwrap_or(0.0) / ENOUGH).min(1.0);
                        let page = PAGE + EMPTY * empty * empty + NO_REST * (1.0 - rest);
                        better(&mut best[to][0][0], step(line + page));
                    }
                }
            }
        }
    }
    back(&best, count)
}

fn line_cost(fill: f64) -> f64 {
    if fill > 1.0 { TOO_FULL * (fill - 1.0) } else { (1.0 - fill) * (1.0 - fill) }
}

/// A last line is not stretched; a very short one looks lost.
fn last_line_cost(fill: f64) -> f64 {
    if fill > 1.0 { line_cost(fill) } else { 0.25 * line_cost(fill) }
}

fn better(old: &mut Option<Best>, new: Option<Best>) {
    if old.is_none_or(|old| new.is_some_and(|new| new.cost < old.cost)) {
        *old = new;
    }
}

fn back(best: &[Vec<[Option<Best>; 2]>], count: usize) -> Vec<(usize, bool)> {
    let ends =
        best[count].iter().enumerate().flat_map(|(lines, both)| [(lines, false, both[0]), (lines, true, both[1])]);
    let reached = ends.filter_map(|(lines, first, found)| found.map(|found| (lines, first, found)));
    let Some((_, _, mut found)) = reached.min_by(|a, b| a.2.cost.total_cmp(&b.2.cost)) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    while found.from > 0 {
        out.push((found.from, found.lines == 0));
        found = best[found.from][found.lines][usize::from(found.was_first)].expect("every line began somewhere");
    }
    out.reverse();
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn broken(widths: &[f64], rests: &[f64], lines: usize) -> Vec<(usize, bool)> {
        breaks(&Measures { lines: [lines, lines], ..measures(widths, rests) })
    }

    fn measures<'a>(widths: &'a [f64], rests: &'a [f64]) -> Measures<'a> {
        Measures { widths, rests, line: 10.0, clef: 0.0, names: 0.0, movements: &[], lines: [9, 9] }
    }

    #[test]
    fn the_first_line_has_room_for_the_names_of_the_parts() {
        let starts = |names: f64| {
            let found = breaks(&Measures { names, ..measures(&[2.5; 8], &[0.0; 8]) });
            found.iter().map(|b| b.0).collect::<Vec<_>>()
        };
        assert_eq!([starts(0.0), starts(2.0)], [vec![4], vec![3, 6]]);
    }

    #[test]
    fn a_movement_begins_a_line() {
        let found = breaks(&Measures { movements: &[3], ..measures(&[2.5; 7], &[0.0; 7]) });
        assert_eq!(found, [(3, false)]);
    }

    #[test]
    fn lines_are_evenly_filled() {
        let found = broken(&[2.5; 10], &[0.0; 10], 9);
        let starts: Vec<usize> = found.iter().map(|b| b.0).collect();
        assert_eq!(starts, [4, 8]);
        assert!(found.iter().all(|b| !b.1), "{found:?}");
    }

    #[test]
    fn pages_end_where_there_is_rest() {
        // Two bars to a line, three lines to a page; a long rest after the fourth bar.
        let mut rests = [0.0; 10];
        assert_eq!(broken(&[5.0; 10], &rests, 3).iter().filter(|b| b.1).map(|b| b.0).collect::<Vec<_>>(), [6]);
        rests[3] = 4.0;
        assert_eq!(broken(&[5.0; 10], &rests, 3).iter().filter(|b| b.1).map(|b| b.0).collect::<Vec<_>>(), [4]);
    }

    #[test]
    fn a_rest_leaves_no_page_half_empty() {
        // Two bars to a line, eight lines to a page; a long rest after the third line.
        let mut rests = [0.0; 20];
        rests[5] = 4.0;
        assert_eq!(broken(&[5.0; 20], &rests, 8).iter().filter(|b| b.1).map(|b| b.0).collect::<Vec<_>>(), [16]);
    }

    #[test]
    fn a_bar_wider_than_the_line_has_one_to_itself() {
        let found = broken(&[4.0, 30.0, 4.0], &[0.0; 3], 9);
        assert_eq!(found, [(1, false), (2, false)]);
        assert!(broken(&[], &[], 1).is_empty());
        assert!(broken(&[3.0], &[0.0], 1).is_empty());
    }
}
