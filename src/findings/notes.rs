//! Findings about notes.

use super::{Finder, Finding, Status, Subject};
use crate::alignment::{EditionNote, NoteOf, PartOf, Side, SourceBar, SourceNote};
use crate::collate::TieChange;
use crate::pitch::Interval;
use crate::score::{Anchor, Category, Part, Place, Sound};
use crate::time::tied_name;
use rustc_hash::FxHashMap;

/// What several notes that are tied together are called where they fill a bar.
const WHOLE_BAR: &str = "the whole bar";
/// In the name of a length that no single note can have.
const TIED: &str = " tied";

/// Whether a note, with those that it is tied to, fills a full bar.
fn fills<S: Side>(part: PartOf<'_, S>, note: NoteOf<S>) -> bool {
    let bar = &part.bars[part[note].bar];
    part[note].offset.is_zero() && bar.length == bar.meter.bar && part.sounding(note) == bar.length
}

impl Finder<'_> {
    pub(super) fn notes(&self, of_octave: &FxHashMap<EditionNote, usize>, of_other: &[usize], out: &mut Vec<Finding>) {
        let a = self.alignment;
        // Notes that are told as part of another.
        let struck = a.ties.iter().flat_map(|t| t.edition.iter().skip(1));
        let told_e = self.edition.which(struck.chain(a.written_out.iter().flat_map(|r| &r.edition)));
        let held = a.ties.iter().flat_map(|t| t.source.iter().skip(1));
        let told_s = self.source.which(held.chain(a.written_out.iter().flat_map(|r| &r.chord)));
        let in_tie = self.edition.which(a.ties.iter().map(|t| &t.edition[0]));
        let scope = &self.collation.scope;
        for e in self.edition.struck().filter(|n| scope.edition.contains(&self.edition[*n].bar)) {
            match a.edition_to_source[e] {
                _ if told_e[e] => {}
                None => {
                    let passage = self.other_music_with(Some(e), None).map(|s| of_other[s]);
                    out.push(self.note_finding(Category::Note, Status::Added, Some(e), None, passage));
                }
                Some(s) => self.pair((e, s), in_tie[e], of_octave, of_other, out),
            }
        }
        for s in self.source.struck().filter(|n| scope.source.contains(&self.source[*n].bar)) {
            if a.source_to_edition[s].is_none() && !told_s[s] {
                let passage = self.other_music_with(None, Some(s)).map(|s| of_other[s]);
                out.push(self.note_finding(Category::Note, Status::Omitted, None, Some(s), passage));
            }
        }
        for (index, tie) in a.ties.iter().enumerate() {
            self.tie(index, tie, out);
        }
        for (index, ornament) in a.written_out.iter().enumerate() {
            let ours: Vec<String> = ornament.edition.iter().map(|n| self.edition_name(*n)).collect();
            let theirs = std::iter::once(&ornament.source).chain(&ornament.chord);
            let theirs: Vec<String> = theirs.map(|n| self.source_name(*n)).collect();
            let plain = self.source_name(ornament.source);
            let sign = ornament.sign.map(|m| &self.source[m]);
            let e = ornament.edition[0];
            let mut finding =
                self.note_finding(Category::WrittenOut, Status::Altered, Some(e), Some(ornament.source), None);
            finding.subject = Subject::WrittenOutOrnament(index);
            finding.edition_reading = Some(match ornament.by_source {
                true => ours.join(" "),
                false => format!("{}: {}", ornament.name, ours.join(" ")),
            });
            finding.source_reading = Some(match sign {
                None if ornament.by_source => format!("{}: {}", ornament.name, theirs.join(" ")),
                Some(mark) if mark.category == Category::Grace => {
                    format!("{plain} with a grace note")
                }
                Some(mark) => format!("{plain} with {}", mark.reading()),
                None => plain,
            });
            out.push(finding);
        }
    }

    pub(super) fn pair(
        &self,
        (e, s): (EditionNote, SourceNote),
        in_tie: bool,
        of_octave: &FxHashMap<EditionNote, usize>,
        of_other: &[usize],
        out: &mut Vec<Finding>,
    ) {
        let apart = self.apart(e, s);
        if apart != 0 {
            let category = if apart % 1200 == 0 { Category::Octave } else { Category::Pitch };
            out.push(self.note_finding(category, Status::Altered, Some(e), Some(s), of_octave.get(&e).copied()));
        } else if let (Some(ours), Some(theirs)) = (self.edition[e].pitch(), self.source[s].pitch())
            && ours.staff_place() != theirs.moved(self.alignment.interval).staff_place()
        {
            out.push(self.note_finding(Category::Spelling, Status::Altered, Some(e), Some(s), None));
        }
        let lengths = (self.edition.sounding(e), self.source.sounding(s));
        let (ours, theirs) = (&self.edition[e], &self.source[s]);
        let pair = self.collation.outline[self.collation.edition_row(ours.place())];
        let there = pair.source_played() == Some(SourceBar::new(theirs.bar));
        let moved = !there || ours.offset != pair.to_edition(theirs.offset);
        if !in_tie && (moved || lengths.0 != lengths.1 * self.collation.scale) {
            let passage = self.other_music_with(Some(e), Some(s)).map(|s| of_other[s]);
            out.extend(self.rhythm(e, s).map(|finding| Finding { passage, ..finding }));
        }
    }

    /// A note of another length or at another place. The source's length is told
    /// in the edition's values.
    pub(super) fn rhythm(&self, e: EditionNote, s: SourceNote) -> Option<Finding> {
        let (ours, theirs) = (self.edition.sounding(e), self.source.sounding(s) * self.collation.scale);
        let mut finding = self.note_finding(Category::Rhythm, Status::Altered, Some(e), Some(s), None);
        let (one, other) = (self.edition_name(e), self.source_name(s));
        let readings = match ours == theirs {
            true => {
                let ours = place_name(&self.edition, self.edition.place(e));
                let theirs = place_name(&self.source, self.source.place(s));
                (format!("{one} at {ours}"), format!("{other} at {theirs}"))
            }
            false => {
                let ours_named = tied_name(&self.edition.tied(e).map(|n| self.edition[n].duration).collect::<Vec<_>>());
                let written = self.source.tied(s).map(|n| self.source[n].duration * self.collation.scale);
                let theirs_named = tied_name(&written.collect::<Vec<_>>());
                let [ours_named, theirs_named] = match (fills(self.edition, e), fills(self.source, s)) {
                    (true, false) if ours_named.contains(TIED) => [WHOLE_BAR.into(), theirs_named],
                    (false, true) if theirs_named.contains(TIED) => [ours_named, WHOLE_BAR.into()],
                    _ => [ours_named, theirs_named],
                };
                match ours_named == theirs_named {
                    // Lengths that no notes can be written for.
                    true if ours > theirs => (format!("{one}, longer"), format!("{other}, shorter")),
                    true => (format!("{one}, shorter"), format!("{other}, longer")),
                    false => (format!("{one} for {ours_named}"), format!("{other} for {theirs_named}")),
                }
            }
        };
        if readings.0 == readings.1 {
            return None;
        }
        (finding.edition_reading, finding.source_reading) = (Some(readings.0), Some(readings.1));
        Some(finding)
    }

    /// Hundredths of a semitone by which a note lies from where it should.
    pub(super) fn apart(&self, e: EditionNote, s: SourceNote) -> i32 {
        let height = |sound: Sound, by: i32| match sound {
            Sound::Pitched(p) => p.sound() + by * 100,
            Sound::Unpitched(p) => 1_000_000 + p.sound(),
            Sound::Rest => 0,
        };
        height(self.edition[e].sound, 0) - height(self.source[s].sound, self.alignment.interval.semitones)
    }

    /// One finding for each note that is held where the other side strikes.
    pub(super) fn tie(&self, index: usize, tie: &TieChange, out: &mut Vec<Finding>) {
        let status = if tie.added { Status::Added } else { Status::Omitted };
        let (first, from) = (tie.edition[0], tie.source[0]);
        // The edition's note at which the tie starts.
        let held_at = |s: SourceNote| {
            let time = self.source.onset(s) - self.source.onset(from) + self.edition.onset(first);
            self.edition.tied(first).filter(|n| self.edition.onset(*n) <= time).last().unwrap_or(first)
        };
        // Of each two notes that are struck one after the other the first.
        let pairs: Vec<(EditionNote, SourceNote)> = match tie.added {
            true => tie.source.windows(2).map(|struck| (held_at(struck[0]), struck[0])).collect(),
            false => tie.edition.windows(2).map(|struck| (struck[0], from)).collect(),
        };
        for (e, s) in pairs {
            let mut finding = self.note_finding(Category::Tie, status, Some(e), Some(s), None);
            finding.subject = Subject::Tie(index);
            let name = self.edition_name(e);
            let (one, two) = (format!("{name} held"), format!("{name} struck twice"));
            (finding.edition_reading, finding.source_reading) =
                if tie.added { (Some(one), Some(two)) } else { (Some(two), Some(one)) };
            out.push(finding);
        }
    }

    pub(super) fn note_finding(
        &self,
        category: Category,
        status: Status,
        edition: Option<EditionNote>,
        source: Option<SourceNote>,
        passage: Option<usize>,
    ) -> Finding {
        let in_source = source.map(|s| self.source.place(s));
        let (row, at) = match (edition, in_source) {
            (Some(e), _) => {
                let place = self.edition.place(e);
                (self.collation.edition_row(place), place)
            }
            (None, Some(place)) => (self.collation.source_row(place), self.to_edition(place)),
            (None, None) => unreachable!("a finding is about a note"),
        };
        let source_at = in_source.or_else(|| {
            let place = self.edition.place(edition?);
            self.to_source(Anchor { place, note: edition.map(EditionNote::index) })
        });
        let lead = match edition {
            Some(e) => &self.edition[e],
            None => &self.source[source.expect("one side at least")],
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

    pub(super) fn edition_name(&self, note: EditionNote) -> String {
        name(self.edition[note].sound, Interval::UNISON)
    }

    pub(super) fn source_name(&self, note: SourceNote) -> String {
        name(self.source[note].sound, self.alignment.interval)
    }
}

fn name(sound: Sound, by: Interval) -> String {
    match sound {
        Sound::Pitched(pitch) => pitch.moved(by).to_string(),
        Sound::Unpitched(_) => "stroke".into(),
        Sound::Rest => "rest".into(),
    }
}

/// As in `7:2.5`: bar 7, beat 2.5.
pub(super) fn place_name(part: &Part, place: Place) -> String {
    format!("{}:{}", part.bars[place.bar].number, crate::time::beat_text(part.beat(place)))
}
