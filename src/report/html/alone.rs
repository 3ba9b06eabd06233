//! One part by itself, on a page where its notes and marks are chosen.

use super::copier::{Tag, Tags};
use super::links::{Spot, room};
use super::picture::Glyphs;
use super::system::system;
use maud::{Markup, html};
use serde::Serialize;
use std::collections::BTreeSet;

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
    /// Of one's own marks the place in the sheet.
    pub own: Option<usize>,
    /// For who does not see it.
    pub about: String,
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
    let drawn = systems.into_iter().nth(shown)?;
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
            rect x=(x) y=(y) width=(width) height=(height) {}
        }
    }
}
