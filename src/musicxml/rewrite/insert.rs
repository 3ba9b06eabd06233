//! Inserting marks: copies of the source's or of the edition's, each in its home.

use super::super::apart::{Look, Touch, touches};
use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::super::tree::element;
use super::Target;
use super::compose::Composer;
use super::context::Context;
use super::draft::Draft;
use super::frame::Frame;
use super::respell::Respeller;
use super::spans::{At, SpanNumbers};
use super::timed::{Timed, direction_shell, flanked, in_direction_type, join, sort_children};
use crate::pitch::Interval;
use crate::score::{Category, Element, Mark, Sign};
use roxmltree::Node;

/// Where in a document an element of a mark lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Home {
    /// In a note's notations, there perhaps in a container.
    Notation(Option<&'static str>),
    /// Beside a note's notations.
    Note,
    Direction,
    Barline,
    Attributes,
    /// Among the notes of a bar.
    Bar,
    /// It is a note itself.
    Grace,
}

pub(super) fn home(node: Node<'_, '_>) -> Home {
    let parent = node.parent().map_or("", |p| p.tag_name().name());
    let above = node.parent().and_then(|p| p.parent()).map_or("", |p| p.tag_name().name());
    match (parent, above) {
        ("articulations", _) => Home::Notation(Some("articulations")),
        ("ornaments", _) => Home::Notation(Some("ornaments")),
        ("technical", _) => Home::Notation(Some("technical")),
        ("dynamics", "notations") => Home::Notation(Some("dynamics")),
        ("notations", _) => Home::Notation(None),
        ("dynamics", _) | ("direction-type", _) => Home::Direction,
        ("barline", _) => Home::Barline,
        ("attributes", _) => Home::Attributes,
        ("note", _) => Home::Note,
        _ if node.tag_name().name() == "note" => Home::Grace,
        _ => Home::Bar,
    }
}

/// Inserts marks into a part whose own marks are settled. It has all that is written of the part so far, and what waits.
pub struct Inserter<'p, 'a, 'i> {
    pub(super) context: &'p Context<'p, 'a, 'i>,
    pub(super) composer: Composer<'p, 'a, 'i>,
    pub(super) draft: Draft<'p, 'a, 'i>,
    pub(super) respeller: Respeller<'p, 'a, 'i>,
    pub(super) timed: Timed<'p, 'a, 'i>,
    pub(super) frame: Frame<'p, 'a, 'i>,
    pub(super) numbers: SpanNumbers,
}

/// Of which document a mark is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Edition,
    Source,
}

/// A mark that comes in, and where.
struct Insertion<'m> {
    side: Side,
    mark: &'m Mark,
    at: At,
    end: Option<At>,
    /// The number that keeps it apart from other spans.
    number: Option<u32>,
}

/// The directions that a mark's elements stand in, by the old ones.
#[derive(Default)]
struct Directions<'a, 'i> {
    all: Vec<(Element, At, Fragment)>,
    /// What the last element stood in.
    last_type: Option<Node<'a, 'i>>,
}

