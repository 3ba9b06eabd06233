//! Where words and signs go that would lie on something else.

use super::boxes::{Extent, has_class, is_box};
use super::one_line::side_by_side;
use super::room::{Room, shared};
use super::shapes::Shapes;
use super::signatures::key_before_time;
use super::syllables;
use super::units::{Moves, NUMBERS, Unit, moved, rank, units};
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// What gives way is moved by so much, and not farther than so many times.
const STEP: f64 = 30.0;
const UP_OR_DOWN: i32 = 45;
const ASIDE: i32 = 8;
/// No more than this from a line that something lies on.
const NEAR_LINES: f64 = 400.0;
/// Signs stay near their notes.
const SIGN_STEPS: i32 = 16;
/// To go aside costs more than to go up or down.
const ASIDE_COSTS: f64 = 2.0;
/// So much more is left between a number and words without tall letters, and a note beside it.
const LINES: f64 = 110.0;
const BESIDE: f64 = 60.0;

/// What is moved in a drawing.
pub struct Places {
    moves: Moves,
    /// Where words stand in the end.
    pub words: Vec<Extent>,
}

/// A sign over or under a note that gives way, and the room that it takes.
pub struct Sign<'a, 'i> {
    pub node: Node<'a, 'i>,
    /// Where it goes in any case.
    pub by: [f64; 2],
    /// The room that it takes, where the engraver has put it.
    pub extent: Extent,
    pub is_above: bool,
}

impl Places {
    /// Of a system, or of a page of them. Signs have their places first, from the staff outwards;
    /// nothing is moved out of the bounds.
    pub fn of(holder: Node<'_, '_>, shapes: &Shapes, signs: &[Sign<'_, '_>], bounds: Option<Extent>) -> Places {
        let mut moves: Moves =
            key_before_time(holder, shapes).into_iter().map(|(node, by)| (node.id(), [by, 0.0])).collect();
        let gives_way = |n: Node<'_, '_>| {
            let is_sign = signs.iter().any(|sign| sign.node == n);
            is_box(n) || is_sign || syllables::is_syllable(n) || rank(n).is_some()
        };
        let mut room = Room::new(holder, shapes, gives_way);
        let mut words = syllables::settle(holder, shapes, &mut room, &mut moves);
        for sign in signs {
            let step = if sign.is_above { -STEP } else { STEP };
            let at = |n: i32| [sign.by[0], sign.by[1] + step * f64::from(n)];
            let free = (0..SIGN_STEPS).map(at).find(|by| room.is_clear(moved(sign.extent, *by)));
            let by = free.unwrap_or(sign.by);
            room.take(moved(sign.extent, by));
            if by != [0.0; 2] {
                moves.insert(sign.node.id(), by);
            }
        }
        let is_within = |place: Extent| bounds.is_none_or(|bounds| inside(place, bounds) == [0.0; 2]);
        let mut all = Vec::new();
        for mut bar in units(holder, shapes) {
            side_by_side(&mut bar, &room, is_within);
            all.extend(bar);
        }
        all.sort_by_key(|unit| unit.rank);
        let extents: Vec<Extent> = all.iter().map(|unit| unit.extent).collect();
        for (place, unit) in all.iter().enumerate() {
            let by = settled(unit, &room, &extents[place + 1..], bounds);
            room.take(moved(unit.extent, by));
            words.push(moved(unit.extent, by));
            for (node, own) in &unit.members {
                let by = [own[0] + by[0], own[1] + by[1]];
                if by != [0.0; 2] {
                    moves.insert(node.id(), by);
                }
            }
        }
        Places { moves, words }
    }

    /// How far an element is moved.
    pub fn of_node(&self, node: Node<'_, '_>) -> Option<[f64; 2]> {
        self.moves.get(&node.id()).copied()
    }
}

/// The pages of systems with all in its place; `None` if one cannot be read.
pub fn given(pages: &[String]) -> Option<Vec<String>> {
    let of_page = |svg: &String| {
        let document = Document::parse(svg).ok()?;
        let shapes = Shapes::new(&document);
        let mut patch = Patch::default();
        for system in document.descendants().filter(|n| has_class(*n, "system") && !is_box(*n)) {
            let places = Places::of(system, &shapes, &[], None);
            for node in system.descendants() {
                let name = node.range().start + 1 + node.tag_name().name().len();
                places.of_node(node).into_iter().for_each(|by| patch.insert(name, translated(by)));
            }
        }
        patch.apply(svg).ok()
    };
    pages.iter().map(of_page).collect()
}

/// How an element is moved, as an attribute.
pub fn translated([right, down]: [f64; 2]) -> String {
    format!(" transform=\"translate({right:.0} {down:.0})\"")
}

/// How far something must go to be inside of bounds.
fn inside(place: Extent, bounds: Extent) -> [f64; 2] {
    let by = |low: usize| (bounds[low] - place[low]).max(0.0) + (bounds[low + 2] - place[low + 2]).min(0.0);
    [by(0), by(1)]
}

