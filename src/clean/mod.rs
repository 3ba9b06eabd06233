//! From findings to a clean text: what is undone, what stays, and the proof.

mod expect;
mod layer;
mod proof;
mod sheet;

use crate::collate::{Collation, MarkPair, PartAlignment};
use crate::findings::{Finding, PartFindings, Status, Subject};
use crate::musicxml::rewrite::{Fate, PartRewrite, SourceSide};
use crate::musicxml::{self, Input, Plan, Tree};
use crate::patch::Overlap;
use crate::score::{Category, MarkId, NoteId, Part, Score};
use std::collections::{BTreeMap, BTreeSet, HashMap};

pub use layer::{LayError, Layered, Lifted, lay, lift};
pub use proof::{Difference, Proof};
pub use sheet::{BarBeat, Sheet, SheetError, SheetMark};

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

/// What the user wants kept of the edition.
#[derive(Debug, Clone, Default)]
pub struct Policy {
    /// Categories of additions that stay in.
    pub keep: BTreeSet<Category>,
    /// What is not restored.
    pub leave: BTreeSet<Restore>,
}

impl Policy {
    fn restores(&self, what: Restore) -> bool {
        !self.leave.contains(&what)
    }

    /// Whether a finding is undone in the clean copy.
    fn undoes(&self, finding: &Finding, in_stretch: bool) -> bool {
        let of_notes = finding.category.is_of_notes();
        match finding.status {
            _ if finding.category == Category::Octave => self.restores(Restore::Octaves),
            _ if of_notes && in_stretch => self.restores(Restore::Passages),
            _ if of_notes => self.restores(Restore::Readings),
            Status::Added if in_stretch && self.restores(Restore::Passages) => true,
            Status::Added => !self.keep.contains(&finding.category),
            Status::Omitted => self.restores(Restore::Omissions) && (!in_stretch || self.restores(Restore::Passages)),
            Status::Altered => self.restores(Restore::Readings),
        }
    }
}

/// How much was done.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Summary {
    pub marks_removed: usize,
    pub marks_restored: usize,
    pub notes_restored: usize,
    pub bars_rebuilt: usize,
    pub bars_inserted: usize,
    pub bars_removed: usize,
    /// Findings that were left as the edition has them.
    pub kept: usize,
}

impl Summary {
    pub fn is_nothing(&self) -> bool {
        Summary { kept: 0, ..self.clone() } == Summary::default()
    }
}

/// A clean text, proved.
#[derive(Debug)]
pub struct Cleaned {
    pub text: String,
    pub summary: Summary,
    pub proof: Proof,
    pub warnings: Vec<String>,
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
    let mut warnings = Vec::new();
    let mut expected = Vec::new();
    let restored = policy.restores(Restore::Passages);
    let shape = shape(sides.collation, restored);
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
        let job = PartJob::new(&sides, at, policy, &shape, &mut warnings);
        job.rewrite(&mut plan, &mut summary, &mut warnings);
        expected.push(job.expected());
    }
    summary.bars_inserted = shape.iter().filter(|f| matches!(f, Fate::Fresh { .. })).count();
    summary.bars_removed = shape.iter().filter(|f| matches!(f, Fate::Drop { .. })).count();
    let old = sides.edition_tree.text();
    let text = if plan.is_empty() { old.to_string() } else { plan.finish().apply(old)? };
    let proof = proof::prove(sides.edition_tree.input, &text, &expected)?;
    Ok(Cleaned { text, summary, proof, warnings })
}

/// Reads a text that we made under the name of the input that it came from.
fn read_back(like: &Input, text: &str) -> Result<Score, Failure> {
    let input = like.with_text(text.to_string());
    let tree = Tree::parse(&input).map_err(Failure::Unreadable)?;
    Ok(musicxml::read(&tree).map_err(Failure::Unreadable)?.score)
}

