//! Marks that stand at one place.

use super::says::{content, in_words, metronome};
use super::{Collector, Spot, is_double, is_printed, name};
use crate::musicxml::elements::{Placement, category, own_name};
use crate::musicxml::spans::{Kind, Role};
use crate::musicxml::tree::{child, element, elements, one_line, text_of};
use crate::pitch::Pitch;
use crate::score::sign::{Ending, LineKind, Repeat};
use crate::score::{Category, Element, Note, NoteId, Part, Sign};
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
            "slur" => return self.line(part, category, LineKind::Slur, node, spot),
            "glissando" => return self.line(part, category, LineKind::Glissando, node, spot),
            "slide" => return self.line(part, category, LineKind::Slide, node, spot),
            "bracket" => return self.line(part, category, LineKind::Bracket, node, spot),
            "principal-voice" => return self.line(part, category, LineKind::PrincipalVoice, node, spot),
            "hammer-on" => return self.line(part, category, LineKind::HammerOn, node, spot),
            "pull-off" => return self.line(part, category, LineKind::PullOff, node, spot),
            "arpeggiate" | "non-arpeggiate" => return self.arpeggio(part, category, node, spot),
            "lyric" => return self.lyric(part, category, node, spot),
            "accidental" => return self.accidental(part, category, node, spot),
            // Grace notes are collected into groups, signatures told apart from those before.
            "grace" | "key" | "time" => return,
            "metronome" => return self.add_plain(part, category, Sign::Metronome(metronome(node)), node, spot),
            "rehearsal" => {
                let sign = Sign::Rehearsal(one_line(text_of(node)));
                return self.add_plain(part, category, sign, node, spot);
            }
            _ => content(node),
        };
        let sign = match kind {
            "accidental-mark" => Sign::AccidentalMark { sign: said, of_ornament: category == Category::Ornament },
            "other-dynamics" => {
                let (of_words, meaning) = crate::musicxml::words::classify(&said);
                let term = if of_words == Category::Dynamics { meaning } else { said.clone() };
                Sign::OtherDynamics { printed: said, term }
            }
            _ if said.is_empty() => Sign::Named(own_name(kind)),
            "fermata" => Sign::Fermata { shape: said },
            "hole" => Sign::Hole { detail: said, words: in_words(node) },
            // A finger needs no name beside it, and what has none gives its own.
            _ if kind == "fingering" || kind.starts_with("other-") => {
                Sign::Textual { name: own_name(kind), text: said }
            }
            _ => Sign::Detailed { name: own_name(kind), detail: said, words: in_words(node) },
        };
        self.add_plain(part, category, sign, node, spot);
    }

    /// A mark of one element.
    pub(super) fn add_plain(
        &mut self,
        part: &mut Part,
        category: Category,
        sign: Sign,
        node: Node<'_, '_>,
        spot: Spot,
    ) {
        self.add(part, category, sign, spot, vec![element(node)]);
    }

    /// All notes of a chord may carry the sign, and any of them its direction; it is one mark.
    fn arpeggio(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let said = content(node);
        let chord = spot.place.note.map(|n| part.chord(n));
        let recent = part.marks.iter_mut().rev().take_while(|m| m.at.bar == spot.place.bar);
        let same = recent.into_iter().find(|m| {
            m.sign.name() == name(node)
                && chord.as_ref().zip(m.at.note).is_some_and(|(chord, note)| chord.contains(&note))
        });
        match same {
            Some(mark) => {
                if let Sign::Arpeggio { direction, .. } = &mut mark.sign
                    && direction.is_empty()
                {
                    *direction = said;
                }
                mark.elements.push(element(node));
            }
            None => {
                let sign = Sign::Arpeggio { name: own_name(name(node)), direction: said };
                self.add_plain(part, category, sign, node, spot);
            }
        }
    }

    /// An accidental that is more than the note needs.
    fn accidental(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let set = |a: &&str| node.attribute(*a) == Some("yes");
        if let Some(why) = ["cautionary", "editorial", "parentheses", "bracket"].into_iter().find(set) {
            let sign = Sign::Accidental { why, sign: text_of(node).to_string() };
            self.add_plain(part, category, sign, node, spot);
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
                    let direction = match node.attribute("direction") {
                        Some("forward") => Repeat::Forward,
                        _ => Repeat::Backward,
                    };
                    let times = self.times(node.attribute("times"), spot.place.bar);
                    let at = style.map(element).into_iter().chain([element(node)]).collect();
                    self.add(part, category, Sign::Repeat { direction, times }, spot, at);
                }
                "ending" => {
                    let numbers = one_line(node.attribute("number").unwrap_or("1"));
                    let is_first =
                        numbers.strip_prefix('1').is_some_and(|n| !n.starts_with(|c: char| c.is_ascii_digit()));
                    let role = if node.attribute("type") == Some("start") { Role::Start } else { Role::Stop };
                    let sign = Sign::Ending(Ending { numbers, is_first });
                    self.span(part, category, sign, (Kind::Ending, role), node, spot);
                }
                // A repeat's dots make its style; single lines of any kind only divide.
                "bar-style" if repeats || !is_double(text_of(node)) => {}
                "bar-style" => self.add_plain(part, category, Sign::DoubleBar, node, spot),
                _ => self.sign(part, category, node, spot),
            }
        }
    }

    /// How often a strain is played, where that is not twice.
    fn times(&mut self, told: Option<&str>, bar: usize) -> Option<u32> {
        let told = told?;
        let times: Option<u32> = told.trim().parse().ok();
        if times.is_none() {
            self.warnings.push((bar, format!("a repeat of {told:?} times is no number; it was read as played twice")));
        }
        times.filter(|t| *t != 2)
    }

    /// A group of grace notes, anchored to its main note.
    pub fn grace(&mut self, part: &mut Part, notes: &[NoteId], slashed: bool, spot: Spot) {
        let own: Vec<&Note> = notes.iter().map(|n| &part.notes[*n]).collect();
        let pitches: Vec<Pitch> = own.iter().filter_map(|n| n.pitch()).collect();
        let at: Vec<Element> = own.iter().map(|n| n.element).collect();
        self.add(part, category("note", "grace"), Sign::Grace { pitches, slashed }, spot, at);
    }
}
