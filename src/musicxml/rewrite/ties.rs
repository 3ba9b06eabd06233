//! Ties: put in, taken out, and made to agree across changed bars.

use super::super::fragment::Fragment;
use super::super::tree::element;
use super::draft::Draft;
use super::{SourceSide, Target};
use crate::alignment::{EditionNote, NoteOf, PartOf, Side, SourceNote};
use crate::plan::BarPlan;

/// An end of a tie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TieEnd {
    Start,
    Stop,
}

impl TieEnd {
    /// As MusicXML writes it.
    fn kind(self) -> &'static str {
        match self {
            TieEnd::Start => "start",
            TieEnd::Stop => "stop",
        }
    }
}

impl<'a, 'i> Draft<'_, 'a, 'i> {
    /// Takes a tie out between a note of the edition and the next.
    pub(super) fn untie(&mut self, from: EditionNote) {
        self.remove_tie(from, TieEnd::Start);
        if let Some(to) = self.context.part[from].tied_to.map(EditionNote::new) {
            self.remove_tie(to, TieEnd::Stop);
        }
    }

    /// Takes out one end of a tie.
    pub(super) fn remove_tie(&mut self, note: EditionNote, end: TieEnd) {
        if end == TieEnd::Stop {
            self.untied.insert(note);
        }
        let node = self.context.node(note);
        let mut gone = Vec::new();
        for item in node.children().filter(|n| n.is_element()) {
            let name = item.tag_name().name();
            if name == "tie" && item.attribute("type") == Some(end.kind()) {
                gone.push(item);
            }
            if name == "notations" {
                gone.extend(
                    item.children()
                        .filter(|n| n.tag_name().name() == "tied" && n.attribute("type") == Some(end.kind())),
                );
            }
        }
        for item in gone {
            self.edits.remove(element(item));
        }
    }

    /// Ties two notes of the edition.
    pub(super) fn tie(&mut self, from: EditionNote, to: EditionNote) {
        self.add_tie(Target::Kept(from), TieEnd::Start);
        self.add_tie(Target::Kept(to), TieEnd::Stop);
    }

    pub(super) fn add_tie(&mut self, target: Target, end: TieEnd) {
        self.add_to_note(target, Fragment::new("tie").set("type", end.kind()));
        self.add_notation(target, None, Fragment::new("tied").set("type", end.kind()));
    }

    /// Makes ties over a barline agree with the source wherever a bar beside
    /// it was rebuilt, taken out or put in.
    pub(super) fn mend_ties_at_seams(&mut self) {
        let Some(source) = self.context.source else { return };
        let rows: Vec<usize> =
            (0..self.context.plan.rows().len()).filter(|r| self.context.plan[*r].is_in_result()).collect();
        for pair in rows.windows(2) {
            let (left, right) = (self.context.plan[pair[0]], self.context.plan[pair[1]]);
            let natural = match (left, right) {
                (BarPlan::Keep { edition: a, .. }, BarPlan::Keep { edition: b, .. }) => a + 1 == b,
                _ => left.is_composed() && right.is_composed(),
            };
            if natural {
                continue;
            }
            if let BarPlan::Keep { edition, source: Some(bar), .. } = left {
                let wanted: Vec<SourceNote> = tied_over(source.part, bar, TieEnd::Start);
                self.mend_ties(source, edition, &wanted, TieEnd::Start);
            }
            if let BarPlan::Keep { edition, source: Some(bar), .. } = right {
                let wanted: Vec<SourceNote> = tied_over(source.part, bar, TieEnd::Stop);
                self.mend_ties(source, edition, &wanted, TieEnd::Stop);
            }
        }
    }

    fn mend_ties(&mut self, source: SourceSide<'a, 'i>, bar: usize, wanted: &[SourceNote], end: TieEnd) {
        let targets: Vec<EditionNote> = wanted
            .iter()
            .filter_map(|n| match self.target_of_source(*n) {
                // What the source holds the edition may write as two notes tied: the last one reaches over.
                Some(Target::Kept(e)) if end == TieEnd::Start => {
                    self.context.part.tied(e).take_while(|n| self.context.part[*n].bar == bar).last().or(Some(e))
                }
                Some(Target::Kept(e)) => Some(e),
                _ => self.same_sound(source, bar, *n, end),
            })
            .collect();
        let mut present = tied_over(self.context.part, bar, end);
        present.retain(|n| !self.context.is_alone(*n));
        for note in &present {
            if !targets.contains(note) {
                self.remove_tie(*note, end);
            }
        }
        for note in targets {
            if !present.contains(&note) {
                self.add_tie(Target::Kept(note), end);
            }
        }
    }

    /// The continuation of a note that was struck in a bar now gone has no
    /// partner of its own: found by its sound.
    fn same_sound(&self, source: SourceSide, bar: usize, note: SourceNote, end: TieEnd) -> Option<EditionNote> {
        let pitch = source.part[note].pitch()?.moved(source.alignment.interval);
        let part = self.context.part;
        part.notes_in(&part.bars[bar]).find(|n| {
            let own = &part[*n];
            let at_edge = match end {
                TieEnd::Start => own.offset + own.duration == part.bars[bar].length,
                TieEnd::Stop => own.offset.is_zero(),
            };
            at_edge && own.grace == 0 && own.pitch() == Some(pitch)
        })
    }
}

/// The notes of a bar that are tied over a barline: the right one where their ties start, else the left one.
fn tied_over<S: Side>(part: PartOf<S>, bar: usize, end: TieEnd) -> Vec<NoteOf<S>> {
    let reaches_over = |n: &NoteOf<S>| {
        let other = match end {
            TieEnd::Start => part[*n].tied_to,
            TieEnd::Stop => part[*n].tied_from,
        };
        other.is_some_and(|o| part.notes[o].bar != bar)
    };
    part.notes_in(&part.bars[bar]).filter(reaches_over).collect()
}
