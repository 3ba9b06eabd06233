//! Critical notes: each of the editor's interventions with what became of it,
//! as the report of a critical edition lists them.

use super::adapted;
use super::csv::line;
use super::keys_reason::octave_change_sentence;
use super::phrases::{self, CAUTION, key_relation};
use super::{Audit, PartReport, Point};
use crate::clean::{Decision, LeftBar, Names, OnInstrument, Provenance};
use crate::collate::Collation;
use crate::findings::{Finding, PartFindings, Passage, PassageKind, Spot, Status};
use crate::keys::phrases::Move;
use crate::pitch::Interval;
use crate::score::{Category, NoteId, Part, Score, Sound};
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
    /// The row of each bar of the copy.
    pub rows: &'a [usize],
    /// How the clean parts lie on the instruments that they are meant for.
    pub on: &'a [OnInstrument],
    pub provenance: Option<&'a Provenance>,
    /// Further decisions and warnings, in sentences.
    pub remarks: &'a [String],
}

impl Notes<'_> {
    /// `every`: findings that a line for their passage tells have their own, too.
    fn of_part(&self, index: usize, every: bool) -> Vec<Remark> {
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
            interval: alignment.interval,
            every,
            rows: &|passage| passage.rows(self.collation, alignment, &self.edition.parts[alignment.edition]),
            changed_rows: self.changed_rows,
            moves: self.moves(index),
        };
        part.remarks()
    }

    /// The octave changes of a part for its instruments, with their rows, as sentences.
    fn moves(&self, index: usize) -> Vec<(usize, String)> {
        let of_one = |on: &OnInstrument| -> Vec<(usize, String)> {
            let row = |note: &usize| self.rows.get(on.part.notes[*note].bar).copied();
            let told = |m: &Move| {
                let sentence = octave_change_sentence(&on.part, m);
                let text = format!(
                    "then, for the {}, ours and not the editor's: {sentence} (bars of the copy)",
                    on.instrument
                );
                Some((m.notes.iter().find_map(row)?, m.notes.iter().rev().find_map(row)?, text))
            };
            let moves = on.moves.iter().flatten().filter_map(told);
            moves.flat_map(|(first, last, text)| (first..=last).map(move |row| (row, text.clone()))).collect()
        };
        self.on_of(index).flat_map(of_one).collect()
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
            let remarks = self.of_part(index, false);
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
            for r in self.of_part(index, true) {
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
    interval: Interval,
    every: bool,
    /// The first and the last row of a passage.
    rows: &'a dyn Fn(&Passage) -> (usize, usize),
    changed_rows: &'a BTreeSet<usize>,
    /// What was done for an instrument, by rows.
    moves: Vec<(usize, String)>,
}

/// So many notes of a passage are read out.
const READ_OUT: usize = 40;

impl PartNotes<'_> {
    /// A note for each passage and for each finding that no passage tells.
    fn remarks(&self) -> Vec<Remark> {
        let mut told = vec![false; self.found.passages.len()];
        let mut out = Vec::new();
        for (index, finding) in self.found.findings.iter().enumerate() {
            if let Some(passage) = finding.passage.filter(|p| !told[*p]) {
                told[passage] = true;
                out.push(self.passage(passage));
            }
            let told_there = finding.passage.is_some_and(|p| self.tells(p, finding) && self.one_decision(p).is_some());
            if self.every || !told_there {
                out.push(self.finding(index, finding));
            }
        }
        // Those without findings: bars of rests, repeats written out.
        out.extend((0..told.len()).filter(|p| !told[*p]).map(|p| self.passage(p)));
        out
    }

    /// Whether the line of a passage tells a finding: it is the passage itself.
    fn tells(&self, passage: usize, finding: &Finding) -> bool {
        match self.found.passages[passage].kind {
            PassageKind::OctaveDisplacement => finding.category == Category::Octave,
            PassageKind::RevoicedChords => finding.category.is_of_notes(),
            _ => {
                self.found.passages[passage].stretch.is_some() && finding.category.is_of_notes()
                    || finding.category == Category::WrittenOut
            }
        }
    }

    /// What the passage itself is decided as.
    fn own_decisions(&self, passage: usize) -> Vec<Decision> {
        let own = self.found.findings.iter().zip(self.decisions);
        own.filter(|(f, _)| f.passage == Some(passage) && self.tells(passage, f)).map(|(_, d)| *d).collect()
    }

    /// What became of all notes of a passage, if it was the same for each.
    fn one_decision(&self, passage: usize) -> Option<Decision> {
        let own = self.own_decisions(passage);
        own.first().copied().filter(|first| own.iter().all(|d| d == first))
    }

    /// The notes of a passage by their names, those of the source in the edition's key.
    fn read_out(&self, part: &Part, notes: &[NoteId], by: Interval) -> String {
        let name = |note: &NoteId| match part.notes[*note].sound {
            Sound::Pitched(pitch) => pitch.moved(by).to_string(),
            Sound::Unpitched(place) => format!("stroke at {place}"),
            Sound::Rest => "rest".into(),
        };
        let mut names: Vec<String> = notes.iter().take(READ_OUT).map(name).collect();
        if notes.len() > READ_OUT {
            names.push(format!("… ({} notes)", notes.len()));
        }
        names.join(" ")
    }

    fn passage(&self, index: usize) -> Remark {
        let (found, report) = (&self.found.passages[index], &self.report.passages[index]);
        let (place, what) = phrases::passage(report, None);
        let (first_row, last_row) = (self.rows)(found);
        let mixed = self.one_decision(index).is_none() && !self.own_decisions(index).is_empty();
        let undone = match self.one_decision(index) {
            Some(decision) => decision == Decision::Out,
            None => self.changed_rows.range(first_row..=last_row).next().is_some(),
        };
        let done = match (undone, found.kind) {
            _ if mixed => "kept in part, each note as told by itself",
            (false, _) => "kept as the edition has it",
            (true, PassageKind::InsertedPassage) => "taken out",
            (true, PassageKind::Cut) => "put back",
            (true, _) => "the source's music put back",
        };
        let mut done = done.to_string();
        for text in self.moves.iter().filter(|(row, _)| (first_row..=last_row).contains(row)).map(|m| &m.1) {
            if !done.contains(text.as_str()) {
                done += &format!("; {text}");
            }
        }
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
            edition: self.read_out(self.edition, &found.edition, Interval::UNISON),
            source: self.read_out(self.source, &found.source, self.interval),
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
