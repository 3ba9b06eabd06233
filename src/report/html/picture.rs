//! What the engraver drew, made fit for the page: glyphs in one place for all
//! pictures, marks tied to the findings, no ids, no colours of its own.

use crate::engrave::boxes::{Extent, SVG, has_class, is_box, number, staff_lines, translation};
use crate::engrave::letters::{Face, Used};
use crate::engrave::shapes::{Shapes, union};
use roxmltree::{Document, Node};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// What a mark in a drawing is about.
pub struct Tag {
    pub status: &'static str,
    pub sign: char,
    /// Rows of the table of notes.
    pub rows: Vec<usize>,
}

/// What cannot be seen in the staves, and is said above its bar.
pub struct Flag {
    pub row: usize,
    pub status: &'static str,
    pub text: String,
}

/// What pictures have in common.
#[derive(Default)]
pub struct Glyphs {
    /// Shapes, by what they are.
    shapes: BTreeMap<String, usize>,
    /// The letters of their texts.
    pub letters: Used,
}

/// One picture, without the glyphs that it uses.
pub struct Picture {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    inner: String,
    /// Where the staves of each bar begin.
    pub bars: Vec<f64>,
    /// Rows of the table of notes that something in it belongs to.
    pub drawn: BTreeSet<usize>,
    above: String,
    lines_above: usize,
}

/// Room above and below a system.
const EDGE: f64 = 120.0;
/// Units of a drawing to one of the page's letters.
const UNITS: f64 = 375.0;
/// Room around a mark in which it can be pointed at.
const AROUND: f64 = 60.0;
/// Height of a sign beside a mark.
const SIGN: f64 = 360.0;
/// Height of a line of flags.
const LINE: f64 = 420.0;
/// Room for a letter of a flag, about.
const LETTER: f64 = 165.0;
/// The classes that the page's style, or whoever counts, asks for.
const CLASSES: [&str; 37] = [
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
    "stem",
    "tempo",
    "tie",
    "trill",
    "turn",
    "verse",
];
/// Attributes that are not of the drawing itself.
const LEFT_OUT: [&str; 6] = ["class", "color", "data-class", "data-id", "id", "lang"];

impl Glyphs {
    /// All shapes, for use by every picture of the page.
    pub fn definitions(&self) -> String {
        let mut all: Vec<_> = self.shapes.iter().collect();
        all.sort_by_key(|(_, number)| **number);
        all.iter().fold(String::new(), |mut out, (shape, number)| {
            let _ = write!(out, "<g id=\"y{number}\">{shape}</g>");
            out
        })
    }

    /// Keeps the letters of a text that is added to a picture.
    pub fn uses(&mut self, text: &str) {
        self.letters.entry(Face::Regular).or_default().extend(text.chars());
    }

    pub fn is_empty(&self) -> bool {
        self.shapes.is_empty()
    }

    /// Reads a drawing and takes its systems apart; `None` when it is none.
    pub fn systems(&mut self, svg: &str, tags: &[Tag]) -> Option<Vec<Picture>> {
        let document = Document::parse(svg).ok()?;
        let root = document.root_element();
        let scale = root.children().find(|n| n.has_tag_name((SVG, "svg")))?;
        let size: Vec<f64> = scale.attribute("viewBox")?.split(' ').filter_map(number).collect();
        let [_, _, width, _] = size[..] else { return None };
        let margin = scale.children().find(|n| has_class(*n, "page-margin"))?;
        let left = translation(margin).map_or(0.0, |[x, _]| x);
        let defined = root.children().filter(|n| n.has_tag_name((SVG, "defs"))).flat_map(|d| d.children());
        let mut glyphs = BTreeMap::new();
        for glyph in defined.filter(Node::is_element) {
            let mut shape = String::new();
            glyph.children().for_each(|n| copy(n, &mut shape));
            let number = self.shapes.len();
            glyphs.insert(glyph.attribute("id")?, *self.shapes.entry(shape).or_insert(number));
        }
        let shapes = Shapes::new(&document);
        let letters = &mut self.letters;
        let picture = |system: Node<'_, '_>| {
            let mut copier = Copier {
                tags,
                glyphs: &glyphs,
                shapes: &shapes,
                letters,
                out: String::new(),
                bars: Vec::new(),
                drawn: BTreeSet::new(),
                room: shapes.drawn(system)?,
            };
            system.children().for_each(|n| copier.copy(n));
            let [from, top, to, bottom] = copier.room;
            let from = (from - EDGE).min(-left);
            Some(Picture {
                left: from,
                top: top - EDGE,
                width: (to + EDGE).max(width - left) - from,
                height: bottom - top + 2.0 * EDGE,
                inner: copier.out,
                bars: copier.bars,
                drawn: copier.drawn,
                above: String::new(),
                lines_above: 0,
            })
        };
        margin.children().filter(|n| has_class(*n, "system")).map(picture).collect()
    }
}

