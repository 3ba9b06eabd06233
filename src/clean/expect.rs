//! What the clean copy must hold, worked out from both scores and never from
//! the text that was made.

use super::job::PartJob;
use super::marks::Verdict;
use crate::collate::without_signs;
use crate::findings::{Finding, Subject};
use crate::musicxml::moved_signs;
use crate::musicxml::rewrite::Fate;
use crate::pitch::{Interval, Pitch};
use crate::score::{Category, Element, Mark, MarkId, Meter, NoteId, Part, Place, Sound};
use crate::time::Time;
use std::collections::{BTreeMap, HashMap};

/// The notes and marks of a part in a form that can be compared. Bars are
/// counted from 0 in the result, offsets in quarter notes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Content {
    pub part: String,
    pub bars: usize,
    pub notes: Vec<NoteLine>,
    pub marks: Vec<MarkLine>,
    /// Fifths of the signature and length of the time signature, for each bar.
    pub signatures: Vec<(i32, Meter)>,
}

/// One struck note, ties counted into its length.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct NoteLine {
    pub bar: usize,
    pub offset: Time,
    pub sound: Sound,
    pub length: Time,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct MarkLine {
    pub bar: usize,
    pub offset: Time,
    pub end: Option<(usize, Time)>,
    pub category: Category,
    pub meaning: String,
}

impl Content {
    /// What a part holds as it stands.
    pub fn of(part: &Part) -> Content {
        unmatched(part, &Fate::all_kept(part), &[])
    }

    /// A struck note of a part, its pitch moved.
    pub(super) fn note(part: &Part, id: NoteId, moved: impl Fn(Pitch) -> Pitch) -> NoteLine {
        let note = &part.notes[id];
        let sound = match note.sound {
            Sound::Pitched(pitch) => Sound::Pitched(moved(pitch)),
            other => other,
        };
        note_line(note.bar, note.offset, sound, Interval::UNISON, part.sounding(id))
    }

    /// The notes and marks of another line of the part.
    pub(super) fn take_in(&mut self, other: Content) {
        self.notes.extend(other.notes);
        self.marks.extend(other.marks);
        self.sort();
    }

    /// Which signs stand at figures and ornaments is not compared.
    pub(super) fn without_signs(&mut self) {
        self.marks.iter_mut().for_each(|m| m.meaning = without_signs(&m.meaning));
        self.sort();
    }

    pub(super) fn sort(&mut self) {
        self.notes.sort_unstable();
        self.marks.sort_unstable();
    }
}

fn note_line(bar: usize, offset: Time, sound: Sound, by: Interval, length: Time) -> NoteLine {
    let sound = match sound {
        Sound::Pitched(pitch) => Sound::Pitched(pitch.moved(by)),
        other => other,
    };
    NoteLine { bar, offset, sound, length }
}

pub(super) fn mark_line(mark: &Mark, at: (usize, Time), end: Option<(usize, Time)>, by: Interval) -> MarkLine {
    let names: Vec<String> = mark
        .pitches
        .iter()
        .map(|p| match mark.category {
            // Chord symbols have no octave.
            Category::Harmony => p.moved(by).sound().rem_euclid(1200).to_string(),
            _ => p.moved(by).sound().to_string(),
        })
        .collect();
    let meaning = match &*mark.kind {
        "figured-bass" => moved_signs(mark, by),
        _ => format!("{} {}", mark.meaning, names.join(" ")),
    };
    MarkLine { bar: at.0, offset: at.1, end, category: mark.category, meaning: meaning.trim().to_string() }
}

/// Whether the mark is a sign that may have a line, not a line.
fn is_trill(mark: &Mark) -> bool {
    mark.category == Category::Ornament && !matches!(&*mark.kind, "glissando" | "slide" | "wavy-line")
}

/// The result's bar for each row.
pub(super) fn numbered(fates: &[Fate]) -> Vec<Option<usize>> {
    let mut next = 0;
    fates
        .iter()
        .map(|fate| {
            fate.is_in_result().then(|| {
                next += 1;
                next - 1
            })
        })
        .collect()
}

