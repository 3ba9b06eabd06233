//! What is laid side by side: bars, or pieces of bars where the two sides set
//! their barlines otherwise.

use crate::score::Part;
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHasher};
use std::cell::OnceCell;
use std::cmp::Ordering;
use std::hash::{Hash, Hasher};
use std::ops::{Deref, Range};
use std::rc::Rc;

/// More bars of one side are in no bar of the other.
const MOST_PIECES: i64 = 256;

/// One struck note: its part, its time in the cell (in the source's values), its pitch class.
pub(super) type Content = Vec<(usize, Time, i32)>;

/// The notes of a cell in order, and what is asked of them again and again. Copies of a cell share them.
#[derive(Debug)]
pub(super) struct Notes {
    placed: Content,
    sounding: OnceCell<Vec<(usize, i32)>>,
    hash: OnceCell<u64>,
}

impl Notes {
    fn new(placed: Content) -> Rc<Notes> {
        Rc::new(Notes { placed, sounding: OnceCell::new(), hash: OnceCell::new() })
    }

    /// Wherever they stand.
    fn sounding(&self) -> &[(usize, i32)] {
        self.sounding.get_or_init(|| sounding(&self.placed))
    }

    fn hash(&self) -> u64 {
        *self.hash.get_or_init(|| hash(&self.placed))
    }
}

impl Deref for Notes {
    type Target = Content;

    fn deref(&self) -> &Content {
        &self.placed
    }
}

fn sounding(notes: &Content) -> Vec<(usize, i32)> {
    let mut sounding: Vec<_> = notes.iter().map(|n| (n.0, n.2)).collect();
    sounding.sort_unstable();
    sounding
}

fn hash(notes: &Content) -> u64 {
    let mut hasher = FxHasher::default();
    notes.hash(&mut hasher);
    hasher.finish()
}

/// A bar or a piece of one. Places count from where a full bar would begin, so
/// that a pickup stands where it sounds.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    pub bar: usize,
    pub from: Time,
    pub to: Time,
    pub content: Rc<Notes>,
    /// Notes that are held over, which other hands may strike.
    pub held: Content,
    /// The strain that it plays a second time, if it is laid out so.
    pub again: Option<usize>,
}

/// All bars of one side, those of its parts together.
pub(super) struct SideCells<'a> {
    pub cells: Vec<Cell>,
    pub parts: Vec<&'a Part>,
    /// The first bar that is looked at.
    first: usize,
    /// Values of this side are so many times as long as the source's.
    pub scale: Time,
}

/// What one cell is worth that holds all notes of another among more.
const WITHIN: f64 = 0.65;

/// Two cells are the same music when they share at least this much.
pub(super) const LEAST_LIKENESS: f64 = 0.3;

