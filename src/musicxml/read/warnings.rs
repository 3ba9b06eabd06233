//! The warnings of a part: what is unusual in it and how it was read, one line for each kind of thing.

use std::collections::HashMap;

/// Bars that one line names, and lines for one part.
const MOST_BARS: usize = 12;
const MOST_KINDS: usize = 50;

/// Collects warnings by what they say, so that a fault that a program makes in
/// every bar is told once.
#[derive(Debug, Default)]
pub struct Warnings {
    /// In the order of first appearance, with the printed numbers of the bars.
    kinds: Vec<(String, Vec<String>)>,
    places: HashMap<String, usize>,
    passed_over: bool,
}

impl Warnings {
    pub fn add(&mut self, bar: &str, what: &str) {
        let place = match self.places.get(what) {
            Some(place) => *place,
            None if self.kinds.len() == MOST_KINDS => {
                self.passed_over = true;
                return;
            }
            None => {
                self.places.insert(what.to_string(), self.kinds.len());
                self.kinds.push((what.to_string(), Vec::new()));
                self.kinds.len() - 1
            }
        };
        let bars = &mut self.kinds[place].1;
        if bars.last().is_none_or(|last| last != bar) {
            bars.push(bar.to_string());
        }
    }

    /// `part P1 (Violin), bars 3 and 7: …`.
    pub fn lines(self, part: &str) -> impl Iterator<Item = String> {
        let part = part.to_string();
        let more = self.passed_over.then(|| format!("{part}: there are more oddities than can be listed"));
        let lines: Vec<String> =
            self.kinds.iter().map(|(what, bars)| format!("{part}, {}: {what}", named(bars))).collect();
        lines.into_iter().chain(more)
    }
}

/// `bar 3`, `bars 3, 7 and 9`, or the first dozen `and 5 more`.
fn named(bars: &[String]) -> String {
    let (shown, last) = match bars {
        [one] => return format!("bar {one}"),
        _ if bars.len() > MOST_BARS => (&bars[..MOST_BARS], format!("{} more", bars.len() - MOST_BARS)),
        [shown @ .., last] => (shown, last.clone()),
        [] => return "no bar".into(),
    };
    format!("bars {} and {last}", shown.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_line_for_one_kind_of_thing() {
        let mut all = Warnings::default();
        for bar in 1..=20 {
            all.add(&bar.to_string(), "a");
            all.add(&bar.to_string(), "a");
        }
        all.add("3", "b");
        all.add("X1", "b");
        all.add("4", "c");
        let lines: Vec<String> = all.lines("part P1").collect();
        assert_eq!(
            lines,
            [
                "part P1, bars 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12 and 8 more: a",
                "part P1, bars 3 and X1: b",
                "part P1, bar 4: c"
            ]
        );
    }

    #[test]
    fn a_flood_of_kinds_is_cut() {
        let mut all = Warnings::default();
        (0..1000).for_each(|n| all.add("1", &n.to_string()));
        assert_eq!(all.lines("part P1").count(), MOST_KINDS + 1);
    }
}
