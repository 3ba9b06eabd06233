//! Marks that a note carries.

use super::{Collector, Sign, Spot, elements, name, role_of, told};
use crate::musicxml::spans::{Kind, Role};
use crate::musicxml::tree::{element, text_of};
use crate::pitch::Pitch;
use crate::score::{Category, Element, Note, NoteId, Part};
use roxmltree::Node;

impl Collector {
    /// All marks that a note carries.
    pub fn note(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        for item in elements(node) {
            match name(item) {
                "notations" => self.notations(part, item, spot),
                "lyric" => {
                    let said: Vec<&str> =
                        elements(item).filter(|n| matches!(name(*n), "text" | "elision")).map(text_of).collect();
                    let reading = said.join(" ");
                    let verse = item.attribute("number").unwrap_or("1");
                    let meaning = format!("{verse} {reading}");
                    let sign = Sign::new(Category::Lyric, "lyric", reading).meaning(meaning);
                    self.add(part, sign, spot, vec![element(item)]);
                }
                "accidental" => {
                    let set = |a: &str| item.attribute(a) == Some("yes");
                    if let Some(how) =
                        ["cautionary", "editorial", "parentheses", "bracket"].into_iter().find(|a| set(a))
                    {
                        let reading = format!("{how} {}", text_of(item));
                        // Which sign it is depends on the key, not on the editor.
                        let at = vec![element(item)];
                        let sign = Sign::new(Category::Accidental, "accidental", reading).meaning("accidental");
                        self.add(part, sign, spot, at);
                    }
                }
                _ => {}
            }
        }
    }

    pub(super) fn notations(&mut self, part: &mut Part, notations: Node<'_, '_>, spot: Spot) {
        for node in elements(notations) {
            match name(node) {
                "slur" => self.line(part, Category::Slur, Kind::Slur, node, spot),
                "glissando" => self.line(part, Category::Ornament, Kind::Glissando, node, spot),
                "slide" => self.line(part, Category::Ornament, Kind::Slide, node, spot),
                "ornaments" => self.ornaments(part, node, spot),
                "technical" => {
                    for sign in elements(node) {
                        let category = match name(sign) {
                            "fingering" | "string" | "fret" | "pluck" | "thumb-position" | "hole" => {
                                Category::Fingering
                            }
                            "up-bow" | "down-bow" => Category::Bowing,
                            _ => Category::Technique,
                        };
                        let reading = technical_reading(sign);
                        let at = vec![element(sign)];
                        let meaning = format!("{} {reading}", name(sign));
                        self.add(part, Sign::new(category, name(sign), reading).meaning(meaning), spot, at);
                    }
                }
                "articulations" => {
                    for sign in elements(node) {
                        let category = match name(sign) {
                            "breath-mark" | "caesura" => Category::Breath,
                            _ => Category::Articulation,
                        };
                        self.add(part, Sign::named(category, name(sign)), spot, vec![element(sign)]);
                    }
                }
                "dynamics" => self.dynamics(part, node, spot),
                "fermata" => self.fermata(part, node, spot),
                "arpeggiate" | "non-arpeggiate" => {
                    let chord = spot.place.note.map(|n| part.chord(n));
                    let same = part.marks.iter_mut().rev().take(32).find(|m| {
                        m.kind == name(node) && m.at.bar == spot.place.bar && {
                            let note = m.at.note;
                            chord.as_ref().zip(note).is_some_and(|(c, n)| c.contains(&n))
                        }
                    });
                    match same {
                        Some(mark) => mark.elements.push(element(node)),
                        None => {
                            self.simple(part, Category::Ornament, node, spot);
                        }
                    }
                }
                "accidental-mark" => {
                    let at = vec![element(node)];
                    let reading = format!("{} above or below", text_of(node));
                    let sign = Sign::new(Category::Accidental, "accidental-mark", reading).meaning("mark");
                    self.add(part, sign, spot, at);
                }
                "tied" | "tuplet" | "footnote" | "level" => {}
                _ => {
                    self.simple(part, Category::Text, node, spot);
                }
            }
        }
    }

    pub(super) fn ornaments(&mut self, part: &mut Part, ornaments: Node<'_, '_>, spot: Spot) {
        let mut trill = None;
        for node in elements(ornaments) {
            match name(node) {
                "wavy-line" => {
                    let role = role_of(node);
                    if role != Role::Start {
                        self.end(Kind::Wavy, role, node, spot, None);
                        continue;
                    }
                    let mark = trill.unwrap_or_else(|| {
                        let at = vec![element(node)];
                        self.add(
                            part,
                            Sign::new(Category::Ornament, "wavy-line", "trill").meaning("trill-mark"),
                            spot,
                            at,
                        )
                    });
                    let elements = &mut part.marks[mark].elements;
                    if !elements.contains(&element(node)) {
                        elements.push(element(node));
                    }
                    self.end(Kind::Wavy, Role::Start, node, spot, Some(mark));
                }
                "accidental-mark" => {
                    let at = vec![element(node)];
                    let reading = format!("{} at the ornament", text_of(node));
                    let sign = Sign::new(Category::Accidental, "accidental-mark", reading).meaning("mark");
                    self.add(part, sign, spot, at);
                }
                "trill-mark" => {
                    let at = vec![element(node)];
                    let sign = Sign::new(Category::Ornament, "trill-mark", "trill").meaning("trill-mark");
                    trill = Some(self.add(part, sign, spot, at));
                }
                _ => {
                    let mark = self.simple(part, Category::Ornament, node, spot);
                    part.marks[mark].reading = told(node).replace('-', " ");
                }
            }
        }
    }

    /// A group of grace notes, anchored to its main note.
    pub fn grace(&mut self, part: &mut Part, notes: &[NoteId], slashed: bool, spot: Spot) {
        let own: Vec<&Note> = notes.iter().map(|n| &part.notes[*n]).collect();
        let pitches: Vec<Pitch> = own.iter().filter_map(|n| n.pitch()).collect();
        let at: Vec<Element> = own.iter().map(|n| n.element).collect();
        let names: Vec<String> = pitches.iter().map(Pitch::to_string).collect();
        let slash = if slashed { " slashed" } else { "" };
        let reading = format!("{}{slash}", names.join(" "));
        let mark = self.add(part, Sign::new(Category::Grace, "grace", reading).meaning(slash.trim()), spot, at);
        part.marks[mark].pitches = pitches;
    }
}

fn technical_reading(sign: Node<'_, '_>) -> String {
    let text = text_of(sign);
    if text.is_empty() { name(sign).to_string() } else { text.split_whitespace().collect::<Vec<_>>().join(" ") }
}
