//! What holds in a bar until something else is said: divisions, signatures,
//! clefs and all else that attributes say.

use super::super::fragment::Fragment;
use super::super::tree::{child, child_text, elements};
use crate::score::{Element, Part};
use crate::time::{Time, parse_decimal};
use roxmltree::Node;

/// The attributes of a bar, and what holds around it.
pub(super) struct InForce<'a, 'i> {
    /// What the bars before it said.
    pub before: Vec<Node<'a, 'i>>,
    /// What holds for its first note.
    pub start: Vec<Node<'a, 'i>>,
    /// Its attributes, each with its time.
    pub attributes: Vec<(Node<'a, 'i>, Time)>,
}

impl<'a, 'i> InForce<'a, 'i> {
    /// What the bar says at its start under a name.
    pub fn declared(&self, name: &str) -> Vec<Node<'a, 'i>> {
        let leading = self.attributes.iter().filter(|(_, at)| at.is_zero());
        leading.flat_map(|(node, _)| elements(*node)).filter(|n| n.tag_name().name() == name).collect()
    }
}

/// What attributes say that holds on; words and remarks among them do not.
fn holds_on(item: Node<'_, '_>) -> bool {
    !["measure-style", "directive", "footnote", "level"].contains(&item.tag_name().name())
}

/// Bar by bar, what a part says in its attributes.
pub(super) fn in_force<'a, 'i: 'a>(part: &Part, node: impl Fn(Element) -> Node<'a, 'i>) -> Vec<InForce<'a, 'i>> {
    let mut held: Vec<Node> = Vec::new();
    let mut divisions = Time::from(1);
    let mut out = Vec::with_capacity(part.bars.len());
    for bar in &part.bars {
        let before = held.clone();
        let attributes = attributes_of(node(bar.element), &mut divisions);
        let (leading, late): (Vec<_>, Vec<_>) = attributes.iter().partition(|(_, at)| at.is_zero());
        let all = |attributes: Vec<&(Node<'a, 'i>, Time)>| -> Vec<Node<'a, 'i>> {
            attributes.into_iter().flat_map(|(node, _)| elements(*node)).filter(|n| holds_on(*n)).collect()
        };
        all(leading).into_iter().for_each(|item| put(&mut held, item));
        let start = held.clone();
        all(late).into_iter().for_each(|item| put(&mut held, item));
        out.push(InForce { before, start, attributes });
    }
    out
}

/// The attributes of a measure with their times.
fn attributes_of<'a, 'i>(measure: Node<'a, 'i>, divisions: &mut Time) -> Vec<(Node<'a, 'i>, Time)> {
    let is_attributes = |item: &Node| item.tag_name().name() == "attributes";
    // Most bars have none.
    if !elements(measure).any(|item| is_attributes(&item)) {
        return Vec::new();
    }
    times_of(measure, divisions).0.into_iter().filter(|(item, _)| is_attributes(item)).collect()
}

/// The elements of a measure, each with the time at which it stands, and the
/// time after the last.
pub(super) fn times_of<'a, 'i>(measure: Node<'a, 'i>, divisions: &mut Time) -> (Vec<(Node<'a, 'i>, Time)>, Time) {
    let mut at = Time::zero();
    let mut out = Vec::new();
    for item in elements(measure) {
        out.push((item, at));
        let length = || child_text(item, "duration").and_then(parse_decimal).unwrap_or_default() / *divisions;
        match item.tag_name().name() {
            "note" if child(item, "grace").is_none() && child(item, "chord").is_none() => at += length(),
            "forward" => at += length(),
            "backup" => at = (at - length()).max(Time::zero()),
            "attributes" => {
                let said = child_text(item, "divisions").and_then(parse_decimal);
                *divisions = said.filter(|d| *d > Time::zero()).unwrap_or(*divisions);
            }
            _ => {}
        }
    }
    (out, at)
}

/// What is said later takes the place of its like; said for no staff, of all.
fn put<'a, 'i>(held: &mut Vec<Node<'a, 'i>>, item: Node<'a, 'i>) {
    let number = item.attribute("number");
    held.retain(|old| {
        old.tag_name().name() != item.tag_name().name() || number.is_some() && old.attribute("number") != number
    });
    held.push(item);
}

/// Copies of what is held under a name.
pub(super) fn of_name(held: &[Node<'_, '_>], name: &str) -> Vec<Fragment> {
    held.iter().filter(|n| n.tag_name().name() == name).map(|n| Fragment::copy(*n)).collect()
}

/// What holds at a point of the result.
#[derive(Default)]
pub(super) struct State<'a, 'i> {
    pub held: Vec<Fragment>,
    /// What it was last settled by, where nothing was said since.
    settled: Option<Grounds<'a, 'i>>,
}

