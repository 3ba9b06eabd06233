//! One system of a drawing, copied for the page: marks tied to the findings, signs
//! beside them where there is room, words above lines.

use super::links::Spot;
use crate::engrave::boxes::{Extent, SVG, closed, has_class, is_box, is_one_sign, number, staff_lines};
use crate::engrave::letters::{Face, Used, letter};
use crate::engrave::room::Room;
use crate::engrave::shapes::{Matrix, Shapes, transform, union};
use roxmltree::Node;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// What a mark in a drawing is about.
pub struct Tag {
    pub status: &'static str,
    pub sign: char,
    /// Rows of the table of notes.
    pub rows: Vec<usize>,
    pub about: String,
}

/// What a sign stands beside.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Beside {
    Mark,
    /// The sign reads as the first letter of what it is about.
    Syllable,
}

/// Room around a mark.
const AROUND: f64 = 60.0;
/// Size of the letter that is a sign beside a mark.
const SIGN: f64 = 440.0;
/// What stands in words: above all lines, so that these break off around it.
const WORDS: [&str; 7] = ["dir", "dynam", "fing", "harm", "mNum", "reh", "tempo"];
/// The classes that the page's style, or whoever counts, asks for.
const CLASSES: [&str; 36] = [
    "accid",
    "artic",
    "barLine",
    "beam",
    "bracketSpan",
    "breath",
    "caesura",
    "chord",
    "clef",
    "dir",
    "dots",
    "dynam",
    "ending",
    "fermata",
    "fing",
    "flag",
    "gliss",
    "grpSym",
    "hairpin",
    "harm",
    "keySig",
    "mNum",
    "mordent",
    "note",
    "notehead",
    "octave",
    "ornam",
    "pedal",
    "reh",
    "rest",
    "slur",
    "tempo",
    "tie",
    "trill",
    "turn",
    "verse",
];
/// Attributes that are not of the drawing itself.
const LEFT_OUT: [&str; 7] = ["class", "color", "data-class", "data-id", "data-related", "id", "lang"];

/// Copies an element as it is, but without layout of its text.
pub fn copy(node: Node<'_, '_>, out: &mut String) {
    if !node.is_element() {
        return;
    }
    let _ = write!(out, "<{}", node.tag_name().name());
    attributes(node, out);
    out.push_str("/>");
}

fn attributes(node: Node<'_, '_>, out: &mut String) {
    let is_left_out = |name: &str| LEFT_OUT.contains(&name) || name == "letter-spacing" && is_one_sign(node);
    for attribute in node.attributes().filter(|a| !is_left_out(a.name())) {
        let _ = write!(out, " {}=\"{}\"", attribute.name(), quick_xml::escape::escape(attribute.value()));
    }
}

/// A system as it is copied.
pub struct Copier<'t> {
    tags: &'t [Tag],
    glyphs: &'t BTreeMap<&'t str, usize>,
    shapes: &'t Shapes<'t>,
    letters: &'t mut Used,
    /// Where there is room for signs.
    free: Room,
    /// Of the last line, its width and where the text ends after it.
    line: (String, usize),
    /// Words that come after all else.
    words: String,
    /// Lines of lyrics that have their sign, by it and their height.
    signed: BTreeSet<(char, i64)>,
    pub out: String,
    /// Where the staves of each bar begin.
    pub bars: Vec<f64>,
    /// Rows of the table of notes that something in it belongs to.
    pub drawn: BTreeSet<usize>,
    /// Where these things lie.
    pub spots: Vec<Spot>,
    /// What all takes, signs beside marks included.
    pub room: Extent,
}

