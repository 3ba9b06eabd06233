//! Marks that stand at one place.

use super::says::{content, in_words, metronome};
use super::{Collector, Sign, Spot, called, is_double, is_printed, name};
use crate::musicxml::elements::{Placement, category, own_name};
use crate::musicxml::spans::{Kind, Role};
use crate::musicxml::tree::{child, element, elements, one_line, text_of};
use crate::pitch::Pitch;
use crate::score::{Category, Element, Note, NoteId, Part};
use roxmltree::Node;

impl Collector {
    /// An element that is a mark, of the category that the table tells.
    pub(super) fn sign(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let kind = name(node);
        let said = match kind {
            "wedge" => return self.hairpin(part, category, node, spot),
            "octave-shift" => return self.octave_line(part, category, node, spot),
            "pedal" => return self.pedal(part, category, node, spot),
            "dashes" => return self.dashes(part, category, node, spot),
            "wavy-line" => return self.wavy_line(part, category, node, spot),
            "trill-mark" => return self.trill(part, category, node, spot),
            "tremolo" => return self.tremolo(part, category, node, spot),
            "slur" => return self.line(part, category, Kind::Slur, node, spot),
            "glissando" => return self.line(part, category, Kind::Glissando, node, spot),
            "slide" => return self.line(part, category, Kind::Slide, node, spot),
            "bracket" => return self.line(part, category, Kind::Bracket, node, spot),
            "principal-voice" => return self.line(part, category, Kind::PrincipalVoice, node, spot),
            "hammer-on" => return self.line(part, category, Kind::HammerOn, node, spot),
            "pull-off" => return self.line(part, category, Kind::PullOff, node, spot),
            "arpeggiate" | "non-arpeggiate" => return self.arpeggio(part, category, node, spot),
            "lyric" => return self.lyric(part, category, node, spot),
            "accidental" => return self.accidental(part, category, node, spot),
            // Grace notes are collected into groups, signatures told apart from those before.
            "grace" | "key" | "time" => return,
            "metronome" => metronome(node),
            "rehearsal" => one_line(text_of(node)),
            _ => content(node),
        };
        let own = own_name(kind);
        let called = called(category, &own);
        let is_text = matches!(category, Category::Tempo | Category::Rehearsal);
        if said.is_empty() && !is_text && !matches!(kind, "accidental-mark" | "other-dynamics") {
            let sign = Sign::new(category, own.clone(), called).meaning(own);
            self.add(part, sign, spot, vec![element(node)]);
            return;
        }
        let (meaning, reading) = match (category, kind) {
            (Category::Dynamics, "other-dynamics") => {
                let (of_words, meaning) = crate::musicxml::words::classify(&said);
                (if of_words == Category::Dynamics { meaning } else { said.clone() }, said)
            }
            (Category::Tempo | Category::Rehearsal, _) => (said.clone(), said),
            (_, "accidental-mark") => {
                let place = if category == Category::Ornament { "at the ornament" } else { "above or below" };
                (format!("accidental-mark {{{said}}}"), format!("{said} {place}"))
            }
            (Category::Fermata, _) => (format!("fermata {said}"), format!("{said} fermata")),
            (Category::Fingering, "hole") => (format!("hole {said}"), format!("{} hole", in_words(node))),
            // A finger needs no name beside it, and what has none gives its own.
            (_, name) if name == "fingering" || name.starts_with("other-") => (format!("{kind} {said}"), said),
            _ => (format!("{kind} {said}"), format!("{called} {}", in_words(node)).trim().to_string()),
        };
        self.add(part, Sign::new(category, own, reading).meaning(meaning), spot, vec![element(node)]);
    }

    /// All notes of a chord may carry the sign, and any of them its direction; it is one mark.
    fn arpeggio(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let says = format!("{} {}", name(node), content(node)).trim().to_string();
        let chord = spot.place.note.map(|n| part.chord(n));
        let recent = part.marks.iter_mut().rev().take_while(|m| m.at.bar == spot.place.bar);
        let same = recent.into_iter().find(|m| {
            m.kind == name(node) && chord.as_ref().zip(m.at.note).is_some_and(|(chord, note)| chord.contains(&note))
        });
        match same {
            Some(mark) => {
                if mark.meaning == mark.kind {
                    mark.reading = says.replace('-', " ").into();
                    mark.meaning = says.into();
                }
                mark.elements.push(element(node));
            }
            None => {
                let sign = Sign::new(category, own_name(name(node)), says.replace('-', " ")).meaning(says);
                self.add(part, sign, spot, vec![element(node)]);
            }
        }
    }

    /// An accidental that is more than the note needs.
    fn accidental(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let set = |a: &&str| node.attribute(*a) == Some("yes");
        if let Some(how) = ["cautionary", "editorial", "parentheses", "bracket"].into_iter().find(set) {
            let reading = format!("{how} {}", text_of(node));
            // Which sign it is depends on the key, not on the editor.
            let sign = Sign::new(category, "accidental", reading).meaning("accidental");
            self.add(part, sign, spot, vec![element(node)]);
        }
    }

    pub fn barline(&mut self, part: &mut Part, barline: Node<'_, '_>, spot: Spot) {
        let style = child(barline, "bar-style");
        let repeats = child(barline, "repeat").is_some();
        for node in elements(barline).filter(|n| is_printed(*n)) {
            let Some(Placement::Mark(category)) = self.placed("barline", node, spot.place.bar) else {
                continue;
            };
            match name(node) {
                "repeat" => {
                    let direction = node.attribute("direction").unwrap_or("backward");
                    let mut says = format!("{direction} repeat");
                    if let Some(times) = node.attribute("times").filter(|t| *t != "2") {
                        says.push_str(&format!(", {times} times"));
                    }
                    let at = style.map(element).into_iter().chain([element(node)]).collect();
                    self.add(part, Sign::new(category, "repeat", says), spot, at);
                }
                "ending" => {
                    let says = format!("ending {}", one_line(node.attribute("number").unwrap_or("1")));
                    let role = if node.attribute("type") == Some("start") { Role::Start } else { Role::Stop };
                    self.span(part, Sign::named(category, says), (Kind::Ending, role), node, spot);
                }
                // A repeat's dots make its style; single lines of any kind only divide.
                "bar-style" if repeats || !is_double(text_of(node)) => {}
                "bar-style" => {
                    self.add(part, Sign::new(category, "bar-style", "double bar"), spot, vec![element(node)]);
                }
                _ => self.sign(part, category, node, spot),
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
        let sign = Sign::new(category("note", "grace"), "grace", format!("{}{slash}", names.join(" ")));
        let mark = self.add(part, sign.meaning(slash.trim()), spot, at);
        part.marks[mark].pitches = pitches;
    }
}
