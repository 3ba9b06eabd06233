//! Marks of the edition that stay, look otherwise or go, and where marks of the
//! source would come to stand.

use super::super::apart::{Look, is_apart, touches};
use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::Target;
use super::insert::{Home, home};
use super::stages::Marking;
use crate::alignment::{EditionNote, SourceNote};
use crate::plan::BarPlan;
use crate::score::{Anchor, Category, Mark, Place, Sign};
use roxmltree::Node;

impl Marking<'_, '_, '_> {
    /// Notes which spans of the edition stay, so that new ones get other numbers.
    pub fn keep(&mut self, mark: &Mark) {
        let context = self.0.context;
        let end = mark.end.and_then(|e| context.place_of_edition(e));
        let Some((from, to)) = context.place_of_edition(mark.at).zip(end) else { return };
        let nodes = mark.elements.iter().map(|e| context.tree.node(*e));
        if let Some(node) = nodes.into_iter().find(|n| facts(n.tag_name().name()).is_numbered()) {
            let number = node.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(1);
            self.0.numbers.take(node.tag_name().name(), number, from, to);
        }
    }

    /// Gives a mark of the edition a look, where it stands. False when nothing
    /// but its colour can tell it from others.
    pub fn style(&mut self, mark: &Mark, look: &Look) -> bool {
        let tree = self.0.context.tree;
        let nodes: Vec<Node> = mark.elements.iter().map(|e| tree.node(*e)).collect();
        let touches = touches(mark, &nodes, look);
        for (node, touch) in nodes.iter().zip(&touches) {
            match self.0.context.part.carrier(mark.at) {
                Some(note) if self.writes_accidental(note, *node) => {
                    let mut sign = Fragment::shell(*node);
                    touch.apply(&mut sign);
                    self.0.respeller.styled.insert(Target::Kept(note), sign.attributes);
                }
                _ => self.0.draft.touch(*node, touch),
            }
        }
        touches.iter().any(|t| t.is_shaped) || is_apart(&nodes)
    }

    /// Whether the accidental of a note is written anew with its pitch.
    fn writes_accidental(&self, note: EditionNote, node: Node<'_, '_>) -> bool {
        node.tag_name().name() == "accidental" && self.0.respeller.pitches.contains_key(&note)
    }

    /// Takes a mark of the edition out.
    pub fn remove(&mut self, mark: &Mark) {
        if is_leading_signature(mark) {
            return;
        }
        let draft = &mut self.0.draft;
        match (mark.category, &mark.sign, self.0.context.part.carrier(mark.at)) {
            // Its accidental may still be needed: settled with all others.
            (_, Sign::Accidental { .. }, Some(note)) => {
                self.0.respeller.unstyled.insert(note);
            }
            (_, Sign::Figures(_), _) => {
                self.0.timed.lost_figures.insert(mark.at.bar);
                mark.elements.iter().for_each(|e| draft.edits.remove(*e));
            }
            (Category::Grace, ..) => draft.remove_graces(mark),
            _ => mark.elements.iter().for_each(|e| draft.edits.remove(*e)),
        }
        self.0.draft.silence(mark);
    }

    /// A source mark that is not to be restored: only its grace notes could be
    /// in a composed bar already.
    pub fn leave_out(&mut self, mark: &Mark) {
        self.0.draft.leave_out(mark);
    }

    /// Whether a mark lies in a bar that is taken out or rebuilt. Of a rebuilt
    /// bar the attributes stay, and with them its signatures.
    pub fn is_in_composed_bar(&self, mark: &Mark) -> bool {
        let plan = self.0.context.plan;
        let stays = |bar: BarPlan| {
            let rebuilt = matches!(bar, BarPlan::Rebuild { .. });
            bar.is_kept() || rebuilt && mark.category == Category::Signature
        };
        let touched = |place: Anchor| plan.edition_row(place.bar).is_some_and(|row| !stays(plan[row]));
        touched(mark.at) || mark.end.is_some_and(touched) || self.is_on_gone_grace(mark)
    }

    /// Whether a mark stands on a grace note that goes.
    fn is_on_gone_grace(&self, mark: &Mark) -> bool {
        let gone_graces = &self.0.draft.gone_graces;
        let part = self.0.context.part;
        let gone = |at: Anchor| part.carrier(at).is_some_and(|note| gone_graces.contains(&note));
        !gone_graces.is_empty()
            && mark.category != Category::Grace
            && [Some(mark.at), mark.end].into_iter().flatten().any(gone)
    }

    /// Where a mark of the source would come to stand, and its end: bar of the
    /// edition and offset. `None` where the result lacks its note or its time.
    pub fn landing(&self, mark: &Mark) -> Option<(Place, Option<Place>)> {
        let context = self.0.context;
        let source = context.source.filter(|_| self.has_place_for(mark))?;
        let borne = mark.elements.iter().any(|e| matches!(home(source.node(*e)), Home::Notation(_) | Home::Note));
        let carrier = |at: Anchor| source.part.carrier(at).filter(|_| borne);
        let land = |at: Anchor| match carrier(at).and_then(|n| self.0.draft.target_of_source(n)) {
            // Where the one ties what the other holds, the note may begin earlier.
            Some(Target::Kept(note)) => Some(context.part.place(note)),
            _ => {
                let (row, offset) = context.place_of_source(at)?;
                Some(Place { bar: context.plan[row].edition()?, offset })
            }
        };
        Some((land(mark.at)?, mark.end.and_then(land)))
    }

    fn has_place_for(&self, mark: &Mark) -> bool {
        let context = self.0.context;
        let Some(source) = context.source else { return false };
        let times = [Some(mark.at), mark.end].into_iter().flatten();
        let has_note = |note: SourceNote| {
            let main = if mark.category == Category::Grace { source.part.main_note(note) } else { Some(note) };
            main.is_some_and(|n| self.0.draft.target_of_source(n).is_some())
        };
        let is_there = |node: Node| {
            let on_note = matches!(home(node), Home::Notation(_) | Home::Note | Home::Grace);
            !on_note || context.source_owner(node).is_some_and(has_note)
        };
        times.into_iter().all(|place| context.place_of_source(place).is_some())
            && mark.elements.iter().all(|e| is_there(source.node(*e)))
    }
}

/// Whether a mark is a signature at the start of a bar: these are settled
/// together, where bars come and go.
fn is_leading_signature(mark: &Mark) -> bool {
    mark.category == Category::Signature && mark.at.offset.is_zero()
}