/// A part without a source keeps what is its own, but for bars that go, and some marks.
pub(super) fn unmatched(part: &Part, fates: &[Fate], gone: &[MarkId]) -> Content {
    let bars = numbered(fates);
    let mut out = Content { part: part.id.clone(), bars: bars.iter().flatten().count(), ..Content::default() };
    let mut row_of: HashMap<usize, usize> = HashMap::new();
    let mut last = part.bars.first().map_or((0, Meter::default()), |b| (b.fifths, b.meter));
    for (row, fate) in fates.iter().enumerate() {
        if let Fate::Keep { edition, .. } = fate
            && let Some(bar) = part.bars.get(*edition)
        {
            row_of.insert(*edition, row);
            last = (bar.fifths, bar.meter);
        }
        if fate.is_in_result() {
            out.signatures.push(last);
        }
    }
    let place = |bar: usize| row_of.get(&bar).and_then(|r| bars[*r]);
    for note in 0..part.notes.len() {
        let own = &part.notes[note];
        let Some(bar) = place(own.bar).filter(|_| own.grace == 0 && !own.is_rest()) else { continue };
        // A tie holds between bars that stand side by side.
        let before = std::iter::successors(own.tied_from, |n| part.notes[*n].tied_from);
        let before = before.map(|n| part.notes[n].bar).find_map(place);
        if before.is_some_and(|before| before + 1 >= bar) {
            continue;
        }
        let (mut last, mut length) = (bar, own.duration);
        for held in part.tied(note).skip(1).map(|n| &part.notes[n]) {
            match place(held.bar) {
                Some(bar) if bar <= last + 1 => {
                    length += held.duration;
                    last = bar;
                }
                Some(_) => break,
                None => {}
            }
        }
        out.notes.push(note_line(bar, own.offset, own.sound, Interval::UNISON, length));
    }
    let comes_back: Vec<usize> =
        (fates.iter().zip(&bars)).filter(|(f, _)| matches!(f, Fate::Fresh { .. })).filter_map(|(_, b)| *b).collect();
    let stays = |(id, mark): &(MarkId, &Mark)| mark.category != Category::Signature && !gone.contains(id);
    for (_, mark) in part.marks.iter().enumerate().filter(stays) {
        let Some(bar) = place(mark.at.bar) else { continue };
        let end = mark.end.and_then(|e| place(e.bar).map(|b| (b, e.offset)));
        // A slur does not go over a bar of rest, and no line ends nowhere.
        let joins_notes = mark.category == Category::Slur || matches!(&*mark.kind, "glissando" | "slide");
        let over_rest = end.is_some_and(|(to, _)| comes_back.iter().any(|b| bar < *b && *b < to));
        let torn = mark.end.is_some() && end.is_none() && !is_trill(mark);
        if !(torn || joins_notes && over_rest) {
            out.marks.push(mark_line(mark, (bar, mark.at.offset), end, Interval::UNISON));
        }
    }
    out.sort();
    out
}

