//! Lines of one part of the edition come together for the rewriting of that
//! part: their sources as one part, their alignments as one.

use super::Sides;
use crate::alignment::{
    EditionMark, EditionNote, MarkPair, PartAlignment, PartOf, SourceMark, SourceNote, Table, TieChange,
    WrittenOutOrnament,
};
use crate::findings::{Finding, Subject};
use crate::pitch::Interval;
use crate::score::{Anchor, Bar, Category, Element, Mark, Meaning, Note, NoteId, Part, Sound};
use crate::time::Time;
use std::collections::{HashMap, HashSet};

/// All that is laid beside one part of the edition.
pub(super) struct Merged {
    /// The part, by its place in the edition.
    pub part: usize,
    /// What the lines have in the source; pitches as one interval asks.
    pub source: Part,
    pub alignment: PartAlignment,
    /// The findings of its lines, one after the other.
    pub findings: Vec<Finding>,
    /// Its pairs of lines, by their place in the collation.
    pub lines: Vec<usize>,
    /// The part with what is in none of these lines: its other notes are rests there.
    pub rest: Part,
    /// Whether each note of the part is in one of the lines.
    pub compared: Table<EditionNote, bool>,
}

/// Each part of the edition that is laid beside the source line by line.
pub(super) fn parts_of_lines(sides: Sides) -> Vec<Merged> {
    let of_part = |part: usize| {
        let own = |a: &PartAlignment| sides.edition.parts[a.edition].derived_from == [part];
        let lines: Vec<usize> =
            (0..sides.collation.parts.len()).filter(|line| own(&sides.collation.parts[*line])).collect();
        (!lines.is_empty()).then(|| Merger::new(sides, part).merge(lines))
    };
    (0..sides.edition.printed().len()).filter_map(of_part).collect()
}

struct Merger<'a, 'i> {
    sides: Sides<'a, 'i>,
    part: &'a Part,
    place: usize,
    notes: HashMap<Element, EditionNote>,
    /// Marks without elements go by their category.
    marks: HashMap<(Option<Element>, Category), EditionMark>,
}

/// From the notes and marks of a line to those of the whole.
struct Numbers {
    edition: Table<EditionNote, EditionNote>,
    edition_marks: Table<EditionMark, EditionMark>,
    source: Table<SourceNote, SourceNote>,
    source_marks: Table<SourceMark, SourceMark>,
}

impl<'a, 'i> Merger<'a, 'i> {
    fn new(sides: Sides<'a, 'i>, place: usize) -> Self {
        let part = &sides.edition.parts[place];
        let own = PartOf::new(part);
        let notes = own.notes().map(|(id, n)| (n.element, id)).collect();
        let marks = own.marks().map(|(id, m)| (name(m), id)).collect();
        Merger { sides, part, place, notes, marks }
    }

    fn merge(self, lines: Vec<usize>) -> Merged {
        let first = &self.sides.collation.parts[lines[0]];
        let (source, numbers) = self.sources(&lines, first.interval);
        let mut alignment = PartAlignment {
            edition_to_source: Table::new(self.part.notes.len(), None),
            source_to_edition: Table::new(source.notes.len(), None),
            ..PartAlignment::new(self.place, first.source, first.interval)
        };
        let mut findings = Vec::new();
        for (line, to) in lines.iter().zip(&numbers) {
            let own = &self.sides.collation.parts[*line];
            let (ties, written_out) = (alignment.ties.len(), alignment.written_out.len());
            take_in(&mut alignment, own, to);
            findings.extend(self.sides.findings[*line].findings.iter().map(|finding| {
                let subject = match finding.subject {
                    Subject::Note { edition, source } => {
                        Subject::Note { edition: edition.map(|n| to.edition[n]), source: source.map(|n| to.source[n]) }
                    }
                    Subject::Mark { edition, source } => Subject::Mark {
                        edition: edition.map(|m| to.edition_marks[m]),
                        source: source.map(|m| to.source_marks[m]),
                    },
                    Subject::Tie(tie) => Subject::Tie(ties + tie),
                    Subject::WrittenOutOrnament(index) => Subject::WrittenOutOrnament(written_out + index),
                };
                Finding { subject, ..finding.clone() }
            }));
        }
        alignment.marks = once(alignment.marks, &source);
        let compared = PartOf::new(self.part).which(numbers.iter().flat_map(|n| n.edition.values()));
        let rest = self.rest(&compared, &alignment.marks);
        Merged { part: self.place, source, alignment, findings, lines, rest, compared }
    }

