//! How pages are laid out. The engraver says how wide each bar is and how high a line;
//! we say where lines and pages end; it draws them.

use super::boxes::{Extent, has_class, staff_lines, staves_between, translation};
use super::breaks::{Measures, breaks};
use super::document::{MEI, SPACE, is};
use super::fewer::{tempo_over_the_top, without_empty_staves};
use super::hairpins::end_at_the_line;
use super::job::{Drawing, Head, HeadLine, PageLayout, Paper};
use super::joined::joined;
use super::mei::{Colors, paint};
use super::sheet::finished;
use super::toolkit::Toolkit;
use super::under_words::under_words;
use super::wrapped::wrapped;
use crate::patch::Patch;
use roxmltree::{Document, Node};
use serde_json::json;

/// Tenths of a millimetre. At the foot there is room for a line of text.
const MARGINS: [u32; 3] = [130, 120, 190];
/// Of staves at the engraver's usual size, in millimetres.
const USUAL: f64 = 7.2;
/// In hundredths of the engraver's usual size, of one or two staves, of three or four, of more. A part is read
/// from a stand: its staves are 6.8 mm high, and up to 8 where there is room.
const SCALES: [Scales; 3] = [
    Scales { usual: 95, larger: [111, 103], smaller: [90, 86] },
    Scales { usual: 75, larger: [90, 82], smaller: [71, 68] },
    Scales { usual: 60, larger: [72, 66], smaller: [57, 55] },
];
/// Tries to find out how many lines a page holds.
const TRIES: usize = 4;

struct Scales {
    usual: u32,
    /// Where pages have room.
    larger: [u32; 2],
    /// Where a last page would hold next to nothing.
    smaller: [u32; 2],
}

/// Draws the pages; `None` when the engraver cannot.
pub fn draw(toolkit: &mut Toolkit, music: &str, layout: &PageLayout) -> Option<Drawing> {
    toolkit.set(&json!({ "breaks": "none", "header": "auto" }));
    set_size(toolkit, layout.paper, USUAL_SCALE);
    if !toolkit.load_changed(music, |mei| paint(mei, Colors::Drawn)) {
        return None;
    }
    let mei = tempo_over_the_top(&without_empty_staves(&toolkit.mei())?)?;
    let (mei, last_of) = match layout.joins_rests {
        true => joined(&mei)?,
        false => (mei, (0..layout.rests.len()).collect()),
    };
    let rests: Vec<f64> = last_of.iter().map(|bar| layout.rests.get(*bar).copied().unwrap_or(0.0)).collect();
    let staves = staves_of_score(&Document::parse(&mei).ok()?)?;
    let scales = &SCALES[staves.saturating_sub(1).div_euclid(2).min(SCALES.len() - 1)];
    let given = layout.staff_size.map(|height| ((100.0 * height / USUAL).round() as u32).max(1));
    let [.., right, _] = bounds(layout.paper, given.unwrap_or(scales.larger[0]));
    let mei = with_head(&mei, &layout.head, right)?;
    if !toolkit.load(&mei) {
        return None;
    }
    let bars = bars(toolkit.pages().first()?)?;
    let document = Document::parse(&mei).ok()?;
    let movements = movements(&document);
    let score = Score { document: &document, bars: &bars, rests: &rests, movements: &movements, paper: layout.paper };
    toolkit.set(&json!({ "breaks": "encoded" }));
    let laid_out = match given {
        Some(scale) => score.lay_out(toolkit, scale, 1.0)?,
        None => score.best(toolkit, scales)?,
    };
    set_size(toolkit, layout.paper, laid_out.scale);
    toolkit.set(&json!({ "justifyVertically": true, "svgBoundingBoxes": true }));
    if !toolkit.load(&laid_out.mei) {
        return None;
    }
    let bounds = bounds(layout.paper, laid_out.scale);
    let finished = |page: &String| finished(&under_words(page)?, bounds);
    let pictures = toolkit.pages().iter().map(finished).collect::<Option<_>>()?;
    Some(Drawing { pictures: vec![pictures] })
}

/// The scale at which bars are measured; how wide they are is told in staff spaces.
const USUAL_SCALE: u32 = 100;

/// The engraver scales the page with the music.
fn unscaled(length: u32, scale: u32) -> u32 {
    length * 100 / scale
}

fn set_size(toolkit: &mut Toolkit, paper: Paper, scale: u32) {
    let (width, height) = paper.size();
    let [side, top, foot] = MARGINS.map(|length| unscaled(length, scale));
    toolkit.set(&json!({
        "pageHeight": unscaled(height, scale),
        "pageMarginBottom": foot,
        "pageMarginLeft": side,
        "pageMarginRight": side,
        "pageMarginTop": top,
        "pageWidth": unscaled(width, scale),
        "scale": scale,
    }));
}

