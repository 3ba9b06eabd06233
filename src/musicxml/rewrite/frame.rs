//! Laying on what frames the notes: barlines, signatures, chord symbols.

use super::super::fragment::Fragment;
use super::super::tree::{child, element};
use super::PartRewrite;
use crate::pitch::{Interval, accidental_name, alteration_of};
use crate::score::{Mark, Sign};
use crate::time::Time;
use roxmltree::Node;

impl PartRewrite<'_, '_, '_> {
    pub(super) fn add_to_barline(&mut self, row: usize, offset: Time, fragment: Fragment) {
        let left = offset.is_zero();
        if self.is_inside(row, offset) {
            return self.add_inner_barline(row, offset, fragment);
        }
        let Some(bar) = self.plan[row].edition() else {
            self.barlines.entry(row).or_default().push((left, fragment));
            return;
        };
        let tree = self.edits.tree();
        let measure = tree.node(self.part.bars[bar].element);
        let location = if left { "left" } else { "right" };
        let barlines = measure.children().filter(|n| n.tag_name().name() == "barline");
        let found = barlines.into_iter().find(|b| b.attribute("location").unwrap_or("right") == location);
        if let Some(barline) = found {
            match child(barline, &fragment.name) {
                Some(old) if fragment.name == "bar-style" => self.edits.replace(element(old), fragment),
                _ => self.edits.add_child(element(barline), fragment),
            }
            return;
        }
        let elements: Vec<Node> = measure.children().filter(|n| n.is_element()).collect();
        let before = elements.iter().find(|n| n.tag_name().name() != "print");
        let home = if left { before } else { elements.last() };
        let Some(home) = home.map(|n| element(*n)) else {
            return;
        };
        // Several children of one new barline come together.
        let barline = self
            .new_barlines
            .entry((row, left))
            .or_insert_with(|| (home, Fragment::new("barline").set("location", location)));
        barline.1.place(fragment);
    }

    /// Whether a time of a row is neither its start nor its end.
    fn is_inside(&self, row: usize, offset: Time) -> bool {
        let plan = self.plan[row];
        let theirs =
            || plan.source().zip(self.frame()).and_then(|(bar, s)| Some(s.part.bars.get(bar)?.length + plan.shift()));
        let length = match plan.edition().filter(|_| !plan.is_composed()) {
            Some(bar) => Some(self.part.bars[bar].length),
            None => theirs(),
        };
        offset > Time::zero() && length.is_some_and(|length| offset < length)
    }

    /// A barline in the middle of a bar stands among its notes.
    fn add_inner_barline(&mut self, row: usize, offset: Time, fragment: Fragment) {
        let barline = Fragment::new("barline").set("location", "middle").with(fragment);
        self.add_timed(row, offset, barline);
    }

    pub(super) fn add_signature(
        &mut self,
        row: usize,
        offset: Time,
        mark: &Mark,
        mut fragment: Fragment,
        by: Interval,
    ) {
        if let Sign::Key { sounding, .. } = mark.sign
            && let Some(leaf) = fragment.children.iter_mut().find(|c| c.name == "fifths")
        {
            leaf.text = (sounding + by.fifths()).to_string();
        }
        if offset.is_zero() {
            return self.note_signature(row, fragment);
        }
        self.late_signatures.entry(row).or_default().push((offset, fragment.clone()));
        self.add_timed(row, offset, Fragment::new("attributes").with(fragment));
    }

    /// A chord symbol or figures of a document, as this part writes them: `by` leads
    /// from what is written there to what is here, `writing` from what sounds.
    pub(super) fn moved_harmony(
        &self,
        mut fragment: Fragment,
        mark: &Mark,
        by: Interval,
        writing: Interval,
    ) -> Fragment {
        let mut altered = mark.sign.pitches().into_iter();
        for item in &mut fragment.children {
            match item.name.as_str() {
                "root" => move_root(item, "root-step", "root-alter", by),
                "bass" => move_root(item, "bass-step", "bass-alter", by),
                // The pitches of figures are those that their signs make.
                "figure" if by.fifths() != 0 => {
                    for sign in item.children.iter_mut().filter(|c| matches!(c.name.as_str(), "prefix" | "suffix")) {
                        let pitch = alteration_of(sign.text.trim()).and_then(|_| altered.next());
                        let name = pitch.and_then(|p| accidental_name(p.moved(writing).alter));
                        sign.text = name.map_or_else(|| sign.text.clone(), str::to_string);
                    }
                }
                _ => {}
            }
        }
        if self.part.staves <= 1 {
            fragment.remove("staff");
        }
        fragment
    }

    /// A syllable of the source in the verse that has its place in this part,
    /// whatever that is called.
    pub(super) fn in_verse(&self, mut fragment: Fragment, mark: &Mark) -> Fragment {
        let verse = mark.sign.verse();
        let like = self.part.marks.iter().find(|m| m.sign.verse() == verse);
        let called = |name: &str| {
            let node = like.map(|m| self.edits.tree().node(m.elements[0]));
            node.and_then(|node| node.attribute(name)).map(str::to_string)
        };
        let own = |name: &str| fragment.attributes.iter().find(|a| a.0 == name).map(|a| a.1.clone());
        let own = own("number").or(own("name")).unwrap_or("1".into());
        let verse = verse.unwrap_or(1).to_string();
        let theirs = like.map_or(verse.clone(), |_| called("number").or(called("name")).unwrap_or("1".into()));
        if own == theirs {
            return fragment;
        }
        fragment.attributes.retain(|(name, _)| !matches!(name.as_str(), "number" | "name"));
        match like {
            Some(_) => ["number", "name"].iter().for_each(|name| {
                called(name).iter().for_each(|value| fragment.set_attribute(name, value));
            }),
            None => fragment.set_attribute("number", &verse),
        }
        fragment
    }
}

/// Moves a root or a bass; a text that is printed for the old one goes.
fn move_root(item: &mut Fragment, step: &str, alter: &str, by: Interval) {
    super::compose::move_named_pitch(item, step, alter, by);
    let letter = item.children.iter_mut().find(|c| c.name == step).filter(|_| by.steps % 7 != 0);
    if let Some(letter) = letter {
        letter.attributes.retain(|(name, value)| name != "text" || value.trim().is_empty());
    }
}
