//! The pieces of a system: some bars each, which have a line of their own on a
//! narrow screen. What goes beyond its piece is drawn in the next ones, too.

use super::cuts::cuts;
use super::element::{left_end, right_end};
use super::heads::{Beginning, Held, read};
use crate::engrave::boxes::{Extent, has_class};
use crate::engrave::shapes::Shapes;
use roxmltree::Node;
use std::collections::BTreeMap;

/// Some bars of a system.
#[derive(Default)]
pub struct Piece {
    /// Its first bar in the system.
    pub bar: usize,
    pub left: f64,
    pub right: f64,
    /// What is drawn in it takes so much, from above downwards.
    pub top: f64,
    pub bottom: f64,
    /// Where the words end that begin in it.
    pub words_end: f64,
    /// What holds where it begins.
    pub held: Vec<Held>,
    /// The same, drawn.
    pub beginning: Beginning,
    /// What goes on in it from pieces before: what it stands in, and itself.
    again: Vec<(String, String)>,
    pub inner: String,
}

/// How something begins that comes from a piece before, and that goes on in the next.
pub const AGAIN: &str = "<g class=\"again\">";
pub const CROSS: &str = "<g class=\"cross\">";

/// Two things that meet at a barline lie on each other by less.
const BEYOND: f64 = 30.0;

/// The pieces of a system while it is read.
pub struct Pieces<'n, 'i> {
    system: Node<'n, 'i>,
    done: Vec<Piece>,
    now: Piece,
    /// Those that are not begun, the next one last.
    later: Vec<Piece>,
    held: Vec<Held>,
}

impl<'n, 'i> Pieces<'n, 'i> {
    /// Of a system that is drawn within `room`.
    pub fn new(system: Node<'n, 'i>, room: Extent, glyphs: &BTreeMap<&str, usize>) -> Pieces<'n, 'i> {
        let measures: Vec<Node<'_, '_>> = system.descendants().filter(|n| has_class(*n, "measure")).collect();
        let mut ends: Vec<f64> = measures.iter().filter_map(|m| left_end(*m)).collect();
        ends.push(measures.last().and_then(|m| right_end(*m)).unwrap_or(room[2]));
        let mut first = Vec::new();
        measures.iter().take(1).for_each(|m| read(*m, glyphs, &mut first));
        let firsts: Vec<usize> = [0].into_iter().chain(cuts(&ends, Beginning::width(&first))).collect();
        let piece = |place: usize| {
            let bar = firsts[place];
            let right = firsts.get(place + 1).map_or(room[2], |next| ends[*next]);
            Piece { bar, left: ends[bar], right, top: room[3], bottom: room[1], ..Piece::default() }
        };
        let mut later: Vec<Piece> = (0..firsts.len()).rev().map(piece).collect();
        let now = later.pop().unwrap_or_default();
        Pieces { system, done: Vec::new(), now, later, held: Vec::new() }
    }

    /// Whether the next piece begins with a bar.
    pub fn begins_with(&self, bar: usize) -> bool {
        self.later.last().is_some_and(|piece| piece.bar == bar)
    }

    /// Goes on to the next piece; all of this one is drawn.
    pub fn next(&mut self, drawn: String) {
        if let Some(mut next) = self.later.pop() {
            next.held = self.held.clone();
            let ended = std::mem::replace(&mut self.now, next);
            self.done.push(ended.with(drawn));
        }
    }

    /// Reads a bar: what room it takes, and which clefs and keys hold after it.
    pub fn read(&mut self, measure: Node<'_, '_>, glyphs: &BTreeMap<&str, usize>, shapes: &Shapes) {
        read(measure, glyphs, &mut self.held);
        if let Some([_, top, _, bottom]) = shapes.drawn(measure) {
            self.now.reach(top, bottom);
        }
    }

    /// All of them.
    pub fn end(&mut self, drawn: String) -> Vec<Piece> {
        let last = std::mem::take(&mut self.now).with(drawn);
        self.done.push(last);
        std::mem::take(&mut self.done)
    }

    /// A line with an end under the barline before its piece, where it would else only touch it.
    pub fn joined(&self, d: &str) -> Option<String> {
        let left = self.done.last()?.right;
        let rest = d.strip_prefix(&format!("M{left} ")).filter(|rest| rest.contains('H'))?;
        Some(format!("M{} {rest}", left - BEYOND / 2.0))
    }

    /// The extent of something that goes beyond its piece.
    pub fn beyond(&self, node: Node<'_, '_>, shapes: &Shapes) -> Option<Extent> {
        if self.done.is_empty() && self.later.is_empty() {
            return None;
        }
        // What began in the system before may come with the bar in which it ends.
        let is_late = |left: f64| !self.done.is_empty() && left < self.now.left - BEYOND;
        let is_early = |right: f64| !self.later.is_empty() && right > self.now.right + BEYOND;
        shapes.placed(node, self.system).filter(|extent| is_late(extent[0]) || is_early(extent[2]))
    }

    /// Has something drawn in the other pieces that it reaches; `around` is what it stands in.
    pub fn again(&mut self, extent: Extent, around: &str, drawn: &str) {
        for piece in self.done.iter_mut().filter(|p| extent[0] < p.right) {
            piece.inner.insert_str(0, &in_its_place(around, drawn));
            piece.reach(extent[1], extent[3]);
        }
        for piece in self.later.iter_mut().filter(|p| extent[0] < p.right && p.left < extent[2]) {
            match piece.again.last_mut() {
                Some((own, all)) if own == around => *all += drawn,
                _ => piece.again.push((around.into(), drawn.into())),
            }
            piece.reach(extent[1], extent[3]);
        }
    }

    /// Words and signs stand where they begin, even where they end in the next piece.
    pub fn takes(&mut self, extent: Extent) {
        self.now.words_end = self.now.words_end.max(extent[2]);
        self.now.reach(extent[1], extent[3]);
    }
}

fn in_its_place(around: &str, drawn: &str) -> String {
    let ends = "</g>".repeat(around.matches("<g").count());
    format!("{AGAIN}{around}{drawn}{ends}</g>")
}

impl Piece {
    pub fn reach(&mut self, top: f64, bottom: f64) {
        self.top = self.top.min(top);
        self.bottom = self.bottom.max(bottom);
    }

    /// Whether something goes beyond it, or came from before.
    pub fn is_crossed(&self) -> bool {
        [AGAIN, CROSS].iter().any(|class| self.inner.contains(class))
    }

    fn with(mut self, drawn: String) -> Piece {
        for (around, what) in std::mem::take(&mut self.again) {
            self.inner += &in_its_place(&around, &what);
        }
        self.inner += &drawn;
        self
    }
}
