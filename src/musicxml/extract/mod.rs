//! One line of a score as a part of its own: other parts go, and of its own
//! part whatever is another line's.

mod bars;
mod notes;

use super::edits::Edits;
use super::fragment::Fragment;
use super::tree::{Tree, child, child_text, element, elements, text_of};
use crate::patch::Overlap;
use crate::score::{Category, Element, Mark, MarkId, NoteId, Part, Score};
use crate::time::Time;
use roxmltree::Node;
use rustc_hash::FxHashSet;
use std::collections::{BTreeMap, BTreeSet};

/// A text with one line.
#[derive(Debug)]
pub struct Extract {
    pub text: String,
    /// Marks of the line that are partly in another, and so went.
    pub torn: Vec<MarkId>,
    /// With those of other lines that are partly in this one: what they are, and in which bar.
    pub divided: BTreeSet<(usize, Category)>,
    /// The staff of the line has other signatures than the first, which alone are read.
    pub own_signatures: bool,
}

/// Writes a part of a score, or a line derived from one, as the only part.
///
/// # Errors
/// Where two changes met on the same bytes: a fault of ours.
pub fn extract(tree: &Tree, score: &Score, line: usize) -> Result<Extract, Overlap> {
    let part = &score.parts[score.printed_part_of(line)];
    let mut work = Extractor::new(tree, part, &score.parts[line]);
    work.drop_parts();
    let (mut own_signatures, divided) = (false, work.divided());
    if !work.line.line.is_whole() {
        own_signatures = work.has_own_signatures();
        work.drop_layout(tree.root());
        work.drop_marks();
        work.settle_notes();
        for bar in 0..part.bars.len() {
            work.bar(bar);
        }
    }
    let Extractor { edits, torn, .. } = work;
    Ok(Extract { text: edits.finish().apply(tree.text())?, torn, divided, own_signatures })
}

struct Extractor<'s, 'a, 'i> {
    edits: Edits<'a, 'i>,
    tree: &'a Tree<'i>,
    /// As it is printed, and the line derived from it.
    part: &'s Part,
    line: &'s Part,
    /// Whose clefs, directions and layout are the line's.
    staff: u32,
    /// The notes of the line, as the part counts them and by their elements.
    own: Vec<NoteId>,
    own_notes: FxHashSet<Element>,
    /// What the marks of the line consist of, and those of the whole part.
    own_marks: FxHashSet<Element>,
    all_marks: FxHashSet<Element>,
    torn: Vec<MarkId>,
    /// Elements that need not say their staff any more.
    unnumbered: FxHashSet<Element>,
    /// What the line's voices are called.
    voices: BTreeSet<&'a str>,
    /// Of a quarter note, where the bars have come to.
    divisions: Time,
}

impl<'s, 'a, 'i> Extractor<'s, 'a, 'i> {
    fn new(tree: &'a Tree<'i>, part: &'s Part, line: &'s Part) -> Self {
        let printed = |n: &NoteId| tree.node(part.notes[*n].element).attribute("print-object") != Some("no");
        let own = (0..part.notes.len()).filter(|n| line.line.holds(part, &part.notes[*n])).filter(printed);
        let own: Vec<NoteId> = own.collect();
        let mut staves: BTreeMap<u32, usize> = BTreeMap::new();
        own.iter().for_each(|n| *staves.entry(part.notes[*n].staff).or_default() += 1);
        let most = staves.into_iter().rev().max_by_key(|(_, notes)| *notes).map_or(1, |(staff, _)| staff);
        let of = |marks: &[Mark]| marks.iter().flat_map(|m| m.elements.iter().copied()).collect();
        let voices = own.iter().filter_map(|n| child_text(tree.node(part.notes[*n].element), "voice")).collect();
        let mut work = Extractor {
            edits: Edits::new(tree),
            tree,
            part,
            line,
            staff: line.line.staff.unwrap_or(most),
            own_notes: own.iter().map(|n| part.notes[*n].element).collect(),
            own,
            own_marks: FxHashSet::default(),
            all_marks: of(&part.marks),
            torn: Vec::new(),
            unnumbered: FxHashSet::default(),
            voices,
            divisions: Time::from(1),
        };
        let others = |all: &[Element]| !all.is_empty() && all.iter().all(|e| work.is_others(*e));
        let torn = |mark: &Mark| others(&mark.end_elements) || others(&mark.elements);
        work.torn = (0..line.marks.len()).filter(|m| torn(&line.marks[*m])).collect();
        let whole = |id: &MarkId| work.torn.binary_search(id).is_err();
        let whole = (0..line.marks.len()).filter(whole).flat_map(|m| line.marks[m].elements.iter().copied());
        work.own_marks = whole.collect();
        work
    }

    /// Whether an element stands in a note of another line.
    fn is_others(&self, element: Element) -> bool {
        let holder = self.tree.node(element).ancestors().find(|n| n.tag_name().name() == "note");
        holder.is_some_and(|note| !self.own_notes.contains(&self::element(note)))
    }

    /// Marks of two lines, which neither has whole.
    fn divided(&self) -> BTreeSet<(usize, Category)> {
        let of_notes = |e: &Element| self.tree.node(*e).ancestors().any(|n| n.tag_name().name() == "note");
        let begins_elsewhere =
            |m: &&Mark| m.at.note.is_some_and(|n| !self.own_notes.contains(&self.part.notes[n].element));
        let partly = |m: &&Mark| m.elements.iter().any(|e| of_notes(e) && !self.is_others(*e));
        let others = self.part.marks.iter().filter(begins_elsewhere).filter(partly);
        let own = self.torn.iter().map(|m| &self.line.marks[*m]);
        others.chain(own).map(|m| (m.at.bar, m.category)).collect()
    }