impl Picture {
    /// Says something above a bar, below what was said there before.
    pub fn say(&mut self, bar: usize, flag: &Flag) {
        let x = self.bars[bar];
        let y = self.top - LINE * self.lines_above as f64 - LINE / 4.0;
        let width = LETTER * flag.text.chars().count() as f64;
        let x = x.min(self.left + self.width - width).max(self.left);
        let _ = write!(
            self.above,
            "<g class=\"flag {}\" data-rows=\"{}\"><text x=\"{x:.0}\" y=\"{y:.0}\" font-size=\"330px\">{}</text>\
             <rect class=\"hit\" x=\"{x:.0}\" y=\"{:.0}\" width=\"{width:.0}\" height=\"{LINE:.0}\"/></g>",
            flag.status,
            flag.row,
            quick_xml::escape::escape(&flag.text),
            y - LINE * 0.75,
        );
        self.lines_above += 1;
        self.drawn.insert(flag.row);
    }

    fn above(&self) -> f64 {
        LINE * self.lines_above as f64
    }

    pub fn view_box(&self) -> String {
        let (top, height) = (self.top - self.above(), self.height + self.above());
        format!("{:.0} {top:.0} {:.0} {height:.0}", self.left, self.width)
    }

    /// Its width beside the page's letters, and its shape, for a browser that
    /// has not drawn it yet.
    pub fn style(&self) -> String {
        let (width, height) = (self.width, self.height + self.above());
        format!("--own:{:.1}rem;aspect-ratio:{width:.0}/{height:.0}", width / UNITS)
    }

    /// What stands within its `svg`.
    pub fn inner(&self) -> String {
        format!("{}{}", self.above, self.inner)
    }
}

/// Copies an element as it is, but without layout of its text.
fn copy(node: Node<'_, '_>, out: &mut String) {
    if !node.is_element() {
        return;
    }
    let _ = write!(out, "<{}", node.tag_name().name());
    attributes(node, out);
    out.push_str("/>");
}

fn attributes(node: Node<'_, '_>, out: &mut String) {
    for attribute in node.attributes().filter(|a| !LEFT_OUT.contains(&a.name())) {
        let _ = write!(out, " {}=\"{}\"", attribute.name(), quick_xml::escape::escape(attribute.value()));
    }
}

struct Copier<'t> {
    tags: &'t [Tag],
    glyphs: &'t BTreeMap<&'t str, usize>,
    shapes: &'t Shapes<'t>,
    letters: &'t mut Used,
    out: String,
    bars: Vec<f64>,
    drawn: BTreeSet<usize>,
    /// What all takes, signs beside marks included.
    room: Extent,
}

impl Copier<'_> {
    fn copy(&mut self, node: Node<'_, '_>) {
        if node.is_text() {
            let text = node.text().unwrap_or_default();
            if node.parent().is_some_and(|p| p.has_tag_name((SVG, "tspan"))) && !text.trim_ascii().is_empty() {
                self.out += &quick_xml::escape::escape(text);
                self.letters.entry(Face::of(node)).or_default().extend(text.chars());
            }
            return;
        }
        let name = node.tag_name().name();
        let classes = || node.attribute("class").unwrap_or_default().split(' ');
        if !node.is_element() || matches!(name, "desc" | "title" | "style") || is_box(node) {
            return;
        }
        if name == "use" {
            let glyph = node.attribute("href").and_then(|h| self.glyphs.get(h.trim_start_matches('#')));
            if let Some(number) = glyph {
                let place = node.attribute("transform").unwrap_or_default();
                let _ = write!(self.out, "<use href=\"#y{number}\" transform=\"{place}\"/>");
            }
            return;
        }
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
        self.out.push('>');
        if let Some(extent) = extent {
            self.place_to_point(extent);
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
        if let Some((extent, tag)) = extent.zip(tag).filter(|(_, tag)| !is_shaped(&shown, tag.status)) {
            self.sign(extent, tag.sign);
        }
        let _ = write!(self.out, "</{name}>");
    }
}

