//! One system of a drawing, copied for the page: marks tied to the findings, signs
//! beside them where there is room, words above lines.

use super::element::{CLASSES, LEFT_OUT, attributes, is_shaped, left_end, line, placed};
use super::links::Spot;
use super::pieces::{CROSS, Piece, Pieces};
use crate::engrave::boxes::{Extent, SVG, closed, has_class, is_box, number};
use crate::engrave::letters::{Face, Used, letter};
use crate::engrave::outlines::union;
use crate::engrave::room::Room;
use crate::engrave::shapes::{Shapes, transform};
use roxmltree::Node;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// What marks in a drawing are about, by the numbers of their names.
pub type Tags = BTreeMap<u32, Tag>;

/// What a mark in a drawing is about.
pub struct Tag {
    /// The class that says so; "" for none.
    pub status: &'static str,
    /// What stands beside it, where its shape does not tell its status.
    pub sign: Option<char>,
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
/// A system as it is copied.
pub struct Copier<'t, 'n, 'i> {
    tags: &'t Tags,
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
    out: String,
    begun: Pieces<'n, 'i>,
    pub pieces: Vec<Piece>,
    /// What stands around what is being copied, as it begins.
    around: Vec<String>,
    /// Whether something goes beyond its piece.
    crosses: bool,
    /// Before the staves: brackets and names, with the middle of their heights.
    pub brackets: String,
    pub brackets_left: f64,
    pub labels: String,
    pub names: Vec<(String, f64)>,
    /// Where the staves of each bar begin.
    pub bars: Vec<f64>,
    /// Rows of the table of notes that something in it belongs to.
    pub drawn: BTreeSet<usize>,
    /// Where these things lie.
    pub spots: Vec<Spot>,
    /// What all takes, signs beside marks included.
    pub room: Extent,
}

