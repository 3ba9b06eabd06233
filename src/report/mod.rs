//! One result for each command, and its forms: text, JSON, CSV, a page.
//!
//! The JSON is the result itself; its fields are promised to scripts, and a
//! change of them is a new `SCHEMA`. What only the text needs is not in it.

mod adapted;
mod bars;
mod build;
mod clean;
mod critical;
mod csv;
pub mod fingers;
mod html;
pub mod json;
mod keys;
mod keys_part;
mod keys_reason;
mod keys_text;
mod listing;
pub mod page;
pub mod phrases;
mod range;
mod range_text;
mod ranking;
mod remarks;
mod table;
mod text;
pub mod verdict;

#[cfg(test)]
mod tests;

use crate::findings::{Finding, PassageKind, Status, Totals};
use crate::instrument::{BetterOctave, Side};
use crate::score::{Category, Line, Part, Place, spoken};
use crate::time::{self, Time};
use serde::Serialize;
use std::borrow::Cow;
use std::collections::BTreeSet;

pub use bars::{BarError, Bars};
pub use build::{Material, audit};
pub use clean::{clean_json, clean_text};
pub use critical::Notes;
pub use fingers::{Hands, Hardest};
pub use html::{
    DrawnThing, Glyphs, Lies, PICTURES_STYLE, audit as audit_html, compass_alone, drawn_alone, out_of_line,
    staves_alone,
};
pub use keys::{KeysReport, keys_report};
pub use keys_reason::octave_change_sentence;
pub use keys_text::OutOfReach;
pub use phrases::passage_line;
pub use range::{RangePart, RangeReport, range_report};
pub use range_text::instruments as instruments_text;
pub use ranking::{Candidate, Figures, RankedEdition, Ranking};

/// The number of the JSON's form.
pub const SCHEMA: u32 = 2;

/// What `obelus audit` says.
#[derive(Debug, Serialize)]
pub struct Audit {
    /// The version of the JSON.
    pub schema: u32,
    /// The edition's file and title.
    pub edition: ScoreName,
    /// The source's file and title.
    pub source: ScoreName,
    /// Each pair of parts that was compared.
    pub parts: Vec<PartReport>,
    /// Lines without a counterpart.
    pub not_compared: NotCompared,
    /// What was unusual in the files, in sentences.
    pub warnings: Vec<String>,
}

/// A score by its file and title.
#[derive(Debug, Clone, Serialize)]
pub struct ScoreName {
    /// As it was given.
    pub file: String,
    /// The title, if the file has one.
    pub title: Option<String>,
}

/// A line of a score: a part, a staff of it, or a voice.
#[derive(Debug, Clone, Serialize)]
pub struct PartName {
    /// Its id in the file.
    pub id: String,
    /// In words.
    pub name: String,
    /// 1-based; `None` where the line has all of its part's staves, and voices.
    pub staff: Option<u32>,
    /// As the file numbers it.
    pub voice: Option<u32>,
}

impl PartName {
    /// The name of a line.
    pub fn of(part: &Part) -> PartName {
        let Line { staff, voice } = part.line;
        PartName { id: part.id.clone(), name: part.name.clone(), staff, voice }
    }

    /// The name, or the id of a part without one, and which line of the part it is.
    pub fn spoken(&self) -> Cow<'_, str> {
        spoken(&self.name, &self.id, Line { staff: self.staff, voice: self.voice })
    }
}

/// Lines without a counterpart on the other side: never counted, never taken out.
#[derive(Debug, Serialize)]
pub struct NotCompared {
    /// Lines of the edition.
    pub edition: Vec<LineAlone>,
    /// Lines of the source.
    pub source: Vec<LineAlone>,
}

/// A line without a counterpart.
#[derive(Debug, Serialize)]
pub struct LineAlone {
    /// Whether it has the notes of a line that was compared.
    #[serde(skip)]
    pub doubles: bool,
    /// Its part, staff and voice.
    #[serde(flatten)]
    pub part: PartName,
    /// Struck notes.
    pub notes: usize,
}

