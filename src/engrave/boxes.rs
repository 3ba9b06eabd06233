//! The engraver's own account of how much room things take, as its SVG has it.

use roxmltree::Node;

pub const SVG: &str = "http://www.w3.org/2000/svg";

pub fn has_class(node: Node<'_, '_>, class: &str) -> bool {
    node.attribute("class").is_some_and(|all| all.split(' ').any(|c| c == class))
}

/// Whether an element only tells how much room another takes.
pub fn is_box(node: Node<'_, '_>) -> bool {
    has_class(node, "bounding-box") || node.attribute("class") == Some("sylTextRect")
}

/// Left, top, right and bottom.
pub type Extent = [f64; 4];

fn of(node: Node<'_, '_>) -> Option<Extent> {
    let rect = node.children().find(|n| n.has_tag_name((SVG, "rect")))?;
    let [x, y, width, height] = ["x", "y", "width", "height"].map(|n| rect.attribute(n)?.parse::<f64>().ok());
    Some([x?, y?, x? + width?, y? + height?])
}

/// The extent of an element by its own account, else of all within it.
pub fn extent(node: Node<'_, '_>) -> Option<Extent> {
    node.children().filter(|n| is_box(*n)).find_map(of).or_else(|| extent_of_all(node))
}

/// Of syllables the engraver gives no account: a text is about as wide as its letters.
fn letters(text: Node<'_, '_>) -> Option<Extent> {
    let [x, y] = ["x", "y"].map(|n| text.attribute(n)?.parse::<f64>().ok());
    let said = text.descendants().filter(|n| n.is_text()).filter_map(|n| n.text());
    let count: usize = said.map(|t| t.trim().chars().count()).sum();
    Some([x?, y? - LETTER, x? + 0.5 * LETTER * count as f64, y? + LETTER / 4.0])
}

/// Height of a letter.
const LETTER: f64 = 340.0;

/// The extent of all within an element.
pub fn extent_of_all(node: Node<'_, '_>) -> Option<Extent> {
    extent_between(node, f64::MIN, f64::MAX)
}

/// The extent of all within an element whose middle lies between two heights.
/// What goes on in the next system has its box in this one, too.
pub fn extent_between(node: Node<'_, '_>, top: f64, bottom: f64) -> Option<Extent> {
    let union = |a: Extent, b: Extent| [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])];
    let is_between = |e: &Extent| (top..=bottom).contains(&((e[1] + e[3]) / 2.0));
    let own = |n: Node<'_, '_>| match () {
        () if is_box(n) => of(n),
        () if n.has_tag_name((SVG, "text")) => letters(n),
        () => None,
    };
    node.descendants().filter_map(own).filter(is_between).reduce(union)
}

/// How far an element is moved, right and down.
pub fn translation(node: Node<'_, '_>) -> Option<[f64; 2]> {
    let inner = node.attribute("transform")?.strip_prefix("translate(")?.split(')').next()?;
    let mut numbers = inner.split([',', ' ']).filter_map(|n| n.parse().ok());
    Some([numbers.next()?, numbers.next()?])
}

/// Left, right and height of the lines of a staff.
pub fn staff_lines(staff: Node<'_, '_>) -> Vec<[f64; 3]> {
    let paths = staff.children().filter(|n| n.tag_name().name() == "path").filter_map(|n| n.attribute("d"));
    let ends = paths.map(|d| d.split(['M', 'L', ' ', ',']).filter_map(|n| n.parse::<f64>().ok()).collect::<Vec<_>>());
    ends.filter(|e| e.len() == 4 && e[1] == e[3]).map(|e| [e[0], e[2], e[1]]).collect()
}

/// The highest and the lowest line of all staves within an element.
pub fn staves_between(node: Node<'_, '_>) -> Option<[f64; 2]> {
    let lines = node.descendants().filter(|n| has_class(*n, "staff")).flat_map(staff_lines).map(|l| l[2]);
    lines.fold(None, |all, y| Some(all.map_or([y, y], |[top, bottom]: [f64; 2]| [top.min(y), bottom.max(y)])))
}
