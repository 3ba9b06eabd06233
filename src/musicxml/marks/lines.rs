//! Marks from one place to another: their starts, middles and ends.

use super::says::content;
use super::{Collector, Spot};
use crate::musicxml::spans::{End, Kind, Role};
use crate::musicxml::tree::element;
use crate::score::sign::{Hairpin, HairpinKind, LineKind, OctaveLine, Pedal, StaffSide, Tremolo};
use crate::score::{Category, MarkId, Part, Sign};
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
        category: Category,
        sign: Sign,
        (kind, role): (Kind, Role),
        node: Node<'_, '_>,
        spot: Spot,
    ) {
        let mark = (role == Role::Start).then(|| self.add(part, category, sign, spot, vec![element(node)]));
        self.end(kind, role, node, spot, mark);
    }

    /// A line with a start and a stop, its name and what is written at it.
    pub(super) fn line(&mut self, part: &mut Part, category: Category, kind: LineKind, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(Kind::Line(kind), role, node, spot, None);
        }
        let text = match kind {
            // What is written at them only names them.
            LineKind::Slur | LineKind::Glissando | LineKind::Slide | LineKind::Bracket => String::new(),
            _ => content(node),
        };
        self.span(part, category, Sign::Line { kind, text }, (Kind::Line(kind), role), node, spot);
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
            to_nothing,
        });
    }

    pub(super) fn hairpin(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(Kind::Hairpin, role, node, spot, None);
        }
        let kind = match node.attribute("type") {
            Some("crescendo") => HairpinKind::Crescendo,
            Some("diminuendo") => HairpinKind::Diminuendo,
            other => HairpinKind::Other(other.unwrap_or("wedge").to_string()),
        };
        let from_nothing = kind == HairpinKind::Crescendo && node.attribute("niente") == Some("yes");
        let sign = Sign::Hairpin(Hairpin { kind, from_nothing, to_nothing: false });
        self.span(part, category, sign, (Kind::Hairpin, role), node, spot);
    }

    pub(super) fn octave_line(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let size = node.attribute("size").unwrap_or("8");
        if !matches!(size, "8" | "15" | "22") {
            self.warnings.push((
                spot.place.bar,
                format!("an octave line of size {size} is not whole octaves; it was read as it stands"),
            ));
        }
        let side = match node.attribute("type") {
            // `down` prints the notes lower than they sound.
            Some("down") => Some(StaffSide::Above),
            Some("up") => Some(StaffSide::Below),
            _ => None,
        };
        let sign = Sign::OctaveLine(OctaveLine { size: size.trim().parse().unwrap_or(OctaveLine::USUAL), side });
        self.span(part, category, sign, (Kind::OctaveLine, role_of(node)), node, spot);
    }

    /// A pedal that is changed goes on, but the change is a mark of its own.
    pub(super) fn pedal(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let (pedal, role) = match node.attribute("type") {
            Some("change") => return self.add_plain(part, category, Sign::Pedal(Pedal::Change), node, spot),
            Some("sostenuto") => (Pedal::Sostenuto, Role::Start),
            Some("stop") => (Pedal::Sustain, Role::Stop),
            Some("continue" | "resume") => (Pedal::Sustain, Role::Continue),
            Some("discontinue") => (Pedal::Sustain, Role::Pause),
            _ => (Pedal::Sustain, Role::Start),
        };
        self.span(part, category, Sign::Pedal(pedal), (Kind::Pedal, role), node, spot);
    }

    /// Dashes only draw out the words before them: one mark with those.
    pub(super) fn dashes(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(Kind::Line(LineKind::Dashes), role, node, spot, None);
        }
        match self.last_words.filter(|(time, staff, _)| *time == spot.order.0 && *staff == spot.staff) {
            Some((_, _, mark)) => {
                part.marks[mark].elements.push(element(node));
                self.end(Kind::Line(LineKind::Dashes), role, node, spot, Some(mark));
            }
            None => self.line(part, category, LineKind::Dashes, node, spot),
        }
    }

    /// A trill and its wavy line are one mark, whichever comes first.
    pub(super) fn wavy_line(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let role = role_of(node);
        if role != Role::Start {
            return self.end(Kind::Wavy, role, node, spot, None);
        }
        let mark = match self.trill_on_same_note(part, true, spot) {
            Some(trill) => {
                part.marks[trill].elements.push(element(node));
                trill
            }
            None => self.add(part, category, Sign::Trill { has_sign: false }, spot, vec![element(node)]),
        };
        self.end(Kind::Wavy, role, node, spot, Some(mark));
    }

    pub(super) fn trill(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        match self.trill_on_same_note(part, false, spot) {
            Some(line) => {
                part.marks[line].sign = Sign::Trill { has_sign: true };
                part.marks[line].elements.push(element(node));
            }
            None => self.add_plain(part, category, Sign::Trill { has_sign: true }, node, spot),
        }
    }

    /// A tremolo stands on one note, or between two.
    pub(super) fn tremolo(&mut self, part: &mut Part, category: Category, node: Node<'_, '_>, spot: Spot) {
        let strokes = content(node);
        let kind = match node.attribute("type") {
            Some("stop") => return self.end(Kind::Tremolo, Role::Stop, node, spot, None),
            Some("start") => Tremolo::BetweenTwo,
            Some("unmeasured") => Tremolo::Unmeasured,
            _ => Tremolo::OnOneNote,
        };
        let strokes = if kind == Tremolo::Unmeasured { String::new() } else { strokes };
        let sign = Sign::Tremolo { strokes, kind };
        match kind {
            Tremolo::BetweenTwo => self.span(part, category, sign, (Kind::Tremolo, Role::Start), node, spot),
            _ => self.add_plain(part, category, sign, node, spot),
        }
    }

    /// A trill that the same note has already, with a sign or by its line alone.
    fn trill_on_same_note(&self, part: &Part, has_sign: bool, spot: Spot) -> Option<MarkId> {
        spot.place.note?;
        let marks = part.marks.iter().enumerate().rev();
        marks
            .take_while(|(_, m)| m.at.bar == spot.place.bar)
            .find(|(_, m)| m.sign == Sign::Trill { has_sign } && m.at == spot.place)
            .map(|m| m.0)
    }
}