/// All that decides what holds in a bar that says nothing itself.
#[derive(PartialEq)]
pub(super) struct Grounds<'a, 'i> {
    /// What held there in the edition, and what holds in its source bar.
    pub own: Vec<Node<'a, 'i>>,
    pub theirs: Option<Vec<Node<'a, 'i>>>,
    pub fifths: i32,
    pub edition_fifths: i32,
    pub divisions: i64,
    pub edition_divisions: i64,
    pub goes_on: bool,
}

impl<'a, 'i> State<'a, 'i> {
    /// Whether a bar with these grounds and nothing to say holds the same as the one before it.
    pub fn is_settled_by(&self, grounds: &Grounds<'a, 'i>) -> bool {
        self.settled.as_ref() == Some(grounds)
    }

    pub fn settle_by(&mut self, grounds: Grounds<'a, 'i>) {
        self.settled = Some(grounds);
    }

    pub fn of(&self, name: &str) -> Vec<Fragment> {
        self.held.iter().filter(|f| f.name == name).cloned().collect()
    }

    pub fn set(&mut self, name: &str, to: Vec<Fragment>) {
        self.settled = None;
        self.held.retain(|f| f.name != name);
        self.held.extend(to);
    }

    /// Says one thing more.
    pub fn put(&mut self, item: Fragment) {
        self.settled = None;
        let number = item.attribute("number").map(str::to_string);
        self.held
            .retain(|old| old.name != item.name || number.is_some() && old.attribute("number") != number.as_deref());
        self.held.push(item);
    }

    pub fn divisions(&self) -> Option<i64> {
        self.held.iter().find(|f| f.name == "divisions").and_then(|f| f.text.trim().parse().ok())
    }
}

/// Whether two ways of saying a thing say the same, however they look. What all
/// staves have in common need not be said for each.
pub(super) fn say_the_same(one: &[Fragment], other: &[Fragment]) -> bool {
    let told = |items: &[Fragment]| -> Vec<(Option<String>, String)> {
        let mut told: Vec<(Option<String>, String)> =
            items.iter().map(|f| (f.attribute("number").map(str::to_string), meaning(f))).collect();
        told.sort();
        told.dedup();
        match told.first().map(|t| t.1.clone()) {
            Some(first) if told.iter().all(|t| t.1 == first) => vec![(None, first)],
            _ => told,
        }
    };
    told(one) == told(other)
}

/// Whether something that means the same is held for the same staff.
pub(super) fn has(held: &[Fragment], item: &Fragment) -> bool {
    held.iter().any(|old| {
        old.name == item.name && old.attribute("number") == item.attribute("number") && meaning(old) == meaning(item)
    })
}

/// What an element of attributes means; 4/4 is C, and a key's mode is no sign.
fn meaning(item: &Fragment) -> String {
    let of = |name: &str| -> Vec<String> {
        item.children.iter().filter(|c| c.name == name).map(|c| c.text.trim().to_string()).collect()
    };
    match item.name.as_str() {
        "key" if item.child("key-step").is_some() => of("key-step").join(" ") + &of("key-alter").join(" "),
        "key" => of("fifths").first().cloned().unwrap_or_else(|| "0".into()),
        "time" if item.child("senza-misura").is_some() => "senza misura".into(),
        "time" => {
            let beats = of("beats").into_iter().zip(of("beat-type"));
            beats.map(|(beats, kind)| format!("{beats}/{kind}")).collect::<Vec<_>>().join(" + ")
        }
        _ => whole(item),
    }
}

fn whole(item: &Fragment) -> String {
    let inner: Vec<String> = item.children.iter().map(whole).collect();
    format!("{}({}{})", item.name, item.text.trim(), inner.join(" "))
}

/// The same without the number of a staff.
pub(super) fn for_all_staves(item: &Fragment) -> Fragment {
    let mut out = item.clone();
    out.attributes.retain(|a| a.0 != "number");
    out
}

/// The attributes that stand before the notes of a measure.
pub(super) fn leading<'a, 'i>(measure: Node<'a, 'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    let music = |n: &Node| matches!(n.tag_name().name(), "note" | "backup" | "forward");
    elements(measure).take_while(move |n| !music(n)).filter(|n| n.tag_name().name() == "attributes")
}

/// The style of a measure's right barline.
pub(super) fn right_style<'a, 'i>(measure: Node<'a, 'i>) -> Option<Node<'a, 'i>> {
    let barlines = measure.children().filter(|n| n.tag_name().name() == "barline");
    let right = barlines.filter(|b| b.attribute("location").unwrap_or("right") == "right");
    right.filter_map(|b| child(b, "bar-style")).next_back()
}

/// Whether a signature's element has fifths, and which.
pub(super) fn fifths_of(key: &Fragment) -> Option<i32> {
    key.child("fifths").and_then(|f| f.text.trim().parse().ok())
}
