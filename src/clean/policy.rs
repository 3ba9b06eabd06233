//! What the user wants of a cleaning, and what follows from it for each finding.

use super::Decisions;
use super::apart::Apart;
use crate::findings::{Finding, Passage, PassageKind, Status};
use crate::score::Category;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use strum::IntoStaticStr;

/// What can be restored from the source, or left as the edition has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, IntoStaticStr)]
#[strum(serialize_all = "lowercase")]
pub enum Restore {
    /// Octave displacements.
    Octaves,
    /// Passages that are the edition's alone, or left out of it.
    Passages,
    /// Notes that differ.
    Readings,
    /// What the edition left out.
    Omissions,
}

impl Restore {
    /// As the option says it.
    pub fn name(self) -> &'static str {
        self.into()
    }
}

/// What becomes of an editor's added marks where nothing else is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, strum::Display)]
#[strum(serialize_all = "lowercase")]
pub enum Additions {
    /// They are taken out.
    #[default]
    Strip,
    /// They stay, set apart as critical editions do.
    Bracket,
    /// They stay, set apart and coloured, and so is what was put back.
    Color,
}

/// What becomes of one finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, IntoStaticStr)]
#[serde(rename_all = "lowercase")]
#[strum(serialize_all = "lowercase")]
pub enum Decision {
    /// The editor's intervention goes: the copy has what the source has.
    Out,
    /// The copy has what the edition has.
    Keep,
    /// An added mark stays, set apart from the source's.
    Bracket,
}

impl Decision {
    /// As a file of decisions says it.
    pub fn name(self) -> &'static str {
        self.into()
    }
}

/// What the user wants kept of the edition.
#[derive(Debug, Clone, Default)]
pub struct Policy {
    /// Categories of additions that stay in.
    pub keep: BTreeSet<Category>,
    /// What is not restored.
    pub leave: BTreeSet<Restore>,
    /// What becomes of additions that are not taken out.
    pub additions: Additions,
    /// How additions are set apart.
    pub apart: Apart,
    /// Findings decided one by one, before all else.
    pub decisions: Option<Decisions>,
    /// The line of the edition that the copy holds alone, as it is spoken of.
    pub alone: Option<String>,
    /// Where a bar cannot be undone provably, nothing is written.
    pub strict: bool,
}

impl Policy {
    pub(super) fn restores(&self, what: Restore) -> bool {
        !self.leave.contains(&what)
    }

    /// Whether a passage stays as the edition has it, with all that is in it.
    pub(super) fn keeps(&self, passage: &Passage) -> bool {
        kept_by(passage.kind).is_some_and(|kind| !self.restores(kind))
    }

    /// What becomes of a finding of which nobody decided. One wish, one rule:
    /// what is inside a kept passage stays, notes and marks alike, whether the
    /// options keep it or a decision does. Of a passage that goes, its own
    /// notes go, and with other music what the editor added to it; all else is
    /// decided as outside of it.
    pub(super) fn decide(&self, finding: &Finding, passage: Option<(&Passage, bool)>) -> Decision {
        let undone = match passage {
            Some((_, true)) => return Decision::Keep,
            Some((passage, false)) => goes_with(finding, passage) || self.undoes(finding),
            None => self.undoes(finding),
        };
        if undone {
            return Decision::Out;
        }
        let apart = self.additions != Additions::Strip && Policy::can_be_apart(finding);
        if apart && !self.keep.contains(&finding.category) { Decision::Bracket } else { Decision::Keep }
    }

    /// Whether a finding is a mark that can be set apart: one that the editor added.
    pub fn can_be_apart(finding: &Finding) -> bool {
        finding.status == Status::Added && !finding.category.is_of_notes()
    }

    /// What on the command line leaves a finding as it is; `None` for an
    /// addition that its category keeps.
    pub(super) fn left_by(finding: &Finding, passage: Option<PassageKind>) -> Option<Restore> {
        passage.and_then(kept_by).or(match finding.status {
            _ if finding.category == Category::Octave => Some(Restore::Octaves),
            _ if finding.category.is_of_notes() => Some(Restore::Readings),
            Status::Added => None,
            Status::Omitted => Some(Restore::Omissions),
            Status::Altered => Some(Restore::Readings),
        })
    }

    fn undoes(&self, finding: &Finding) -> bool {
        match Policy::left_by(finding, None) {
            Some(kind) => self.restores(kind),
            None => {
                let out = self.additions == Additions::Strip || self.apart.takes_out(finding.category);
                out && !self.keep.contains(&finding.category)
            }
        }
    }
}

/// What keeps a passage where it is not restored; none where its notes are decided one by one.
fn kept_by(kind: PassageKind) -> Option<Restore> {
    match kind {
        PassageKind::RevoicedChords => None,
        PassageKind::OctaveDisplacement => Some(Restore::Octaves),
        PassageKind::WrittenOutOrnament => Some(Restore::Readings),
        _ => Some(Restore::Passages),
    }
}

/// Whether a finding is the passage itself: its notes, and what was added to
/// other music.
fn goes_with(finding: &Finding, passage: &Passage) -> bool {
    match passage.kind {
        PassageKind::OctaveDisplacement => finding.category == Category::Octave,
        PassageKind::RevoicedChords => false,
        _ if finding.category.is_of_notes() => true,
        _ => passage.other_music.is_some() && finding.status == Status::Added,
    }
}