    /// Other parts go from the music, from the list, and with them all groups.
    fn drop_parts(&mut self) {
        let is = |name: &'static str| move |n: &Node<'a, 'i>| n.tag_name().name() == name;
        let root = self.tree.root();
        let bars: BTreeSet<Element> = self.part.bars.iter().map(|b| b.element).collect();
        let holds = |part: &Node| bars.contains(&element(*part)) || elements(*part).any(|m| bars.contains(&element(m)));
        for own in elements(root).filter(|n| matches!(n.tag_name().name(), "part" | "measure")) {
            if !holds(&own) {
                self.edits.remove(element(own));
                continue;
            }
            // In a timewise score, bar by bar.
            for other in elements(own).filter(is("part")).filter(|p| !holds(p)) {
                self.edits.remove(element(other));
            }
        }
        let mut found = false;
        for listed in elements(root).filter(is("part-list")).flat_map(elements) {
            let is_own = listed.tag_name().name() == "score-part" && listed.attribute("id") == Some(&self.part.id);
            if found || !is_own {
                self.edits.remove(element(listed));
            }
            found |= is_own;
        }
    }

    /// How far other staves lie apart.
    fn drop_layout(&mut self, holder: Node<'a, 'i>) {
        for defaults in elements(holder).filter(|n| n.tag_name().name() == "defaults") {
            self.keep_staff_of(defaults, "staff-layout");
        }
    }

    /// Of the children of a name, only that of the line's staff stays.
    fn keep_staff_of(&mut self, holder: Node<'a, 'i>, name: &str) {
        for layout in elements(holder).filter(|n| n.tag_name().name() == name) {
            match number(layout).unwrap_or(1) == self.staff {
                true => self.take_number(layout),
                false => self.edits.remove(element(layout)),
            }
        }
    }

    fn take_number(&mut self, node: Node<'a, 'i>) {
        if node.attribute("number").is_some() {
            self.unnumbered.insert(element(node));
            let copy = self.copy(node);
            self.edits.replace(element(node), copy);
        }
    }

    /// What is left of an element.
    fn copy(&self, node: Node<'a, 'i>) -> Fragment {
        let mut out = Fragment::shell(node);
        if self.unnumbered.contains(&element(node)) {
            out.attributes.retain(|a| a.0 != "number");
        }
        let stays = |n: &Node<'a, 'i>| !self.edits.is_removed(element(*n));
        out.children = elements(node).filter(stays).map(|n| self.copy(n)).collect();
        out.children.retain(|c| c.name != "direction-type" || !c.children.is_empty());
        if elements(node).next().is_none() {
            out.text = Fragment::copy(node).text;
        }
        out
    }

    /// Marks of other lines, and those that reach into them.
    fn drop_marks(&mut self) {
        for mark in self.all_marks.difference(&self.own_marks) {
            // Signatures are told apart by their staves.
            if self.tree.node(*mark).parent_element().is_none_or(|p| p.tag_name().name() != "attributes") {
                self.edits.remove(*mark);
            }
        }
    }

    /// Whether anything of a direction, a chord symbol or figures is the line's.
    fn is_own_sign(&self, node: Node<'a, 'i>) -> bool {
        let mut marks = node.descendants().map(element).filter(|e| self.all_marks.contains(e)).peekable();
        if marks.peek().is_some() {
            return marks.any(|e| self.own_marks.contains(&e));
        }
        child_text(node, "staff").and_then(|s| s.parse().ok()).unwrap_or(1) == self.staff
    }

    /// Of what holds for the notes, only what does for the line's staff.
    fn settle_attributes(&mut self, node: Node<'a, 'i>) {
        for item in elements(node) {
            let name = item.tag_name().name();
            let numbered = || elements(node).any(|n| n.tag_name().name() == name && number(n) == Some(self.staff));
            let stays = match (name, number(item)) {
                ("staves" | "part-symbol", _) => false,
                ("clef" | "staff-details", told) => told.unwrap_or(1) == self.staff,
                ("key" | "time" | "transpose" | "measure-style" | "for-part", Some(told)) => told == self.staff,
                ("key" | "time" | "transpose", None) => !numbered(),
                _ => true,
            };
            match stays {
                true => self.take_number(item),
                false => self.edits.remove(element(item)),
            }
        }
    }

    fn has_own_signatures(&self) -> bool {
        let signs = |staff: u32| -> Vec<(usize, Vec<&str>)> {
            let bars = self.part.bars.iter().enumerate();
            let of_bar = bars.flat_map(|(at, bar)| {
                let all = elements(self.tree.node(bar.element)).filter(|n| n.tag_name().name() == "attributes");
                all.flat_map(elements).map(move |n| (at, n))
            });
            let own = of_bar.filter(|(_, n)| matches!(n.tag_name().name(), "key" | "time"));
            let own = own.filter(|(_, n)| number(*n).is_none_or(|told| told == staff));
            own.map(|(at, n)| (at, elements(n).map(text_of).collect())).collect()
        };
        self.staff != 1 && signs(self.staff) != signs(1)
    }

    /// The note elements that an element of the line's notes holds, by name.
    fn sign_of(&self, note: NoteId, name: &str) -> Option<Node<'a, 'i>> {
        child(self.tree.node(self.part.notes[note].element), name)
    }
}

/// The staff that an element says it is for.
fn number(node: Node<'_, '_>) -> Option<u32> {
    node.attribute("number").and_then(|n| n.trim().parse().ok())
}
