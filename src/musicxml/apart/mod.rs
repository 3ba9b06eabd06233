//! How a mark is set apart from the source's: what changes in its elements.

mod manner;

pub use manner::{Manner, manners_of};

use super::elements::{Enclosed, Lettering, facts};
use super::fragment::Fragment;
use super::marks::{Pair, flanks, is_flank};
use super::tree::{child, elements, text_of};
use super::words;
use crate::score::{Mark, Sign};
use manner::{Kind, Means, means};
use roxmltree::Node;

/// The size of small type, in points.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Points {
    pub words: f64,
    pub fingerings: f64,
    pub signs: f64,
}

/// Large type against small.
const LARGE: f64 = 1.75;

/// Red, green and blue, a byte each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Color(pub u32);

impl std::fmt::Display for Color {
    /// As MusicXML writes it.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "#{:06X}", self.0)
    }
}

/// How a mark or a note is to look; the default leaves all as it is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Look {
    pub manners: Vec<Manner>,
    /// Of the manners only the first holds that an element can be shown in.
    pub only_first: bool,
    pub points: Points,
    /// `#RRGGBB`.
    pub color: Option<Color>,
    /// The shape of noteheads, in place of parentheses around them.
    pub head: Option<&'static str>,
}

impl Look {
    pub fn is_plain(&self) -> bool {
        self.manners.is_empty() && self.color.is_none() && self.head.is_none()
    }

    /// The kind of line that a curve of this look has.
    pub fn line(&self) -> Option<&'static str> {
        self.manners.iter().find_map(|m| match m {
            Manner::Dashed => Some("dashed"),
            Manner::Dotted => Some("dotted"),
            Manner::Wavy => Some("wavy"),
            _ => None,
        })
    }
}

