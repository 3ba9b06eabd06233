//! From findings to a clean text: what is undone, what stays, and the proof.

mod adapt;
mod alone;
mod apart;
mod carry;
mod chords;
mod clash;
mod coherent;
mod compare;
mod content;
mod copy;
mod decisions;
mod direction;
mod expect;
mod fingerings;
mod fit;
mod follow;
mod job;
mod layer;
mod left;
mod looks;
mod made_for;
mod marks;
mod merge;
mod outcome;
mod own;
mod policy;
mod proof;
mod provenance;
mod rounds;
mod settle;
mod sheet;
mod step;
mod toml_fault;
mod transpose;
mod work;
mod written_for;

use crate::alignment::{EditionBar, SourceBar};
use crate::collate::{BarPair, Collation, LineError};
use crate::findings::{PartFindings, Status};
use crate::musicxml::{self, Edits, Tree};
use crate::patch::Overlap;
use crate::pitch::Interval;
use crate::plan::{BarPlan, Plan};
use crate::score::{Place, Score};
use content::Content;
use rounds::{Fault, Field, LeftRows};
use std::collections::BTreeSet;
use step::Steps;
use work::Work;

pub use adapt::Wishes;
pub use alone::alone;
pub use apart::Apart;
pub use carry::{Carried, PlainCopy, carry, edition_bars};
pub use compare::{Difference, Proof};
pub use copy::MarkedCopy;
pub use decisions::{
    Decided, DecisionError, Decisions, Names, Said, decide, names as finding_names, write as decisions_file,
};
pub use direction::Direction;
pub use fit::{OnInstrument, Player};
pub use layer::{Lifted, OwnMarks, lift};
pub use left::LeftBar;
pub use outcome::{Outcomes, Treatment, outcomes};
pub use own::{for_its_note, found_on, sheet_on, without_place};
pub use policy::{Additions, Decision, Policy, Restore};
#[cfg(feature = "engrave")]
pub use provenance::key;
pub use provenance::{Origin, Provenance, brackets};
pub use sheet::{BarBeat, Sheet, SheetError, SheetMark};
pub use step::{CleanCopy, Texts};
pub use transpose::NewKey;
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
    /// Findings that were to stay, but have no place in the copy.
    pub lost: usize,
    /// Parts of the edition that were not cleaned.
    pub parts_left: usize,
}

impl Summary {
    pub fn is_nothing(&self) -> bool {
        Summary { kept: 0, undone: 0, parts_left: 0, ..self.clone() } == Summary::default()
    }
}

/// What was done to a clean copy, and its proof.
#[derive(Debug, Default)]
pub struct Cleaned {
    /// How much was done.
    pub summary: Summary,
    /// Findings of what the edition alone has that were undone.
    pub taken_out: usize,
    /// Findings of what the edition lacks or has otherwise that were undone.
    pub put_back: usize,
    /// What was compared in reading back.
    pub proof: Proof,
    /// What the user should know, in sentences.
    pub warnings: Vec<String>,
    /// By how much all of it was moved at last.
    pub moved: Option<Interval>,
    /// Which way it went to its key, where both were weighed.
    pub direction: Option<Direction>,
    /// How parts lie on the instruments that they are meant for.
    pub on: Vec<OnInstrument>,
    /// For whom a part was written at last.
    pub written: Option<Written>,
    /// What became of every finding, part by part.
    pub decisions: Vec<Vec<Decision>>,
    /// And why it could not be kept, where it was to be.
    pub lost: Vec<Vec<Option<String>>>,
    /// The rows of the outline whose bar went or came back.
    pub changed_rows: BTreeSet<usize>,
    /// The row of each bar of the copy.
    pub rows: Vec<usize>,
    /// What became of additions that stay.
    pub additions: Additions,
    /// The bars that were to be changed and stay as the edition has them.
    pub left: Vec<LeftBar>,
    /// The line of the edition that it holds alone, as it is spoken of.
    pub alone: Option<String>,
    /// What was taken out of the credits, since it tells of the editor.
    pub credits: Vec<String>,
    /// How many of the user's own marks were laid on; `None` where there are none.
    pub laid: Option<usize>,
}

/// Whether a warning tells that something gave way to the user's marks, or fits its note no more.
pub(crate) fn tells_of_loss(warning: &str) -> bool {
    warning.ends_with(clash::REPLACED) || fingerings::is_told(warning)
}

