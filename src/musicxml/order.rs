//! Whether elements stand in the order that the schema asks for.

use super::elements::rank;
use super::tree::{Tree, element, elements};
use crate::score::Element;

/// The first element that stands after one which the schema wants after it, and
/// how, as `note: duration after voice`. Of elements with a fixed order of children
/// (notes, directions, attributes, barlines and a few more) only.
pub fn out_of_order(tree: &Tree) -> Option<(Element, String)> {
    tree.root().descendants().filter(|n| n.is_element()).find_map(|node| {
        let parent = node.tag_name().name();
        // A chord symbol may hold several chords, one after the other.
        if parent == "harmony" {
            return None;
        }
        let mut last: Option<(usize, &str)> = None;
        for child in elements(node) {
            let name = child.tag_name().name();
            let Some(own) = rank(parent, name) else { continue };
            if let Some((_, other)) = last.filter(|l| l.0 > own) {
                return Some((element(child), format!("{parent}: {name} after {other}")));
            }
            last = Some((own, name));
        }
        None
    })
}
