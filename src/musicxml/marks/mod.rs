//! Which element is which mark: directions, notations, barlines, attributes.

mod flanks;
mod harmony;
mod lines;
mod says;
mod signs;
mod verses;
mod wording;

pub use flanks::{Pair, flanks, is_flank};
pub use says::unit as beat_unit;

use crate::musicxml::elements::{Placement, category, facts, placement};
use crate::musicxml::spans::End;
use crate::musicxml::tree::{element, elements};
use crate::score::{Anchor, Category, Element, Mark, MarkId, Part, Sign};
use crate::time::Time;
use roxmltree::Node;
use verses::Verses;

/// More than this is not told of a part; it would be noise.
const MOST_WARNINGS: usize = 10_000;

/// Collects the marks of one part while its bars are read.
#[derive(Default)]
pub struct Collector {
    pub ends: Vec<End>,
    /// What is unusual, and in which bar.
    pub warnings: Vec<(usize, String)>,
    /// Elements stand where the schema has none such.
    pub has_unknown: bool,
    /// Words at a time, so that dashes after them find them.
    last_words: Option<(Time, u32, MarkId)>,
    verses: Verses,
}

/// Where a mark stands, and in which voice and staff.
#[derive(Clone, Copy)]
pub struct Spot {
    pub place: Anchor,
    pub order: (Time, i32),
    pub voice: u32,
    pub voice_is_told: bool,
    pub staff: u32,
}

fn name<'a>(node: Node<'a, '_>) -> &'a str {
    node.tag_name().name()
}

impl Collector {
    /// All that a `direction` says.
    pub fn direction(&mut self, part: &mut Part, direction: Node<'_, '_>, spot: Spot) {
        self.children(part, direction, spot);
    }

    /// What a child of a note says: its notations, an accidental, a syllable.
    pub fn of_note(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        match name(node) {
            _ if !is_printed(node) => {}
            // So many that the table, which says so, is not asked.
            "notations" => self.children(part, node, spot),
            _ => self.child(part, "note", node, spot),
        }
    }

    /// An attribute that is neither a signature nor about how notes are read.
    pub fn attribute(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        if self.placed("attributes", node, spot.place.bar) == Some(Placement::Words) {
            self.words(part, node, spot);
        }
    }

    /// Whatever stands in a holder, each element by its place in the table.
    fn children(&mut self, part: &mut Part, holder: Node<'_, '_>, spot: Spot) {
        let may_flank = flanks::may_flank(holder);
        for node in elements(holder).filter(|n| is_printed(*n)) {
            if may_flank && is_flank(node) {
                continue;
            }
            self.child(part, name(holder), node, spot);
            if let Some(pair) = may_flank.then(|| flanks(node)).flatten() {
                let own = element(node);
                let recent = part.marks.iter_mut().rev().take_while(|m| m.at.bar == spot.place.bar);
                if let Some(mark) = recent.into_iter().find(|m| m.elements.contains(&own)) {
                    mark.elements.extend(pair.map(element));
                }
            }
        }
    }

    fn child(&mut self, part: &mut Part, of: &str, node: Node<'_, '_>, spot: Spot) {
        match self.placed(of, node, spot.place.bar) {
            Some(Placement::Mark(category)) => self.sign(part, category, node, spot),
            Some(Placement::Words) => self.words(part, node, spot),
            Some(Placement::Holder) => self.children(part, node, spot),
            Some(Placement::Within | Placement::NotCompared(_)) | None => {}
        }
    }

    /// What becomes of an element; of one that the schema does not know, with
    /// a warning.
    pub fn placed(&mut self, of: &str, node: Node<'_, '_>, bar: usize) -> Option<Placement> {
        let known = placement(of, name(node));
        if known.is_some() {
            return known;
        }
        self.has_unknown = true;
        let category = facts(of).others;
        let how = match category {
            Some(category) => format!("it was read as a mark of the kind {category}"),
            None => "it was ignored".into(),
        };
        let what = format!("MusicXML 4.0 has no element {} in {of}; {how}", name(node));
        // A name that comes in all bars is told with these, once for each.
        let recent = self.warnings.iter().rev().take(64).take_while(|w| w.0 == bar);
        if self.warnings.len() < MOST_WARNINGS && recent.into_iter().all(|w| w.1 != what) {
            self.warnings.push((bar, what));
        }
        category.map(Placement::Mark)
    }

    /// A new mark; `elements` are what it consists of so far.
    fn add(&mut self, part: &mut Part, category: Category, sign: Sign, spot: Spot, elements: Vec<Element>) -> MarkId {
        part.marks.push(Mark {
            category,
            sign,
            at: spot.place,
            end: None,
            voice: spot.voice,
            voice_is_told: spot.voice_is_told,
            staff: spot.staff,
            elements,
            end_elements: Vec::new(),
        });
        part.marks.len() - 1
    }

    pub fn key(&mut self, part: &mut Part, node: Option<Node<'_, '_>>, fifths: i32, spot: Spot) {
        let at = node.map(element).into_iter().collect();
        // How it sounds is told by the transposition, which comes after it.
        self.add(part, category("attributes", "key"), Sign::Key { written: fifths, sounding: fifths }, spot, at);
    }

    /// A signature of single accidentals, which another key does not move.
    pub fn key_of_signs(&mut self, part: &mut Part, node: Node<'_, '_>, signs: &str, spot: Spot) {
        let sign = Sign::KeyOfSigns(signs.to_string());
        self.add_plain(part, category("attributes", "key"), sign, node, spot);
    }

    pub fn time(&mut self, part: &mut Part, node: Node<'_, '_>, reading: &str, spot: Spot) {
        let sign = Sign::Time(reading.to_string());
        self.add_plain(part, category("attributes", "time"), sign, node, spot);
    }
}

/// What is there for playback only is no mark.
fn is_printed(node: Node<'_, '_>) -> bool {
    node.attribute("print-object") != Some("no")
}

/// Whether a bar style is one of the double bars.
pub(super) fn is_double(style: &str) -> bool {
    matches!(style, "light-light" | "heavy-heavy" | "light-heavy" | "heavy-light")
}
