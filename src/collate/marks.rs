//! Which mark is which: by the note or the time it stands at, and by meaning.

use super::bars::Row;
use super::{MarkPair, PartAlignment, PartView, Rows, Stretch};
use crate::score::{Category, Mark, MarkId, NoteId, Part, Place};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::borrow::Cow;

/// Where a mark stands, in the source's own time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Anchor {
    time: Time,
    /// The source's voice, for marks that a note carries.
    voice: Option<u32>,
    /// Place in a group of grace notes, doubled, and one more after the main
    /// note; 0 for main notes.
    grace: u32,
    /// In the second time of a strain that the edition writes out.
    again: bool,
}

/// A mark made comparable across the two sides.
struct Entry<'a> {
    mark: MarkId,
    /// Tells two marks of one meaning apart, where both sides have both.
    reading: &'a str,
    category: Category,
    meaning: Cow<'a, str>,
    start: Option<Anchor>,
    end: Option<Anchor>,
    staff: u32,
    /// The source's voices that its chord's notes are in, a bit for each.
    voices: u64,
    /// The beat it stands in is so long; a mark less than a beat from its like is that one, moved.
    beat: Time,
    /// A mark of the source that comes back with its strain.
    again: bool,
}

/// Of so many marks that say the same at one place the likest is chosen.
const MOST_ALIKE: usize = 32;

pub fn pair(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    let map = Map::new(view, rows, alignment);
    let edition: Vec<Entry> = view.edition.marks.iter().enumerate().map(|(id, m)| map.edition_entry(id, m)).collect();
    let own = view.source.marks.iter().enumerate().filter(|(_, m)| !map.is_folded(m));
    let mut source: Vec<Entry> = own.map(|(id, m)| map.source_entry(id, m)).collect();
    let back: Vec<Entry> = source.iter().filter_map(|e| map.comes_back(e)).collect();
    source.extend(back);
    let mut matcher = Matcher::new(&edition, &source);
    matcher.equal();
    matcher.nearly(true, |e, s| e.meaning == s.meaning && at_another_note(e, s));
    matcher.nearly(true, |e, s| e.meaning == s.meaning && laid_out(e, s));
    matcher.nearly(false, |e, s| e.start == s.start);
    matcher.nearly(false, |e, s| e.end.is_some() && e.end == s.end && e.meaning == s.meaning);
    matcher.nearly(false, |e, s| e.meaning == s.meaning && overlap(e, s));
    matcher.nearly(false, |e, s| e.meaning == s.meaning && close(e, s));
    let mut pairs = matcher.finish();
    // A sign that the edition writes out is not missing.
    let mut written_out = vec![false; view.source.notes.len()];
    alignment.realisations.iter().for_each(|r| written_out[r.source] = true);
    let is_told = |id: MarkId| {
        let mark = &view.source.marks[id];
        matches!(mark.category, Category::Ornament | Category::Grace) && mark.at.note.is_some_and(|n| written_out[n])
    };
    pairs.retain(|p| !map.prevails(p));
    pairs.retain(|p| p.edition.is_some() || !p.source.is_some_and(is_told));
    alignment.marks = pairs;
}

/// From places of either side to the source's time.
struct Map<'a> {
    view: &'a PartView<'a>,
    alignment: &'a PartAlignment,
    /// Row of each bar of the edition and of the source.
    edition_rows: Rows,
    source_rows: Rows,
    rows: &'a [Row],
    /// Where each stretch of other music starts, in order, and where those up to
    /// it end at the latest.
    covers: Vec<(Start, End)>,
    /// Notes of the source inside other music.
    inside: Vec<bool>,
    /// Notes of the edition that are struck where the source holds one: the
    /// first of them, and the one that is held.
    held: FxHashMap<NoteId, (NoteId, NoteId)>,
    /// Bars of the source that the edition writes out once more.
    back: FxHashSet<usize>,
}

/// A row and an offset in it.
type Start = (usize, Time);
/// The same; the end of a row comes after all offsets.
type End = (usize, bool, Time);

