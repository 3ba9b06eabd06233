//! Which element is which mark: directions, notations, barlines, attributes.

mod direction;
mod notation;

use crate::musicxml::spans::{End, Kind, Role};
use crate::musicxml::tree::{child, element, text_of};
use crate::pitch::key_name;
use crate::score::{Category, Element, Mark, MarkId, Part, Place};
use crate::time::Time;
use roxmltree::Node;

/// Collects the marks of one part while its bars are read.
#[derive(Default)]
pub struct Collector {
    pub ends: Vec<End>,
    /// Words at a time, so that dashes after them find them.
    last_words: Option<(Time, u32, MarkId)>,
}

/// Where a mark stands, and in which voice and staff.
#[derive(Clone, Copy)]
pub struct Spot {
    pub place: Place,
    pub order: (Time, i32),
    pub voice: u32,
    pub staff: u32,
}

/// What a mark says, without its place.
pub(super) struct Sign {
    category: Category,
    kind: String,
    meaning: String,
    reading: String,
}

impl Sign {
    /// A mark that means what it reads.
    fn new(category: Category, kind: &str, reading: impl Into<String>) -> Sign {
        let reading = reading.into();
        Sign { category, kind: kind.into(), meaning: reading.clone(), reading }
    }

    /// A mark that reads as it is called.
    fn named(category: Category, kind: &str) -> Sign {
        Sign::new(category, kind, kind)
    }

    fn meaning(self, meaning: impl Into<String>) -> Sign {
        Sign { meaning: meaning.into(), ..self }
    }
}

fn name<'a>(node: Node<'a, '_>) -> &'a str {
    node.tag_name().name()
}

fn elements<'a, 'i>(node: Node<'a, 'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    node.children().filter(|n| n.is_element())
}

/// The name with the attributes that change what it says.
fn told(node: Node<'_, '_>) -> String {
    let mut out = name(node).to_string();
    let text = text_of(node);
    if !text.is_empty() && !text.chars().all(char::is_whitespace) {
        out.push_str(&format!(" {text}"));
    }
    out
}

impl Collector {
    /// A new mark; `elements` are what it consists of so far.
    pub(super) fn add(&mut self, part: &mut Part, sign: Sign, spot: Spot, elements: Vec<Element>) -> MarkId {
        part.marks.push(Mark {
            category: sign.category,
            kind: sign.kind,
            meaning: sign.meaning,
            reading: sign.reading,
            pitches: Vec::new(),
            at: spot.place,
            end: None,
            voice: spot.voice,
            staff: spot.staff,
            elements,
            end_elements: Vec::new(),
        });
        part.marks.len() - 1
    }

    /// A mark of one element that says its name and its text.
    pub(super) fn simple(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) -> MarkId {
        self.add(part, Sign::new(category, name(node), told(node)), spot, vec![element(node)])
    }

    /// One end of a span. A start makes the mark that the other ends join.
    pub(super) fn span(
        &mut self,
        part: &mut Part,
        sign: Sign,
        (kind, role): (Kind, Role),
        node: Node<'_, '_>,
        spot: Spot,
    ) {
        let mark = (role == Role::Start).then(|| self.add(part, sign, spot, vec![element(node)]));
        self.end(kind, role, node, spot, mark);
    }

    /// A line with a start and a stop and nothing else to say.
    pub(super) fn line(&mut self, part: &mut Part, category: Category, kind: Kind, node: Node<'_, '_>, spot: Spot) {
        let sign = Sign::named(category, name(node));
        self.span(part, sign, (kind, role_of(node)), node, spot);
    }

    pub(super) fn end(&mut self, kind: Kind, role: Role, node: Node<'_, '_>, spot: Spot, mark: Option<MarkId>) {
        self.ends.push(End {
            kind,
            number: node.attribute("number").unwrap_or("1").to_string(),
            role,
            place: spot.place,
            order: spot.order,
            voice: spot.voice,
            staff: spot.staff,
            element: element(node),
            mark,
        });
    }

    fn dynamics(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        for sign in elements(node) {
            let reading = match name(sign) {
                "other-dynamics" => text_of(sign).to_string(),
                name => name.to_string(),
            };
            self.add(part, Sign::new(Category::Dynamics, name(sign), reading), spot, vec![element(sign)]);
        }
    }

    fn fermata(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let at = vec![element(node)];
        self.add(part, Sign::named(Category::Fermata, "fermata"), spot, at);
    }

    pub fn barline(&mut self, part: &mut Part, barline: Node<'_, '_>, spot: Spot) {
        let style = child(barline, "bar-style");
        let mut repeat = None;
        for node in elements(barline) {
            match name(node) {
                "repeat" => {
                    let direction = node.attribute("direction").unwrap_or("backward");
                    let reading = format!("{direction} repeat");
                    let at = style.map(element).into_iter().chain([element(node)]).collect();
                    let meaning = match node.attribute("times") {
                        Some(times) if times != "2" => format!("{reading} {times}"),
                        _ => reading.clone(),
                    };
                    let sign = Sign::new(Category::Structure, "repeat", reading).meaning(meaning);
                    repeat = Some(self.add(part, sign, spot, at));
                }
                "ending" => {
                    let says = format!("ending {}", node.attribute("number").unwrap_or("1"));
                    let role = if node.attribute("type") == Some("start") { Role::Start } else { Role::Stop };
                    let sign = Sign::named(Category::Structure, &says);
                    self.span(part, sign, (Kind::Ending, role), node, spot);
                }
                "fermata" => self.fermata(part, node, spot),
                "segno" | "coda" => {
                    self.simple(part, Category::Structure, node, spot);
                }
                _ => {}
            }
        }
        let Some(style) = style.filter(|_| repeat.is_none()) else {
            return;
        };
        if is_double(text_of(style)) {
            self.add(part, Sign::new(Category::Structure, "bar-style", "double bar"), spot, vec![element(style)]);
        }
    }

    pub fn key(&mut self, part: &mut Part, node: Option<Node<'_, '_>>, fifths: i32, spot: Spot) {
        let (reading, at) = (key_name(fifths), node.map(element).into_iter().collect());
        self.add(part, Sign::new(Category::Signature, "key", reading).meaning(fifths.to_string()), spot, at);
    }

    pub fn time(&mut self, part: &mut Part, node: Node<'_, '_>, reading: &str, spot: Spot) {
        self.add(part, Sign::new(Category::Signature, "time", reading), spot, vec![element(node)]);
    }
}

/// Whether a bar style is one of the double bars.
pub(super) fn is_double(style: &str) -> bool {
    matches!(style, "light-light" | "heavy-heavy" | "light-heavy" | "heavy-light")
}

fn role_of(node: Node<'_, '_>) -> Role {
    match node.attribute("type") {
        Some("stop") => Role::Stop,
        Some("continue") => Role::Continue,
        _ => Role::Start,
    }
}

fn short_accidental(name: &str) -> &str {
    match name {
        "sharp" => "#",
        "flat" => "b",
        "natural" => "nat.",
        other => other,
    }
}
