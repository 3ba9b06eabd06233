//! A document into a score: parts, bars, notes and their marks.

mod attributes;
mod clock;
mod finish;
mod graces;
mod lengths;
mod note;
mod parts;
mod warnings;

use crate::musicxml::Error;
use crate::musicxml::credits::credited;
use crate::musicxml::marks::{Collector, Spot};
use crate::musicxml::tree::{Tree, child, child_text, element, elements, one_line, text_of};
use crate::score::{Anchor, Bar, Meter, Part, Place, Score};
use crate::time::{Time, parse_decimal};
use attributes::{Signatures, Transpositions};
use clock::Clock;
use finish::ReadPart;
use graces::Joins;
use lengths::Lengths;
use note::{Chord, Voices};
use parts::{BarNode, PartNode};
use roxmltree::Node;
use std::fmt::Display;
use std::ops::RangeInclusive;
use std::str::FromStr;
use warnings::Warnings;

/// Finer than any program writes; coarser would endanger exact sums.
const LARGEST_DIVISIONS: i64 = 1 << 24;
/// In quarter notes; no bar is longer.
const LARGEST_DURATION: i64 = 1 << 20;
const MOST_BARS: usize = 50_000;
/// Notes, and marks, of one bar of one part; notes of a chord; voices of a part.
const MOST_IN_BAR: usize = 10_000;
const MOST_IN_CHORD: usize = 1000;
const MOST_VOICES: usize = 1000;
const MOST_STAVES: u32 = 99;
/// A part has a note, and a mark, for so many elements and texts, about: room is made once.
const NODES_OF_A_NOTE: usize = 16;
const NODES_OF_A_MARK: usize = 60;

/// A score as read, with the warnings.
#[derive(Debug)]
pub struct Parsed {
    /// What was read.
    pub score: Score,
    /// In words, with part and bars.
    pub warnings: Vec<String>,
    /// Whether elements stand where the schema has none such. Of some of them the whole text is told.
    pub has_unknown: bool,
}

/// Reads a parsed document. Errors have the place of what cannot be read.
pub fn read(tree: &Tree<'_>) -> Result<Parsed, Error> {
    let root = tree.root();
    let mut warnings: Vec<String> = tree.input.warning().map(str::to_string).into_iter().collect();
    let mut score = Score { title: title(root), parts: Vec::new() };
    let mut has_unknown = false;
    for node in parts::parts(tree, &mut warnings)? {
        if node.bars.is_empty() {
            warnings.push(format!("part {} ({}) has no bars; it was left out", node.id, node.name));
            continue;
        }
        let read = PartReader::new(tree, &node).read(node)?;
        score.parts.push(read.part);
        warnings.extend(read.warnings);
        has_unknown |= read.has_unknown;
    }
    if score.parts.is_empty() {
        return Err(tree.content_error(root, "the score has no part with bars"));
    }
    Ok(Parsed { score, warnings, has_unknown })
}

fn title(root: Node<'_, '_>) -> Option<String> {
    let work = child(root, "work").and_then(|w| child_text(w, "work-title"));
    let movement = child_text(root, "movement-title");
    let found = [work, movement].into_iter().flatten().find(|t| !t.is_empty()).or_else(|| credited(root, "title"))?;
    Some(one_line(found))
}

struct PartReader<'a, 'i> {
    tree: &'a Tree<'i>,
    part: Part,
    marks: Collector,
    warnings: Warnings,
    voices: Voices<'a>,
    signatures: Signatures,
    transpositions: Transpositions,
    clock: Clock,
    lengths: Lengths<'a, 'i>,
    chord: Chord,
    joins: Joins,
    /// Children of the present note that may carry marks.
    carriers: Vec<Node<'a, 'i>>,
}

impl<'a, 'i> PartReader<'a, 'i> {
    fn new(tree: &'a Tree<'i>, node: &PartNode<'a, 'i>) -> Self {
        PartReader {
            tree,
            part: Part {
                id: node.id.clone(),
                name: node.name.clone(),
                bars: Vec::new(),
                notes: Vec::new(),
                marks: Vec::new(),
                staves: 1,
                octave_is_told: false,
                derived_from: Vec::new(),
                line: crate::score::Line::default(),
                voices: Vec::new(),
            },
            marks: Collector::default(),
            warnings: Warnings::default(),
            voices: Voices::default(),
            signatures: Signatures::default(),
            transpositions: Transpositions::default(),
            clock: Clock::default(),
            lengths: Lengths::default(),
            chord: Chord::default(),
            joins: Joins::default(),
            carriers: Vec::new(),
        }
    }