impl<'a, 'i> Inserter<'_, 'a, 'i> {
    /// Inserts marks of the source, in their order, but grace notes first: other marks may stand
    /// on them. What has no place in the result is left out.
    pub fn insert_source_marks(&mut self, marks: &[(&Mark, Look)]) {
        let (graces, others): (Vec<_>, Vec<_>) = marks.iter().partition(|(mark, _)| mark.category == Category::Grace);
        graces.into_iter().for_each(|(mark, look)| self.draft.insert_graces(&self.composer, mark, look));
        others.into_iter().for_each(|(mark, look)| self.insert_source_mark(mark, look));
    }

    fn insert_source_mark(&mut self, mark: &Mark, look: &Look) {
        let Some(source) = self.context.source else { return };
        let Some(mut at) = self.context.place_of_source(mark.at) else { return };
        // A signature stands at the bar's start, also where rests fill up the bar.
        if mark.category == Category::Signature && mark.at.offset.is_zero() {
            at.1 = mark.at.offset;
        }
        let end = mark.end.and_then(|e| self.context.place_of_source(e));
        let nodes = mark.elements.iter().map(|e| source.node(*e)).collect();
        self.insert(Insertion { side: Side::Source, mark, at, end, number: None }, nodes, look);
    }

    /// Inserts a mark of the edition again, in a bar that is rebuilt. False when its place is not
    /// in the result.
    pub fn insert_edition_mark(&mut self, mark: &Mark, look: &Look) -> bool {
        // Grace notes of the edition are not composed anew.
        let Some(at) = self.context.place_of_edition(mark.at).filter(|_| mark.category != Category::Grace) else {
            return false;
        };
        let end = mark.end.and_then(|e| self.context.place_of_edition(e));
        let nodes = mark.elements.iter().map(|e| self.context.tree.node(*e)).collect();
        self.insert(Insertion { side: Side::Edition, mark, at, end, number: None }, nodes, look)
    }

    /// Inserts a repeat or an ending of the source that a part without counterpart follows.
    pub fn insert_barline(&mut self, mark: &Mark) {
        let Some(source) = self.context.frame() else { return };
        for id in &mark.elements {
            let place = if mark.end_elements.contains(id) { mark.end.unwrap_or(mark.at) } else { mark.at };
            let Some((row, mut offset)) = self.context.place_of_source(place) else { continue };
            let node = source.node(*id);
            let at_end = place.offset >= source.part.bars[place.bar].length;
            if let Some(bar) = self.context.plan[row].edition().filter(|_| at_end) {
                // The bar may be longer here.
                offset = offset.max(self.context.part.bars[bar].length);
            }
            if home(node) == Home::Barline {
                self.add_to_barline((row, offset), Fragment::copy(node));
            }
        }
    }

    fn insert(&mut self, mut of: Insertion, nodes: Vec<Node<'a, 'i>>, look: &Look) -> bool {
        let Insertion { mark, at, end, .. } = of;
        let is_lost = |node: &Node| matches!(home(*node), Home::Notation(_)) && self.target(of.side, *node).is_none();
        if mark.end.is_some() && nodes.iter().any(is_lost) {
            // No line begins or ends nowhere.
            return false;
        }
        let numbered = nodes.iter().find(|n| facts(n.tag_name().name()).is_numbered());
        // A start that was never ended must not take another's end, either.
        let numbered = numbered.filter(|n| end.is_some() || n.attribute("type") != Some("change"));
        of.number = numbered.map(|n| self.numbers.free(n.tag_name().name(), at, end.unwrap_or(at)));
        if nodes.is_empty() && matches!(mark.sign, Sign::Key { .. }) {
            // No signature at all is one without accidentals.
            let none = Fragment::new("key").with(Fragment::leaf("fifths", 0));
            let by = self.writing(of.side, at.0);
            self.frame.add_signature(&mut self.timed, at, mark, none, by);
        }
        let touches = touches(mark, &nodes, look);
        let mut directions = Directions::default();
        let mut done = false;
        for (node, touch) in nodes.into_iter().zip(touches) {
            done |= self.insert_element(&of, node, &touch, &mut directions);
        }
        for (_, (row, offset), mut direction) in directions.all {
            sort_children(&mut direction);
            self.timed.add(row, offset, direction);
        }
        done
    }

    /// Inserts one element of a mark; whether it found its home.
    fn insert_element(
        &mut self,
        of: &Insertion,
        node: Node<'a, 'i>,
        touch: &Touch,
        directions: &mut Directions<'a, 'i>,
    ) -> bool {
        let Insertion { side, mark, at, end, number } = *of;
        let is_numbered = facts(node.tag_name().name()).is_numbered();
        let is_end = mark.end_elements.contains(&element(node));
        let goes_on = matches!(node.attribute("type"), Some("continue" | "discontinue" | "resume"));
        if is_numbered && goes_on && !is_end && mark.end.is_some() {
            return false;
        }
        let mut fragment = Fragment::copy(node);
        touch.apply(&mut fragment);
        if let Some(number) = number.filter(|_| is_numbered) {
            // A first span needs no number where it had none.
            if number > 1 || fragment.attributes.iter().any(|a| a.0 == "number") {
                fragment.set_attribute("number", number);
            }
        }
        let Some(at) = (if is_end { end } else { Some(at) }) else { return false };
        match (home(node), self.target(side, node)) {
            (Home::Notation(container), Some(target)) => {
                for part in flanked(fragment, touch) {
                    self.draft.add_notation(target, container, part);
                }
            }
            (Home::Note, Some(target)) if fragment.name == "accidental" => {
                self.respeller.styled.insert(target, fragment.attributes);
            }
            (Home::Note, Some(target)) => {
                let of_verse = side == Side::Source && mark.category == Category::Lyric;
                let fragment = if of_verse { self.context.in_verse(fragment, mark) } else { fragment };
                self.draft.add_to_note(target, fragment);
            }
            (Home::Direction, _) => {
                let kind = in_direction_type(node, flanked(fragment, touch), touch);
                directions.add(self.context, node, at, kind);
            }
            (Home::Bar, _) => {
                let writing = self.writing(side, at.0);
                let by = self.sounding(side, mark).plus(writing);
                self.timed.add(at.0, at.1, self.context.moved_harmony(fragment, mark, by, writing));
            }
            (Home::Barline, _) => self.add_to_barline(at, fragment),
            (Home::Attributes, _) if mark.category != Category::Signature => {
                // Words among the attributes: an old form of a direction.
                let words = Fragment { name: "words".into(), ..fragment };
                let kind = Fragment::new("direction-type").with(words);
                self.timed.add(at.0, at.1, Fragment::new("direction").with(kind));
            }
            (Home::Attributes, _) => {
                let by = self.writing(side, at.0);
                self.frame.add_signature(&mut self.timed, at, mark, fragment, by);
            }
            _ => return false,
        }
        true
    }

    fn add_to_barline(&mut self, at: At, fragment: Fragment) {
        self.frame.add_to_barline(self.draft.edits, &mut self.timed, at, fragment);
    }

    /// The note of the result for the one that an element of a side stands in.
    fn target(&self, side: Side, node: Node<'_, '_>) -> Option<Target> {
        match side {
            Side::Edition => self.draft.target_of_edition(self.context.edition_owner(node)?),
            Side::Source => self.draft.target_of_source(self.context.source_owner(node)?),
        }
    }

    /// From the pitch that a mark's document writes to the one it sounds at.
    fn sounding(&self, side: Side, mark: &Mark) -> Interval {
        let source = self.context.source.filter(|_| side == Side::Source);
        source.map_or(self.context.part.part(), |s| s.part.part()).bars[mark.at.bar].transpose
    }

    /// From the pitch at which a mark's document sounds to what a row writes.
    fn writing(&self, side: Side, row: usize) -> Interval {
        match side {
            Side::Source => self.context.writing_interval(row),
            Side::Edition => self.context.transpose_at(row).inverse(),
        }
    }
}

impl<'a, 'i> Directions<'a, 'i> {
    /// What a direction says: beside what it said before in the same one.
    fn add(&mut self, context: &Context, node: Node<'a, 'i>, at: At, kind: Fragment) {
        let holder = node.ancestors().find(|n| n.tag_name().name() == "direction").expect("its home");
        let phrase = self.last_type.is_some() && self.last_type == node.parent();
        self.last_type = node.parent();
        match self.all.iter_mut().find(|d| d.0 == element(holder)) {
            // Words of one phrase stay in one element.
            Some((.., direction)) if phrase && direction.child("direction-type").is_some() => {
                let last = direction.children.iter_mut().rfind(|c| c.name == "direction-type");
                join(last.expect("seen above"), kind);
            }
            Some((.., direction)) => {
                direction.place(kind);
            }
            None => self.all.push((element(holder), at, direction_shell(context, holder).with(kind))),
        }
    }
}