impl<'t, 'n, 'i> Copier<'t, 'n, 'i> {
    /// Copies a system; `None` if nothing is drawn.
    pub fn system(
        system: Node<'n, 'i>,
        tags: &'t Tags,
        glyphs: &'t BTreeMap<&'t str, usize>,
        shapes: &'t Shapes<'t>,
        letters: &'t mut Used,
    ) -> Option<Copier<'t, 'n, 'i>> {
        let room = shapes.drawn(system)?;
        let mut copier = Copier {
            tags,
            glyphs,
            shapes,
            letters,
            free: Room::new(system, shapes, is_box),
            line: Default::default(),
            words: String::new(),
            signed: BTreeSet::new(),
            out: String::new(),
            begun: Pieces::new(system, room, glyphs),
            pieces: Vec::new(),
            around: Vec::new(),
            crosses: false,
            brackets: String::new(),
            brackets_left: f64::MAX,
            labels: String::new(),
            names: Vec::new(),
            bars: Vec::new(),
            drawn: BTreeSet::new(),
            spots: Vec::new(),
            room,
        };
        system.children().for_each(|n| copier.copy(n));
        let last = copier.all();
        copier.pieces = copier.begun.end(last);
        Some(copier)
    }

    /// Beside what the engraver drew.
    fn takes(&mut self, extent: Extent) {
        self.room = union(self.room, extent);
        self.begun.takes(extent);
    }

    /// All that is drawn, words above lines.
    fn all(&mut self) -> String {
        self.line = Default::default();
        std::mem::take(&mut self.out) + &std::mem::take(&mut self.words)
    }

    /// Puts something down that has nothing within; where it goes beyond its piece, in the next ones, too.
    fn put(&mut self, node: Node<'_, '_>, drawn: String) {
        let Some(extent) = self.begun.beyond(node, self.shapes) else { return self.out += &drawn };
        self.crosses = true;
        self.begun.again(extent, &self.around.concat(), &drawn);
        let _ = write!(self.out, "{CROSS}{drawn}</g>");
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
            // A bar that is only a piece of one has no number.
            "text" if !is_read(node) => {}
            // The dashes after words are filled.
            "ellipse" | "rect" if node.has_attribute("fill-opacity") && is_in_words(node) => self.ring(node),
            _ if has_class(node, "grpSym") => {
                let drawn = self.aside(node);
                self.brackets += &drawn;
                let left = self.shapes.drawn(node).map_or(f64::MAX, |extent| extent[0]);
                self.brackets_left = self.brackets_left.min(left);
            }
            _ if ["label", "labelAbbr"].iter().any(|c| has_class(node, c)) => self.name(node),
            _ if WORDS.iter().any(|c| has_class(node, c)) => {
                let words = self.aside(node);
                self.words += &words;
            }
            _ => self.element(node),
        }
    }

    /// An element by itself.
    fn aside(&mut self, node: Node<'_, '_>) -> String {
        let before = std::mem::take(&mut self.out);
        self.element(node);
        self.line = Default::default();
        std::mem::replace(&mut self.out, before)
    }

    /// The name of a side.
    fn name(&mut self, label: Node<'_, '_>) {
        let text: String = label.descendants().filter(Node::is_text).filter_map(|n| n.text()).map(str::trim).collect();
        let extent = self.shapes.drawn(label);
        if let Some([_, top, _, bottom]) = extent.filter(|_| !text.is_empty()) {
            self.letters.entry(Face::Regular).or_default().extend(text.chars());
            self.names.push((text, (top + bottom) / 2.0));
        }
        let drawn = self.aside(label);
        self.labels += &drawn;
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
            self.put(node, placed(*number, at));
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
        self.takes([x - wide, y - high, x + wide, y + high]);
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
            return self.line(node, &d, width);
        }
        let name = node.tag_name().name();
        let classes = || node.attribute("class").unwrap_or_default().split(' ');
        if classes().any(|c| c == "measure") {
            if self.begun.begins_with(self.bars.len()) {
                let drawn = self.all();
                self.begun.next(drawn);
            }
            self.begun.read(node, self.glyphs, self.shapes);
            self.bars.extend(left_end(node));
        }
        let tag = classes().find_map(|c| self.tags.get(&c.strip_prefix('m')?.parse().ok()?));
        let mut shown: Vec<&str> = classes().filter(|c| CLASSES.contains(c)).collect();
        shown.extend(tag.map(|t| t.status).filter(|s| !s.is_empty()));
        let plain = name == "g" && shown.is_empty() && !node.attributes().any(|a| !LEFT_OUT.contains(&a.name()));
        if plain {
            return node.children().for_each(|n| self.copy(n));
        }
        // What is turned is turned within its mark, so that the sign beside it is not.
        let turned = tag.and(node.attribute("transform"));
        if ["path", "polygon", "polyline", "rect"].contains(&name) && shown.is_empty() {
            let mut drawn = format!("<{name}");
            attributes(node, &mut drawn);
            return self.put(node, drawn + "/>");
        }
        let begin = self.out.len();
        let crosses = std::mem::take(&mut self.crosses);
        let mut opening = format!("<{name}");
        if !shown.is_empty() {
            let _ = write!(opening, " class=\"{}\"", shown.join(" "));
        }
        self.out += &opening;
        if let Some(tag) = tag {
            let rows: Vec<String> = tag.rows.iter().map(usize::to_string).collect();
            let _ = write!(self.out, " data-rows=\"{}\"", rows.join(" "));
            self.drawn.extend(&tag.rows);
        }
        let extent = tag.and_then(|_| self.shapes.of_mark(node));
        let mut attributes_of = String::new();
        attributes(node, &mut attributes_of);
        self.around.push(format!("{opening}{attributes_of}>"));
        if turned.is_none() {
            self.out += &attributes_of;
        }
        self.out.push('>');
        let inside = self.out.len();
        let spot = self.spots.len();
        if let Some((extent, tag)) = extent.zip(tag) {
            let bar = self.bars.len().saturating_sub(1);
            self.spots.push(Spot { extent, rows: tag.rows.clone(), about: tag.about.clone(), bar, crosses: false });
        }
        if turned.is_some() {
            let _ = write!(self.out, "<g{attributes_of}>");
        }
        node.children().for_each(|n| self.copy(n));
        if turned.is_some() {
            self.out += "</g>";
        }
        self.around.pop();
        if let Some(spot) = self.spots.get_mut(spot).filter(|_| tag.is_some()) {
            spot.crosses = self.crosses;
        }
        self.crosses |= crosses;
        if name == "text"
            && let Some(extent) = self.shapes.drawn(node)
        {
            self.begun.takes(extent);
        }
        let is_ringed = node.children().any(|n| n.has_tag_name((SVG, "ellipse")));
        let tells = |tag: &Tag| is_shaped(&shown, tag.status) || is_ringed && tag.status == "altered";
        let sign = extent.zip(tag).filter(|(_, tag)| !tells(tag)).and_then(|(extent, tag)| Some((extent, tag.sign?)));
        if let Some((extent, sign)) = sign {
            let line = node.descendants().find(|n| n.has_tag_name((SVG, "text"))).and_then(|n| n.attribute("y"));
            let line = line.and_then(number).filter(|_| shown.contains(&"verse"));
            // A line of lyrics has one, before the first syllable that is meant: all are in italics.
            if line.is_none_or(|y| self.signed.insert((sign, y.round() as i64))) {
                self.sign(extent, sign, if line.is_some() { Beside::Syllable } else { Beside::Mark });
            }
        }
        match () {
            () if self.out.len() > inside => _ = write!(self.out, "</{name}>"),
            () if name == "g" && tag.is_none() => self.out.truncate(begin),
            () => self.out.replace_range(inside - 1.., "/>"),
        }
    }

    /// A line, in one path with the one before if nothing stands between them.
    fn line(&mut self, node: Node<'_, '_>, d: &str, width: &str) {
        let end = format!("\" stroke-width=\"{width}\"/>");
        let joined = self.begun.joined(d);
        let d = joined.as_deref().unwrap_or(d);
        if self.begun.beyond(node, self.shapes).is_some() {
            return self.put(node, format!("<path d=\"{d}{end}"));
        }
        if self.line.0 == width && self.line.1 == self.out.len() && self.out.ends_with(&end) {
            self.out.truncate(self.out.len() - end.len());
            self.out += d;
        } else {
            let _ = write!(self.out, "<path d=\"{d}");
        }
        self.out += &end;
        self.line = (width.into(), self.out.len());
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
        // Then whatever is nearest: the sign of a bow below a trill is none of the trill.
        let columns = [-1.2, -0.6, 0.0].map(|by| [before + by * wide, over + by * wide / 2.0, behind - by * wide]);
        let rows = [-1.2, -0.6, 0.0].map(|by| [above + by * high, middle + by * high / 2.0, below - by * high]);
        let away = |(x, y): &(f64, f64)| {
            let across = (left - x - wide).max(x - right);
            across.max((top - y).max(y - bottom) - high / 2.0)
        };
        let mut near: Vec<(f64, f64)> =
            columns.concat().into_iter().flat_map(|x| rows.concat().into_iter().map(move |y| (x, y))).collect();
        near.sort_by(|a, b| away(a).total_cmp(&away(b)));
        let around = |(x, y): (f64, f64)| [x, y - high / 2.0, x + wide, y + high / 2.0];
        let places: Vec<Extent> = match of {
            Beside::Syllable => {
                let below = below + gap;
                let own = [(before, middle), (over, above), (over, below), (before, above), (before, below)];
                own.into_iter().chain([(over, above - high / 2.0)]).map(around).collect()
            }
            Beside::Mark => sides.into_iter().chain(far).chain(near).map(around).collect(),
        };
        let place = self.free.best(&places);
        self.takes(place);
        let (x, y) = (place[0] - shape[0], place[1] - shape[1]);
        self.letters.entry(Face::Bold).or_default().insert(sign);
        let _ =
            write!(self.out, "<text class=\"sign\" x=\"{x:.0}\" y=\"{y:.0}\" font-size=\"{SIGN:.0}px\">{sign}</text>");
    }
}

/// Whether letters are in it.
fn is_read(text: Node<'_, '_>) -> bool {
    text.descendants().filter_map(|n| n.text()).any(|said| !said.trim_ascii().is_empty())
}

fn is_in_words(node: Node<'_, '_>) -> bool {
    WORDS.iter().any(|c| node.parent().is_some_and(|p| has_class(p, c)))
}