/// The stretch of both sides that is the same piece, first and last bar each, and how many bars of either lie outside.
#[derive(Debug, Serialize)]
pub struct ScopeReport {
    /// Its first bar in the edition.
    pub from: Point,
    /// Its last bar in the edition.
    pub to: Point,
    /// Its first bar in the source.
    pub source_from: Point,
    /// Its last bar in the source.
    pub source_to: Point,
    /// Bars of the edition outside of it.
    pub edition_rest: usize,
    /// Bars of the source outside of it.
    pub source_rest: usize,
}

/// One part of the edition beside its part of the source.
#[derive(Debug, Serialize)]
pub struct PartReport {
    /// The line of the edition.
    pub part: PartName,
    /// The line of the source.
    pub source_part: PartName,
    /// The piece that both sides have.
    pub scope: ScopeReport,
    /// From the source to the edition.
    pub transposition: Transposition,
    /// Struck notes of both sides.
    pub notes: NoteCounts,
    /// In the order of the edition.
    pub findings: Vec<FindingReport>,
    /// Findings that belong together.
    pub passages: Vec<PassageReport>,
    /// Only bars that have findings.
    pub bars: Vec<BarReport>,
    /// How many findings, by category and status.
    pub totals: Totals,
    /// `None` when no instrument is known.
    pub range: Option<RangeResult>,
    /// Bars, by `bar_index`, that belong to a passage of music or rests that the source has not so.
    #[serde(skip)]
    pub foreign_bars: BTreeSet<usize>,
    /// The edition's other lines beside the same line of the source.
    #[serde(skip)]
    pub doublings: Vec<String>,
    /// All the edition's marks, its own and the source's.
    #[serde(skip)]
    pub marks: usize,
    /// The bars that the user asked for, in words; `None` for all.
    #[serde(skip)]
    pub only: Option<String>,
    /// 0-based place of the first bar looked at.
    #[serde(skip)]
    pub first_bar: usize,
    /// Printed numbers of the bars looked at, in order.
    #[serde(skip)]
    pub bar_numbers: Vec<String>,
}

impl PartReport {
    /// The bars of the edition that are looked at, by their places.
    pub fn looked_at(&self) -> std::ops::Range<usize> {
        self.first_bar..self.first_bar + self.bar_numbers.len()
    }
}

/// How the edition sounds against the source.
#[derive(Debug, Clone, Serialize)]
pub struct Transposition {
    /// Half steps, up or down.
    pub semitones: i32,
    /// Letter names, 0-based: a second is 1.
    pub steps: i32,
    /// In words.
    pub name: String,
}

/// Struck notes, and pairs of them.
#[derive(Debug, Serialize)]
pub struct NoteCounts {
    /// Of the edition.
    pub edition: usize,
    /// Of the source.
    pub source: usize,
    /// That have a partner.
    pub matched: usize,
}

/// A place in a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Point {
    /// The printed number.
    pub bar: String,
    /// 0-based.
    pub bar_index: usize,
    /// Quarter notes from the bar's start, as a fraction.
    pub offset: String,
    /// 1-based, in beats of the time signature.
    pub beat: String,
}

impl Point {
    /// A place of a part.
    pub fn new(part: &Part, Place { bar, offset }: Place) -> Point {
        // A part without bars has no place to show, but must not stop a report.
        let known = part.bars.get(bar);
        Point {
            bar: known.map_or(String::new(), |b| b.number.clone()),
            bar_index: bar,
            offset: time::text(offset),
            beat: known.map_or(String::new(), |_| time::beat_text(part.beat(Place { bar, offset }))),
        }
    }
}

/// One difference between edition and source.
#[derive(Debug, Serialize)]
pub struct FindingReport {
    /// What differs.
    pub category: Category,
    /// Whether the editor added, omitted or altered it.
    pub status: Status,
    /// Where, in the edition; of what it lacks, where that would be.
    #[serde(flatten)]
    pub at: Point,
    /// Where a slur or another span ends.
    pub end: Option<Point>,
    /// The source's bar, by its printed number.
    pub source_bar: Option<String>,
    /// The same by its place, 0-based.
    pub source_bar_index: Option<usize>,
    /// Quarter notes from that bar's start, as a fraction.
    pub source_offset: Option<String>,
    /// Its voice, as in the file.
    pub voice: u32,
    /// Its staff, 1-based.
    pub staff: u32,
    /// What the edition has there.
    pub edition_reading: Option<String>,
    /// What the source has there.
    pub source_reading: Option<String>,
    /// Its place in the list of passages.
    pub passage: Option<usize>,
}

