//! From findings to a clean text: what is undone, what stays, and the proof.

mod apart;
mod clash;
mod copy;
mod decisions;
mod expect;
mod job;
mod layer;
mod looks;
mod marks;
mod policy;
mod proof;
mod provenance;
mod sheet;
mod toml_fault;

use crate::collate::{BarPair, Collation};
use crate::findings::PartFindings;
use crate::musicxml::rewrite::{Fate, PartRewrite};
use crate::musicxml::{self, Input, Plan, Tree};
use crate::patch::Overlap;
use crate::score::Score;
use std::collections::{BTreeMap, BTreeSet};

pub use apart::{Apart, TableError};
pub use copy::{MarkedCopy, lay_copy};
use decisions::Decided;
pub use decisions::{DecisionError, Decisions, Names, names as finding_names, write as decisions_file};
use job::PartJob;
pub use layer::{LayError, Layered, Lifted, lay, lift};
pub use policy::{Additions, Decision, Policy, Restore};
pub use proof::{Difference, Proof};
pub use provenance::{Changes, Origin, Provenance};
pub use sheet::{BarBeat, Sheet, SheetError, SheetMark};

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
}

impl Summary {
    pub fn is_nothing(&self) -> bool {
        Summary { kept: 0, undone: 0, ..self.clone() } == Summary::default()
    }
}

/// A clean text, proved.
#[derive(Debug)]
pub struct Cleaned {
    pub text: String,
    pub summary: Summary,
    pub proof: Proof,
    pub warnings: Vec<String>,
    /// What became of every finding, part by part.
    pub decisions: Vec<Vec<Decision>>,
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
/// source's, the kept additions and nothing else.
pub fn clean(sides: Sides, policy: &Policy) -> Result<Cleaned, Failure> {
    let mut plan = Plan::new(sides.edition_tree);
    let mut summary = Summary::default();
    let mut expected = Vec::new();
    let mut decided = decisions::decide(sides.edition, sides.collation, sides.findings, policy)?;
    let mut warnings = std::mem::take(&mut decided.warnings);
    let shape = shape(sides, &kept_rows(sides, &decided), policy.restores(Restore::Passages));
    let mut final_decisions = vec![Vec::new(); sides.findings.len()];
    refuse_new_bars_in_timewise(sides, &shape)?;
    for (index, part) in sides.edition.parts.iter().enumerate() {
        let at = sides.collation.parts.iter().position(|a| a.edition == index);
        let Some(at) = at else {
            let changed = shape.iter().any(|f| matches!(f, Fate::Drop { .. } | Fate::Fresh { .. }));
            if changed {
                warnings.push(format!(
                    "part {}: it has no source; where bars came in, it rests, and where bars went, its own went too",
                    part.id
                ));
            }
            let mut rewrite = PartRewrite::new(&mut plan, part, None, &shape);
            rewrite.compose_bars(BTreeMap::new(), false);
            rewrite.finish();
            expected.push(expect::unmatched(part, &shape));
            continue;
        };
        let job = PartJob::new(&sides, at, policy, std::mem::take(&mut decided.findings[at]), &shape, &mut warnings);
        job.rewrite(&mut plan, &mut summary, &mut warnings);
        expected.push(job.expected());
        final_decisions[at] = job.decisions;
    }
    summary.bars_inserted = shape.iter().filter(|f| matches!(f, Fate::Fresh { .. })).count();
    summary.bars_removed = shape.iter().filter(|f| matches!(f, Fate::Drop { .. })).count();
    let old = sides.edition_tree.text();
    if let Some(provenance) = policy.provenance.as_ref().filter(|_| !plan.is_empty()) {
        let changes = Changes { undone: summary.undone, kept: summary.kept, apart: summary.marks_apart, laid: 0 };
        musicxml::sign(&mut plan, &provenance.description(), &provenance.field(policy, changes));
    }
    let text = if plan.is_empty() { old.to_string() } else { plan.finish().apply(old)? };
    let proof = proof::prove(sides.edition_tree.input, &text, &expected)?;
    Ok(Cleaned { text, summary, proof, warnings, decisions: final_decisions, additions: policy.additions })
}

/// Reads a text that we made under the name of the input that it came from.
fn read_back(like: &Input, text: &str) -> Result<Score, Failure> {
    let input = like.with_text(text.to_string());
    let tree = Tree::parse(&input).map_err(Failure::Unreadable)?;
    Ok(musicxml::read(&tree).map_err(Failure::Unreadable)?.score)
}

/// Rows that stay as the edition has them, because a passage or a note in them is kept.
fn kept_rows(sides: Sides, decided: &Decided) -> BTreeSet<usize> {
    let mut out = BTreeSet::new();
    let parts = sides.collation.parts.iter().zip(sides.findings);
    for (index, (alignment, found)) in parts.enumerate() {
        let kept = found.passages.iter().zip(&decided.kept_passages[index]).filter(|(_, kept)| **kept);
        for stretch in kept.filter_map(|(p, _)| p.stretch).map(|s| &alignment.stretches[s]) {
            out.extend(stretch.outline.0..=stretch.outline.1);
        }
        let notes = found.findings.iter().zip(&decided.findings[index]);
        out.extend(notes.filter(|(f, d)| f.category.is_of_notes() && **d == Decision::Keep).map(|(f, _)| f.row));
    }
    out
}

/// What becomes of each row where only one side has a bar.
fn shape(sides: Sides, kept: &BTreeSet<usize>, restored: bool) -> Vec<Fate> {
    let fate = |(row, pair): (usize, &BarPair)| {
        let restored = restored && !kept.contains(&row);
        match (pair.edition, pair.source) {
            (Some(edition), None) if restored => Fate::Drop { edition },
            (Some(edition), source) => Fate::Keep { edition, source, shift: pair.shift },
            (None, Some(source)) if restored => Fate::Fresh { source },
            (None, _) => Fate::Absent,
        }
    };
    sides.collation.outline.iter().enumerate().map(fate).collect()
}

fn refuse_new_bars_in_timewise(sides: Sides, shape: &[Fate]) -> Result<(), Failure> {
    let fresh = shape.iter().any(|f| matches!(f, Fate::Fresh { .. }));
    if sides.edition_tree.is_timewise() && fresh {
        return Err(Failure::Unsupported(
            "the edition is a timewise score, into which whole bars cannot be put back; save it as partwise, or leave \
             the passages as they are with --no-restore passages"
                .into(),
        ));
    }
    Ok(())
}