impl<'a> Map<'a> {
    fn new(view: &'a PartView<'a>, rows: &'a [Row], alignment: &'a PartAlignment) -> Self {
        let edition_rows = Rows::new(rows.iter().map(|r| &r.pair), |p| Some((p.edition?, p.edition_from)));
        let source_rows = Rows::new(rows.iter().map(|r| &r.pair), |p| Some((p.source?, p.source_from)));
        let end = |s: &Stretch| (s.outline.1, s.to.is_none(), s.to.unwrap_or_default());
        let stretches = &alignment.stretches;
        let mut covers: Vec<(Start, End)> = stretches.iter().map(|s| ((s.outline.0, s.from), end(s))).collect();
        covers.sort_unstable();
        for at in 1..covers.len() {
            covers[at].1 = covers[at].1.max(covers[at - 1].1);
        }
        let mut inside = vec![false; view.source.notes.len()];
        stretches.iter().flat_map(|s| &s.source).for_each(|n| inside[*n] = true);
        let mut held = FxHashMap::default();
        for tie in alignment.ties.iter().filter(|t| !t.added) {
            for note in &tie.edition {
                held.entry(*note).or_insert((tie.edition[0], tie.source[0]));
            }
        }
        for small in &alignment.realisations {
            for note in &small.edition {
                held.entry(*note).or_insert((small.edition[0], small.source));
            }
        }
        let back = rows.iter().filter(|r| r.pair.edition.is_some()).filter_map(|r| r.pair.again).collect();
        Map { view, alignment, edition_rows, source_rows, rows, covers, inside, held, back }
    }

    /// Whether other music covers a place of a row.
    fn covered(&self, row: usize, offset: Time) -> bool {
        let started = self.covers.partition_point(|(start, _)| *start <= (row, offset));
        started > 0 && (row, false, offset) < self.covers[started - 1].1
    }

