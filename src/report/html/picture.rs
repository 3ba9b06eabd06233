//! What the engraver drew, made fit for the page: glyphs in one place for all
//! pictures, marks tied to the findings, no ids, no colours of its own.

use super::copier::{Copier, Tags};
use super::element::{SCALE, copy};
use super::flags::{Above, Flag, above};
use super::heads::Beginning;
use super::links::Spot;
use super::pieces::Piece;
use crate::engrave::boxes::{SVG, has_class, number, translation};
use crate::engrave::letters::{Face, Used};
use crate::engrave::shapes::Shapes;
use roxmltree::{Document, Node};
use std::collections::{BTreeMap, BTreeSet};

/// What pictures have in common.
#[derive(Default)]
pub struct Glyphs {
    /// Shapes, by what they are.
    shapes: BTreeMap<String, usize>,
    /// Beginnings of staves, for pieces of systems.
    heads: BTreeMap<String, usize>,
    /// The letters of their texts.
    pub letters: Used,
}

/// One picture, without the glyphs that it uses.
pub struct Picture {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    /// What has a line of its own on a narrow screen.
    pub pieces: Vec<Piece>,
    /// Before the staves: brackets, and names with the middle of their heights.
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
    height_above: f64,
}

/// Room above and below a system.
const EDGE: f64 = 120.0;
impl Glyphs {
    /// All shapes, for use by every picture of the page.
    pub fn definitions(&self) -> String {
        self.definitions_from([0, 0])
    }

    /// How many shapes there are, and beginnings of staves.
    pub fn counts(&self) -> [usize; 2] {
        [self.shapes.len(), self.heads.len()]
    }

    /// Those that came after so many.
    pub fn definitions_from(&self, [shapes, heads]: [usize; 2]) -> String {
        let glyphs = in_order(&self.shapes).into_iter().skip(shapes);
        let glyphs = glyphs.map(|(shape, n)| format!("<g id=\"y{n}\" transform=\"scale({SCALE})\">{shape}</g>"));
        let heads =
            in_order(&self.heads).into_iter().skip(heads).map(|(shape, n)| format!("<g id=\"h{n}\">{shape}</g>"));
        glyphs.chain(heads).collect()
    }

    /// The number of the beginning of a staff.
    fn head(&mut self, shape: String) -> usize {
        let number = self.heads.len();
        *self.heads.entry(shape).or_insert(number)
    }

    /// Keeps the letters of a text that is added to a picture.
    pub fn uses(&mut self, text: &str) {
        self.letters.entry(Face::Regular).or_default().extend(text.chars());
    }

    pub fn is_empty(&self) -> bool {
        self.shapes.is_empty()
    }

    /// Reads a drawing and takes its systems apart; `None` when it is none.
    pub fn systems(&mut self, svg: &str, tags: &Tags) -> Option<Vec<Picture>> {
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
            let mut copier = Copier::system(system, tags, &glyphs, &shapes, letters)?;
            let [from, top, to, bottom] = copier.room;
            let from = (from - EDGE).min(-left);
            Some(Picture {
                left: from,
                top: top - EDGE,
                width: (to + EDGE).max(width - left) - from,
                height: bottom - top + 2.0 * EDGE,
                pieces: std::mem::take(&mut copier.pieces),
                brackets: copier.brackets,
                brackets_left: copier.brackets_left,
                labels: copier.labels,
                names: copier.names,
                bars: copier.bars,
                drawn: copier.drawn,
                spots: copier.spots,
                height_above: 0.0,
            })
        };
        let systems = margin.children().filter(|n| has_class(*n, "system"));
        let mut pictures = systems.map(picture).collect::<Option<Vec<Picture>>>()?;
        for piece in pictures.iter_mut().flat_map(|p| p.pieces.iter_mut().skip(1)) {
            piece.beginning = Beginning::new(&piece.held, |shape| self.head(shape));
        }
        Some(pictures)
    }
}

