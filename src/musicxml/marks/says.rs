//! What an element says beyond its name: its text, and those attributes and
//! children that are more than a matter of drawing or playback.

use super::name;
use crate::musicxml::elements::facts;
use crate::musicxml::tree::{child, child_text, elements, length_of_type, one_line, text_of};
use crate::score::sign::Metronome;
use crate::time::{Time, parse_decimal};
use roxmltree::Node;

/// Text, telling attributes and children, in words; empty for a sign that its
/// name tells in full.
pub(super) fn content(node: Node<'_, '_>) -> String {
    let mut out = Vec::new();
    let text = one_line(text_of(node));
    let known = facts(name(node));
    if !text.is_empty() && known.plain != Some(&text) {
        out.push(text);
    }
    for attribute in known.telling {
        match node.attribute(*attribute) {
            None | Some("no") => {}
            Some("yes") => out.push((*attribute).into()),
            // Above or below, of a mordent or a hole: which of its ends.
            Some(value) if matches!(*attribute, "approach" | "departure") => out.push(format!("{attribute} {value}")),
            Some(value) => out.push(value.into()),
        }
    }
    // Of a sign that the schema has no name for, the glyph may be all there is.
    if let Some(glyph) = node.attribute("smufl").filter(|_| name(node).starts_with("other-")) {
        out.push(glyph.into());
    }
    for item in elements(node) {
        let said = content(item);
        out.push(if said.is_empty() { name(item).into() } else { format!("{} {said}", name(item)) });
    }
    if out.len() > 1 { out.join(" ") } else { out.pop().unwrap_or_default() }
}

/// The same for people: without the names of the parts of a sign that says
/// something in words of its own.
pub(super) fn in_words(node: Node<'_, '_>) -> String {
    let sign = |alter: &str| match alter {
        "1" => "#",
        "-1" => "b",
        _ => "",
    };
    match name(node) {
        "hole" => match child_text(node, "hole-closed") {
            Some("yes") => "closed".into(),
            Some("no") => "open".into(),
            Some(other) => other.to_string(),
            None => String::new(),
        },
        "harp-pedals" => elements(node)
            .map(|pedal| {
                let step = child_text(pedal, "pedal-step").unwrap_or("");
                format!("{step}{}", sign(child_text(pedal, "pedal-alter").unwrap_or("")))
            })
            .collect::<Vec<_>>()
            .join(" "),
        "scordatura" => elements(node)
            .map(|string| {
                let told = |name| child_text(string, name).unwrap_or("");
                let number = string.attribute("string").unwrap_or("");
                format!("{number}: {}{}{}", told("tuning-step"), sign(told("tuning-alter")), told("tuning-octave"))
            })
            .collect::<Vec<_>>()
            .join(", "),
        "bend" => {
            let alter = child_text(node, "bend-alter").unwrap_or("");
            let more = ["pre-bend", "release", "with-bar"].into_iter().filter(|n| child(node, n).is_some());
            let all: Vec<&str> = std::iter::once(alter).chain(more).collect();
            all.join(" ").trim().to_string()
        }
        "accordion-registration" => content(node).replace("accordion-", ""),
        _ => content(node),
    }
}

/// `quarter = 66`, `dotted quarter = 60`, `quarter = dotted quarter`; of a
/// metric modulation all notes on both sides.
pub(super) fn metronome(node: Node<'_, '_>) -> Metronome {
    let (beat, quarters) = beat_and_quarters(node).unzip();
    Metronome { printed: printed_metronome(node), quarters, beat }
}

fn printed_metronome(node: Node<'_, '_>) -> String {
    let mut sides: Vec<Vec<String>> = vec![Vec::new()];
    let mut relation = "=";
    for item in elements(node) {
        match name(item) {
            "beat-unit" | "per-minute" => {
                let text = unit(text_of(item));
                if sides.last().is_some_and(|side| !side.is_empty()) {
                    sides.push(Vec::new());
                }
                sides.last_mut().expect("never empty").push(text);
            }
            "beat-unit-dot" => {
                if let Some(last) = sides.last_mut().and_then(|side| side.last_mut()) {
                    *last = dotted(last);
                }
            }
            "beat-unit-tied" => {
                let side = sides.last_mut().expect("never empty");
                for unit in elements(item) {
                    match (name(unit), side.last_mut()) {
                        ("beat-unit", _) => side.push(format!("tied to {}", self::unit(text_of(unit)))),
                        (_, Some(last)) => *last = dotted(last),
                        (_, None) => {}
                    }
                }
            }
            "metronome-note" => {
                let side = sides.last_mut().expect("never empty");
                side.push(metronome_note(item));
            }
            "metronome-relation" => {
                relation = text_of(item);
                sides.push(Vec::new());
            }
            "metronome-arrows" => sides[0].insert(0, "arrows".into()),
            _ => {}
        }
    }
    let relation = if relation == "equals" { "=" } else { relation };
    let sides: Vec<String> = sides.iter().map(|side| side.join(" ")).collect();
    sides.join(&format!(" {relation} "))
}

