//! Marks of both sides made comparable, and matched: first what says the same
//! at the same place, then what is alike.

use super::MarkPair;
use crate::alignment::{Edition, MarkOf, Source};
use crate::score::{Category, Meaning, Sign};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};

/// Where a mark stands, in the source's own time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Position {
    pub time: Time,
    /// The source's voice, for marks that a note carries.
    pub voice: Option<u32>,
    /// Place in a group of grace notes, doubled, and one more after the main
    /// note; 0 for main notes.
    pub grace: u32,
    /// In which further time of a strain that the edition writes out, if in one.
    pub again: usize,
}

/// A mark made comparable across the two sides.
pub(super) struct Entry<'a, S> {
    pub mark: MarkOf<S>,
    /// Tells two marks of one meaning apart, where both sides have both.
    pub sign: &'a Sign,
    pub category: Category,
    pub meaning: Meaning<'a>,
    pub start: Option<Position>,
    pub end: Option<Position>,
    pub staff: u32,
    /// The source's voices that its chord's notes are in, a bit for each.
    pub voices: u64,
    /// The beat it stands in is so long; a mark less than a beat from its like is that one, moved.
    pub beat: Time,
    /// The length of its bar.
    pub bar: Time,
    /// For a mark that comes back with its strain.
    pub again: Option<Again>,
}

impl<'a, S> Entry<'a, S> {
    /// The mark in a second time.
    pub fn copy(&self, again: Again, start: Option<Position>, end: Option<Position>) -> Entry<'a, S> {
        Entry { start, end, meaning: self.meaning.clone(), again: Some(again), ..*self }
    }
}

type Ours<'a> = Entry<'a, Edition>;
type Theirs<'a> = Entry<'a, Source>;

/// A mark's place in a second time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Again {
    pub row: usize,
    /// The entry of the first time.
    pub first: usize,
}

/// Of so many marks that say the same at one place the likest is chosen.
const MOST_ALIKE: usize = 32;

fn overlap(e: &Ours, s: &Theirs) -> bool {
    let (Some(a), Some(b), Some(c), Some(d)) = (e.start, e.end, s.start, s.end) else {
        return false;
    };
    let shared = b.time.min(d.time) - a.time.max(c.time);
    let whole = b.time.max(d.time) - a.time.min(c.time);
    shared * Time::from(2) >= whole && whole > Time::from(0)
}

/// The verses that a side has.
fn verses<S>(entries: &[Entry<S>]) -> FxHashSet<u32> {
    entries.iter().filter_map(|e| e.sign.verse()).collect()
}

/// A syllable whose verse the other side numbers otherwise: it has none of that number.
fn of_another_verse(e: &Ours, s: &Theirs, verses: &[FxHashSet<u32>; 2]) -> bool {
    match (e.sign, s.sign) {
        (Sign::Lyric { verse: ours, text }, Sign::Lyric { verse: theirs, text: said }) => {
            text == said && !(verses[0].contains(theirs) && verses[1].contains(ours))
        }
        _ => false,
    }
}

/// At another note of a chord whose notes the source has in several voices.
fn at_another_note(e: &Ours, s: &Theirs) -> bool {
    let at = |start: Option<Position>| start.map(|a| (a.time, a.grace, a.again));
    at(e.start).is_some()
        && at(e.start) == at(s.start)
        && e.end.map(|a| (a.time, a.grace)) == s.end.map(|a| (a.time, a.grace))
        && e.voices & s.voices != 0
}

/// Moved by so little that it is for the layout only.
fn laid_out(e: &Ours, s: &Theirs) -> bool {
    let near = |a: Position, b: Position| {
        let apart = if a.time > b.time { a.time - b.time } else { b.time - a.time };
        (a.voice, a.grace, a.again) == (None, b.grace, b.again) && b.voice.is_none() && apart < Time::new(1, 4)
    };
    let ends = match (e.end, s.end) {
        (Some(a), Some(b)) => near(a, b) || a == b,
        (a, b) => a.is_none() && b.is_none(),
    };
    ends && e.start.zip(s.start).is_some_and(|(a, b)| near(a, b) || a == b)
}

/// Moved within its beat, a tempo within its bar.
fn close(e: &Ours, s: &Theirs) -> bool {
    let (Some(a), Some(b)) = (e.start, s.start) else {
        return false;
    };
    let apart = if a.time > b.time { a.time - b.time } else { b.time - a.time };
    let near = match e.category {
        Category::Tempo => apart <= e.bar.max(s.bar),
        _ => apart < e.beat.max(s.beat).max(Time::from(1)),
    };
    (a.voice, b.voice, a.again) == (None, None, b.again) && near
}

