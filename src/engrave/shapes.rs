//! How much room what is drawn takes: lines, signs and letters, as they stand in the SVG.

use super::boxes::{Extent, SVG, has_class, is_box, number};
use super::letters::{Face, letter};
use super::outlines::{around_all, numbers, pairs, path, sides, strips, union};
use roxmltree::{Document, Node};
use std::collections::BTreeMap;

/// Of the signs that a drawing uses by their names.
pub struct Shapes<'d>(BTreeMap<&'d str, Extent>);

/// What a drawing's units become, as SVG has it: a, b, c, d, e, f.
pub type Matrix = [f64; 6];

const PLAIN: Matrix = [1.0, 0.0, 0.0, 1.0, 0.0, 0.0];

impl<'d> Shapes<'d> {
    pub fn new(document: &'d Document) -> Shapes<'d> {
        let mut shapes = Shapes(BTreeMap::new());
        let defined = document.descendants().filter(|n| n.has_tag_name((SVG, "defs"))).flat_map(|d| d.children());
        for sign in defined.filter(Node::is_element) {
            let all = sign.children().filter_map(|n| shapes.of(n, PLAIN)).reduce(union);
            if let Some((name, extent)) = sign.attribute("id").zip(all) {
                shapes.0.insert(name, extent);
            }
        }
        shapes
    }

    /// The extent of all that is drawn of an element, where the element stands.
    pub fn drawn(&self, node: Node<'_, '_>) -> Option<Extent> {
        self.of(node, PLAIN)
    }

    /// As `drawn`, of something within an element that may turn or move it.
    pub fn placed(&self, node: Node<'_, '_>, within: Node<'_, '_>) -> Option<Extent> {
        self.of(node, matrix_within(node, within))
    }

    /// As `placed`, of a line or a beam by its pieces: a slanted one leaves room over and under it.
    pub fn pieces(&self, node: Node<'_, '_>, within: Node<'_, '_>) -> Vec<Extent> {
        let attribute = |name: &str| node.attribute(name).unwrap_or_default();
        let pieces = match node.tag_name().name() {
            "path" => sides(&path(attribute("d"))),
            "polyline" => sides(&pairs(&numbers(attribute("points")))),
            "polygon" => strips(&pairs(&numbers(attribute("points")))),
            _ => return self.placed(node, within).into_iter().collect(),
        };
        let own = node.attribute("transform").map_or(PLAIN, transform);
        let matrix = product(matrix_within(node, within), own);
        let half = node.attribute("stroke-width").and_then(number).unwrap_or_default() / 2.0;
        let thick = |[left, top, right, bottom]: Extent| [left - half, top - half, right + half, bottom + half];
        pieces.into_iter().filter_map(|piece| moved(thick(piece), matrix)).collect()
    }

    /// As `drawn`, of a mark by itself: a note holds its syllables, too.
    pub fn of_mark(&self, node: Node<'_, '_>) -> Option<Extent> {
        let heads = node.descendants().filter(|n| has_class(*n, "note") && has_class(node, "note"));
        let heads = heads.flat_map(|n| n.children()).filter(|n| has_class(*n, "notehead"));
        heads.filter_map(|n| self.drawn(n)).reduce(union).or_else(|| self.drawn(node))
    }

    fn of(&self, node: Node<'_, '_>, around: Matrix) -> Option<Extent> {
        if !node.is_element() || is_box(node) {
            return None;
        }
        let matrix = node.attribute("transform").map_or(around, |t| product(around, transform(t)));
        let points = match node.tag_name().name() {
            "g" | "svg" | "a" => return node.children().filter_map(|n| self.of(n, matrix)).reduce(union),
            "text" => return words(node).and_then(|extent| moved(extent, matrix)),
            "use" => {
                let name = node.attributes().find(|a| a.name() == "href")?.value().trim_start_matches('#');
                let [x, y] = ["x", "y"].map(|n| node.attribute(n).and_then(number).unwrap_or_default());
                return moved(*self.0.get(name)?, product(matrix, [1.0, 0.0, 0.0, 1.0, x, y]));
            }
            "path" => path(node.attribute("d")?),
            "polygon" | "polyline" => pairs(&numbers(node.attribute("points")?)),
            "rect" => {
                let [x, y, width, height] = of(node, ["x", "y", "width", "height"])?;
                vec![[x, y], [x + width, y + height]]
            }
            "line" => {
                let [x, y, to, down] = of(node, ["x1", "y1", "x2", "y2"])?;
                vec![[x, y], [to, down]]
            }
            "ellipse" => {
                let [x, y, rx, ry] = of(node, ["cx", "cy", "rx", "ry"])?;
                vec![[x - rx, y - ry], [x + rx, y + ry]]
            }
            "circle" => {
                let [x, y, r] = of(node, ["cx", "cy", "r"])?;
                vec![[x - r, y - r], [x + r, y + r]]
            }
            _ => return None,
        };
        let half = node.attribute("stroke-width").and_then(number).unwrap_or_default() / 2.0;
        let [left, top, right, bottom] = around_all(&points)?;
        moved([left - half, top - half, right + half, bottom + half], matrix)
    }
}

/// What the elements between do to what stands in them.
fn matrix_within(node: Node<'_, '_>, within: Node<'_, '_>) -> Matrix {
    let around: Vec<Node<'_, '_>> = node.ancestors().skip(1).take_while(|n| *n != within).collect();
    around.iter().rev().filter_map(|n| n.attribute("transform")).map(transform).fold(PLAIN, product)
}

fn of<const N: usize>(node: Node<'_, '_>, names: [&str; N]) -> Option<[f64; N]> {
    let found: Vec<f64> = names.iter().filter_map(|n| node.attribute(*n).and_then(number)).collect();
    found.try_into().ok()
}

/// An extent elsewhere; what is nowhere near a page is none.
fn moved([left, top, right, bottom]: Extent, m: Matrix) -> Option<Extent> {
    let corners = [[left, top], [right, top], [left, bottom], [right, bottom]];
    let there = corners.map(|[x, y]| [m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5]]);
    around_all(&there).filter(|all| all.iter().all(|n| number(&n.to_string()).is_some()))
}

