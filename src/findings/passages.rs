//! Passages: runs of notes that belong together, named as a musician would.

use super::Finder;
use crate::alignment::{BarOf, EditionBar, EditionNote, NoteOf, PartOf, RowRange, Side, SourceBar, SourceNote};
use crate::collate::{Collation, PartAlignment};
use crate::score::{Part, Place, Stretch};
use crate::time::Time;
use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};

/// What several findings make together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, strum::IntoStaticStr)]
#[serde(rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
pub enum PassageKind {
    /// A run of notes in another octave.
    OctaveDisplacement,
    /// Bars at the end that the source has not.
    InventedEnding,
    /// Bars that the source has not.
    InsertedPassage,
    /// Bars with other music.
    RewrittenPassage,
    /// Bars that the edition has not.
    Cut,
    /// A repeat of one side that the other writes out.
    WrittenOutRepeat,
    /// Notes for an ornament's sign.
    WrittenOutOrnament,
    /// Chords of the same notes in another order.
    RevoicedChords,
}

impl PassageKind {
    /// Whether its bars have other music than the source: they stay, or go, as a whole.
    pub fn is_other_music(self) -> bool {
        use PassageKind::{Cut, InsertedPassage, InventedEnding, RewrittenPassage, WrittenOutRepeat};
        matches!(self, InventedEnding | InsertedPassage | RewrittenPassage | Cut | WrittenOutRepeat)
    }

    /// The name in reports for programs.
    pub fn name(self) -> &'static str {
        self.into()
    }

    /// In plain words.
    pub fn words(self) -> &'static str {
        match self {
            PassageKind::OctaveDisplacement => "octave displacement",
            PassageKind::InventedEnding => "invented ending",
            PassageKind::InsertedPassage => "inserted passage",
            PassageKind::RewrittenPassage => "rewritten passage",
            PassageKind::Cut => "cut",
            PassageKind::WrittenOutRepeat => "written-out repeat",
            PassageKind::WrittenOutOrnament => "written-out ornament",
            PassageKind::RevoicedChords => "revoiced chords",
        }
    }
}

/// A passage.
#[derive(Debug, Clone)]
pub struct Passage {
    pub kind: PassageKind,
    pub row: usize,
    /// From the onset of its first note in the edition to that of its last, for
    /// a cut the place where the edition goes on.
    pub at: Stretch,
    pub in_source: Option<Stretch>,
    /// How many octaves the edition lies from where it should.
    pub octaves: Option<i32>,
    pub edition: Vec<EditionNote>,
    pub source: Vec<SourceNote>,
    /// Bars of the source that are in it, for cuts and what the source writes out.
    pub bars: usize,
    /// Index of the other music that it names.
    pub other_music: Option<usize>,
    /// The ornaments that are written out in it.
    pub ornaments: Vec<&'static str>,
}

impl Passage {
    /// The first and the last row of the outline that it is in.
    pub fn rows(&self, collation: &Collation, alignment: &PartAlignment, edition: &Part) -> RowRange {
        if let Some(other) = self.other_music.and_then(|s| alignment.other_music.get(s)) {
            return other.rows;
        }
        let row = |place: Place| match place.bar < edition.bars.len() {
            true => collation.edition_row(place),
            false => self.row,
        };
        let (one, other) = (row(self.at.from), row(self.at.to));
        RowRange { first: one.min(other), last: one.max(other) }
    }
}

/// From the first to the last place at which some notes stand.
pub(super) fn over<S: Side>(part: PartOf<S>, notes: &[NoteOf<S>]) -> Option<Stretch> {
    Stretch::over(notes.iter().map(|n| part.place(*n)))
}

/// From the first of some bars to the last.
fn whole<S>(bars: &[BarOf<S>]) -> Option<Stretch> {
    let (from, to) = bars.first().zip(bars.last())?;
    Some(Stretch { from: from.start(), to: to.start() })
}