impl Copier<'_> {
    /// Behind a mark, so that it can be pointed at.
    fn place_to_point(&mut self, [left, top, right, bottom]: Extent) {
        let (width, height) = (right - left + 2.0 * AROUND, bottom - top + 2.0 * AROUND);
        let (left, top) = (left - AROUND, top - AROUND);
        let _ = write!(
            self.out,
            "<rect class=\"hit\" x=\"{left:.0}\" y=\"{top:.0}\" width=\"{width:.0}\" height=\"{height:.0}\"/>"
        );
    }

    /// Beside a mark, so that its colour says nothing that is not said otherwise.
    fn sign(&mut self, [_, top, right, _]: Extent, sign: char) {
        // A hyphen is hardly seen among notes.
        let sign = if sign == '-' { '\u{2212}' } else { sign };
        let (x, y) = (right + AROUND / 2.0, top + SIGN / 3.0);
        self.room = union(self.room, [x, y - 0.75 * SIGN, x + 0.6 * SIGN, y]);
        let _ =
            write!(self.out, "<text class=\"sign\" x=\"{x:.0}\" y=\"{y:.0}\" font-size=\"{SIGN:.0}px\">{sign}</text>");
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    const DRAWN: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 240 50\" id=\"k1\"><desc>x</desc>\
        <defs><g id=\"E0A4-k1\"><path d=\"M0 0h30v40z\"/></g></defs><style>g {}</style>\
        <svg class=\"definition-scale\" color=\"black\" viewBox=\"0 0 2400 500\">\
        <g class=\"page-margin\" transform=\"translate(100, 200)\"><g class=\"system\"><g class=\"measure\">\
        <g data-id=\"s\" class=\"staff\"><path d=\"M40 7 L900 7\"/>\
        <g class=\"note m0\" data-id=\"n\"><g class=\"note bounding-box\"><rect x=\"0\" y=\"-9000\" width=\"30\" height=\"40\"/></g>\
        <g class=\"notehead\"><use href=\"#E0A4-k1\" transform=\"translate(10, 20)\"/></g></g></g>\
        <g class=\"fing m1\"><text x=\"400\" y=\"90\"><tspan font-size=\"100px\">1 &lt; 2</tspan></text></g></g></g></g></svg></svg>";

    fn tags() -> Vec<Tag> {
        vec![Tag { status: "omitted", sign: '-', rows: vec![3, 5] }, Tag { status: "added", sign: '+', rows: vec![4] }]
    }

    #[test]
    fn marks_are_tied_to_rows_and_glyphs_are_shared() {
        let mut glyphs = Glyphs::default();
        let picture = glyphs.systems(DRAWN, &tags()).unwrap().remove(0);
        assert_eq!(glyphs.definitions(), "<g id=\"y0\"><path d=\"M0 0h30v40z\"/></g>");
        let inner = picture.inner();
        for said in [
            "<g class=\"note omitted\" data-rows=\"3 5\"><rect class=\"hit\" x=\"-50\" y=\"-40\" width=\"150\" height=\"160\"/>",
            "<g class=\"notehead\"><use href=\"#y0\" transform=\"translate(10, 20)\"/></g>",
            ">\u{2212}</text></g>",
            "<g class=\"fing added\" data-rows=\"4\"><rect class=\"hit\"",
        ] {
            assert!(inner.contains(said), "{said}: {inner}");
        }
        assert!(["bounding-box", "data-id", "style", "desc"].iter().all(|left| !inner.contains(left)), "{inner}");
        assert_eq!((picture.bars, picture.drawn), (vec![40.0], BTreeSet::from([3, 4, 5])));
        assert_eq!(glyphs.letters, BTreeMap::from([(Face::Bold, " 12<".chars().collect())]));
        // The same again adds nothing.
        glyphs.systems(DRAWN, &tags()).unwrap();
        assert_eq!(glyphs.shapes.len(), 1);
    }

    #[test]
    fn what_is_not_drawn_is_said_above() {
        let mut picture = Glyphs::default().systems(DRAWN, &[]).unwrap().remove(0);
        let flag = |row| Flag { row, status: "added", text: "+ structure <repeat>".into() };
        picture.say(0, &flag(7));
        picture.say(0, &flag(8));
        assert_eq!(picture.view_box(), "-110 -953 2410 1164");
        assert!(picture.inner().contains("data-rows=\"8\"><text x=\"-110\" y=\"-638\""), "{}", picture.inner());
        assert!(picture.inner().contains("&lt;repeat&gt;"));
    }

    #[test]
    fn nonsense_is_no_picture() {
        let mut glyphs = Glyphs::default();
        for svg in ["", "<svg/>", "<svg xmlns=\"http://www.w3.org/2000/svg\"><svg viewBox=\"0 0\"/></svg>"] {
            assert!(glyphs.systems(svg, &[]).is_none(), "{svg}");
        }
    }
}
