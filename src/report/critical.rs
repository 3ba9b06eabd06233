//! Critical notes: each of the editor's interventions with what became of it,
//! as the report of a critical edition lists them.

use super::adapted;
use super::csv::line;
use super::phrases::{self, CAUTION, key_relation};
use super::{Audit, PartReport, Point};
use crate::clean::{Decision, LeftBar, Names, OnInstrument, Provenance};
use crate::collate::Collation;
use crate::findings::{Finding, PartFindings, Passage, PassageKind, Spot, Status};
use crate::score::{Part, Score};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// One note.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Remark {
    bar: String,
    /// Which sign of its voice in the bar: main notes and rests counted, grace notes not.
    sign: String,
    source_bar: String,
    category: String,
    edition: String,
    source: String,
    remark: String,
    /// As a file of decisions calls it.
    name: String,
}

/// What the notes are made from; `audit` is of the same findings.
pub struct Notes<'a> {
    pub audit: &'a Audit,
    pub edition: &'a Score,
    pub source: &'a Score,
    pub collation: &'a Collation,
    pub findings: &'a [PartFindings],
    pub names: &'a [Names],
    pub decisions: &'a [Vec<Decision>],
    /// The bars that were to be changed and stay as the edition has them.
    pub left: &'a [LeftBar],
    /// The rows of the outline whose bar went or came back.
    pub changed_rows: &'a BTreeSet<usize>,
    /// How the clean parts lie on the instruments that they are meant for.
    pub on: &'a [OnInstrument],
    pub provenance: Option<&'a Provenance>,
    /// Further decisions and warnings, in sentences.
    pub remarks: &'a [String],
}

impl Notes<'_> {
    fn of_part(&self, index: usize) -> Vec<Remark> {
        let alignment = &self.collation.parts[index];
        let part = PartNotes {
            edition: &self.edition.parts[alignment.edition],
            source: &self.source.parts[alignment.source],
            report: &self.audit.parts[index],
            found: &self.findings[index],
            names: &self.names[index],
            decisions: &self.decisions[index],
            left: self
                .left
                .iter()
                .flat_map(|bar| bar.findings.iter().map(move |f| (*f, bar)))
                .filter(|(f, _)| f.0 == index)
                .map(|(f, bar)| (f.1, bar))
                .collect(),
            bars_changed: &|passage| {
                let (first, last) = passage.rows(self.collation, alignment, &self.edition.parts[alignment.edition]);
                self.changed_rows.range(first..=last).next().is_some()
            },
        };
        part.remarks()
    }

    /// One table for each part, for people.
    pub fn markdown(&self) -> String {
        let mut out = String::from("# Critical notes\n\n");
        let named = |file: &str, title: &Option<String>| match title {
            Some(title) => format!("{} ({})", plain(title), plain(file)),
            None => plain(file),
        };
        let (edition, source) = (&self.audit.edition, &self.audit.source);
        let _ = writeln!(out, "- Edition: {}", named(&edition.file, &edition.title));
        let _ = writeln!(out, "- Source: {}", named(&source.file, &source.title));
        if let Some(provenance) = self.provenance {
            let _ = writeln!(
                out,
                "- BLAKE3 checksums: edition {}, source {}",
                provenance.edition.checksum, provenance.source.checksum
            );
        }
        out.push_str(
            "- Bars and signs are the edition's; of what it lacks, the source's. Signs are the main notes and rests of \
             the voice, counted from 1; grace notes do not count. Pitches of the source are given in the edition's \
             key.\n",
        );
        for (index, part) in self.audit.parts.iter().enumerate() {
            let _ = write!(out, "\n## {}\n\n{}\n\n", plain(&part.part.spoken()), key_relation(part));
            let remarks = self.of_part(index);
            if remarks.is_empty() {
                out.push_str("Nothing differs.\n");
            } else {
                out.push_str(
                    "| bar | sign | category | edition | source | remark |\n| --- | --- | --- | --- | --- | --- |\n",
                );
            }
            for r in remarks {
                let bar = if r.source_bar.is_empty() || r.source_bar == r.bar {
                    r.bar
                } else {
                    format!("{} (source {})", r.bar, r.source_bar)
                };
                let cells = [bar, r.sign, r.category, r.edition, r.source, r.remark].map(|c| plain(&c));
                let _ = writeln!(out, "| {} |", cells.join(" | "));
            }
            for on in self.on_of(index) {
                let _ = write!(out, "\n### On the {}\n\n{}\n", plain(&on.instrument), plain(&adapted::summary(on)));
                let remarks = adapted::remarks(on);
                if !remarks.is_empty() {
                    out.push_str("\nBars are the clean copy's.\n\n");
                }
                for remark in remarks {
                    let _ = writeln!(out, "- {}", plain(&remark.text));
                }
            }
        }
        let more: Vec<String> = phrases::unmatched(self.audit);
        if !more.is_empty() || !self.remarks.is_empty() {
            out.push_str("\n## Remarks\n\n");
            for remark in more.iter().chain(self.remarks) {
                let _ = writeln!(out, "- {}", plain(remark));
            }
        }
        let _ = write!(out, "\n{CAUTION}\n");
        out
    }

    /// One line for each note under a line of headings.
    pub fn csv(&self) -> String {
        let mut out =
            line(&["part", "bar", "sign", "source_bar", "category", "edition", "source", "remark", "decision_name"]);
        for (index, part) in self.audit.parts.iter().enumerate() {
            for r in self.of_part(index) {
                out += &line(&[
                    &part.part.spoken(),
                    &r.bar,
                    &r.sign,
                    &r.source_bar,
                    &r.category,
                    &r.edition,
                    &r.source,
                    &r.remark,
                    &r.name,
                ]);
            }
            for remark in self.on_of(index).flat_map(adapted::remarks) {
                let (bar, sign) = (&remark.bar, &sign(remark.part, remark.at, remark.voice));
                out += &line(&[&part.part.spoken(), bar, sign, "", remark.category, "", "", &remark.text, ""]);
            }
        }
        out
    }

    /// What was looked at for an instrument of a part.
    fn on_of(&self, index: usize) -> impl Iterator<Item = &OnInstrument> {
        let place = self.collation.parts[index].edition;
        self.on.iter().filter(move |on| on.place == place && (on.moves.is_some() || !on.left.is_empty()))
    }
}