impl PartJob<'_, '_, '_> {
    /// What the result must hold: the source moved, and what is kept.
    pub fn expected(&self) -> Content {
        let rows = numbered(&self.fates);
        let mut out =
            Content { part: self.edition.id.clone(), bars: rows.iter().flatten().count(), ..Content::default() };
        self.expect_notes(&rows, &mut out);
        self.expect_marks(&rows, &mut out);
        self.expect_signatures(&mut out);
        out.sort();
        out
    }

    fn edition_bar(&self, rows: &[Option<usize>], bar: usize) -> Option<(usize, Fate)> {
        let row = self.sides.collation.edition_row(bar, Time::default());
        Some((rows[row]?, self.fates[row]))
    }

    fn source_bar(&self, rows: &[Option<usize>], bar: usize) -> Option<(usize, Fate)> {
        let row = self.sides.collation.source_row(bar, Time::default());
        Some((rows[row]?, self.fates[row]))
    }

    fn expect_notes(&self, rows: &[Option<usize>], out: &mut Content) {
        let interval = self.alignment.interval;
        // What is left as the edition has it, by note.
        let mut kept: BTreeMap<NoteId, Vec<&Finding>> = BTreeMap::new();
        let mut kept_out: Vec<NoteId> = Vec::new();
        for (finding, _) in self.with(|f| f.category.is_of_notes()).filter(|(_, undone)| !undone) {
            match finding.subject {
                Subject::Note { edition: Some(e), .. } => kept.entry(e).or_default().push(finding),
                Subject::Note { edition: None, source: Some(s) } => kept_out.push(s),
                Subject::Tie(t) => {
                    let tie = &self.alignment.ties[t];
                    kept.entry(tie.edition[0]).or_default().push(finding);
                    tie.edition.iter().skip(1).for_each(|e| kept.entry(*e).or_default().push(finding));
                    kept_out.extend(tie.source.iter().skip(1));
                }
                Subject::Realisation(r) => {
                    let r = &self.alignment.realisations[r];
                    r.edition.iter().for_each(|e| kept.entry(*e).or_default().push(finding));
                    kept_out.push(r.source);
                    kept_out.extend(&r.chord);
                }
                _ => {}
            }
        }
        for s in self.source.struck() {
            if kept_out.contains(&s) {
                continue;
            }
            let note = &self.source.notes[s];
            let Some((bar, fate)) = self.source_bar(rows, note.bar) else {
                continue;
            };
            let shift = fate.shift();
            let partner = self.alignment.source_to_edition[s];
            let left = partner.and_then(|e| kept.get(&e)).map_or(&[][..], Vec::as_slice);
            let is_left = |c: Category| left.iter().any(|f| f.category == c);
            if matches!(fate, Fate::Keep { .. }) && (is_left(Category::Rhythm) || is_left(Category::Tie)) {
                continue;
            }
            let of_pitch = is_left(Category::Octave) || is_left(Category::Pitch) || is_left(Category::Spelling);
            let sound = match (partner.filter(|_| of_pitch), note.sound) {
                (Some(e), _) => self.edition.notes[e].sound,
                (None, Sound::Pitched(p)) => Sound::Pitched(self.spelled(p, partner, interval)),
                (None, other) => other,
            };
            out.notes.push(note_line(bar, note.offset + shift, sound, Interval::UNISON, self.source.sounding(s)));
        }
        for e in self.edition.struck().filter(|e| self.is_compared(*e)) {
            let note = &self.edition.notes[e];
            let Some((bar, fate)) = self.edition_bar(rows, note.bar) else {
                continue;
            };
            let Fate::Keep { source, .. } = fate else {
                continue;
            };
            let alone = kept.get(&e).is_some_and(|findings| {
                let of = |c: Category| findings.iter().any(|f| f.category == c);
                of(Category::Note) || of(Category::Rhythm) || of(Category::Tie) || of(Category::WrittenOut)
            });
            if alone || source.is_none() {
                // A kept rhythm may have had its pitch put right.
                let wrong = |f: &&Finding| matches!(f.subject, Subject::Note { edition: Some(n), .. } if n == e);
                let fixed = self
                    .with(|f| matches!(f.category, Category::Octave | Category::Pitch | Category::Spelling))
                    .filter(|(f, undone)| wrong(f) && *undone)
                    .find_map(|_| self.source.notes[self.alignment.edition_to_source[e]?].pitch());
                let sound = fixed.map_or(note.sound, |p| Sound::Pitched(p.moved(interval).simplest()));
                out.notes.push(note_line(bar, note.offset, sound, Interval::UNISON, self.edition.sounding(e)));
            }
        }
    }

    /// A source pitch as the result spells it: as the edition does where its
    /// note was right, else with no more than double accidentals.
    fn spelled(&self, pitch: Pitch, partner: Option<NoteId>, interval: Interval) -> Pitch {
        let moved = pitch.moved(interval);
        let ours = partner.and_then(|e| self.edition.notes[e].pitch());
        if ours == Some(moved) { moved } else { moved.simplest() }
    }

    fn expect_marks(&self, rows: &[Option<usize>], out: &mut Content) {
        let decisions = self.mark_decisions();
        let mut source: Vec<usize> = self.restored_signs();
        let graces: Vec<Element> = self.gone_graces(&decisions).flat_map(|m| m.elements.iter().copied()).collect();
        let is_gone = |place: Place| place.note.is_some_and(|n| graces.contains(&self.edition.notes[n].element));
        for pair in self.alignment.marks.iter() {
            match self.verdict(pair, &decisions) {
                Verdict::Edition => {
                    let mark = &self.edition.marks[pair.edition.expect("the edition's")];
                    let composed = [Some(mark.at), mark.end].into_iter().flatten().any(|p| {
                        self.edition_bar(rows, p.bar).is_none_or(|(_, fate)| !matches!(fate, Fate::Keep { .. }))
                    });
                    // What stood on a grace note goes with it.
                    let torn = is_gone(mark.at) || mark.end.is_some_and(is_gone);
                    match pair.source {
                        Some(s) if (composed || torn) && pair.same => source.push(s),
                        _ if torn && mark.category != Category::Grace => {}
                        _ => self.expect_edition_mark(mark, composed, rows, out),
                    }
                }
                Verdict::Source => source.extend(pair.source),
                Verdict::Neither => {}
            }
        }
        for mark in source.into_iter().map(|m| &self.source.marks[m]) {
            let place = |p: Place| {
                let (bar, fate) = self.source_bar(rows, p.bar)?;
                let shift = fate.shift();
                Some((bar, p.offset + shift))
            };
            if mark.category != Category::Signature
                && let Some(at) = place(mark.at)
            {
                out.marks.push(mark_line(mark, at, mark.end.and_then(place), self.alignment.interval));
            }
        }
    }

    fn expect_edition_mark(&self, mark: &Mark, composed: bool, rows: &[Option<usize>], out: &mut Content) {
        // Grace notes go with a bar that is written again.
        if mark.category == Category::Signature || composed && mark.category == Category::Grace {
            return;
        }
        let place = |p: Place| {
            let (bar, fate) = self.edition_bar(rows, p.bar)?;
            if matches!(fate, Fate::Keep { .. }) {
                return Some((bar, p.offset));
            }
            // In a rebuilt bar the mark follows its note.
            match p.note.map(|n| self.edition.head(n)) {
                Some(note) => {
                    let source = self.alignment.edition_to_source[note]?;
                    Some((bar, self.source.notes[source].offset + fate.shift()))
                }
                None => Some((bar, p.offset)),
            }
        };
        let at = place(mark.at);
        let end = mark.end.and_then(place);
        let whole = at.filter(|_| mark.end.is_none() || end.is_some() || !composed);
        if let Some(at) = whole {
            out.marks.push(mark_line(mark, at, end, Interval::UNISON));
        }
    }

    /// Each bar's signatures: the source's where they are restored.
    fn expect_signatures(&self, out: &mut Content) {
        let by = Some(self.alignment.interval.fifths());
        out.signatures = signatures(self.edition, self.source, &self.fates, self.restores_signatures(), by);
    }
}