impl<'a> SideCells<'a> {
    /// `height` gives a part's note in hundredths of a semitone, in the edition's key.
    pub fn new(parts: Vec<&'a Part>, scale: Time, height: impl Fn(usize, usize) -> i32) -> SideCells<'a> {
        let count = parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
        let notes = |bar: usize| parts.iter().filter_map(|p| p.bars.get(bar)).map(|b| b.notes.len()).sum();
        let mut bars: Vec<Content> = (0..count).map(|bar| Vec::with_capacity(notes(bar))).collect();
        let mut held: Vec<Content> = vec![Vec::new(); count];
        for (index, part) in parts.iter().enumerate() {
            for (note, own) in part.notes.iter().enumerate().filter(|(_, n)| n.grace == 0 && !n.is_rest()) {
                let mut place = own.offset + part.pickup(own.bar);
                if scale != Time::from(1) {
                    place /= scale;
                }
                let content = if own.tied_from.is_none() { &mut bars[own.bar] } else { &mut held[own.bar] };
                content.push((index, place, height(index, note).rem_euclid(1200)));
            }
        }
        let cells = bars.into_iter().zip(held).enumerate().map(|(bar, (mut content, held))| {
            content.sort_unstable();
            // A part that is silent there may fill less of its bar.
            let lengths = parts.iter().filter(|p| bar < p.bars.len()).map(|p| p.bars[bar].length + p.pickup(bar));
            let to = lengths.max().unwrap_or_default() / scale;
            Cell { bar, from: Time::zero(), to, content: Notes::new(content), held, again: None }
        });
        SideCells { cells: cells.collect(), parts, first: 0, scale }
    }

    /// What a short first bar lacks, in the source's values.
    pub fn pickup(&self, bar: usize) -> Time {
        let lacks = |part: &&Part| {
            let own = &part.bars[bar];
            if own.length < own.meter.bar { (own.meter.bar - own.length) / self.scale } else { Time::zero() }
        };
        match self.parts.first().filter(|p| bar < p.bars.len()) {
            // A piece that begins within its file may begin with a pickup, too.
            Some(part) if bar == self.first && bar > 0 => lacks(part),
            Some(part) => part.pickup(bar) / self.scale,
            None => Time::zero(),
        }
    }

    /// Keeps only some bars.
    pub fn restrict(&mut self, bars: Range<usize>) {
        if bars == (0..self.cells.len()) {
            return;
        }
        self.first = bars.start;
        self.cells = self.cells.drain(bars).collect();
        let lacking = self.cells.first().filter(|c| c.bar > 0).map_or(Time::zero(), |c| self.pickup(c.bar));
        if let Some(cell) = self.cells.first_mut().filter(|_| !lacking.is_zero()) {
            cell.to += lacking;
            cell.content = Notes::new(cell.content.iter().map(|n| (n.0, n.1 + lacking, n.2)).collect());
        }
    }

    /// Whether a cell ends before its bar does.
    pub fn ends_before(&self, cell: &Cell) -> bool {
        let lengths = self.parts.iter().filter_map(|p| Some(p.bars.get(cell.bar)?.length + p.pickup(cell.bar)));
        lengths.max().is_some_and(|length| cell.to < length / self.scale)
    }

    /// Whether any note is struck in a bar.
    pub fn sounds(&self, bar: usize) -> bool {
        self.parts.iter().any(|p| bar < p.bars.len() && p.struck_in(bar).next().is_some())
    }

    /// The length that most bars have.
    pub fn usual_length(&self) -> Time {
        let mut counts: FxHashMap<Time, usize> = FxHashMap::default();
        for cell in &self.cells {
            *counts.entry(cell.to - cell.from).or_default() += 1;
        }
        counts.into_iter().max_by_key(|(length, count)| (*count, *length)).map_or(Time::zero(), |c| c.0)
    }

    /// Whether no bar falls into more pieces of this length than a bar of music does.
    pub fn can_be_cut(&self, length: Time) -> bool {
        self.cells.iter().all(|cell| cell.length() / length <= Time::from(MOST_PIECES))
    }

    /// Cuts every bar into pieces of this length, the last of which may be shorter.
    pub fn cut(&mut self, length: Time) {
        let mut out = Vec::with_capacity(self.cells.len());
        for cell in &self.cells {
            let (mut from, pickup) = (Time::zero(), self.pickup(cell.bar));
            while from < cell.to || from.is_zero() {
                let to = if from + length >= cell.to { cell.to } else { from + length };
                if to > pickup || to == cell.to {
                    out.push(cell.piece(from, to));
                }
                from += length;
            }
        }
        self.cells = out;
    }
}

impl Cell {
    pub fn length(&self) -> Time {
        self.to - self.from
    }

    /// The piece between two places of the bar.
    pub fn piece(&self, from: Time, to: Time) -> Cell {
        let whole = to >= self.to;
        if whole && from == self.from && to == self.to {
            return self.clone();
        }
        let inside = |notes: &Content| {
            let inside = notes.iter().filter_map(|(part, place, class)| {
                let place = *place + self.from;
                (place >= from && (whole || place < to)).then_some((*part, place - from, *class))
            });
            inside.collect()
        };
        let (content, held) = (Notes::new(inside(&self.content)), inside(&self.held));
        Cell { bar: self.bar, from, to, content, held, again: self.again }
    }

