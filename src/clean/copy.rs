//! The teacher's layer from a marked copy: what is their own goes from the
//! copy's notes to the same notes of the clean copy.

use super::clash::{self, Own};
use super::content::{Content, mark_line};
use super::step::CleanCopy;
use super::{Failure, Sides};
use crate::alignment::{EditionMark, EditionPart, PartAlignment, SourceMark, SourcePart};
use crate::collate::{self, Choice, Layout};
use crate::findings::Subject;
use crate::musicxml::apart::Look;
use crate::musicxml::rewrite::{Composed, Context, Marking, SourceSide};
use crate::musicxml::{Edits, Tree};
use crate::patch::Patch;
use crate::plan::Plan;
use crate::score::{Category, Mark, Score, Sign};
use std::collections::{BTreeMap, BTreeSet};

/// A copy of the edition, of the source or of an earlier clean copy, in any
/// key and with any bar numbers, that a teacher has written marks into.
pub struct MarkedCopy<'a> {
    /// Its document.
    pub tree: &'a Tree<'a>,
    /// What was read from it.
    pub score: &'a Score,
    /// What was unusual in it, in words.
    pub warnings: &'a [String],
}

/// Lays the teacher's marks of a marked copy on a clean copy. Theirs is what
/// neither edition nor source has; in a copy that has few of the editor's marks,
/// which is no copy of the edition, what the source has not. What is another
/// form of theirs, or cannot be played with theirs, gives way, and a warning
/// says so; a mark whose note is gone is told in a warning. Gives the edits, and how many
/// came on.
///
/// # Errors
/// When the copy has no part in common with the music.
pub(super) fn lay_copy(
    CleanCopy { tree, score }: &CleanCopy,
    copy: &MarkedCopy,
    sides: &Sides,
    expected: &mut [Content],
    warnings: &mut Vec<String>,
) -> Result<(Patch, usize), Failure> {
    let pairing = collate::pair(score, copy.score, Choice::default());
    let collation = collate::lay(score, copy.score, pairing, Layout::Printed);
    if collation.parts.is_empty() {
        return Err(Failure::Unsupported(
            "no part of the marked copy matches a part of the edition; is it a copy of this piece?".into(),
        ));
    }
    warnings.extend(copy.warnings.iter().map(|w| format!("your copy: {w}")));
    let (mut edits, mut laid) = (Edits::new(tree), 0);
    let mut known: BTreeSet<OfCopy> = same_marks(sides.source, copy.score).into_iter().map(|m| m.1).collect();
    let in_edition = same_marks(sides.edition, copy.score);
    let additions = additions(sides);
    let theirs = in_edition.iter().filter(|m| additions.contains(&m.0)).count();
    if 2 * theirs >= additions.len() {
        known.extend(in_edition.into_iter().map(|m| m.1));
    } else if theirs > 0 {
        warnings.push(format!(
            "your copy has only {theirs} of the editor's {} marks, so it was not made from the edition; these marks count as yours",
            additions.len()
        ));
    }
    for &lost in &collation.unmatched_source {
        let part = &copy.score.parts[lost];
        let own = (0..part.marks.len()).filter(|m| !known.contains(&(lost, SourceMark::new(*m)))).count();
        if own > 0 {
            warnings.push(format!(
                "your marks: the clean copy has no part for your part {}; its {own} marks are lost",
                part.spoken()
            ));
        }
    }
    let plan = Plan::new(collation.outline.iter().map(super::as_in_edition).collect());
    for alignment in &collation.parts {
        let layer = Layer { part: alignment.edition_part(score), copy: alignment.source_part(copy.score), alignment };
        let side = SourceSide { tree: copy.tree, part: layer.copy, alignment };
        let context = Context::beside(tree, layer.part.part(), &plan, side);
        let rewrite = Composed::new(&context, &mut edits, BTreeMap::new()).marks([]);
        let is_known = |mark: SourceMark| known.contains(&(alignment.source, mark));
        laid += layer.lay(rewrite, is_known, &mut expected[alignment.edition], warnings);
        expected[alignment.edition].sort();
    }
    Ok((edits.finish(), laid))
}

