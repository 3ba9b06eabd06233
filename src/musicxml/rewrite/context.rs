//! What a rewrite reads of both sides and never changes: where notes and places
//! of either side are in the result, and at what pitch it is written there.

use super::super::tree::{Tree, child, element};
use super::SourceSide;
use super::in_force::{InForce, in_force};
use crate::alignment::{Edition, EditionNote, EditionPart, NoteOf, PartOf, Side, Source, SourceNote, Table};
use crate::pitch::{Interval, Pitch};
use crate::plan::{BarPlan, Plan};
use crate::score::{Anchor, Element, Mark, Part};
use crate::time::Time;
use roxmltree::Node;
use rustc_hash::FxHashMap;

/// Whose signatures the bars have afterwards.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signatures {
    Edition,
    Source,
}

/// A part of the edition, what is to become of its bars, and the source for it.
pub struct Context<'p, 'a, 'i> {
    pub(super) tree: &'a Tree<'i>,
    pub(super) part: EditionPart<'a>,
    pub(super) plan: &'p Plan,
    pub(super) source: Option<SourceSide<'a, 'i>>,
    /// The source of the part that one without counterpart follows.
    leader: Option<SourceSide<'a, 'i>>,
    pub(super) signatures: Signatures,
    /// Whether each note is laid beside the source; `None` where all are.
    pub(super) compared: Option<&'a Table<EditionNote, bool>>,
    edition_owners: Owners<Edition>,
    source_owners: Owners<Source>,
}

/// The note that an element is.
type Owners<S> = FxHashMap<Element, NoteOf<S>>;

impl<'p, 'a, 'i> Context<'p, 'a, 'i> {
    /// A part that changes by itself.
    pub fn alone(tree: &'a Tree<'i>, part: &'a Part, plan: &'p Plan) -> Self {
        Context {
            tree,
            part: EditionPart::new(part),
            plan,
            source: None,
            leader: None,
            signatures: Signatures::Edition,
            compared: None,
            edition_owners: owners(EditionPart::new(part)),
            source_owners: FxHashMap::default(),
        }
    }

    /// A part with its source.
    pub fn beside(tree: &'a Tree<'i>, part: &'a Part, plan: &'p Plan, source: SourceSide<'a, 'i>) -> Self {
        Context { source: Some(source), source_owners: owners(source.part), ..Context::alone(tree, part, plan) }
    }

    /// A part without counterpart: it has the bar lengths, the time signatures and
    /// the barlines of one that has one.
    pub fn following(tree: &'a Tree<'i>, part: &'a Part, plan: &'p Plan, leader: Option<SourceSide<'a, 'i>>) -> Self {
        Context { leader, ..Context::alone(tree, part, plan) }
    }

    /// Says for each note of the part whether it is laid beside the source; the
    /// others are left alone.
    pub fn comparing(self, compared: Option<&'a Table<EditionNote, bool>>) -> Self {
        Context { compared, ..self }
    }

    pub fn with_signatures(self, signatures: Signatures) -> Self {
        Context { signatures, ..self }
    }

    /// The source's part that says how long new bars are, and in which time.
    pub(super) fn frame(&self) -> Option<SourceSide<'a, 'i>> {
        self.source.or(self.leader)
    }

    /// The element of a note of the edition.
    pub(super) fn node(&self, note: EditionNote) -> Node<'a, 'i> {
        self.tree.node(self.part[note].element)
    }

    /// The element of a bar of the edition; in a timewise score it is the part inside of the measure.
    pub(super) fn bar_node(&self, bar: usize) -> Node<'a, 'i> {
        self.tree.node(self.part.bars[bar].element)
    }

    /// The note of the edition that an element stands in.
    pub(super) fn edition_owner(&self, node: Node<'_, '_>) -> Option<EditionNote> {
        node.ancestors().find_map(|n| self.edition_owners.get(&element(n)).copied())
    }

    /// The note of the source that an element stands in.
    pub(super) fn source_owner(&self, node: Node<'_, '_>) -> Option<SourceNote> {
        node.ancestors().find_map(|n| self.source_owners.get(&element(n)).copied())
    }

    /// The notes that a mark of the edition consists of: grace notes.
    pub(super) fn edition_notes(&self, mark: &Mark) -> Vec<EditionNote> {
        mark.elements.iter().filter_map(|e| self.edition_owners.get(e).copied()).collect()
    }

    /// The notes that a mark of the source consists of: grace notes.
    pub(super) fn source_notes(&self, mark: &Mark) -> Vec<SourceNote> {
        mark.elements.iter().filter_map(|e| self.source_owners.get(e).copied()).collect()
    }

