//! Places of marks on either side, in the source's own time.

use super::super::matcher::{Again, Entry, Position};
use super::super::rows::Row;
use super::super::{MarkPair, PartAlignment, PartView, Rows, matcher};
use super::{of_edition, of_source};
use crate::alignment::{
    Edition, EditionBar, EditionMark, EditionNote, NoteOf, OtherMusic, PartOf, Side, Source, SourceBar, SourceMark,
    SourceNote, Table,
};
use crate::score::{Anchor, Category, Mark, Place, Sign};
use crate::time::Time;
use rustc_hash::FxHashMap;

/// From places of either side to the source's time.
pub(super) struct Map<'a> {
    pub view: &'a PartView<'a>,
    alignment: &'a PartAlignment,
    /// Row of each bar of the edition and of the source.
    edition_rows: Rows,
    source_rows: Rows,
    rows: &'a [Row],
    /// Where each stretch of other music starts, in order, and where those up to
    /// it end at the latest.
    covers: Vec<(Start, End)>,
    /// Notes of the source inside other music.
    inside: Table<SourceNote, bool>,
    /// Notes of the edition that are struck where the source holds one: the
    /// first of them, and the one that is held.
    held: FxHashMap<EditionNote, (EditionNote, SourceNote)>,
    /// Of each row which further time of its music it is; 0 for the first.
    times: Vec<usize>,
}

/// A row and an offset in it.
type Start = (usize, Time);
/// The same; the end of a row comes after all offsets.
type End = (usize, bool, Time);

impl<'a> Map<'a> {
    pub fn new(view: &'a PartView<'a>, rows: &'a [Row], alignment: &'a PartAlignment) -> Self {
        let edition_rows = Rows::new(rows.iter().map(|r| &r.pair), |p| p.edition_place());
        let source_rows = Rows::new(rows.iter().map(|r| &r.pair), |p| p.source_place());
        let end = |s: &OtherMusic| (s.rows.last, s.to.is_none(), s.to.unwrap_or_default());
        let stretches = &alignment.other_music;
        let mut covers: Vec<(Start, End)> = stretches.iter().map(|s| ((s.rows.first, s.from), end(s))).collect();
        covers.sort_unstable();
        for at in 1..covers.len() {
            covers[at].1 = covers[at].1.max(covers[at - 1].1);
        }
        let mut inside = view.source.for_notes(false);
        let unlike = stretches.iter().flat_map(|s| &s.source).filter(|n| alignment.source_to_edition[**n].is_none());
        unlike.for_each(|n| inside[*n] = true);
        let mut held = FxHashMap::default();
        for tie in alignment.ties.iter().filter(|t| !t.added) {
            for note in &tie.edition {
                held.entry(*note).or_insert((tie.edition[0], tie.source[0]));
            }
        }
        for small in &alignment.written_out {
            for note in &small.edition {
                held.entry(*note).or_insert((small.edition[0], small.source));
            }
        }
        let mut played: FxHashMap<(usize, Time), usize> = FxHashMap::default();
        let time = |row: &Row| {
            let from = if row.pair.edition.is_some() { row.pair.source_from } else { row.pair.edition_from };
            let time = row.pair.again.map(|bar| played.entry((bar, from)).and_modify(|n| *n += 1).or_insert(1));
            time.map_or(0, |n| *n)
        };
        let times = rows.iter().map(time).collect();
        Map { view, alignment, edition_rows, source_rows, rows, covers, inside, held, times }
    }

    /// Whether other music covers a place of a row.
    fn covered(&self, row: usize, offset: Time) -> bool {
        let started = self.covers.partition_point(|(start, _)| *start <= (row, offset));
        started > 0 && (row, false, offset) < self.covers[started - 1].1
    }

