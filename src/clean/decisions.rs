//! Decisions of a person on single findings: a small file that an audit writes
//! and a cleaning follows.

use super::toml_fault::told;
use super::{Decision, Policy};
use crate::collate::Collation;
use crate::findings::{Finding, PartFindings};
use crate::readable::plain;
use crate::score::{Part, Place, Score};
use crate::time::beat_text;
use serde::Deserialize;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::fmt::Write;

/// What a file of decisions says, by name.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Decisions {
    /// A passage that is kept is kept with all that is in it, unless decided by itself.
    #[serde(default)]
    pub passages: BTreeMap<String, Decision>,
    /// By the names that a file of decisions has for findings.
    #[serde(default)]
    pub findings: BTreeMap<String, Said>,
}

/// What a line says of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Said {
    /// As in the source.
    Out,
    /// As in the edition.
    Keep,
    /// As in the edition, but set apart.
    Bracket,
    /// As the passage that it is in.
    Passage,
}

impl Said {
    /// As a file of decisions says it.
    pub fn name(self) -> &'static str {
        self.decision().map_or("passage", Decision::name)
    }

    fn decision(self) -> Option<Decision> {
        match self {
            Said::Out => Some(Decision::Out),
            Said::Keep => Some(Decision::Keep),
            Said::Bracket => Some(Decision::Bracket),
            Said::Passage => None,
        }
    }
}

/// What is wrong with a file of decisions.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DecisionError {
    /// With line and column.
    #[error("{0}")]
    Syntax(String),
    #[error("\"{name}\" cannot be \"bracket\": only marks that the editor added can; write out or keep")]
    Bracket { name: String },
    #[error(
        "none of its {0} names is a finding of this edition and source; was it written for another pair? obelus \
         audit --decisions writes one for these"
    )]
    Strange(usize),
}

/// The names of one part's findings and passages, in their order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Names {
    pub findings: Vec<String>,
    pub passages: Vec<String>,
}

/// The name of every finding and passage, made of what a reader sees: part,
/// bar, beat, category, status, readings. The same pair has the same names in
/// every run, and most findings keep theirs when something else is changed.
pub fn names(edition: &Score, collation: &Collation, found: &[PartFindings]) -> Vec<Names> {
    // Lines of one part have its name in common.
    let (mut seen, mut taken): (HashMap<String, usize>, HashSet<String>) = Default::default();
    // What looks the same is counted; a reading may look like a count.
    let mut unique = |name: String| {
        let name = plain(&name);
        let count = seen.entry(name.clone()).or_default();
        loop {
            *count += 1;
            let own = if *count == 1 { name.clone() } else { format!("{name} ({count})") };
            if taken.insert(own.clone()) {
                return own;
            }
        }
    };
    let of_part = |(part, found): (&Part, &PartFindings)| {
        let passages = found.passages.iter().map(|p| {
            let (from, to) = (place(part, p.at.from), place(part, p.at.to));
            unique(format!("{} {from} to {to} {}", part.id, p.kind.words()))
        });
        let passages = passages.collect();
        Names { findings: found.findings.iter().map(|f| unique(name(part, f))).collect(), passages }
    };
    let parts = collation.parts.iter().map(|a| &edition.parts[a.edition]);
    parts.zip(found).map(of_part).collect()
}

fn place(part: &Part, at: Place) -> String {
    let bar = part.bars.get(at.bar).map_or("-", |b| &b.number);
    let beat = if at.bar < part.bars.len() { beat_text(part.beat(at)) } else { "1".into() };
    format!("{bar}:{beat}")
}

fn name(part: &Part, finding: &Finding) -> String {
    let mut out =
        format!("{} {} {} {}", part.id, place(part, finding.at), finding.category.name(), finding.status.name());
    let shown = |text: &str| plain(text).chars().take(40).collect::<String>();
    let readings = (finding.edition_reading.as_deref().map(shown), finding.source_reading.as_deref().map(shown));
    let _ = match readings {
        (Some(ours), Some(theirs)) => write!(out, " {ours} for {theirs}"),
        (Some(one), None) | (None, Some(one)) => write!(out, " {one}"),
        (None, None) => Ok(()),
    };
    out
}

const HEAD: &str = "\
# Change the word behind a finding, then: obelus clean EDITION SOURCE -o COPY --decisions THIS-FILE
#   \"out\"      the editor's change is reverted
#   \"keep\"     it stays
#   \"bracket\"  a mark that was added stays, set apart (dashed, in brackets, small)
#   \"passage\"  it is decided as its passage is
# A passage that is kept is kept with all that is in it, except what another word decides. Lines that you delete are
# decided as usual.
";

/// The file for a person to edit: every finding with what is usually done.
pub fn write(edition: &Score, collation: &Collation, found: &[PartFindings], policy: &Policy) -> String {
    let names = names(edition, collation, found);
    let mut out = HEAD.to_string();
    out.push_str("\n[passages]\n");
    for name in names.iter().flat_map(|n| &n.passages) {
        line(&mut out, name, Decision::Out.name());
    }
    out.push_str("\n[findings]\n");
    for (names, found) in names.iter().zip(found) {
        for (name, finding) in names.findings.iter().zip(&found.findings) {
            let said = if finding.passage.is_some() { "passage" } else { policy.decide(finding, None).name() };
            line(&mut out, name, said);
        }
    }
    out
}

