//! What became of what an audit finds. A cleaning lays the two scores bar
//! beside bar; an audit also cuts bars and plays strains twice, and so finds
//! other things in the same music.

use super::{Cleaned, Decision, LeftBar, Sides};
use crate::alignment::{EditionMark, EditionNote, SourceMark, SourceNote};
use crate::collate::{Collation, PartAlignment};
use crate::findings::{Finding, PartFindings, Passage, PassageKind, Status, Subject};
use crate::score::{Place, Stretch};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

/// What became of one finding of an audit.
#[derive(Debug, Clone, Copy)]
pub struct Outcome<'a> {
    pub treatment: Treatment,
    /// The cleaning's finding that is the same one.
    pub own: Option<usize>,
    /// The bar in which it had to be left.
    pub left: Option<&'a LeftBar>,
    /// Why it could not be kept.
    pub lost: Option<&'a str>,
}

/// How a copy treats a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Treatment {
    /// It, or what the cleaning found of its notes and marks, was decided so.
    Decided(Decision),
    /// The edition's bar that it is in was taken out.
    BarTakenOut,
    /// The source's bar that it is in was put back.
    BarPutBack,
    /// Nothing of its bar is left, or all of it.
    WithBar(Decision),
    /// Some of what it is about was undone, some was kept.
    InPart,
    /// It was to stay, but has no place in the copy.
    Lost,
}

impl Treatment {
    /// The decision that it comes to; `None` where it is undone in part.
    pub fn decision(self) -> Option<Decision> {
        match self {
            Treatment::Decided(decision) | Treatment::WithBar(decision) => Some(decision),
            Treatment::BarTakenOut | Treatment::BarPutBack | Treatment::Lost => Some(Decision::Out),
            Treatment::InPart => None,
        }
    }

    fn of_all(decisions: impl Iterator<Item = Decision>) -> Option<Treatment> {
        let all: BTreeSet<Decision> = decisions.collect();
        match all.len() {
            0 => None,
            1 => all.first().copied().map(Treatment::Decided),
            _ => Some(Treatment::InPart),
        }
    }
}

/// What became of one passage of an audit.
#[derive(Debug, Clone)]
pub struct PassageOutcome<'a> {
    /// The cleaning's passage that is the same one.
    pub own: Option<usize>,
    /// The cleaning's rows that it is in.
    pub rows: BTreeSet<usize>,
    /// Whether bars of it were taken out, and put back.
    pub taken_out: bool,
    pub put_back: bool,
    /// The bar in which it had to be left.
    pub left: Option<&'a LeftBar>,
}

/// What became of all that an audit finds in one part.
#[derive(Debug)]
pub struct Outcomes<'a> {
    pub findings: Vec<Outcome<'a>>,
    pub passages: Vec<PassageOutcome<'a>>,
}

/// What became of the findings of an audit of the same pairs of parts, part by part.
pub fn outcomes<'a>(
    sides: Sides,
    cleaned: &'a Cleaned,
    collation: &Collation,
    found: &[PartFindings],
) -> Vec<Outcomes<'a>> {
    let of_part = |(part, found): (usize, &PartFindings)| {
        let in_part = PartOutcomes::new(sides, cleaned, part, collation);
        Outcomes {
            findings: found.findings.iter().map(|f| in_part.finding(f)).collect(),
            passages: found.passages.iter().map(|p| in_part.passage(p)).collect(),
        }
    };
    found.iter().enumerate().map(of_part).collect()
}

/// A note or a mark of one of the sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Thing {
    EditionNote(EditionNote),
    SourceNote(SourceNote),
    EditionMark(EditionMark),
    SourceMark(SourceMark),
}