/// A passage for each stretch of other music, and for each stretch its passage.
pub(super) fn of_other_music(finder: &Finder) -> (Vec<Passage>, Vec<usize>) {
    let mut out = Vec::new();
    for (index, stretch) in finder.alignment.other_music.iter().enumerate() {
        let rows = stretch.rows.iter();
        let edition_bars: Vec<EditionBar> = rows.clone().filter_map(|r| finder.collation.outline[r].edition).collect();
        let source_bars: Vec<SourceBar> = rows.clone().filter_map(|r| finder.collation.outline[r].source).collect();
        let extra = rows.clone().any(|r| finder.collation.outline[r].source.is_none());
        let missing = rows.clone().any(|r| finder.collation.outline[r].edition.is_none());
        let ours = !stretch.edition.is_empty() || extra;
        let theirs = !stretch.source.is_empty() || missing;
        let kind = match (ours, theirs) {
            (false, _) => PassageKind::Cut,
            (true, _) if stretch.to_the_end => PassageKind::InventedEnding,
            (true, false) => PassageKind::InsertedPassage,
            (true, true) => PassageKind::RewrittenPassage,
        };
        let seam = finder.seam(stretch.rows.first);
        let seam = if finder.collation.outline[stretch.rows.first].edition.is_some() {
            Place { bar: seam.bar, offset: stretch.from }
        } else {
            seam
        };
        let own = over(finder.edition, &stretch.edition).or_else(|| whole(&edition_bars).filter(|_| ours));
        let other = over(finder.source, &stretch.source).or_else(|| whole(&source_bars).filter(|_| theirs));
        out.push(Passage {
            kind,
            row: stretch.rows.first,
            at: own.unwrap_or(Stretch::at(seam)),
            in_source: other,
            octaves: None,
            edition: stretch.edition.clone(),
            source: stretch.source.clone(),
            bars: source_bars.len(),
            other_music: Some(index),
            ornaments: vec![],
        });
    }
    let places = (0..out.len()).collect();
    (out, places)
}

/// The passage of each note of some.
#[derive(Default)]
pub(super) struct Told {
    pub edition: FxHashMap<EditionNote, usize>,
    pub source: FxHashMap<SourceNote, usize>,
}

/// Chords of the same tones, laid out otherwise.
pub(super) fn of_chords(finder: &Finder, first: usize) -> (Vec<Passage>, Told) {
    let (mut out, mut told) = (Vec::new(), Told::default());
    for chords in &finder.alignment.revoiced {
        let place = first + out.len();
        told.edition.extend(chords.edition.iter().map(|n| (*n, place)));
        told.source.extend(chords.source.iter().map(|n| (*n, place)));
        let ours = chords.edition.iter().map(|n| finder.edition.place(*n));
        let theirs = chords.source.iter().map(|n| finder.source.place(*n));
        // What is only left out stands where it would.
        let Some(at) = Stretch::over(ours.chain(theirs.clone().map(|s| finder.to_edition(s)))) else { continue };
        let in_source =
            || Stretch::over([at.from, at.to].into_iter().filter_map(|place| finder.place_in_source(place)));
        out.push(Passage {
            kind: PassageKind::RevoicedChords,
            row: chords.rows.first,
            at,
            in_source: Stretch::over(theirs).or_else(in_source),
            octaves: None,
            edition: chords.edition.clone(),
            source: chords.source.clone(),
            bars: 0,
            other_music: None,
            ornaments: vec![],
        });
    }
    (out, told)
}

/// Runs of notes in one voice that lie the same number of octaves off, across
/// rests. The table gives each note its passage.
pub(super) fn of_octaves(
    finder: &Finder,
    of_chords: &Told,
    first: usize,
) -> (Vec<Passage>, FxHashMap<EditionNote, usize>) {
    let mut out: Vec<Passage> = Vec::new();
    let mut of_note = FxHashMap::default();
    // The passage that is open in each voice, and how far off it is.
    let mut open: FxHashMap<u32, (usize, i32)> = FxHashMap::default();
    let written_out = finder.source.which(finder.alignment.written_out.iter().map(|r| &r.source));
    for e in finder.edition.struck() {
        let Some(s) = finder.alignment.edition_to_source[e] else {
            continue;
        };
        if written_out[s] || of_chords.edition.contains_key(&e) {
            continue;
        }
        let note = &finder.edition[e];
        let apart = finder.apart(e, s);
        let octaves = apart / 1200;
        if apart == 0 || apart % 1200 != 0 {
            // A wrong note inside the passage does not end it, a right one does.
            if apart == 0 {
                open.remove(&note.voice);
            }
            continue;
        }
        let (at, there) = (note.place(), finder.source.place(s));
        match open.get(&note.voice).filter(|o| o.1 == octaves) {
            Some((index, _)) => {
                let passage = &mut out[*index];
                passage.at.to = at;
                passage.in_source.iter_mut().for_each(|stretch| stretch.to = there);
                passage.edition.push(e);
                passage.source.push(s);
                of_note.insert(e, first + index);
            }
            None => {
                open.insert(note.voice, (out.len(), octaves));
                of_note.insert(e, first + out.len());
                out.push(Passage {
                    kind: PassageKind::OctaveDisplacement,
                    row: finder.collation.edition_row(note.place()),
                    at: Stretch::at(at),
                    in_source: Some(Stretch::at(there)),
                    octaves: Some(octaves),
                    edition: vec![e],
                    source: vec![s],
                    bars: 0,
                    other_music: None,
                    ornaments: vec![],
                });
            }
        }
    }
    let kept = joined(finder, &mut out);
    for place in of_note.values_mut() {
        *place = first + kept[*place - first];
    }
    (out, of_note)
}

