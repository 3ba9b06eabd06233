//! A part of the edition without counterpart: its bars, its time and its repeats
//! are those of a part that has one.

use super::content::{self, Content, MarkLine};
use super::job::PartJob;
use super::marks::Verdict;
use crate::alignment::SourceMark;
use crate::musicxml::Edits;
use crate::musicxml::rewrite::{Composed, Context, Signatures};
use crate::pitch::Interval;
use crate::plan::Plan;
use crate::score::{Category, Mark, MarkId, Meaning, Part, Place, Sign};
use crate::time::Time;
use std::collections::BTreeMap;

/// A part without counterpart, and the part that it follows, if there is one.
pub(super) struct Follower<'s, 'j, 'a, 'i> {
    pub part: &'a Part,
    pub leader: Option<&'s PartJob<'j, 'a, 'i>>,
    pub plan: &'s Plan,
}

impl<'a, 'i> Follower<'_, '_, 'a, 'i> {
    pub fn rewrite(&self, edits: &mut Edits<'a, 'i>) {
        let (leader, signatures) = (self.leader.map(PartJob::source_side), self.leader.map(PartJob::signatures));
        let context = Context::following(edits.tree(), self.part, self.plan, leader)
            .with_signatures(signatures.unwrap_or(Signatures::Edition));
        let mut rewrite = Composed::new(&context, edits, BTreeMap::new());
        if let Some(leader) = self.leader {
            for row in 0..self.plan.rows().len() {
                leader.length(row).into_iter().for_each(|length| rewrite.fill_up(row, length));
            }
        }
        let (gone, new) = self.barlines();
        let mut rewrite = rewrite.marks([]);
        gone.into_iter().for_each(|m| rewrite.remove(&self.part.marks[m]));
        let mut rewrite = rewrite.inserter();
        if let Some(leader) = self.leader {
            new.into_iter().for_each(|m| rewrite.insert_barline(leader.source.mark(m)));
        }
        rewrite.finish();
    }

    /// What the part must hold: what is its own, but for bars that go, and what it follows.
    pub fn expected(&self) -> Content {
        let (gone, new) = self.barlines();
        let mut out = content::unmatched(self.part, self.plan.rows(), &gone);
        let Some(leader) = self.leader else { return out };
        self.move_barlines(&mut out);
        out.signatures = content::signatures(self.part, &leader.source, self.plan.rows(), leader.signatures(), None);
        let rows = content::numbered(self.plan.rows());
        for mark in new.into_iter().map(|m| leader.source.mark(m)) {
            let end = mark.end.map(|end| self.place_of_source(end.bar, end.offset));
            let at = self.place_of_source(mark.at.bar, mark.at.offset);
            if let (Some((row, offset)), true) = (at, end.is_none_or(|end| end.is_some())) {
                let in_copy = |(row, offset): (usize, Time)| rows[row].map(|bar| Place { bar, offset });
                let end = end.flatten().and_then(in_copy);
                out.marks.extend(in_copy((row, offset)).map(|at| content::mark_line(mark, at, end, Interval::UNISON)));
            }
        }
        out.sort();
        out
    }

    /// Repeats and endings that go, and the source's that come in.
    fn barlines(&self) -> (Vec<MarkId>, Vec<SourceMark>) {
        let (mut gone, mut new) = (Vec::new(), Vec::new());
        let Some(leader) = self.leader else { return (gone, new) };
        let decisions = leader.mark_decisions();
        for pair in &leader.alignment.marks {
            let verdict = leader.verdict(pair, &decisions);
            let theirs = pair.source.map(|m| (m, leader.source.mark(m))).filter(|(_, m)| is_at_barline(m));
            let ours = pair.edition.map(|m| leader.edition.mark(m)).filter(|m| is_at_barline(m));
            if verdict == Verdict::Edition {
                continue;
            }
            if let Some(ours) = ours {
                let same = |m: &Mark| {
                    m.sign == ours.sign && m.at.bar == ours.at.bar && m.end.map(|e| e.bar) == ours.end.map(|e| e.bar)
                };
                gone.extend(self.part.marks.iter().position(same));
            }
            let Some((id, theirs)) = theirs.filter(|_| verdict == Verdict::Source) else { continue };
            let there = self.place_of_source(theirs.at.bar, theirs.at.offset);
            let is_there = self.part.marks.iter().enumerate().any(|(own, m)| {
                m.sign == theirs.sign && !gone.contains(&own) && there.is_some() && self.place(m) == there
            });
            if !is_there {
                new.push(id);
            }
        }
        (gone, new)
    }

    /// The row of a mark of this part, and where in it.
    fn place(&self, mark: &Mark) -> Option<(usize, Time)> {
        let row = self.plan.rows().iter().position(|f| f.edition() == Some(mark.at.bar))?;
        Some((row, mark.at.offset))
    }

    /// Where something at a barline of the source comes to stand. The bar may be longer here.
    fn place_of_source(&self, bar: usize, offset: Time) -> Option<(usize, Time)> {
        let row = self.plan.rows().iter().position(|f| f.is_in_result() && f.source() == Some(bar))?;
        let at_end = self.leader.is_some_and(|l| offset >= l.source.bars[bar].length);
        Some((row, self.filled(row).filter(|_| at_end).unwrap_or(offset)))
    }

    /// How long a bar of this part is in the copy, filled up with rests to the leader's.
    fn filled(&self, row: usize) -> Option<Time> {
        let own = self.part.bars[self.plan[row].edition()?].length;
        Some(self.leader.and_then(|l| l.length(row)).map_or(own, |length| own.max(length)))
    }

    /// A right barline stands at the end of its bar, also where that is later.
    fn move_barlines(&self, out: &mut Content) {
        for (row, bar) in content::numbered(self.plan.rows()).into_iter().enumerate() {
            let (Some(bar), Some(edition), Some(end)) = (bar, self.plan[row].edition(), self.filled(row)) else {
                continue;
            };
            let old = self.part.bars[edition].length;
            let at_barline = |m: &MarkLine| match &m.meaning {
                Meaning::Sign(sign) if m.category == Category::Structure => is_drawn(sign),
                _ => m.category == Category::Fermata,
            };
            for line in
                out.marks.iter_mut().filter(|m| old < end && m.at == Place { bar, offset: old } && at_barline(m))
            {
                line.at.offset = end;
            }
            let ends =
                out.marks.iter_mut().filter(|m| m.category == Category::Structure).filter_map(|m| m.end.as_mut());
            ends.filter(|e| old < end && **e == Place { bar, offset: old }).for_each(|e| e.offset = end);
        }
    }
}

/// What a barline is drawn with.
fn is_drawn(sign: &Sign) -> bool {
    matches!(sign, Sign::Repeat { .. } | Sign::Ending(_) | Sign::DoubleBar)
}

fn is_at_barline(mark: &Mark) -> bool {
    matches!(mark.sign, Sign::Repeat { .. })
}
