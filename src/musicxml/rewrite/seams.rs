//! Where bars of a part without counterpart stand side by side for the first
//! time: ties and spans that led into a bar that goes, or over one that comes.

use super::super::elements::facts;
use super::super::tree::element;
use super::draft::Draft;
use super::ties::TieEnd;
use crate::alignment::EditionNote;
use crate::score::{Category, Mark};
use std::collections::HashMap;

impl Draft<'_, '_, '_> {
    pub(super) fn close_seams(&mut self) {
        if self.context.plan.keeps_all() {
            return;
        }
        let mut places: HashMap<usize, usize> = HashMap::new();
        let mut fresh = Vec::new();
        for (place, plan) in self.context.plan.rows().iter().filter(|f| f.is_in_result()).enumerate() {
            match plan.edition() {
                Some(bar) => drop(places.insert(bar, place)),
                None => fresh.push(place),
            }
        }
        self.close_ties(&places);
        let with_source = self.context.source.is_some();
        for mark in self.context.part.marks.iter().filter(|m| !with_source || self.context.is_mark_alone(m)) {
            let Some(end) = mark.end else { continue };
            let torn = match (places.get(&mark.at.bar), places.get(&end.bar)) {
                (Some(from), Some(to)) => mark.sign.joins_notes() && fresh.iter().any(|bar| (*from..*to).contains(bar)),
                (None, None) => false,
                _ => true,
            };
            if torn {
                self.take_out(mark);
            }
        }
    }

    /// A tie goes on where the bar between its notes went and it held through it.
    fn close_ties(&mut self, places: &HashMap<usize, usize>) {
        let part = self.context.part;
        let place = |note: EditionNote| places.get(&part[note].bar).copied();
        for from in part.notes().map(|(n, _)| n).filter(|n| self.context.source.is_none() || self.context.is_alone(*n))
        {
            let to = part[from].tied_to.map(EditionNote::new);
            let Some(to) = to.filter(|to| part[*to].bar != part[from].bar) else { continue };
            let before =
                std::iter::successors(Some(from), |n| part[*n].tied_from.map(EditionNote::new)).find_map(place);
            let after = part.tied(to).find_map(place);
            let meet = before.zip(after).is_some_and(|(before, after)| before + 1 == after);
            if !meet && place(from).is_some() {
                self.remove_tie(from, TieEnd::Start);
            }
            if !meet && place(to).is_some() {
                self.remove_tie(to, TieEnd::Stop);
            }
        }
    }

    /// Takes a span out; a trill stays where only its line goes.
    fn take_out(&mut self, mark: &Mark) {
        let tree = self.context.tree;
        let is_line = |e: &crate::score::Element| facts(tree.node(*e).tag_name().name()).is_numbered();
        let lines_only = mark.category == Category::Ornament && !mark.elements.iter().all(is_line);
        for node in mark.elements.iter().filter(|e| !lines_only || is_line(e)).map(|e| tree.node(*e)) {
            self.edits.remove(element(node));
        }
    }
}