/// Findings that belong together: an octave displacement, a cut.
#[derive(Debug, Serialize)]
pub struct PassageReport {
    /// What was done.
    pub kind: PassageKind,
    /// The first note, in the edition; of a cut, where it would stand.
    pub from: Point,
    /// The last note.
    pub to: Point,
    /// The same in the source.
    pub source_from: Option<Point>,
    /// The same in the source.
    pub source_to: Option<Point>,
    /// Of an octave displacement: octaves up, or down as a negative number.
    pub octaves: Option<i32>,
    /// Whether other voices of the line go on as in the source meanwhile.
    #[serde(skip)]
    pub partly: bool,
    /// The edition's notes; of a cut the source's.
    pub notes: usize,
    /// `None` when no instrument is known.
    pub outside_range: Option<usize>,
    /// The same with the octaves put back.
    pub outside_range_restored: Option<usize>,
    /// The bar of the edition before it.
    #[serde(skip)]
    pub bar_before: Option<String>,
    /// Of a cut, the bars of the source that are missing whole: place, number.
    #[serde(skip)]
    pub bars_cut: Vec<(usize, String)>,
    /// Of a repeat or an ornament that the source writes out, the bars in which it does.
    #[serde(skip)]
    pub bars_written: usize,
    /// Of ornaments, their names.
    #[serde(skip)]
    pub ornaments: Vec<&'static str>,
}

/// What was found in a bar.
#[derive(Debug, Serialize)]
pub struct BarReport {
    /// The printed number.
    pub bar: String,
    /// Counted from 0.
    pub bar_index: usize,
    /// The printed number of the source's bar.
    pub source_bar: Option<String>,
    /// How many findings, by category and status.
    pub counts: Totals,
}

/// The part against an instrument's range.
#[derive(Debug, Serialize)]
pub struct RangeResult {
    /// By name.
    pub instrument: String,
    /// As in `F4`.
    pub lowest: String,
    /// As in `G6`.
    pub highest: String,
    #[serde(skip)]
    /// The range in words.
    pub words: String,
    /// Notes below or above it.
    pub outside: Vec<OutsideReport>,
    /// Where the part would lie better; `None` where it lies well enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub better_octave: Option<BetterOctave>,
    /// Only for an instrument that was named, and whose fingerings are known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hardest: Option<Hardest>,
    /// Which pitches were compared, in a sentence.
    #[serde(skip)]
    pub reading: String,
    /// The instrument was read off the part's name.
    #[serde(skip)]
    pub guessed: bool,
}

/// A note outside of the range.
#[derive(Debug, Serialize)]
pub struct OutsideReport {
    #[serde(flatten)]
    /// Where it stands.
    pub at: Point,
    /// As in `E4`.
    pub pitch: String,
    /// Below or above.
    pub side: Side,
    /// It belongs to an octave displacement.
    pub displaced: bool,
}

impl Audit {
    /// Whether anything at all was found; a part without a partner counts.
    pub fn found_something(&self) -> bool {
        let found = |p: &PartReport| !p.findings.is_empty() || !p.passages.is_empty();
        self.parts.iter().any(found) || !self.not_compared.edition.is_empty()
    }

    /// The report as JSON, with a line end.
    pub fn json(&self) -> String {
        json(self)
    }
}

pub(crate) fn json(result: &impl Serialize) -> String {
    json::text(result)
}

/// The number of marks of a status.
pub(crate) fn marks_of(totals: &Totals, status: Status) -> usize {
    let marks = totals.iter().filter(|(category, _)| !category.is_of_notes());
    marks.filter_map(|(_, counts)| counts.get(&status)).sum()
}

pub(crate) fn is_in(finding: &Finding, bars: &std::ops::RangeInclusive<usize>) -> bool {
    bars.contains(&finding.at.bar)
}
