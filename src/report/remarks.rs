//! The notes on one part: a line for each finding and passage, with what
//! became of it.

use super::phrases;
use super::{PartReport, Point};
use crate::alignment::{EditionPart, NoteOf, PartOf, Side, SourcePart};
use crate::clean::{Decision, LeftBar, Names, Outcomes, Treatment};
use crate::findings::{Finding, PartFindings, PassageKind, Status};
use crate::pitch::Interval;
use crate::score::{Category, Part, Place, Sound};

/// One note.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Remark {
    pub bar: String,
    /// Which sign of its voice in the bar: main notes and rests counted, grace notes not.
    pub sign: String,
    pub source_bar: String,
    pub category: String,
    pub edition: String,
    pub source: String,
    pub remark: String,
    /// As a file of decisions calls it.
    pub name: String,
}

/// Whether a finding that the line of its passage tells has its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lines {
    OfPassages,
    /// It has, too.
    OfFindings,
}

/// All that is noted of one part.
pub(super) struct PartNotes<'a> {
    pub edition: EditionPart<'a>,
    pub source: SourcePart<'a>,
    pub report: &'a PartReport,
    pub found: &'a PartFindings,
    pub outcomes: &'a Outcomes<'a>,
    /// As the cleaning calls its own findings and passages.
    pub names: &'a Names,
    pub interval: Interval,
    pub lines: Lines,
    /// What was done for an instrument, by the cleaning's rows.
    pub moves: Vec<(usize, String)>,
}

/// So many notes of a passage are read out.
const READ_OUT: usize = 40;

impl PartNotes<'_> {
    /// A note for each passage and for each finding that no passage tells.
    pub fn remarks(&self) -> Vec<Remark> {
        let mut told = vec![false; self.found.passages.len()];
        let mut out = Vec::new();
        for (index, finding) in self.found.findings.iter().enumerate() {
            if let Some(passage) = finding.passage.filter(|p| !told[*p]) {
                told[passage] = true;
                out.push(self.passage(passage));
            }
            let told_there = finding.passage.is_some_and(|p| self.tells(p, finding) && self.one_decision(p).is_some());
            if self.lines == Lines::OfFindings || !told_there {
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
                self.found.passages[passage].other_music.is_some() && finding.category.is_of_notes()
                    || finding.category == Category::WrittenOut
            }
        }
    }

    /// What became of the passage itself; `None` for what was undone in part.
    fn own_decisions(&self, passage: usize) -> Vec<Option<Decision>> {
        let own = self.found.findings.iter().zip(&self.outcomes.findings);
        own.filter(|(f, _)| f.passage == Some(passage) && self.tells(passage, f))
            .map(|(_, outcome)| outcome.treatment.decision())
            .collect()
    }

    /// What became of all notes of a passage, if it was the same for each.
    fn one_decision(&self, passage: usize) -> Option<Decision> {
        let own = self.own_decisions(passage);
        own.first().copied().flatten().filter(|first| own.iter().all(|d| *d == Some(*first)))
    }

    /// The notes of a passage by their names, those of the source in the edition's key.
    fn read_out<S: Side>(&self, part: PartOf<S>, notes: &[NoteOf<S>], by: Interval) -> String {
        let name = |note: &NoteOf<S>| match part[*note].sound {
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
        let outcome = &self.outcomes.passages[index];
        let mixed = self.one_decision(index).is_none() && !self.own_decisions(index).is_empty();
        let undone = match self.one_decision(index) {
            Some(decision) => decision == Decision::Out,
            None => outcome.taken_out || outcome.put_back,
        };
        let bars_alone = (outcome.taken_out, outcome.put_back);
        let done = match (undone, found.kind, bars_alone) {
            _ if mixed => "kept in part; see each note",
            (false, ..) => "kept as the edition has it",
            (true, PassageKind::InsertedPassage, _) => "taken out",
            (true, PassageKind::Cut, _) => "put back",
            (true, PassageKind::WrittenOutRepeat, (true, false)) => "one of the two passes taken out",
            (true, PassageKind::WrittenOutRepeat, (false, true)) => "one of the two passes put back",
            (true, ..) => "the source's music put back",
        };
        let mut done = done.to_string();
        for text in self.moves.iter().filter(|(row, _)| outcome.rows.contains(row)).map(|m| &m.1) {
            if !done.contains(text.as_str()) {
                done += &format!("; {text}");
            }
        }
        let bars = |from: &Point, to: &Point| {
            if from.bar_index == to.bar_index { from.bar.clone() } else { format!("{}–{}", from.bar, to.bar) }
        };
        let source_bar = report.source_from.as_ref().zip(report.source_to.as_ref()).map(|(a, b)| bars(a, b));
        let voice = found.edition.first().map_or(0, |n| self.edition[*n].voice);
        let first = sign(&self.edition, found.at.from, voice);
        let last = sign(&self.edition, found.at.to, voice);
        let sign =
            if first == last || found.at.from.bar != found.at.to.bar { first } else { format!("{first}–{last}") };
        Remark {
            bar: bars(&report.from, &report.to),
            sign,
            source_bar: source_bar.unwrap_or_default(),
            category: found.kind.words().into(),
            edition: self.read_out(self.edition, &found.edition, Interval::UNISON),
            source: self.read_out(self.source, &found.source, self.interval),
            remark: with_reason(&format!("{place}: {what}; {done}"), outcome.left),
            name: outcome.own.map_or(String::new(), |own| self.names.passages[own].clone()),
        }
    }

    fn finding(&self, index: usize, finding: &Finding) -> Remark {
        let outcome = self.outcomes.findings[index];
        let voice = finding.voice.saturating_sub(1);
        let omitted = finding.status == Status::Omitted;
        let counted = match finding.source_at.filter(|_| omitted) {
            Some(there) => sign(&self.source, there, voice),
            None => sign(&self.edition, finding.at, voice),
        };
        let end = finding.end.filter(|_| !omitted).map_or(String::new(), |end| {
            let last = sign(&self.edition, end, voice);
            let bar = |place: Place| self.edition.bars.get(place.bar).map_or("", |b| &b.number);
            if end.bar == finding.at.bar { format!("–{last}") } else { format!(" to bar {}, {last}", bar(end)) }
        });
        let number = |part: &Part, place: Place| part.bars.get(place.bar).map_or(String::new(), |b| b.number.clone());
        Remark {
            bar: number(&self.edition, finding.at),
            sign: counted + &end,
            source_bar: finding.source_at.map_or(String::new(), |s| number(&self.source, s)),
            category: finding.category.name().into(),
            edition: finding.edition_reading.clone().unwrap_or_default(),
            source: finding.source_reading.clone().unwrap_or_default(),
            remark: match outcome.lost {
                Some(why) => format!("{}, because {why}", done(finding.status, outcome.treatment)),
                None => with_reason(&done(finding.status, outcome.treatment), outcome.left),
            },
            name: outcome.own.map_or(String::new(), |own| self.names.findings[own].clone()),
        }
    }
}

