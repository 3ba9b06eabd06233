//! Laying marks on: copies of the source's, or new ones, each in its home.

use super::super::apart::{Look, touches};
use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::super::tree::{child, element};
use super::timed::{flanked, in_direction_type, join, sort_children};
use super::{Occupied, PartRewrite, Target};
use crate::score::{Anchor, Category, Element, Mark, NoteId, Part, Place, Sign};
use crate::time::Time;
use roxmltree::Node;
use rustc_hash::FxHashMap;

/// Where in a document an element of a mark lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Home {
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

fn home(node: Node<'_, '_>) -> Home {
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

impl<'a, 'i> PartRewrite<'_, 'a, 'i> {
    /// Notes which spans of the edition stay, so that new ones get other numbers.
    pub fn occupy(&mut self, mark: &Mark) {
        let (Some(from), Some(to)) = (self.place_of_edition(mark.at), mark.end.and_then(|e| self.place_of_edition(e)))
        else {
            return;
        };
        let tree = self.edits.tree();
        let nodes = mark.elements.iter().map(|e| tree.node(*e));
        if let Some(node) = nodes.into_iter().find(|n| facts(n.tag_name().name()).is_numbered()) {
            let number = node.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(1);
            self.spans.push(Occupied { name: node.tag_name().name().into(), number, from, to });
        }
    }

    /// Where a mark of the source would come to stand, and its end: bar of the
    /// edition and offset. `None` where the result lacks its note or its time.
    pub fn landing(&self, mark: &Mark) -> Option<(Place, Option<Place>)> {
        let source = self.source.filter(|_| self.has_place_for(mark))?;
        let borne = mark.elements.iter().any(|e| matches!(home(source.node(*e)), Home::Notation(_) | Home::Note));
        let land = |at: Anchor| match at.note.filter(|_| borne).and_then(|n| self.target_of_source(n)) {
            // Where the one ties what the other holds, the note may begin earlier.
            Some(Target::Kept(note)) => Some(self.part.notes[note].place()),
            _ => {
                let (row, offset) = self.place_of_source(at)?;
                Some(Place { bar: self.plan[row].edition()?, offset })
            }
        };
        Some((land(mark.at)?, mark.end.and_then(land)))
    }

    fn has_place_for(&self, mark: &Mark) -> bool {
        let Some(source) = self.source else { return false };
        let times = [Some(mark.at), mark.end].into_iter().flatten();
        let has_note = |note: NoteId| {
            let main = if mark.category == Category::Grace { source.part.main_note(note) } else { Some(note) };
            main.is_some_and(|n| self.target_of_source(n).is_some())
        };
        let is_there = |element: &Element| {
            let node = source.node(*element);
            let on_note = matches!(home(node), Home::Notation(_) | Home::Note | Home::Grace);
            let owner = node.ancestors().find_map(|n| self.source_owner.get(&super::super::tree::element(n)));
            !on_note || owner.is_some_and(|n| has_note(*n))
        };
        times.into_iter().all(|place| self.place_of_source(place).is_some()) && mark.elements.iter().all(is_there)
    }

    /// Lays a mark of the source on. False when its place is not in the result.
    pub fn lay_source_mark(&mut self, mark: &Mark, look: &Look) -> bool {
        let Some(source) = self.source else {
            return false;
        };
        let mut at = self.place_of_source(mark.at);
        // A signature stands at the bar's start, also where rests fill up the bar.
        if let Some((_, offset)) =
            at.as_mut().filter(|_| mark.category == Category::Signature && mark.at.offset.is_zero())
        {
            *offset = Time::zero();
        }
        let end = mark.end.and_then(|e| self.place_of_source(e));
        let nodes = mark.elements.iter().map(|e| source.node(*e)).collect();
        let owners = std::mem::take(&mut self.source_owner);
        let done = self.lay((nodes, true), &owners, (mark, look), at, end, |this, note| this.target_of_source(note));
        self.source_owner = owners;
        done
    }

    /// Lays on a repeat or an ending of the source that a part without counterpart follows.
    pub fn lay_barline(&mut self, mark: &Mark) {
        let Some(source) = self.frame() else { return };
        for id in &mark.elements {
            let place = if mark.end_elements.contains(id) { mark.end.unwrap_or(mark.at) } else { mark.at };
            let Some((row, mut offset)) = self.place_of_source(place) else { continue };
            let node = source.node(*id);
            if let Some(bar) = self.plan[row].edition().filter(|_| place.offset >= source.part.bars[place.bar].length) {
                // The bar may be longer here.
                offset = offset.max(self.part.bars[bar].length);
            }
            if home(node) == Home::Barline {
                self.add_to_barline(row, offset, Fragment::copy(node));
            }
        }
    }

    /// Lays a mark of the edition on again, in a bar that is rebuilt.
    pub fn lay_edition_mark(&mut self, mark: &Mark, look: &Look) -> bool {
        let tree = self.edits.tree();
        let at = self.place_of_edition(mark.at);
        let end = mark.end.and_then(|e| self.place_of_edition(e));
        let nodes = mark.elements.iter().map(|e| tree.node(*e)).collect();
        let owners = std::mem::take(&mut self.edition_owner);
        let done = self.lay((nodes, false), &owners, (mark, look), at, end, |this, note| this.target_of_edition(note));
        self.edition_owner = owners;
        done
    }

    fn lay(
        &mut self,
        (nodes, is_source): (Vec<Node>, bool),
        owners: &FxHashMap<Element, NoteId>,
        (mark, look): (&Mark, &Look),
        at: Option<(usize, Time)>,
        end: Option<(usize, Time)>,
        target: impl Fn(&Self, NoteId) -> Option<Target>,
    ) -> bool {
        if mark.category == Category::Grace {
            // Those of the edition are not composed anew.
            return is_source && self.lay_graces(owners, mark, look);
        }
        let Some(at) = at else { return false };
        let is_lost = |node: &Node| {
            let owner = node.ancestors().find_map(|n| owners.get(&element(n)).copied());
            matches!(home(*node), Home::Notation(_)) && owner.is_none_or(|n| target(self, n).is_none())
        };
        if mark.end.is_some() && nodes.iter().any(is_lost) {
            // No line begins or ends nowhere.
            return false;
        }
        let numbered = nodes.iter().find(|n| facts(n.tag_name().name()).is_numbered());
        // A start that was never ended must not take another's end, either.
        let numbered = numbered.filter(|n| end.is_some() || n.attribute("type") != Some("change"));
        let number = numbered.map(|n| self.free_number(n.tag_name().name(), at, end.unwrap_or(at)));
        let mut directions: Vec<(Element, usize, Time, Fragment)> = Vec::new();
        let mut last_type = None;
        let mut done = false;
        // From the pitch that the mark's document writes to the one it sounds at.
        let sounding = |this: &Self| match this.source.filter(|_| is_source) {
            Some(source) => source.part.bars[mark.at.bar].transpose,
            None => this.part.bars[mark.at.bar].transpose,
        };
        let writing = |this: &Self, row: usize| {
            if is_source { this.writing_interval(row) } else { this.transpose_at(row).inverse() }
        };
        if nodes.is_empty() && matches!(mark.sign, Sign::Key { .. }) {
            // No signature at all is one without accidentals.
            let none = Fragment::new("key").with(Fragment::leaf("fifths", 0));
            self.add_signature(at.0, at.1, mark, none, writing(self, at.0));
        }
        let touches = touches(mark, &nodes, look);
        for (node, touch) in nodes.into_iter().zip(touches) {
            let is_end = mark.end_elements.contains(&element(node));
            let goes_on = matches!(node.attribute("type"), Some("continue" | "discontinue" | "resume"));
            let middle = goes_on && !is_end && mark.end.is_some();
            if middle && facts(node.tag_name().name()).is_numbered() {
                continue;
            }
            let mut fragment = Fragment::copy(node);
            touch.apply(&mut fragment);
            if let Some(number) = number.filter(|_| facts(node.tag_name().name()).is_numbered()) {
                // A first span needs no number where it had none.
                if number > 1 || fragment.attributes.iter().any(|a| a.0 == "number") {
                    fragment.set_attribute("number", number);
                }
            }
            let Some((row, offset)) = (if is_end { end } else { Some(at) }) else {
                continue;
            };
            let owner = node.ancestors().find_map(|n| owners.get(&element(n)).copied());
            match (home(node), owner.and_then(|n| target(self, n))) {
                (Home::Notation(container), Some(target)) => {
                    for part in flanked(fragment, &touch) {
                        self.add_notation(target, container, part);
                    }
                    done = true;
                }
                (Home::Note, Some(target)) => {
                    let of_verse = is_source && mark.category == Category::Lyric;
                    let fragment = if of_verse { self.in_verse(fragment, mark) } else { fragment };
                    self.add_to_note(target, fragment);
                    done = true;
                }
                (Home::Direction, _) => {
                    let holder = node.ancestors().find(|n| n.tag_name().name() == "direction").expect("its home");
                    let phrase = last_type.replace(node.parent()) == Some(node.parent());
                    let kind = in_direction_type(node, flanked(fragment, &touch), &touch);
                    match directions.iter_mut().find(|d| d.0 == element(holder)) {
                        // Words of one phrase stay in one element.
                        Some((.., direction)) if phrase && direction.child("direction-type").is_some() => {
                            let last = direction.children.iter_mut().rfind(|c| c.name == "direction-type");
                            join(last.expect("seen above"), kind);
                        }
                        Some(direction) => {
                            direction.3.place(kind);
                        }
                        None => {
                            let direction = self.direction_shell(holder, row).with(kind);
                            directions.push((element(holder), row, offset, direction));
                        }
                    }
                    done = true;
                }
                (Home::Bar, _) => {
                    let writing = writing(self, row);
                    let by = sounding(self).plus(writing);
                    self.add_timed(row, offset, self.moved_harmony(fragment, mark, by, writing));
                    done = true;
                }
                (Home::Barline, _) => {
                    self.add_to_barline(row, offset, fragment);
                    done = true;
                }
                (Home::Attributes, _) if mark.category != Category::Signature => {
                    // Words among the attributes: an old form of a direction.
                    let words = Fragment { name: "words".into(), ..fragment };
                    let kind = Fragment::new("direction-type").with(words);
                    self.add_timed(row, offset, Fragment::new("direction").with(kind));
                    done = true;
                }
                (Home::Attributes, _) => {
                    self.add_signature(row, offset, mark, fragment, writing(self, row));
                    done = true;
                }
                _ => {}
            }
        }
        for (_, row, offset, mut direction) in directions {
            sort_children(&mut direction);
            self.add_timed(row, offset, direction);
        }
        done
    }

    /// A new mark that lives in a note's notations.
    pub fn add_notation(&mut self, target: Target, container: Option<&str>, fragment: Fragment) {
        let note = match target {
            Target::Composed(note) => {
                let Some(note) = self.composed.get_mut(&note) else {
                    return;
                };
                let notations = note.child_mut("notations");
                match container {
                    Some(name) => notations.child_mut(name).children.push(fragment),
                    None => notations.children.push(fragment),
                }
                return;
            }
            Target::Kept(note) => self.part.notes[note].element,
        };
        let tree = self.edits.tree();
        let node = tree.node(note);
        let Some(notations) = child(node, "notations") else {
            let wrapped = match container {
                Some(name) => {
                    if let Some(pending) = self.edits.pending(note, "notations") {
                        pending.child_mut(name).children.push(fragment);
                        return;
                    }
                    Fragment::new(name).with(fragment)
                }
                None => fragment,
            };
            match self.edits.pending(note, "notations") {
                Some(pending) => pending.children.push(wrapped),
                None => self.edits.add_child(note, Fragment::new("notations").with(wrapped)),
            }
            return;
        };
        let Some(name) = container else {
            return self.edits.add_child(element(notations), fragment);
        };
        let holders = node.children().filter(|n| n.tag_name().name() == "notations");
        if let Some(holder) = holders.flat_map(|n| n.children()).find(|n| n.tag_name().name() == name) {
            return self.edits.add_child(element(holder), fragment);
        }
        match self.edits.pending(element(notations), name) {
            Some(pending) => pending.children.push(fragment),
            None => self.edits.add_child(element(notations), Fragment::new(name).with(fragment)),
        }
    }

    fn add_to_note(&mut self, target: Target, fragment: Fragment) {
        if fragment.name == "accidental" {
            self.flagged.insert(target, fragment.attributes);
            return;
        }
        match target {
            Target::Kept(note) => self.edits.add_child(self.part.notes[note].element, fragment),
            Target::Composed(note) => {
                if let Some(note) = self.composed.get_mut(&note) {
                    note.place(fragment);
                }
            }
        }
    }

    /// The lowest number that no span of the same kind uses at that time.
    pub fn free_number(&mut self, name: &str, from: (usize, Time), to: (usize, Time)) -> u32 {
        let meets = |s: &&Occupied| s.name == name && s.from <= to && from <= s.to;
        let taken: Vec<u32> = self.spans.iter().filter(meets).map(|s| s.number).collect();
        let number = (1..=16).find(|n| !taken.contains(n)).unwrap_or(1);
        self.spans.push(Occupied { name: name.into(), number, from, to });
        number
    }

    pub fn part(&self) -> &'a Part {
        self.part
    }
}
