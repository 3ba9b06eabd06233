//! A document into a score: parts, bars, notes and their marks.

mod attributes;
mod note;

use crate::musicxml::Error;
use crate::musicxml::marks::{Collector, Spot};
use crate::musicxml::spans;
use crate::musicxml::tree::{Tree, child, child_text, element, text_of};
use crate::pitch::{Interval, Pitch};
use crate::score::{Bar, Category, Element, Meter, NoteId, Part, Place, Score};
use crate::time::{Time, parse_decimal};
use num_traits::{CheckedAdd, Zero};
use roxmltree::Node;
use std::collections::HashMap;

/// Finer than any program writes; coarser would endanger exact sums.
const LARGEST_DIVISIONS: i64 = 1 << 24;
/// In quarter notes; no bar is longer.
const LARGEST_DURATION: i64 = 1 << 20;

/// A score as read, with what was odd on the way.
#[derive(Debug)]
pub struct Reading {
    pub score: Score,
    pub warnings: Vec<String>,
}

/// Reads a parsed document. Errors have the place of what cannot be read.
pub fn read(tree: &Tree<'_>) -> Result<Reading, Error> {
    let root = tree.root();
    let mut names: HashMap<&str, &str> = HashMap::new();
    for part in root.descendants().filter(|n| n.tag_name().name() == "score-part") {
        if let Some(id) = part.attribute("id") {
            names.insert(id, child_text(part, "part-name").unwrap_or(""));
        }
    }
    let mut warnings = Vec::new();
    let mut score = Score { title: title(root), parts: Vec::new() };
    for (id, node, bars) in parts(tree)? {
        let name = names.get(id).map_or(String::new(), |n| n.split_whitespace().collect::<Vec<_>>().join(" "));
        let mut reader = PartReader::new(tree, id, name, node);
        for (place, bar) in bars.into_iter().enumerate() {
            reader.bar(place, bar)?;
        }
        let (part, odd) = reader.finish();
        score.parts.push(part);
        warnings.extend(odd);
    }
    if score.parts.is_empty() {
        return Err(tree.content_error(root, "the score has no part"));
    }
    Ok(Reading { score, warnings })
}