    pub fn edition_entry<'m>(&self, id: EditionMark, mark: &'m Mark) -> Entry<'m, Edition> {
        let meaning = of_edition(mark, self.view);
        let start = self.edition_position(mark.at, mark);
        let end = mark.end.and_then(|end| self.edition_position(end, mark));
        let (category, staff) = (mark.category, mark.staff);
        let end = end.filter(|_| !matches!(mark.sign, Sign::Trill { .. }));
        let beat = self.view.edition.bars[mark.at.bar].meter.beat / self.scale(mark);
        let bar = self.view.edition.bars[mark.at.bar].length / self.scale(mark);
        let voices = self.voices_of_chord(mark);
        Entry { mark: id, sign: &mark.sign, category, meaning, start, end, staff, voices, beat, bar, again: None }
    }

    /// Copies of the marks of a strain for a second time that only one side writes out.
    pub fn come_back<'m>(
        &self,
        index: usize,
        edition: &mut Vec<Entry<'m, Edition>>,
        source: &mut Vec<Entry<'m, Source>>,
    ) {
        let row = &self.rows[index];
        let pair = row.pair;
        let edition_writes = pair.edition.is_some();
        let from = if edition_writes { pair.source_from } else { pair.edition_from };
        let own = |at: Anchor| {
            pair.again == Some(at.bar) && at.offset >= from && pair.again_to.is_none_or(|to| at.offset < to)
        };
        if edition_writes {
            let again = |a: Position| Position { again: self.times[index], ..a };
            for at in 0..first_times(source) {
                let entry = &source[at];
                if own(self.view.source[entry.mark].at) {
                    let (start, end) = (entry.start.map(again), entry.end.map(again));
                    source.push(entry.copy(Again { row: index, first: at }, start, end));
                }
            }
            return;
        }
        let (ours, theirs) = (self.view.edition, self.view.source);
        let mut second: FxHashMap<EditionNote, SourceNote> = FxHashMap::default();
        for note in row.source_notes(theirs) {
            if let Some(e) = self.alignment.source_to_edition[note] {
                second.insert(e, note);
            }
        }
        let Some(start) = pair.source.and_then(|b| theirs.bar(b)).map(|b| b.start) else { return };
        for at in 0..first_times(edition) {
            let entry = &edition[at];
            let mark = &ours[entry.mark];
            if !own(mark.at) {
                continue;
            }
            let position = |at: Anchor| match carrier(ours, at, mark) {
                Some((note, grace)) => {
                    let heads = std::iter::once(note).chain(ours.chord(note)).map(|n| ours.head(n));
                    let (e, s) = heads.into_iter().find_map(|n| Some((n, *second.get(&n)?)))?;
                    let after = (ours.time(at.place) - ours.onset(e)) / pair.scale;
                    let onset = theirs.onset(s);
                    let time = if grace > 0 { onset } else { onset + after };
                    Some(Position { time, voice: Some(theirs[s].voice), grace, again: 0 })
                }
                None => Some(Position { time: start + pair.to_source(at.offset), voice: None, grace: 0, again: 0 }),
            };
            let end = mark.end.filter(|_| entry.end.is_some()).and_then(position);
            edition.push(entry.copy(Again { row: index, first: at }, position(mark.at), end));
        }
    }

    /// What the second time has no need of, or has in its own way.
    pub fn only_once(&self, mark: SourceMark) -> bool {
        let mark = &self.view.source[mark];
        let row = self.source_rows.at(mark.at.place).map(|r| self.rows[r].pair);
        matcher::said_once(mark.category) && row.is_some_and(|p| p.edition.is_none() && p.again.is_some())
    }

    fn scale(&self, mark: &Mark) -> Time {
        self.edition_rows.at(mark.at.place).map_or(Time::from(1), |r| self.rows[r].pair.scale)
    }

    pub fn source_entry<'m>(&self, id: SourceMark, mark: &'m Mark) -> Entry<'m, Source> {
        let meaning = of_source(mark, self.view);
        let start = match self.holds_from_before(id) {
            true => self
                .edge(
                    self.view.source,
                    Anchor { place: Place { bar: self.first_bar(), ..mark.at.place }, ..mark.at },
                    mark,
                )
                .map(|time| Position { time, voice: None, grace: 0, again: 0 }),
            false => self.source_position(mark.at, mark),
        };
        let end = mark.end.and_then(|end| self.source_position(end, mark));
        let (category, staff) = (mark.category, mark.staff);
        let end = end.filter(|_| !matches!(mark.sign, Sign::Trill { .. }));
        let beat = self.view.source.bars[mark.at.bar].meter.beat;
        let bar = self.view.source.bars[mark.at.bar].length;
        let voices = start.and_then(|s: Position| s.voice).map_or(0, |v| 1 << v.min(63));
        Entry { mark: id, sign: &mark.sign, category, meaning, start, end, staff, voices, beat, bar, again: None }
    }

    fn edition_position(&self, at: Anchor, mark: &Mark) -> Option<Position> {
        let part = self.view.edition;
        if let Some((note, grace)) = carrier(part, at, mark) {
            let (first, source) = self.partner_in_chord(note)?;
            let onset = self.view.source.onset(source);
            // A note moved in its bar takes its marks along.
            let after = (part.time(at.place) - part.onset(first)) / self.scale(mark);
            let time = if grace > 0 { onset } else { onset + after };
            let own = &part[first];
            let row = self.edition_rows.at(own.place());
            let again = row.map_or(0, |r| self.times[r]);
            return Some(Position { time, voice: Some(self.view.source[source].voice), grace, again });
        }
        if let Some(time) = self.edge(part, at, mark) {
            return Some(Position { time, voice: None, grace: 0, again: 0 });
        }
        let row = self.edition_rows.at(at.place)?;
        let pair = self.rows[row].pair;
        let bar = pair.source_played().and_then(|bar| self.view.source.bar(bar))?;
        if self.covered(row, at.offset) {
            return None;
        }
        let time = bar.start + pair.to_source(at.offset);
        Some(Position { time, voice: None, grace: 0, again: self.times[row] })
    }

    /// From when to when a mark of the source holds that no note carries and other music covers.
    pub fn free_in_source(&self, mark: &Mark) -> Option<(Time, Option<Time>)> {
        let time = |at: Anchor| {
            let row = self.source_rows.at(at.place)?;
            let is_shared = self.rows[row].pair.edition.is_some();
            is_shared.then(|| self.view.source.time(at.place))
        };
        if carrier(self.view.source, mark.at, mark).is_some() || self.source_position(mark.at, mark).is_some() {
            return None;
        }
        Some((time(mark.at)?, mark.end.map(time).map_or(Some(None), |end| end.map(Some))?))
    }

    /// The same of a mark of the edition, in the source's time.
    pub fn free_in_edition(&self, mark: &Mark) -> Option<(Time, Option<Time>)> {
        let time = |at: Anchor| {
            let row = self.edition_rows.at(at.place)?;
            let pair = self.rows[row].pair;
            let bar = self.view.source.bar(pair.source?)?;
            Some(bar.start + pair.to_source(at.offset))
        };
        if carrier(self.view.edition, mark.at, mark).is_some() || self.edition_position(mark.at, mark).is_some() {
            return None;
        }
        Some((time(mark.at)?, mark.end.map(time).map_or(Some(None), |end| end.map(Some))?))
    }

    /// Whether a mark stands outside of the piece that both sides have.
    pub fn is_outside(&self, pair: &MarkPair) -> bool {
        let row = match (pair.edition, pair.source) {
            (Some(m), _) => self.edition_rows.at(Place::start_of(self.view.edition[m].at.bar)),
            (None, Some(m)) => self.source_rows.at(Place::start_of(self.view.source[m].at.bar)),
            (None, None) => None,
        };
        row.is_some_and(|r| self.rows[r].pair.outside)
    }

    /// Whether a double bar only one side prints closes the piece: where the other has its end, too.
    pub fn closes(&self, pair: &MarkPair) -> bool {
        let closes = |mark: &Mark, edge: Option<Time>| mark.sign == Sign::DoubleBar && edge.is_some();
        let (ours, theirs) = (self.view.edition, self.view.source);
        match (pair.edition, pair.source) {
            (Some(m), None) => closes(&ours[m], self.edge(ours, ours[m].at, &ours[m])),
            (None, Some(m)) => closes(&theirs[m], self.edge(theirs, theirs[m].at, &theirs[m])),
            _ => false,
        }
    }

    /// The source's bar with which the piece begins.
    fn first_bar(&self) -> usize {
        self.rows.iter().filter(|r| !r.pair.outside).find_map(|r| r.pair.source).map_or(0, SourceBar::index)
    }

    /// The signatures that hold from before the piece in the source: what an edition of it prints at its beginning
    /// belongs to them.
    fn holds_from_before(&self, id: SourceMark) -> bool {
        let part = self.view.source;
        let mark = &part[id];
        if mark.category != Category::Signature {
            return false;
        }
        let first = self.first_bar();
        let later = |m: &Mark| {
            m.category == Category::Signature
                && std::mem::discriminant(&m.sign) == std::mem::discriminant(&mark.sign)
                && (m.at.bar < first || m.at.bar == first && m.at.offset.is_zero())
        };
        mark.at.bar < first && !part.marks[id.index() + 1..].iter().any(later)
    }

    /// A signature that only one side prints says nothing where the other has
    /// the same from before.
    pub fn prevails(&self, pair: &MarkPair) -> bool {
        let (own, other, mark, row) = match (pair.edition, pair.source) {
            (Some(m), None) => {
                let mark = &self.view.edition[m];
                let row = self.edition_rows.at(mark.at.place);
                (self.view.edition.part(), self.view.source.part(), mark, row)
            }
            (None, Some(m)) => {
                let mark = &self.view.source[m];
                let row = self.source_rows.at(mark.at.place);
                (self.view.source.part(), self.view.edition.part(), mark, row)
            }
            _ => return false,
        };
        let Some(row) = row.filter(|_| mark.category == Category::Signature).map(|r| self.rows[r].pair) else {
            return false;
        };
        let there = match pair.edition {
            Some(_) => row.source.map(SourceBar::index),
            None => row.edition.map(EditionBar::index),
        };
        let Some(there) = there.filter(|b| mark.at.offset == Time::from(0) && *b < other.bars.len()) else {
            return false;
        };
        if !matches!(mark.sign, Sign::Key { .. }) {
            return row.scale == Time::from(1) && own.bars[mark.at.bar].meter == other.bars[there].meter;
        }
        let by = self.view.interval.fifths() * if pair.edition.is_some() { 1 } else { -1 };
        let apart = own.sounding_fifths(mark.at.bar) - other.sounding_fifths(there) - by;
        // Old signatures often have one accidental fewer.
        matches!(apart.rem_euclid(12), 0 | 1 | 11)
    }

    /// Barlines and signatures at the two ends of a piece belong to each other
    /// whatever the music beside them is.
    fn edge<S: Side>(&self, part: PartOf<S>, at: Anchor, mark: &Mark) -> Option<Time> {
        let inside = || self.rows.iter().filter(|r| !r.pair.outside);
        let own = |r: &Row| match std::ptr::eq(part.part(), self.view.edition.part()) {
            true => r.pair.edition.map(EditionBar::index),
            false => r.pair.source.map(SourceBar::index),
        };
        let (first, last) = (inside().find_map(own)?, inside().filter_map(own).next_back()?);
        match mark.category {
            Category::Signature if at.bar == first && at.offset == Time::from(0) => {
                let start = inside().find_map(|r| r.pair.source)?;
                self.view.source.bar(start).map(|b| b.start)
            }
            Category::Structure if at.bar == last && at.offset >= part.bars[last].length => {
                let end = inside().filter_map(|r| r.pair.source).next_back()?;
                self.view.source.bar(end).map(|b| b.start + b.length)
            }
            _ => None,
        }
    }

    /// The first note of the edition, and its partner, by which a chord is found
    /// in the source: of the note itself if it is struck there, of another that
    /// is, or where all are held over, of one that was struck before. Which note
    /// of its chord a mark is written at says nothing.
    fn partner_in_chord(&self, note: EditionNote) -> Option<(EditionNote, SourceNote)> {
        let part = self.view.edition;
        let partner = |n: EditionNote| self.alignment.edition_to_source[n].map(|s| (n, s));
        let struck = || part.chord(note).filter(|n| part[*n].is_struck());
        let heads = || std::iter::once(note).chain(part.chord(note)).map(|n| part.head(n));
        let found = std::iter::once(note).chain(struck()).filter(|n| part[*n].is_struck()).find_map(partner);
        let found = found.or_else(|| struck().find_map(|n| self.swallowed(n)));
        found.or_else(|| heads().find_map(partner)).or_else(|| heads().find_map(|n| self.swallowed(n)))
    }

    /// The voices of the source in which the notes of a mark's chord stand, a bit for each.
    fn voices_of_chord(&self, mark: &Mark) -> u64 {
        let part = self.view.edition;
        let Some((note, _)) = carrier(part, mark.at, mark) else { return 0 };
        let partners = part.chord(note).filter_map(|n| self.alignment.edition_to_source[part.head(n)]);
        partners.fold(0, |voices, s| voices | 1 << self.view.source[s].voice.min(63))
    }

    /// For a note that the source holds on to, or that it has plain: the first of
    /// the notes that are struck in its place, and the source's note.
    fn swallowed(&self, note: EditionNote) -> Option<(EditionNote, SourceNote)> {
        self.held.get(&note).copied()
    }

    fn source_position(&self, at: Anchor, mark: &Mark) -> Option<Position> {
        let part = self.view.source;
        if let Some((note, grace)) = carrier(part, at, mark) {
            let inside = part.chord(note).all(|n| self.inside[part.head(n)]);
            let time = if grace > 0 { part.onset(note) } else { part.time(at.place) };
            // A note that is held may have begun in another voice.
            let struck = std::iter::once(note).chain(part.chord(note)).any(|n| part[n].is_struck());
            let first = if struck { note } else { part.head(note) };
            return (!inside).then_some(Position { time, voice: Some(part[first].voice), grace, again: 0 });
        }
        if let Some(time) = self.edge(part, at, mark) {
            return Some(Position { time, voice: None, grace: 0, again: 0 });
        }
        let row = self.source_rows.at(at.place)?;
        if self.rows[row].pair.outside && mark.category != Category::Signature {
            return None;
        }
        let covered = self.covered(row, self.rows[row].pair.to_edition(at.offset));
        let time = part.time(at.place);
        (!covered).then_some(Position { time, voice: None, grace: 0, again: 0 })
    }
}

/// How many entries are no copies.
fn first_times<S>(entries: &[Entry<S>]) -> usize {
    entries.iter().take_while(|e| e.again.is_none()).count()
}

/// The note that carries a mark, and which of its grace notes if it is one of
/// those. Marks on rests compare by time.
fn carrier<S: Side>(part: PartOf<S>, at: Anchor, mark: &Mark) -> Option<(NoteOf<S>, u32)> {
    let note = part.carrier(at)?;
    let own = &part[note];
    let grace = if mark.category == Category::Grace { 0 } else { 2 * own.grace + u32::from(own.grace_after) };
    let main = if own.grace > 0 { part.main_note(note)? } else { note };
    (!part[main].is_rest()).then_some((main, grace))
}