struct PartNotes<'a> {
    edition: &'a Part,
    source: &'a Part,
    report: &'a PartReport,
    found: &'a PartFindings,
    names: &'a Names,
    decisions: &'a [Decision],
    /// The findings that had to be left, with their bar.
    left: BTreeMap<usize, &'a LeftBar>,
    /// Whether bars of a passage went or came back.
    bars_changed: &'a dyn Fn(&Passage) -> bool,
}

impl PartNotes<'_> {
    /// A note for each passage and for each finding that no passage tells.
    fn remarks(&self) -> Vec<Remark> {
        let mut told = vec![false; self.found.passages.len()];
        let mut out = Vec::new();
        for (index, finding) in self.found.findings.iter().enumerate() {
            let whole = finding.passage.filter(|p| finding.category.is_of_notes() && self.one_decision(*p).is_some());
            match whole {
                Some(passage) if told[passage] => {}
                Some(passage) => {
                    told[passage] = true;
                    out.push(self.passage(passage));
                }
                None => out.push(self.finding(index, finding)),
            }
        }
        for passage in (0..told.len()).filter(|p| !told[*p]) {
            // Those without findings of notes: bars of rests, repeats written out.
            let silent = self.found.findings.iter().all(|f| f.passage != Some(passage) || !f.category.is_of_notes());
            if silent {
                out.push(self.passage(passage));
            }
        }
        out
    }

    /// What became of all notes of a passage, if it was the same for each.
    fn one_decision(&self, passage: usize) -> Option<Decision> {
        let own = self.found.findings.iter().zip(self.decisions);
        let mut own = own.filter(|(f, _)| f.passage == Some(passage) && f.category.is_of_notes()).map(|(_, d)| *d);
        let first = own.next()?;
        own.all(|d| d == first).then_some(first)
    }

    fn passage(&self, index: usize) -> Remark {
        let (found, report) = (&self.found.passages[index], &self.report.passages[index]);
        let (place, what) = phrases::passage(report, None);
        let undone = match self.one_decision(index) {
            Some(decision) => decision == Decision::Out,
            None => (self.bars_changed)(found),
        };
        let done = match (undone, found.kind) {
            (false, _) => "kept as the edition has it",
            (true, PassageKind::InsertedPassage) => "taken out",
            (true, PassageKind::Cut) => "put back",
            (true, _) => "the source's music put back",
        };
        let own = self.left.keys().find(|f| self.found.findings[**f].passage == Some(index));
        let bars = |from: &Point, to: &Point| {
            if from.bar_index == to.bar_index { from.bar.clone() } else { format!("{}–{}", from.bar, to.bar) }
        };
        let source_bar = report.source_from.as_ref().zip(report.source_to.as_ref()).map(|(a, b)| bars(a, b));
        let voice = found.edition.first().map_or(0, |n| self.edition.notes[*n].voice);
        let first = sign(self.edition, found.from, voice);
        let last = sign(self.edition, found.to, voice);
        let sign = if first == last || found.from.bar != found.to.bar { first } else { format!("{first}–{last}") };
        Remark {
            bar: bars(&report.from, &report.to),
            sign,
            source_bar: source_bar.unwrap_or_default(),
            category: found.kind.words().into(),
            edition: String::new(),
            source: String::new(),
            remark: self.with_reason(&format!("{place}: {what}; {done}"), own),
            name: self.names.passages[index].clone(),
        }
    }

    /// A remark, and why the finding had to be left.
    fn with_reason(&self, remark: &str, finding: Option<&usize>) -> String {
        match finding.and_then(|finding| self.left.get(finding)) {
            Some(bar) => format!("{remark}, because it could not be undone: {}", bar.reason),
            None => remark.into(),
        }
    }

    fn finding(&self, index: usize, finding: &Finding) -> Remark {
        let voice = finding.voice.saturating_sub(1);
        let omitted = finding.status == Status::Omitted;
        let counted = match finding.source_at.filter(|_| omitted) {
            Some(there) => sign(self.source, there, voice),
            None => sign(self.edition, finding.at, voice),
        };
        let end = finding.end.filter(|_| !omitted).map_or(String::new(), |end| {
            let last = sign(self.edition, end, voice);
            let bar = |spot: Spot| self.edition.bars.get(spot.bar).map_or("", |b| &b.number);
            if end.bar == finding.at.bar { format!("–{last}") } else { format!(" to bar {}, {last}", bar(end)) }
        });
        let number = |part: &Part, spot: Spot| part.bars.get(spot.bar).map_or(String::new(), |b| b.number.clone());
        Remark {
            bar: number(self.edition, finding.at),
            sign: counted + &end,
            source_bar: finding.source_at.map_or(String::new(), |s| number(self.source, s)),
            category: finding.category.name().into(),
            edition: finding.edition_reading.clone().unwrap_or_default(),
            source: finding.source_reading.clone().unwrap_or_default(),
            remark: self.with_reason(done(finding.status, self.decisions[index]), Some(&index)),
            name: self.names.findings[index].clone(),
        }
    }
}

