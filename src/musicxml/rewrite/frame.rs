//! What frames the notes and waits for its bar: barlines, signatures.

use super::super::edits::Edits;
use super::super::fragment::Fragment;
use super::super::tree::{child, element};
use super::context::Context;
use super::spans::At;
use super::timed::Timed;
use crate::pitch::Interval;
use crate::score::{Element, Mark, Sign};
use crate::time::Time;
use roxmltree::Node;
use std::collections::BTreeMap;

/// An end of a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum BarSide {
    Left,
    Right,
}

impl BarSide {
    /// As MusicXML writes it.
    pub(super) fn location(self) -> &'static str {
        match self {
            BarSide::Left => "left",
            BarSide::Right => "right",
        }
    }
}

/// Barlines and signatures that come in.
pub(super) struct Frame<'p, 'a, 'i> {
    context: &'p Context<'p, 'a, 'i>,
    /// Children of the barlines of new bars, by row.
    pub(super) barlines: BTreeMap<usize, Vec<(BarSide, Fragment)>>,
    /// Barlines that bars of the edition lacked, and beside what they stand.
    pub(super) new_barlines: BTreeMap<(usize, BarSide), (Element, Fragment)>,
    /// Signatures at the start of rows, as they are to look, by row and name.
    pub(super) signatures: BTreeMap<(usize, String), Fragment>,
    /// Those in the middle of rows.
    pub(super) late_signatures: BTreeMap<usize, Vec<(Time, Fragment)>>,
}

impl<'p, 'a, 'i> Frame<'p, 'a, 'i> {
    pub(super) fn new(context: &'p Context<'p, 'a, 'i>) -> Self {
        let (barlines, new_barlines) = (BTreeMap::new(), BTreeMap::new());
        let (signatures, late_signatures) = (BTreeMap::new(), BTreeMap::new());
        Frame { context, barlines, new_barlines, signatures, late_signatures }
    }

    /// A child of a barline at a time of a row.
    pub(super) fn add_to_barline(
        &mut self,
        edits: &mut Edits,
        timed: &mut Timed,
        (row, offset): At,
        fragment: Fragment,
    ) {
        let side = if offset.is_zero() { BarSide::Left } else { BarSide::Right };
        if self.is_inside(row, offset) {
            return add_inner_barline(timed, row, offset, fragment);
        }
        let Some(bar) = self.context.plan[row].edition() else {
            self.barlines.entry(row).or_default().push((side, fragment));
            return;
        };
        let measure = self.context.bar_node(bar);
        let location = side.location();
        let barlines = measure.children().filter(|n| n.tag_name().name() == "barline");
        let found = barlines.into_iter().find(|b| b.attribute("location").unwrap_or("right") == location);
        if let Some(barline) = found {
            match child(barline, &fragment.name) {
                Some(old) if fragment.name == "bar-style" => edits.replace(element(old), fragment),
                _ => edits.add_child(element(barline), fragment),
            }
            return;
        }
        let elements: Vec<Node> = measure.children().filter(|n| n.is_element()).collect();
        let before = elements.iter().find(|n| n.tag_name().name() != "print");
        let home = if side == BarSide::Left { before } else { elements.last() };
        let Some(home) = home.map(|n| element(*n)) else { return };
        // Several children of one new barline come together.
        let barline = self
            .new_barlines
            .entry((row, side))
            .or_insert_with(|| (home, Fragment::new("barline").set("location", location)));
        barline.1.place(fragment);
    }

    /// Whether a time of a row is neither its start nor its end.
    fn is_inside(&self, row: usize, offset: Time) -> bool {
        let plan = self.context.plan[row];
        let theirs = || {
            plan.source()
                .zip(self.context.frame())
                .and_then(|(bar, s)| Some(s.part.bars.get(bar)?.length + plan.shift()))
        };
        let length = match plan.edition().filter(|_| !plan.is_composed()) {
            Some(bar) => Some(self.context.part.bars[bar].length),
            None => theirs(),
        };
        offset > Time::zero() && length.is_some_and(|length| offset < length)
    }

    /// A signature of a mark at a time of a row; `by` leads to what the row writes.
    pub(super) fn add_signature(
        &mut self,
        timed: &mut Timed,
        (row, offset): At,
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
            self.signatures.insert((row, fragment.name.clone()), fragment);
            return;
        }
        self.late_signatures.entry(row).or_default().push((offset, fragment.clone()));
        timed.add(row, offset, Fragment::new("attributes").with(fragment));
    }
}

/// A barline in the middle of a bar stands among its notes.
fn add_inner_barline(timed: &mut Timed, row: usize, offset: Time, fragment: Fragment) {
    let barline = Fragment::new("barline").set("location", "middle").with(fragment);
    timed.add(row, offset, barline);
}
