//! From findings to a clean text: what is undone, what stays, and the proof.

mod adapt;
mod apart;
mod clash;
mod copy;
mod decisions;
mod expect;
mod fit;
mod job;
mod layer;
mod looks;
mod marks;
mod policy;
mod proof;
mod provenance;
mod settle;
mod sheet;
mod toml_fault;
mod transpose;
mod way;
mod work;
mod written_for;

use crate::collate::Collation;
use crate::findings::PartFindings;
use crate::musicxml::{self, Plan, Tree};
use crate::patch::Overlap;
use crate::pitch::Interval;
use crate::score::Score;
use std::collections::BTreeSet;

pub use adapt::{Wishes, adapt};
pub use apart::{Apart, TableError};
pub use copy::{MarkedCopy, lay_copy};
pub use decisions::{DecisionError, Decisions, Names, names as finding_names, write as decisions_file};
pub use fit::{Burden, OnInstrument, Player};
pub use layer::{LayError, Layered, Lifted, lay, lift};
pub use policy::{Additions, Decision, Policy, Restore};
pub use proof::{Difference, Proof};
pub use provenance::{Changes, Origin, Provenance};
pub use sheet::{BarBeat, Sheet, SheetError, SheetMark};
pub use transpose::NewKey;
pub use way::Way;
pub use written_for::{PartFor, Written};

/// How much was done.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Summary {
    pub marks_removed: usize,
    pub marks_restored: usize,
    pub notes_restored: usize,
    pub bars_rebuilt: usize,
    pub bars_inserted: usize,
    pub bars_removed: usize,
    /// Findings of which the copy has the source's reading.
    pub undone: usize,
    /// Findings that were left as the edition has them.
    pub kept: usize,
    /// Additions that stay, but set apart.
    pub marks_apart: usize,
    /// Parts of the edition that were not cleaned.
    pub parts_left: usize,
}

impl Summary {
    /// For a copy's provenance, with so many marks of the teacher's.
    fn changes(&self, laid: usize) -> Changes {
        Changes { undone: self.undone, kept: self.kept, apart: self.marks_apart, laid }
    }

    pub fn is_nothing(&self) -> bool {
        Summary { kept: 0, undone: 0, parts_left: 0, ..self.clone() } == Summary::default()
    }
}

/// A clean text, proved.
#[derive(Debug)]
pub struct Cleaned {
    pub text: String,
    pub summary: Summary,
    pub proof: Proof,
    pub warnings: Vec<String>,
    /// By how much all of it was moved at last.
    pub moved: Option<Interval>,
    /// Which way it went to its key, where both were weighed.
    pub way: Option<Way>,
    /// How parts lie on the instruments that they are meant for.
    pub on: Vec<OnInstrument>,
    /// For whom a part was written at last.
    pub written: Option<Written>,
    /// What became of every finding, part by part.
    pub decisions: Vec<Vec<Decision>>,
    /// The rows of the outline whose bar went or came back.
    pub changed_rows: BTreeSet<usize>,
    pub additions: Additions,
}

/// Why there is no clean text.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// Two changes met on the same bytes: a fault of ours.
    #[error("the changes to the edition overlap ({0})")]
    Overlap(#[from] Overlap),
    /// The text that came out cannot be read.
    #[error("the clean copy does not read back: {0}")]
    Unreadable(musicxml::Error),
    /// The text that came out is not what it should be.
    #[error("the clean copy is not what it should be: {}", list(.0))]
    Unproved(Vec<Difference>),
    #[error(transparent)]
    Decision(#[from] DecisionError),
    #[error("{0}")]
    Unsupported(String),
}

fn list(differences: &[Difference]) -> String {
    let shown: Vec<String> = differences.iter().take(5).map(Difference::to_string).collect();
    let more = differences.len().saturating_sub(shown.len());
    if more > 0 { format!("{}; and {more} more", shown.join("; ")) } else { shown.join("; ") }
}

/// Both sides of a cleaning, read and laid beside each other.
#[derive(Clone, Copy)]
pub struct Sides<'a, 'i> {
    pub edition_tree: &'a Tree<'i>,
    pub edition: &'a Score,
    pub source_tree: &'a Tree<'i>,
    pub source: &'a Score,
    pub collation: &'a Collation,
    pub findings: &'a [PartFindings],
}

/// Makes the clean text and proves it: read back, its notes and marks are the
/// source's, the kept additions and nothing else; cleaned again, it stays.
pub fn clean(sides: Sides, policy: &Policy) -> Result<Cleaned, Failure> {
    let mut work = work::work(sides, policy)?;
    let old = sides.edition_tree.text();
    let text = if work.plan.is_empty() {
        old.to_string()
    } else {
        if let Some(provenance) = &policy.provenance {
            let changes = Changes {
                undone: work.summary.undone,
                kept: work.summary.kept,
                apart: work.summary.marks_apart,
                laid: 0,
            };
            musicxml::sign(&mut work.plan, &provenance.description(), &provenance.field(policy, changes));
        }
        std::mem::replace(&mut work.plan, Plan::new(sides.edition_tree)).finish().apply(old)?
    };
    let proof = proof::prove_clean(sides, policy, &text, &mut work)?;
    let work::Work { summary, warnings, decisions, changed_rows, .. } = work;
    let additions = policy.additions;
    Ok(Cleaned {
        text,
        summary,
        proof,
        warnings,
        decisions,
        changed_rows,
        additions,
        moved: None,
        way: None,
        on: Vec::new(),
        written: None,
    })
}
