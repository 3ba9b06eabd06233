//! Critical notes: each of the editor's interventions with what became of it,
//! as the report of a critical edition lists them.

use super::Audit;
use super::adapted;
use super::csv::line;
use super::keys_reason::octave_change_sentence;
use super::phrases::{self, CAUTION, key_relation};
use super::remarks::{Lines, PartNotes, Remark, sign};
use crate::clean::{Names, OnInstrument, Outcomes, Provenance};
use crate::collate::Collation;
use crate::findings::PartFindings;
use crate::keys::phrases::Move;
use crate::readable;
use crate::score::Score;
use std::fmt::Write;

/// What the notes are made from; `audit` is of the same findings.
pub struct Notes<'a> {
    pub audit: &'a Audit,
    pub edition: &'a Score,
    pub source: &'a Score,
    pub collation: &'a Collation,
    pub findings: &'a [PartFindings],
    /// What became of them, and what the cleaning, which looks at whole bars, calls its own.
    pub outcomes: &'a [Outcomes<'a>],
    pub names: &'a [Names],
    /// The row of each bar of the copy.
    pub rows: &'a [usize],
    /// How the clean parts lie on the instruments that they are meant for.
    pub on: &'a [OnInstrument],
    pub provenance: Option<&'a Provenance>,
    /// Further decisions and warnings, in sentences.
    pub remarks: &'a [String],
}

impl Notes<'_> {
    fn of_part(&self, index: usize, lines: Lines) -> Vec<Remark> {
        let alignment = &self.collation.parts[index];
        let part = PartNotes {
            edition: alignment.edition_part(self.edition),
            source: alignment.source_part(self.source),
            report: &self.audit.parts[index],
            found: &self.findings[index],
            outcomes: &self.outcomes[index],
            names: &self.names[index],
            interval: alignment.interval,
            lines,
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
                    "then, for the {}, by obelus and not by the editor: {sentence} (bars of the copy)",
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
            "- Bars and signs are counted in the edition; where it lacks something, in the source. Signs are the notes \
             and rests of the voice, counted from 1, without grace notes. The source's pitches are given in the \
             edition's key.\n",
        );
        for (index, part) in self.audit.parts.iter().enumerate() {
            let _ = write!(out, "\n## {}\n\n{}\n\n", plain(&part.part.spoken()), key_relation(part));
            let remarks = self.of_part(index, Lines::OfPassages);
            if remarks.is_empty() {
                out.push_str("No differences.\n");
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
                    out.push_str("\nBars are counted in the clean copy.\n\n");
                }
                for remark in remarks {
                    let _ = writeln!(out, "- {}", plain(&remark.text));
                }
            }
        }
        let mut more = phrases::unmatched(self.audit);
        more.extend(self.audit.warnings.iter().cloned());
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
            for r in self.of_part(index, Lines::OfFindings) {
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

/// On one line, with nothing that Markdown would take for its own.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in readable::plain(text).chars() {
        if matches!(c, '|' | '\\' | '*' | '_' | '`' | '<' | '[') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}