/// What a file of decisions comes to on one pair of scores.
#[derive(Debug, Clone, Default)]
pub struct Decided {
    /// For each part's findings.
    pub findings: Vec<Vec<Decision>>,
    /// For each part's passages: whether they are kept with what is in them.
    pub kept_passages: Vec<Vec<bool>>,
    /// For each part's passages: whether a line takes them out, whatever the options are.
    pub out_passages: Vec<Vec<bool>>,
    pub warnings: Vec<String>,
}

impl Decisions {
    /// Reads a file of decisions.
    ///
    /// # Errors
    /// With line and column, where the file is not one.
    pub fn parse(text: &str) -> Result<Decisions, DecisionError> {
        toml::from_str(text).map_err(|error| DecisionError::Syntax(told(text, &error)))
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.passages.is_empty() && self.findings.is_empty()
    }

    /// As a file: the names that are decided, in the order given; others after them.
    pub(crate) fn to_toml(&self, passages: &[String], findings: &[String]) -> String {
        let mut out = HEAD.to_string();
        out.push_str("\n[passages]\n");
        in_order(&self.passages, passages).for_each(|(name, said)| line(&mut out, name, said.name()));
        out.push_str("\n[findings]\n");
        in_order(&self.findings, findings).for_each(|(name, said)| line(&mut out, name, said.name()));
        out
    }
}

fn in_order<'a, T>(said: &'a BTreeMap<String, T>, names: &'a [String]) -> impl Iterator<Item = (&'a String, &'a T)> {
    let known: HashSet<&String> = names.iter().collect();
    let others = said.iter().filter(move |(name, _)| !known.contains(name));
    names.iter().filter_map(|name| said.get_key_value(name)).chain(others)
}

fn line(out: &mut String, name: &str, said: &str) {
    out.push_str(&toml::to_string(&BTreeMap::from([(name, said)])).expect("a name and a word"));
}

/// Decides every finding: as the file says, else as the policy has it.
///
/// # Errors
/// When the decisions are of other scores, or set apart what cannot be.
pub fn decide(
    edition: &Score,
    collation: &Collation,
    found: &[PartFindings],
    policy: &Policy,
) -> Result<Decided, DecisionError> {
    let mut out = Decided::default();
    let said = policy.decisions.as_ref().filter(|d| !d.is_empty());
    let names = said.map(|_| names(edition, collation, found));
    let mut met = 0;
    for (index, found) in found.iter().enumerate() {
        let own = said.zip(names.as_ref().map(|n| &n[index]));
        let said_of = |p: usize| own.and_then(|(said, names)| said.passages.get(&names.passages[p]));
        let kept: Vec<bool> = (0..found.passages.len())
            .map(|p| said_of(p).map_or(policy.keeps(&found.passages[p]), |d| *d == Decision::Keep))
            .collect();
        let taken_out = (0..found.passages.len()).map(|p| said_of(p) == Some(&Decision::Out)).collect();
        let mut decisions = Vec::with_capacity(found.findings.len());
        for (place, finding) in found.findings.iter().enumerate() {
            let passage = finding.passage.map(|p| (&found.passages[p], kept[p]));
            let name = own.map(|(said, names)| (said.findings.get(&names.findings[place]), &names.findings[place]));
            let decision = match name {
                Some((Some(Said::Bracket), name)) if !Policy::can_be_apart(finding) => {
                    return Err(DecisionError::Bracket { name: name.clone() });
                }
                Some((Some(said), _)) => {
                    met += 1;
                    said.decision().unwrap_or_else(|| policy.decide(finding, passage))
                }
                _ => policy.decide(finding, passage),
            };
            decisions.push(decision);
        }
        out.findings.push(decisions);
        out.kept_passages.push(kept);
        out.out_passages.push(taken_out);
    }
    let Some((said, names)) = said.zip(names) else { return Ok(out) };
    if let Some(name) = said.passages.iter().find(|(_, d)| **d == Decision::Bracket).map(|(name, _)| name) {
        return Err(DecisionError::Bracket { name: name.clone() });
    }
    if met == 0 && !said.findings.is_empty() {
        return Err(DecisionError::Strange(said.findings.len()));
    }
    let strange = |said: Vec<(&String, Decision)>, of: fn(&Names) -> &Vec<String>| -> Vec<String> {
        let known: HashSet<&String> = names.iter().flat_map(of).collect();
        let own = said.into_iter().filter(|(name, decision)| *decision != Decision::Out && !known.contains(name));
        own.map(|(name, decision)| format!("the decision to {} \"{name}\" matches no finding", decision.name()))
            .collect()
    };
    out.warnings.extend(strange(said.passages.iter().map(|(name, d)| (name, *d)).collect(), |n| &n.passages));
    let findings = said.findings.iter().filter_map(|(name, said)| Some((name, said.decision()?)));
    out.warnings.extend(strange(findings.collect(), |n| &n.findings));
    Ok(out)
}
