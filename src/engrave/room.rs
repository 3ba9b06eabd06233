//! Where there is room beside what is drawn.

use super::boxes::{Extent, SVG, has_class, staff_lines};
use super::outlines::union;
use super::shapes::Shapes;
use roxmltree::Node;

/// The places that are taken.
#[derive(Default)]
pub struct Room {
    /// By signs, words and beams.
    taken: Vec<Extent>,
    barlines: Vec<Extent>,
    /// By stems, slurs and other lines, on which things lie if they must.
    lines: Vec<Extent>,
    staves: Vec<Extent>,
}

/// What is drawn as curves and lines.
const LINED: [&str; 8] = ["bracketSpan", "ending", "hairpin", "octave", "slur", "stem", "tie", "tupletBracket"];
/// Two things may come so near to each other.
const NEAR: f64 = 20.0;
/// What shares no more than this with another is beside it.
const TOUCH: f64 = 25.0;
/// Of something thin, this share.
const TOUCH_OF_THIN: f64 = 0.4;

impl Room {
    /// Of what is drawn in an element, but for what gives way.
    pub fn new(holder: Node<'_, '_>, shapes: &Shapes, gives_way: impl Fn(Node<'_, '_>) -> bool) -> Room {
        let mut room = Room::default();
        let mut pending = vec![holder];
        while let Some(node) = pending.pop() {
            if gives_way(node) {
                continue;
            }
            if has_class(node, "staff") {
                let lines = staff_lines(node).into_iter().map(|[left, right, y]| [left, y, right, y]);
                room.staves.extend(lines.reduce(union));
            }
            pending.extend(node.children().filter(Node::is_element));
            let is_one_of = |names: &[&str]| names.iter().any(|name| node.has_tag_name((SVG, *name)));
            let of_class = |class: &str| node.parent().is_some_and(|p| has_class(p, class));
            match () {
                () if is_one_of(&["text", "use", "ellipse", "rect"]) => {
                    room.taken.extend(shapes.placed(node, holder));
                }
                () if is_one_of(&["polygon"]) => room.taken.extend(shapes.pieces(node, holder)),
                () if is_one_of(&["path"]) && of_class("barLine") => room.barlines.extend(shapes.pieces(node, holder)),
                () if is_one_of(&["path", "polyline"]) && LINED.iter().any(|class| of_class(class)) => {
                    room.lines.extend(shapes.pieces(node, holder));
                }
                () => {}
            }
        }
        room
    }

    /// Takes a place.
    pub fn take(&mut self, extent: Extent) {
        self.taken.push(extent);
    }

    /// How much of a place is taken, by signs, words and lines.
    pub fn taken(&self, place: Extent) -> f64 {
        self.taken.iter().chain(&self.lines).map(|other| shared(place, *other)).sum()
    }

    /// Whether something would lie on something else here.
    pub fn lies_on_something(&self, place: Extent) -> bool {
        self.taken.iter().chain(&self.barlines).any(|other| lies_on(place, *other))
    }

    /// Whether something would lie on a line here: on a slur, a stem or a hairpin.
    pub fn lies_on_a_line(&self, place: Extent) -> bool {
        self.lines.iter().any(|other| lies_on(place, *other))
    }

    /// Whether here is nothing, not even a line.
    pub fn is_free(&self, place: Extent) -> bool {
        self.lies_on_no_more_than_lines(place) && self.lines.iter().all(|other| shared(place, *other) <= 0.0)
    }

    /// Whether here are at most lines that letters can stand on, such as stems.
    pub fn lies_on_no_more_than_lines(&self, place: Extent) -> bool {
        self.is_clear(place) && self.staves.iter().all(|other| shared(place, *other) <= 0.0)
    }

    /// Whether here is nothing but lines and staves.
    pub fn is_clear(&self, place: Extent) -> bool {
        self.taken.iter().chain(&self.barlines).all(|other| shared(place, *other) <= 0.0)
    }

    /// Of some places the first that is free, or the one of which least is taken; it is taken.
    pub fn best(&mut self, places: &[Extent]) -> Extent {
        let free = places.iter().copied().find(|place| self.taken(*place) <= 0.0);
        let least = || places.iter().copied().min_by(|a, b| self.taken(*a).total_cmp(&self.taken(*b)));
        let best = free.or_else(least).unwrap_or_default();
        self.take(best);
        best
    }
}

/// How much two things share, or nearly share.
pub fn shared(one: Extent, other: Extent) -> f64 {
    let [across, down] = overlap(one, other).map(|length| (length + NEAR).max(0.0));
    across * down
}

/// Whether one thing lies on another, and not beside it.
pub fn lies_on(one: Extent, other: Extent) -> bool {
    let [across, down] = overlap(one, other);
    let least = |a: f64, b: f64| (TOUCH_OF_THIN * a.min(b)).min(TOUCH);
    across > least(one[2] - one[0], other[2] - other[0]) && down > least(one[3] - one[1], other[3] - other[1])
}

fn overlap(one: Extent, other: Extent) -> [f64; 2] {
    [one[2].min(other[2]) - one[0].max(other[0]), one[3].min(other[3]) - one[1].max(other[1])]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_best_place_is_the_first_that_is_free() {
        let mut room = Room { taken: vec![[0.0, 0.0, 100.0, 100.0]], ..Room::default() };
        let places = [[90.0, 0.0, 110.0, 10.0], [300.0, 0.0, 310.0, 10.0], [400.0, 0.0, 410.0, 10.0]];
        assert_eq!(room.best(&places), places[1]);
        assert_eq!(room.best(&places), places[2]);
    }

    #[test]
    fn there_is_room_below_a_bow() {
        let svg = format!(
            "<svg xmlns=\"{SVG}\"><g class=\"system\"><g class=\"slur\"><path d=\"M0,1000 C200,0 800,0 1000,1000\"/></g></g></svg>"
        );
        let document = roxmltree::Document::parse(&svg).unwrap();
        let system = document.descendants().find(|n| has_class(*n, "system")).unwrap();
        let room = Room::new(system, &Shapes::new(&document), |_| false);
        assert!(room.is_free([450.0, 700.0, 550.0, 900.0]) && !room.is_free([450.0, 200.0, 550.0, 300.0]));
        assert!(room.lies_on_a_line([450.0, 200.0, 550.0, 300.0]));
    }

    #[test]
    fn what_is_near_is_not_free_and_lies_on_nothing() {
        let line = [100.0, 0.0, 126.0, 800.0];
        let room = Room { taken: vec![line], ..Room::default() };
        let words = |left: f64| [left, 300.0, left + 400.0, 500.0];
        assert!(room.lies_on_something(words(0.0)) && !room.is_free(words(0.0)));
        assert!(!room.lies_on_something(words(130.0)) && !room.is_free(words(130.0)));
        assert!(room.is_free(words(150.0)));
        assert!(!lies_on(words(118.0), line));
    }
}
