//! The notes of both sides on one axis of time, both in the edition's key.

use crate::alignment::{BarOf, EditionBar, EditionNote, EditionPart, NoteOf, PartOf, Side, SourceNote, SourcePart};
use crate::collate::{BarPair, Collation, PartAlignment};
use crate::findings::{PartFindings, Status, Subject};
use crate::instrument::RangeCheck;
use crate::pitch::{Interval, Pitch};
use crate::score::Category;
use crate::time::Time;
use rustc_hash::FxHashMap;
use std::ops::Range;

/// How wide a grace note is drawn, in quarter notes.
const GRACE: f64 = 0.125;

/// What a note is beside the other side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The source's, in the edition or not.
    Source,
    /// The source's, and the edition has nothing in its place.
    Omitted,
    /// The edition's, as the source has it.
    Same,
    Altered,
    Added,
}

impl Kind {
    pub fn is_source(self) -> bool {
        matches!(self, Kind::Source | Kind::Omitted)
    }
}

/// A sounding note. Only for drawing, so its time may be a float.
#[derive(Debug, Clone)]
pub struct Tone {
    /// Quarter notes on the chart's axis.
    pub from: f64,
    pub to: f64,
    pub pitch: Pitch,
    pub kind: Kind,
    /// It is held over from the note before it.
    pub held: bool,
}

/// A stretch of the axis: a bar of the edition, of the source, or of both.
#[derive(Debug, Clone)]
pub struct Column {
    pub from: f64,
    pub to: f64,
    /// The printed number in the edition; `None` inside a bar and where only the source has one.
    pub number: Option<String>,
    pub tones: Range<usize>,
}

/// One part, or some rows of it.
#[derive(Debug)]
pub struct Chart {
    pub columns: Vec<Column>,
    /// In the order of the columns, the source's first in each.
    pub tones: Vec<Tone>,
}

/// What a chart is drawn from.
pub struct Sides<'a> {
    pub edition: EditionPart<'a>,
    pub source: SourcePart<'a>,
    pub alignment: &'a PartAlignment,
    pub collation: &'a Collation,
    pub found: &'a PartFindings,
    pub check: Option<&'a RangeCheck>,
}