/// Why there is no clean text.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// Two changes met on the same bytes: a fault of ours.
    #[error("the changes to the edition overlap ({0})")]
    Overlap(#[from] Overlap),
    /// The text that came out cannot be read.
    #[error("the clean copy cannot be read back: {0}")]
    Unreadable(musicxml::Error),
    /// The text that came out is not what it should be.
    #[error("the clean copy is wrong: {}", list(.0))]
    Unproved(Vec<Difference>),
    /// There is no such line to be written alone.
    #[error(transparent)]
    Line(Box<LineError>),
    /// The decisions are not of these scores.
    #[error(transparent)]
    Decision(#[from] DecisionError),
    /// A mark of the sheet has no place.
    #[error(transparent)]
    Sheet(#[from] SheetError),
    /// What was wished for cannot be done with this score, for this reason.
    #[error("{0}")]
    Unsupported(String),
    /// A bar would have to stay as the edition has it.
    #[error("{0}; without --strict these bars stay as the edition has them")]
    Left(String),
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

/// Makes a clean copy and proves it: read back, its notes and marks are the
/// source's, the kept additions and nothing else; cleaned again, it stays. What
/// cannot be undone so that all this holds stays as the edition has it, in
/// every part, and is named. Then it does what else is wished for, step by step.
/// The last step lets the copy say where it comes from, if anything changed.
/// Gives the copy, and what was done.
///
/// # Errors
/// When the decisions are not of these scores; with `Policy::strict`, where a
/// bar would have to be left; when a wish cannot be fulfilled, or a step cannot
/// be proved.
pub fn clean<'t>(
    sides: Sides,
    policy: &Policy,
    wishes: &Wishes,
    provenance: Option<&Provenance>,
    texts: &'t Texts,
) -> Result<(CleanCopy<'t>, Cleaned), Failure> {
    let source = musicxml::said_of_the_piece(sides.source_tree);
    let steps = Steps { texts, like: sides.edition_tree.input, policy, provenance, source: &source };
    let first = Steps { provenance: provenance.filter(|_| !wishes.change()), ..steps };
    let (copy, mut cleaned) = take_out_and_put_back(sides, first)?;
    let copy = adapt::adapt(steps, sides, copy, &mut cleaned, wishes)?;
    Ok((copy, cleaned))
}

/// The first step: the edition without its editor.
fn take_out_and_put_back<'t>(sides: Sides, steps: Steps<'_, 't>) -> Result<(CleanCopy<'t>, Cleaned), Failure> {
    let policy = steps.policy;
    let lines = merge::parts_of_lines(sides);
    let first = work::work(sides, &lines, policy, &BTreeSet::new())?;
    let wanted = done(&first);
    let refused = refused_in_timewise(sides, &first);
    let written = coherent::Written::of(sides);
    if policy.strict {
        return match refused.values().next() {
            Some(reason) => Err(Failure::Left(format!("the edition is a timewise score, and {reason}"))),
            None => attempt(sides, steps, first, &BTreeSet::new(), &written)
                .map(|(done, _)| done)
                .map_err(|fault| fault.failure),
        };
    }
    let field =
        Field { wanted: wanted.rows(sides).into_keys().collect(), passages: &|row| left::passages_of(sides, row) };
    let told = first.warnings.clone();
    let mut first = Some(first).filter(|_| refused.is_empty());
    let (((copy, mut cleaned), work), rows) = rounds::try_in_rounds(&field, refused, |rows, last| {
        let work = match first.take() {
            Some(first) => first,
            None => work::work(sides, &lines, policy, rows)?,
        };
        if last { Ok(as_it_is(sides, steps, work)?) } else { attempt(sides, steps, work, rows, &written) }
    })?;
    if !rows.is_empty() {
        cleaned.left = wanted.left(sides, &done(&work), &rows);
        // What had to be left with these bars is named with them.
        cleaned.warnings.retain(|w| told.contains(w) || !w.contains(settle::TORN));
    }
    Ok((copy, cleaned))
}

/// What a round does to findings and bars.
fn done(work: &Work) -> left::Wanted {
    left::Wanted::new(work.decisions.clone(), work.changed_rows.clone())
}

/// Whole bars cannot be put back into a timewise score.
fn refused_in_timewise(sides: Sides, work: &Work) -> LeftRows {
    let reason = "whole bars cannot be put back into a timewise score; save it as partwise";
    let fresh = work.plan.rows().iter().enumerate().filter(|(_, plan)| matches!(plan, BarPlan::Fresh { .. }));
    fresh.filter(|_| sides.edition_tree.is_timewise()).map(|(row, _)| (row, reason.to_string())).collect()
}

/// A copy with what was done, and the work behind it.
type Done<'a, 'i, 't> = ((CleanCopy<'t>, Cleaned), Work<'a, 'i>);

