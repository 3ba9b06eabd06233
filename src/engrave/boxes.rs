//! What the engraver's SVG says of places: checked before it is believed.

use roxmltree::Node;

pub const SVG: &str = "http://www.w3.org/2000/svg";

/// A hundred metres in units of a drawing: a long score in one line. What is said to be farther away is nowhere.
const FARTHEST: f64 = 10_000_000.0;

/// A number that a place can have.
pub fn number(text: &str) -> Option<f64> {
    text.trim().parse().ok().filter(|n: &f64| n.abs() <= FARTHEST)
}

pub fn has_class(node: Node<'_, '_>, class: &str) -> bool {
    node.attribute("class").is_some_and(|all| all.split(' ').any(|c| c == class))
}

/// Whether an element only tells how much room another takes.
pub fn is_box(node: Node<'_, '_>) -> bool {
    has_class(node, "bounding-box") || node.attribute("class") == Some("sylTextRect")
}

/// A text with its brackets close around what they enclose: the engraver sets spaces around dynamics.
pub fn closed(text: &str) -> &str {
    let text = if text.trim_end().ends_with(['[', '(', '{']) { text.trim_end() } else { text };
    if text.trim_start().starts_with([']', ')', '}']) { text.trim_start() } else { text }
}

/// Whether a text is one sign, after which the engraver leaves a space as between several.
pub fn is_one_sign(node: Node<'_, '_>) -> bool {
    node.tag_name().name() == "tspan" && node.text().is_some_and(|t| t.trim().chars().count() == 1)
}

/// Left, top, right and bottom.
pub type Extent = [f64; 4];

/// How far an element is moved, right and down.
pub fn translation(node: Node<'_, '_>) -> Option<[f64; 2]> {
    let inner = node.attribute("transform")?.strip_prefix("translate(")?.split(')').next()?;
    let mut numbers = inner.split([',', ' ']).filter_map(number);
    Some([numbers.next()?, numbers.next()?])
}

/// Left, right and height of the lines of a staff.
pub fn staff_lines(staff: Node<'_, '_>) -> Vec<[f64; 3]> {
    let paths = staff.children().filter(|n| n.tag_name().name() == "path").filter_map(|n| n.attribute("d"));
    let ends = paths.map(|d| d.split(['M', 'L', ' ', ',']).filter_map(number).collect::<Vec<_>>());
    ends.filter(|e| e.len() == 4 && e[1] == e[3]).map(|e| [e[0], e[2], e[1]]).collect()
}

/// The highest and the lowest line of all staves within an element.
#[cfg(feature = "engrave")]
pub fn staves_between(node: Node<'_, '_>) -> Option<[f64; 2]> {
    let lines = node.descendants().filter(|n| has_class(*n, "staff")).flat_map(staff_lines).map(|l| l[2]);
    lines.fold(None, |all, y| Some(all.map_or([y, y], |[top, bottom]: [f64; 2]| [top.min(y), bottom.max(y)])))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn brackets_close_around_what_they_enclose() {
        assert_eq!(["[ ", " )", "{ ", " }", " f "].map(closed), ["[", ")", "{", "}", " f "]);
    }
}