/// Each bar's signatures: the source's time, and its key moved by so many
/// fifths, where they are restored. Without an interval keys are the part's own.
pub(super) fn signatures(
    edition: &Part,
    source: &Part,
    fates: &[Fate],
    restored: bool,
    by: Option<i32>,
) -> Vec<(i32, Meter)> {
    let first = edition.bars.first();
    let mut last = first.map_or((0, Meter::default()), |b| (b.fifths, b.meter));
    let mut follows = false;
    let mut transpose = first.map_or(0, |b| b.transpose.fifths());
    let mut out = Vec::new();
    for fate in fates.iter().filter(|f| f.is_in_result()) {
        let own = fate.edition().and_then(|b| edition.bars.get(b));
        transpose = own.map_or(transpose, |b| b.transpose.fifths());
        let bar = fate.source().filter(|b| *b < source.bars.len());
        let key = bar.zip(by).map(|(b, by)| source.sounding_fifths(b) + by - transpose);
        // A source that says no time leaves the edition's.
        let time = bar.filter(|b| says_time(source, *b)).map(|b| source.bars[b].meter);
        let Some(own) = own else {
            last = (key.filter(|_| follows).unwrap_or(last.0), time.unwrap_or(last.1));
            out.push(last);
            continue;
        };
        follows = key == Some(own.fifths);
        let near = key.is_none_or(|k| (k - own.fifths).abs() <= 1);
        last = match (bar, fate.edition()) {
            (Some(_), _) if restored => {
                (if near { own.fifths } else { key.unwrap_or(own.fifths) }, time.unwrap_or(own.meter))
            }
            // A bar that is the edition's own goes on in what was restored before it.
            (None, Some(bar)) if restored && bar > 0 => {
                let before = &edition.bars[bar - 1];
                let key = if own.fifths != before.fifths { own.fifths } else { last.0 };
                (key, if own.meter != before.meter { own.meter } else { last.1 })
            }
            _ => (own.fifths, own.meter),
        };
        out.push(last);
    }
    out
}

/// Whether a part says in or before a bar which time it is in.
fn says_time(part: &Part, bar: usize) -> bool {
    part.marks.iter().any(|m| m.category == Category::Signature && m.kind == "time" && m.at.bar <= bar)
}