/// A note type as all else names it, or a number as it stands.
pub fn unit(text: &str) -> String {
    if text.trim() == "16th" { "sixteenth".into() } else { one_line(text) }
}

fn dotted(unit: &str) -> String {
    match unit.strip_prefix("tied to ") {
        Some(unit) => format!("tied to dotted {unit}"),
        None => format!("dotted {unit}"),
    }
}

/// One note of a metric modulation.
fn metronome_note(node: Node<'_, '_>) -> String {
    let mut out = unit(child_text(node, "metronome-type").unwrap_or(""));
    for item in elements(node) {
        match name(item) {
            "metronome-dot" => out.insert_str(0, "dotted "),
            "metronome-tied" if item.attribute("type") == Some("start") => out.push_str(" tied to"),
            "metronome-tuplet" if item.attribute("type") == Some("start") => {
                let told = |name| child_text(item, name).unwrap_or("");
                out.insert_str(0, &format!("({} for {}: ", told("actual-notes"), told("normal-notes")));
            }
            "metronome-tuplet" => out.push(')'),
            _ => {}
        }
    }
    out
}

/// A note value and quarter notes per minute, where so many of that value are
/// asked for; of `c. 60` or `60-66` the first number.
fn beat_and_quarters(node: Node<'_, '_>) -> Option<(Time, Time)> {
    let mut items =
        elements(node).filter(|n| matches!(name(*n), "beat-unit" | "beat-unit-dot" | "beat-unit-tied" | "per-minute"));
    let unit = items.next().filter(|n| name(*n) == "beat-unit")?;
    let plain = length_of_type(text_of(unit)).filter(|t| (Time::new(1, 8)..=Time::from(8)).contains(t))?;
    let (mut dots, mut next) = (0, items.next()?);
    while name(next) == "beat-unit-dot" {
        (dots, next) = (dots + 1, items.next()?);
    }
    if dots > 3 || name(next) != "per-minute" {
        return None;
    }
    let unit = plain * (Time::from(2) - Time::new(1, 1 << dots));
    let number = text_of(next).trim_start_matches(|c: char| !c.is_ascii_digit());
    let number = &number[..number.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(number.len())];
    Some((unit, parse_decimal(number.trim_end_matches('.'))? * unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metronome_marks_are_read_in_quarters() {
        let dot = "<beat-unit-dot/>";
        for (unit, then, wanted) in [
            ("quarter", "<per-minute>66</per-minute>".to_string(), Some(Time::from(66))),
            ("quarter", format!("{dot}<per-minute>60</per-minute>"), Some(Time::from(90))),
            ("half", "<per-minute>c. 50</per-minute>".into(), Some(Time::from(100))),
            ("eighth", "<per-minute>112-120</per-minute>".into(), Some(Time::from(56))),
            ("half", format!("{dot}{dot}<per-minute>40</per-minute>"), Some(Time::from(140))),
            ("quarter", format!("<beat-unit>quarter</beat-unit>{dot}"), None),
            ("quarter", "<per-minute>fast</per-minute>".into(), None),
        ] {
            let text = format!("<metronome><beat-unit>{unit}</beat-unit>{then}</metronome>");
            let doc = roxmltree::Document::parse(&text).unwrap();
            assert_eq!(metronome(doc.root_element()).quarters, wanted, "{text}");
        }
    }

    #[test]
    fn note_types_have_the_names_that_lengths_have() {
        let text = "<metronome><beat-unit>16th</beat-unit><beat-unit-dot/><per-minute>66</per-minute></metronome>";
        let doc = roxmltree::Document::parse(text).unwrap();
        assert_eq!(printed_metronome(doc.root_element()), "dotted sixteenth = 66");
    }
}
