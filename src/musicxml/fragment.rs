//! New elements: small trees that are written out and spliced into a text.

use super::elements::rank;
use super::tree::text_of;
use quick_xml::Writer;
use quick_xml::events::{BytesEnd, BytesStart, BytesText, Event};
use roxmltree::Node;
use std::borrow::Cow;

/// An element of our own making, or a copy of one without its layout.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fragment {
    pub name: String,
    pub attributes: Vec<(String, String)>,
    pub children: Vec<Fragment>,
    pub text: String,
}

/// How the document is laid out, so that new lines look like old ones.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Indentation {
    /// Empty in a document without line breaks.
    pub newline: &'static str,
    pub unit: String,
}

/// Positions and curves fit one engraving only; ids must not come twice.
const LAYOUT: [&str; 15] = [
    "default-x",
    "default-y",
    "relative-x",
    "relative-y",
    "bezier-x",
    "bezier-y",
    "bezier-x2",
    "bezier-y2",
    "bezier-offset",
    "bezier-offset2",
    "id",
    "dynamics",
    "end-dynamics",
    "attack",
    "release",
];

/// The text with spaces in the place of what no XML document can hold: the name of a file or of an instrument may have it.
pub fn in_xml(text: &str) -> Cow<'_, str> {
    if text.chars().all(is_xml) { text.into() } else { text.replace(|c| !is_xml(c), " ").into() }
}

/// Whether an XML document can hold a character.
pub fn is_xml(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | ' '..='\u{fffd}' | '\u{10000}'..)
}

impl Fragment {
    pub fn new(name: &str) -> Fragment {
        Fragment { name: name.into(), attributes: vec![], children: vec![], text: String::new() }
    }

    pub fn leaf(name: &str, text: impl ToString) -> Fragment {
        Fragment { text: text.to_string(), ..Fragment::new(name) }
    }

    pub fn with(mut self, child: Fragment) -> Fragment {
        self.children.push(child);
        self
    }

    pub fn with_some(mut self, child: Option<Fragment>) -> Fragment {
        self.children.extend(child);
        self
    }

    pub fn set(mut self, name: &str, value: impl ToString) -> Fragment {
        self.set_attribute(name, value);
        self
    }

    pub fn set_attribute(&mut self, name: &str, value: impl ToString) {
        let value = value.to_string();
        match self.attributes.iter_mut().find(|a| a.0 == name) {
            Some(attribute) => attribute.1 = value,
            None => self.attributes.push((name.into(), value)),
        }
    }

    /// The element without its children, and without its layout.
    pub fn shell(node: Node<'_, '_>) -> Fragment {
        let mut out = Fragment::new(node.tag_name().name());
        for attribute in node.attributes().filter(|a| !LAYOUT.contains(&a.name())) {
            let name = match attribute.namespace() {
                Some("http://www.w3.org/XML/1998/namespace") => format!("xml:{}", attribute.name()),
                Some(_) => continue,
                None => attribute.name().to_string(),
            };
            out.attributes.push((name, attribute.value().to_string()));
        }
        out
    }

    /// The whole element without its layout.
    pub fn copy(node: Node<'_, '_>) -> Fragment {
        let mut out = Fragment::shell(node);
        out.children = node.children().filter(|n| n.is_element()).map(Fragment::copy).collect();
        out.text = Fragment::own_text(node);
        out
    }

    /// The text of an element. Beside other elements it is no MusicXML, but it is read.
    pub fn own_text(node: Node<'_, '_>) -> String {
        match node.children().any(|n| n.is_element()) {
            true => text_of(node).to_string(),
            false => node.children().filter(|n| n.is_text()).filter_map(|n| n.text()).collect(),
        }
    }

