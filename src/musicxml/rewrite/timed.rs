//! What stands in time rather than on a note: directions and chord symbols, and
//! their places among the notes of a bar.

use super::super::apart::Touch;
use super::super::fragment::Fragment;
use super::super::tree::{child, element, text_of};
use super::{Fate, PartRewrite};
use crate::score::NoteId;
use crate::time::Time;
use roxmltree::Node;

impl PartRewrite<'_, '_, '_> {
    /// A new direction (or harmony) at a place of the result.
    pub fn add_timed(&mut self, row: usize, offset: Time, fragment: Fragment) {
        match self.fates[row] {
            Fate::Keep { edition, .. } => self.put_in_bar(edition, offset, fragment),
            _ => self.timed.entry(row).or_default().push((offset, fragment)),
        }
    }

    /// Before the note at its time; after the one that ends there; else before
    /// the last note that comes earlier, with an offset.
    pub(super) fn put_in_bar(&mut self, bar: usize, offset: Time, mut fragment: Fragment) {
        let notes = self.part.bars[bar].notes.clone();
        let own = |n: NoteId| &self.part.notes[n];
        let staff = fragment.child("staff").and_then(|s| s.text.parse::<u32>().ok()).unwrap_or(1);
        let stays = |n: &NoteId| !own(*n).chord && own(*n).grace == 0;
        let at_time = notes.clone().filter(stays).filter(|n| own(*n).offset == offset);
        if let Some(note) = at_time.min_by_key(|n| (own(*n).staff != staff, *n)) {
            // Grace notes before it belong to it.
            let mut first = note;
            while first > notes.start && own(first - 1).grace > 0 && own(first - 1).voice == own(note).voice {
                first -= 1;
            }
            return self.plan.insert_before(own(first).element, fragment);
        }
        let ending = notes.clone().filter(stays).filter(|n| own(*n).offset + own(*n).duration == offset);
        if let Some(note) = ending.min_by_key(|n| (own(*n).staff != staff, std::cmp::Reverse(*n))) {
            let last = self.part.chord(note).last().expect("a chord has a note");
            return self.plan.insert_after(own(last).element, fragment);
        }
        let earlier = notes.clone().filter(stays).filter(|n| own(*n).offset < offset).max_by_key(|n| own(*n).offset);
        let host = earlier.or_else(|| notes.clone().find(stays));
        let Some(host) = host else {
            return self.put_in_silent_bar(bar, offset, fragment);
        };
        set_offset(&mut fragment, offset - own(host).offset, self.part.bars[bar].divisions);
        self.plan.insert_before(own(host).element, fragment);
    }

    /// In a bar without notes: before whatever moves the time on.
    fn put_in_silent_bar(&mut self, bar: usize, offset: Time, mut fragment: Fragment) {
        set_offset(&mut fragment, offset, self.part.bars[bar].divisions);
        let measure = self.plan.tree().node(self.part.bars[bar].element);
        let moves = |n: &Node| matches!(n.tag_name().name(), "forward" | "backup" | "barline");
        let head = |n: &Node| n.attribute("location") != Some("left");
        match measure.children().filter(moves).find(head) {
            Some(host) => self.plan.insert_before(element(host), fragment),
            None => self.plan.add_child(self.part.bars[bar].element, fragment),
        }
    }

    pub(super) fn direction_shell(&self, holder: Node<'_, '_>, row: usize) -> Fragment {
        let mut out = Fragment::shell(holder);
        if self.part.staves > 1 {
            let staff = child(holder, "staff").map_or("1", text_of).parse().unwrap_or(1);
            out.children.push(Fragment::leaf("staff", self.staff_in(row, staff)));
        }
        out
    }
}

/// The element between what stands beside it.
pub(super) fn flanked(fragment: Fragment, touch: &Touch) -> Vec<Fragment> {
    match touch.flanks.clone() {
        Some([left, right]) => vec![left, fragment, right],
        None => vec![fragment],
    }
}

/// Elements in their direction-type, with what stands between the two.
pub(super) fn in_direction_type(node: Node<'_, '_>, fragments: Vec<Fragment>, touch: &Touch) -> Fragment {
    let parent = node.parent().expect("a mark stands in something");
    let mut kind = Fragment::new("direction-type");
    if parent.tag_name().name() == "dynamics" {
        let mut holder = Fragment::shell(parent);
        touch.of_holder.iter().for_each(|(name, value)| holder.set_attribute(name, value));
        holder.children = fragments;
        kind.children.push(holder);
    } else {
        kind.children = fragments;
    }
    kind
}

/// What stood in one direction-type comes into one again; a sign and its
/// brackets into one `dynamics`.
pub(super) fn join(kind: &mut Fragment, more: Fragment) {
    for item in more.children {
        match kind.children.last_mut() {
            Some(last) if last.name == "dynamics" && item.name == "dynamics" => last.children.extend(item.children),
            _ => kind.children.push(item),
        }
    }
}

pub(super) fn sort_children(direction: &mut Fragment) {
    direction.children.sort_by_key(|c| super::super::fragment::rank("direction", &c.name));
}

/// `by` is in quarter notes; an offset counts divisions.
pub(super) fn set_offset(fragment: &mut Fragment, by: Time, divisions: i64) {
    fragment.remove("offset");
    if by.is_zero() {
        return;
    }
    let ticks = by * Time::from(divisions);
    let text = if ticks.is_integer() {
        ticks.to_integer().to_string()
    } else {
        format!("{}", ticks.numer() as f64 / ticks.denom() as f64)
    };
    fragment.place(Fragment::leaf("offset", text));
}