    fn edition_entry<'m>(&self, id: MarkId, mark: &'m Mark) -> Entry<'m> {
        let meaning = meaning(mark, self.view, true);
        let start = self.edition_anchor(mark.at, mark);
        let end = mark.end.and_then(|end| self.edition_anchor(end, mark));
        let (category, staff) = (mark.category, mark.staff);
        let end = end.filter(|_| !is_trill(mark));
        let beat = self.view.edition.bars[mark.at.bar].meter.beat / self.scale(mark);
        let voices = self.voices_of_chord(mark);
        Entry { mark: id, reading: &mark.reading, category, meaning, start, end, staff, voices, beat, again: false }
    }

    /// In a copy of its strain's second time, if the edition writes one.
    fn comes_back<'m>(&self, entry: &Entry<'m>) -> Option<Entry<'m>> {
        let mark = &self.view.source.marks[entry.mark];
        if !self.back.contains(&mark.at.bar) {
            return None;
        }
        let again = |a: Anchor| Anchor { again: true, ..a };
        let (start, end) = (entry.start.map(again), entry.end.map(again));
        let (category, meaning, staff) = (entry.category, entry.meaning.clone(), entry.staff);
        Some(Entry {
            mark: entry.mark,
            reading: entry.reading,
            category,
            meaning,
            start,
            end,
            staff,
            voices: entry.voices,
            beat: entry.beat,
            again: true,
        })
    }

    /// Whether the edition only repeats the music that a mark of the source stands in.
    fn is_folded(&self, mark: &Mark) -> bool {
        let row = self.source_rows.at(mark.at.bar, mark.at.offset);
        row.is_some_and(|r| self.rows[r].pair.edition.is_none() && self.rows[r].pair.again.is_some())
    }

    fn scale(&self, mark: &Mark) -> Time {
        self.edition_rows.at(mark.at.bar, mark.at.offset).map_or(Time::from(1), |r| self.rows[r].pair.scale)
    }

    fn source_entry<'m>(&self, id: MarkId, mark: &'m Mark) -> Entry<'m> {
        let meaning = meaning(mark, self.view, false);
        let start = self.source_anchor(mark.at, mark);
        let end = mark.end.and_then(|end| self.source_anchor(end, mark));
        let (category, staff) = (mark.category, mark.staff);
        let end = end.filter(|_| !is_trill(mark));
        let beat = self.view.source.bars[mark.at.bar].meter.beat;
        let voices = start.and_then(|s: Anchor| s.voice).map_or(0, |v| 1 << v.min(63));
        Entry { mark: id, reading: &mark.reading, category, meaning, start, end, staff, voices, beat, again: false }
    }

    fn edition_anchor(&self, place: Place, mark: &Mark) -> Option<Anchor> {
        let part = self.view.edition;
        if let Some((note, grace)) = carrier(part, place, mark) {
            let (first, source) = self.partner_in_chord(note)?;
            let onset = self.view.source.onset(source);
            // A note moved in its bar takes its marks along.
            let after = (part.time(place.bar, place.offset) - part.onset(first)) / self.scale(mark);
            let time = if grace > 0 { onset } else { onset + after };
            let own = &part.notes[first];
            let row = self.edition_rows.at(own.bar, own.offset);
            let again = row.is_some_and(|r| self.rows[r].pair.again.is_some());
            return Some(Anchor { time, voice: Some(self.view.source.notes[source].voice), grace, again });
        }
        if let Some(time) = self.edge(part, place, mark) {
            return Some(Anchor { time, voice: None, grace: 0, again: false });
        }
        let row = self.edition_rows.at(place.bar, place.offset)?;
        let pair = self.rows[row].pair;
        let source = pair.source.or(pair.again)?;
        if self.covered(row, place.offset) || source >= self.view.source.bars.len() {
            return None;
        }
        let time = self.view.source.bars[source].start + pair.to_source(place.offset);
        Some(Anchor { time, voice: None, grace: 0, again: pair.source.is_none() })
    }

    /// A signature that only one side prints says nothing where the other has
    /// the same from before.
    fn prevails(&self, pair: &MarkPair) -> bool {
        let (own, other, mark, row) = match (pair.edition, pair.source) {
            (Some(m), None) => {
                let mark = &self.view.edition.marks[m];
                (self.view.edition, self.view.source, mark, self.edition_rows.at(mark.at.bar, mark.at.offset))
            }
            (None, Some(m)) => {
                let mark = &self.view.source.marks[m];
                (self.view.source, self.view.edition, mark, self.source_rows.at(mark.at.bar, mark.at.offset))
            }
            _ => return false,
        };
        let Some(row) = row.filter(|_| mark.category == Category::Signature).map(|r| self.rows[r].pair) else {
            return false;
        };
        let there = if pair.edition.is_some() { row.source } else { row.edition };
        let Some(there) = there.filter(|b| mark.at.offset == Time::from(0) && *b < other.bars.len()) else {
            return false;
        };
        if mark.kind != "key" {
            return row.scale == Time::from(1) && own.bars[mark.at.bar].meter == other.bars[there].meter;
        }
        let by = self.view.interval.fifths() * if pair.edition.is_some() { 1 } else { -1 };
        let apart = own.sounding_fifths(mark.at.bar) - other.sounding_fifths(there) - by;
        // Old signatures often have one accidental fewer.
        matches!(apart.rem_euclid(12), 0 | 1 | 11)
    }

    /// Barlines and signatures at the two ends of a piece belong to each other
    /// whatever the music beside them is.
    fn edge(&self, part: &Part, place: Place, mark: &Mark) -> Option<Time> {
        let last = part.bars.len() - 1;
        match mark.category {
            Category::Signature if place.bar == 0 && place.offset == Time::from(0) => Some(Time::from(0)),
            Category::Structure if place.bar == last && place.offset >= part.bars[last].length => {
                let end = self.view.source.bars.last()?;
                Some(end.start + end.length)
            }
            _ => None,
        }
    }

    /// The first note of the edition, and its partner, by which a chord is found
    /// in the source: of the note itself if it is struck there, of another that
    /// is, or where all are held over, of one that was struck before. Which note
    /// of its chord a mark is written at says nothing.
    fn partner_in_chord(&self, note: NoteId) -> Option<(NoteId, NoteId)> {
        let part = self.view.edition;
        let partner = |n: NoteId| self.alignment.edition_to_source[n].map(|s| (n, s));
        let struck = || part.chord(note).filter(|n| part.notes[*n].is_struck());
        let heads = || std::iter::once(note).chain(part.chord(note)).map(|n| part.head(n));
        let found = std::iter::once(note).chain(struck()).filter(|n| part.notes[*n].is_struck()).find_map(partner);
        let found = found.or_else(|| struck().find_map(|n| self.swallowed(n)));
        found.or_else(|| heads().find_map(partner)).or_else(|| heads().find_map(|n| self.swallowed(n)))
    }

    /// The voices of the source in which the notes of a mark's chord stand, a bit for each.
    fn voices_of_chord(&self, mark: &Mark) -> u64 {
        let part = self.view.edition;
        let Some((note, _)) = carrier(part, mark.at, mark) else { return 0 };
        let partners = part.chord(note).filter_map(|n| self.alignment.edition_to_source[part.head(n)]);
        partners.fold(0, |voices, s| voices | 1 << self.view.source.notes[s].voice.min(63))
    }

    /// For a note that the source holds on to, or that it has plain: the first of
    /// the notes that are struck in its place, and the source's note.
    fn swallowed(&self, note: usize) -> Option<(usize, usize)> {
        self.held.get(&note).copied()
    }

    fn source_anchor(&self, place: Place, mark: &Mark) -> Option<Anchor> {
        let part = self.view.source;
        if let Some((note, grace)) = carrier(part, place, mark) {
            let inside = part.chord(note).all(|n| self.inside[part.head(n)]);
            let time = if grace > 0 { part.onset(note) } else { part.time(place.bar, place.offset) };
            return (!inside).then_some(Anchor { time, voice: Some(part.notes[note].voice), grace, again: false });
        }
        if let Some(time) = self.edge(part, place, mark) {
            return Some(Anchor { time, voice: None, grace: 0, again: false });
        }
        let row = self.source_rows.at(place.bar, place.offset)?;
        let covered = self.covered(row, self.rows[row].pair.to_edition(place.offset));
        let time = part.time(place.bar, place.offset);
        (!covered).then_some(Anchor { time, voice: None, grace: 0, again: false })
    }
}