/// How far something goes to lie on nothing; those that come later would best stay where they are.
fn settled(unit: &Unit<'_, '_>, room: &Room, later: &[Extent], bounds: Option<Extent>) -> [f64; 2] {
    let is_number = unit.rank == NUMBERS;
    let start = bounds.map_or([0.0; 2], |bounds| inside(unit.extent, bounds));
    let own = moved(unit.extent, start);
    let around = |[left, top, right, bottom]: Extent| match is_number {
        true => [left - BESIDE, top - LINES, right + BESIDE, bottom + LINES],
        false => [left, top, right, bottom],
    };
    let stays = if is_number { room.taken(around(own)) <= 0.0 } else { !room.lies_on_something(own) };
    // A line is only a reason to go somewhere near.
    let may_stay = stays && (is_number || !room.lies_on_a_line(own));
    if may_stay {
        return start;
    }
    let [over, under] = between(own, &unit.staves);
    // Outwards; between two staves either way.
    let ways = match (over.is_finite(), under.is_finite()) {
        _ if is_number => -UP_OR_DOWN..=0,
        (false, true) => -UP_OR_DOWN..=0,
        (true, false) => 0..=UP_OR_DOWN,
        _ => -UP_OR_DOWN..=UP_OR_DOWN,
    };
    let aside = if is_number { 0 } else { ASIDE };
    let steps = ways.flat_map(|down| (-aside..=aside).map(move |right| [right, down].map(|n| STEP * f64::from(n))));
    let mut steps: Vec<[f64; 2]> = steps.collect();
    let is_within = |by: &[f64; 2]| {
        let place = moved(own, *by);
        let within = bounds.is_none_or(|bounds| inside(place, bounds) == [0.0; 2]);
        within && place[1] >= over && place[3] <= under
    };
    steps.retain(is_within);
    let cost = |[right, down]: [f64; 2]| ASIDE_COSTS * right.abs() + down.abs();
    steps.sort_by(|a, b| cost(*a).total_cmp(&cost(*b)));
    let is_free = |by: &[f64; 2]| room.is_free(around(moved(own, *by)));
    let is_alone = |by: &[f64; 2]| later.iter().all(|other| shared(moved(own, *by), *other) <= 0.0);
    let lies_on_lines = |by: &[f64; 2]| room.lies_on_no_more_than_lines(moved(own, *by));
    let first = |is: &dyn Fn(&[f64; 2]) -> bool| steps.iter().copied().find(|by| is(by));
    let free = first(&|by| is_free(by) && is_alone(by));
    let best = match stays {
        true => free.filter(|by| cost(*by) <= NEAR_LINES),
        false => free.or_else(|| first(&is_free)).or_else(|| first(&lies_on_lines)),
    };
    let best = best.unwrap_or_default();
    [start[0] + best[0], start[1] + best[1]]
}

/// The heights between which words stay on their side of a staff, or between two.
fn between(own: Extent, staves: &[Extent]) -> [f64; 2] {
    let middle = (own[1] + own[3]) / 2.0;
    let over = staves.iter().filter(|staff| staff[3] <= middle).map(|staff| staff[3]);
    let under = staves.iter().filter(|staff| staff[1] >= middle).map(|staff| staff[1]);
    [over.fold(f64::NEG_INFINITY, f64::max), under.fold(f64::INFINITY, f64::min)]
}

#[cfg(test)]
mod tests {
    use super::super::boxes::SVG;
    use super::*;

    /// A staff of 720 units from 2000 on, and what else stands in its bar: where what gives way goes.
    fn moves(inner: &str) -> Vec<(String, [i64; 2])> {
        let lines: String = (0..5).map(|n| format!("<path d=\"M0 {0} L9000 {0}\"/>", 2000 + 180 * n)).collect();
        let svg = format!(
            "<svg xmlns=\"{SVG}\"><g class=\"system\"><g class=\"measure\"><g class=\"staff\">{lines}</g>{inner}</g></g></svg>"
        );
        let document = Document::parse(&svg).unwrap();
        let system = document.descendants().find(|n| has_class(*n, "system")).unwrap();
        let places = Places::of(system, &Shapes::new(&document), &[], Some([0.0, 0.0, 9000.0, 6000.0]));
        let moved = document.descendants().filter_map(|n| Some((n, *places.moves.get(&n.id())?)));
        let told = moved.map(|(n, by)| (n.attribute("class").unwrap_or_default().to_string(), by.map(|n| n as i64)));
        told.collect()
    }

    fn words(class: &str, [left, top, width, height]: [i32; 4]) -> String {
        format!("<g class=\"{class}\"><rect x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\"/></g>")
    }

    fn is_moved(inner: &[String], class: &str, by: [i64; 2]) {
        assert_eq!(moves(&inner.concat()), [(class.to_string(), by)]);
    }

    #[test]
    fn words_go_where_there_is_room_on_their_side_of_the_staff() {
        let head = |x: i32, y: i32| words("notehead", [x, y, 200, 180]);
        assert!(moves(&[head(500, 1000), words("dir", [1000, 1000, 900, 300])].concat()).is_empty());
        // Up from a note over the staff, down from one under it.
        is_moved(&[head(1200, 1400), words("dir", [1000, 1300, 900, 300])], "dir", [0, -240]);
        is_moved(&[head(1200, 3100), words("dynam", [1000, 3000, 900, 300])], "dynam", [0, 300]);
        // From a barline a dynamic goes aside.
        let line = "<g class=\"barLine\"><path d=\"M1100 2000 L1100 5000\" stroke-width=\"27\"/></g>";
        is_moved(&[line.into(), words("dynam", [1050, 3600, 300, 300])], "dynam", [90, 0]);
        // Of two the number goes.
        is_moved(&[words("dir", [0, 1500, 500, 300]), words("mNum", [0, 1550, 200, 200])], "mNum", [0, -390]);
    }

    #[test]
    fn what_would_leave_the_sheet_comes_back() {
        is_moved(&[words("dir", [8500, 1000, 900, 300])], "dir", [-400, 0]);
    }
}