/// What two marks that are matched are to each other.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Likeness {
    Same,
    Altered,
}

pub(super) struct Matcher<'a> {
    edition: &'a [Ours<'a>],
    source: &'a [Theirs<'a>],
    partner: Vec<Option<(usize, bool)>>,
    taken: Vec<bool>,
}

type Key<'a> = (Category, &'a Meaning<'a>, Position, Option<Position>);

impl<'a> Matcher<'a> {
    pub fn new(edition: &'a [Ours<'a>], source: &'a [Theirs<'a>]) -> Self {
        Matcher { edition, source, partner: vec![None; edition.len()], taken: vec![false; source.len()] }
    }

    pub fn run(&mut self) {
        self.equal();
        let verses = [verses(self.edition), verses(self.source)];
        self.nearly(Likeness::Same, |e, s| e.start == s.start && of_another_verse(e, s, &verses));
        self.nearly(Likeness::Same, |e, s| e.meaning == s.meaning && at_another_note(e, s));
        self.nearly(Likeness::Same, |e, s| e.meaning == s.meaning && laid_out(e, s));
        self.nearly(Likeness::Altered, |e, s| e.start == s.start);
        self.nearly(Likeness::Altered, |e, s| e.end.is_some() && e.end == s.end && e.meaning == s.meaning);
        self.nearly(Likeness::Altered, |e, s| e.meaning == s.meaning && overlap(e, s));
        self.nearly(Likeness::Altered, |e, s| {
            e.meaning == s.meaning && e.end.is_some() == s.end.is_some() && close(e, s)
        });
        // Dashes after a word are the layout's.
        self.nearly(Likeness::Altered, |e, s| {
            e.meaning == s.meaning && e.end.is_some() != s.end.is_some() && close(e, s)
        });
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
            let key = (entry.category, &entry.meaning, start, entry.end);
            let Some(free) = places.get_mut(&key) else { continue };
            let likest = (free.len().saturating_sub(MOST_ALIKE)..free.len()).max_by_key(|at| {
                let other = &self.source[free[*at]];
                (other.staff == entry.staff, other.sign == entry.sign, *at)
            });
            let Some(at) = likest else { continue };
            let s = free.remove(at);
            self.partner[index] = Some((s, true));
            self.taken[s] = true;
        }
    }

    /// What is left, of the same category and alike in some way: one mark that
    /// was altered, or says the same after all, not one gone and one come.
    fn nearly(&mut self, likeness: Likeness, alike: impl Fn(&Ours, &Theirs) -> bool) {
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
                self.partner[e] = Some((s, likeness == Likeness::Same || tolerated));
                self.taken[s] = true;
            }
        }
    }

    pub fn finish(self) -> Vec<MarkPair> {
        let mut same = vec![false; self.source.len()];
        self.partner.iter().flatten().for_each(|(s, as_it_was)| same[*s] = *as_it_was);
        let mut out: Vec<MarkPair> = Vec::new();
        for (entry, partner) in self.edition.iter().zip(&self.partner) {
            let (source, as_it_was) = partner.map_or((None, false), |(s, same)| (Some(self.source[s].mark), same));
            let told = match entry.again {
                // What the strain adds in either time is told at the first.
                Some(again) => {
                    let first_is_right = self.partner[again.first].is_some_and(|p| p.1);
                    first_is_right && !as_it_was && !said_once(entry.category)
                }
                None => true,
            };
            if told {
                let again = entry.again.map(|a| a.row);
                out.push(MarkPair { edition: Some(entry.mark), source, same: as_it_was, again });
            }
        }
        for (entry, _) in self.source.iter().zip(&self.taken).filter(|(_, taken)| !**taken) {
            // A second time lacks only what the first one has.
            if entry.again.is_none_or(|a| same[a.first] && !said_once(entry.category)) {
                let again = entry.again.map(|a| a.row);
                out.push(MarkPair { edition: None, source: Some(entry.mark), same: false, again });
            }
        }
        out
    }
}

/// What stands at a strain once, however often it is played.
pub(super) fn said_once(category: Category) -> bool {
    matches!(
        category,
        Category::Structure | Category::Signature | Category::Rehearsal | Category::Tempo | Category::Lyric
    )
}

fn one_accidental(e: &Ours, s: &Theirs) -> bool {
    match (&e.meaning, &s.meaning) {
        (Meaning::Key(ours), Meaning::Key(theirs)) => matches!((ours - theirs).rem_euclid(12), 1 | 11),
        _ => false,
    }
}
