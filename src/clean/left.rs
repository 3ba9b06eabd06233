//! Bars that stay as the edition has them, in every part, because the copy
//! could not be proved otherwise.

use super::decisions::Decided;
use super::{Decision, Policy, Sides};
use crate::alignment::{EditionBar, NoteOf, PartOf, Side};
use crate::findings::{Finding, PassageKind, Subject};
use crate::score::{Anchor, Category, Place};
use std::collections::{BTreeMap, BTreeSet};

/// A bar that was to be changed and stays as the edition has it, in every part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftBar {
    /// Of the outline.
    pub row: usize,
    /// The printed number in the edition; of bars that it lacks, the bar before
    /// which they would stand.
    pub bar: String,
    /// Counted from 0.
    pub bar_index: usize,
    /// Why it could not be proved, in words.
    pub reason: String,
    /// What on the command line leaves all such differences as they are.
    pub option: Option<String>,
    /// The findings that were to be undone, by part and place.
    pub findings: Vec<(usize, usize)>,
}

/// What is done to findings and bars: wanted before anything had to be left, or done at last.
pub(super) struct Wanted {
    decisions: Vec<Vec<Decision>>,
    changed_rows: BTreeSet<usize>,
}

impl Wanted {
    pub(super) fn new(decisions: Vec<Vec<Decision>>, changed_rows: BTreeSet<usize>) -> Wanted {
        Wanted { decisions, changed_rows }
    }

    /// The rows in which something was to be done, each with the findings.
    pub(super) fn rows(&self, sides: Sides) -> BTreeMap<usize, Vec<(usize, usize)>> {
        let mut out: BTreeMap<usize, Vec<(usize, usize)>> =
            self.changed_rows.iter().map(|row| (*row, Vec::new())).collect();
        for (part, (found, decisions)) in sides.findings.iter().zip(&self.decisions).enumerate() {
            for (place, (finding, _)) in
                found.findings.iter().zip(decisions).enumerate().filter(|(_, (_, d))| **d != Decision::Keep)
            {
                for row in rows_of(sides, part, finding) {
                    out.entry(row).or_default().push((part, place));
                }
            }
        }
        out
    }

    /// The bars in which something that was wanted has not been done.
    pub(super) fn left(&self, sides: Sides, done: &Wanted, reasons: &BTreeMap<usize, String>) -> Vec<LeftBar> {
        let mut rows: BTreeMap<usize, Vec<(usize, usize)>> =
            self.changed_rows.difference(&done.changed_rows).map(|row| (*row, Vec::new())).collect();
        for (part, (wanted, done)) in self.decisions.iter().zip(&done.decisions).enumerate() {
            for (place, _) in wanted.iter().zip(done).enumerate().filter(|(_, (w, d))| w != d) {
                rows.entry(sides.findings[part].findings[place].row).or_default().push((part, place));
            }
        }
        let mut out: Vec<LeftBar> = Vec::new();
        let mut last: Option<(usize, usize)> = None;
        for (row, findings) in rows {
            let reason = reasons.get(&row).cloned().unwrap_or_else(|| {
                let near = reasons.keys().min_by_key(|r| r.abs_diff(row)).and_then(|r| number(sides, *r));
                near.map_or("it belongs with another bar that stays".into(), |near| {
                    format!("it belongs with bar {near}, which stays")
                })
            });
            let lacking = sides.collation.outline[row].edition.is_none();
            // Bars that the edition lacks stand for one place.
            if let Some(bar) = out.last_mut().filter(|_| lacking && last == Some((row.wrapping_sub(1), 1))) {
                bar.findings.extend(findings);
            } else {
                let bar_index = edition_bar(sides, row);
                let bar = number(sides, row).unwrap_or_default();
                let reason =
                    if lacking { format!("the source's bars are not put back here: {reason}") } else { reason };
                out.push(LeftBar { row, bar, bar_index, reason, option: None, findings });
            }
            last = Some((row, usize::from(lacking)));
        }
        for bar in &mut out {
            bar.option = option(sides, bar);
        }
        out
    }
}

/// The bar of the edition in a row, or the one that follows.
fn edition_bar(sides: Sides, row: usize) -> usize {
    let outline = &sides.collation.outline;
    let next = outline[row..].iter().find_map(|pair| pair.edition);
    next.or_else(|| outline[..row].iter().rev().find_map(|pair| pair.edition)).map_or(0, EditionBar::index)
}

fn number(sides: Sides, row: usize) -> Option<String> {
    let bar = edition_bar(sides, row);
    sides.edition.parts.iter().find_map(|part| part.bars.get(bar)).map(|bar| bar.number.clone())
}

