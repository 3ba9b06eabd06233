//! One part by itself, on a page where its notes and marks are chosen.

use super::super::phrases::octaves_away;
use super::copier::{Tag, Tags};
use super::links::{Spot, room};
use super::picture::{Glyphs, Picture};
use super::system::system;
use maud::{Markup, html};
use serde::Serialize;
use std::collections::BTreeSet;
use std::fmt::Write;

/// Between a note's head and the ring around it.
const RING: f64 = 70.0;
/// Brackets around a sign: how far from it, how far they reach around it, at least how high.
const GAP: f64 = 45.0;
const ASIDE: f64 = 85.0;
const SERIF: f64 = 55.0;
const LEAST: f64 = 200.0;
/// A bracket over a piece: how far, how deep its hooks, how high its arrow.
const BRACKET: f64 = 130.0;
const HOOK: f64 = 90.0;
const ARROW: f64 = 200.0;

/// Something in a drawing that can be chosen.
#[derive(Debug, Clone, Default, Serialize)]
pub struct DrawnThing {
    /// The number of its name in the drawing.
    pub name: u32,
    /// As a mark sheet writes it: `12:3`.
    pub at: String,
    pub staff: u32,
    /// note, rest or mark.
    pub kind: String,
    /// Whether a mark can be laid on there.
    pub is_main: bool,
    /// Whether it is a sign that is set apart, which the engraver does not show.
    pub is_apart: bool,
    /// Of one's own marks the place in the sheet.
    pub own: Option<usize>,
    pub lies: Lies,
    /// For who does not see it.
    pub about: String,
}

/// How a note lies on an instrument.
#[derive(Debug, Clone, Copy, Default, Serialize)]
pub struct Lies {
    /// Whether it leaves the range.
    pub outside: bool,
    /// With which phrase it went to another octave, and how far.
    pub moved: Option<(usize, i32)>,
}

impl Lies {
    /// For who does not see it, after what else is said of the note.
    pub fn words(self) -> String {
        let moved = match self.moved {
            None => String::new(),
            Some((_, octaves)) => format!(", moved {}", octaves_away(octaves)),
        };
        moved + if self.outside { ", outside the range" } else { "" }
    }
}

/// One system of a drawing, as the page shows it, with an id of its own. `None` where it cannot be understood.
pub fn drawn_alone(
    pictures: &[String],
    shown: usize,
    things: &[DrawnThing],
    id: &str,
    glyphs: &mut Glyphs,
) -> Option<String> {
    let tag = |(place, thing): (usize, &DrawnThing)| {
        let status = if thing.own.is_some() { "own" } else { "" };
        (thing.name, Tag { status, sign: None, rows: vec![place], about: thing.about.clone() })
    };
    let tags: Tags = things.iter().enumerate().map(tag).collect();
    let mut systems = Vec::new();
    for svg in pictures {
        systems.extend(glyphs.systems(svg, &tags)?);
    }
    let mut drawn = systems.into_iter().nth(shown)?;
    over_phrases(&mut drawn, things);
    let mut seen = BTreeSet::new();
    let markup = system(&drawn, "", id, &mut |spots, is_again| {
        html! { @for spot in spots { @if !is_again(spot) && seen.insert(spot.rows[0]) { (chosen(spot, &things[spot.rows[0]])) } } }
    });
    Some(markup.into_string())
}

/// What is clicked, or reached by keyboard.
fn chosen(spot: &Spot, thing: &DrawnThing) -> Markup {
    let [x, y, width, height] = room(spot).map(|n| format!("{n:.0}"));
    html! {
        g.spot data-kind=(thing.kind) data-at=(thing.at) data-staff=(thing.staff) data-main[thing.is_main]
            data-own=[thing.own] role="button" tabindex="-1" aria-label=(thing.about) {
            @if thing.lies.outside || thing.lies.moved.is_some() { title { (thing.about) } }
            rect x=(x) y=(y) width=(width) height=(height) {}
            @if thing.lies.outside { (ring(spot)) }
            @if thing.is_apart { (around(spot)) }
        }
    }
}

/// Brackets around a sign that is set apart, as on paper.
fn around(spot: &Spot) -> Markup {
    let [left, top, right, bottom] = spot.extent;
    let more = (LEAST - (bottom - top)).max(0.0) / 2.0 + GAP / 2.0;
    let [top, bottom] = [top - more, bottom + more];
    let one = |x: f64, hook: f64| format!("M{:.0} {top:.0}H{x:.0}V{bottom:.0}H{:.0}", x + hook, x + hook);
    html! { path.apart d={ (one(left - ASIDE, SERIF)) (one(right + ASIDE, -SERIF)) } {} }
}

/// Around the head of a note outside the range.
fn ring(spot: &Spot) -> Markup {
    let [left, top, right, bottom] = spot.extent;
    let [x, y] = [(left + right) / 2.0, (top + bottom) / 2.0].map(|n| format!("{n:.0}"));
    let [rx, ry] = [(right - left) / 2.0 + RING, (bottom - top) / 2.0 + RING].map(|n| format!("{n:.0}"));
    html! { ellipse.outside cx=(x) cy=(y) rx=(rx) ry=(ry) {} }
}

/// Brackets over the phrases that went to another octave, with an arrow that says which way.
fn over_phrases(drawn: &mut Picture, things: &[DrawnThing]) {
    let moved = |spot: &Spot| things[spot.rows[0]].lies.moved;
    let ends = |phrase: usize| {
        let is_in = |spot: &&Spot| moved(spot).is_some_and(|m| m.0 == phrase);
        drawn
            .spots
            .iter()
            .filter(is_in)
            .map(|spot| [spot.extent[0], spot.extent[2]])
            .reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])
    };
    let phrases: BTreeSet<(usize, i32)> = drawn.spots.iter().filter_map(moved).collect();
    let phrases: Vec<([f64; 2], i32)> =
        phrases.into_iter().filter_map(|(phrase, octaves)| Some((ends(phrase)?, octaves))).collect();
    for piece in &mut drawn.pieces {
        let y = piece.top - BRACKET;
        for ([from, to], octaves) in &phrases {
            let [left, right] = [from.max(piece.left), to.min(piece.right)];
            if left >= right {
                continue;
            }
            // The hooks stand where the phrase begins and ends.
            let hook = |is_end: bool| if is_end { HOOK } else { 0.0 };
            let (begin, end) = (y + hook(*from == left), y + hook(*to == right));
            let [middle, wide] = [(left + right) / 2.0, ARROW / 2.0];
            let (foot, tip) = if *octaves > 0 { (y, y - ARROW) } else { (y - ARROW, y) };
            let _ = write!(
                piece.inner,
                "<path class=\"moved\" d=\"M{left:.0} {begin:.0}V{y:.0}H{right:.0}V{end:.0}\"/>\
                 <path class=\"moved way\" d=\"M{:.0} {foot:.0}H{:.0}L{middle:.0} {tip:.0}z\"/>",
                middle - wide,
                middle + wide,
            );
            piece.reach(y - ARROW, piece.bottom);
        }
    }
    if !phrases.is_empty() {
        drawn.leave_above(BRACKET + ARROW);
    }
}
