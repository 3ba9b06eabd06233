//! Signs that a copy sets apart by brackets beside them or by small type, neither of which the engraver draws.

use super::super::Tree;
use super::super::elements::facts;
use super::super::marks::Pair;
use super::engraver::SIZED;
use crate::score::Mark;
use roxmltree::Node;

/// Whether a sign of a copy with additions set apart is one of them.
pub fn is_flanked(tree: &Tree, mark: &Mark) -> bool {
    let is_apart = |node: Node| {
        let name = node.tag_name().name();
        let is_small = node.has_attribute("font-size");
        let holder = node.parent_element().map(|holder| holder.tag_name().name()).filter(|name| *name != "dynamics");
        let Some(flank) = holder.and_then(|holder| facts(holder).brackets) else {
            return is_small && SIZED.contains(&name);
        };
        let is = |beside: Option<Node>, side: usize| {
            beside.is_some_and(|b| {
                let text = b.text().unwrap_or_default().trim();
                b.tag_name().name() == flank && Pair::ALL.iter().any(|pair| pair.texts()[side] == text)
            })
        };
        is_small || is(node.prev_sibling_element(), 0) && is(node.next_sibling_element(), 1)
    };
    mark.elements.iter().any(|element| is_apart(tree.node(*element)))
}
