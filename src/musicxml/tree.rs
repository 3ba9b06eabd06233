//! The parsed document of an input, and the way back from elements to nodes.

use super::error::Error;
use super::guard;
use super::open::Input;
use crate::score::Element;
use crate::time::{Time, parse_decimal};
use roxmltree::{Document, Node, NodeId, ParsingOptions, TextPos};

/// A well-formed MusicXML document whose root is a score.
#[derive(Debug)]
pub struct Tree<'i> {
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

    pub fn root(&self) -> Node<'_, 'i> {
        self.doc.root_element()
    }

    pub fn node(&self, element: Element) -> Node<'_, 'i> {
        self.doc.get_node(NodeId::new(element.0)).expect("elements come from this document")
    }

    pub fn is_timewise(&self) -> bool {
        self.root().tag_name().name() == "score-timewise"
    }

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

/// A document that may have a document type; else the byte and the reason.
pub(super) fn parse(text: &str) -> Result<Document<'_>, (usize, String)> {
    let options = ParsingOptions { allow_dtd: true, ..Default::default() };
    Document::parse_with_options(text, options).map_err(|error| {
        if is_cut_off(text, &error) {
            return (text.trim_end().len(), CUT_OFF.to_string());
        }
        let message = match error {
            roxmltree::Error::NoRootNode => "there is no element in it, so it is not MusicXML".to_string(),
            _ => error.to_string(),
        };
        // The parser ends its messages with the place, counted in its own way.
        let reason = message.rfind(" at ").map_or(message.as_str(), |at| &message[..at]);
        (byte_of(text, error.pos()), reason.to_string())
    })
}

const CUT_OFF: &str = "the file ends in the middle; it seems to be cut off: download it or save it again";

/// Whether the text ends before what it began is closed.
fn is_cut_off(text: &str, error: &roxmltree::Error) -> bool {
    use roxmltree::Error::{UnclosedRootNode, UnexpectedEndOfStream};
    let at_end = || byte_of(text, error.pos()) >= text.trim_end().len();
    match error {
        UnclosedRootNode | UnexpectedEndOfStream => text.contains('<'),
        _ if !text.contains("<score-") => text.starts_with("<?xml") && at_end(),
        _ => at_end() || !text.contains("</score-partwise") && !text.contains("</score-timewise"),
    }
}

/// The byte of a place as the parser counts it: lines end with a line feed.
fn byte_of(text: &str, at: TextPos) -> usize {
    let before: usize = text.split_inclusive('\n').take(at.row as usize - 1).map(str::len).sum();
    let line = &text[before..];
    before + line.char_indices().nth(at.col as usize - 1).map_or(line.len(), |(byte, _)| byte)
}

/// Line and column of a byte, both 1-based; a line ends as it does in editors,
/// with CR, LF or both.
fn place(text: &str, at: usize) -> (u32, u32) {
    let (mut line, mut start) = (1, 0);
    let bytes = text.as_bytes();
    for (index, byte) in bytes[..at].iter().enumerate() {
        if *byte == b'\n' || (*byte == b'\r' && bytes.get(index + 1) != Some(&b'\n')) {
            line += 1;
            start = index + 1;
        }
    }
    (line, text[start..at].chars().count() as u32 + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_lines_as_editors_do() {
        for end in ["\n", "\r", "\r\n"] {
            let text = format!("<a>{end}\u{e9}{end}  <b></a>");
            let at = text.find("<b").unwrap();
            assert_eq!(place(&text, at), (3, 3), "{end:?}");
            let (byte, reason) = parse(&text).unwrap_err();
            assert_eq!((place(&text, byte), reason.as_str()), ((3, 6), "expected 'b' tag, not 'a'"), "{end:?}");
        }
    }
}