    pub fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|a| a.0 == name).map(|a| a.1.as_str())
    }

    pub fn child(&self, name: &str) -> Option<&Fragment> {
        self.children.iter().find(|c| c.name == name)
    }

    /// The child of a name, made in its place if it is missing.
    pub fn child_mut(&mut self, name: &str) -> &mut Fragment {
        let at = match self.children.iter().position(|c| c.name == name) {
            Some(at) => at,
            None => self.place(Fragment::new(name)),
        };
        &mut self.children[at]
    }

    /// Puts a child where the schema wants it, after its equals.
    pub fn place(&mut self, child: Fragment) -> usize {
        let at = match rank(&self.name, &child.name) {
            Some(own) => {
                let before = |c: &Fragment| rank(&self.name, &c.name).is_some_and(|r| r <= own);
                self.children.iter().rposition(before).map_or(0, |p| p + 1)
            }
            None => self.children.len(),
        };
        self.children.insert(at, child);
        at
    }

    pub fn remove(&mut self, name: &str) {
        self.children.retain(|c| c.name != name);
    }

    /// The text of the element; lines after the first start with `indent`.
    pub fn render(&self, indentation: &Indentation, indent: &str) -> String {
        let mut writer = Writer::new(Vec::new());
        self.write(&mut writer, indentation, indent).expect("writing to memory does not fail");
        String::from_utf8(writer.into_inner()).expect("only text was written")
    }

    fn write(&self, writer: &mut Writer<Vec<u8>>, indentation: &Indentation, indent: &str) -> std::io::Result<()> {
        let mut start = BytesStart::new(self.name.as_str());
        for (name, value) in &self.attributes {
            start.push_attribute((name.as_str(), &*in_xml(value)));
        }
        if self.children.is_empty() && self.text.is_empty() {
            return writer.write_event(Event::Empty(start));
        }
        writer.write_event(Event::Start(start))?;
        if !self.text.is_empty() {
            writer.write_event(Event::Text(BytesText::new(&in_xml(&self.text))))?;
        }
        if !self.children.is_empty() {
            let inner = format!("{indent}{}", indentation.unit);
            let line = |writer: &mut Writer<Vec<u8>>, indent: &str| {
                if indentation.newline.is_empty() {
                    return Ok(());
                }
                writer.write_event(Event::Text(BytesText::from_escaped(format!("{}{indent}", indentation.newline))))
            };
            for child in &self.children {
                line(writer, &inner)?;
                child.write(writer, indentation, &inner)?;
            }
            line(writer, indent)?;
        }
        writer.write_event(Event::End(BytesEnd::new(self.name.as_str())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn children_are_placed_as_the_schema_asks() {
        let mut note = Fragment::new("note").with(Fragment::leaf("duration", 4)).with(Fragment::leaf("type", "half"));
        note.place(Fragment::leaf("voice", 1));
        note.place(Fragment::new("chord"));
        note.place(Fragment::new("dot"));
        let names: Vec<&str> = note.children.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["chord", "duration", "voice", "type", "dot"]);
    }

    #[test]
    fn what_no_document_can_hold_is_a_space() {
        let odd = "a\u{1}b\u{1b}c\u{fffe}d\u{ffff}e\tf\u{fffd}\u{10000}";
        let made = Fragment::leaf("words", odd).set("id", odd);
        let text = made.render(&Indentation { newline: "\n", unit: " ".into() }, "");
        let doc = roxmltree::Document::parse(&text).unwrap();
        assert_eq!(doc.root_element().text(), Some("a b c d e\tf\u{fffd}\u{10000}"));
    }

    #[test]
    fn text_is_escaped_and_layout_left_behind() {
        let doc = roxmltree::Document::parse("<words default-x='3' id='a' xml:lang='it'>p &amp; f</words>").unwrap();
        let indentation = Indentation { newline: "\n", unit: "  ".into() };
        let copy = Fragment::new("a").with(Fragment::copy(doc.root_element()));
        assert_eq!(copy.render(&indentation, ""), "<a>\n  <words xml:lang=\"it\">p &amp; f</words>\n</a>");
    }
}