/// The edition's own text, in which all was left.
fn as_it_is<'a, 'i, 't>(
    sides: Sides<'a, 'i>,
    steps: Steps<'_, 't>,
    mut work: Work<'a, 'i>,
) -> Result<Done<'a, 'i, 't>, Failure> {
    work.edits = Edits::new(sides.edition_tree);
    let parts = sides.edition.printed();
    let found: usize = sides.findings.iter().map(|found| found.findings.len()).sum();
    work.decisions.iter_mut().flatten().for_each(|d| *d = Decision::Keep);
    work.lost.iter_mut().flatten().for_each(|lost| *lost = None);
    work.summary = Summary { kept: found, parts_left: work.summary.parts_left, ..Summary::default() };
    work.changed_rows.clear();
    work.plan = Plan::new(sides.collation.outline.iter().map(as_in_edition).collect());
    let contents: Vec<Content> = parts.iter().map(Content::of).collect();
    let count = |of: fn(&Content) -> usize| contents.iter().map(of).sum();
    let proof = Proof {
        bars: count(|c| c.bars),
        notes: count(|c| c.notes.len()),
        marks: count(|c| c.marks.len()),
        left: Some(found),
        again: false,
    };
    let copy = steps.texts.read(steps.like, sides.edition_tree.text().to_string())?;
    Ok(((copy, cleaned(sides, &mut work, proof, Additions::Strip, steps.policy)), work))
}

fn as_in_edition(pair: &BarPair) -> BarPlan {
    match pair.edition.map(EditionBar::index) {
        Some(edition) => BarPlan::Keep { edition, source: pair.source.map(SourceBar::index), shift: pair.shift },
        None => BarPlan::Absent,
    }
}

/// One round: the changes made, and the copy proved.
fn attempt<'a, 'i, 't>(
    sides: Sides<'a, 'i>,
    steps: Steps<'_, 't>,
    mut work: Work<'a, 'i>,
    left: &BTreeSet<usize>,
    written: &coherent::Written<'i>,
) -> Result<Done<'a, 'i, 't>, Fault> {
    let policy = steps.policy;
    let old = sides.edition_tree.text();
    let mut credits = Vec::new();
    let text = if work.edits.is_empty() && policy.alone.is_none() {
        old.to_string()
    } else {
        if let Some(provenance) = steps.provenance {
            let mut done = Cleaned { summary: work.summary.clone(), ..Cleaned::default() };
            provenance.sign(&mut work.edits, policy, steps.source, &mut done);
            credits = done.credits;
        }
        let patch = std::mem::replace(&mut work.edits, Edits::new(sides.edition_tree)).finish();
        patch.apply(old).map_err(|overlap| {
            let rows = proof::row_of_byte(sides.edition_tree, sides.edition, overlap.0.start, |bar| {
                Some(sides.collation.edition_row(Place::start_of(bar)))
            });
            let rows = rows.into_iter().map(|row| (row, "two changes meet in one place".to_string())).collect();
            Fault { failure: overlap.into(), rows }
        })?
    };
    let mut copy = steps.texts.read(steps.like, text)?;
    let proof = proof::prove_clean(sides, policy, &mut copy, &mut work, left, written)?;
    let done = Cleaned { credits, ..cleaned(sides, &mut work, proof, policy.additions, policy) };
    Ok(((copy, done), work))
}

fn cleaned(sides: Sides, work: &mut Work, proof: Proof, additions: Additions, policy: &Policy) -> Cleaned {
    let undone = |added: bool| {
        let all = sides
            .findings
            .iter()
            .zip(&work.decisions)
            .flat_map(|(found, decisions)| found.findings.iter().zip(decisions));
        all.filter(|(f, d)| **d == Decision::Out && (f.status == Status::Added) == added).count()
    };
    Cleaned {
        summary: work.summary.clone(),
        taken_out: undone(true),
        put_back: undone(false),
        proof,
        warnings: std::mem::take(&mut work.warnings),
        decisions: work.decisions.clone(),
        lost: work.lost.clone(),
        changed_rows: work.changed_rows.clone(),
        rows: work.rows(),
        additions,
        left: Vec::new(),
        alone: policy.alone.clone(),
        ..Cleaned::default()
    }
}
