//! What becomes of each pair of marks in one part.

use super::clash;
use super::job::PartJob;
use super::looks::Plain;
use super::{Decision, Summary};
use crate::alignment::{EditionMark, MarkPair, SourceMark};
use crate::findings::Subject;
use crate::musicxml::apart::Look;
use crate::musicxml::rewrite::Composed;
use crate::score::{Anchor, Category, Mark};
use std::collections::HashMap;

/// What becomes of each pair of marks that is not the same.
type Decisions = HashMap<(Option<EditionMark>, Option<SourceMark>), Decision>;

impl<'a, 'i> PartJob<'_, 'a, 'i> {
    /// For each pair of marks that is not the same: what becomes of it.
    pub(super) fn mark_decisions(&self) -> Decisions {
        self.findings
            .iter()
            .zip(&self.decisions)
            .filter_map(|(f, decision)| match f.subject {
                Subject::Mark { edition, source } => Some(((edition, source), *decision)),
                _ => None,
            })
            .collect()
    }

    /// Rewrites the marks; gives what was to stay and could not, and why.
    pub(super) fn rewrite_marks(
        &self,
        rewrite: Composed,
        summary: &mut Summary,
        warnings: &mut Vec<String>,
    ) -> Vec<(EditionMark, String)> {
        let decisions = self.mark_decisions();
        let (omitted, altered) = (self.policy.look_of_omitted(), self.policy.look_of_altered());
        let mut from_source: Vec<(SourceMark, Look)> =
            self.restored_signs().into_iter().map(|m| (m, altered.clone())).collect();
        let (mut from_edition, mut plain) = (Vec::new(), Plain::default());
        let mut rewrite = rewrite.marks(self.gone_graces(&decisions));
        for pair in &self.alignment.marks {
            let ours = pair.edition.map(|m| self.edition.mark(m));
            let composed = ours.is_some_and(|m| rewrite.is_in_composed_bar(m));
            match self.verdict(pair, &decisions) {
                Verdict::Edition if composed => {
                    let mark = ours.expect("the edition's");
                    rewrite.remove(mark);
                    match pair.source.filter(|_| pair.same) {
                        Some(source) => from_source.push((source, Look::default())),
                        None => from_edition.extend(pair.edition.map(|m| (m, self.is_apart(pair, &decisions)))),
                    }
                }
                Verdict::Edition => {
                    let mark = ours.expect("the edition's");
                    rewrite.keep(mark);
                    if self.is_apart(pair, &decisions) {
                        match rewrite.style(mark, &self.policy.look_of_added(mark.category)) {
                            true => summary.marks_apart += 1,
                            false => plain.add(mark),
                        }
                    }
                }
                Verdict::Source => {
                    if let Some(mark) = ours {
                        rewrite.remove(mark);
                        summary.marks_removed += 1;
                    }
                    summary.marks_restored += 1;
                    let look = if ours.is_some() { &altered } else { &omitted };
                    from_source.extend(pair.source.map(|m| (m, look.clone())));
                }
                Verdict::Neither => match ours {
                    Some(mark) => {
                        rewrite.remove(mark);
                        summary.marks_removed += 1;
                    }
                    None => {
                        if let Some(mark) = pair.source.map(|m| self.source.mark(m)) {
                            rewrite.leave_out(mark);
                        }
                    }
                },
            }
        }
        from_source.sort_by_key(|(m, _)| {
            let mark = self.source.mark(*m);
            (self.source.time(mark.at.place), *m)
        });
        let from_source: Vec<(&Mark, Look)> =
            from_source.into_iter().map(|(m, look)| (self.source.mark(m), look)).collect();
        let mut rewrite = rewrite.inserter();
        rewrite.insert_source_marks(&from_source);
        let mut lost = Vec::new();
        for (id, apart) in from_edition {
            let mark = self.edition.mark(id);
            let look = if apart { self.policy.look_of_added(mark.category) } else { Look::default() };
            if rewrite.insert_edition_mark(mark, &look) {
                summary.marks_apart += usize::from(apart);
            } else {
                let number = &self.edition.bars[mark.at.bar].number;
                let (part, why) = (self.edition.spoken(), self.why_lost(mark));
                let what = clash::told(mark);
                warnings.push(format!("{part}, bar {number} of the edition: {what} could not be kept, because {why}"));
                lost.push((id, why));
            }
        }
        rewrite.finish();
        warnings.extend(plain.warnings(self));
        lost
    }

    /// Why there is no place for a mark of the edition in the copy.
    fn why_lost(&self, mark: &Mark) -> String {
        let out = |at: &Anchor| self.plan.edition_row(at.bar).is_none_or(|row| !self.plan[row].is_in_result());
        match [Some(mark.at), mark.end].into_iter().flatten().find(out) {
            Some(at) => format!("bar {} was taken out", self.edition.bars[at.bar].number),
            None => "its note is not in the source, which the bar now follows".into(),
        }
    }

    /// The edition's grace notes that go, or have the source's in their place.
    pub(super) fn gone_graces(&self, decisions: &Decisions) -> impl Iterator<Item = &'a Mark> {
        let pairs = self.alignment.marks.iter().filter(|p| self.verdict(p, decisions) != Verdict::Edition);
        let marks = pairs.filter_map(|p| p.edition.map(|m| self.edition.mark(m)));
        marks.filter(|m| m.category == Category::Grace)
    }

    /// Whether the edition's mark of a pair is to be set apart.
    fn is_apart(&self, pair: &MarkPair, decisions: &Decisions) -> bool {
        !pair.same && decisions.get(&(pair.edition, pair.source)) == Some(&Decision::Bracket)
    }

    /// The source's signs whose written-out notes are taken back.
    pub(super) fn restored_signs(&self) -> Vec<SourceMark> {
        let undone = self.with(|f| f.category == Category::WrittenOut).filter(|(_, undone)| *undone);
        undone
            .filter_map(|(f, _)| match f.subject {
                Subject::WrittenOutOrnament(index) => {
                    Some(&self.alignment.written_out[index]).filter(|r| !r.by_source).map(|r| r.source)
                }
                _ => None,
            })
            .flat_map(|note| {
                let is_sign = |c| matches!(c, Category::Ornament | Category::Grace);
                let signs = self.source.marks();
                let own = |m: &Mark| is_sign(m.category) && self.source.carrier(m.at) == Some(note);
                signs.filter(|(_, m)| own(m)).map(|(id, _)| id).collect::<Vec<_>>()
            })
            .filter(|m| self.alignment.marks.iter().all(|p| p.source != Some(*m)))
            .collect()
    }

    pub(super) fn verdict(&self, pair: &MarkPair, decisions: &Decisions) -> Verdict {
        if pair.same {
            return Verdict::Edition;
        }
        let undone = decisions.get(&(pair.edition, pair.source)) == Some(&Decision::Out);
        match (pair.edition, pair.source, undone) {
            (Some(_), None, true) | (None, Some(_), false) => Verdict::Neither,
            (_, Some(_), true) => Verdict::Source,
            _ => Verdict::Edition,
        }
    }
}

/// Which side's mark the result has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    Edition,
    Source,
    Neither,
}
