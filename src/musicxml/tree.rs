//! The parsed document of an input, and the way back from elements to nodes.

use super::error::Error;
use super::guard;
use super::open::Input;
use super::parse::{CUT_OFF, parse, place};
use crate::score::Element;
use crate::time::{Time, Value, parse_decimal};
use roxmltree::{Document, Node, NodeId};

/// A well-formed MusicXML document whose root is a score.
#[derive(Debug)]
pub struct Tree<'i> {
    /// What it was parsed from.
    pub input: &'i Input,
    doc: Document<'i>,
}

impl<'i> Tree<'i> {
    /// Parses the text of an input and checks that it is a score.
    pub fn parse(input: &'i Input) -> Result<Tree<'i>, Error> {
        let refuse = |at, reason| {
            let (line, column) = place(&input.text, at);
            Error::Syntax { file: input.file.clone(), line, column, reason }
        };
        guard::check_score(&input.text).map_err(|fault| refuse(fault.at, fault.reason))?;
        let doc = parse(&input.text).map_err(|(at, reason)| match reason == CUT_OFF {
            true => refuse(at, reason),
            false => refuse(at, format!("the XML is not well formed: {reason}")),
        })?;
        guard::check_depth(&doc).map_err(|fault| refuse(fault.at, fault.reason))?;
        let tree = Tree { input, doc };
        let root = tree.root();
        match root.tag_name().name() {
            "score-partwise" | "score-timewise" => Ok(tree),
            "opus" => Err(tree.not_musicxml(root, "an opus only lists scores; give one of these scores")),
            other => Err(tree.not_musicxml(root, &format!("the outermost element is <{other}>, not a score"))),
        }
    }

    pub(crate) fn root(&self) -> Node<'_, 'i> {
        self.doc.root_element()
    }

    pub(crate) fn node(&self, element: Element) -> Node<'_, 'i> {
        self.doc.get_node(NodeId::new(element.0)).expect("elements come from this document")
    }

    pub(crate) fn is_timewise(&self) -> bool {
        self.root().tag_name().name() == "score-timewise"
    }

    /// The text that it was parsed from.
    pub fn text(&self) -> &'i str {
        &self.input.text
    }

    /// An error about the content of an element, with its place and path.
    pub fn content_error(&self, node: Node<'_, '_>, reason: impl Into<String>) -> Error {
        let (line, column) = place(self.text(), node.range().start);
        let mut path: Vec<String> = node
            .ancestors()
            .filter(|n| n.is_element())
            .map(|n| match n.attribute("number").or(n.attribute("id")) {
                Some(name) => format!("{} {}", n.tag_name().name(), name),
                None => n.tag_name().name().to_string(),
            })
            .collect();
        path.reverse();
        let file = self.input.file.clone();
        Error::Content { file, line, column, path: path[1..].join(", "), reason: reason.into() }
    }

    fn not_musicxml(&self, node: Node<'_, '_>, reason: &str) -> Error {
        let (line, column) = place(self.text(), node.range().start);
        Error::NotMusicXml { file: self.input.file.clone(), line, column, reason: reason.into() }
    }
}

/// The element of a node.
pub fn element(node: Node<'_, '_>) -> Element {
    Element(node.id().get())
}

/// The child elements, in order.
pub fn elements<'a, 'i>(node: Node<'a, 'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    std::iter::successors(node.first_child(), Node::next_sibling).filter(Node::is_element)
}

/// The first child element of a name.
pub fn child<'a, 'i>(node: Node<'a, 'i>, name: &str) -> Option<Node<'a, 'i>> {
    elements(node).find(|n| n.tag_name().name() == name)
}

/// The trimmed text of the first child element of a name.
pub fn child_text<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    child(node, name).map(text_of)
}

/// The trimmed text of an element; a comment may stand before or after it.
pub fn text_of<'a>(node: Node<'a, '_>) -> &'a str {
    // Nearly always there is but one text, without a space at its ends.
    if let Some(text) = node.text()
        && text.bytes().next().is_some_and(|first| first.is_ascii_graphic())
        && text.bytes().next_back().is_some_and(|last| last.is_ascii_graphic())
    {
        return text;
    }
    let texts = node.children().filter(|n| n.is_text()).filter_map(|n| n.text());
    texts.map(str::trim).find(|t| !t.is_empty()).unwrap_or("")
}

/// Words with single spaces.
pub fn one_line(text: &str) -> String {
    if text.bytes().all(|b| b.is_ascii_graphic()) {
        return text.to_string();
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// An alteration in semitones, as hundredths of one; at most four semitones.
pub fn alteration(text: &str) -> Option<i32> {
    let cents = (parse_decimal(text)? * Time::from(100)).round().to_integer();
    (cents.abs() <= 400).then_some(cents as i32)
}

/// From a maxima on, each half of the one before.
const TYPES: [&str; 14] = [
    "maxima", "long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th",
    "1024th",
];

/// How long a note value is, by the name of its type, in quarter notes.
pub fn length_of_type(name: &str) -> Option<Time> {
    TYPES.iter().position(|t| *t == name).map(|place| Time::new(32, 1 << place))
}

/// The name of a value's type.
pub fn type_of(value: Value) -> &'static str {
    // A breve is the third.
    TYPES[value.place + 2]
}