impl Picture {
    /// Says above their bars what the staves do not show.
    pub fn say(&mut self, flags: Vec<Flag>) {
        self.drawn.extend(flags.iter().map(|f| f.row));
        let last = self.pieces.len().saturating_sub(1);
        let mut flags = flags.into_iter().peekable();
        let nexts: Vec<usize> = self.pieces.iter().skip(1).map(|p| p.bar).chain([usize::MAX]).collect();
        let own: Vec<Vec<Flag>> =
            nexts.iter().map(|next| std::iter::from_fn(|| flags.next_if(|f| f.bar < *next)).collect()).collect();
        for (place, (piece, own)) in self.pieces.iter_mut().zip(&own).enumerate() {
            let left = if place == 0 { self.left } else { piece.left };
            let right = if place == last { self.left + self.width } else { piece.right };
            let Above { said, height, spots } = above(own, &self.bars, [left, self.top, right]);
            piece.inner.insert_str(0, &said);
            self.height_above = self.height_above.max(height);
            for Spot { extent, .. } in &spots {
                piece.words_end = piece.words_end.max(extent[2]);
                piece.reach(extent[1], extent[3]);
            }
            self.spots.extend(spots);
        }
    }

    /// Leaves room above it.
    pub fn leave_above(&mut self, height: f64) {
        self.height_above = self.height_above.max(height);
    }

    /// Leaves as much room at its sides as others of its score.
    pub fn widen(&mut self, [left, right]: [f64; 2]) {
        self.left = left;
        self.width = right - left;
    }

    /// Its left and its right end.
    pub fn ends(&self) -> [f64; 2] {
        [self.left, self.left + self.width]
    }

    /// Left, top, width and height.
    pub fn view(&self) -> [f64; 4] {
        [self.left, self.top - self.height_above, self.width, self.height + self.height_above]
    }
}

fn in_order(shapes: &BTreeMap<String, usize>) -> Vec<(&String, usize)> {
    let mut all: Vec<(&String, usize)> = shapes.iter().map(|(shape, number)| (shape, *number)).collect();
    all.sort_by_key(|(_, number)| *number);
    all
}

#[cfg(test)]
mod tests {
    use super::super::copier::Tag;
    use super::*;

    const DRAWN: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 240 50\" id=\"k1\"><desc>x</desc>\
        <defs><g id=\"E0A4-k1\"><path d=\"M0 0h30v40z\"/></g></defs><style>g {}</style>\
        <svg class=\"definition-scale\" color=\"black\" viewBox=\"0 0 2400 500\">\
        <g class=\"page-margin\" transform=\"translate(100, 200)\"><g class=\"system\"><g class=\"measure\">\
        <g data-id=\"s\" class=\"staff\"><path d=\"M40 7 L900 7\" stroke-width=\"9\"/><g data-related=\"#n\"><path d=\"M40 8 L40 90\" stroke-width=\"9\"/></g>\
        <g class=\"note m0\" data-id=\"n\"><g class=\"note bounding-box\"><rect x=\"0\" y=\"-9000\" width=\"30\" height=\"40\"/></g>\
        <g class=\"notehead\"><use href=\"#E0A4-k1\" transform=\"translate(10, 20)\"/></g><g class=\"accid\"/></g></g>\
        <g class=\"fing m1\"><text x=\"400\" y=\"90\"><tspan font-size=\"100px\">1 &lt; 2</tspan></text></g></g></g></g></svg></svg>";

    fn tags() -> Tags {
        let about = String::new;
        BTreeMap::from([
            (0, Tag { status: "omitted", sign: Some('-'), rows: vec![3, 5], about: about() }),
            (1, Tag { status: "added", sign: Some('+'), rows: vec![4], about: about() }),
        ])
    }

    #[test]
    fn marks_are_tied_to_rows_and_glyphs_are_shared() {
        let mut glyphs = Glyphs::default();
        let picture = glyphs.systems(DRAWN, &tags()).unwrap().remove(0);
        assert_eq!(glyphs.definitions(), "<g id=\"y0\" transform=\"scale(0.72)\"><path d=\"M0 0h30v40z\"/></g>");
        let inner = &picture.pieces[0].inner;
        for said in [
            "<g class=\"note omitted\" data-rows=\"3 5\"><g class=\"notehead\">",
            "<path d=\"M40 7H900M40 8V90\" stroke-width=\"9\"/>",
            "<g class=\"notehead\"><use href=\"#y0\" transform=\"translate(10 20) scale(1.389 1.389)\"/></g>",
            ">\u{2212}</text></g>",
            "<g class=\"fing added\" data-rows=\"4\"><text",
        ] {
            assert!(inner.contains(said), "{said}: {inner}");
        }
        assert!(
            ["accid", "bounding-box", "data-id", "data-related", "style", "desc"]
                .iter()
                .all(|left| !inner.contains(left)),
            "{inner}"
        );
        let spots: Vec<_> = picture.spots.iter().map(|s| (&s.rows[..], s.extent)).collect();
        assert_eq!(spots[0], (&[3, 5][..], [10.0, 20.0, 40.0, 60.0]));
        assert_eq!((spots.len(), spots[1].0), (2, &[4][..]));
        assert_eq!((picture.bars, picture.drawn), (vec![40.0], BTreeSet::from([3, 4, 5])));
        assert_eq!(glyphs.letters, BTreeMap::from([(Face::Bold, " 12<+\u{2212}".chars().collect())]));
        // The same again adds nothing.
        glyphs.systems(DRAWN, &tags()).unwrap();
        assert_eq!(glyphs.shapes.len(), 1);
    }

