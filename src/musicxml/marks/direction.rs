//! Marks that stand in time: directions, chord symbols, figures.

use super::{Collector, Sign, Spot, elements, name, role_of, short_accidental};
use crate::musicxml::spans::{Kind, Role};
use crate::musicxml::tree::{child, child_text, element, text_of};
use crate::musicxml::words;
use crate::pitch::Pitch;
use crate::score::{Category, MarkId, Part};
use roxmltree::Node;

impl Collector {
    /// All that a `direction` says.
    pub fn direction(&mut self, part: &mut Part, direction: Node<'_, '_>, spot: Spot) {
        let mut words_here = None;
        for kind in elements(direction).filter(|n| name(*n) == "direction-type") {
            for node in elements(kind) {
                match name(node) {
                    "dynamics" => self.dynamics(part, node, spot),
                    "words" | "symbol" => {
                        if let Some(mark) = self.words(part, node, spot) {
                            words_here = Some(mark);
                            self.last_words = Some((spot.order.0, spot.staff, mark));
                        }
                    }
                    "wedge" => match node.attribute("type") {
                        Some("stop") => self.end(Kind::Hairpin, Role::Stop, node, spot, None),
                        Some("continue") => self.end(Kind::Hairpin, Role::Continue, node, spot, None),
                        Some(says @ ("crescendo" | "diminuendo")) => {
                            let sign = Sign::named(Category::Hairpin, says);
                            self.span(part, sign, (Kind::Hairpin, Role::Start), node, spot);
                        }
                        _ => {
                            self.simple(part, Category::Hairpin, node, spot);
                        }
                    },
                    "dashes" => self.dashes(part, node, spot, words_here),
                    "bracket" => self.line(part, Category::Text, Kind::Bracket, node, spot),
                    "octave-shift" => {
                        let size = node.attribute("size").unwrap_or("8");
                        let says = match node.attribute("type") {
                            // `down` prints the notes lower than they sound.
                            Some("down") => format!("{size} above"),
                            Some("up") => format!("{size} below"),
                            _ => String::new(),
                        };
                        let sign = Sign::named(Category::OctaveLine, &says);
                        self.span(part, sign, (Kind::OctaveLine, role_of(node)), node, spot);
                    }
                    "pedal" => match node.attribute("type") {
                        Some("stop" | "discontinue") => self.end(Kind::Pedal, Role::Stop, node, spot, None),
                        Some("continue" | "change" | "resume") => {
                            self.end(Kind::Pedal, Role::Continue, node, spot, None);
                        }
                        _ => {
                            let sign = Sign::named(Category::Pedal, "pedal");
                            self.span(part, sign, (Kind::Pedal, Role::Start), node, spot);
                        }
                    },
                    "metronome" => {
                        let reading = metronome(node);
                        let at = vec![element(node)];
                        self.add(part, Sign::new(Category::Tempo, "metronome", reading), spot, at);
                    }
                    "damp" | "damp-all" => {
                        self.simple(part, Category::Pedal, node, spot);
                    }
                    "rehearsal" => {
                        let reading = text_of(node).to_string();
                        let at = vec![element(node)];
                        self.add(part, Sign::new(Category::Rehearsal, "rehearsal", reading), spot, at);
                    }
                    "segno" | "coda" => {
                        self.simple(part, Category::Structure, node, spot);
                    }
                    _ => {
                        self.simple(part, Category::Text, node, spot);
                    }
                }
            }
        }
    }

    pub(super) fn dashes(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot, words_here: Option<MarkId>) {
        if role_of(node) != Role::Start {
            return self.end(Kind::Dashes, role_of(node), node, spot, None);
        }
        let before = self.last_words.filter(|(time, staff, _)| *time == spot.order.0 && *staff == spot.staff);
        match words_here.or(before.map(|b| b.2)) {
            // The dashes only draw out the words: one mark.
            Some(mark) => {
                part.marks[mark].elements.push(element(node));
                self.end(Kind::Dashes, Role::Start, node, spot, Some(mark));
            }
            None => self.line(part, Category::Text, Kind::Dashes, node, spot),
        }
    }

    pub(super) fn words(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) -> Option<MarkId> {
        let text = text_of(node);
        if text.is_empty() {
            return None;
        }
        if name(node) == "symbol" {
            return Some(self.simple(part, Category::Text, node, spot));
        }
        let (category, meaning) = words::classify(text);
        let reading = text.split_whitespace().collect::<Vec<_>>().join(" ");
        Some(self.add(part, Sign::new(category, "words", reading).meaning(meaning), spot, vec![element(node)]))
    }

    pub fn harmony(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let pitch = |of: &str, step: &str, alter: &str| {
            let holder = child(node, of)?;
            let letter = child_text(holder, step)?;
            let base = Pitch::parse(&format!("{letter}4"))?;
            let alter: f64 = child_text(holder, alter).and_then(|t| t.parse().ok()).unwrap_or(0.0);
            Some(Pitch { alter: (alter * 100.0).round() as i32, ..base })
        };
        let root = pitch("root", "root-step", "root-alter");
        let bass = pitch("bass", "bass-step", "bass-alter");
        let kind = child(node, "kind").map_or("", |k| k.attribute("text").unwrap_or(text_of(k)));
        let meaning = child_text(node, "kind").unwrap_or("").to_string();
        let numeral = child_text(node, "numeral").or(child_text(node, "function")).unwrap_or("");
        let mut reading = format!("{}{numeral} {kind}", root.map_or(String::new(), |p| p.name()));
        if let Some(bass) = bass {
            reading.push_str(&format!("/{}", bass.name()));
        }
        let at = vec![element(node)];
        let mark = self.add(part, Sign::new(Category::Harmony, "harmony", reading.trim()).meaning(meaning), spot, at);
        part.marks[mark].pitches = root.into_iter().chain(bass).collect();
    }

    pub fn figured_bass(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let figures: Vec<(String, bool)> = elements(node)
            .filter(|n| name(*n) == "figure")
            .map(|f| {
                let sign = child_text(f, "prefix").or(child_text(f, "suffix")).unwrap_or("");
                let number = child_text(f, "figure-number").unwrap_or("");
                (format!("{} {number}", short_accidental(sign)).trim().to_string(), !sign.is_empty())
            })
            .collect();
        let reading = figures.iter().map(|f| f.0.as_str()).collect::<Vec<_>>().join("/");
        // A sharp may become a natural in another key: only its presence counts.
        let meaning = elements(node)
            .filter(|n| name(*n) == "figure")
            .zip(&figures)
            .map(|(f, (_, signed))| {
                format!("{}{}", child_text(f, "figure-number").unwrap_or(""), if *signed { "*" } else { "" })
            })
            .collect::<Vec<_>>()
            .join("/");
        let sign = Sign::new(Category::Harmony, "figured-bass", reading).meaning(meaning);
        self.add(part, sign, spot, vec![element(node)]);
    }
}

/// `quarter = 66`, `dotted quarter = 60`, `quarter = dotted quarter`.
fn metronome(node: Node<'_, '_>) -> String {
    let mut sides: Vec<String> = Vec::new();
    for item in elements(node) {
        match name(item) {
            "beat-unit" => sides.push(text_of(item).to_string()),
            "beat-unit-dot" => {
                if let Some(last) = sides.last_mut() {
                    *last = format!("dotted {last}");
                }
            }
            "per-minute" => sides.push(text_of(item).to_string()),
            "metronome-note" => sides.push(child_text(item, "metronome-type").unwrap_or("").to_string()),
            _ => {}
        }
    }
    sides.join(" = ")
}
