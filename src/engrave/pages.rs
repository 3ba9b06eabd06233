//! How pages are laid out. The engraver says how wide each bar is and how high a line;
//! we say where lines and pages end; it draws them.

use super::boxes::{has_class, staff_lines, staves_between, translation};
use super::brackets::bracketed;
use super::breaks::{Measures, breaks};
use super::job::{Drawing, Head, PageLayout};
use super::mei::{Colors, paint};
use super::toolkit::Toolkit;
use crate::patch::Patch;
use roxmltree::{Document, Node};
use serde_json::json;

/// Tenths of a millimetre. At the foot there is room for a line of text.
const MARGINS: [u32; 3] = [130, 120, 190];
/// In hundredths of the engraver's usual size, in which staves are 7.2 mm high:
/// of one or two staves, of three or four, of more. A part is read from a stand.
const SCALES: [u32; 3] = [95, 75, 60];
/// Tries to find out how many lines a page holds.
const TRIES: usize = 4;

/// Draws the pages; `None` when the engraver cannot.
pub fn draw(toolkit: &mut Toolkit, music: &str, layout: &PageLayout) -> Option<Drawing> {
    let PageLayout { paper, staves, head, rests } = layout;
    let (width, height) = paper.size();
    let scale = SCALES[staves.saturating_sub(1).div_euclid(2).min(SCALES.len() - 1)];
    // The engraver scales the page with the music.
    let unscaled = |length: u32| length * 100 / scale;
    let [side, top, foot] = MARGINS.map(unscaled);
    toolkit.set(&json!({
        "breaks": "none",
        "header": "auto",
        "pageHeight": unscaled(height),
        "pageMarginBottom": foot,
        "pageMarginLeft": side,
        "pageMarginRight": side,
        "pageMarginTop": top,
        "pageWidth": unscaled(width),
        "scale": scale,
    }));
    if !toolkit.load_changed(music, |mei| paint(mei, Colors::Drawn)) {
        return None;
    }
    let mei = with_head(&toolkit.mei(), head)?;
    let bars = bars(toolkit.pages().first()?)?;
    let line = f64::from(unscaled(width) - 2 * side) * UNITS;
    let widths: Vec<f64> = bars.iter().map(|bar| bar.right - bar.left).collect();
    let clef = bars.first().map_or(0.0, |bar| bar.clef);
    let mut lines = [widths.len().max(1); 2];
    let room = f64::from(unscaled(height) - foot) * UNITS;
    let mut laid_out = String::new();
    // First as if a page had no end; then as many lines to a page as it holds.
    toolkit.set(&json!({ "breaks": "encoded" }));
    for attempt in 0..TRIES {
        let broken = breaks(&Measures { widths: &widths, rests, line, clef, lines });
        laid_out = with_breaks(&mei, &broken)?;
        if !toolkit.load(&laid_out) {
            return None;
        }
        let drawn = toolkit.pages();
        let full = drawn.iter().map(|page| fits(page, room)).collect::<Option<Vec<_>>>()?;
        let too_much = |pages: &[Page]| pages.iter().filter(|p| p.holds < p.lines).map(|p| p.holds).min();
        let worst = [too_much(full.get(..1)?), too_much(full.get(1..)?)];
        if worst == [None, None] || attempt + 1 == TRIES {
            break;
        }
        // What one endless page showed goes for all; those without a head may hold more.
        let known = full[0].holds;
        lines = match attempt {
            0 => [known, known + 1],
            _ => [0, 1].map(|p| worst[p].unwrap_or(lines[p])),
        }
        .map(|l| l.max(1));
    }
    toolkit.set(&json!({ "justifyVertically": true, "svgBoundingBoxes": true }));
    if !toolkit.load(&laid_out) {
        return None;
    }
    let pictures = toolkit.pages().iter().map(|page| bracketed(page)).collect::<Option<_>>()?;
    Some(Drawing { pictures: vec![pictures] })
}

/// Units of a drawing to a tenth of a millimetre.
const UNITS: f64 = 10.0;