/// What the margins leave, from their corner.
fn bounds(paper: Paper, scale: u32) -> Extent {
    let (width, height) = paper.size();
    let [side, top, foot] = MARGINS.map(|length| unscaled(length, scale));
    let [right, bottom] = [unscaled(width, scale) - 2 * side, unscaled(height, scale) - top - foot];
    [0.0, 0.0, f64::from(right) * UNITS, f64::from(bottom) * UNITS]
}

/// What is to be laid out.
struct Score<'s> {
    document: &'s Document<'s>,
    bars: &'s [Bar],
    rests: &'s [f64],
    movements: &'s [usize],
    paper: Paper,
}

/// Pages of one size of staves.
struct LaidOut {
    scale: u32,
    mei: String,
    pages: usize,
    /// Lines of the last page.
    last: usize,
    /// How much of all pages is filled.
    fill: f64,
}

impl Score<'_> {
    /// Staves of the usual size, larger where the pages have room, smaller where a page would hold one line.
    fn best(&self, toolkit: &mut Toolkit, scales: &Scales) -> Option<LaidOut> {
        let usual = self.lay_out(toolkit, scales.usual, 1.0)?;
        if usual.is_lone() {
            for scale in scales.smaller {
                let smaller = self.lay_out(toolkit, scale, 1.0)?;
                if smaller.pages < usual.pages {
                    return Some(smaller);
                }
            }
            return Some(usual);
        }
        let [most, more] = scales.larger;
        // Larger, and lines less full; what cannot fit is not tried. Many pages are full on the whole.
        let all = [(more, 1.0), (most, LOOSE), (most, 1.0), (more, LOOSE), (more, 1.0), (scales.usual, LOOSE)];
        let tries = if usual.pages > FEW { &all[..1] } else { &all[1..] };
        for (scale, full) in tries.iter().copied() {
            let growth = f64::from(scale) / f64::from(scales.usual);
            if usual.fill * growth * growth / full > 1.05 {
                continue;
            }
            let tried = self.lay_out(toolkit, scale, full)?;
            if tried.pages <= usual.pages && !tried.is_lone() {
                return Some(tried);
            }
        }
        Some(usual)
    }

    /// Breaks lines and pages; lines are to be full to this share.
    fn lay_out(&self, toolkit: &mut Toolkit, scale: u32, full: f64) -> Option<LaidOut> {
        let (width, height) = self.paper.size();
        set_size(toolkit, self.paper, scale);
        let [side, _, foot] = MARGINS.map(|length| unscaled(length, scale));
        let line = f64::from(unscaled(width, scale) - 2 * side) * UNITS * full;
        let widths: Vec<f64> = self.bars.iter().map(|bar| bar.right - bar.left).collect();
        let [clef, names] = self.bars.first().map_or([0.0; 2], |bar| [bar.clef, bar.left]);
        let mut lines = [widths.len().max(1); 2];
        let room = f64::from(unscaled(height, scale) - foot) * UNITS;
        let mut attempt = 0;
        // First as if a page had no end; then as many lines to a page as it holds.
        loop {
            let movements = self.movements;
            let broken = breaks(&Measures { widths: &widths, rests: self.rests, line, clef, names, movements, lines });
            let mei = with_breaks(self.document, &broken)?;
            if !toolkit.load(&mei) {
                return None;
            }
            let pages = toolkit.pages().iter().map(|page| fits(page, room)).collect::<Option<Vec<_>>>()?;
            let too_much = |pages: &[Page]| pages.iter().filter(|p| p.holds < p.lines).map(|p| p.holds).min();
            let worst = [too_much(pages.get(..1)?), too_much(pages.get(1..)?)];
            attempt += 1;
            if worst == [None, None] || attempt == TRIES {
                let last = pages.last()?;
                let fill = (pages.len() as f64 - 1.0 + (last.lowest / room).min(1.0)) / pages.len() as f64;
                return Some(LaidOut { scale, mei, pages: pages.len(), last: last.lines, fill });
            }
            // What one endless page showed goes for all; those without a head may hold more.
            let known = pages[0].holds;
            lines = match attempt {
                1 => [known, known + 1],
                _ => [0, 1].map(|p| worst[p].unwrap_or(lines[p])),
            }
            .map(|l| l.max(1));
        }
    }
}

impl LaidOut {
    /// Whether the last page holds one line alone.
    fn is_lone(&self) -> bool {
        self.pages > 1 && self.last == 1
    }
}

/// Of more pages than these, not every size is tried.
const FEW: usize = 3;
/// How full lines are where there is room for more of them.
const LOOSE: f64 = 0.82;

/// How many staves a score has.
fn staves_of_score(document: &Document<'_>) -> Option<usize> {
    let score = document.descendants().find(|n| is(*n, "scoreDef"))?;
    Some(score.descendants().filter(|n| is(*n, "staffDef")).count())
}