    pub fn hash(&self) -> u64 {
        self.content.hash()
    }

    /// As if nothing were held over.
    fn hash_of_all(&self) -> u64 {
        if self.held.is_empty() {
            return self.hash();
        }
        let mut all: Content = self.content.iter().chain(&self.held).copied().collect();
        all.sort_unstable();
        hash(&all)
    }
}

/// A number for each cell of the source and of the edition: the same where the
/// same notes are struck, or would be without ties.
pub(super) fn numbers(source: &[Cell], edition: &[Cell]) -> (Vec<u64>, Vec<u64>) {
    let struck = |cells: &[Cell]| cells.iter().map(Cell::hash).collect::<Vec<u64>>();
    let (mut theirs, mut ours) = (struck(source), struck(edition));
    if source.iter().chain(edition).all(|c| c.held.is_empty()) {
        return (theirs, ours);
    }
    // A bar in which nothing is struck may be any.
    let mut known: FxHashMap<u64, u64> = FxHashMap::default();
    for (cell, number) in source.iter().zip(&mut theirs).filter(|(c, _)| !c.content.is_empty()) {
        *number = *known.entry(*number).or_insert(*number);
        known.entry(cell.hash_of_all()).or_insert(*number);
    }
    for (cell, number) in edition.iter().zip(&mut ours).filter(|(c, _)| !c.content.is_empty()) {
        *number = known.get(number).or_else(|| known.get(&cell.hash_of_all())).copied().unwrap_or(*number);
    }
    (theirs, ours)
}

/// How much two cells share, from 0 to 1.
pub(super) fn likeness(e: &Notes, s: &Notes) -> f64 {
    // Most cells that are laid side by side are equal.
    if e.placed == s.placed {
        return 1.0;
    }
    shared(common(e, s), common(e.sounding(), s.sounding()), (e.len(), s.len()))
}

/// The same of notes that are looked at once.
pub(super) fn likeness_of(e: &Content, s: &Content) -> f64 {
    match e.len() + s.len() {
        0 => 1.0,
        _ => shared(common(e, s), common(&sounding(e), &sounding(s)), (e.len(), s.len())),
    }
}

/// Notes at the same place count more than those that only sound alike.
fn shared(placed: usize, sounding: usize, notes: (usize, usize)) -> f64 {
    let both = 2.0 * (0.75 * placed as f64 + 0.25 * sounding as f64) / (notes.0 + notes.1) as f64;
    // Small notes all around a plain melody.
    let within = if placed > 1 { WITHIN * placed as f64 / notes.0.min(notes.1) as f64 } else { 0.0 };
    both.max(within)
}

/// Whether at least half of the notes of the side that has fewer are the other's, too.
pub(super) fn frames(e: &Content, s: &Content) -> bool {
    let few = e.len().min(s.len());
    few > 0 && 2 * common(e, s) >= few
}

/// For so few cells of one side, each with each, nothing is numbered.
const FEW: usize = 4;

/// The likeness of every cell of one side to every cell of the other, row by row.
pub(super) fn likenesses(ours: &[Cell], theirs: &[Cell]) -> Vec<f64> {
    if ours.len() * theirs.len() <= FEW * (ours.len() + theirs.len()) {
        let row =
            |own: &Cell| theirs.iter().map(move |other| likeness(&own.content, &other.content)).collect::<Vec<_>>();
        return ours.iter().flat_map(row).collect();
    }
    let placed = in_common(ours, theirs, |note| *note);
    let sounding = in_common(ours, theirs, |note| (note.0, note.2));
    let pairs = ours.iter().flat_map(|own| theirs.iter().map(|other| (own.content.len(), other.content.len())));
    let counts = placed.into_iter().zip(sounding);
    let likeness = |(notes, (placed, sounding)): ((usize, usize), (u32, u32))| match notes {
        (0, 0) => 1.0,
        // What stands at one place sounds alike, too.
        _ if sounding == 0 => 0.0,
        notes => shared(placed as usize, sounding as usize, notes),
    };
    pairs.zip(counts).map(likeness).collect()
}

/// How many notes every cell of one side has in common with every cell of the
/// other, row by row. Notes with one key are the same; only cells that share one are met.
fn in_common<K: Hash + Eq>(ours: &[Cell], theirs: &[Cell], key: impl Fn(&(usize, Time, i32)) -> K) -> Vec<u32> {
    let mut numbers: FxHashMap<K, usize> = FxHashMap::default();
    // The number of each of their notes, and its cell; then the cells of each number in one stretch.
    let mut notes: Vec<(usize, u32)> = Vec::with_capacity(theirs.iter().map(|c| c.content.len()).sum());
    for (at, cell) in theirs.iter().enumerate() {
        for note in cell.content.iter() {
            let next = numbers.len();
            notes.push((*numbers.entry(key(note)).or_insert(next), at as u32));
        }
    }
    let mut ends = vec![0_usize; numbers.len() + 1];
    notes.iter().for_each(|(number, _)| ends[number + 1] += 1);
    (1..ends.len()).for_each(|at| ends[at] += ends[at - 1]);
    let mut holders = vec![0_u32; notes.len()];
    let mut next = ends.clone();
    for (number, cell) in notes {
        holders[next[number]] = cell;
        next[number] += 1;
    }
    let width = theirs.len();
    let mut counts = vec![0; ours.len() * width];
    // How many notes of each number the cell has had so far: only as many of another cell's are the same.
    let mut had: Vec<(usize, u32)> = vec![(usize::MAX, 0); numbers.len()];
    for (row, cell) in ours.iter().enumerate() {
        let counts = &mut counts[row * width..][..width];
        for note in cell.content.iter() {
            let Some(&number) = numbers.get(&key(note)) else { continue };
            let before = &mut had[number];
            *before = if before.0 == row { (row, before.1 + 1) } else { (row, 1) };
            let nth = before.1;
            // The nth of ours is the nth of theirs, where they have as many.
            for same in holders[ends[number]..ends[number + 1]].chunk_by(|a, b| a == b) {
                if same.len() >= nth as usize {
                    counts[same[0] as usize] += 1;
                }
            }
        }
    }
    counts
}

/// How many notes two sorted cells have in common.
fn common<K: Ord>(e: &[K], s: &[K]) -> usize {
    let (mut i, mut j, mut count) = (0, 0, 0);
    while i < e.len() && j < s.len() {
        match e[i].cmp(&s[j]) {
            Ordering::Less => i += 1,
            Ordering::Greater => j += 1,
            Ordering::Equal => (count, i, j) = (count + 1, i + 1, j + 1),
        }
    }
    count
}

/// The largest length of which both are multiples.
pub(super) fn common_measure(a: Time, b: Time) -> Time {
    let (mut a, mut b) = (a, b);
    while !b.is_zero() {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::musicxml::{Input, Tree, read};

    /// One bar with a note of so many parts of a quarter.
    fn cut(divisions: u32, duration: u32, length: Time) -> bool {
        let text = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name>Oboe</part-name></score-part></part-list>\
             <part id=\"P1\"><measure number=\"1\"><attributes><divisions>{divisions}</divisions></attributes><note>\
             <pitch><step>C</step><octave>5</octave></pitch><duration>{duration}</duration></note></measure></part>\
             </score-partwise>"
        );
        let input = Input::from_bytes("part.musicxml", text.into_bytes()).unwrap();
        let tree = Tree::parse(&input).unwrap();
        let score = read(&tree).unwrap().score;
        SideCells::new(vec![&score.parts[0]], Time::from(1), |_, _| 0).can_be_cut(length)
    }

    #[test]
    fn bars_are_not_cut_into_dust() {
        assert!(cut(1, 4, Time::from(1)));
        assert!(cut(1, 64, Time::new(1, 4)));
        assert!(!cut(1, 64, Time::new(1, 16_384)));
    }
}