    /// The sources of all lines as one part, each on its line's staff and in voices of its own.
    fn sources(&self, lines: &[usize], interval: Interval) -> (Part, Vec<Numbers>) {
        let alignments: Vec<&PartAlignment> = lines.iter().map(|l| &self.sides.collation.parts[*l]).collect();
        let parts: Vec<&Part> = alignments.iter().map(|a| &self.sides.source.parts[a.source]).collect();
        let longest = parts.iter().max_by_key(|p| p.bars.len()).expect("a line at least");
        let mut out =
            Part { bars: vec![], notes: vec![], marks: vec![], staves: self.part.staves, ..(*longest).clone() };
        let mut numbers: Vec<Numbers> = alignments.iter().map(|a| self.numbers(a)).collect();
        let voices: Vec<u32> = parts.iter().map(|p| p.notes.iter().map(|n| n.voice + 1).max().unwrap_or(0)).collect();
        let first_voice = |at: usize| voices[..at].iter().sum::<u32>();
        for (index, frame) in longest.bars.iter().enumerate() {
            let start = out.notes.len();
            for (at, part) in parts.iter().enumerate() {
                let Some(bar) = part.bars.get(index) else { continue };
                // What moves by another octave than the first line is written so that one interval fits.
                let more = alignments[at].interval.plus(interval.inverse());
                let staff = self.staff(&numbers[at].edition);
                for id in bar.notes.clone() {
                    numbers[at].source[SourceNote::new(id)] = SourceNote::new(out.notes.len());
                    let note = part.notes[id].clone();
                    let voice = note.voice + first_voice(at);
                    out.notes.push(Note { staff, voice, sound: moved(note.sound, more), ..note });
                }
            }
            let length = parts.iter().filter_map(|p| p.bars.get(index)).map(|b| b.length).max();
            let length = length.unwrap_or(frame.length);
            out.bars.push(Bar { notes: start..out.notes.len(), length, ..frame.clone() });
        }
        let mut seen: HashMap<(Element, Category), SourceMark> = HashMap::new();
        for (at, part) in parts.iter().enumerate() {
            let more = alignments[at].interval.plus(interval.inverse());
            let there = |n: NoteId| numbers[at].source[SourceNote::new(n)].index();
            for (id, note) in part.notes.iter().enumerate() {
                let own = &mut out.notes[there(id)];
                (own.tied_from, own.tied_to) = (note.tied_from.map(there), note.tied_to.map(there));
            }
            for (id, mark) in part.marks.iter().enumerate().map(|(id, mark)| (SourceMark::new(id), mark)) {
                let key = mark.elements.first().map(|e| (*e, mark.category));
                let known = key.and_then(|key| seen.get(&key).copied()).filter(|_| mark.at.note.is_none());
                numbers[at].source_marks[id] = known.unwrap_or_else(|| {
                    let place = |p: Anchor| Anchor {
                        note: p.note.map(|n| numbers[at].source[SourceNote::new(n)].index()),
                        ..p
                    };
                    let mut own = Mark { at: place(mark.at), end: mark.end.map(place), ..mark.clone() };
                    own.staff = self.staff(&numbers[at].edition);
                    own.voice += first_voice(at);
                    own.sign.move_pitches(more);
                    out.marks.push(own);
                    SourceMark::new(out.marks.len() - 1)
                });
                seen.extend(key.map(|key| (key, numbers[at].source_marks[id])));
            }
        }
        (out, numbers)
    }

    fn numbers(&self, alignment: &PartAlignment) -> Numbers {
        let (line, source) = (&self.sides.edition.parts[alignment.edition], &self.sides.source.parts[alignment.source]);
        Numbers {
            edition: line.notes.iter().map(|n| self.notes[&n.element]).collect(),
            edition_marks: line.marks.iter().map(|m| self.marks[&name(m)]).collect(),
            source: Table::new(source.notes.len(), SourceNote::new(0)),
            source_marks: Table::new(source.marks.len(), SourceMark::new(0)),
        }
    }