/// The bars, but for the first, that begin a movement: after a double bar they are numbered anew.
fn movements(document: &Document<'_>) -> Vec<usize> {
    let bars: Vec<Node<'_, '_>> = document.descendants().filter(|n| is(*n, "measure")).collect();
    let number = |bar: &Node<'_, '_>| bar.attribute("n").and_then(|n| n.parse::<i64>().ok());
    let is_ended = |bar: &Node<'_, '_>| bar.attribute("right").is_some_and(|line| line != "single" && line != "invis");
    let anew = |pair: &[Node<'_, '_>]| {
        let [before, own] = pair else { return false };
        let first = number(own).filter(|own| *own <= 1);
        is_ended(before) && first.is_some_and(|own| number(before).is_some_and(|last| last > own))
    };
    (1..bars.len()).filter(|at| anew(&bars[at - 1..=*at])).collect()
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
    /// Where the last of them ends.
    lowest: f64,
}

fn fits(svg: &str, room: f64) -> Option<Page> {
    let document = Document::parse(svg).ok()?;
    let systems: Vec<Node<'_, '_>> = document.descendants().filter(|n| has_class(*n, "system")).collect();
    let margin = document.descendants().find(|n| has_class(*n, "page-margin"));
    let shift = margin.and_then(translation).map_or(0.0, |[_, y]| y);
    let lowest = |system: &Node<'_, '_>| staves_between(*system).map_or(0.0, |[_, y]| y) + shift;
    let holds = systems.iter().filter(|s| lowest(s) + BELOW <= room).count();
    let lowest = systems.last().map_or(0.0, |last| lowest(last) + BELOW);
    Some(Page { lines: systems.len(), holds, lowest })
}

/// Room for what stands below the lowest staff.
const BELOW: f64 = 700.0;

/// How high the line between a title and a subtitle is.
const UNDER_TITLE: &str = "25%";

/// The letters of a head at 100%, in units of a drawing.
const LETTERS: f64 = 405.0;
/// So many lines of a text stand in a head.
const MOST_LINES: usize = 4;
/// What of the width each of two texts in one row has.
const HALF: f64 = 0.48;

/// The document with its head, in lines of a width.
fn with_head(mei: &str, head: &Head, room: f64) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let score = document.descendants().find(|n| n.has_tag_name((MEI, "scoreDef")))?;
    let first = score.children().find(Node::is_element)?;
    // Each in a row of its own, so that long ones do not meet.
    let rend = |[align, row]: [&str; 2], percent: u32, before: &str, lines: &[HeadLine]| {
        let room = if align == "center" { room } else { room * HALF };
        let line = |line: &HeadLine| {
            let lines = wrapped(&line.text, LETTERS * f64::from(percent) / 100.0, room, MOST_LINES);
            let text = lines.iter().map(quick_xml::escape::escape).collect::<Vec<_>>().join("<lb/>");
            match &line.color {
                Some(color) => format!("<rend color=\"{color}\">{text}</rend>"),
                None => text,
            }
        };
        let text = lines.iter().map(line).collect::<Vec<_>>().join("<lb/>");
        let rend = format!("<rend halign=\"{align}\" valign=\"{row}\" fontsize=\"{percent}%\">{before}{text}</rend>");
        if lines.is_empty() { String::new() } else { rend }
    };
    let space = format!("<rend fontsize=\"{UNDER_TITLE}\">{SPACE}</rend><lb/>");
    let mut text = String::from("<pgHead func=\"first\">");
    text += &rend(["center", "top"], 160, "", &head.title);
    text += &rend(["center", "middle"], 110, &space, &head.subtitle);
    text += &rend(["left", "bottom"], 100, "", &head.instrument);
    text += &rend(["right", "bottom"], 100, "", &head.composer);
    text += "</pgHead>";
    let mut patch = Patch::default();
    score.children().filter(|n| n.has_tag_name((MEI, "pgHead"))).for_each(|n| patch.cut(n.range()));
    patch.insert(first.range().start, text);
    patch.apply(mei).ok()
}

/// The document with its lines and pages.
fn with_breaks(document: &Document<'_>, breaks: &[(usize, bool)]) -> Option<String> {
    let measures: Vec<Node<'_, '_>> = document.descendants().filter(|n| n.has_tag_name((MEI, "measure"))).collect();
    let mut patch = Patch::default();
    let old = |n: &Node<'_, '_>| n.has_tag_name((MEI, "sb")) || n.has_tag_name((MEI, "pb"));
    document.descendants().filter(old).for_each(|n| patch.cut(n.range()));
    patch.insert(measures.first()?.range().start, "<pb/>");
    let begins = |bar: usize| breaks.iter().any(|(first, _)| *first == bar);
    end_at_the_line(document, begins, &mut patch);
    for (bar, is_page) in breaks {
        patch.insert(measures.get(*bar)?.range().start, if *is_page { "<pb/>" } else { "<sb/>" });
    }
    patch.apply(document.input_text()).ok()
}
