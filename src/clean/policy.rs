//! What the user wants of a cleaning, and what follows from it for each finding.

use super::apart::Apart;
use super::{Decisions, Provenance};
use crate::findings::{Finding, PassageKind, Status};
use crate::pitch::Interval;
use crate::score::Category;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// What can be restored from the source, or left as the edition has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Restore {
    Octaves,
    Passages,
    Readings,
    Omissions,
}

impl Restore {
    pub const ALL: [Restore; 4] = [Restore::Octaves, Restore::Passages, Restore::Readings, Restore::Omissions];

    pub fn name(self) -> &'static str {
        match self {
            Restore::Octaves => "octaves",
            Restore::Passages => "passages",
            Restore::Readings => "readings",
            Restore::Omissions => "omissions",
        }
    }
}

/// What becomes of an editor's added marks where nothing else is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Decision {
    /// The editor's intervention goes: the copy has what the source has.
    Out,
    /// The copy has what the edition has.
    Keep,
    /// An added mark stays, set apart from the source's.
    Bracket,
}

impl Decision {
    pub fn name(self) -> &'static str {
        match self {
            Decision::Out => "out",
            Decision::Keep => "keep",
            Decision::Bracket => "bracket",
        }
    }
}

/// What the user wants kept of the edition.
#[derive(Debug, Clone, Default)]
pub struct Policy {
    /// Categories of additions that stay in.
    pub keep: BTreeSet<Category>,
    /// What is not restored.
    pub leave: BTreeSet<Restore>,
    pub additions: Additions,
    /// How additions are set apart.
    pub apart: Apart,
    /// Findings decided one by one, before all else.
    pub decisions: Option<Decisions>,
    /// By how much the whole copy moves at last.
    pub transpose: Option<Interval>,
    /// The instrument whose range a part was then made to fit.
    pub fit: Option<String>,
    /// The instrument that a part was then written for.
    pub written_for: Option<String>,
    /// Where a bar cannot be undone provably, nothing is written.
    pub strict: bool,
    /// What the copy is to say of its making, if anything changes.
    pub provenance: Option<Provenance>,
}

impl Policy {
    pub(super) fn restores(&self, what: Restore) -> bool {
        !self.leave.contains(&what)
    }

    /// What becomes of a finding; `in_stretch`: it belongs to a passage of other music.
    pub(super) fn decide(&self, finding: &Finding, in_stretch: bool) -> Decision {
        if self.undoes(finding, in_stretch) {
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
    pub(super) fn left_by(&self, finding: &Finding, passage: Option<PassageKind>) -> Option<Restore> {
        let kind = passage.filter(|kind| *kind != PassageKind::RevoicedChords).map(|kind| match kind {
            PassageKind::OctaveDisplacement => Restore::Octaves,
            PassageKind::WrittenOutOrnament => Restore::Readings,
            _ => Restore::Passages,
        });
        kind.or(match finding.status {
            _ if finding.category == Category::Octave => Some(Restore::Octaves),
            _ if finding.category.is_of_notes() => Some(Restore::Readings),
            Status::Added => None,
            Status::Omitted => Some(Restore::Omissions),
            Status::Altered => Some(Restore::Readings),
        })
    }

    fn undoes(&self, finding: &Finding, in_stretch: bool) -> bool {
        let of_notes = finding.category.is_of_notes();
        match finding.status {
            _ if finding.category == Category::Octave => self.restores(Restore::Octaves),
            _ if of_notes && in_stretch => self.restores(Restore::Passages),
            _ if of_notes => self.restores(Restore::Readings),
            Status::Added if in_stretch && self.restores(Restore::Passages) => true,
            Status::Added => {
                let out = self.additions == Additions::Strip || self.apart.takes_out(finding.category);
                out && !self.keep.contains(&finding.category)
            }
            Status::Omitted => self.restores(Restore::Omissions) && (!in_stretch || self.restores(Restore::Passages)),
            Status::Altered => self.restores(Restore::Readings),
        }
    }
}