/// What becomes of each row where only one side has a bar.
fn shape(collation: &Collation, restored: bool) -> Vec<Fate> {
    collation
        .outline
        .iter()
        .map(|pair| match (pair.edition, pair.source) {
            (Some(edition), None) if restored => Fate::Drop { edition },
            (Some(edition), source) => Fate::Keep { edition, source, shift: pair.shift },
            (None, Some(source)) if restored => Fate::Fresh { source },
            (None, _) => Fate::Absent,
        })
        .collect()
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

/// One part of the edition with its source.
struct PartJob<'s, 'a, 'i> {
    sides: &'s Sides<'a, 'i>,
    alignment: &'a PartAlignment,
    edition: &'a Part,
    source: &'a Part,
    findings: &'a [Finding],
    /// For each finding whether the clean copy undoes it.
    undone: Vec<bool>,
    fates: Vec<Fate>,
}

impl<'s, 'a, 'i> PartJob<'s, 'a, 'i> {
    fn new(sides: &'s Sides<'a, 'i>, at: usize, policy: &Policy, shape: &[Fate], warnings: &mut Vec<String>) -> Self {
        let alignment = &sides.collation.parts[at];
        let found = &sides.findings[at];
        let in_stretch = |f: &Finding| f.passage.is_some_and(|p| found.passages[p].stretch.is_some());
        let undone = found.findings.iter().map(|f| policy.undoes(f, in_stretch(f))).collect();
        let mut job = PartJob {
            sides,
            alignment,
            edition: &sides.edition.parts[alignment.edition],
            source: &sides.source.parts[alignment.source],
            findings: &found.findings,
            undone,
            fates: shape.to_vec(),
        };
        job.settle_fates(warnings);
        job
    }

    /// Bars in which the notes themselves are others are rebuilt as a whole.
    fn settle_fates(&mut self, warnings: &mut Vec<String>) {
        let mut wanted: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (index, finding) in self.findings.iter().enumerate() {
            for row in self.rebuilt_rows(finding) {
                wanted.entry(row).or_default().push(index);
            }
        }
        for (row, findings) in wanted {
            let Fate::Keep { edition, source: Some(source), .. } = self.fates[row] else {
                continue;
            };
            if source >= self.source.bars.len() {
                continue;
            }
            if findings.iter().all(|f| self.undone[*f]) {
                self.fates[row] = Fate::Rebuild { edition, source };
            } else if findings.iter().any(|f| self.undone[*f]) {
                warnings.push(format!(
                    "part {}, bar {}: left as it is, because something in it is to be left and its notes cannot be \
                     restored one by one",
                    self.edition.id, self.edition.bars[edition].number
                ));
                for finding in findings {
                    self.undone[finding] = false;
                }
            }
        }
        // Marks that only a rebuilt or new bar could carry stay out with it.
        for (index, finding) in self.findings.iter().enumerate() {
            if finding.status == Status::Omitted && matches!(self.fates[finding.row], Fate::Absent) {
                self.undone[index] = false;
            }
        }
    }

    /// The rows that must be rebuilt to undo a finding; none where single
    /// elements can be put right.
    fn rebuilt_rows(&self, finding: &Finding) -> Vec<usize> {
        match finding.subject {
            Subject::Tie(tie) if !self.tie_is_written(tie) => {
                let tie = &self.alignment.ties[tie];
                let ours = tie.edition.iter().flat_map(|n| self.edition.tied(*n));
                let ours = ours.map(|n| self.sides.collation.edition_row(self.edition.notes[n].bar));
                let theirs = tie.source.iter().flat_map(|n| self.source.tied(*n));
                let theirs = theirs.map(|n| self.sides.collation.source_row(self.source.notes[n].bar));
                ours.chain(theirs).collect::<BTreeSet<_>>().into_iter().collect()
            }
            Subject::Note { .. } if matches!(finding.category, Category::Note | Category::Rhythm) => {
                self.rows_of_notes(finding)
            }
            Subject::Realisation(_) => vec![finding.row],
            _ => Vec::new(),
        }
    }

    /// All rows that a changed note reaches into by its ties.
    fn rows_of_notes(&self, finding: &Finding) -> Vec<usize> {
        let Subject::Note { edition, source } = finding.subject else {
            return Vec::new();
        };
        let mut rows = BTreeSet::from([finding.row]);
        if let Some(e) = edition {
            rows.extend(self.edition.tied(e).map(|n| self.sides.collation.edition_row(self.edition.notes[n].bar)));
        }
        if let Some(s) = source {
            rows.extend(self.source.tied(s).map(|n| self.sides.collation.source_row(self.source.notes[n].bar)));
        }
        rows.into_iter().collect()
    }

