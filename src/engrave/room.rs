//! Where there is room beside what is drawn.

use super::boxes::{Extent, SVG, has_class, is_box};
use super::shapes::Shapes;
use roxmltree::Node;

/// The places of a system that are taken.
pub struct Room(Vec<Extent>);

/// What is drawn as curves and lines.
const LINED: [&str; 8] = ["bracketSpan", "ending", "hairpin", "octave", "slur", "stem", "tie", "tupletBracket"];
/// Two things may come so near to each other.
const NEAR: f64 = 20.0;
/// And so much more is left between a number and words without tall letters.
const LINES: f64 = 110.0;
/// And between a number and a note beside it.
const ASIDE: f64 = 60.0;
/// What gives way is moved by so much, and not farther than so many times.
const STEP: f64 = 60.0;
const STEPS: usize = 60;

impl Room {
    /// Of a system: its words, signs, beams and curves; bar numbers give way to all of them.
    pub fn new(system: Node<'_, '_>, shapes: &Shapes) -> Room {
        Room::around(system, shapes, &[])
    }

    /// As `new`, but for what is in some elements.
    #[cfg_attr(not(feature = "engrave"), allow(dead_code))]
    pub fn around(system: Node<'_, '_>, shapes: &Shapes, without: &[Node<'_, '_>]) -> Room {
        let is_solid =
            |n: &Node<'_, '_>| ["text", "use", "polygon", "ellipse", "rect"].iter().any(|t| n.has_tag_name((SVG, *t)));
        let gives_way = |a: Node<'_, '_>| has_class(a, "mNum") || is_box(a) || without.contains(&a);
        let solid = system.descendants().filter(|n| is_solid(n) && !n.ancestors().any(gives_way));
        let mut taken: Vec<Extent> = solid.filter_map(|n| shapes.placed(n, system)).collect();
        let is_line = |n: &Node<'_, '_>| ["path", "polyline"].iter().any(|t| n.has_tag_name((SVG, *t)));
        let lines = system.descendants().filter(|n| LINED.iter().any(|class| has_class(*n, class)));
        let lines = lines.filter(|n| !n.ancestors().any(gives_way)).flat_map(|n| n.children()).filter(is_line);
        taken.extend(lines.flat_map(|n| Shapes::pieces(n, system)));
        Room(taken)
    }

    pub fn take(&mut self, extent: Extent) {
        self.0.push(extent);
    }

    /// How much of a place is taken.
    pub fn taken(&self, place: Extent) -> f64 {
        let overlaps = self.0.iter().map(|other| {
            let across = place[2].min(other[2]) - place[0].max(other[0]) + NEAR;
            let down = place[3].min(other[3]) - place[1].max(other[1]) + NEAR;
            across.max(0.0) * down.max(0.0)
        });
        overlaps.sum()
    }

    /// How far something must go up to be free; it takes its place.
    pub fn lift(&mut self, [left, top, right, bottom]: Extent) -> f64 {
        let at = |by: f64| [left, top - by, right, bottom - by];
        let with_room = |by: f64| [left - ASIDE, top - by - LINES, right + ASIDE, bottom - by + LINES];
        let free = (0..STEPS).map(|step| step as f64 * STEP).find(|by| self.taken(with_room(*by)) <= 0.0);
        let by = free.unwrap_or_default();
        self.take(at(by));
        by
    }

    /// Of some places the first that is free, or the one of which least is taken; it is taken.
    pub fn best(&mut self, places: &[Extent]) -> Extent {
        let least = places.iter().copied().min_by(|a, b| self.taken(*a).total_cmp(&self.taken(*b)));
        let best = least.unwrap_or_default();
        self.take(best);
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_is_room_below_a_bow() {
        let svg = format!(
            "<svg xmlns=\"{SVG}\"><g class=\"system\"><g class=\"slur\"><path d=\"M0,1000 C200,0 800,0 1000,1000\"/></g></g></svg>"
        );
        let document = roxmltree::Document::parse(&svg).unwrap();
        let system = document.descendants().find(|n| has_class(*n, "system")).unwrap();
        let room = Room::new(system, &Shapes::new(&document));
        assert_eq!(room.taken([450.0, 700.0, 550.0, 900.0]), 0.0);
        assert!(room.taken([450.0, 200.0, 550.0, 300.0]) > 0.0);
    }

    #[test]
    fn what_gives_way_finds_a_free_place() {
        let mut room = Room(vec![[0.0, 0.0, 100.0, 100.0]]);
        assert_eq!(room.lift([50.0, 50.0, 80.0, 90.0]), 240.0);
        // There it stands now, and the next goes above it.
        assert!(room.lift([50.0, 50.0, 80.0, 90.0]) > 240.0);
        assert_eq!(room.lift([200.0, 0.0, 210.0, 10.0]), 0.0);
        let places = [[90.0, 0.0, 110.0, 10.0], [300.0, 0.0, 310.0, 10.0], [400.0, 0.0, 410.0, 10.0]];
        assert_eq!(room.best(&places), places[1]);
        assert_eq!(room.best(&places), places[2]);
    }
}