impl<'t> Copier<'t> {
    /// Copies a system; `None` if nothing is drawn.
    pub fn system(
        system: Node<'_, '_>,
        tags: &'t [Tag],
        glyphs: &'t BTreeMap<&'t str, usize>,
        shapes: &'t Shapes<'t>,
        letters: &'t mut Used,
    ) -> Option<Copier<'t>> {
        let mut copier = Copier {
            tags,
            glyphs,
            shapes,
            letters,
            free: Room::new(system, shapes),
            line: Default::default(),
            words: String::new(),
            signed: BTreeSet::new(),
            out: String::new(),
            bars: Vec::new(),
            drawn: BTreeSet::new(),
            spots: Vec::new(),
            room: shapes.drawn(system)?,
        };
        system.children().for_each(|n| copier.copy(n));
        copier.out += &copier.words;
        Some(copier)
    }

    fn copy(&mut self, node: Node<'_, '_>) {
        if node.is_text() {
            return self.letters_of(node);
        }
        let name = node.tag_name().name();
        if !node.is_element() || matches!(name, "desc" | "title" | "style") || is_box(node) {
            return;
        }
        match name {
            "use" => self.glyph(node),
            // The dashes after words are filled.
            "ellipse" | "rect" if node.has_attribute("fill-opacity") && is_in_words(node) => self.ring(node),
            _ if WORDS.iter().any(|c| has_class(node, c)) => {
                let before = std::mem::take(&mut self.out);
                self.element(node);
                let words = std::mem::replace(&mut self.out, before);
                self.line = Default::default();
                self.words += &words;
            }
            _ => self.element(node),
        }
    }

    fn letters_of(&mut self, node: Node<'_, '_>) {
        let text = node.text().unwrap_or_default();
        if text.trim_ascii().is_empty() || !node.parent().is_some_and(|p| p.has_tag_name((SVG, "tspan"))) {
            return;
        }
        let is_dynamic = node.ancestors().any(|n| has_class(n, "dynam"));
        let text = if is_dynamic { closed(text) } else { text };
        self.out += &quick_xml::escape::escape(text);
        self.letters.entry(Face::of(node)).or_default().extend(text.chars());
    }

    fn glyph(&mut self, node: Node<'_, '_>) {
        let glyph = node.attribute("href").and_then(|h| self.glyphs.get(h.trim_start_matches('#')));
        let at = transform(node.attribute("transform").unwrap_or_default());
        // What is nowhere takes no room, and is not drawn.
        if let Some(number) = glyph.filter(|_| at.iter().all(|n| n.is_finite())) {
            self.out += &placed(*number, at);
        }
    }

    /// The line around words goes around all of them; the engraver's ends before a metronome mark.
    fn ring(&mut self, node: Node<'_, '_>) {
        let beside = node.parent().into_iter().flat_map(|p| p.children()).filter(|n| n.has_tag_name((SVG, "text")));
        let words = beside.filter_map(|n| self.shapes.drawn(n)).reduce(union);
        let Some([left, top, right, bottom]) = words else { return self.element(node) };
        let Some([_, over, _, under]) = self.shapes.drawn(node) else { return };
        let is_round = node.tag_name().name() == "ellipse";
        // It is as high as the engraver has made room for.
        let [x, y, high] = [(left + right) / 2.0, (over + under) / 2.0, (under - over) / 2.0];
        let wide = (right - left) / 2.0 + if is_round { 0.7 * (bottom - top).min(2.0 * high) } else { AROUND };
        self.room = union(self.room, [x - wide, y - high, x + wide, y + high]);
        let place = match is_round {
            true => format!("ellipse cx=\"{x:.0}\" cy=\"{y:.0}\" rx=\"{wide:.0}\" ry=\"{high:.0}\""),
            false => {
                let [left, top, width, height] = [x - wide, y - high, 2.0 * wide, 2.0 * high];
                format!("rect x=\"{left:.0}\" y=\"{top:.0}\" width=\"{width:.0}\" height=\"{height:.0}\"")
            }
        };
        let _ = write!(self.out, "<{place} fill-opacity=\"0\" stroke-width=\"20\"/>");
    }

    fn element(&mut self, node: Node<'_, '_>) {
        if let Some((d, width)) = line(node) {
            return self.line(&d, width);
        }
        let name = node.tag_name().name();
        let classes = || node.attribute("class").unwrap_or_default().split(' ');
        if classes().any(|c| c == "measure") {
            self.bars.extend(left_end(node));
        }
        let tag = classes().find_map(|c| self.tags.get(c.strip_prefix('m')?.parse::<usize>().ok()?));
        let mut shown: Vec<&str> = classes().filter(|c| CLASSES.contains(c)).collect();
        shown.extend(tag.map(|t| t.status));
        let plain = name == "g" && shown.is_empty() && !node.attributes().any(|a| !LEFT_OUT.contains(&a.name()));
        if plain {
            return node.children().for_each(|n| self.copy(n));
        }
        // What is turned is turned within its mark, so that the sign beside it is not.
        let turned = tag.and(node.attribute("transform"));
        let begin = self.out.len();
        let _ = write!(self.out, "<{name}");
        if !shown.is_empty() {
            let _ = write!(self.out, " class=\"{}\"", shown.join(" "));
        }
        if let Some(tag) = tag {
            let rows: Vec<String> = tag.rows.iter().map(usize::to_string).collect();
            let _ = write!(self.out, " data-rows=\"{}\"", rows.join(" "));
            self.drawn.extend(&tag.rows);
        }
        let extent = tag.and_then(|_| self.shapes.of_mark(node));
        if turned.is_none() {
            attributes(node, &mut self.out);
        }
        if shown == ["mNum"] {
            self.lift(node);
        }
        self.out.push('>');
        let inside = self.out.len();
        if let Some((extent, tag)) = extent.zip(tag) {
            let bar = self.bars.len().saturating_sub(1);
            self.spots.push(Spot { extent, rows: tag.rows.clone(), about: tag.about.clone(), bar });
        }
        if turned.is_some() {
            self.out += "<g";
            attributes(node, &mut self.out);
            self.out.push('>');
        }
        node.children().for_each(|n| self.copy(n));
        if turned.is_some() {
            self.out += "</g>";
        }
        let is_ringed = node.children().any(|n| n.has_tag_name((SVG, "ellipse")));
        let tells = |tag: &Tag| is_shaped(&shown, tag.status) || is_ringed && tag.status == "altered";
        if let Some((extent, tag)) = extent.zip(tag).filter(|(_, tag)| !tells(tag)) {
            let line = node.descendants().find(|n| n.has_tag_name((SVG, "text"))).and_then(|n| n.attribute("y"));
            let line = line.and_then(number).filter(|_| shown.contains(&"verse"));
            // A line of lyrics has one, before the first syllable that is meant: all are in italics.
            if line.is_none_or(|y| self.signed.insert((tag.sign, y.round() as i64))) {
                self.sign(extent, tag.sign, if line.is_some() { Beside::Syllable } else { Beside::Mark });
            }
        }
        match () {
            () if self.out.len() > inside => _ = write!(self.out, "</{name}>"),
            () if name == "g" && tag.is_none() => self.out.truncate(begin),
            () => self.out.replace_range(inside - 1.., "/>"),
        }
    }

    /// A line, in one path with the one before if nothing stands between them.
    fn line(&mut self, d: &str, width: &str) {
        let end = format!("\" stroke-width=\"{width}\"/>");
        if self.line.0 == width && self.line.1 == self.out.len() && self.out.ends_with(&end) {
            self.out.truncate(self.out.len() - end.len());
            self.out += d;
        } else {
            let _ = write!(self.out, "<path d=\"{d}");
        }
        self.out += &end;
        self.line = (width.into(), self.out.len());
    }

    /// Moves a bar number up until it lies on nothing.
    fn lift(&mut self, number: Node<'_, '_>) {
        let Some(extent) = self.shapes.drawn(number) else { return };
        let by = self.free.lift(extent);
        if by > 0.0 {
            let _ = write!(self.out, " transform=\"translate(0, -{by:.0})\"");
            self.room[1] = self.room[1].min(extent[1] - by);
        }
    }

    /// Beside a mark, so that its colour says nothing that is not said otherwise.
    fn sign(&mut self, [left, top, right, bottom]: Extent, sign: char, of: Beside) {
        // A hyphen is hardly seen among notes.
        let sign = if sign == '-' { '\u{2212}' } else { sign };
        // All signs have the room of the largest.
        let shape = letter('+', Face::Bold).extent.map(|n| n * SIGN);
        let [wide, high] = [shape[2] - shape[0], shape[3] - shape[1]];
        let [gap, middle] = [AROUND / 2.0, (top + bottom) / 2.0];
        let [before, behind] = [left - gap - wide, right + gap];
        let [above, below] = [top - gap - high / 2.0, bottom + gap + high / 2.0];
        let over = (left + right - wide) / 2.0;
        let sides = [(behind, top), (behind, middle), (before, middle), (before, top), (behind, bottom)];
        let far = [(over, above), (over, below), (behind, above), (before, above), (behind, below), (before, below)];
        let higher = |by: f64| [(behind, above - by), (over, above - by), (before, above - by)];
        let far = far.into_iter().chain(higher(high)).chain(higher(2.0 * high));
        let around = |(x, y): (f64, f64)| [x, y - high / 2.0, x + wide, y + high / 2.0];
        let places: Vec<Extent> = match of {
            Beside::Syllable => [(before, middle), (over, above), (over, below), (before, above), (before, below)]
                .into_iter()
                .chain(higher(high / 2.0))
                .map(around)
                .collect(),
            Beside::Mark => sides.into_iter().chain(far).map(around).collect(),
        };
        let place = self.free.best(&places);
        self.room = union(self.room, place);
        let (x, y) = (place[0] - shape[0], place[1] - shape[1]);
        self.letters.entry(Face::Bold).or_default().insert(sign);
        let _ =
            write!(self.out, "<text class=\"sign\" x=\"{x:.0}\" y=\"{y:.0}\" font-size=\"{SIGN:.0}px\">{sign}</text>");
    }
}