    /// Whether a tie change is one of ties alone: all notes are written.
    fn tie_is_written(&self, tie: usize) -> bool {
        let tie = &self.alignment.ties[tie];
        if !tie.added {
            return true;
        }
        let held: Vec<NoteId> = self.edition.tied(tie.edition[0]).collect();
        let start = self.edition.onset(held[0]);
        let from = self.source.onset(tie.source[0]);
        tie.source.iter().skip(1).all(|s| {
            let time = self.source.onset(*s) - from + start;
            held.iter().any(|n| self.edition.onset(*n) == time)
        })
    }

    fn rewrite(&self, plan: &mut Plan<'a, 'i>, summary: &mut Summary, warnings: &mut Vec<String>) {
        let side = SourceSide { tree: self.sides.source_tree, part: self.source, alignment: self.alignment };
        let mut rewrite = PartRewrite::new(plan, self.edition, Some(side), &self.fates);
        let signatures = self.with(|f| f.category == Category::Signature).any(|(_, undone)| undone);
        rewrite.compose_bars(self.overrides(), signatures);
        summary.bars_rebuilt += self.fates.iter().filter(|f| matches!(f, Fate::Rebuild { .. })).count();
        summary.kept += self.undone.iter().filter(|u| !**u).count();
        self.rewrite_notes(&mut rewrite, summary);
        self.rewrite_marks(&mut rewrite, summary, warnings);
        rewrite.finish();
    }

