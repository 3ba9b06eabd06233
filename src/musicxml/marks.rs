//! Which element is which mark: directions, notations, barlines, attributes.

use super::spans::{End, Kind, Role};
use super::tree::{child, child_text, element, text_of};
use super::words;
use crate::pitch::{Pitch, key_name};
use crate::score::{Category, Element, Mark, MarkId, Note, NoteId, Part, Place};
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

    /// All that a `direction` says.
    pub fn direction(&mut self, part: &mut Part, direction: Node<'_, '_>, spot: Spot) {
        let mut words_here = None;
        for kind in elements(direction).filter(|n| name(*n) == "direction-type") {
            for node in elements(kind) {
                match name(node) {
                    "dynamics" => self.dynamics(part, node, spot),
                    "words" | "symbol" => {
                        if let Some(mark) = self.words(part, node, spot) {
                            words_here = Some(mark);
                            self.last_words = Some((spot.order.0, spot.staff, mark));
                        }
                    }
                    "wedge" => match node.attribute("type") {
                        Some("stop") => self.end(Kind::Hairpin, Role::Stop, node, spot, None),
                        Some("continue") => self.end(Kind::Hairpin, Role::Continue, node, spot, None),
                        Some(says @ ("crescendo" | "diminuendo")) => {
                            let sign = Sign::named(Category::Hairpin, says);
                            self.span(part, sign, (Kind::Hairpin, Role::Start), node, spot);
                        }
                        _ => {
                            self.simple(part, Category::Hairpin, node, spot);
                        }
                    },
                    "dashes" => self.dashes(part, node, spot, words_here),
                    "bracket" => self.line(part, Category::Text, Kind::Bracket, node, spot),
                    "octave-shift" => {
                        let size = node.attribute("size").unwrap_or("8");
                        let says = match node.attribute("type") {
                            // `down` prints the notes lower than they sound.
                            Some("down") => format!("{size} above"),
                            Some("up") => format!("{size} below"),
                            _ => String::new(),
                        };
                        let sign = Sign::named(Category::OctaveLine, &says);
                        self.span(part, sign, (Kind::OctaveLine, role_of(node)), node, spot);
                    }
                    "pedal" => match node.attribute("type") {
                        Some("stop" | "discontinue") => self.end(Kind::Pedal, Role::Stop, node, spot, None),
                        Some("continue" | "change" | "resume") => {
                            self.end(Kind::Pedal, Role::Continue, node, spot, None);
                        }
                        _ => {
                            let sign = Sign::named(Category::Pedal, "pedal");
                            self.span(part, sign, (Kind::Pedal, Role::Start), node, spot);
                        }
                    },
                    "metronome" => {
                        let reading = metronome(node);
                        let at = vec![element(node)];
                        self.add(part, Sign::new(Category::Tempo, "metronome", reading), spot, at);
                    }
                    "damp" | "damp-all" => {
                        self.simple(part, Category::Pedal, node, spot);
                    }
                    "rehearsal" => {
                        let reading = text_of(node).to_string();
                        let at = vec![element(node)];
                        self.add(part, Sign::new(Category::Rehearsal, "rehearsal", reading), spot, at);
                    }
                    "segno" | "coda" => {
                        self.simple(part, Category::Structure, node, spot);
                    }
                    _ => {
                        self.simple(part, Category::Text, node, spot);
                    }
                }
            }
        }
    }

    fn dashes(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot, words_here: Option<MarkId>) {
        if role_of(node) != Role::Start {
            return self.end(Kind::Dashes, role_of(node), node, spot, None);
        }
        let before = self.last_words.filter(|(time, staff, _)| *time == spot.order.0 && *staff == spot.staff);
        match words_here.or(before.map(|b| b.2)) {
            // The dashes only draw out the words: one mark.
            Some(mark) => {
                part.marks[mark].elements.push(element(node));
                self.end(Kind::Dashes, Role::Start, node, spot, Some(mark));
            }
            None => self.line(part, Category::Text, Kind::Dashes, node, spot),
        }
    }

    fn words(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) -> Option<MarkId> {
        let text = text_of(node);
        if text.is_empty() {
            return None;
        }
        if name(node) == "symbol" {
            return Some(self.simple(part, Category::Text, node, spot));
        }
        let (category, meaning) = words::classify(text);
        let reading = text.split_whitespace().collect::<Vec<_>>().join(" ");
        Some(self.add(part, Sign::new(category, "words", reading).meaning(meaning), spot, vec![element(node)]))
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

    /// All marks that a note carries.
    pub fn note(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        for item in elements(node) {
            match name(item) {
                "notations" => self.notations(part, item, spot),
                "lyric" => {
                    let said: Vec<&str> =
                        elements(item).filter(|n| matches!(name(*n), "text" | "elision")).map(text_of).collect();
                    let reading = said.join(" ");
                    let verse = item.attribute("number").unwrap_or("1");
                    let meaning = format!("{verse} {reading}");
                    let sign = Sign::new(Category::Lyric, "lyric", reading).meaning(meaning);
                    self.add(part, sign, spot, vec![element(item)]);
                }
                "accidental" => {
                    let set = |a: &str| item.attribute(a) == Some("yes");
                    if let Some(how) =
                        ["cautionary", "editorial", "parentheses", "bracket"].into_iter().find(|a| set(a))
                    {
                        let reading = format!("{how} {}", text_of(item));
                        // Which sign it is depends on the key, not on the editor.
                        let at = vec![element(item)];
                        let sign = Sign::new(Category::Accidental, "accidental", reading).meaning("accidental");
                        self.add(part, sign, spot, at);
                    }
                }
                _ => {}
            }
        }
    }

    fn notations(&mut self, part: &mut Part, notations: Node<'_, '_>, spot: Spot) {
        for node in elements(notations) {
            match name(node) {
                "slur" => self.line(part, Category::Slur, Kind::Slur, node, spot),
                "glissando" => self.line(part, Category::Ornament, Kind::Glissando, node, spot),
                "slide" => self.line(part, Category::Ornament, Kind::Slide, node, spot),
                "ornaments" => self.ornaments(part, node, spot),
                "technical" => {
                    for sign in elements(node) {
                        let category = match name(sign) {
                            "fingering" | "string" | "fret" | "pluck" | "thumb-position" | "hole" => {
                                Category::Fingering
                            }
                            "up-bow" | "down-bow" => Category::Bowing,
                            _ => Category::Technique,
                        };
                        let reading = technical_reading(sign);
                        let at = vec![element(sign)];
                        let meaning = format!("{} {reading}", name(sign));
                        self.add(part, Sign::new(category, name(sign), reading).meaning(meaning), spot, at);
                    }
                }
                "articulations" => {
                    for sign in elements(node) {
                        let category = match name(sign) {
                            "breath-mark" | "caesura" => Category::Breath,
                            _ => Category::Articulation,
                        };
                        self.add(part, Sign::named(category, name(sign)), spot, vec![element(sign)]);
                    }
                }
                "dynamics" => self.dynamics(part, node, spot),
                "fermata" => self.fermata(part, node, spot),
                "arpeggiate" | "non-arpeggiate" => {
                    let chord = spot.place.note.map(|n| part.chord(n));
                    let same = part.marks.iter_mut().rev().take(32).find(|m| {
                        m.kind == name(node) && m.at.bar == spot.place.bar && {
                            let note = m.at.note;
                            chord.as_ref().zip(note).is_some_and(|(c, n)| c.contains(&n))
                        }
                    });
                    match same {
                        Some(mark) => mark.elements.push(element(node)),
                        None => {
                            self.simple(part, Category::Ornament, node, spot);
                        }
                    }
                }
                "accidental-mark" => {
                    let at = vec![element(node)];
                    let reading = format!("{} above or below", text_of(node));
                    let sign = Sign::new(Category::Accidental, "accidental-mark", reading).meaning("mark");
                    self.add(part, sign, spot, at);
                }
                "tied" | "tuplet" | "footnote" | "level" => {}
                _ => {
                    self.simple(part, Category::Text, node, spot);
                }
            }
        }
    }

    fn ornaments(&mut self, part: &mut Part, ornaments: Node<'_, '_>, spot: Spot) {
        let mut trill = None;
        for node in elements(ornaments) {
            match name(node) {
                "wavy-line" => {
                    let role = role_of(node);
                    if role != Role::Start {
                        self.end(Kind::Wavy, role, node, spot, None);
                        continue;
                    }
                    let mark = trill.unwrap_or_else(|| {
                        let at = vec![element(node)];
                        self.add(
                            part,
                            Sign::new(Category::Ornament, "wavy-line", "trill").meaning("trill-mark"),
                            spot,
                            at,
                        )
                    });
                    let elements = &mut part.marks[mark].elements;
                    if !elements.contains(&element(node)) {
                        elements.push(element(node));
                    }
                    self.end(Kind::Wavy, Role::Start, node, spot, Some(mark));
                }
                "accidental-mark" => {
                    let at = vec![element(node)];
                    let reading = format!("{} at the ornament", text_of(node));
                    let sign = Sign::new(Category::Accidental, "accidental-mark", reading).meaning("mark");
                    self.add(part, sign, spot, at);
                }
                "trill-mark" => {
                    let at = vec![element(node)];
                    let sign = Sign::new(Category::Ornament, "trill-mark", "trill").meaning("trill-mark");
                    trill = Some(self.add(part, sign, spot, at));
                }
                _ => {
                    let mark = self.simple(part, Category::Ornament, node, spot);
                    part.marks[mark].reading = told(node).replace('-', " ");
                }
            }
        }
    }

    fn fermata(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let at = vec![element(node)];
        self.add(part, Sign::named(Category::Fermata, "fermata"), spot, at);
    }

    /// A group of grace notes, anchored to its main note.
    pub fn grace(&mut self, part: &mut Part, notes: &[NoteId], slashed: bool, spot: Spot) {
        let own: Vec<&Note> = notes.iter().map(|n| &part.notes[*n]).collect();
        let pitches: Vec<Pitch> = own.iter().filter_map(|n| n.pitch()).collect();
        let at: Vec<Element> = own.iter().map(|n| n.element).collect();
        let names: Vec<String> = pitches.iter().map(Pitch::to_string).collect();
        let slash = if slashed { " slashed" } else { "" };
        let reading = format!("{}{slash}", names.join(" "));
        let mark = self.add(part, Sign::new(Category::Grace, "grace", reading).meaning(slash.trim()), spot, at);
        part.marks[mark].pitches = pitches;
    }

    pub fn harmony(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let pitch = |of: &str, step: &str, alter: &str| {
            let holder = child(node, of)?;
            let letter = child_text(holder, step)?;
            let base = Pitch::parse(&format!("{letter}4"))?;
            let alter: f64 = child_text(holder, alter).and_then(|t| t.parse().ok()).unwrap_or(0.0);
            Some(Pitch { alter: (alter * 100.0).round() as i32, ..base })
        };
        let root = pitch("root", "root-step", "root-alter");
        let bass = pitch("bass", "bass-step", "bass-alter");
        let kind = child(node, "kind").map_or("", |k| k.attribute("text").unwrap_or(text_of(k)));
        let meaning = child_text(node, "kind").unwrap_or("").to_string();
        let numeral = child_text(node, "numeral").or(child_text(node, "function")).unwrap_or("");
        let mut reading = format!("{}{numeral} {kind}", root.map_or(String::new(), |p| p.name()));
        if let Some(bass) = bass {
            reading.push_str(&format!("/{}", bass.name()));
        }
        let at = vec![element(node)];
        let mark = self.add(part, Sign::new(Category::Harmony, "harmony", reading.trim()).meaning(meaning), spot, at);
        part.marks[mark].pitches = root.into_iter().chain(bass).collect();
    }

    pub fn figured_bass(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let figures: Vec<(String, bool)> = elements(node)
            .filter(|n| name(*n) == "figure")
            .map(|f| {
                let sign = child_text(f, "prefix").or(child_text(f, "suffix")).unwrap_or("");
                let number = child_text(f, "figure-number").unwrap_or("");
                (format!("{} {number}", short_accidental(sign)).trim().to_string(), !sign.is_empty())
            })
            .collect();
        let reading = figures.iter().map(|f| f.0.as_str()).collect::<Vec<_>>().join("/");
        // A sharp may become a natural in another key: only its presence counts.
        let meaning = elements(node)
            .filter(|n| name(*n) == "figure")
            .zip(&figures)
            .map(|(f, (_, signed))| {
                format!("{}{}", child_text(f, "figure-number").unwrap_or(""), if *signed { "*" } else { "" })
            })
            .collect::<Vec<_>>()
            .join("/");
        let sign = Sign::new(Category::Harmony, "figured-bass", reading).meaning(meaning);
        self.add(part, sign, spot, vec![element(node)]);
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

fn technical_reading(sign: Node<'_, '_>) -> String {
    let text = text_of(sign);
    if text.is_empty() { name(sign).to_string() } else { text.split_whitespace().collect::<Vec<_>>().join(" ") }
}

fn short_accidental(name: &str) -> &str {
    match name {
        "sharp" => "#",
        "flat" => "b",
        "natural" => "nat.",
        other => other,
    }
}

/// `quarter = 66`, `dotted quarter = 60`, `quarter = dotted quarter`.
fn metronome(node: Node<'_, '_>) -> String {
    let mut sides: Vec<String> = Vec::new();
    for item in elements(node) {
        match name(item) {
            "beat-unit" => sides.push(text_of(item).to_string()),
            "beat-unit-dot" => {
                if let Some(last) = sides.last_mut() {
                    *last = format!("dotted {last}");
                }
            }
            "per-minute" => sides.push(text_of(item).to_string()),
            "metronome-note" => sides.push(child_text(item, "metronome-type").unwrap_or("").to_string()),
            _ => {}
        }
    }
    sides.join(" = ")
}