fn is_in_words(node: Node<'_, '_>) -> bool {
    WORDS.iter().any(|c| node.parent().is_some_and(|p| has_class(p, c)))
}

/// The scale of nearly all glyphs of a drawing; they are defined at it.
pub const SCALE: f64 = 0.72;

/// A glyph at its place.
fn placed(number: usize, [wide, _, _, high, x, y]: Matrix) -> String {
    let scale = [wide, high].map(|s| s / SCALE);
    match scale.iter().all(|s| (s - 1.0).abs() < 0.001) {
        true => format!("<use href=\"#y{number}\" x=\"{x}\" y=\"{y}\"/>"),
        false => {
            let [wide, high] = scale;
            format!("<use href=\"#y{number}\" transform=\"translate({x} {y}) scale({wide:.3} {high:.3})\"/>")
        }
    }
}

/// A straight line that says no more than its width: its path, shortly, and its width.
fn line<'n>(node: Node<'n, '_>) -> Option<(String, &'n str)> {
    let width = node.attribute("stroke-width").filter(|_| node.has_tag_name((SVG, "path")))?;
    let d = node.attribute("d").filter(|_| node.attributes().len() == 2)?;
    let mut numbers = d.split(['M', 'L', ' ', ',']).filter(|n| !n.is_empty());
    let [x, y, to, down] = [numbers.next()?, numbers.next()?, numbers.next()?, numbers.next()?];
    let is_line = numbers.next().is_none() && [x, y, to, down].iter().all(|n| n.parse::<f64>().is_ok());
    is_line.then(|| match () {
        () if y == down => (format!("M{x} {y}H{to}"), width),
        () if x == to => (format!("M{x} {y}V{down}"), width),
        () => (format!("M{x} {y}L{to} {down}"), width),
    })
}

/// Whether what is drawn tells its status without colour: brackets and dashes
/// of additions, parentheses and diamonds of notes.
fn is_shaped(classes: &[&str], status: &str) -> bool {
    let is = |all: &[&str]| classes.iter().any(|c| all.contains(c));
    match status {
        "added" => is(&["note", "dir", "dynam", "hairpin", "slur"]),
        "altered" => is(&["note"]),
        _ => is(&["hairpin", "slur"]),
    }
}

/// Where the staves of a bar begin.
fn left_end(measure: Node<'_, '_>) -> Option<f64> {
    let staff = measure.children().find(|n| has_class(*n, "staff"))?;
    staff_lines(staff).first().map(|line| line[0])
}