/// First the second, then the first.
fn product(m: Matrix, n: Matrix) -> Matrix {
    [
        m[0] * n[0] + m[2] * n[1],
        m[1] * n[0] + m[3] * n[1],
        m[0] * n[2] + m[2] * n[3],
        m[1] * n[2] + m[3] * n[3],
        m[0] * n[4] + m[2] * n[5] + m[4],
        m[1] * n[4] + m[3] * n[5] + m[5],
    ]
}

/// What an attribute `transform` says.
pub fn transform(text: &str) -> Matrix {
    text.split(')').filter_map(|one| one.split_once('(')).fold(PLAIN, |all, (name, said)| {
        let said = numbers(said);
        let first = said.first().copied().unwrap_or_default();
        let second = said.get(1).copied();
        let one = match name.trim().trim_start_matches(',').trim() {
            "translate" => [1.0, 0.0, 0.0, 1.0, first, second.unwrap_or_default()],
            "scale" => [first, 0.0, 0.0, second.unwrap_or(first), 0.0, 0.0],
            "rotate" => {
                let (sin, cos) = first.to_radians().sin_cos();
                let [x, y] = [second.unwrap_or_default(), said.get(2).copied().unwrap_or_default()];
                let back = product([cos, sin, -sin, cos, 0.0, 0.0], [1.0, 0.0, 0.0, 1.0, -x, -y]);
                product([1.0, 0.0, 0.0, 1.0, x, y], back)
            }
            "matrix" => said.try_into().unwrap_or(PLAIN),
            _ => PLAIN,
        };
        product(all, one)
    })
}

/// What stands in one go, from where it begins.
#[derive(Default)]
struct Run {
    x: f64,
    y: f64,
    advance: f64,
    extent: Option<Extent>,
}

/// The extent of words.
fn words(text: Node<'_, '_>) -> Option<Extent> {
    let mut runs = vec![Run::default()];
    lay(text, &mut runs);
    let anchor = text.ancestors().find_map(|n| n.attribute("text-anchor"));
    let shift = match anchor {
        Some("middle") => 0.5,
        Some("end") => 1.0,
        _ => 0.0,
    };
    let placed = runs.iter().filter_map(|run| {
        let by = run.x - shift * run.advance;
        run.extent.map(|[left, top, right, bottom]| [left + by, top, right + by, bottom])
    });
    placed.reduce(union)
}