    fn read(mut self, node: PartNode<'a, 'i>) -> Result<ReadPart, Error> {
        let nodes: usize = node.bars.iter().map(|bar| bar.content.descendants().len()).sum();
        self.part.bars.reserve(node.bars.len().min(MOST_BARS));
        self.part.notes.reserve(nodes / NODES_OF_A_NOTE);
        self.part.marks.reserve(nodes / NODES_OF_A_MARK);
        for (place, bar) in node.bars.into_iter().enumerate() {
            if place == MOST_BARS {
                let reason = format!("more than {MOST_BARS} bars; no score has as many");
                return Err(self.tree.content_error(bar.measure, reason));
            }
            self.bar(place, bar)?;
        }
        Ok(self.finish())
    }

    fn warn(&mut self, what: impl AsRef<str>) {
        let bar = self.part.bars.last().map_or("", |b| b.number.as_str());
        self.warnings.add(bar, what.as_ref());
    }

    fn here(&self) -> usize {
        self.part.bars.len() - 1
    }

    fn bar(&mut self, place: usize, node: BarNode<'a, 'i>) -> Result<(), Error> {
        let start = self.part.bars.last().map_or(Time::zero(), |b| b.start + b.length);
        let first = self.part.notes.len();
        let first_mark = self.part.marks.len();
        (self.chord.size, self.chord.head_is_hidden) = (0, false);
        let number = node.measure.attribute("number").map_or_else(|| (place + 1).to_string(), str::to_string);
        parts::check_name(self.tree, node.measure, "the number of a bar", &number)?;
        self.part.bars.push(Bar {
            number,
            element: element(node.content),
            start,
            length: Time::zero(),
            meter: self.signatures.meter,
            fifths: self.signatures.fifths.unwrap_or(0),
            mode: self.signatures.mode,
            divisions: self.lengths.divisions,
            transpose: self.transpose_of(1),
            notes: first..first,
        });
        self.start_clock(node.content);
        let mut right_barlines = Vec::new();
        for item in elements(node.content) {
            match item.tag_name().name() {
                "note" => self.note(item)?,
                "backup" => {
                    let back = self.duration(item)?.unwrap_or_default();
                    self.back(back);
                }
                "forward" => {
                    let forward = self.duration(item)?.unwrap_or_default();
                    let reached = self.clock.furthest;
                    self.advance(item, forward)?;
                    // It fills a bar, but makes none longer.
                    let full = self.part.bars[self.here()].meter.bar;
                    // Without measure a bar is as long as its notes; one without notes is as long as is said.
                    let full = if full.is_zero() && !reached.is_zero() { reached } else { full };
                    if self.clock.furthest > reached && !full.is_zero() {
                        self.clock.furthest = reached.max(self.clock.now.min(full));
                    }
                }
                "attributes" => self.attributes(item)?,
                "direction" => {
                    let spot = self.spot(item);
                    self.marks.direction(&mut self.part, item, spot);
                }
                "harmony" => {
                    let spot = self.spot(item);
                    self.marks.harmony(&mut self.part, item, spot);
                }
                "figured-bass" => {
                    let mut spot = self.spot(item);
                    // Where one says its own place, it is counted from the note.
                    if child(item, "offset").is_none() {
                        spot.place.place.offset += self.clock.figures;
                        spot.order.0 += self.clock.figures;
                    }
                    self.marks.figured_bass(&mut self.part, item, spot);
                    let duration = self.duration(item)?.unwrap_or_default();
                    self.clock.figures += duration;
                }
                "barline" => match item.attribute("location") {
                    Some("left") => {
                        let spot = self.spot_at(Time::zero(), item);
                        self.marks.barline(&mut self.part, item, spot);
                    }
                    Some("middle") => {
                        let spot = self.spot_at(self.clock.now, item);
                        self.marks.barline(&mut self.part, item, spot);
                    }
                    _ => right_barlines.push(item),
                },
                _ => {
                    self.marks.placed("measure", item, self.here());
                }
            }
            let fullest = (self.part.notes.len() - first).max(self.part.marks.len() - first_mark);
            if fullest > MOST_IN_BAR {
                let reason = format!("a bar of more than {MOST_IN_BAR} notes or marks; no score has one");
                return Err(self.tree.content_error(node.measure, reason));
            }
        }
        self.graces_after();
        let end = self.part.notes.len();
        let bar = self.part.bars.last_mut().expect("pushed above");
        bar.notes = first..end;
        bar.length = match self.clock.furthest {
            empty if empty.is_zero() && bar.meter.bar.is_zero() => Meter::default().bar,
            empty if empty.is_zero() => bar.meter.bar,
            length => length,
        };
        let length = bar.length;
        for barline in right_barlines {
            let spot = self.spot_at(length, barline);
            self.marks.barline(&mut self.part, barline, spot);
        }
        if self.signatures.fifths.is_none() {
            // No signature at all is a signature without accidentals.
            let spot = self.spot_at(Time::zero(), node.content);
            self.set_key(None, 0, spot);
        }
        Ok(())
    }