    #[test]
    fn what_is_not_drawn_is_said_above() {
        let mut picture = Glyphs::default().systems(DRAWN, &Tags::new()).unwrap().remove(0);
        let flag = |row| Flag { bar: 0, row, status: "added", text: "+ structure <repeat>".into() };
        picture.say(vec![flag(7), flag(8)]);
        // Without the engraver's tables letters are taken to be taller.
        let height = if cfg!(feature = "engrave") { 752.0 } else { 768.0 };
        assert_eq!(picture.view().map(f64::round), [-110.0, -538.0, 2410.0, height]);
        let inner = &picture.pieces[0].inner;
        assert!(inner.contains("data-rows=\"7 8\""), "{inner}");
        assert!(picture.drawn.contains(&8));
        assert!(picture.spots.iter().any(|s| s.rows == [7, 8] && s.about.contains("<repeat>")));
    }

    #[test]
    fn only_what_encloses_words_is_drawn_anew() {
        let rect = |more: &str| format!("<rect x=\"400\" y=\"0\" height=\"22\" width=\"120\"{more}/>");
        let drawn = |more: &str| {
            let with = DRAWN.replace("fing m1", "dir m1").replace("</text>", &format!("</text>{}", rect(more)));
            Glyphs::default().systems(&with, &tags()).unwrap().remove(0).pieces.remove(0).inner
        };
        assert!(drawn("").contains(&rect("")), "the dashes after words are where they were");
        assert!(!drawn(" fill-opacity=\"0\"").contains(&rect("")));
    }

    #[test]
    fn what_goes_beyond_a_piece_is_in_the_next_one_too() {
        let bar = |from: usize, more: &str| {
            let lines = format!("<path d=\"M{from} 100 L{} 100\" stroke-width=\"13\"/>", from + 9000);
            format!("<g class=\"measure\"><g class=\"staff\">{lines}</g>{more}</g>")
        };
        let slur = "<g class=\"slur m1\"><path d=\"M8500 50 C9000 0 9900 0 10500 50\"/></g>";
        let bars = [bar(500, slur), bar(9500, ""), bar(18_500, "")].concat();
        let (head, rest) = DRAWN.split_once("<g class=\"measure\">").unwrap();
        let tail = &rest[rest.len() - "</g></g></svg></svg>".len()..];
        let picture = Glyphs::default().systems(&format!("{head}{bars}{tail}"), &tags()).unwrap().remove(0);
        assert_eq!(
            picture.pieces.iter().map(|p| (p.bar, p.left)).collect::<Vec<_>>(),
            [(0, 500.0), (1, 9500.0), (2, 18_500.0)]
        );
        let drawn = |place: usize| picture.pieces[place].inner.as_str();
        let curve = "<path d=\"M8500 50 C9000 0 9900 0 10500 50\"/>";
        assert!(drawn(0).contains(&format!("<g class=\"cross\">{curve}</g>")), "{}", drawn(0));
        assert!(
            drawn(1).starts_with(&format!("<g class=\"again\"><g class=\"slur added\">{curve}</g></g>")),
            "{}",
            drawn(1)
        );
        assert!(!drawn(2).contains(curve) && picture.spots[0].crosses);
        // Lines of staves begin under the barline before.
        assert!(drawn(1).contains("M9485 100H18500") && drawn(0).contains("M500 100H9500"), "{}", drawn(1));
    }

    #[test]
    fn nonsense_is_no_picture() {
        let mut glyphs = Glyphs::default();
        for svg in ["", "<svg/>", "<svg xmlns=\"http://www.w3.org/2000/svg\"><svg viewBox=\"0 0\"/></svg>"] {
            assert!(glyphs.systems(svg, &Tags::new()).is_none(), "{svg}");
        }
    }
}