/// The note that carries a mark, and which of its grace notes if it is one of
/// those. Marks on rests compare by time.
fn carrier(part: &Part, place: Place, mark: &Mark) -> Option<(usize, u32)> {
    let note = place.note?;
    let own = &part.notes[note];
    let grace = if mark.category == Category::Grace { 0 } else { 2 * own.grace + u32::from(own.grace_after) };
    let main = if own.grace > 0 { part.main_note(note)? } else { note };
    (!part.notes[main].is_rest()).then_some((main, grace))
}

/// The meaning with all pitches in the source's key.
fn meaning<'m>(mark: &'m Mark, view: &PartView, of_edition: bool) -> Cow<'m, str> {
    let by = if of_edition { view.interval.inverse() } else { crate::pitch::Interval::UNISON };
    match (mark.category, &*mark.kind) {
        (_, "accidental-mark" | "figured-bass") if view.interval.fifths() != 0 => without_signs(&mark.meaning).into(),
        (Category::Signature, "key") => {
            let fifths: i32 = mark.meaning.parse().unwrap_or(0);
            // Signatures of twelve fifths more sound the same.
            format!("key {}", (fifths + by.fifths()).rem_euclid(12)).into()
        }
        (Category::Signature, kind) => format!("{kind} {}", mark.meaning).into(),
        (Category::Grace, _) => {
            let pitches: Vec<String> = mark.pitches.iter().map(|p| p.moved(by).sound().to_string()).collect();
            format!("{} {}", pitches.join(" "), mark.meaning).into()
        }
        (Category::Harmony, _) => {
            let names: Vec<String> =
                mark.pitches.iter().map(|p| p.moved(by).sound().rem_euclid(1200).to_string()).collect();
            format!("{} {} {}", mark.kind, names.join(" "), mark.meaning).into()
        }
        _ => Cow::Borrowed(&mark.meaning),
    }
}

/// A trill says the same with a wavy line and without.
fn is_trill(mark: &Mark) -> bool {
    mark.category == Category::Ornament && mark.meaning == "trill-mark"
}

/// The signs of figures and ornaments, which their meaning has in braces, may
/// be others in another key: there it only counts that they are.
pub fn without_signs(meaning: &str) -> String {
    let mut out = String::new();
    let mut rest = meaning;
    while let Some((before, sign)) = rest.split_once('{') {
        out.push_str(before);
        out.push('*');
        rest = sign.split_once('}').map_or("", |s| s.1);
    }
    out + rest
}

fn overlap(e: &Entry, s: &Entry) -> bool {
    let (Some(a), Some(b), Some(c), Some(d)) = (e.start, e.end, s.start, s.end) else {
        return false;
    };
    let shared = b.time.min(d.time) - a.time.max(c.time);
    let whole = b.time.max(d.time) - a.time.min(c.time);
    shared * Time::from(2) >= whole && whole > Time::from(0)
}

/// At another note of a chord whose notes the source has in several voices.
fn at_another_note(e: &Entry, s: &Entry) -> bool {
    let at = |entry: &Entry| entry.start.map(|a| (a.time, a.grace, a.again));
    at(e).is_some()
        && at(e) == at(s)
        && e.end.map(|a| (a.time, a.grace)) == s.end.map(|a| (a.time, a.grace))
        && e.voices & s.voices != 0
}

