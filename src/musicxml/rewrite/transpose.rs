//! A part in another key: notes, signatures, chord symbols, figures.

use super::super::edits::Edits;
use super::super::fragment::Fragment;
use super::super::pitches::{move_named_pitch, spelled};
use super::super::tree::{child, child_text, element, elements, text_of};
use super::key_signs::moved_key_of_signs;
use super::respell::Respeller;
use crate::instrument::Clef;
use crate::pitch::{Interval, LETTERS, Pitch, accidental_name, alteration_of};
use roxmltree::Node;

/// The most sharps or flats that a signature is written with.
const MOST: i32 = 7;

/// A signature that would need more than seven sharps or flats.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TooManySigns {
    /// 0-based place of its bar.
    pub bar: usize,
    pub fifths: i32,
}

impl<'a, 'i> Respeller<'_, 'a, 'i> {
    /// Moves the whole part by an interval; instruments that transpose go on
    /// doing so. Parts without pitches stay as they are.
    ///
    /// # Errors
    /// When a signature would need more than seven sharps or flats.
    pub(super) fn transpose(&mut self, edits: &mut Edits, by: Interval) -> Result<(), TooManySigns> {
        self.move_written(edits, &|_| by)
    }

    /// Moves all that is written; `by` says how far, for how the old writing sounds.
    pub(super) fn move_written(
        &mut self,
        edits: &mut Edits,
        by: &dyn Fn(Interval) -> Interval,
    ) -> Result<(), TooManySigns> {
        if !self.context.part.notes.iter().any(|n| n.pitch().is_some()) {
            return Ok(());
        }
        self.moved_whole = true;
        let bars = &self.context.part.bars;
        self.fifths = bars.iter().map(|b| b.fifths + by(b.transpose).fifths()).collect();
        let signs = self.context.part.part().key_signs();
        if !signs.is_empty() {
            // What single accidentals alter is no matter of fifths.
            let own = |bar: &usize| signs[*bar].is_some();
            (0..bars.len()).filter(own).for_each(|bar| self.fifths[bar] = bars[bar].fifths);
            let moved = bars.iter().zip(&signs).map(|(b, signs)| signs.map(|signs| signs.moved(by(b.transpose))));
            self.key_signs = Some([signs.clone(), moved.collect()]);
        }
        let changed = |bar: &usize| self.fifths[*bar] != self.context.part.bars[*bar].fifths;
        let over = (0..self.fifths.len()).find(|bar| self.fifths[*bar].abs() > MOST && changed(bar));
        if let Some(bar) = over {
            return Err(TooManySigns { bar, fifths: self.fifths[bar] });
        }
        for (note, own) in self.context.part.notes() {
            if let Some(written) = self.context.written(note) {
                let moved = written.moved(by(own.transpose)).simplest();
                if moved != written {
                    self.put_pitch(edits, note, moved);
                }
            }
        }
        for bar in 0..self.context.part.bars.len() {
            let node = self.context.bar_node(bar);
            for item in elements(node) {
                let by = by(self.transposition_from(item));
                match item.tag_name().name() {
                    "attributes" => elements(item)
                        .filter(|n| n.tag_name().name() == "key")
                        .for_each(|key| self.move_key(edits, key, by)),
                    "harmony" => self.move_harmony(edits, item, by),
                    "figured-bass" => self.move_figures(edits, item, by),
                    "note" if child(item, "rest").is_some() => self.move_rest(edits, item, bar, by),
                    "note" => self.move_signs(edits, item, by),
                    _ => {}
                }
            }
        }
        let first = self.context.part.bars.first().is_some_and(|b| b.fifths != self.fifths[0]);
        if first && !self.says_first("key") {
            let key = Fragment::new("key").with(Fragment::leaf("fifths", self.fifths[0]));
            self.say_first(edits, key);
        }
        Ok(())
    }

    /// How the notes sound that are written from an element on.
    pub(super) fn transposition_from(&self, node: Node<'_, '_>) -> Interval {
        let notes = &self.context.part.notes;
        let next = notes.partition_point(|n| n.element < element(node));
        notes.get(next).or(notes.last()).map_or(Interval::UNISON, |n| n.transpose)
    }

    fn move_key(&self, edits: &mut Edits, key: Node<'_, '_>, by: Interval) {
        let fifths = by.fifths();
        if fifths == 0 {
            return;
        }
        if child(key, "key-step").is_some() && child(key, "fifths").is_none() {
            return edits.replace(element(key), moved_key_of_signs(key, by));
        }
        if child(key, "fifths").is_none() {
            // It is read as one without signs.
            edits.add_child(element(key), Fragment::leaf("fifths", fifths));
        }
        for name in ["fifths", "cancel"] {
            if let Some(node) = child(key, name)
                && let Ok(old) = text_of(node).parse::<i32>()
            {
                let mut moved = Fragment::shell(node);
                moved.text = (old + fifths).to_string();
                edits.replace(element(node), moved);
            }
        }
    }

    fn first_attributes(&self) -> Option<Node<'a, 'i>> {
        let node = self.context.tree.node(self.context.part.bars.first()?.element);
        elements(node).take_while(|n| n.tag_name().name() != "note").find(|n| n.tag_name().name() == "attributes")
    }

    /// Whether the part has an attribute of this name before its first note.
    pub(super) fn says_first(&self, name: &str) -> bool {
        self.first_attributes().is_some_and(|a| child(a, name).is_some())
    }

    /// Puts an attribute before the first note of the part.
    pub(super) fn say_first(&self, edits: &mut Edits, what: Fragment) {
        let Some(first) = self.context.part.bars.first() else { return };
        if let Some(attributes) = self.first_attributes() {
            return edits.add_child(element(attributes), what);
        }
        let attributes = Fragment::new("attributes").with(what);
        let node = self.context.tree.node(first.element);
        match elements(node).find(|n| n.tag_name().name() != "print") {
            Some(head) => edits.insert_before(element(head), attributes),
            None => edits.add_child(first.element, attributes),
        }
    }

    /// A rest may be printed at a pitch's height; under another clef it stays where it was on the staff.
    fn move_rest(&self, edits: &mut Edits, note: Node<'_, '_>, bar: usize, by: Interval) {
        let Some(rest) = child(note, "rest").filter(|r| child(*r, "display-step").is_some()) else { return };
        let by = match self.other_clefs {
            Some(_) => {
                let old = self.clef_at(bar).unwrap_or(Clef::TREBLE).middle_line();
                Interval::new(self.middle_line(bar) - old, 0)
            }
            None => by,
        };
        if by.steps != 0 {
            let mut moved = Fragment::copy(rest);
            move_named_pitch(&mut moved, "display-step", "", by);
            edits.replace(element(rest), moved);
        }
    }

    fn move_harmony(&self, edits: &mut Edits, harmony: Node<'_, '_>, by: Interval) {
        // The key that numerals count in.
        for key in harmony.descendants().filter(|n| n.tag_name().name() == "numeral-fifths") {
            if let Some(old) = text_of(key).parse::<i32>().ok().filter(|_| by.fifths() != 0) {
                let mut moved = Fragment::shell(key);
                moved.text = (old + by.fifths()).to_string();
                edits.replace(element(key), moved);
            }
        }
        for (name, step, alter) in [("root", "root-step", "root-alter"), ("bass", "bass-step", "bass-alter")] {
            for node in elements(harmony).filter(|n| n.tag_name().name() == name).collect::<Vec<_>>() {
                let mut moved = Fragment::copy(node);
                move_named_pitch(&mut moved, step, alter, by);
                edits.replace(element(node), moved);
            }
        }
    }

    /// A sign at a figure alters the note so many letters above the bass.
    fn move_figures(&self, edits: &mut Edits, figured: Node<'_, '_>, by: Interval) {
        let bass = figured.next_siblings().filter(Node::is_element).find_map(|n| {
            let pitch = child(n, "pitch").filter(|_| n.tag_name().name() == "note")?;
            spelled(child_text(pitch, "step")?, child_text(pitch, "alter").unwrap_or("0"))
        });
        let Some(bass) = bass else { return };
        for figure in elements(figured).filter(|n| n.tag_name().name() == "figure") {
            // A sign alone is at the third.
            let number = child_text(figure, "figure-number").and_then(|n| n.parse::<i32>().ok()).unwrap_or(3);
            for name in ["prefix", "suffix"] {
                let Some(sign) = child(figure, name) else { continue };
                let Some(alter) = alteration_of(text_of(sign)) else { continue };
                let above = Pitch::new((bass.step + number - 1).rem_euclid(7), alter, 4);
                self.put_sign(edits, sign, above.moved(by).alter);
            }
        }
    }

    /// Signs at ornaments alter the neighbour above, or below where they stand below.
    fn move_signs(&self, edits: &mut Edits, note: Node<'_, '_>, by: Interval) {
        let Some(pitch) = child(note, "pitch") else { return };
        let Some(step) = child_text(pitch, "step").and_then(|s| LETTERS.iter().position(|l| s == l.to_string())) else {
            return;
        };
        for sign in note.descendants().filter(|n| n.tag_name().name() == "accidental-mark") {
            let Some(alter) = alteration_of(text_of(sign)) else { continue };
            let way = if sign.attribute("placement") == Some("below") { -1 } else { 1 };
            let neighbour = Pitch::new((step as i32 + way).rem_euclid(7), alter, 4);
            self.put_sign(edits, sign, neighbour.moved(by).alter);
        }
    }

    fn put_sign(&self, edits: &mut Edits, sign: Node<'_, '_>, alter: i32) {
        if let Some(name) = accidental_name(alter).filter(|name| *name != text_of(sign)) {
            let mut moved = Fragment::shell(sign);
            moved.text = name.to_string();
            edits.replace(element(sign), moved);
        }
    }
}