type Attributes = Vec<(&'static str, String)>;

/// What changes in one element.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Touch {
    pub own: Attributes,
    /// Of the `dynamics` that holds it.
    pub of_holder: Attributes,
    /// Of the children of a name: syllables, noteheads.
    pub below: Option<(&'static str, Attributes)>,
    /// The shape of a notehead where there is none.
    pub head: Option<&'static str>,
    /// Around its text.
    pub around: Option<[&'static str; 2]>,
    /// Before and after it.
    pub flanks: Option<[Fragment; 2]>,
    /// Whether it is unlike others without its colour.
    pub is_shaped: bool,
}

/// Whether a mark is set apart already; the size of its type does not count,
/// for there is no size that all scores begin with.
pub fn is_apart(nodes: &[Node<'_, '_>]) -> bool {
    let yes = |node: Node<'_, '_>, names: &[&str]| names.iter().any(|n| node.attribute(*n) == Some("yes"));
    let of = |node: &Node<'_, '_>| match facts(name(*node)).look.enclosed {
        Enclosed::By(attributes) => yes(*node, attributes),
        _ if name(*node) == "note" => child(*node, "notehead").is_some_and(|head| yes(head, &["parentheses"])),
        _ => matches!(node.attribute("line-type"), Some("dashed" | "dotted")) || flanks(*node).is_some(),
    };
    let phrase: Vec<&Node> = nodes.iter().filter(|n| matches!(name(**n), "words" | "directive")).collect();
    let in_pair = |first: &Node<'_, '_>, last: &Node<'_, '_>| {
        let [starts, ends] = [text_of(*first), text_of(*last)];
        Pair::ALL.iter().any(|p| starts.starts_with(p.texts()[0]) && ends.ends_with(p.texts()[1]))
    };
    phrase.first().zip(phrase.last()).is_some_and(|(first, last)| in_pair(first, last)) || nodes.iter().any(of)
}

/// What changes in each element of a mark; `nodes` are all of them, in order.
pub fn touches(mark: &Mark, nodes: &[Node<'_, '_>], look: &Look) -> Vec<Touch> {
    let apart = is_apart(nodes);
    let phrase: Vec<usize> =
        (0..nodes.len()).filter(|n| matches!(name(nodes[*n]), "words" | "symbol" | "directive")).collect();
    let ends = phrase.first().zip(phrase.last()).filter(|(first, last)| {
        // With brackets the words must still mean what they meant.
        let Sign::Words { printed, term } = &mark.sign else { return false };
        let (category, meaning) = words::classify(&format!("[{printed}]"));
        category == mark.category && meaning == *term && [**first, **last].iter().all(|n| name(nodes[*n]) != "symbol")
    });
    let touch = |(index, node): (usize, &Node<'_, '_>)| {
        let at = ends.map(|(first, last)| [*first == index, *last == index]);
        if is_flank(*node) {
            Touch { own: colored(*node, look), ..Touch::default() }
        } else {
            touch(*node, look, apart, at)
        }
    };
    nodes.iter().enumerate().map(touch).collect()
}

/// What changes in a note.
pub fn touch_of_note(node: Node<'_, '_>, look: &Look) -> Touch {
    let color: Attributes = look.color.map(|c| ("color", c.to_string())).into_iter().collect();
    let mut of_head = color.clone();
    let enclosed = look.head.is_none() && look.manners.iter().any(|m| m.kind() == Kind::Enclosed);
    if enclosed {
        of_head.push(("parentheses", "yes".into()));
    }
    let shown = child(node, "rest").is_none() && !of_head.is_empty();
    Touch {
        own: color,
        below: shown.then_some(("notehead", of_head)),
        head: look.head,
        is_shaped: enclosed || look.head.is_some(),
        ..Touch::default()
    }
}

/// `ends`: whether the element is the first and the last of words that can
/// stand in brackets.
fn touch(node: Node<'_, '_>, look: &Look, apart: bool, ends: Option<[bool; 2]>) -> Touch {
    if name(node) == "note" {
        let mut look = look.clone();
        look.manners.retain(|m| !apart || m.kind() != Kind::Enclosed);
        return touch_of_note(node, &look);
    }
    let (of, own) = (holder(node), name(node));
    let mut out = Touch { own: colored(node, look), ..Touch::default() };
    let carrier = match own {
        "lyric" => Some(Carrier::Text),
        // The signs of one `dynamics` have their type and colour in common.
        _ if of == "dynamics" => node.parent().filter(|p| stands_alone(*p)).map(|_| Carrier::Holder),
        _ => Some(Carrier::Own),
    };
    if let Some((carrier, color)) = carrier.zip(look.color).filter(|(c, _)| *c != Carrier::Own) {
        out.add(carrier, "color", color.to_string());
    }
    let goes_on = matches!(node.attribute("type"), Some("stop" | "continue" | "discontinue" | "resume"));
    let mut kinds = Vec::new();
    for manner in look.manners.iter().copied() {
        let kind = manner.kind();
        let drawn = matches!(kind, Kind::Line | Kind::Enclosed);
        if kinds.contains(&kind) || drawn && apart || look.only_first && !kinds.is_empty() {
            continue;
        }
        if drawn && goes_on {
            // It is said where the mark starts.
            kinds.extend(means(of, own, manner).map(|_| kind));
            continue;
        }
        match (means(of, own, manner), carrier) {
            (Some(Means::Around(pair)), _) => {
                let Some(at) = ends else { continue };
                let [left, right] = pair.texts();
                out.around =
                    at.contains(&true).then_some([if at[0] { left } else { "" }, if at[1] { right } else { "" }]);
            }
            (Some(Means::Flanks(flank, pair)), _) => out.flanks = Some(flanking(flank, pair, node, look)),
            (Some(Means::Attribute(name, value)), Some(carrier)) => out.add(carrier, name, value.into()),
            (Some(Means::Size), Some(carrier)) => {
                let size = size(own, manner, look.points);
                let at = match carrier {
                    Carrier::Own => Some(node),
                    Carrier::Holder => node.parent(),
                    Carrier::Text => child(node, "text"),
                };
                if !at.and_then(|n| n.attribute("font-size")).is_some_and(|old| fits(old, manner, size)) {
                    out.add(carrier, "font-size", size.to_string());
                }
            }
            _ => continue,
        }
        kinds.push(kind);
        out.is_shaped = true;
    }
    out
}

/// What has the attributes of a mark's type and colour.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Carrier {
    /// The element itself.
    Own,
    /// The `dynamics` around it.
    Holder,
    /// The `text` of a syllable.
    Text,
}

/// Whether a `dynamics` holds but one sign.
fn stands_alone(dynamics: Node<'_, '_>) -> bool {
    elements(dynamics).filter(|n| !is_flank(*n)).nth(1).is_none()
}

fn flanking(flank: &str, pair: Pair, node: Node<'_, '_>, look: &Look) -> [Fragment; 2] {
    [0, 1].map(|side| {
        let mut out = Fragment::leaf(flank, pair.texts()[side]);
        if let Some(glyphs) = pair.glyphs() {
            out.set_attribute("smufl", glyphs[side]);
        }
        if flank != "other-dynamics" {
            // On the same side of the staff as the sign.
            if let Some(placement) = node.attribute("placement") {
                out.set_attribute("placement", placement);
            }
            if let Some(color) = look.color {
                out.set_attribute("color", color);
            }
        }
        out
    })
}

fn size(own: &str, manner: Manner, points: Points) -> f64 {
    let small = match facts(own).look.lettering {
        Lettering::Fingering => points.fingerings,
        Lettering::Words => points.words,
        _ => points.signs,
    };
    if manner == Manner::Large { small * LARGE } else { small }
}

/// Whether type is as small or as large as it is to be.
fn fits(old: &str, manner: Manner, wanted: f64) -> bool {
    let large = manner == Manner::Large;
    match old.trim() {
        "xx-small" | "x-small" | "small" => !large,
        size => size.parse::<f64>().is_ok_and(|size| if large { size >= wanted } else { size <= wanted }),
    }
}

fn colored(node: Node<'_, '_>, look: &Look) -> Attributes {
    let color = look.color.filter(|_| holder(node) != "dynamics" && facts(name(node)).look.colored);
    color.map(|c| ("color", c.to_string())).into_iter().collect()
}

impl Touch {
    fn add(&mut self, carrier: Carrier, name: &'static str, value: String) {
        let all = match carrier {
            Carrier::Own => &mut self.own,
            Carrier::Holder => &mut self.of_holder,
            Carrier::Text => &mut self.below.get_or_insert_with(|| ("text", Vec::new())).1,
        };
        all.push((name, value));
    }

    /// Changes a copy of the element; what stands beside it is not part of it.
    pub fn apply(&self, fragment: &mut Fragment) {
        let set = |fragment: &mut Fragment, all: &Attributes| {
            all.iter().for_each(|(name, value)| fragment.set_attribute(name, value));
        };
        set(fragment, &self.own);
        if let Some((name, attributes)) = &self.below {
            if *name == "notehead" && fragment.child(name).is_none() {
                fragment.place(self.notehead());
            }
            fragment.children.iter_mut().filter(|c| c.name == *name).for_each(|c| set(c, attributes));
        }
        if let Some([left, right]) = self.around {
            let text = fragment.text.trim();
            fragment.text = fragment.text.replacen(text, &format!("{left}{text}{right}"), 1);
        }
    }

    /// A notehead for a note that has none.
    pub fn notehead(&self) -> Fragment {
        let mut out = Fragment::leaf("notehead", self.head.unwrap_or("normal"));
        for (name, value) in self.below.iter().flat_map(|b| &b.1) {
            out.set_attribute(name, value);
        }
        out
    }
}

fn name<'a>(node: Node<'a, '_>) -> &'a str {
    node.tag_name().name()
}

fn holder<'a>(node: Node<'a, '_>) -> &'a str {
    node.parent().map_or("", name)
}