/// The notes that stand in their own octave after the last note of a passage and before another, on its staff.
fn right_between(finder: &Finder, last: EditionNote, after: &Passage) -> impl Iterator<Item = Place> {
    let (part, first) = (finder.edition, after.edition[0]);
    let staff = part[first].staff;
    let between = part.notes_after(last).take_while(move |(n, _)| *n < first);
    let between = between.filter(move |(_, note)| note.is_struck() && note.staff == staff).map(|(n, _)| n);
    let right = |n: &EditionNote| finder.alignment.edition_to_source[*n].is_none_or(|s| finder.apart(*n, s) == 0);
    between.filter(right).map(move |n| part.place(n))
}

/// What two voices of one staff have at the same time, or one after the other, in
/// the same other octave is one passage. Says which passage each has become part of.
fn joined(finder: &Finder, passages: &mut Vec<Passage>) -> Vec<usize> {
    let mut out: Vec<Passage> = Vec::new();
    // The last note of each.
    let mut lasts: Vec<EditionNote> = Vec::new();
    let mut place = Vec::new();
    // Those of a distance and a staff that others may still belong to.
    let mut open: FxHashMap<(Option<i32>, u32), Vec<usize>> = FxHashMap::default();
    // They come in the order of their first notes.
    for passage in passages.drain(..) {
        let (from, to) = (passage.at.from, passage.at.to);
        let last = passage.edition.iter().max().copied().unwrap_or(passage.edition[0]);
        let open = open.entry((passage.octaves, finder.edition[passage.edition[0]].staff)).or_default();
        // What a note in its own octave ends in an earlier bar has ended for all that come.
        open.retain(|p| {
            let end = out[*p].at.to;
            !right_between(finder, lasts[*p], &passage).any(|place| end <= place && place.bar < from.bar)
        });
        let goes_on = |p: usize| {
            let gap = Stretch { from: out[p].at.to, to: from };
            !right_between(finder, lasts[p], &passage).any(|place| gap.contains(place))
        };
        let meets = |p: &usize| out[*p].at.from <= to && (from <= out[*p].at.to || goes_on(*p));
        match open.iter().copied().rfind(meets) {
            Some(at) => {
                let known = &mut out[at];
                known.at.to = known.at.to.max(to);
                known.in_source = known.in_source.zip(passage.in_source).map(|(one, other)| one.with(other));
                known.edition.extend(passage.edition);
                known.source.extend(passage.source);
                lasts[at] = lasts[at].max(last);
                place.push(at);
            }
            None => {
                open.push(out.len());
                lasts.push(last);
                place.push(out.len());
                out.push(passage);
            }
        }
    }
    *passages = out;
    place
}

/// Ornaments written out, those that follow each other without a gap together,
/// and for each ornament its passage.
pub(super) fn of_ornaments(finder: &Finder, first: usize) -> (Vec<Passage>, Vec<usize>) {
    let mut out: Vec<Passage> = Vec::new();
    let mut of_ornament = Vec::new();
    // Where the last ornament of each voice ends, and its passage.
    let mut ends: FxHashMap<u32, (Time, usize)> = FxHashMap::default();
    for ornament in &finder.alignment.written_out {
        let (begin, last) = (ornament.edition[0], ornament.edition[ornament.edition.len() - 1]);
        let note = &finder.edition[begin];
        let there = finder.source.place(ornament.source);
        let onset = finder.edition.onset(begin);
        let place = match ends.get(&note.voice) {
            Some((end, place)) if *end == onset && (out[*place].bars > 0) == ornament.by_source => *place,
            _ => {
                out.push(Passage {
                    kind: PassageKind::WrittenOutOrnament,
                    row: finder.collation.edition_row(note.place()),
                    at: Stretch::at(finder.edition.place(begin)),
                    in_source: Some(Stretch::at(there)),
                    octaves: None,
                    edition: vec![],
                    source: vec![],
                    bars: usize::from(ornament.by_source),
                    other_music: None,
                    ornaments: vec![],
                });
                out.len() - 1
            }
        };
        let passage = &mut out[place];
        passage.at.to = finder.edition.place(last);
        let chord = ornament.chord.iter().map(|n| finder.source.place(*n));
        passage.in_source.iter_mut().for_each(|stretch| stretch.to = chord.clone().fold(there, Place::max));
        passage.edition.extend(&ornament.edition);
        passage.source.push(ornament.source);
        passage.source.extend(&ornament.chord);
        passage.ornaments.push(ornament.name);
        let end = finder.edition.onset(last) + finder.edition.sounding(last);
        ends.insert(note.voice, (end, place));
        of_ornament.push(first + place);
    }
    (out, of_ornament)
}
