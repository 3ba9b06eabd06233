//! What holds where a system is cut: the clef and the key of each staff, to stand
//! before a piece of it that has a line of its own.

use super::element::placed;
use crate::engrave::boxes::{SVG, has_class, staff_lines};
use crate::engrave::shapes::{Matrix, transform};
use roxmltree::Node;
use std::collections::BTreeMap;
use std::fmt::Write;

/// A sign of a clef or a key.
#[derive(Debug, Clone, PartialEq)]
struct Sign {
    /// Its name in the font: `E050`.
    code: String,
    glyph: usize,
    at: Matrix,
}

/// A staff, as far as it has been read.
#[derive(Debug, Clone, Default)]
pub struct Held {
    /// The heights of its lines.
    lines: Vec<f64>,
    clef: Vec<Sign>,
    key: Vec<Sign>,
    /// The clef that the key was written in.
    clef_of_key: Vec<Sign>,
}

/// Half a staff space.
const STEP: f64 = 90.0;
const NATURAL: &str = "E261";
/// Before the clef, between it and the key, and behind.
const GAP: f64 = 115.0;
/// A clef's width, and an accidental's.
const CLEF: f64 = 500.0;
const ACCIDENTAL: f64 = 180.0;

/// Reads what a bar changes.
pub fn read(measure: Node<'_, '_>, glyphs: &BTreeMap<&str, usize>, held: &mut Vec<Held>) {
    let staves = measure.children().filter(|n| has_class(*n, "staff"));
    for (place, staff) in staves.enumerate() {
        if held.len() <= place {
            held.push(Held::default());
        }
        let own = &mut held[place];
        own.lines = staff_lines(staff).iter().map(|line| line[2]).collect();
        for sign in staff.descendants().filter(|n| has_class(*n, "clef") || has_class(*n, "keySig")) {
            let mut signs: Vec<Sign> = sign.descendants().filter_map(|n| Sign::read(n, glyphs)).collect();
            if has_class(sign, "clef") {
                own.clef = signs;
            } else {
                // Naturals only say what no longer holds.
                signs.retain(|s| s.code != NATURAL);
                own.key = signs;
                own.clef_of_key = own.clef.clone();
            }
        }
    }
}

impl Sign {
    fn read(node: Node<'_, '_>, glyphs: &BTreeMap<&str, usize>) -> Option<Sign> {
        let name = node.attribute("href").filter(|_| node.has_tag_name((SVG, "use")))?.trim_start_matches('#');
        let at = transform(node.attribute("transform").unwrap_or_default());
        let code = name.split('-').next().unwrap_or_default().to_string();
        let glyph = *glyphs.get(name)?;
        at.iter().all(|n| n.is_finite()).then_some(Sign { code, glyph, at })
    }

    /// Of the note on the line of a clef, how many steps above a C it is.
    fn clef_note(&self) -> Option<f64> {
        let code = u32::from_str_radix(&self.code, 16).ok()?;
        match code {
            0xE050..=0xE05B | 0xE07A => Some(4.0),
            0xE05C..=0xE061 | 0xE07B => Some(0.0),
            0xE062..=0xE068 | 0xE07C => Some(3.0),
            _ => None,
        }
    }

    /// How much larger it is before a staff than within it.
    fn growth(&self) -> f64 {
        if matches!(self.code.as_str(), "E07A" | "E07B" | "E07C") { WITHIN.recip() } else { 1.0 }
    }
}

/// The size of a clef within a staff, to that of one before it.
const WITHIN: f64 = 0.8;

impl Held {
    /// The height of its highest line.
    fn top(&self) -> f64 {
        self.lines.first().copied().unwrap_or_default()
    }

    fn bottom(&self) -> f64 {
        self.lines.last().copied().unwrap_or_default()
    }

    /// A piece of the staff that begins with what holds, from its upper left corner.
    fn shape(&self, width: f64) -> String {
        let top = self.top();
        let lines: String = self.lines.iter().map(|y| format!("M0 {:.0}H{width:.0}", y - top)).collect();
        // It is defined outside of the staves, and their style does not reach it.
        let mut out = format!("<path d=\"{lines}\" stroke=\"currentColor\" stroke-width=\"13\"/>");
        let mut put = |sign: &Sign, x: f64, y: f64| {
            let [wide, b, c, high, ..] = sign.at.map(|n| n * sign.growth());
            out += &placed(sign.glyph, [wide, b, c, high, x, y]);
        };
        for sign in &self.clef {
            let beside = sign.at[4] - self.clef[0].at[4];
            put(sign, GAP + beside, sign.at[5] - top);
        }
        let up = self.key_moved();
        let height = |sign: &Sign| sign.at[5] - top - up;
        // Sharps do not begin above a staff: those there go down an octave.
        let is_high = self.key.first().is_some_and(|first| height(first) < 0.0);
        for (place, sign) in self.key.iter().enumerate() {
            let y = height(sign) + if is_high && height(sign) < 0.0 { 7.0 * STEP } else { 0.0 };
            put(sign, CLEF + 2.0 * GAP + place as f64 * ACCIDENTAL, y);
        }
        out
    }

