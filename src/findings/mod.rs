//! What the alignment means: findings and passages. Reports and cleaning both
//! start from here and work nothing out again.

mod passages;

use crate::collate::{BarPair, Collation, PartAlignment, TieChange};
use crate::pitch::Interval;
use crate::score::{Category, Mark, MarkId, NoteId, Part, Place, Score, Sound};
use crate::time::Time;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};

pub use passages::{Passage, PassageKind};

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// The edition alone has it.
    Added,
    /// The source alone has it.
    Omitted,
    /// Both have it, but not the same.
    Altered,
}

impl Status {
    pub fn name(self) -> &'static str {
        match self {
            Status::Added => "added",
            Status::Omitted => "omitted",
            Status::Altered => "altered",
        }
    }
}

/// What a finding is about, as indices into the tables of the alignment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// A pair of notes, or a note of one side.
    Note {
        edition: Option<NoteId>,
        source: Option<NoteId>,
    },
    Mark {
        edition: Option<MarkId>,
        source: Option<MarkId>,
    },
    /// Index into the alignment's tie changes.
    Tie(usize),
    /// Index into the alignment's realisations.
    Realisation(usize),
}

/// A place in one of the two scores.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Spot {
    pub bar: usize,
    /// From the bar's start, in quarter notes.
    pub offset: Time,
}

impl From<Place> for Spot {
    fn from(place: Place) -> Spot {
        Spot { bar: place.bar, offset: place.offset }
    }
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
    pub at: Spot,
    /// Where a span ends.
    pub end: Option<Spot>,
    /// In the source, where the place has one.
    pub source_at: Option<Spot>,
    /// 1-based; 0 for marks that no note carries.
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

impl PartFindings {
    pub fn totals(&self) -> Totals {
        count(self.findings.iter())
    }
}

pub fn count<'a>(findings: impl Iterator<Item = &'a Finding>) -> Totals {
    let mut totals = Totals::new();
    for finding in findings {
        *totals.entry(finding.category).or_default().entry(finding.status).or_default() += 1;
    }
    totals
}

/// The findings of every pair of parts, in the order of `Collation::parts`.
pub fn find(edition: &Score, source: &Score, collation: &Collation) -> Vec<PartFindings> {
    let rows = Rows::new(&collation.outline);
    collation
        .parts
        .iter()
        .map(|alignment| {
            let finder = Finder {
                edition: &edition.parts[alignment.edition],
                source: &source.parts[alignment.source],
                alignment,
                outline: &collation.outline,
                rows: &rows,
            };
            finder.find()
        })
        .collect()
}

/// The row of each bar.
struct Rows {
    edition: HashMap<usize, usize>,
    source: HashMap<usize, usize>,
}

impl Rows {
    fn new(outline: &[BarPair]) -> Rows {
        let index = |bar: fn(&BarPair) -> Option<usize>| {
            outline.iter().enumerate().filter_map(|(i, p)| bar(p).map(|b| (b, i))).collect()
        };
        Rows { edition: index(|p| p.edition), source: index(|p| p.source) }
    }
}

struct Finder<'a> {
    edition: &'a Part,
    source: &'a Part,
    alignment: &'a PartAlignment,
    outline: &'a [BarPair],
    rows: &'a Rows,
}

