//! The parsed document of an input, and the way back from elements to nodes.

use super::error::Error;
use super::open::Input;
use crate::score::Element;
use roxmltree::{Document, Node, NodeId, ParsingOptions};

/// A well-formed MusicXML document whose root is a score.
#[derive(Debug)]
pub struct Tree<'i> {
    pub input: &'i Input,
    doc: Document<'i>,
}

impl<'i> Tree<'i> {
    /// Parses the text of an input and checks that it is a score.
    pub fn parse(input: &'i Input) -> Result<Tree<'i>, Error> {
        refuse_entities(input)?;
        let options = ParsingOptions { allow_dtd: true, ..Default::default() };
        let doc = Document::parse_with_options(&input.text, options).map_err(|error| {
            let at = error.pos();
            let reason = format!("the XML is not well formed: {}", without_position(&error.to_string()));
            Error::Syntax { file: input.file.clone(), line: at.row, column: at.col, reason }
        })?;
        let tree = Tree { input, doc };
        let root = tree.root();
        match root.tag_name().name() {
            "score-partwise" | "score-timewise" => Ok(tree),
            "opus" => Err(tree.not_musicxml(root, "an opus only lists scores; give one of them")),
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
        let at = self.doc.text_pos_at(node.range().start);
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
        Error::Content { file, line: at.row, column: at.col, path: path[1..].join(", "), reason: reason.into() }
    }

    fn not_musicxml(&self, node: Node<'_, '_>, reason: &str) -> Error {
        let at = self.doc.text_pos_at(node.range().start);
        Error::NotMusicXml { file: self.input.file.clone(), line: at.row, column: at.col, reason: reason.into() }
    }
}

/// The element of a node.
pub fn element(node: Node<'_, '_>) -> Element {
    Element(node.id().get())
}

/// The first child element of a name.
pub fn child<'a, 'i>(node: Node<'a, 'i>, name: &str) -> Option<Node<'a, 'i>> {
    node.children().find(|n| n.is_element() && n.tag_name().name() == name)
}

/// The trimmed text of the first child element of a name.
pub fn child_text<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    child(node, name).map(text_of)
}

pub fn text_of<'a>(node: Node<'a, '_>) -> &'a str {
    node.text().unwrap_or("").trim()
}

/// No real score declares entities, and nested ones grow without bound.
fn refuse_entities(input: &Input) -> Result<(), Error> {
    let Some(at) = input.text.find("<!ENTITY") else {
        return Ok(());
    };
    let before = &input.text[..at];
    let line = before.matches('\n').count() as u32 + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() as u32 + 1;
    let reason = "the document declares an entity of its own, which no score needs; remove it".into();
    Err(Error::Syntax { file: input.file.clone(), line, column, reason })
}

/// roxmltree ends its messages with the place, which we say in our own way.
fn without_position(message: &str) -> &str {
    message.rfind(" at ").map_or(message, |at| &message[..at])
}
