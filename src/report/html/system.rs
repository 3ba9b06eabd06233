//! A system in the page: its pieces side by side, as if they were one; on a narrow
//! screen each has a line of its own and what holds before it.

use super::heads::{Beginning, name_along};
use super::links::Spot;
use super::picture::Picture;
use maud::{Markup, PreEscaped, html};

/// Words that end later than their piece take more room on its line.
const HARDLY: f64 = 15.0;
/// Names that stand along their staves.
const NAMES: f64 = 480.0;
/// A bar number that stands before its staff.
const NUMBER: f64 = 150.0;
/// Above and below a piece.
const EDGE: f64 = 120.0;

/// Draws the spots of a piece; told of each whether it began before.
pub type DrawSpots<'d> = &'d mut dyn FnMut(Vec<&Spot>, &dyn Fn(&Spot) -> bool) -> Markup;

/// `id` is the system's own, `about` what it is called.
pub fn system(drawn: &Picture, about: &str, id: &str, spots: DrawSpots) -> Markup {
    let [left, top, width, height] = drawn.view();
    let view = |from: f64, wide: f64| format!("{from:.0} {top:.0} {wide:.0} {height:.0}");
    let start = drawn.pieces.first().map_or(left, |piece| piece.left);
    let end = drawn.pieces.last().map_or(start, |piece| piece.right);
    // Names that stand along their staves take less room.
    // One staff alone has no bracket.
    let brackets = drawn.brackets_left.min(start);
    let before = brackets - if drawn.names.is_empty() { NUMBER } else { NAMES };
    let along: String = drawn.names.iter().map(|(text, y)| name_along(text, brackets - 110.0, *y)).collect();
    html! {
        div.system id=(id) role="group" aria-label=(about)
            style=(format!("--w:{width:.0};--h:{height:.0};--rest:{:.0}", left + width - end)) {
            svg.names aria-hidden="true" viewBox=(view(left, start - left)) style=(format!("flex-grow:{:.0}", start - left)) {
                (PreEscaped(&drawn.labels)) g id=(format!("{id}g")) { (PreEscaped(&drawn.brackets)) }
            }
            @for (place, piece) in drawn.pieces.iter().enumerate() {
                @let next = drawn.pieces.get(place + 1).map_or(usize::MAX, |next| next.bar);
                @let begins_here = |spot: &Spot| (piece.bar..next).contains(&spot.bar);
                @let own = |spot: &&Spot| begins_here(spot) || spot.crosses && spot.extent[2] > piece.left && spot.extent[0] < piece.right;
                @let Beginning { width: begins, shown } = &piece.beginning;
                @let (head, wide) = (start - before + begins, piece.right - piece.left);
                @let over = (piece.words_end - piece.right).max(HARDLY);
                @let (up, high) = (piece.top - EDGE - top, piece.bottom - piece.top + 2.0 * EDGE);
                @let clip = piece.is_crossed().then(|| format!("{id}c{place}"));
                @let clipped = clip.as_ref().map_or(String::new(), |clip| format!(";--clip:url(#{clip})"));
                div.piece style=(format!("--w:{:.0};--h:{high:.0};--up:{up:.0};--over:{over:.0}{clipped}", head + wide + over)) {
                    @if head > 0.0 {
                        svg.head aria-hidden="true" viewBox=(view(before, head)) style=(format!("flex-grow:{head:.0}")) {
                            @match place {
                                0 => { g id=(format!("{id}h")) { use href=(format!("#{id}g")) {} (PreEscaped(&along)) } }
                                _ => { use href=(format!("#{id}h")) {} g transform=(format!("translate({start:.0})")) { (PreEscaped(shown)) } }
                            }
                        }
                    }
                    svg role="none" viewBox=(view(piece.left, wide)) style=(format!("flex-grow:{wide:.0}")) {
                        @if let Some(clip) = clip {
                            clipPath id=(clip) { rect x=(format!("{:.0}", piece.left)) y=(format!("{top:.0}")) width=(format!("{wide:.0}")) height=(format!("{height:.0}")) {} }
                        }
                        (spots(drawn.spots.iter().filter(own).collect(), &|spot| !begins_here(spot)))
                        g aria-hidden="true" { (PreEscaped(&piece.inner)) }
                    }
                }
            }
        }
    }
}