    pub(super) fn is_alone(&self, note: EditionNote) -> bool {
        self.compared.is_some_and(|c| !c[note])
    }

    /// Marks that go with none of the lines that are laid beside the source.
    pub(super) fn is_mark_alone(&self, mark: &Mark) -> bool {
        self.compared.is_some() && self.part.carrier(mark.at).is_some_and(|n| self.is_alone(n))
    }

    /// Whether a bar has no source that would say its signatures, though others have.
    pub(super) fn goes_on(&self, plan: BarPlan) -> bool {
        self.signatures == Signatures::Source && plan.source().is_none() && plan.edition().is_some_and(|b| b > 0)
    }

    /// The edition's note at the place of a source note, wherever its ties start.
    pub(super) fn partner(&self, source: SourceSide, note: SourceNote) -> Option<EditionNote> {
        let (alignment, part) = (source.alignment, source.part);
        let head = part.head(note);
        let tie = alignment.ties.iter().find(|t| t.source.contains(&head));
        // The source's note with a partner of its own: the first of a tie
        // change, the note itself, or another note of its chord.
        let own = |n: SourceNote| alignment.source_to_edition[n].map(|e| (n, e));
        let in_chord = || part.chord(head).find_map(|n| own(part.head(n)));
        let (first, edition) = match tie {
            Some(tie) => own(tie.source[0])?,
            None => own(head).or_else(in_chord)?,
        };
        let time = self.part.onset(edition) + part.onset(note) - part.onset(first);
        let struck = tie.map_or(vec![edition], |t| t.edition.clone());
        let candidates = struck.iter().flat_map(|n| self.part.tied(*n)).filter(|n| self.part.onset(*n) <= time);
        candidates.max_by_key(|n| self.part.onset(*n))
    }

    /// Where a place of the source is in the result: row and offset.
    pub(super) fn place_of_source(&self, place: Anchor) -> Option<(usize, Time)> {
        let row = self.plan.source_row(place.bar)?;
        let plan = self.plan[row];
        plan.is_in_result().then(|| (row, place.offset + plan.shift()))
    }

    /// Where a place of the edition is in the result: row and offset.
    pub(super) fn place_of_edition(&self, place: Anchor) -> Option<(usize, Time)> {
        let row = self.plan.edition_row(place.bar)?;
        match self.plan[row] {
            BarPlan::Keep { .. } | BarPlan::Rebuild { .. } => Some((row, place.offset)),
            _ => None,
        }
    }

    /// The interval from the source's sounding pitch to what a row writes.
    pub(super) fn writing_interval(&self, row: usize) -> Interval {
        let sounding = self.source.map_or(Interval::UNISON, |s| s.alignment.interval);
        sounding.plus(self.transpose_at(row).inverse())
    }

    /// How written pitch sounds in a row; new bars go on as the one before.
    pub(super) fn transpose_at(&self, row: usize) -> Interval {
        self.nearest_edition_bar(row).map_or(Interval::UNISON, |bar| self.part.bars[bar].transpose)
    }

    pub(super) fn nearest_edition_bar(&self, row: usize) -> Option<usize> {
        let rows = self.plan.rows();
        let before = rows[..=row].iter().rev().find_map(|f| f.edition());
        before.or_else(|| rows[row..].iter().find_map(|f| f.edition())).filter(|b| *b < self.part.bars.len())
    }

    /// The written pitch of a note of the edition, as the edition has it.
    pub(super) fn written(&self, note: EditionNote) -> Option<Pitch> {
        let own = &self.part[note];
        own.pitch().map(|p| p.moved(own.transpose.inverse()))
    }

    /// Whether the edition writes elements of a kind at all.
    pub(super) fn uses(&self, name: &str) -> bool {
        self.part.notes.iter().take(200).any(|n| child(self.tree.node(n.element), name).is_some())
    }

    /// The edition's staff for a staff of the source.
    pub(super) fn staff_in(&self, staff: u32) -> u32 {
        staff.min(self.part.staves)
    }

    /// What holds in the edition's bars.
    pub(super) fn edition_in_force(&self) -> Vec<InForce<'a, 'i>> {
        in_force(&self.part, |e| self.tree.node(e))
    }

    /// The same of the source, or of the source's part that this one follows.
    pub(super) fn source_in_force(&self) -> Vec<InForce<'a, 'i>> {
        self.frame().map_or_else(Vec::new, |s| in_force(&s.part, |e| s.node(e)))
    }
}

fn owners<S: Side>(part: PartOf<S>) -> Owners<S> {
    part.notes().map(|(id, note)| (note.element, id)).collect()
}