    /// How much higher a key stands in the clef that holds than in the one that it was written in.
    fn key_moved(&self) -> f64 {
        let of = |clef: &[Sign]| clef.first().and_then(|sign| Some((sign.clef_note()?, sign.at[5])));
        let Some(((old, before), (new, now))) = of(&self.clef_of_key).zip(of(&self.clef)) else { return 0.0 };
        // By so many steps, or by as many octaves more or less as are nearest.
        let steps = (before - now) / STEP + old - new;
        (steps - 7.0 * (steps / 7.0).round()) * STEP
    }
}

/// What stands at the beginning of a piece, its staves beginning at 0.
#[derive(Debug, Default)]
pub struct Beginning {
    pub width: f64,
    pub shown: String,
}

impl Beginning {
    /// How wide the clefs and keys of some staves are.
    pub fn width(held: &[Held]) -> f64 {
        let own = |h: &Held| h.key.len() as f64 * ACCIDENTAL + if h.key.is_empty() { 0.0 } else { GAP };
        CLEF + 2.0 * GAP + held.iter().map(own).fold(0.0, f64::max)
    }

    /// `number` gives the number of the beginning of a staff, for all of the page.
    pub fn new(held: &[Held], mut number: impl FnMut(String) -> usize) -> Beginning {
        let Some((first, last)) = held.first().zip(held.last()) else { return Beginning::default() };
        let width = Beginning::width(held);
        let mut shown = format!("<path d=\"M13 {:.0}V{:.0}\" stroke-width=\"27\"/>", first.top(), last.bottom());
        for staff in held {
            let _ = write!(shown, "<use href=\"#h{}\" y=\"{:.0}\"/>", number(staff.shape(width)), staff.top());
        }
        Beginning { width, shown }
    }
}

/// A name along its staves, from below upwards.
pub fn name_along(text: &str, x: f64, y: f64) -> String {
    let text = quick_xml::escape::escape(text);
    format!(
        "<text transform=\"translate({x:.0} {y:.0}) rotate(-90)\" text-anchor=\"middle\" font-size=\"380px\">{text}</text>"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use roxmltree::Document;

    /// A bar of a staff whose highest line is at 500; signs by their names and heights.
    fn read_bars(bars: &[&[(&str, &str, i64)]]) -> Held {
        let glyphs: BTreeMap<&str, usize> =
            [("E050-x", 0), ("E05C-x", 1), ("E07C-x", 2), ("E261-x", 3), ("E262-x", 4)].into();
        let mut held = Vec::new();
        for signs in bars {
            let lines: String =
                (0..5).map(|line| format!("<path d=\"M0 {y} L9 {y}\"/>", y = 500 + 180 * line)).collect();
            let groups: String = signs
                .chunk_by(|a, b| a.0 == b.0)
                .map(|group| {
                    let signs: String = group
                        .iter()
                        .map(|(_, code, y)| {
                            format!("<use href=\"#{code}-x\" transform=\"translate(100, {y}) scale(0.72, 0.72)\"/>")
                        })
                        .collect();
                    format!("<g class=\"{}\">{signs}</g>", group[0].0)
                })
                .collect();
            let text = format!("<g xmlns=\"{SVG}\" class=\"measure\"><g class=\"staff\">{lines}{groups}</g></g>");
            let document = Document::parse(&text).unwrap();
            read(document.root_element(), &glyphs, &mut held);
        }
        held.remove(0)
    }

    /// Number and height of each sign of what stands before a piece.
    fn shown(held: &Held) -> Vec<(usize, i64)> {
        let shape = held.shape(1000.0);
        let uses = shape.split("<use href=\"#y").skip(1);
        let read = |one: &str| {
            let number = one.split('"').next()?.parse().ok()?;
            let y = match one.split_once("translate(") {
                Some((_, at)) => at.split([' ', ')']).nth(1)?.parse().ok()?,
                None => one.split("y=\"").nth(1)?.split('"').next()?.parse().ok()?,
            };
            Some((number, y))
        };
        uses.map(|one| read(one).unwrap()).collect()
    }

    #[test]
    fn what_holds_stands_before_a_piece() {
        let treble: &[_] = &[("clef", "E050", 1040), ("keySig", "E262", 500), ("keySig", "E262", 770)];
        assert_eq!(shown(&read_bars(&[treble])), [(0, 540), (4, 0), (4, 270)]);
        // In the bass clef a key stands two steps lower.
        assert_eq!(shown(&read_bars(&[treble, &[("clef", "E07C", 680)]])), [(2, 180), (4, 180), (4, 450)]);
        // In the tenor clef its sharps begin within the staff.
        assert_eq!(shown(&read_bars(&[treble, &[("clef", "E05C", 680)]])), [(1, 180), (4, 540), (4, 180)]);
        let less: &[_] = &[("keySig", "E261", 770), ("keySig", "E262", 500)];
        assert_eq!(shown(&read_bars(&[treble, less])), [(0, 540), (4, 0)]);
    }
}
