//! Chord symbols and figures.

use super::{Collector, Sign, Spot, is_printed, name};
use crate::musicxml::accidentals::{accidental_name, alteration_of};
use crate::musicxml::elements::category;
use crate::musicxml::tree::{alteration, child, child_text, element, elements, one_line, text_of};
use crate::pitch::{Interval, Pitch};
use crate::score::{Mark, Part};
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
                    let Some((told, pitch)) = printed_pitch(item, of) else { continue };
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
                    let shown = one_line(item.attribute("text").unwrap_or(text_of(item)));
                    // Where no kind of chord is meant, the text is all that is said.
                    meaning.push(match text_of(item) {
                        "none" | "other" => in_place_of_chord(&shown),
                        kind => kind.into(),
                    });
                    reading.push_str(&format!(" {shown}"));
                }
                "inversion" if text_of(item) != "0" => {
                    reading.push_str(&format!(" inversion {}", text_of(item)));
                    meaning.push(format!("inversion {}", text_of(item)));
                }
                "degree" if is_printed(item) => {
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
        if reading.trim().is_empty() {
            return;
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
        let (bass, mut pitches) = (bass_of(node), Vec::new());
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
            // A sign alone is at the third; it alters the note so many letters above the bass.
            let above = number.parse::<i32>().ok().filter(|n| (1..100).contains(n)).unwrap_or(3) - 1;
            let altered = [prefix, suffix].into_iter().filter_map(alteration_of);
            pitches.extend(bass.iter().flat_map(|bass| {
                let step = (bass.step + above).rem_euclid(7);
                altered.clone().map(move |alter| Pitch::new(step, alter, 4))
            }));
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
        let transpose = part.bars[spot.place.bar].transpose;
        let mark = self.add(part, sign, spot, vec![element(node)]);
        part.marks[mark].pitches = pitches.into_iter().map(|p| p.moved(transpose)).collect();
    }
}

/// The note that figures stand over, as written.
fn bass_of(figures: Node<'_, '_>) -> Option<Pitch> {
    let notes = figures.next_siblings().filter(|n| n.has_tag_name("note"));
    let pitch = notes.into_iter().find_map(|n| child(n, "pitch"))?;
    named_pitch(pitch, "step", "alter")
}

/// What is printed of a root or a bass, and its pitch; nothing of one that is not.
fn printed_pitch(item: Node<'_, '_>, of: &str) -> Option<(String, Option<Pitch>)> {
    let [step, alter] = ["step", "alter"].map(|name| format!("{of}-{name}"));
    let pitch = named_pitch(item, &step, &alter);
    let Some(text) = child(item, &step).and_then(|n| n.attribute("text")) else {
        return Some((pitch.map_or(String::new(), |p| p.name()), pitch));
    };
    let sign = pitch.filter(|_| child(item, &alter).is_some_and(is_printed)).map(|p| p.name()[1..].to_string());
    let told = one_line(&format!("{text}{}", sign.unwrap_or_default()));
    (!one_line(text).is_empty()).then_some((told, pitch))
}

/// What stands where a chord would: words, or that there is no chord.
fn in_place_of_chord(text: &str) -> String {
    match text.to_lowercase().replace(['.', ' '], "").as_str() {
        "nc" | "nochord" | "none" | "" => "none".into(),
        _ => text.into(),
    }
}

/// The reading of a chord symbol or of figures of the source in another key;
/// `from` is how the source's written notes sound, `to` leads from what sounds
/// there to what the edition would write.
pub fn moved_reading(mark: &Mark, from: Interval, to: Interval) -> String {
    let names = |p: &Pitch| (p.moved(from.inverse()).name(), p.moved(to).simplest().name());
    let signs = |p: &Pitch| {
        let short = |alter| accidental_name(alter).map_or("", short_accidental).to_string();
        (short(p.moved(from.inverse()).alter), short(p.moved(to).alter))
    };
    let (mut out, mut rest) = (String::new(), mark.reading.as_ref());
    for pitch in &mark.pitches {
        let (old, new) = if mark.kind == "figured-bass" { signs(pitch) } else { names(pitch) };
        // A root may be called otherwise; it comes first.
        let called = || out.is_empty().then(|| (0, rest.find([' ', '/']).unwrap_or(rest.len())));
        let found = rest.find(&old).map(|at| (at, at + old.len())).or_else(called);
        let Some((from, to)) = found else { continue };
        out.push_str(&rest[..from]);
        out.push_str(&new);
        rest = &rest[to..];
    }
    out + rest
}

/// The meaning of figures with the signs that they need in another key.
pub fn moved_signs(mark: &Mark, by: Interval) -> String {
    let mut pitches = mark.pitches.iter();
    let (mut out, mut rest) = (String::new(), mark.meaning.as_ref());
    while let Some((before, (sign, after))) = rest.split_once('{').and_then(|(b, r)| Some((b, r.split_once('}')?))) {
        let pitch = alteration_of(sign).and_then(|_| pitches.next());
        let moved = pitch.and_then(|p| accidental_name(p.moved(by).alter)).unwrap_or(sign);
        out.push_str(&format!("{before}{{{moved}}}"));
        rest = after;
    }
    out + rest
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
        "flat-flat" | "double-flat" => "bb",
        "plus" => "+",
        other => other,
    }
}