    /// The staff that most notes of a line stand on.
    fn staff(&self, notes: &Table<EditionNote, EditionNote>) -> u32 {
        let mut counts: HashMap<u32, usize> = HashMap::new();
        notes.values().for_each(|n| *counts.entry(self.part.notes[n.index()].staff).or_default() += 1);
        counts.into_iter().max_by_key(|(staff, count)| (*count, u32::MAX - staff)).map_or(1, |c| c.0)
    }

    fn rest(&self, compared: &Table<EditionNote, bool>, marks: &[MarkPair]) -> Part {
        let known: HashSet<EditionMark> = marks.iter().filter_map(|p| p.edition).collect();
        let mut out = self.part.clone();
        for (note, _) in out.notes.iter_mut().zip(compared.values()).filter(|(_, compared)| **compared) {
            note.sound = Sound::Rest;
        }
        let part = PartOf::new(self.part);
        let on_compared = |m: &Mark| part.carrier(m.at).is_some_and(|n| compared[n]);
        let own = part.marks().filter(|(id, m)| !known.contains(id) && !on_compared(m));
        out.marks = own.map(|(_, m)| m.clone()).collect();
        out
    }
}

/// A mark by its first element; a mark that is not printed has none.
fn name(mark: &Mark) -> (Option<Element>, Category) {
    (mark.elements.first().copied(), mark.category)
}

fn moved(sound: Sound, by: Interval) -> Sound {
    match sound {
        Sound::Pitched(pitch) => Sound::Pitched(pitch.moved(by)),
        other => other,
    }
}

fn take_in(into: &mut PartAlignment, own: &PartAlignment, to: &Numbers) {
    let edition = |notes: &[EditionNote]| notes.iter().map(|n| to.edition[*n]).collect::<Vec<_>>();
    let source = |notes: &[SourceNote]| notes.iter().map(|n| to.source[*n]).collect::<Vec<_>>();
    for (e, s) in own.edition_to_source.iter() {
        if let Some(s) = s {
            into.edition_to_source[to.edition[e]] = Some(to.source[*s]);
        }
    }
    for (s, e) in own.source_to_edition.iter() {
        if let Some(e) = e {
            into.source_to_edition[to.source[s]] = Some(to.edition[*e]);
        }
    }
    let tie = |t: &TieChange| TieChange { added: t.added, edition: edition(&t.edition), source: source(&t.source) };
    into.ties.extend(own.ties.iter().map(tie));
    into.written_out.extend(own.written_out.iter().map(|r| WrittenOutOrnament {
        by_source: r.by_source,
        source: to.source[r.source],
        chord: source(&r.chord),
        edition: edition(&r.edition),
        sign: r.sign.map(|m| to.source_marks[m]),
        name: r.name,
    }));
    into.marks.extend(own.marks.iter().map(|p| MarkPair {
        again: p.again,
        edition: p.edition.map(|m| to.edition_marks[m]),
        source: p.source.map(|m| to.source_marks[m]),
        same: p.same,
    }));
}

/// What stands once for several lines is one mark: that it is the same in one line prevails, and what lacks in
/// several comes back once.
fn once(pairs: Vec<MarkPair>, source: &Part) -> Vec<MarkPair> {
    let mut of_edition: HashMap<EditionMark, usize> = HashMap::new();
    let mut of_source: HashSet<(Category, Meaning, usize, Time)> = HashSet::new();
    let mut out: Vec<MarkPair> = Vec::new();
    for pair in pairs {
        match (pair.edition, pair.source) {
            (Some(mark), _) => match of_edition.get(&mark) {
                Some(at) if !out[*at].same && pair.same => out[*at] = pair,
                Some(_) => {}
                None => {
                    of_edition.insert(mark, out.len());
                    out.push(pair);
                }
            },
            (None, Some(mark)) => {
                let own = &source.marks[mark.index()];
                let key = (own.category, own.meaning(Interval::UNISON), own.at.bar, own.at.offset);
                if own.at.note.is_some() || of_source.insert(key) {
                    out.push(pair);
                }
            }
            (None, None) => {}
        }
    }
    out
}
