//! Laying on what frames the notes: barlines, signatures, chord symbols.

use super::super::fragment::Fragment;
use super::super::tree::{child, element};
use super::PartRewrite;
use crate::pitch::Interval;
use crate::score::Mark;
use crate::time::Time;
use roxmltree::Node;

impl PartRewrite<'_, '_, '_> {
    pub(super) fn add_to_barline(&mut self, row: usize, offset: Time, fragment: Fragment) {
        let left = offset.is_zero();
        if self.is_inside(row, offset) {
            return self.add_inner_barline(row, offset, fragment);
        }
        let Some(bar) = self.fates[row].edition() else {
            self.barlines.entry(row).or_default().push((left, fragment));
            return;
        };
        let tree = self.plan.tree();
        let measure = tree.node(self.part.bars[bar].element);
        let location = if left { "left" } else { "right" };
        let barlines = measure.children().filter(|n| n.tag_name().name() == "barline");
        let found = barlines.into_iter().find(|b| b.attribute("location").unwrap_or("right") == location);
        if let Some(barline) = found {
            match child(barline, &fragment.name) {
                Some(old) if fragment.name == "bar-style" => self.plan.replace(element(old), fragment),
                _ => self.plan.add_child(element(barline), fragment),
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
        let fate = self.fates[row];
        let theirs =
            || fate.source().zip(self.frame()).and_then(|(bar, s)| Some(s.part.bars.get(bar)?.length + fate.shift()));
        let length = match fate.edition().filter(|_| !fate.is_composed()) {
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
        if mark.kind == "key" {
            let fifths: i32 = mark.meaning.parse().unwrap_or(0);
            if let Some(leaf) = fragment.children.iter_mut().find(|c| c.name == "fifths") {
                leaf.text = (fifths + by.fifths()).to_string();
            }
        }
        if offset.is_zero() {
            return self.note_signature(row, fragment);
        }
        self.late_signatures.entry(row).or_default().push((offset, fragment.clone()));
        self.add_timed(row, offset, Fragment::new("attributes").with(fragment));
    }

    pub(super) fn moved_harmony(&self, mut fragment: Fragment, by: Interval) -> Fragment {
        for chord in &mut fragment.children {
            match chord.name.as_str() {
                "root" => super::compose::move_named_pitch(chord, "root-step", "root-alter", by),
                "bass" => super::compose::move_named_pitch(chord, "bass-step", "bass-alter", by),
                _ => {}
            }
        }
        if self.part.staves <= 1 {
            fragment.remove("staff");
        }
        fragment
    }
}