fn lay(node: Node<'_, '_>, runs: &mut Vec<Run>) {
    let own = |name: &str| node.attribute(name).and_then(number);
    if let Some(x) = own("x") {
        let y = runs.last().map_or(0.0, |r| r.y);
        runs.push(Run { x, y, ..Run::default() });
    }
    let run = runs.last_mut().expect("there is one from the start");
    run.y = own("y").unwrap_or(run.y) + own("dy").unwrap_or_default();
    run.advance += own("dx").unwrap_or_default();
    for child in node.children() {
        if child.has_tag_name((SVG, "tspan")) {
            lay(child, runs);
        } else if let Some(text) =
            child.text().filter(|t| !t.trim_ascii().is_empty() && node.has_tag_name((SVG, "tspan")))
        {
            let face = Face::of(node);
            let size = node.ancestors().find_map(|n| n.attribute("font-size"));
            let size = size.and_then(|s| number(s.trim_end_matches("px"))).unwrap_or_default();
            let run = runs.last_mut().expect("there is one from the start");
            for c in text.chars() {
                let letter = letter(c, face);
                let [left, top, right, bottom] = letter.extent.map(|n| n * size);
                let here = [left + run.advance, top + run.y, right + run.advance, bottom + run.y];
                run.extent = Some(run.extent.map_or(here, |all| union(all, here)));
                run.advance += letter.advance * size;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn extent(inner: &str) -> Option<[i64; 4]> {
        let svg = format!(
            "<svg xmlns=\"{SVG}\"><defs><g id=\"E1\"><path transform=\"scale(1,-1)\" d=\"M0 0c10 0 10 40 20 40v-50z\"/></g>\
             </defs><g class=\"system\">{inner}</g></svg>"
        );
        let document = Document::parse(&svg).unwrap();
        let system = document.descendants().find(|n| has_class(*n, "system")).unwrap();
        Shapes::new(&document).drawn(system).map(|e| e.map(|n| n.round() as i64))
    }

    #[test]
    fn lines_and_signs_take_the_room_that_they_are_drawn_in() {
        assert_eq!(
            extent("<use href=\"#E1\" transform=\"translate(100, 50) scale(2, 2)\"/>"),
            Some([100, -30, 140, 70])
        );
        assert_eq!(extent("<path d=\"M0 0 C 0,-100 100,-100 100,0\"/>"), Some([0, -75, 100, 0]));
        assert_eq!(
            extent("<g transform=\"rotate(90)\"><rect x=\"0\" y=\"0\" width=\"8\" height=\"2\"/></g>"),
            Some([-2, 0, 0, 8])
        );
        assert_eq!(
            extent("<polygon points=\"1,2 3,4 5,0\"/><path stroke-width=\"4\" d=\"M5 5 L9 5\"/>"),
            Some([1, 0, 11, 7])
        );
        let is_box = "<g class=\"slur bounding-box\"><rect x=\"0\" y=\"0\" width=\"8\" height=\"9000\"/></g>";
        assert_eq!(extent(is_box), None);
    }

    #[test]
    fn what_cannot_be_is_not_believed() {
        for y in ["-2147481529", "NaN", "1e300", "inf"] {
            let far = format!("<rect x=\"0\" y=\"{y}\" width=\"8\" height=\"2\"/>");
            assert_eq!(extent(&far), None, "{y}");
            assert_eq!(extent(&format!("{far}<path d=\"M0 0 L8 8\"/>")), Some([0, 0, 8, 8]), "{y}");
        }
        assert_eq!(extent("<path d=\"M0 -2147481529 L8 8\"/>").filter(|e| e[1] < -1000), None);
    }

    #[test]
    fn words_stand_where_their_letters_do() {
        let words = |anchor: &str| {
            format!(
                "<text x=\"1000\" y=\"500\"{anchor} font-size=\"0px\"><tspan><g class=\"text bounding-box\"><rect \
                 x=\"0\" y=\"0\" width=\"9\" height=\"9\"/></g></tspan><tspan font-size=\"400px\">ago</tspan></text>"
            )
        };
        let [left, top, right, bottom] = extent(&words("")).unwrap();
        assert!(left >= 1000 && right > 1400 && right < 1700, "{left} {right}");
        assert!(top > 200 && top < 400 && bottom > 560 && bottom < 640, "{top} {bottom}");
        let ended = extent(&words(" text-anchor=\"end\"")).unwrap();
        assert!((970..=1000).contains(&ended[2]), "{ended:?}");
    }
}
