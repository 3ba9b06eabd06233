//! Chord symbols and figures.

use super::{Collector, Spot, is_printed, name};
use crate::musicxml::elements::category;
use crate::musicxml::tree::{alteration, child, child_text, elements, one_line, text_of};
use crate::pitch::{Interval, Pitch, alteration_of};
use crate::score::harmony::{ChordItem, ChordSymbol, ChordTone, Figure, FigureSign, FiguredBass};
use crate::score::{Part, Sign};
use roxmltree::Node;

impl Collector {
    /// A chord symbol, or several that stand together.
    pub fn harmony(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        if !is_printed(node) {
            return;
        }
        let transpose = part.bars[spot.place.bar].transpose;
        let mut items: Vec<ChordItem> = Vec::new();
        for item in elements(node) {
            self.placed("harmony", item, spot.place.bar);
            let text = || text_of(item).to_string();
            items.extend(match name(item) {
                "root" => printed_tone(item, "root", transpose).map(ChordItem::Root),
                "bass" => printed_tone(item, "bass", transpose).map(ChordItem::Bass),
                "numeral" => {
                    let alter = child_text(item, "numeral-alter").unwrap_or("");
                    let mode = child(item, "numeral-key").and_then(|key| child_text(key, "numeral-mode")).unwrap_or("");
                    let root = child_text(item, "numeral-root").unwrap_or("");
                    Some(ChordItem::Numeral(one_line(&format!("{root} {alter} {mode}"))))
                }
                "function" => Some(ChordItem::Function(text())),
                "kind" => {
                    let printed = one_line(item.attribute("text").unwrap_or(text_of(item)));
                    // Where no kind of chord is meant, the text is all that is said.
                    let name = match text_of(item) {
                        "none" | "other" => in_place_of_chord(&printed),
                        kind => kind.into(),
                    };
                    Some(ChordItem::Kind { name, printed })
                }
                "inversion" if text_of(item) != "0" => Some(ChordItem::Inversion(text())),
                "degree" if is_printed(item) => {
                    let told = |name| child_text(item, name).unwrap_or("");
                    let sign = match told("degree-alter") {
                        "1" => "#",
                        "-1" => "b",
                        _ => "",
                    };
                    Some(ChordItem::Degree(format!("{} {sign}{}", told("degree-type"), told("degree-value"))))
                }
                "frame" => Some(ChordItem::Diagram),
                _ => None,
            });
        }
        let chord = ChordSymbol { items, form: None };
        if chord.is_empty() {
            return;
        }
        let form = node.attribute("type").filter(|t| *t != "explicit").map(str::to_string);
        let sign = Sign::Chord(ChordSymbol { form, ..chord });
        self.add_plain(part, category("measure", "harmony"), sign, node, spot);
    }

    /// Figures from the top, each with its sign before or after it.
    pub fn figured_bass(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let transpose = part.bars[spot.place.bar].transpose;
        let bass = bass_of(node);
        let mut figures = Vec::new();
        for figure in elements(node) {
            let known = self.placed("figured-bass", figure, spot.place.bar).is_some();
            if !known || name(figure) != "figure" {
                continue;
            }
            for item in elements(figure) {
                self.placed("figure", item, spot.place.bar);
            }
            let told = |name| child_text(figure, name).unwrap_or("");
            let number = told("figure-number");
            // A sign alone is at the third; it alters the note so many letters above the bass.
            let above = number.parse::<i32>().ok().filter(|n| (1..100).contains(n)).unwrap_or(3) - 1;
            let sign = |name: &str| {
                let altered = bass
                    .as_ref()
                    .zip(alteration_of(name))
                    .map(|(bass, alter)| Pitch::new((bass.step + above).rem_euclid(7), alter, 4).moved(transpose));
                (!name.is_empty()).then(|| FigureSign { name: name.to_string(), pitch: altered })
            };
            figures.push(Figure {
                before: sign(told("prefix")),
                number: number.to_string(),
                after: sign(told("suffix")),
                goes_on: child(figure, "extend").is_some(),
            });
        }
        if figures.is_empty() || !is_printed(node) {
            return;
        }
        // Parentheses only set them apart.
        let in_parentheses = node.attribute("parentheses") == Some("yes");
        let sign = Sign::Figures(FiguredBass { figures, in_parentheses });
        self.add_plain(part, category("measure", "figured-bass"), sign, node, spot);
    }
}

/// The note that figures stand over, as written.
fn bass_of(figures: Node<'_, '_>) -> Option<Pitch> {
    let notes = figures.next_siblings().filter(|n| n.has_tag_name("note"));
    let pitch = notes.into_iter().find_map(|n| child(n, "pitch"))?;
    named_pitch(pitch, "step", "alter")
}

/// A root or a bass as it is printed, and how it sounds; nothing of one that is not printed.
fn printed_tone(item: Node<'_, '_>, of: &str, transpose: Interval) -> Option<ChordTone> {
    let [step, alter] = ["step", "alter"].map(|name| format!("{of}-{name}"));
    let written = named_pitch(item, &step, &alter);
    let pitch = written.map(|p| p.moved(transpose));
    let Some(text) = child(item, &step).and_then(|n| n.attribute("text")) else {
        return Some(ChordTone { printed: written.map_or(String::new(), |p| p.name()), pitch });
    };
    let sign = written.filter(|_| child(item, &alter).is_some_and(is_printed)).map(|p| p.name()[1..].to_string());
    let printed = one_line(&format!("{text}{}", sign.unwrap_or_default()));
    (!one_line(text).is_empty()).then_some(ChordTone { printed, pitch })
}

/// What stands where a chord would: words, or that there is no chord.
fn in_place_of_chord(text: &str) -> String {
    match text.to_lowercase().replace(['.', ' '], "").as_str() {
        "nc" | "nochord" | "none" | "" => "none".into(),
        _ => text.into(),
    }
}

fn named_pitch(holder: Node<'_, '_>, step: &str, alter: &str) -> Option<Pitch> {
    let base = Pitch::parse(&format!("{}4", child_text(holder, step)?))?;
    let alter = child_text(holder, alter).and_then(alteration).unwrap_or(0);
    Some(Pitch { alter, ..base })
}
