//! An edition beside its source, for a person who decides finding by finding.

use super::Comparison;
use crate::beside::{self, For, Staves, ToDraw};
use crate::clean::{self, Carried, Decided, Decisions, Failure, Names, PlainCopy, Policy, Sheet, Texts, Wishes};
use crate::musicxml::Tree;
use crate::report::{self, Audit, Glyphs};

/// All that can be decided, as a cleaning has it.
pub(crate) struct ToDecide {
    /// With findings and passages in the order of the names.
    pub audit: Audit,
    /// Of each part of the audit.
    pub names: Vec<Names>,
    /// Whether a finding can be set apart.
    pub can_be_apart: Vec<Vec<bool>>,
}

/// What has become of a finding otherwise than it was decided.
#[derive(Debug, Clone, serde::Serialize)]
pub(crate) struct Otherwise {
    pub part: usize,
    pub finding: usize,
    /// It was to go and stays; else it was to stay and has no place.
    pub stays: bool,
    pub why: String,
}

impl<'i> Comparison<Tree<'i>> {
    /// The findings of a cleaning, each with its name.
    pub(crate) fn to_decide(&self) -> ToDecide {
        let laid = self.whole();
        let instruments = vec![None; laid.collation.parts.len()];
        let mut material = self.material(laid, &instruments);
        material.warnings = self.warnings();
        let audit = report::audit(material).expect("all bars are there");
        let names = clean::finding_names(&self.edition.score, &laid.collation, &laid.findings);
        let apart = laid.findings.iter().map(|part| part.findings.iter().map(Policy::can_be_apart).collect());
        ToDecide { audit, names, can_be_apart: apart.collect() }
    }

    /// What some decisions come to.
    ///
    /// # Errors
    /// When they are of other scores, or set apart what cannot be.
    pub(crate) fn decided(&self, decisions: &Decisions) -> Result<Decided, Failure> {
        let laid = self.whole();
        let policy = Policy { decisions: Some(decisions.clone()), ..Policy::default() };
        Ok(clean::decide(&self.edition.score, &laid.collation, &laid.findings, &policy)?)
    }

    /// The copy that follows from some decisions, in its own key and without marks of one's own.
    ///
    /// # Errors
    /// When the decisions are not of these scores.
    pub(crate) fn plain_copy(&self, decisions: &Decisions) -> Result<(PlainCopy, Vec<Otherwise>), Failure> {
        let policy = Policy { decisions: Some(decisions.clone()), ..Policy::default() };
        let texts = Texts::new();
        let (copy, cleaned) = self.clean(&policy, &Wishes::default(), None, &texts)?;
        let lost = cleaned.lost.into_iter().enumerate().flat_map(|(part, all)| {
            let told = move |(finding, why)| {
                Some(Otherwise { part, finding, stays: false, why: Option::<String>::clone(why)? })
            };
            all.iter().enumerate().filter_map(told).collect::<Vec<_>>()
        });
        let left = cleaned.left.iter().flat_map(|bar| {
            let told = |&(part, finding)| Otherwise { part, finding, stays: true, why: bar.reason.clone() };
            bar.findings.iter().map(told)
        });
        Ok((PlainCopy { score: copy.score, rows: cleaned.rows }, lost.chain(left).collect()))
    }

    /// A sheet of one copy for another. `part` is where marks go that name no part.
    pub(crate) fn carried(&self, sheet: &Sheet, [from, to]: [&PlainCopy; 2], part: usize) -> Carried {
        clean::carry(self.sides(), sheet, from, to, part)
    }

    /// Of each mark of a sheet the edition's bar that it stands in, its place and its number.
    pub(crate) fn edition_bars(&self, sheet: &Sheet, copy: &PlainCopy, part: usize) -> Vec<Option<(usize, String)>> {
        clean::edition_bars(self.sides(), sheet, copy, part)
    }

    /// The staves of a part in which its findings are named, to be drawn.
    ///
    /// # Errors
    /// Why there are none, in a sentence.
    pub(crate) fn staves_to_decide(&self, audit: &Audit, place: usize) -> Result<ToDraw, String> {
        beside::to_draw(self.sides_of(self.whole()), place, &audit.parts[place].looked_at(), For::Desk)
    }

    /// A drawn piece of the staves of a part.
    ///
    /// # Errors
    /// Where the drawing cannot be understood.
    pub(crate) fn drawn_to_decide(
        &self,
        audit: &Audit,
        (place, piece): (usize, usize),
        staves: &Staves,
        glyphs: &mut Glyphs,
    ) -> Result<String, String> {
        let laid = self.whole();
        let instruments = vec![None; laid.collation.parts.len()];
        let drawn = report::staves_alone(&self.material(laid, &instruments), audit, (place, piece), staves, glyphs);
        drawn.ok_or_else(|| "the engraver's answer cannot be read".into())
    }

    /// The compass of a part, both sides in one picture.
    pub(crate) fn compass(&self, place: usize) -> String {
        let laid = self.whole();
        let instruments = vec![None; laid.collation.parts.len()];
        report::compass_alone(&self.material(laid, &instruments), place)
    }
}
