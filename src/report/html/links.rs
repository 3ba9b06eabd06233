//! Where marks lie in a picture: links from there to the critical notes. They
//! are drawn before the music, so what lights up never covers a note.

use crate::engrave::boxes::Extent;
use maud::{Markup, html};

/// Where something lies that findings are about.
pub struct Spot {
    pub extent: Extent,
    /// Rows of the table of notes.
    pub rows: Vec<usize>,
    /// What it is, for who does not see it.
    pub about: String,
    /// Its bar in the picture.
    pub bar: usize,
    /// It goes on beyond a place where the picture is cut on a narrow screen.
    pub crosses: bool,
}

/// Room around a mark; the style adds more, which does not shrink with the picture.
const AROUND: f64 = 60.0;
/// No spot is smaller, so that a finger meets it.
const LEAST: f64 = 200.0;

/// In the order of the bars, the small ones in a bar last: they lie on top.
/// `name` gives the ids of those that a row leads to, and `is_again` tells those
/// that began before.
pub fn links<'s>(
    part: &str,
    spots: impl IntoIterator<Item = &'s Spot>,
    is_again: impl Fn(&Spot) -> bool,
    name: &mut impl FnMut(&Spot) -> Option<String>,
) -> Markup {
    let mut order: Vec<&Spot> = spots.into_iter().collect();
    order.sort_by(|a, b| a.bar.cmp(&b.bar).then(area(b).total_cmp(&area(a))));
    html! {
        @for spot in order {
            @if let Some(first) = spot.rows.first() {
                @let [x, y, width, height] = room(spot);
                @let rows = spot.rows.iter().map(usize::to_string).collect::<Vec<_>>().join(" ");
                @let is_folded = spot.about.contains('\n');
                @let class = if is_again(spot) { Some("again") } else { spot.crosses.then_some("cross") };
                @let id = if is_again(spot) { None } else { name(spot) };
                a id=[id] class=[class] href=(format!("#{part}-r{first}")) data-rows=(rows) aria-label=(spot.about) {
                    @if is_folded { title { (spot.about) } }
                    rect x=(format!("{x:.0}")) y=(format!("{y:.0}")) width=(format!("{width:.0}")) height=(format!("{height:.0}")) {}
                }
            }
        }
    }
}

fn area(spot: &Spot) -> f64 {
    let [left, top, right, bottom] = spot.extent;
    (right - left) * (bottom - top)
}

/// Left, top, width and height.
pub fn room(spot: &Spot) -> [f64; 4] {
    let [left, top, right, bottom] = spot.extent;
    let side = |from: f64, to: f64| {
        let more = (LEAST - (to - from)).max(0.0) / 2.0 + AROUND;
        (from - more, to - from + 2.0 * more)
    };
    let ((x, width), (y, height)) = (side(left, right), side(top, bottom));
    [x, y, width, height]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_are_in_the_order_of_bars_and_none_is_small() {
        let spot = |bar, right, row| Spot {
            extent: [0.0, 0.0, right, 10.0],
            rows: vec![row, 9],
            about: "<a>".into(),
            bar,
            crosses: false,
        };
        let drawn = links("p1", &[spot(1, 5.0, 3), spot(0, 5.0, 4), spot(0, 700.0, 5)], |_| false, &mut |s| {
            (s.rows[0] == 4).then(|| "p1-m4".into())
        });
        let (first, rest) = drawn.0.split_once("</a>").unwrap();
        assert!(first.contains("#p1-r5") && !first.contains(" id="), "{first}");
        assert_eq!(
            rest.split_once("</a>").unwrap().0,
            "<a id=\"p1-m4\" href=\"#p1-r4\" data-rows=\"4 9\" aria-label=\"&lt;a&gt;\">\
             <rect x=\"-158\" y=\"-155\" width=\"320\" height=\"320\"></rect>"
        );
    }
}