/// A remark, and why what it tells had to be left.
fn with_reason(remark: &str, left: Option<&LeftBar>) -> String {
    match left {
        Some(bar) => format!("{remark}, because it could not be reverted: {}", bar.reason),
        None => remark.into(),
    }
}

fn done(status: Status, treatment: Treatment) -> String {
    let what = match status {
        Status::Added => "addition",
        Status::Omitted => "omission",
        Status::Altered => "alteration",
    };
    let done = match (status, treatment) {
        (_, Treatment::BarTakenOut) => "taken out with its bar",
        (_, Treatment::BarPutBack) => "reverted with its bar, which was put back",
        (_, Treatment::WithBar(Decision::Out)) => "reverted: its bar is as in the source",
        (_, Treatment::WithBar(_)) => "kept with its bar",
        (_, Treatment::InPart) => "reverted in part",
        (_, Treatment::Lost) => "could not be kept",
        (_, Treatment::Decided(Decision::Bracket)) => "kept, set apart",
        (Status::Added, Treatment::Decided(Decision::Out)) => "taken out",
        (Status::Added, Treatment::Decided(Decision::Keep)) => "kept",
        (Status::Omitted, Treatment::Decided(Decision::Out)) => "put back",
        (Status::Omitted, Treatment::Decided(Decision::Keep)) => "left out",
        (Status::Altered, Treatment::Decided(Decision::Out)) => "the source's reading restored",
        (Status::Altered, Treatment::Decided(Decision::Keep)) => "the edition's reading kept",
    };
    format!("{what}; {done}")
}

/// Which main note or rest of its voice stands at a place or last before it.
pub(super) fn sign(part: &Part, at: Place, voice: u32) -> String {
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