    fn with(&self, test: impl Fn(&Finding) -> bool) -> impl Iterator<Item = (&'a Finding, bool)> {
        let all: Vec<(&'a Finding, bool)> =
            self.findings.iter().zip(self.undone.iter().copied()).filter(|(f, _)| test(f)).collect();
        all.into_iter()
    }

    /// Pitches that rebuilt bars take from the edition, where it is to keep them.
    fn overrides(&self) -> BTreeMap<NoteId, crate::pitch::Pitch> {
        let kept = self.with(|f| matches!(f.category, Category::Octave | Category::Pitch | Category::Spelling));
        kept.filter(|(_, undone)| !undone)
            .filter_map(|(f, _)| match f.subject {
                Subject::Note { edition: Some(e), source: Some(s) } => {
                    self.edition.notes[e].pitch().map(|p| self.source.tied(s).map(move |n| (n, p)).collect::<Vec<_>>())
                }
                _ => None,
            })
            .flatten()
            .collect()
    }

    fn rewrite_notes(&self, rewrite: &mut PartRewrite<'_, 'a, 'i>, summary: &mut Summary) {
        for (finding, _) in self.with(|f| f.category.is_of_notes()).filter(|(_, undone)| *undone) {
            summary.notes_restored += 1;
            let kept = matches!(self.fates[finding.row], Fate::Keep { .. });
            match finding.subject {
                Subject::Note { edition: Some(e), source: Some(s) } if kept && finding.category != Category::Rhythm => {
                    if let Some(pitch) = self.source.notes[s].pitch() {
                        rewrite.set_pitch(e, pitch.moved(self.alignment.interval).simplest());
                    }
                }
                Subject::Tie(index) if self.tie_is_written(index) => self.rewrite_tie(rewrite, index),
                _ => {}
            }
        }
    }

    fn rewrite_tie(&self, rewrite: &mut PartRewrite<'_, 'a, 'i>, index: usize) {
        let tie = &self.alignment.ties[index];
        let kept = |n: NoteId| {
            matches!(self.fates[self.sides.collation.edition_row(self.edition.notes[n].bar)], Fate::Keep { .. })
        };
        if !tie.added {
            for pair in tie.edition.windows(2) {
                let last = self.edition.tied(pair[0]).last().expect("itself at least");
                if kept(last) && kept(pair[1]) {
                    rewrite.tie(last, pair[1]);
                }
            }
            return;
        }
        let start = self.edition.onset(tie.edition[0]);
        let from = self.source.onset(tie.source[0]);
        for struck in &tie.source[1..] {
            let time = self.source.onset(*struck) - from + start;
            let before = self.edition.tied(tie.edition[0]).filter(|n| self.edition.onset(*n) < time).last();
            if let Some(before) = before.filter(|n| kept(*n)) {
                rewrite.untie(before);
            }
        }
    }

    /// For each pair of marks that is not the same: whether it is undone.
    fn mark_decisions(&self) -> HashMap<(Option<MarkId>, Option<MarkId>), bool> {
        self.findings
            .iter()
            .zip(&self.undone)
            .filter_map(|(f, undone)| match f.subject {
                Subject::Mark { edition, source } => Some(((edition, source), *undone)),
                _ => None,
            })
            .collect()
    }

    fn rewrite_marks(&self, rewrite: &mut PartRewrite<'_, 'a, 'i>, summary: &mut Summary, warnings: &mut Vec<String>) {
        let decisions = self.mark_decisions();
        let (mut from_source, mut from_edition) = (self.restored_signs(), Vec::new());
        for pair in &self.alignment.marks {
            let ours = pair.edition.map(|m| &self.edition.marks[m]);
            let composed = ours.is_some_and(|m| rewrite.is_in_composed_bar(m));
            match self.verdict(pair, &decisions) {
                Verdict::Edition if composed => {
                    let mark = ours.expect("the edition's");
                    rewrite.remove_mark(mark);
                    if pair.same {
                        from_source.extend(pair.source);
                    } else {
                        from_edition.extend(pair.edition);
                    }
                }
                Verdict::Edition => rewrite.occupy(ours.expect("the edition's")),
                Verdict::Source => {
                    if let Some(mark) = ours {
                        rewrite.remove_mark(mark);
                        summary.marks_removed += 1;
                    }
                    summary.marks_restored += 1;
                    from_source.extend(pair.source);
                }
                Verdict::Neither => match ours {
                    Some(mark) => {
                        rewrite.remove_mark(mark);
                        summary.marks_removed += 1;
                    }
                    None => {
                        if let Some(mark) = pair.source.map(|m| &self.source.marks[m]) {
                            rewrite.leave_out(mark);
                        }
                    }
                },
            }
        }
        from_source.sort_unstable_by_key(|m| {
            let mark = &self.source.marks[*m];
            // Grace notes first: other marks may stand on them.
            (mark.category != Category::Grace, self.source.time(mark.at.bar, mark.at.offset), *m)
        });
        for mark in from_source {
            rewrite.lay_source_mark(&self.source.marks[mark]);
        }
        for mark in from_edition {
            let mark = &self.edition.marks[mark];
            if !rewrite.lay_edition_mark(mark) {
                warnings.push(format!(
                    "part {}, bar {}: {} was to be kept, but its note is not in the source",
                    self.edition.id, self.edition.bars[mark.at.bar].number, mark.reading
                ));
            }
        }
    }

    /// The source's signs whose written-out notes are taken back.
    fn restored_signs(&self) -> Vec<MarkId> {
        let undone = self.with(|f| f.category == Category::Realisation).filter(|(_, undone)| *undone);
        undone
            .filter_map(|(f, _)| match f.subject {
                Subject::Realisation(index) => Some(self.alignment.realisations[index].source),
                _ => None,
            })
            .flat_map(|note| {
                let is_sign = |c| matches!(c, Category::Ornament | Category::Grace);
                let signs = self.source.marks.iter().enumerate();
                let signs = signs.filter(move |(_, m)| is_sign(m.category) && m.at.note == Some(note));
                signs.map(|(id, _)| id).collect::<Vec<_>>()
            })
            .filter(|m| self.alignment.marks.iter().all(|p| p.source != Some(*m)))
            .collect()
    }

    fn verdict(&self, pair: &MarkPair, decisions: &HashMap<(Option<MarkId>, Option<MarkId>), bool>) -> Verdict {
        if pair.same {
            return Verdict::Edition;
        }
        let undone = decisions.get(&(pair.edition, pair.source)).copied().unwrap_or(false);
        match (pair.edition, pair.source, undone) {
            (Some(_), None, true) | (None, Some(_), false) => Verdict::Neither,
            (_, Some(_), true) => Verdict::Source,
            _ => Verdict::Edition,
        }
    }
}

/// Which side's mark the result has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Edition,
    Source,
    Neither,
}