fn title(root: Node<'_, '_>) -> Option<String> {
    let work = child(root, "work").and_then(|w| child_text(w, "work-title"));
    let movement = child_text(root, "movement-title");
    let credit = || {
        root.children()
            .filter(|n| n.tag_name().name() == "credit")
            .find(|c| child_text(*c, "credit-type") == Some("title"))
            .and_then(|c| child_text(c, "credit-words"))
    };
    let found = [work, movement].into_iter().flatten().find(|t| !t.is_empty()).or_else(credit)?;
    Some(found.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// One bar of one part: the element that has its number, and the one that
/// holds its music. They differ in a timewise score.
struct BarNode<'a, 'i> {
    measure: Node<'a, 'i>,
    content: Node<'a, 'i>,
}

type PartNodes<'a, 'i> = (&'a str, Node<'a, 'i>, Vec<BarNode<'a, 'i>>);

fn parts<'a, 'i>(tree: &'a Tree<'i>) -> Result<Vec<PartNodes<'a, 'i>>, Error> {
    let root = tree.root();
    let named = |node: Node<'a, 'i>| {
        node.attribute("id").ok_or_else(|| tree.content_error(node, "a part has no id that names it"))
    };
    let children = |node: Node<'a, 'i>, name: &'static str| {
        node.children().filter(move |n| n.is_element() && n.tag_name().name() == name)
    };
    let mut out: Vec<PartNodes<'a, 'i>> = Vec::new();
    if root.tag_name().name() == "score-partwise" {
        for part in children(root, "part") {
            let id = named(part)?;
            if out.iter().any(|p| p.0 == id) {
                return Err(tree.content_error(part, format!("two parts have the id {id}")));
            }
            let bars = children(part, "measure").map(|m| BarNode { measure: m, content: m }).collect();
            out.push((id, part, bars));
        }
        return Ok(out);
    }
    for measure in children(root, "measure") {
        for content in children(measure, "part") {
            let id = named(content)?;
            let bar = BarNode { measure, content };
            match out.iter_mut().find(|p| p.0 == id) {
                Some(part) => part.2.push(bar),
                None => out.push((id, content, vec![bar])),
            }
        }
    }
    Ok(out)
}

/// A tie that waits for its second note.
struct OpenTie {
    pitch: Pitch,
    voice: u32,
    note: NoteId,
    end: Time,
}

struct PartReader<'a, 'i> {
    tree: &'a Tree<'i>,
    part: Part,
    marks: Collector,
    warnings: Vec<String>,
    voices: HashMap<(String, u32), u32>,
    divisions: i64,
    transpose: Interval,
    fifths: Option<i32>,
    meter: Meter,
    meter_text: String,
    ties: Vec<OpenTie>,
    cursor: Time,
    furthest: Time,
    /// Onset of the note that a chord note joins.
    chord_onset: Time,
    /// Grace notes that wait for their main note, by voice.
    graces: Vec<(u32, Vec<NoteId>, bool)>,
    /// How far figures have gone on at the present place.
    figures: Time,
}

impl<'a, 'i> PartReader<'a, 'i> {
    fn new(tree: &'a Tree<'i>, id: &str, name: String, _node: Node<'a, 'i>) -> Self {
        PartReader {
            tree,
            part: Part {
                id: id.to_string(),
                name,
                bars: Vec::new(),
                notes: Vec::new(),
                marks: Vec::new(),
                staves: 1,
                octave_is_told: false,
            },
            marks: Collector::default(),
            warnings: Vec::new(),
            voices: HashMap::new(),
            divisions: 1,
            transpose: Interval::UNISON,
            fifths: None,
            meter: Meter::default(),
            meter_text: String::new(),
            ties: Vec::new(),
            cursor: Time::zero(),
            furthest: Time::zero(),
            chord_onset: Time::zero(),
            graces: Vec::new(),
            figures: Time::zero(),
        }
    }

    fn warn(&mut self, what: impl std::fmt::Display) {
        let bar = self.part.bars.last().map_or("", |b| b.number.as_str());
        self.warnings.push(format!("{}: part {}, bar {bar}: {what}", self.tree.input.file, self.part.id));
    }

    fn here(&self) -> usize {
        self.part.bars.len() - 1
    }

    fn bar(&mut self, place: usize, node: BarNode<'a, 'i>) -> Result<(), Error> {
        let start = self.part.bars.last().map_or(Time::zero(), |b| b.start + b.length);
        let first = self.part.notes.len();
        let number = node.measure.attribute("number").map_or_else(|| (place + 1).to_string(), str::to_string);
        self.part.bars.push(Bar {
            number,
            element: element(node.content),
            start,
            length: Time::zero(),
            meter: self.meter,
            fifths: self.fifths.unwrap_or(0),
            divisions: self.divisions,
            transpose: self.transpose,
            notes: first..first,
        });
        self.cursor = Time::zero();
        self.furthest = Time::zero();
        let mut right_barlines = Vec::new();
        for item in node.content.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "note" => self.note(item)?,
                "backup" => {
                    let back = self.duration(item)?.unwrap_or_default();
                    if back > self.cursor {
                        self.warn("a backup goes before the bar's start; it was read as going to the start");
                    }
                    self.cursor = (self.cursor - back).max(Time::zero());
                    self.figures = Time::zero();
                }
                "forward" => {
                    let forward = self.duration(item)?.unwrap_or_default();
                    self.advance(item, forward)?;
                }
                "attributes" => self.attributes(item)?,
                "direction" => {
                    let spot = self.spot(item)?;
                    self.marks.direction(&mut self.part, item, spot);
                }
                "harmony" => {
                    let spot = self.spot(item)?;
                    self.marks.harmony(&mut self.part, item, spot);
                }
                "figured-bass" => {
                    let mut spot = self.spot(item)?;
                    spot.place.offset += self.figures;
                    spot.order.0 += self.figures;
                    self.marks.figured_bass(&mut self.part, item, spot);
                    self.figures += self.duration(item)?.unwrap_or_default();
                }
                "barline" => match item.attribute("location") {
                    Some("left") => {
                        let spot = self.spot_at(Time::zero(), item);
                        self.marks.barline(&mut self.part, item, spot);
                    }
                    Some("middle") => {
                        let spot = self.spot_at(self.cursor, item);
                        self.marks.barline(&mut self.part, item, spot);
                    }
                    _ => right_barlines.push(item),
                },
                _ => {}
            }
        }
        self.graces_after();
        let end = self.part.notes.len();
        let bar = self.part.bars.last_mut().expect("pushed above");
        bar.notes = first..end;
        bar.length = if self.furthest.is_zero() { bar.meter.bar } else { self.furthest };
        let length = bar.length;
        for barline in right_barlines {
            let spot = self.spot_at(length, barline);
            self.marks.barline(&mut self.part, barline, spot);
        }
        if self.fifths.is_none() {
            // No signature at all is a signature without accidentals.
            self.set_key(None, 0, self.spot_at(Time::zero(), node.content));
        }
        Ok(())
    }

    /// Where a direction stands: at the cursor, moved by its own offset.
    fn spot(&mut self, node: Node<'_, '_>) -> Result<Spot, Error> {
        let offset = match child_text(node, "offset") {
            None => Time::zero(),
            Some(text) => {
                let offset = parse_decimal(text)
                    .filter(|t| *t.denom() <= 1000 && t.numer().abs() < LARGEST_DURATION)
                    .ok_or_else(|| {
                    self.tree.content_error(node, format!("an offset of {text:?} is not a number"))
                })?;
                offset / Time::from(self.divisions)
            }
        };
        Ok(self.spot_at(self.cursor + offset, node))
    }

    fn spot_at(&self, offset: Time, node: Node<'_, '_>) -> Spot {
        let staff = child_text(node, "staff").and_then(|t| t.parse().ok()).unwrap_or(1);
        let bar = self.here();
        let voice = match child_text(node, "voice") {
            Some(name) => self.voices.get(&(name.to_string(), 0)).copied().unwrap_or(0),
            None => 0,
        };
        let order = (self.part.bars[bar].start + offset, 0);
        Spot { place: Place { bar, offset, note: None }, order, voice, staff }
    }

    fn advance(&mut self, node: Node<'_, '_>, by: Time) -> Result<(), Error> {
        let start = self.part.bars[self.here()].start;
        self.cursor = self
            .cursor
            .checked_add(&by)
            .filter(|t| t.checked_add(&start).is_some_and(|t| *t.denom() < 1 << 30))
            .ok_or_else(|| self.tree.content_error(node, "the lengths in this bar do not add up to any real time"))?;
        self.furthest = self.furthest.max(self.cursor);
        if !by.is_zero() {
            self.figures = Time::zero();
        }
        Ok(())
    }

    /// The duration in quarter notes, if the element has one.
    fn duration(&self, node: Node<'_, '_>) -> Result<Option<Time>, Error> {
        let Some(holder) = child(node, "duration") else {
            return Ok(None);
        };
        let text = text_of(holder);
        let time = parse_decimal(text)
            .filter(|t| *t >= Time::zero() && *t.denom() <= 1000)
            .and_then(|t| (*t.numer() < LARGEST_DURATION * LARGEST_DIVISIONS).then(|| t / Time::from(self.divisions)))
            .filter(|t| *t <= Time::from(LARGEST_DURATION))
            .ok_or_else(|| self.tree.content_error(holder, format!("a duration of {text:?} is not a length")))?;
        Ok(Some(time))
    }

    fn finish(mut self) -> (Part, Vec<String>) {
        let ends = std::mem::take(&mut self.marks.ends);
        let alone = spans::pair(&mut self.part, ends);
        for end in alone {
            let number = &self.part.bars[end.place.bar].number;
            let what = format!("{:?}", end.kind).to_lowercase();
            match end.mark {
                Some(_) => self.warnings.push(format!(
                    "{}: part {}, bar {number}: a {what} starts and does not end; it was read as a start alone",
                    self.tree.input.file, self.part.id
                )),
                None => self.warnings.push(format!(
                    "{}: part {}, bar {number}: a {what} ends that did not start; its end was passed over",
                    self.tree.input.file, self.part.id
                )),
            }
        }
        self.drop_last_double_bar();
        self.let_signatures_sound();
        (self.part, self.warnings)
    }

    /// A signature means what it says as it sounds; the transposition comes
    /// after it in the document.
    fn let_signatures_sound(&mut self) {
        let keys = self.part.marks.iter_mut().filter(|m| m.category == Category::Signature && m.kind == "key");
        for mark in keys {
            let transpose = self.part.bars[mark.at.bar].transpose.fifths();
            let written: i32 = mark.meaning.parse().unwrap_or(0);
            mark.meaning = (written + transpose).to_string();
        }
    }

    /// Every piece ends with a double bar, written or not.
    fn drop_last_double_bar(&mut self) {
        let last = self.part.bars.len().saturating_sub(1);
        let is_last = |bar: usize, offset: Time, bars: &[Bar]| bar == last && offset >= bars[last].length;
        let bars = &self.part.bars;
        let doubled: Vec<Element> = self
            .part
            .marks
            .iter()
            .filter(|m| m.kind == "bar-style" && m.category == Category::Structure)
            .filter(|m| is_last(m.at.bar, m.at.offset, bars))
            .flat_map(|m| m.elements.clone())
            .collect();
        if doubled.is_empty() {
            return;
        }
        self.part.marks.retain(|m| m.kind != "bar-style" || !m.elements.iter().any(|e| doubled.contains(e)));
    }
}
