//! What the alignment means: findings and passages. Reports and cleaning both
//! start from here and work nothing out again.

mod marks;
mod notes;
mod passages;
mod places;
mod repeats;

use crate::alignment::{EditionMark, EditionNote, EditionPart, SourceMark, SourceNote, SourcePart, Table};
use crate::collate::{Collation, PartAlignment};
use crate::score::{Category, Place, Score};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use passages::{Passage, PassageKind};
use places::RowCounts;

/// Which side has what was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, strum::IntoStaticStr)]
#[serde(rename_all = "lowercase")]
#[strum(serialize_all = "lowercase")]
pub enum Status {
    /// The edition alone has it.
    Added,
    /// The source alone has it.
    Omitted,
    /// Both have it, but not the same.
    Altered,
}

impl Status {
    /// As in reports: `added`.
    pub fn name(self) -> &'static str {
        self.into()
    }
}

/// What a finding is about, as indices into the tables of the alignment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// A pair of notes, or a note of one side.
    Note {
        edition: Option<EditionNote>,
        source: Option<SourceNote>,
    },
    Mark {
        edition: Option<EditionMark>,
        source: Option<SourceMark>,
    },
    /// Index into the alignment's tie changes.
    Tie(usize),
    /// Index into the ornaments that are written out.
    WrittenOutOrnament(usize),
}

/// One difference between edition and source.
#[derive(Debug, Clone)]
pub struct Finding {
    pub category: Category,
    pub status: Status,
    pub subject: Subject,
    /// Row of the outline.
    pub row: usize,
    /// In the edition; what it lacks, where it would stand.
    pub at: Place,
    /// Where a span ends.
    pub end: Option<Place>,
    /// In the source, where the place has one.
    pub source_at: Option<Place>,
    /// 1-based; marks that no note carries are in the first.
    pub voice: u32,
    pub staff: u32,
    pub edition_reading: Option<String>,
    /// In the edition's key.
    pub source_reading: Option<String>,
    pub passage: Option<usize>,
}

/// All about one part of the edition.
#[derive(Debug)]
pub struct PartFindings {
    pub findings: Vec<Finding>,
    pub passages: Vec<Passage>,
}

/// Counts by category and status.
pub type Totals = BTreeMap<Category, BTreeMap<Status, usize>>;

pub fn count<'a>(findings: impl Iterator<Item = &'a Finding>) -> Totals {
    let mut totals = Totals::new();
    for finding in findings {
        *totals.entry(finding.category).or_default().entry(finding.status).or_default() += 1;
    }
    totals
}

/// The findings of every pair of parts, in the order of `Collation::parts`.
pub fn find(edition: &Score, source: &Score, collation: &Collation) -> Vec<PartFindings> {
    let rows = RowCounts::new(&collation.outline);
    collation
        .parts
        .iter()
        .map(|alignment| {
            let other = &alignment.other_music;
            let finder = Finder {
                edition: alignment.edition_part(edition),
                source: alignment.source_part(source),
                alignment,
                collation,
                in_edition: places::other_music_of(alignment.edition_part(edition), other, |s| &s.edition),
                rows: &rows,
                in_source: places::other_music_of(alignment.source_part(source), other, |s| &s.source),
            };
            finder.find()
        })
        .collect()
}

struct Finder<'a> {
    edition: EditionPart<'a>,
    source: SourcePart<'a>,
    alignment: &'a PartAlignment,
    collation: &'a Collation,
    /// Of each note of a side the stretch of other music that it is in.
    in_edition: Table<EditionNote, Option<usize>>,
    in_source: Table<SourceNote, Option<usize>>,
    rows: &'a RowCounts,
}

impl Finder<'_> {
    fn find(&self) -> PartFindings {
        let (mut passages, of_other) = passages::of_other_music(self);
        let (chords, of_chords) = passages::of_chords(self, passages.len());
        passages.extend(chords);
        let (octaves, of_octave) = passages::of_octaves(self, &of_chords, passages.len());
        passages.extend(octaves);
        let (ornaments, of_ornament) = passages::of_ornaments(self, passages.len());
        passages.extend(ornaments);
        passages.extend(repeats::of_repeats(self));
        let mut findings = Vec::new();
        self.notes(&of_octave, &of_other, &mut findings);
        for finding in &mut findings {
            match finding.subject {
                Subject::WrittenOutOrnament(index) => finding.passage = Some(of_ornament[index]),
                Subject::Note { edition, source } if finding.passage.is_none() => {
                    let ours = edition.and_then(|n| of_chords.edition.get(&n));
                    finding.passage = ours.or(source.and_then(|n| of_chords.source.get(&n))).copied();
                }
                _ => {}
            }
        }
        self.second_times(&mut findings);
        self.marks(&of_other, &mut findings);
        self.place_in_passages(&passages, &mut findings);
        // Passages are listed as they come in the music.
        let mut order: Vec<usize> = (0..passages.len()).collect();
        order.sort_by_key(|p| (passages[*p].row, passages[*p].at.from.offset));
        let mut place = vec![0; passages.len()];
        for (new, old) in order.iter().enumerate() {
            place[*old] = new;
        }
        for finding in &mut findings {
            finding.passage = finding.passage.map(|p| place[p]);
        }
        findings.sort_by(|a, b| {
            let key = |f: &Finding| (f.row, f.at.offset, f.at.bar, f.category, f.status);
            key(a).cmp(&key(b))
        });
        let mut sorted: Vec<Option<Passage>> = passages.into_iter().map(Some).collect();
        let passages = order.into_iter().map(|p| sorted[p].take().expect("each place once")).collect();
        PartFindings { findings, passages }
    }
}