/// A bar as drawn on one endless line.
struct Bar {
    left: f64,
    right: f64,
    /// Width of clef and signature at its beginning.
    clef: f64,
}

fn bars(svg: &str) -> Option<Vec<Bar>> {
    let document = Document::parse(svg).ok()?;
    let measures = document.descendants().filter(|n| has_class(*n, "measure"));
    let bars = measures.map(|measure| {
        let staff = measure.descendants().find(|n| has_class(*n, "staff"))?;
        let [left, right, _] = *staff_lines(staff).first()?;
        let within = |n: &Node<'_, '_>| ["clef", "keySig"].iter().any(|c| has_class(*n, c));
        let signs = staff.descendants().filter(within).flat_map(|n| n.descendants()).filter_map(translation);
        Some(Bar { left, right, clef: signs.fold(0.0, |most, [x, _]| (x - left + SIGN_WIDTH).max(most)) })
    });
    bars.collect()
}

/// Width of the last sign of a signature.
const SIGN_WIDTH: f64 = 250.0;

/// What is on a page.
struct Page {
    lines: usize,
    /// How many of them end above the foot.
    holds: usize,
}

fn fits(svg: &str, room: f64) -> Option<Page> {
    let document = Document::parse(svg).ok()?;
    let systems: Vec<Node<'_, '_>> = document.descendants().filter(|n| has_class(*n, "system")).collect();
    let margin = document.descendants().find(|n| has_class(*n, "page-margin"));
    let shift = margin.and_then(translation).map_or(0.0, |[_, y]| y);
    let lowest = |system: &Node<'_, '_>| staves_between(*system).map_or(0.0, |[_, y]| y) + shift;
    let holds = systems.iter().filter(|s| lowest(s) + BELOW <= room).count();
    Some(Page { lines: systems.len(), holds })
}

/// Room for what stands below the lowest staff.
const BELOW: f64 = 700.0;

/// The document with its head.
fn with_head(mei: &str, head: &Head) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let score = document.descendants().find(|n| n.has_tag_name((MEI, "scoreDef")))?;
    let first = score.children().find(Node::is_element)?;
    // Each in a row of its own, so that long ones do not meet.
    let rend = |[align, row, size]: [&str; 3], text: &str| {
        let text = quick_xml::escape::escape(text);
        format!("<rend halign=\"{align}\" valign=\"{row}\" fontsize=\"{size}\">{text}</rend>")
    };
    let mut text = String::from("<pgHead func=\"first\">");
    if !head.title.is_empty() {
        text += &rend(["center", "top", "160%"], &head.title);
    }
    text += &head.subtitle.as_deref().map(|work| rend(["center", "middle", "110%"], work)).unwrap_or_default();
    text += &head.instrument.as_deref().map(|name| rend(["left", "bottom", "100%"], name)).unwrap_or_default();
    text += &head.composer.as_deref().map(|name| rend(["right", "bottom", "100%"], name)).unwrap_or_default();
    text += "</pgHead>";
    let mut patch = Patch::default();
    score.children().filter(|n| n.has_tag_name((MEI, "pgHead"))).for_each(|n| patch.cut(n.range()));
    patch.insert(first.range().start, text);
    patch.apply(mei).ok()
}

const MEI: &str = "http://www.music-encoding.org/ns/mei";

/// The document with its lines and pages.
fn with_breaks(mei: &str, breaks: &[(usize, bool)]) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let measures: Vec<Node<'_, '_>> = document.descendants().filter(|n| n.has_tag_name((MEI, "measure"))).collect();
    let mut patch = Patch::default();
    let old = |n: &Node<'_, '_>| n.has_tag_name((MEI, "sb")) || n.has_tag_name((MEI, "pb"));
    document.descendants().filter(old).for_each(|n| patch.cut(n.range()));
    patch.insert(measures.first()?.range().start, "<pb/>");
    for (bar, is_page) in breaks {
        patch.insert(measures.get(*bar)?.range().start, if *is_page { "<pb/>" } else { "<sb/>" });
    }
    patch.apply(mei).ok()
}