impl Finder<'_> {
    fn find(&self) -> PartFindings {
        let (mut passages, of_stretch) = passages::of_stretches(self);
        let (octaves, of_octave) = passages::of_octaves(self, passages.len());
        passages.extend(octaves);
        let mut findings = Vec::new();
        self.notes(&of_octave, &of_stretch, &mut findings);
        self.marks(&of_stretch, &mut findings);
        self.place_in_octave_passages(&passages, &mut findings);
        // Passages are listed as they come in the music.
        let mut order: Vec<usize> = (0..passages.len()).collect();
        order.sort_by_key(|p| (passages[*p].row, passages[*p].from.offset));
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

    fn notes(&self, of_octave: &HashMap<NoteId, usize>, of_stretch: &[usize], out: &mut Vec<Finding>) {
        let a = self.alignment;
        let swallowed_e: Vec<NoteId> = a.ties.iter().flat_map(|t| t.edition.iter().skip(1)).copied().collect();
        let swallowed_s: Vec<NoteId> = a.ties.iter().flat_map(|t| t.source.iter().skip(1)).copied().collect();
        let written_out: Vec<NoteId> = a.realisations.iter().flat_map(|r| r.edition.iter()).copied().collect();
        let in_tie: Vec<NoteId> = a.ties.iter().map(|t| t.edition[0]).collect();
        for e in self.edition.struck() {
            match a.edition_to_source[e] {
                _ if swallowed_e.contains(&e) || written_out.contains(&e) => {}
                None => {
                    let passage = self.stretch_of(Some(e), None).map(|s| of_stretch[s]);
                    out.push(self.note_finding(Category::Note, Status::Added, Some(e), None, passage));
                }
                Some(s) => self.pair(e, s, in_tie.contains(&e), of_octave, out),
            }
        }
        for s in self.source.struck() {
            if a.source_to_edition[s].is_none() && !swallowed_s.contains(&s) {
                let passage = self.stretch_of(None, Some(s)).map(|s| of_stretch[s]);
                out.push(self.note_finding(Category::Note, Status::Omitted, None, Some(s), passage));
            }
        }
        for (index, tie) in a.ties.iter().enumerate() {
            self.tie(index, tie, out);
        }
        for (index, realisation) in a.realisations.iter().enumerate() {
            let notes: Vec<String> = realisation.edition.iter().map(|n| self.edition_name(*n)).collect();
            let plain = self.source_name(realisation.source);
            let sign = realisation.sign.map(|m| &self.source.marks[m]);
            let e = realisation.edition[0];
            let mut finding =
                self.note_finding(Category::Realisation, Status::Altered, Some(e), Some(realisation.source), None);
            finding.subject = Subject::Realisation(index);
            finding.edition_reading = Some(notes.join(" "));
            finding.source_reading = Some(match sign {
                Some(mark) if mark.category == Category::Grace => {
                    format!("{plain} with a grace note")
                }
                Some(mark) => format!("{plain} with {}", mark.reading),
                None => plain,
            });
            out.push(finding);
        }
    }

    fn pair(&self, e: NoteId, s: NoteId, in_tie: bool, of_octave: &HashMap<NoteId, usize>, out: &mut Vec<Finding>) {
        let apart = self.apart(e, s);
        if apart != 0 {
            let category = if apart % 1200 == 0 { Category::Octave } else { Category::Pitch };
            out.push(self.note_finding(category, Status::Altered, Some(e), Some(s), of_octave.get(&e).copied()));
        } else if let (Some(ours), Some(theirs)) = (self.edition.notes[e].pitch(), self.source.notes[s].pitch())
            && ours.staff_place() != theirs.moved(self.alignment.interval).staff_place()
        {
            out.push(self.note_finding(Category::Spelling, Status::Altered, Some(e), Some(s), None));
        }
        let lengths = (self.edition.sounding(e), self.source.sounding(s));
        let shift = self.outline[self.rows.edition[&self.edition.notes[e].bar]].shift;
        let moved = self.edition.notes[e].offset != self.source.notes[s].offset + shift;
        if !in_tie && (moved || lengths.0 != lengths.1) {
            let mut finding = self.note_finding(Category::Rhythm, Status::Altered, Some(e), Some(s), None);
            finding.edition_reading = Some(format!("{} for {}", self.edition_name(e), length_name(lengths.0)));
            finding.source_reading = Some(format!("{} for {}", self.source_name(s), length_name(lengths.1)));
            out.push(finding);
        }
    }

    /// Hundredths of a semitone by which a note lies from where it should.
    fn apart(&self, e: NoteId, s: NoteId) -> i32 {
        let height = |sound: Sound, by: i32| match sound {
            Sound::Pitched(p) => p.sound() + by * 100,
            Sound::Unpitched(p) => 1_000_000 + p.sound(),
            Sound::Rest => 0,
        };
        height(self.edition.notes[e].sound, 0) - height(self.source.notes[s].sound, self.alignment.interval.semitones)
    }

    /// One finding for each note that is held where the other side strikes.
    fn tie(&self, index: usize, tie: &TieChange, out: &mut Vec<Finding>) {
        let status = if tie.added { Status::Added } else { Status::Omitted };
        let (held, struck) = if tie.added { (tie.edition[0], &tie.source) } else { (tie.source[0], &tie.edition) };
        for pair in struck.windows(2) {
            let (e, s) = if tie.added {
                // The edition's note at which the tie starts.
                let time = self.source.onset(pair[0]) - self.source.onset(struck[0]) + self.edition.onset(held);
                let starts = self.edition.tied(held).filter(|n| self.edition.onset(*n) <= time).last();
                (starts.unwrap_or(held), pair[0])
            } else {
                (pair[0], tie.source[0])
            };
            let mut finding = self.note_finding(Category::Tie, status, Some(e), Some(s), None);
            finding.subject = Subject::Tie(index);
            let name = self.edition_name(e);
            let (one, two) = (format!("{name} held"), format!("{name} struck twice"));
            (finding.edition_reading, finding.source_reading) =
                if tie.added { (Some(one), Some(two)) } else { (Some(two), Some(one)) };
            out.push(finding);
        }
    }

    fn marks(&self, of_stretch: &[usize], out: &mut Vec<Finding>) {
        for pair in self.alignment.marks.iter().filter(|p| !p.same) {
            let ours = pair.edition.map(|m| &self.edition.marks[m]);
            let theirs = pair.source.map(|m| &self.source.marks[m]);
            let status = match (ours, theirs) {
                (Some(_), Some(_)) => Status::Altered,
                (Some(_), None) => Status::Added,
                (None, _) => Status::Omitted,
            };
            let Some(lead) = ours.or(theirs) else {
                continue;
            };
            let (row, at, source_at) = match (ours, theirs) {
                (Some(e), s) => {
                    let row = self.rows.edition[&e.at.bar];
                    let source = s.map(|s| Spot::from(s.at)).or_else(|| self.to_source(e.at));
                    (row, Spot::from(e.at), source)
                }
                (None, Some(s)) => {
                    let row = self.rows.source[&s.at.bar];
                    (row, self.to_edition(Spot::from(s.at)), Some(Spot::from(s.at)))
                }
                (None, None) => continue,
            };
            let end = match ours {
                Some(e) => e.end.map(Spot::from),
                None => lead.end.map(|end| self.to_edition(Spot::from(end))),
            };
            let offset = if ours.is_some() { at.offset } else { lead.at.offset + self.outline[row].shift };
            let carrier = |mark: &Mark, part: &Part| mark.at.note.map(|n| part.head(n));
            let passage = self.stretch_at(
                row,
                offset,
                ours.and_then(|m| carrier(m, self.edition)),
                theirs.filter(|_| ours.is_none()).and_then(|m| carrier(m, self.source)),
            );
            let source_reading = theirs.map(|m| self.moved_reading(m));
            let mut finding = Finding {
                category: lead.category,
                status,
                subject: Subject::Mark { edition: pair.edition, source: pair.source },
                row,
                at,
                end,
                source_at,
                voice: if lead.at.note.is_some() { lead.voice + 1 } else { 0 },
                staff: lead.staff,
                edition_reading: ours.map(|m| m.reading.clone()),
                source_reading,
                passage: passage.filter(|_| status != Status::Altered).map(|s| of_stretch[s]),
            };
            if status == Status::Altered && finding.edition_reading == finding.source_reading {
                self.tell_places(ours, theirs, &mut finding);
            }
            out.push(finding);
        }
    }

    /// Whatever lies between the first and the last note of an octave passage
    /// belongs to it.
    fn place_in_octave_passages(&self, passages: &[Passage], findings: &mut [Finding]) {
        for finding in findings.iter_mut().filter(|f| f.passage.is_none()) {
            finding.passage = passages.iter().position(|p| {
                let voice = p.edition.first().map(|n| self.edition.notes[*n].voice + 1);
                p.kind == PassageKind::OctaveDisplacement
                    && (p.from..=p.to).contains(&finding.at)
                    && (finding.voice == 0 || voice == Some(finding.voice))
            });
        }
    }

    /// Two marks that read alike differ by where they stand: say so.
    fn tell_places(&self, ours: Option<&Mark>, theirs: Option<&Mark>, finding: &mut Finding) {
        let told = |mark: &Mark, part: &Part| {
            let at = |p: Place| {
                let beat = crate::time::beat_text(part.beat(p.bar, p.offset));
                format!("{}:{beat}", part.bars[p.bar].number)
            };
            match mark.end {
                Some(end) => format!("{} from {} to {}", mark.reading, at(mark.at), at(end)),
                None => format!("{} at {}", mark.reading, at(mark.at)),
            }
        };
        finding.edition_reading = ours.map(|m| told(m, self.edition));
        finding.source_reading = theirs.map(|m| told(m, self.source));
    }

    /// The reading of a source mark in the edition's key.
    fn moved_reading(&self, mark: &Mark) -> String {
        if self.alignment.interval == Interval::UNISON {
            return mark.reading.clone();
        }
        if mark.category == Category::Signature && mark.kind == "key" {
            let fifths: i32 = mark.meaning.parse().unwrap_or(0);
            // As the edition, which may transpose, would write it.
            let transpose = self.edition.bars.first().map_or(0, |b| b.transpose.fifths());
            return crate::pitch::key_name(fifths + self.alignment.interval.fifths() - transpose);
        }
        let mut reading = mark.reading.clone();
        if mark.category == Category::Grace {
            let moved = mark.pitches.iter().map(|p| p.moved(self.alignment.interval).to_string());
            reading = moved.collect::<Vec<_>>().join(" ");
            if mark.meaning == "slash" || mark.reading.ends_with("slashed") {
                reading.push_str(" slashed");
            }
        }
        reading
    }

    fn note_finding(
        &self,
        category: Category,
        status: Status,
        edition: Option<NoteId>,
        source: Option<NoteId>,
        passage: Option<usize>,
    ) -> Finding {
        let place = |part: &Part, n: NoteId| Spot { bar: part.notes[n].bar, offset: part.notes[n].offset };
        let source_spot = source.map(|s| place(self.source, s));
        let (row, at) = match (edition, source_spot) {
            (Some(e), _) => (self.rows.edition[&self.edition.notes[e].bar], place(self.edition, e)),
            (None, Some(spot)) => (self.rows.source[&spot.bar], self.to_edition(spot)),
            (None, None) => unreachable!("a finding is about a note"),
        };
        let source_at = source_spot.or_else(|| {
            let e = &self.edition.notes[edition?];
            self.to_source(Place { bar: e.bar, offset: e.offset, note: edition })
        });
        let lead = match edition {
            Some(e) => &self.edition.notes[e],
            None => &self.source.notes[source.expect("one side at least")],
        };
        Finding {
            category,
            status,
            subject: Subject::Note { edition, source },
            row,
            at,
            end: None,
            source_at,
            voice: lead.voice + 1,
            staff: lead.staff,
            edition_reading: edition.map(|e| self.edition_name(e)),
            source_reading: source.map(|s| self.source_name(s)),
            passage,
        }
    }

    fn edition_name(&self, note: NoteId) -> String {
        name(self.edition.notes[note].sound, Interval::UNISON)
    }

    fn source_name(&self, note: NoteId) -> String {
        name(self.source.notes[note].sound, self.alignment.interval)
    }

    fn stretch_of(&self, edition: Option<NoteId>, source: Option<NoteId>) -> Option<usize> {
        self.alignment.stretches.iter().position(|s| {
            edition.is_some_and(|n| s.edition.binary_search(&n).is_ok())
                || source.is_some_and(|n| s.source.binary_search(&n).is_ok())
        })
    }

    /// The stretch that covers a place; a mark on a note goes with its note.
    fn stretch_at(&self, row: usize, offset: Time, edition: Option<NoteId>, source: Option<NoteId>) -> Option<usize> {
        if edition.is_some_and(|n| self.edition.notes[n].is_struck())
            || source.is_some_and(|n| self.source.notes[n].is_struck())
        {
            return self.stretch_of(edition, source);
        }
        self.alignment.stretches.iter().position(|s| {
            (row, offset) >= (s.outline.0, s.from)
                && (row < s.outline.1 || row == s.outline.1 && s.to.is_none_or(|to| offset < to))
        })
    }

    /// The place in the source of a place in the edition, outside other music.
    fn to_source(&self, place: Place) -> Option<Spot> {
        let row = self.rows.edition[&place.bar];
        let pair = self.outline[row];
        let bar = pair.source?;
        let carrier = place.note.map(|n| self.edition.head(n));
        if self.stretch_at(row, place.offset, carrier, None).is_some() {
            return None;
        }
        Some(Spot { bar, offset: place.offset - pair.shift })
    }

    /// Where in the edition a place of the source would stand.
    fn to_edition(&self, spot: Spot) -> Spot {
        let row = self.rows.source[&spot.bar];
        let pair = self.outline[row];
        if let Some(bar) = pair.edition {
            return Spot { bar, offset: spot.offset + pair.shift };
        }
        // Inside rewritten music: the bar that comes as late in it.
        let stretch = self.alignment.stretches.iter().find(|s| (s.outline.0..=s.outline.1).contains(&row));
        if let Some(stretch) = stretch {
            let rows = stretch.outline.0..=stretch.outline.1;
            let ours: Vec<usize> = rows.clone().filter_map(|r| self.outline[r].edition).collect();
            let before = rows.clone().take_while(|r| *r < row).filter(|r| self.outline[*r].source.is_some()).count();
            if let Some(&bar) = ours.get(before).or(ours.last()) {
                return Spot { bar, offset: spot.offset.min(self.edition.bars[bar].length) };
            }
        }
        self.seam(row)
    }

    /// Where the edition goes on after a row that it lacks.
    fn seam(&self, row: usize) -> Spot {
        if let Some(bar) = self.outline[row..].iter().find_map(|p| p.edition) {
            return Spot { bar, offset: Time::from(0) };
        }
        let last = self.edition.bars.len().saturating_sub(1);
        Spot { bar: last, offset: self.edition.bars.get(last).map_or(Time::from(0), |b| b.length) }
    }
}

fn name(sound: Sound, by: Interval) -> String {
    match sound {
        Sound::Pitched(pitch) => pitch.moved(by).to_string(),
        Sound::Unpitched(_) => "stroke".into(),
        Sound::Rest => "rest".into(),
    }
}

/// A length in a musician's words.
pub fn length_name(length: Time) -> String {
    let names = [
        (8, 1, "a breve"),
        (4, 1, "a whole note"),
        (3, 1, "a dotted half"),
        (2, 1, "a half"),
        (3, 2, "a dotted quarter"),
        (1, 1, "a quarter"),
        (3, 4, "a dotted eighth"),
        (1, 2, "an eighth"),
        (3, 8, "a dotted 16th"),
        (1, 4, "a 16th"),
        (1, 8, "a 32nd"),
        (1, 16, "a 64th"),
    ];
    let found = names.iter().find(|(n, d, _)| Time::new(*n, *d) == length);
    found.map_or_else(|| format!("{} of a quarter", crate::time::text(length)), |(_, _, name)| name.to_string())
}