/// Moved by so little that it is for the layout only.
fn laid_out(e: &Entry, s: &Entry) -> bool {
    let near = |a: Anchor, b: Anchor| {
        let apart = if a.time > b.time { a.time - b.time } else { b.time - a.time };
        (a.voice, a.grace, a.again) == (None, b.grace, b.again) && b.voice.is_none() && apart < Time::new(1, 4)
    };
    let ends = match (e.end, s.end) {
        (Some(a), Some(b)) => near(a, b) || a == b,
        (a, b) => a.is_none() && b.is_none(),
    };
    ends && e.start.zip(s.start).is_some_and(|(a, b)| near(a, b) || a == b)
}

fn close(e: &Entry, s: &Entry) -> bool {
    let (Some(a), Some(b)) = (e.start, s.start) else {
        return false;
    };
    let apart = if a.time > b.time { a.time - b.time } else { b.time - a.time };
    let alike = e.end.is_some() == s.end.is_some() && a.again == b.again;
    a.voice.is_none() && b.voice.is_none() && alike && apart < e.beat.max(s.beat).max(Time::from(1))
}

struct Matcher<'a> {
    edition: &'a [Entry<'a>],
    source: &'a [Entry<'a>],
    partner: Vec<Option<(usize, bool)>>,
    taken: Vec<bool>,
}

type Key<'a> = (Category, &'a str, Anchor, Option<Anchor>);

impl<'a> Matcher<'a> {
    fn new(edition: &'a [Entry<'a>], source: &'a [Entry]) -> Self {
        Matcher { edition, source, partner: vec![None; edition.len()], taken: vec![false; source.len()] }
    }

    /// Marks that say the same at the same place.
    fn equal(&mut self) {
        let mut places: FxHashMap<Key<'a>, Vec<usize>> = FxHashMap::default();
        // The first of several comes last, where it is taken off easily.
        for (index, entry) in self.source.iter().enumerate().rev() {
            if let Some(start) = entry.start {
                places.entry((entry.category, &entry.meaning, start, entry.end)).or_default().push(index);
            }
        }
        for (index, entry) in self.edition.iter().enumerate() {
            let Some(start) = entry.start else { continue };
            let key = (entry.category, entry.meaning.as_ref(), start, entry.end);
            let Some(free) = places.get_mut(&key) else { continue };
            let likest = (free.len().saturating_sub(MOST_ALIKE)..free.len()).max_by_key(|at| {
                let other = &self.source[free[*at]];
                (other.staff == entry.staff, other.reading == entry.reading, *at)
            });
            let Some(at) = likest else { continue };
            let s = free.remove(at);
            self.partner[index] = Some((s, true));
            self.taken[s] = true;
        }
    }

    /// What is left, of the same category and alike in some way: one mark that
    /// was altered, or is the `same`, not one gone and one come.
    fn nearly(&mut self, same: bool, alike: impl Fn(&Entry, &Entry) -> bool) {
        let mut free: FxHashMap<Category, Vec<usize>> = FxHashMap::default();
        for (index, entry) in self.source.iter().enumerate() {
            if !self.taken[index] && entry.start.is_some() {
                free.entry(entry.category).or_default().push(index);
            }
        }
        for e in 0..self.edition.len() {
            let entry = &self.edition[e];
            if self.partner[e].is_some() || entry.start.is_none() {
                continue;
            }
            let Some(free) = free.get_mut(&entry.category) else { continue };
            if let Some(at) = free.iter().position(|s| alike(entry, &self.source[*s])) {
                let s = free.remove(at);
                // Old signatures often have one accidental fewer.
                let tolerated = entry.category == Category::Signature && one_accidental(entry, &self.source[s]);
                self.partner[e] = Some((s, same || tolerated));
                self.taken[s] = true;
            }
        }
    }

    fn finish(self) -> Vec<MarkPair> {
        let mut out: Vec<MarkPair> = Vec::new();
        for (entry, partner) in self.edition.iter().zip(&self.partner) {
            let (source, same) = partner.map_or((None, false), |(s, same)| (Some(self.source[s].mark), same));
            out.push(MarkPair { edition: Some(entry.mark), source, same });
        }
        let left = self.source.iter().zip(&self.taken).filter(|(entry, taken)| !entry.again && !**taken);
        out.extend(left.map(|(entry, _)| MarkPair { edition: None, source: Some(entry.mark), same: false }));
        out
    }
}

fn one_accidental(e: &Entry, s: &Entry) -> bool {
    let fifths = |entry: &Entry| entry.meaning.strip_prefix("key ").and_then(|f| f.parse::<i32>().ok());
    let apart = fifths(e).zip(fifths(s)).map(|(a, b)| (a - b).rem_euclid(12));
    matches!(apart, Some(1 | 11))
}