/// All that a finding is about, in order.
fn things(subject: Subject, alignment: &PartAlignment) -> Vec<Thing> {
    let notes = |edition: &[EditionNote], source: &[SourceNote]| -> Vec<Thing> {
        edition.iter().copied().map(Thing::EditionNote).chain(source.iter().copied().map(Thing::SourceNote)).collect()
    };
    match subject {
        Subject::Note { edition, source } => notes(edition.as_slice(), source.as_slice()),
        Subject::Mark { edition, source } => {
            edition.map(Thing::EditionMark).into_iter().chain(source.map(Thing::SourceMark)).collect()
        }
        Subject::Tie(index) => notes(&alignment.ties[index].edition, &alignment.ties[index].source),
        Subject::WrittenOutOrnament(index) => {
            let written = &alignment.written_out[index];
            let source: Vec<SourceNote> =
                std::iter::once(written.source).chain(written.chord.iter().copied()).collect();
            notes(&written.edition, &source)
        }
    }
}

struct PartOutcomes<'a, 's> {
    sides: Sides<'s, 's>,
    cleaned: &'a Cleaned,
    /// The pair of parts.
    part: usize,
    /// As the audit lays the two.
    collation: &'s Collation,
    /// The cleaning's findings of each note and mark.
    about: BTreeMap<Thing, Vec<usize>>,
}

impl<'a, 's> PartOutcomes<'a, 's> {
    fn new(sides: Sides<'s, 's>, cleaned: &'a Cleaned, part: usize, collation: &'s Collation) -> Self {
        let mut about: BTreeMap<Thing, Vec<usize>> = BTreeMap::new();
        for (place, finding) in sides.findings[part].findings.iter().enumerate() {
            for thing in things(finding.subject, &sides.collation.parts[part]) {
                about.entry(thing).or_default().push(place);
            }
        }
        PartOutcomes { sides, cleaned, part, collation, about }
    }

