//! The parts of the engraver's document that we change.

use roxmltree::Node;

pub const MEI: &str = "http://www.music-encoding.org/ns/mei";

/// Stands alone in an empty line; the engraver would leave out a line without any letter. It is not printed.
pub const SPACE: &str = "\u{a0}";

/// Whether a node is an element of this name.
pub fn is(node: Node<'_, '_>, name: &str) -> bool {
    node.has_tag_name((MEI, name))
}

/// What marks and lines call an element by.
pub fn id<'a>(node: Node<'a, '_>) -> Option<&'a str> {
    node.attribute(("http://www.w3.org/XML/1998/namespace", "id"))
}

/// Where a mark ends: how many bars later, and on which beat there.
pub fn end_of(mark: Node<'_, '_>) -> Option<(usize, f64)> {
    let (bars, beat) = mark.attribute("tstamp2")?.split_once("m+")?;
    Some((bars.trim().parse().ok()?, beat.trim().parse().ok()?))
}

/// The staves of a bar.
pub fn staves_of<'a, 'i>(bar: Node<'a, 'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    bar.children().filter(|n| is(*n, "staff"))
}