/// The option that leaves what was to be undone in a bar as it is.
fn option(sides: Sides, bar: &LeftBar) -> Option<String> {
    let (mut kinds, mut categories) = (BTreeSet::new(), BTreeSet::new());
    for (part, place) in &bar.findings {
        let found = &sides.findings[*part];
        let finding = &found.findings[*place];
        match Policy::left_by(finding, finding.passage.map(|p| found.passages[p].kind)) {
            Some(kind) => kinds.insert(kind.name()),
            None => categories.insert(finding.category.name()),
        };
    }
    if bar.findings.is_empty() {
        kinds.insert(super::Restore::Passages.name());
    }
    let joined = |names: BTreeSet<&str>| names.into_iter().collect::<Vec<_>>().join(",");
    let said = [("--no-restore", joined(kinds)), ("--keep", joined(categories))];
    let said: Vec<String> =
        said.iter().filter(|(_, names)| !names.is_empty()).map(|(option, names)| format!("{option} {names}")).collect();
    (!said.is_empty()).then(|| said.join(" "))
}

/// Leaves what touches the rows as the edition has it.
pub(super) fn leave(sides: Sides, rows: &BTreeSet<usize>, decided: &mut Decided) {
    if rows.is_empty() {
        return;
    }
    let mut signatures = false;
    for (part, decisions) in decided.findings.iter_mut().enumerate() {
        for (finding, decision) in sides.findings[part].findings.iter().zip(decisions) {
            if *decision != Decision::Keep && rows_of(sides, part, finding).iter().any(|row| rows.contains(row)) {
                *decision = Decision::Keep;
                signatures |= finding.category == Category::Signature;
            }
        }
    }
    // A key or a time holds on, for all parts.
    for (part, decisions) in decided.findings.iter_mut().enumerate().filter(|_| signatures) {
        let all = sides.findings[part].findings.iter().zip(decisions);
        all.filter(|(f, _)| f.category == Category::Signature).for_each(|(_, d)| *d = Decision::Keep);
    }
}

/// Every row in which something may change when a finding is undone.
pub(super) fn rows_of(sides: Sides, part: usize, finding: &Finding) -> BTreeSet<usize> {
    let alignment = &sides.collation.parts[part];
    let (edition, source) = (alignment.edition_part(sides.edition), alignment.source_part(sides.source));
    let of_edition = |bar: usize| (bar < edition.bars.len()).then(|| sides.collation.edition_row(Place::start_of(bar)));
    let of_source = |bar: usize| (bar < source.bars.len()).then(|| sides.collation.source_row(Place::start_of(bar)));
    fn tied<S: Side>(part: PartOf<S>, note: NoteOf<S>) -> Vec<usize> {
        part.tied(note).map(|n| part[n].bar).collect()
    }
    let ends = |at: Anchor, end: Option<Anchor>| [Some(at.bar), end.map(|e| e.bar)].into_iter().flatten();
    let (mut ours, mut theirs): (Vec<usize>, Vec<usize>) = (vec![finding.at.bar], Vec::new());
    ours.extend(finding.end.map(|e| e.bar));
    theirs.extend(finding.source_at.map(|s| s.bar));
    match finding.subject {
        Subject::Note { edition: e, source: s } => {
            ours.extend(e.into_iter().flat_map(|n| tied(edition, n)));
            theirs.extend(s.into_iter().flat_map(|n| tied(source, n)));
        }
        Subject::Mark { edition: e, source: s } => {
            ours.extend(e.map(|m| edition.mark(m)).into_iter().flat_map(|m| ends(m.at, m.end)));
            theirs.extend(s.map(|m| source.mark(m)).into_iter().flat_map(|m| ends(m.at, m.end)));
        }
        Subject::Tie(tie) => {
            let tie = &alignment.ties[tie];
            ours.extend(tie.edition.iter().flat_map(|n| tied(edition, *n)));
            theirs.extend(tie.source.iter().flat_map(|n| tied(source, *n)));
        }
        Subject::WrittenOutOrnament(index) => {
            let written = &alignment.written_out[index];
            ours.extend(written.edition.iter().flat_map(|n| tied(edition, *n)));
            theirs.extend(tied(source, written.source));
        }
    }
    let rows = ours.into_iter().filter_map(of_edition).chain(theirs.into_iter().filter_map(of_source));
    rows.chain([finding.row]).collect()
}

/// The rows of all passages that a row belongs to.
pub(super) fn passages_of(sides: Sides, row: usize) -> BTreeSet<usize> {
    let mut out = BTreeSet::from([row]);
    for (alignment, found) in sides.collation.parts.iter().zip(sides.findings) {
        for passage in &found.passages {
            let rows = passage.rows(sides.collation, alignment, &sides.edition.parts[alignment.edition]);
            let alone = matches!(passage.kind, PassageKind::OctaveDisplacement | PassageKind::RevoicedChords);
            if rows.contains(row) && !alone {
                out.extend(rows.iter());
            }
        }
    }
    out
}