/// A mark of the base, or of the copy, by its part and its place there.
type OfBase = (usize, EditionMark);
type OfCopy = (usize, SourceMark);

/// The marks that a base and a copy have just so, of each side.
fn same_marks(base: &Score, copy: &Score) -> Vec<(OfBase, OfCopy)> {
    let pairing = collate::pair(base, copy, Choice::default());
    let collation = collate::lay(base, copy, pairing, Layout::Printed);
    let of_part = |a: &PartAlignment| {
        let same = a.marks.iter().filter(|pair| pair.same).filter_map(|pair| pair.edition.zip(pair.source));
        same.map(|(ours, theirs)| ((a.edition, ours), (a.source, theirs))).collect::<Vec<_>>()
    };
    collation.parts.iter().flat_map(of_part).collect()
}

/// The marks that the editor added.
fn additions(sides: &Sides) -> BTreeSet<OfBase> {
    let mut out = BTreeSet::new();
    for (alignment, found) in sides.collation.parts.iter().zip(sides.findings) {
        let added = found.findings.iter().filter_map(|f| match f.subject {
            Subject::Mark { edition: Some(mark), source: None } => {
                // By the part that prints it, also where a line of it was laid beside the source.
                let part = sides.edition.printed_part_of(alignment.edition);
                let first = alignment.edition_part(sides.edition).mark(mark).elements.first()?;
                let is = |m: &Mark| m.elements.first() == Some(first);
                Some((part, EditionMark::new(sides.edition.parts[part].marks.iter().position(is)?)))
            }
            _ => None,
        });
        out.extend(added);
    }
    out
}

/// One part of the clean copy beside the marked one.
struct Layer<'a> {
    part: EditionPart<'a>,
    copy: SourcePart<'a>,
    alignment: &'a PartAlignment,
}

impl<'a> Layer<'a> {
    /// Lays what is the teacher's; gives how many marks came on.
    fn lay(
        &self,
        mut rewrite: Marking,
        is_known: impl Fn(SourceMark) -> bool,
        expected: &mut Content,
        warnings: &mut Vec<String>,
    ) -> usize {
        // Signatures are the music's, not the teacher's.
        let wanted = |mark: SourceMark| !is_known(mark) && self.copy[mark].category != Category::Signature;
        let mut own: Vec<(SourceMark, Option<EditionMark>)> = Vec::new();
        for pair in self.alignment.marks.iter().filter(|pair| !pair.same) {
            own.extend(pair.source.filter(|m| wanted(*m)).map(|m| (m, pair.edition)));
        }
        // Grace notes first: other marks may stand on them.
        own.sort_by_key(|(mark, _)| (self.copy[*mark].category != Category::Grace, *mark));
        let (mut to_lay, mut gone) = (Vec::new(), BTreeSet::new());
        for (mark, in_its_place) in own {
            let mark = self.copy.mark(mark);
            let Some((at, end)) = rewrite.landing(mark) else {
                let (told, place) = (clash::told(mark), clash::place(&self.copy, mark));
                warnings.push(format!("your {told} is lost: the clean copy has no note for it ({place} of your copy)"));
                continue;
            };
            let note = self.copy.carrier(mark.at).and_then(|n| self.alignment.source_to_edition[self.copy.head(n)]);
            let own = Own {
                category: mark.category,
                words: matches!(mark.sign, Sign::Words { .. }),
                at,
                end,
                voice: note.map(|n| self.part[n].voice),
                staff: note.map_or(mark.staff, |n| self.part[n].staff),
            };
            gone.extend(in_its_place);
            gone.extend(self.part.marks().filter(|(_, m)| clash::gives_way(m, &own)).map(|(id, _)| id));
            to_lay.push((mark, at, end));
        }
        let goes = |mark| gone.contains(&EditionMark::new(mark));
        clash::make_way(self.part.part(), goes, &mut rewrite, expected, warnings);
        let mut rewrite = rewrite.inserter();
        rewrite.insert_source_marks(&to_lay.iter().map(|(mark, ..)| (*mark, Look::default())).collect::<Vec<_>>());
        rewrite.finish();
        for (mark, at, end) in &to_lay {
            expected.marks.push(mark_line(mark, *at, *end, self.alignment.interval));
        }
        to_lay.len()
    }
}