    fn own(&self) -> &'s PartFindings {
        &self.sides.findings[self.part]
    }

    fn finding(&self, finding: &Finding) -> Outcome<'a> {
        let own = self.same(finding);
        let rows = self.rows_of(finding.row, finding.status);
        let touching = self.touching(finding);
        let lost = match (own, &touching[..]) {
            (Some(own), _) | (None, &[own]) => self.cleaned.lost[self.part][own].as_deref(),
            _ => None,
        };
        let treatment = match own {
            _ if lost.is_some() => Treatment::Lost,
            Some(own) => Treatment::Decided(self.decision(own)),
            None => self
                .bar(&rows)
                .or_else(|| Treatment::of_all(touching.iter().map(|f| self.decision(*f))))
                .unwrap_or_else(|| self.with_bar(&rows)),
        };
        let undone = treatment.decision() == Some(Decision::Out);
        let left = match own {
            Some(own) => self.left_with(&[own]),
            None => self.left_with(&touching).or_else(|| self.left_in(&rows)),
        };
        Outcome { treatment, own, left: left.filter(|_| !undone), lost }
    }

    /// What became of a finding of the cleaning.
    fn decision(&self, own: usize) -> Decision {
        let is_lost = self.cleaned.lost[self.part][own].is_some();
        if is_lost { Decision::Out } else { self.cleaned.decisions[self.part][own] }
    }

    /// The cleaning's finding that is the same one: of the same notes or marks,
    /// in the same words. What a second time has is found in its own place only.
    fn same(&self, finding: &Finding) -> Option<usize> {
        let things = things(finding.subject, &self.collation.parts[self.part]);
        let again = self.collation.outline[finding.row].again.is_some();
        let place = |f: &Finding| (f.at, f.end, f.source_at);
        let alike = |f: &Finding| {
            let said = |f: &Finding| (f.category, f.status, f.edition_reading.clone(), f.source_reading.clone());
            said(f) == said(finding)
                && (!again || place(f) == place(finding))
                && self::things(f.subject, &self.sides.collation.parts[self.part]) == things
        };
        let all = self.about.get(things.first()?)?.iter().copied();
        let mut all = all.filter(|own| alike(&self.own().findings[*own]));
        all.clone().find(|own| place(&self.own().findings[*own]) == place(finding)).or_else(|| all.next())
    }

    /// The cleaning's findings of the same notes or marks.
    fn touching(&self, finding: &Finding) -> Vec<usize> {
        let things = things(finding.subject, &self.collation.parts[self.part]);
        let own: BTreeSet<usize> = things.iter().filter_map(|t| self.about.get(t)).flatten().copied().collect();
        own.into_iter().collect()
    }

    /// The cleaning's rows of a row of the audit: of the bar that has what was found, or of both.
    fn rows_of(&self, row: usize, status: Status) -> BTreeSet<usize> {
        let pair = self.collation.outline[row];
        let (edition, source) = match (status, pair.edition, pair.source) {
            (Status::Added, Some(bar), _) => (Some(bar), None),
            (Status::Omitted, _, Some(bar)) => (None, Some(bar)),
            (_, edition, source) => (edition, source),
        };
        let cleaning = self.sides.collation;
        let ours = edition.map(|bar| cleaning.edition_row(bar.at(pair.edition_from)));
        let theirs = source.map(|bar| cleaning.source_row(bar.at(pair.source_from)));
        ours.into_iter().chain(theirs).collect()
    }

    /// The audit's rows of what one side writes out and the other does not: a
    /// cleaning may have taken out or put back the one time or the other.
    fn other_time(&self, passage: &Passage) -> Option<RangeInclusive<usize>> {
        let Stretch { from, to } = passage.in_source?;
        let row = |place: Place| self.collation.source_row(place);
        (passage.kind == PassageKind::WrittenOutRepeat).then(|| row(from)..=row(to))
    }

    /// Whether a bar of these was taken out or put back.
    fn bar(&self, rows: &BTreeSet<usize>) -> Option<Treatment> {
        let changed = rows.iter().filter(|row| self.cleaned.changed_rows.contains(row));
        let treatments = changed.map(|row| match self.sides.collation.outline[*row].edition {
            Some(_) => Treatment::BarTakenOut,
            None => Treatment::BarPutBack,
        });
        treatments.min_by_key(|treatment| *treatment == Treatment::BarPutBack)
    }

    /// What became of all that the cleaning found in these bars.
    fn with_bar(&self, rows: &BTreeSet<usize>) -> Treatment {
        let own = self.own().findings.iter().enumerate().filter(|(_, f)| rows.contains(&f.row));
        match Treatment::of_all(own.map(|(own, _)| self.decision(own))) {
            Some(Treatment::Decided(decision)) => Treatment::WithBar(decision),
            Some(treatment) => treatment,
            None => Treatment::WithBar(Decision::Out),
        }
    }

    fn left_with(&self, findings: &[usize]) -> Option<&'a LeftBar> {
        let is_left = |bar: &&LeftBar| findings.iter().any(|f| bar.findings.contains(&(self.part, *f)));
        self.cleaned.left.iter().find(is_left)
    }

    fn left_in(&self, rows: &BTreeSet<usize>) -> Option<&'a LeftBar> {
        self.cleaned.left.iter().find(|bar| rows.contains(&bar.row))
    }

    fn passage(&self, passage: &Passage) -> PassageOutcome<'a> {
        let of = |p: &Passage| (p.kind, p.at, p.in_source, p.octaves);
        let is_same = |p: &Passage| of(p) == of(passage) && p.edition == passage.edition && p.source == passage.source;
        let own = self.own().passages.iter().position(is_same);
        let alignment = &self.collation.parts[self.part];
        let own_rows = passage.rows(self.collation, alignment, &self.sides.edition.parts[alignment.edition]);
        let audit = own_rows.iter().chain(self.other_time(passage).into_iter().flatten());
        let rows: BTreeSet<usize> = audit.flat_map(|row| self.rows_of(row, Status::Altered)).collect();
        let changed = |edition: bool| {
            let mut changed = rows.iter().filter(|row| self.cleaned.changed_rows.contains(row));
            changed.any(|row| self.sides.collation.outline[*row].edition.is_some() == edition)
        };
        let (taken_out, put_back) = (changed(true), changed(false));
        let left = match own {
            Some(own) => {
                let inside: Vec<usize> =
                    (0..self.own().findings.len()).filter(|f| self.own().findings[*f].passage == Some(own)).collect();
                self.left_with(&inside)
            }
            None => None,
        };
        let left = left.or_else(|| self.left_in(&rows).filter(|_| !taken_out && !put_back));
        PassageOutcome { own, rows, taken_out, put_back, left }
    }
}
