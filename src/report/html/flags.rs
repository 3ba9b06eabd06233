//! What staves cannot show: one line of words above each bar, in one row above the staves.

use super::links::Spot;
use crate::engrave::letters::{Face, letter};
use std::fmt::Write;

/// What cannot be seen in the staves, and is said above its bar.
pub struct Flag {
    /// Of the picture.
    pub bar: usize,
    /// Of the table of notes.
    pub row: usize,
    pub status: &'static str,
    pub text: String,
}

/// Height of the letters, and of a line of them.
const LETTER: f64 = 330.0;
const LINE: f64 = 420.0;
/// Between what is said of two bars.
const GAP: f64 = 250.0;

/// How wide a text is.
fn width(text: &str) -> f64 {
    text.chars().map(|c| letter(c, Face::Regular).advance * LETTER).sum()
}

/// All that is said of a bar as one line: in words if there is room, else how much it is.
fn line(flags: &[&Flag], room: f64) -> String {
    let all = flags.iter().map(|f| f.text.as_str()).collect::<Vec<_>>().join("; ");
    match flags {
        [_] => all,
        _ if width(&all) <= room => all,
        _ => folded(flags.len()),
    }
}

/// What stands for several findings that there is no room for.
pub fn folded(count: usize) -> String {
    format!("{count} not drawn")
}

/// The lines above a picture.
pub struct Above {
    pub said: String,
    pub height: f64,
    pub spots: Vec<Spot>,
}

/// What is said above a picture; `bars` says where bars begin.
pub fn above(flags: &[Flag], bars: &[f64], [left, top, right]: [f64; 3]) -> Above {
    let mut spots = Vec::new();
    let mut out = String::new();
    // Where each line of words ends so far, the lowest first.
    let mut ends: Vec<f64> = Vec::new();
    let mut told: Vec<usize> = flags.iter().map(|f| f.bar).collect();
    told.sort_unstable();
    told.dedup();
    for (place, bar) in told.iter().enumerate() {
        let own: Vec<&Flag> = flags.iter().filter(|f| f.bar == *bar).collect();
        let end = told.get(place + 1).map_or(right, |next| bars[*next] - GAP);
        let text = line(&own, end - bars[*bar]);
        let wide = width(&text);
        let x = bars[*bar].min(right - wide).max(left);
        let row = ends.iter().position(|end| *end + GAP <= x).unwrap_or(ends.len());
        if row == ends.len() {
            ends.push(0.0);
        }
        ends[row] = x + wide;
        let y = top - LINE * row as f64 - LINE / 4.0;
        let status = own.iter().map(|f| f.status).reduce(|a, b| if a == b { a } else { "" }).unwrap_or_default();
        let rows: Vec<String> = own.iter().map(|f| f.row.to_string()).collect();
        let _ = write!(
            out,
            "<g class=\"flag{}{status}\" data-rows=\"{}\"><text x=\"{x:.0}\" y=\"{y:.0}\" font-size=\"{LETTER:.0}px\">{}</text></g>",
            if status.is_empty() { "" } else { " " },
            rows.join(" "),
            quick_xml::escape::escape(text.as_str()),
        );
        spots.push(Spot {
            extent: [x, y - LINE * 0.75, x + wide, y + LINE / 4.0],
            rows: own.iter().map(|f| f.row).collect(),
            about: own.iter().map(|f| f.text.as_str()).collect::<Vec<_>>().join("\n"),
            bar: *bar,
            crosses: false,
        });
    }
    Above { said: out, height: LINE * ends.len() as f64, spots }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flag(bar: usize, row: usize, text: &str) -> Flag {
        Flag { bar, row, status: "added", text: text.into() }
    }

    #[test]
    fn a_bar_has_one_line_and_bars_stand_beside_each_other() {
        let bars = [0.0, 9000.0, 18_000.0];
        let flags = [flag(0, 1, "+ structure <repeat>"), flag(1, 2, "+ key D major"), flag(0, 3, "+ meter 3/4")];
        let Above { said, height, spots } = above(&flags, &bars, [-100.0, -500.0, 24_000.0]);
        assert_eq!(height, LINE);
        assert!(said.contains("data-rows=\"1 3\""), "{said}");
        assert_eq!(spots.iter().map(|s| &s.rows[..]).collect::<Vec<_>>(), [&[1, 3][..], &[2]]);
        assert!(said.contains(">+ structure &lt;repeat&gt;; + meter 3/4</text>"), "{said}");
    }

    #[test]
    fn what_has_no_room_is_folded() {
        let flags: Vec<Flag> = (0..8).map(|row| flag(row / 4, row, "+ structure repeat forward")).collect();
        let Above { said, height, spots } = above(&flags, &[0.0, 3000.0], [0.0, 0.0, 9000.0]);
        assert_eq!(height, LINE);
        assert_eq!(said.matches("<text").count(), 2);
        assert!(said.contains(&format!(">{}</text>", folded(4))), "{said}");
        assert!(spots[0].about.starts_with("+ structure repeat forward\n+"), "{}", spots[0].about);
    }
}
