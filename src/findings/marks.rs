//! Findings about marks.

use super::{Finder, Finding, Passage, PassageKind, Status, Subject};
use crate::alignment::{NoteOf, PartOf, Side};
use crate::pitch::Interval;
use crate::score::{Anchor, Mark, Part};

impl Finder<'_> {
    pub(super) fn marks(&self, of_other: &[usize], out: &mut Vec<Finding>) {
        for pair in self.alignment.marks.iter().filter(|p| !p.same) {
            let ours = pair.edition.map(|m| &self.edition[m]);
            let theirs = pair.source.map(|m| &self.source[m]);
            let status = match (ours, theirs) {
                (Some(_), Some(_)) => Status::Altered,
                (Some(_), None) => Status::Added,
                (None, _) => Status::Omitted,
            };
            let Some(lead) = ours.or(theirs) else {
                continue;
            };
            let (row, at, source_at) = match (ours, theirs) {
                // A second time differs from the first.
                (Some(e), s) if pair.again.is_some() => {
                    let row = pair.again.unwrap_or_default();
                    (row, e.at.place, s.map(|s| s.at.place))
                }
                (None, Some(s)) if pair.again.is_some() => {
                    let row = pair.again.unwrap_or_default();
                    (row, self.in_row(row, s.at.place), Some(s.at.place))
                }
                (Some(e), s) => {
                    let row = self.collation.edition_row(e.at.place);
                    let source = s.map(|s| s.at.place).or_else(|| self.to_source(e.at));
                    (row, e.at.place, source)
                }
                (None, Some(s)) => {
                    let row = self.collation.source_row(s.at.place);
                    (row, self.to_edition(s.at.place), Some(s.at.place))
                }
                (None, None) => continue,
            };
            let end = match ours {
                Some(e) => e.end.map(|end| end.place),
                None => lead.end.map(|end| match pair.again {
                    Some(row) => self.in_row(row, end.place),
                    None => self.to_edition(end.place),
                }),
            };
            let offset =
                if ours.is_some() { at.offset } else { self.collation.outline[row].to_edition(lead.at.offset) };
            fn carrier<S: Side>(mark: &Mark, part: PartOf<S>) -> Option<NoteOf<S>> {
                part.carrier(mark.at).map(|n| part.head(n))
            }
            let passage = self.other_music_at(
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
                voice: lead.voice + 1,
                staff: lead.staff,
                edition_reading: ours.map(|m| m.reading().into_owned()),
                source_reading,
                passage: passage.filter(|_| status != Status::Altered).map(|s| of_other[s]),
            };
            if status == Status::Altered && finding.edition_reading == finding.source_reading {
                self.tell_places(ours, theirs, &mut finding);
            }
            out.push(finding);
        }
    }

    /// Two marks that read alike differ by where they stand: say so.
    pub(super) fn tell_places(&self, ours: Option<&Mark>, theirs: Option<&Mark>, finding: &mut Finding) {
        let told = |mark: &Mark, reading: &str, part: &Part| {
            let at = |p: Anchor| {
                let name = super::notes::place_name(part, p.place);
                match p.note.is_some_and(|n| part.notes[n].grace > 0) {
                    true => format!("the grace note of {name}"),
                    false => name,
                }
            };
            match mark.end {
                Some(end) => format!("{reading} from {} to {}", at(mark.at), at(end)),
                None => format!("{reading} at {}", at(mark.at)),
            }
        };
        finding.edition_reading = ours.map(|m| told(m, &m.reading(), &self.edition));
        finding.source_reading = theirs.map(|m| told(m, &self.moved_reading(m), &self.source));
    }

    /// The reading of a source mark in the edition's key.
    pub(super) fn moved_reading(&self, mark: &Mark) -> String {
        // As the edition, which may transpose, would write it.
        let ours = self.edition.bars.first().map_or(Interval::UNISON, |b| b.transpose);
        let sounding = self.alignment.interval;
        mark.moved_reading(sounding, sounding.plus(ours.inverse())).into_owned()
    }

    /// Whatever lies between the first and the last note of an octave passage or
    /// of ornaments belongs to it, and to a repeat what stands in its bars.
    pub(super) fn place_in_passages(&self, passages: &[Passage], findings: &mut [Finding]) {
        use PassageKind::{OctaveDisplacement, WrittenOutOrnament, WrittenOutRepeat};
        let takes_in = |p: &Passage| matches!(p.kind, OctaveDisplacement | WrittenOutOrnament | WrittenOutRepeat);
        let voices = |p: &Passage| {
            let mut voices: Vec<u32> = p.edition.iter().map(|n| self.edition[*n].voice + 1).collect();
            voices.sort_unstable();
            voices.dedup();
            voices
        };
        let wide: Vec<(usize, &Passage, Vec<u32>)> =
            passages.iter().enumerate().filter(|p| takes_in(p.1)).map(|(place, p)| (place, p, voices(p))).collect();
        if wide.is_empty() {
            return;
        }
        for finding in findings.iter_mut().filter(|f| f.passage.is_none()) {
            // What no note carries belongs to all voices.
            let stands_in_time = match finding.subject {
                Subject::Mark { edition: Some(m), .. } => self.edition[m].at.note.is_none(),
                Subject::Mark { source: Some(m), .. } => self.source[m].at.note.is_none(),
                _ => false,
            };
            let around = wide.iter().find(|(_, p, voices)| match p.kind {
                WrittenOutRepeat => {
                    let again = self.collation.outline[finding.row].again.is_some();
                    again && (p.at.from.bar..=p.at.to.bar).contains(&finding.at.bar)
                }
                _ => p.at.contains(finding.at) && (stands_in_time || voices.contains(&finding.voice)),
            });
            finding.passage = around.map(|p| p.0);
        }
    }
}
