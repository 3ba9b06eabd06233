//! A part as another player reads it: clef, transposition, key, names.

use super::super::edits::Edits;
use super::super::fragment::Fragment;
use super::super::tree::{child, child_text, element, elements};
use super::TooManySigns;
use super::clefs::{clef_fragment, read_clef};
use super::key_signs::key_of_signs;
use super::respell::Respeller;
use crate::instrument::{Clef, Instrument};
use crate::pitch::Interval;
use roxmltree::Node;

/// What is to be written.
pub struct WrittenPart<'a> {
    pub instrument: &'a Instrument,
    /// How far each note moves on paper, for how the old writing sounds.
    pub by: &'a dyn Fn(Interval) -> Interval,
    /// How the new writing sounds.
    pub transpose: Interval,
    /// What the part is called; `None` leaves its names.
    pub name: Option<&'a str>,
}

/// Why a part cannot be written for another instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    Signs(TooManySigns),
    /// A clef without pitches, as `percussion`, at the 0-based place of its bar.
    Clef {
        bar: usize,
        sign: String,
    },
}

impl From<TooManySigns> for Refusal {
    fn from(signs: TooManySigns) -> Refusal {
        Refusal::Signs(signs)
    }
}

impl<'a, 'i> Respeller<'_, 'a, 'i> {
    /// Writes a part of one staff for an instrument. What sounds stays, but for
    /// the octave if `by` and `transpose` say so.
    ///
    /// # Errors
    /// When a signature would need more than seven signs, or a clef has no pitches.
    pub(super) fn write_for(&mut self, edits: &mut Edits, wanted: &WrittenPart) -> Result<(), Refusal> {
        self.put_clefs(edits, wanted.instrument)?;
        self.move_written(edits, wanted.by)?;
        self.put_transposition(edits, wanted);
        for (_, node) in self.attributes("for-part") {
            edits.remove(element(node));
        }
        if let Some(name) = wanted.name {
            self.rename(edits, name, wanted.instrument);
        }
        Ok(())
    }

    /// All attributes of a name with their bars.
    fn attributes(&self, name: &'static str) -> Vec<(usize, Node<'a, 'i>)> {
        let tree = self.context.tree;
        let of_bar = |(bar, element): (usize, crate::score::Element)| {
            let attributes = elements(tree.node(element)).filter(|n| n.tag_name().name() == "attributes");
            attributes.flat_map(elements).filter(move |n| n.tag_name().name() == name).map(move |n| (bar, n))
        };
        self.context.part.bars.iter().map(|b| b.element).enumerate().flat_map(of_bar).collect()
    }

    /// The instrument's clef for every one that its player does not read; one
    /// that is in force already goes.
    fn put_clefs(&mut self, edits: &mut Edits, instrument: &Instrument) -> Result<(), Refusal> {
        let mut clefs = Vec::new();
        for (bar, node) in self.attributes("clef") {
            let sign = || child_text(node, "sign").unwrap_or("none").to_string();
            let clef = read_clef(node).ok_or_else(|| Refusal::Clef { bar, sign: sign() })?;
            clefs.push((bar, node, clef));
        }
        let main = instrument.clef;
        let reads = |clef: Clef| clef == main || instrument.other_clefs.contains(&clef);
        let starts = clefs.first().is_some_and(|c| c.0 == 0);
        if starts && clefs.iter().all(|c| reads(c.2)) && clefs.iter().any(|c| c.2 == main) {
            return Ok(());
        }
        let mut after: Vec<(usize, Clef)> = Vec::new();
        if !starts {
            self.say_first(edits, clef_fragment(main, None));
            after.push((0, main));
        }
        for (bar, node, clef) in clefs {
            let in_force = after.last().map(|c| c.1);
            let new = if in_force.is_some() && reads(clef) { clef } else { main };
            if in_force == Some(new) {
                edits.remove(element(node));
                continue;
            }
            if new != clef {
                edits.replace(element(node), clef_fragment(new, Some(node)));
            }
            after.push((bar, new));
        }
        self.other_clefs = Some(after);
        Ok(())
    }

    fn put_transposition(&self, edits: &mut Edits, wanted: &WrittenPart) {
        let old = self.attributes("transpose");
        let none = wanted.transpose == Interval::UNISON;
        let alike = self.context.part.bars.iter().all(|b| b.transpose == wanted.transpose)
            && self.context.part.notes.iter().all(|n| n.transpose == wanted.transpose);
        if alike && old.len() == usize::from(!none) {
            return;
        }
        let mut said = none;
        for (bar, node) in old {
            let before = self.context.part.notes.partition_point(|n| n.element < element(node));
            if before == 0 && !said {
                edits.replace(element(node), transpose_fragment(wanted.transpose));
                said = true;
                continue;
            }
            edits.remove(element(node));
            // What the change of transposition said about the key must be said in its place.
            let attributes = node.parent().expect("an attribute stands in attributes");
            let [was, is] = [
                self.context.part.notes.get(before.wrapping_sub(1)).map(|n| n.transpose),
                Some(self.transposition_from(node)),
            ]
            .map(|t| t.map_or(0, |t| (wanted.by)(t).fifths()));
            if before > 0 && was != is && child(attributes, "key").is_none() {
                let signs = self.key_signs.as_ref().and_then(|[before, _]| before[bar]);
                let key = match signs {
                    Some(signs) => key_of_signs(signs.moved((wanted.by)(self.transposition_from(node)))),
                    None => {
                        let fifths = self.context.part.bars[bar].fifths + is;
                        Fragment::new("key").with(Fragment::leaf("fifths", fifths))
                    }
                };
                edits.add_child(element(attributes), key);
            }
        }
        if !said {
            self.say_first(edits, transpose_fragment(wanted.transpose));
        }
    }

    /// An entry in the part list for a part that has none.
    fn list_part(&self, edits: &mut Edits, list: Option<Node<'_, '_>>, name: &str) {
        let part = Fragment::new("score-part").set("id", &self.context.part.id).with(Fragment::leaf("part-name", name));
        match list {
            Some(list) => edits.add_child(element(list), part),
            None => {
                let is_music = |n: &Node| matches!(n.tag_name().name(), "part" | "measure");
                if let Some(first) = elements(self.context.tree.root()).find(is_music) {
                    edits.insert_before(element(first), Fragment::new("part-list").with(part));
                }
            }
        }
    }

    /// Names, and what a player of sounds goes by, in the part list.
    fn rename(&self, edits: &mut Edits, name: &str, instrument: &Instrument) {
        let list = child(self.context.tree.root(), "part-list");
        let parts = list.into_iter().flat_map(|l| l.descendants().filter(|n| n.tag_name().name() == "score-part"));
        let id = &*self.context.part.id;
        let Some(own) = parts.into_iter().find(|n| n.attribute("id") == Some(id)) else {
            return self.list_part(edits, list, name);
        };
        let mut instruments = elements(own).filter(|n| n.tag_name().name() == "score-instrument");
        let alone = instruments.next().filter(|_| instruments.next().is_none());
        if child(own, "part-name").is_none() {
            let is_before = |n: &Node| matches!(n.tag_name().name(), "identification" | "part-link");
            let name = Fragment::leaf("part-name", name);
            match (elements(own).filter(is_before).last(), elements(own).next()) {
                (Some(before), _) => edits.insert_after(element(before), name),
                (None, Some(first)) => edits.insert_before(element(first), name),
                (None, None) => edits.add_child(element(own), name),
            }
        }
        for item in elements(own) {
            match item.tag_name().name() {
                "part-name" => edits.replace(element(item), Fragment::leaf("part-name", name)),
                "part-name-display" | "part-abbreviation-display" => edits.remove(element(item)),
                "part-abbreviation" => name_or_remove(edits, item, instrument.abbreviation.as_deref()),
                "score-instrument" if alone == Some(item) => {
                    for detail in elements(item) {
                        match detail.tag_name().name() {
                            "instrument-name" => name_or_remove(edits, detail, Some(name)),
                            "instrument-abbreviation" => {
                                name_or_remove(edits, detail, instrument.abbreviation.as_deref())
                            }
                            // Both would name a sound of the other instrument.
                            "instrument-sound" | "virtual-instrument" => edits.remove(element(detail)),
                            _ => {}
                        }
                    }
                }
                "midi-instrument" if alone.is_some() => {
                    let program = instrument.midi_program.map(|program| program.to_string());
                    for detail in elements(item) {
                        match detail.tag_name().name() {
                            "midi-program" => name_or_remove(edits, detail, program.as_deref()),
                            "midi-name" | "midi-bank" => edits.remove(element(detail)),
                            _ => {}
                        }
                    }
                }
                _ => {}
            }
        }
    }
}

fn name_or_remove(edits: &mut Edits, node: Node<'_, '_>, text: Option<&str>) {
    match text {
        Some(text) => edits.replace(element(node), Fragment::leaf(node.tag_name().name(), text)),
        None => edits.remove(element(node)),
    }
}

/// Whole octaves apart from the rest, as the schema has them.
pub fn transpose_fragment(by: Interval) -> Fragment {
    let octaves = by.semitones / 12;
    let rest = by.plus(Interval::octaves(-octaves));
    let mut out = Fragment::new("transpose")
        .with(Fragment::leaf("diatonic", rest.steps))
        .with(Fragment::leaf("chromatic", rest.semitones));
    if octaves != 0 {
        out.children.push(Fragment::leaf("octave-change", octaves));
    }
    out
}