impl Sides<'_> {
    /// The rows that are given, laid end to end.
    pub fn chart(&self, rows: Range<usize>) -> Chart {
        let (ours, theirs) = self.kinds();
        let mut chart = Chart { columns: Vec::new(), tones: Vec::new() };
        let mut at = 0.0;
        for index in rows {
            let row = &self.collation.outline[index];
            let edition = self.extent(self.edition, index, |row| (row.edition, row.edition_from));
            let source = self.extent(self.source, index, |row| (row.source, row.source_from));
            let scale = float(row.scale);
            let lasts = |e: &Option<Extent>| e.as_ref().map_or(0.0, |e| float(e.to - e.from));
            let length = lasts(&edition).max(lasts(&source) * scale).max(GRACE);
            let first = chart.tones.len();
            if let Some(extent) = source {
                let kind = |n| theirs.get(&n).copied().unwrap_or(Kind::Source);
                let put = Put { at, scale, by: self.alignment.interval, bar: row.edition.map_or(0, EditionBar::index) };
                self.tones(self.source, &extent, &put, kind, &mut chart.tones);
            }
            if let Some(extent) = edition {
                let kind = |n| ours.get(&n).copied().unwrap_or(Kind::Same);
                let put = Put { at, scale: 1.0, by: Interval::UNISON, bar: extent.bar };
                self.tones(self.edition, &extent, &put, kind, &mut chart.tones);
            }
            let starts = row.edition.filter(|_| row.edition_from.is_zero());
            chart.columns.push(Column {
                from: at,
                to: at + length,
                number: starts.and_then(|b| self.edition.bar(b)).map(|b| b.number.clone()),
                tones: first..chart.tones.len(),
            });
            at += length;
        }
        chart
    }

    /// What the findings say of the notes of either side; of others they say nothing.
    fn kinds(&self) -> (FxHashMap<EditionNote, Kind>, FxHashMap<SourceNote, Kind>) {
        let (mut ours, mut theirs) = (FxHashMap::default(), FxHashMap::default());
        for finding in &self.found.findings {
            match finding.subject {
                Subject::Note { edition: Some(note), .. } if finding.category != Category::Spelling => {
                    let kind = if finding.status == Status::Added { Kind::Added } else { Kind::Altered };
                    ours.insert(note, kind);
                }
                Subject::Note { edition: None, source: Some(note) } => {
                    theirs.insert(note, Kind::Omitted);
                }
                Subject::WrittenOutOrnament(index) => {
                    ours.extend(self.alignment.written_out[index].edition.iter().map(|n| (*n, Kind::Altered)));
                }
                _ => {}
            }
        }
        (ours, theirs)
    }

    /// What a row takes of a bar of one side; a repeat that is only written out
    /// on the other side brings its bar back.
    fn extent<S: Side>(
        &self,
        part: PartOf<S>,
        index: usize,
        begin: impl Fn(&BarPair) -> (Option<BarOf<S>>, Time),
    ) -> Option<Extent> {
        let own = |row: &BarPair| {
            let (bar, from) = begin(row);
            (bar.map(BarOf::index), from)
        };
        let outline = &self.collation.outline;
        let (bar, from) = own(&outline[index]);
        let known = |bar: &usize| *bar < part.bars.len();
        let Some(bar) = bar.filter(known) else {
            let bar = outline[index].again.filter(known)?;
            return Some(Extent { bar, from: Time::default(), to: part.bars[bar].length });
        };
        let next = outline[index + 1..].iter().map(own).find(|o| o.0.is_some());
        let to = next.filter(|o| o.0 == Some(bar)).map_or(part.bars[bar].length, |o| o.1);
        Some(Extent { bar, from, to: to.max(from) })
    }

    fn tones<S: Side>(
        &self,
        part: PartOf<S>,
        extent: &Extent,
        put: &Put,
        kind: impl Fn(NoteOf<S>) -> Kind,
        out: &mut Vec<Tone>,
    ) {
        let bar = &part.bars[extent.bar];
        for note in part.notes_in(bar) {
            let own = &part[note];
            let after = own.offset >= extent.to && extent.to < bar.length;
            let before = own.offset < extent.from && !extent.from.is_zero();
            let Some(pitch) = own.pitch().filter(|_| !own.cue && !after && !before) else { continue };
            let moved = pitch.moved(put.by);
            let check = self.check.filter(|_| put.bar < self.edition.bars.len());
            let read = check.map_or(moved, |c| c.read(&self.edition, put.bar, moved));
            let start = put.at + float(own.offset - extent.from) * put.scale;
            let (from, to) = match own.grace {
                0 => (start, start + float(own.duration) * put.scale),
                _ => (start - GRACE, start - GRACE / 4.0),
            };
            let kind = kind(part.head(note));
            out.push(Tone { from: from.max(put.at), to, pitch: read, kind, held: own.tied_from.is_some() });
        }
    }
}

/// A stretch of a bar.
struct Extent {
    bar: usize,
    from: Time,
    to: Time,
}

/// Where the notes of a row come to stand.
struct Put {
    at: f64,
    scale: f64,
    by: Interval,
    /// The bar of the edition whose transposition holds.
    bar: usize,
}

impl Chart {
    /// Lowest and highest sound of the notes, in semitones; `None` without notes.
    pub fn compass(&self) -> Option<(f64, f64)> {
        let sounds = self.tones.iter().map(|t| semitones(t.pitch));
        sounds.fold(None, |all, s| Some(all.map_or((s, s), |(low, high): (f64, f64)| (low.min(s), high.max(s)))))
    }
}

/// C4 is 60.
pub fn semitones(pitch: Pitch) -> f64 {
    f64::from(pitch.sound()) / 100.0
}

/// For drawing only.
pub fn float(time: Time) -> f64 {
    time.numer() as f64 / time.denom() as f64
}