fn done(status: Status, decision: Decision) -> &'static str {
    match (status, decision) {
        (Status::Added, Decision::Out) => "addition; taken out",
        (Status::Added, Decision::Keep) => "addition; kept",
        (_, Decision::Bracket) => "addition; kept, set apart",
        (Status::Omitted, Decision::Out) => "omission; put back",
        (Status::Omitted, Decision::Keep) => "omission; left out",
        (Status::Altered, Decision::Out) => "alteration; the source's reading restored",
        (Status::Altered, Decision::Keep) => "alteration; the edition's reading kept",
    }
}

/// Which main note or rest of its voice stands at a place or last before it.
fn sign(part: &Part, at: Spot, voice: u32) -> String {
    let Some(bar) = part.bars.get(at.bar) else { return "–".into() };
    let count = |voice: Option<u32>| {
        let own = bar.notes.clone().map(|n| &part.notes[n]);
        let main = own.filter(|n| n.grace == 0 && !n.chord && voice.is_none_or(|v| n.voice == v));
        main.filter(|n| n.offset <= at.offset).count()
    };
    let first_voice = bar.notes.clone().next().map(|n| part.notes[n].voice);
    match (count(Some(voice)), first_voice) {
        (0, Some(first)) => count(Some(first)).max(1).to_string(),
        (0, None) => "–".into(),
        (n, _) => n.to_string(),
    }
}

/// On one line, with nothing that Markdown would take for its own.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.split_whitespace().collect::<Vec<_>>().join(" ").chars() {
        if matches!(c, '|' | '\\' | '*' | '_' | '`' | '<' | '[') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}
