//! Marks from one place to another: their starts, middles and ends.

use super::says::content;
use super::{Collector, Sign, Spot, called, name};
use crate::musicxml::elements::own_name;
use crate::musicxml::spans::{End, Kind, Role};
use crate::musicxml::tree::element;
use crate::score::{Category, MarkId, Part, Wording};
use roxmltree::Node;

fn role_of(node: Node<'_, '_>) -> Role {
    match node.attribute("type") {
        Some("stop") => Role::Stop,
        Some("continue") => Role::Continue,
        _ => Role::Start,
    }
}

impl Collector {
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

    /// A line with a start and a stop, its name and what is written at it.
    pub(super) fn line(&mut self, part: &mut Part, category: Category, kind: Kind, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(kind, role, node, spot, None);
        }
        let said = match kind {
            // What is written at them only names them.
            Kind::Slur | Kind::Glissando | Kind::Slide | Kind::Bracket => String::new(),
            _ => content(node),
        };
        let own = own_name(name(node));
        let called = called(category, &own);
        let says = if said.is_empty() { called } else { format!("{called} {said}").trim().to_string().into() };
        let sign = Sign::new(category, own, says);
        self.span(part, sign, (kind, role), node, spot);
    }

    pub(super) fn end(&mut self, kind: Kind, role: Role, node: Node<'_, '_>, spot: Spot, mark: Option<MarkId>) {
        let to_nothing = kind == Kind::Hairpin && role == Role::Stop && node.attribute("niente") == Some("yes");
        self.ends.push(End {
            kind,
            number: match node.attribute("number") {
                None | Some("1") => "1".into(),
                Some("2") => "2".into(),
                Some(other) => other.to_string().into(),
            },
            role,
            place: spot.place,
            order: spot.order,
            voice: spot.voice,
            staff: spot.staff,
            element: element(node),
            mark,
            adds: to_nothing.then_some(" to nothing"),
        });
    }

    pub(super) fn hairpin(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(Kind::Hairpin, role, node, spot, None);
        }
        let says: Wording = match node.attribute("type") {
            Some("crescendo") => "crescendo".into(),
            Some("diminuendo") => "diminuendo".into(),
            Some(other) => other.to_string().into(),
            None => "wedge".into(),
        };
        let from_nothing = says == "crescendo" && node.attribute("niente") == Some("yes");
        let reading = if from_nothing { "crescendo from nothing".into() } else { says.clone() };
        self.span(part, Sign::new(category, says, reading), (Kind::Hairpin, role), node, spot);
    }

    pub(super) fn octave_line(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let size = node.attribute("size").unwrap_or("8");
        if !matches!(size, "8" | "15" | "22") {
            self.odd.push((
                spot.place.bar,
                format!("an octave line of size {size} is not whole octaves; it was read as it stands"),
            ));
        }
        let says = match node.attribute("type") {
            // `down` prints the notes lower than they sound.
            Some("down") => format!("{size} above"),
            Some("up") => format!("{size} below"),
            _ => String::new(),
        };
        self.span(part, Sign::named(category, says), (Kind::OctaveLine, role_of(node)), node, spot);
    }

    /// A pedal that is changed goes on, but the change is a mark of its own.
    pub(super) fn pedal(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let (says, role) = match node.attribute("type") {
            Some("stop") => ("", Role::Stop),
            Some("continue" | "resume") => ("", Role::Continue),
            Some("discontinue") => ("", Role::Pause),
            Some("change") => {
                self.add(part, Sign::named(category, "pedal change"), spot, vec![element(node)]);
                return;
            }
            Some("sostenuto") => ("sostenuto pedal", Role::Start),
            _ => ("pedal", Role::Start),
        };
        self.span(part, Sign::named(category, says), (Kind::Pedal, role), node, spot);
    }

    /// Dashes only draw out the words before them: one mark with those.
    pub(super) fn dashes(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(Kind::Dashes, role, node, spot, None);
        }
        match self.last_words.filter(|(time, staff, _)| *time == spot.order.0 && *staff == spot.staff) {
            Some((_, _, mark)) => {
                part.marks[mark].elements.push(element(node));
                self.end(Kind::Dashes, role, node, spot, Some(mark));
            }
            None => self.line(part, category, Kind::Dashes, node, spot),
        }
    }

    /// A trill and its wavy line are one mark, whichever comes first.
    pub(super) fn wavy_line(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(Kind::Wavy, role, node, spot, None);
        }
        let mark = match self.on_same_note(part, "trill-mark", spot) {
            Some(trill) => {
                part.marks[trill].elements.push(element(node));
                trill
            }
            None => {
                let sign = Sign::new(category, "wavy-line", "trill").meaning("trill-mark");
                self.add(part, sign, spot, vec![element(node)])
            }
        };
        self.end(Kind::Wavy, role, node, spot, Some(mark));
    }

    pub(super) fn trill(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        match self.on_same_note(part, "wavy-line", spot) {
            Some(line) => {
                part.marks[line].kind = "trill-mark".into();
                part.marks[line].elements.push(element(node));
            }
            None => {
                let sign = Sign::new(category, "trill-mark", "trill").meaning("trill-mark");
                self.add(part, sign, spot, vec![element(node)]);
            }
        }
    }

    /// A tremolo stands on one note, or between two.
    pub(super) fn tremolo(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let strokes = content(node);
        let says = match node.attribute("type") {
            Some("start") => format!("tremolo {strokes} with the next note"),
            Some("unmeasured") => "unmeasured tremolo".into(),
            Some("stop") => return self.end(Kind::Tremolo, Role::Stop, node, spot, None),
            _ => format!("tremolo {strokes}").trim().to_string(),
        };
        let sign = Sign::new(category, "tremolo", says);
        if node.attribute("type") == Some("start") {
            self.span(part, sign, (Kind::Tremolo, Role::Start), node, spot);
        } else {
            self.add(part, sign, spot, vec![element(node)]);
        }
    }

    /// A mark of a kind that the same note carries already.
    fn on_same_note(&self, part: &Part, kind: &str, spot: Spot) -> Option<MarkId> {
        spot.place.note?;
        let marks = part.marks.iter().enumerate().rev();
        marks
            .take_while(|(_, m)| m.at.bar == spot.place.bar)
            .find(|(_, m)| m.kind == kind && m.at == spot.place)
            .map(|m| m.0)
    }
}