    /// A number that the file tells; its usual value where it tells none, with a
    /// warning where what it tells is no number of the range.
    fn number<T>(&mut self, told: Option<&str>, what: &str, range: RangeInclusive<T>, usual: T) -> T
    where
        T: FromStr + PartialOrd + Display,
    {
        let Some(told) = told else { return usual };
        let number = told.parse().ok().filter(|n| range.contains(n));
        number.unwrap_or_else(|| {
            let (least, most) = (range.start(), range.end());
            self.warn(format!("{what} {told:?} is not a number from {least} to {most}; it was read as {usual}"));
            usual
        })
    }

    fn staff(&mut self, told: Option<&str>) -> u32 {
        self.number(told, "the staff", 1..=MOST_STAVES, 1)
    }

    /// Where a direction stands: at the cursor, moved by its own offset.
    fn spot(&mut self, node: Node<'_, '_>) -> Spot {
        let given = child_text(node, "offset");
        let offset = given.and_then(parse_decimal);
        let offset = offset.filter(|t| t.denom() <= 1000 && t.numer().abs() < LARGEST_DURATION);
        if let (Some(text), None) = (given, offset) {
            self.warn(format!("an offset of {text:?} is not a number; the sign was read without it"));
        }
        // Between the notes of a chord the time has gone on, and yet has not.
        let next = node.next_siblings().skip(1).find(|n| n.tag_name().name() == "note");
        let in_chord = next.is_some_and(|n| child(n, "chord").is_some()) && self.chord.size > 0;
        let here = if in_chord { self.chord.onset } else { self.clock.now };
        self.spot_at(here + offset.unwrap_or_default() / Time::from(self.lengths.divisions), node)
    }

    fn spot_at(&mut self, offset: Time, node: Node<'_, '_>) -> Spot {
        let staff = self.staff(child_text(node, "staff"));
        let bar = self.here();
        let told = child_text(node, "voice").and_then(|name| self.voices.numbers.get(&(name, 0)).copied());
        let (voice, voice_is_told) = (told.unwrap_or(0), told.is_some());
        let order = (self.part.bars[bar].start + offset, 0);
        let place = Anchor { place: Place { bar, offset }, note: None };
        Spot { place, order, voice, voice_is_told, staff }
    }

    /// The duration in quarter notes, if the element has one.
    fn duration(&mut self, node: Node<'_, '_>) -> Result<Option<Time>, Error> {
        self.length(child(node, "duration"))
    }

    /// What a `duration` says, in quarter notes.
    fn length(&mut self, holder: Option<Node<'_, '_>>) -> Result<Option<Time>, Error> {
        let Some(holder) = holder else {
            return Ok(None);
        };
        if !self.lengths.are_told {
            self.warn("the part has no divisions; its durations were read as quarter notes");
            self.lengths.are_told = true;
        }
        let text = text_of(holder);
        let time = parse_decimal(text)
            .filter(|t| *t >= Time::zero() && t.denom() <= 1000)
            .filter(|t| t.numer() < LARGEST_DURATION * LARGEST_DIVISIONS)
            .map(|t| Time::new(t.numer(), t.denom() * self.lengths.divisions))
            .filter(|t| *t <= Time::from(LARGEST_DURATION))
            .ok_or_else(|| self.tree.content_error(holder, format!("a duration of {text:?} is not a length")))?;
        Ok(Some(time))
    }
}
