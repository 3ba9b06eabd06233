//! Chord symbols and figures.

use super::placement::category;
use super::{Collector, Sign, Spot, is_printed, name};
use crate::musicxml::tree::{alteration, child, child_text, element, elements, one_line, text_of};
use crate::pitch::Pitch;
use crate::score::Part;
use roxmltree::Node;

impl Collector {
    /// A chord symbol, or several that stand together. Its pitches are kept
    /// apart as they sound, for another key moves them.
    pub fn harmony(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        if !is_printed(node) {
            return;
        }
        let mut pitches = Vec::new();
        let mut reading = String::new();
        let mut meaning: Vec<String> = Vec::new();
        for item in elements(node) {
            self.placed("harmony", item, spot.place.bar);
            match name(item) {
                of @ ("root" | "bass") => {
                    let pitch = named_pitch(item, &format!("{of}-step"), &format!("{of}-alter"));
                    let told = pitch.map_or(String::new(), |p| p.name());
                    reading.push_str(if of == "root" { " " } else { "/" });
                    reading.push_str(&told);
                    meaning.push(of.into());
                    pitches.extend(pitch);
                }
                "numeral" => {
                    let alter = child_text(item, "numeral-alter").unwrap_or("");
                    let mode = child(item, "numeral-key").and_then(|key| child_text(key, "numeral-mode")).unwrap_or("");
                    let numeral =
                        one_line(&format!("{} {alter} {mode}", child_text(item, "numeral-root").unwrap_or("")));
                    reading.push_str(&format!(" {numeral}"));
                    meaning.push(format!("numeral {numeral}"));
                }
                "function" => {
                    reading.push_str(&format!(" {}", text_of(item)));
                    meaning.push(format!("function {}", text_of(item)));
                }
                "kind" => {
                    let shown = item.attribute("text").unwrap_or(text_of(item));
                    reading.push_str(&format!(" {shown}"));
                    meaning.push(text_of(item).into());
                }
                "inversion" if text_of(item) != "0" => {
                    reading.push_str(&format!(" inversion {}", text_of(item)));
                    meaning.push(format!("inversion {}", text_of(item)));
                }
                "degree" => {
                    let told = |name| child_text(item, name).unwrap_or("");
                    let sign = match told("degree-alter") {
                        "1" => "#",
                        "-1" => "b",
                        _ => "",
                    };
                    let degree = format!("{} {sign}{}", told("degree-type"), told("degree-value"));
                    reading.push_str(&format!(" {degree}"));
                    meaning.push(degree);
                }
                // Where the fingers go changes with the key.
                "frame" => {
                    reading.push_str(" with a chord diagram");
                    meaning.push("frame".into());
                }
                _ => {}
            }
        }
        if let Some(kind) = node.attribute("type").filter(|t| *t != "explicit") {
            reading.push_str(&format!(" ({kind})"));
            meaning.push(kind.into());
        }
        let transpose = part.bars[spot.place.bar].transpose;
        let sign = Sign::new(category("measure", "harmony"), "harmony", one_line(&reading)).meaning(meaning.join(" "));
        let mark = self.add(part, sign, spot, vec![element(node)]);
        part.marks[mark].pitches = pitches.into_iter().map(|p| p.moved(transpose)).collect();
    }

    /// Figures from the top, each with its sign before or after it. The meaning
    /// has the signs in braces: in another key they are others.
    pub fn figured_bass(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let (mut shown, mut meant) = (Vec::new(), Vec::new());
        for figure in elements(node) {
            let known = self.placed("figured-bass", figure, spot.place.bar).is_some();
            if !known || name(figure) != "figure" {
                continue;
            }
            for item in elements(figure) {
                self.placed("figure", item, spot.place.bar);
            }
            let told = |name| child_text(figure, name).unwrap_or("");
            let (prefix, number, suffix) = (told("prefix"), told("figure-number"), told("suffix"));
            let line = if child(figure, "extend").is_some() { " _" } else { "" };
            let before = if number.is_empty() { "" } else { " " };
            let sign = |name: &str| short_accidental(name).to_string();
            let reading = format!("{}{before}{number} {}", sign(prefix), sign(suffix));
            shown.push(format!("{}{line}", reading.trim()));
            let signs: String =
                [prefix, suffix].into_iter().filter(|s| !s.is_empty()).map(|s| format!("{{{s}}}")).collect();
            meant.push(format!("{number}{signs}{line}"));
        }
        if shown.is_empty() || !is_printed(node) {
            return;
        }
        let mut reading = shown.join("/");
        // Parentheses only set them apart.
        if node.attribute("parentheses") == Some("yes") {
            reading = format!("({reading})");
        }
        let sign = Sign::new(category("measure", "figured-bass"), "figured-bass", reading).meaning(meant.join("/"));
        self.add(part, sign, spot, vec![element(node)]);
    }
}

fn named_pitch(holder: Node<'_, '_>, step: &str, alter: &str) -> Option<Pitch> {
    let base = Pitch::parse(&format!("{}4", child_text(holder, step)?))?;
    let alter = child_text(holder, alter).and_then(alteration).unwrap_or(0);
    Some(Pitch { alter, ..base })
}

fn short_accidental(name: &str) -> &str {
    match name {
        "sharp" => "#",
        "flat" => "b",
        "natural" => "nat.",
        "double-sharp" | "sharp-sharp" => "##",
        "flat-flat" => "bb",
        "plus" => "+",
        other => other,
    }
}
