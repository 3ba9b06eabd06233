//! The engraver's own account of how much room things take, as its SVG has it.

use roxmltree::Node;

pub const SVG: &str = "http://www.w3.org/2000/svg";

/// The engraver's own account of how much room something takes.
pub fn is_box(node: Node<'_, '_>) -> bool {
    node.attribute("class").is_some_and(|c| c.split(' ').any(|c| c == "bounding-box"))
        || node.attribute("class") == Some("sylTextRect")
}

/// Left, top, right and bottom of an element, or of all within it.
pub fn extent(node: Node<'_, '_>) -> Option<[f64; 4]> {
    let of = |node: Node<'_, '_>| {
        let rect = node.children().find(|n| n.has_tag_name((SVG, "rect")))?;
        let [x, y, width, height] = ["x", "y", "width", "height"].map(|n| rect.attribute(n)?.parse::<f64>().ok());
        Some([x?, y?, x? + width?, y? + height?])
    };
    let own = node.children().filter(|n| is_box(*n)).find_map(of);
    let union = |a: [f64; 4], b: [f64; 4]| [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])];
    own.or_else(|| node.descendants().filter(|n| is_box(*n)).filter_map(of).reduce(union))
}
