//! Words and signs of a drawing that give way to what else is drawn.

use super::boxes::{Extent, SVG, has_class, is_box, number, staff_lines};
use super::outlines::union;
use super::shapes::{Shapes, transform};
use roxmltree::{Node, NodeId};
use std::collections::HashMap;

/// How far things are moved, right and down.
pub type Moves = HashMap<NodeId, [f64; 2]>;

/// What gives way; the first stay, rather than the last.
pub const WORDS: [&str; 6] = ["fing", "dynam", "dir", "tempo", "reh", "mNum"];
/// The numbers of bars.
pub const NUMBERS: usize = WORDS.len() - 1;
/// A lower rectangle is a line.
const LINE: f64 = 60.0;

/// Something that gives way, or things that do so together.
#[derive(Clone)]
pub struct Unit<'a, 'i> {
    pub members: Vec<(Node<'a, 'i>, [f64; 2])>,
    pub extent: Extent,
    /// How soon it has its place: the place of its class among `WORDS`.
    pub rank: usize,
    /// The staves of its bar, from the top.
    pub staves: Vec<Extent>,
}

/// What gives way in the bars of a drawing.
pub fn units<'a, 'i>(holder: Node<'a, 'i>, shapes: &Shapes) -> Vec<Vec<Unit<'a, 'i>>> {
    let measures = holder.descendants().filter(|n| has_class(*n, "measure") && !is_box(*n));
    let of_bar = |measure: Node<'a, 'i>| {
        let staves = staves(measure);
        let own = measure.children().filter_map(|n| Some((n, rank(n)?, words(n, holder, shapes)?)));
        let unit =
            |(node, rank, extent)| Unit { members: vec![(node, [0.0; 2])], extent, rank, staves: staves.clone() };
        own.map(unit).collect()
    };
    measures.map(of_bar).collect()
}

/// What gives way, of a child of a bar.
pub fn rank(node: Node<'_, '_>) -> Option<usize> {
    let is_moved_already = node.has_attribute("transform");
    let in_bar = node.parent().is_some_and(|p| has_class(p, "measure"));
    WORDS.iter().position(|word| has_class(node, word)).filter(|_| in_bar && !is_box(node) && !is_moved_already)
}

/// The extent of what is read, without the lines that lead on from it.
fn words(node: Node<'_, '_>, holder: Node<'_, '_>, shapes: &Shapes) -> Option<Extent> {
    let is_line = |n: Node<'_, '_>| n.attribute("height").and_then(number).is_some_and(|height| height < LINE);
    let is_read = |n: &Node<'_, '_>| match n.tag_name().name() {
        "text" | "use" | "ellipse" => true,
        "rect" => !is_line(*n),
        _ => false,
    };
    let own = node.descendants().filter(|n| n.tag_name().namespace() == Some(SVG) && is_read(n));
    let own = own.filter(|n| !n.ancestors().take_while(|a| *a != node).any(is_box));
    own.filter_map(|n| shapes.placed(n, holder)).reduce(union)
}

/// Where the staves of a bar are, from the top.
pub fn staves(measure: Node<'_, '_>) -> Vec<Extent> {
    let staves = measure.children().filter(|n| has_class(*n, "staff") && !is_box(*n));
    let mut out: Vec<Extent> = staves
        .filter_map(|staff| staff_lines(staff).into_iter().map(|[left, right, y]| [left, y, right, y]).reduce(union))
        .collect();
    out.sort_by(|a, b| a[1].total_cmp(&b[1]));
    out
}

/// The line on which the letters of an element stand.
pub fn baseline(node: Node<'_, '_>) -> Option<f64> {
    node.descendants().find_map(|n| match n.tag_name().name() {
        "text" => n.attribute("y").and_then(number),
        "use" => n.attribute("transform").map(|t| transform(t)[5]),
        _ => None,
    })
}

pub fn moved([left, top, right, bottom]: Extent, [x, y]: [f64; 2]) -> Extent {
    [left + x, top + y, right + x, bottom + y]
}
