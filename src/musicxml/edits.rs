//! What to take out of a document and put into it, as a patch on its text.

use super::elements::{Falls, facts, rank};
use super::fragment::{Fragment, Indentation, in_xml};
use super::tree::{Tree, element};
use crate::patch::Patch;
use crate::score::Element;
use roxmltree::Node;
use std::collections::{BTreeMap, BTreeSet};

/// Changes to one document, collected before any byte moves. An element that
/// gets a new child is never taken out as empty.
pub struct Edits<'a, 'i> {
    tree: &'a Tree<'i>,
    indentation: Indentation,
    gone: BTreeSet<Element>,
    children: BTreeMap<Element, Vec<Fragment>>,
    before: BTreeMap<Element, Vec<Fragment>>,
    after: BTreeMap<Element, Vec<Fragment>>,
    replaced: BTreeMap<Element, Fragment>,
    /// New values of attributes.
    attributes: BTreeMap<(Element, String), String>,
    /// What comes before and after the text of an element.
    around: BTreeMap<Element, [&'static str; 2]>,
}

impl<'a, 'i> Edits<'a, 'i> {
    pub fn new(tree: &'a Tree<'i>) -> Self {
        Edits {
            tree,
            indentation: indentation_of(tree.text()),
            gone: BTreeSet::new(),
            children: BTreeMap::new(),
            before: BTreeMap::new(),
            after: BTreeMap::new(),
            replaced: BTreeMap::new(),
            attributes: BTreeMap::new(),
            around: BTreeMap::new(),
        }
    }

    pub fn tree(&self) -> &'a Tree<'i> {
        self.tree
    }

    pub fn remove(&mut self, element: Element) {
        self.gone.insert(element);
    }

    pub fn is_removed(&self, element: Element) -> bool {
        self.gone.contains(&element)
    }

    /// A new child, placed as the schema asks.
    pub fn add_child(&mut self, parent: Element, child: Fragment) {
        self.children.entry(parent).or_default().push(child);
    }

    pub fn insert_before(&mut self, sibling: Element, fragment: Fragment) {
        self.before.entry(sibling).or_default().push(fragment);
    }

    pub fn insert_after(&mut self, sibling: Element, fragment: Fragment) {
        self.after.entry(sibling).or_default().push(fragment);
    }

    /// Another element in the place of one, even of one that was to go.
    pub fn replace(&mut self, element: Element, fragment: Fragment) {
        self.gone.remove(&element);
        self.replaced.insert(element, fragment);
    }

    pub fn set_attribute(&mut self, element: Element, name: &str, value: String) {
        self.attributes.insert((element, name.into()), value);
    }

    /// Brackets around the text of an element, or one at one end of it. They
    /// need no escaping.
    pub fn put_around(&mut self, element: Element, brackets: [&'static str; 2]) {
        self.around.insert(element, brackets);
    }

    /// New children that wait for an element; a container among them can still
    /// take more.
    pub fn pending(&mut self, parent: Element, name: &str) -> Option<&mut Fragment> {
        self.children.get_mut(&parent)?.iter_mut().find(|f| f.name == name)
    }

    pub fn is_empty(&self) -> bool {
        self.gone.is_empty()
            && self.children.is_empty()
            && self.before.is_empty()
            && self.after.is_empty()
            && self.replaced.is_empty()
            && self.attributes.is_empty()
            && self.around.is_empty()
    }

    /// The patch. Only the topmost of the elements that go is cut, so that no
    /// two cuts meet.
    pub fn finish(mut self) -> Patch {
        self.close_upward();
        for ((element, name), value) in &self.attributes {
            if let Some(fragment) = self.replaced.get_mut(element) {
                fragment.set_attribute(name, value);
            }
        }
        let mut patch = Patch::default();
        let text = self.tree.text();
        for (sibling, fragments) in &self.after {
            let node = self.tree.node(*sibling);
            for fragment in fragments {
                patch.insert(node.range().end, self.beside(node, fragment));
            }
        }
        for (sibling, fragments) in &self.before {
            let node = self.tree.node(*sibling);
            for fragment in fragments {
                patch.insert(start_with_space(text, node), self.beside(node, fragment));
            }
        }
        for (parent, fragments) in &self.children {
            if !self.inside_gone(*parent) {
                self.put_children(self.tree.node(*parent), fragments, &mut patch);
            }
        }
        for (element, fragment) in &self.replaced {
            if !self.inside_gone(*element) {
                let node = self.tree.node(*element);
                patch.replace(node.range(), fragment.render(&self.indentation, indent_of(text, node)));
            }
        }
        for ((element, name), value) in &self.attributes {
            if !self.inside_gone(*element) && !self.replaced.contains_key(element) {
                self.put_attribute(self.tree.node(*element), name, value, &mut patch);
            }
        }
        for (element, brackets) in &self.around {
            let node = self.tree.node(*element);
            if let Some((first, last)) = node.first_child().zip(node.last_child())
                && !self.inside_gone(*element)
            {
                let inner = first.range().start..last.range().end;
                let (blank, whole) = (text[inner.clone()].trim_start(), text[inner.clone()].trim_end());
                patch.insert(inner.end - blank.len(), brackets[0]);
                patch.insert(inner.start + whole.len(), brackets[1]);
            }
        }
        for element in &self.gone {
            let node = self.tree.node(*element);
            let topmost = node.parent().is_none_or(|p| !self.inside_gone(self::element(p)));
            if topmost {
                patch.cut(start_with_space(text, node)..node.range().end);
            }
        }
        patch
    }

    fn inside_gone(&self, of: Element) -> bool {
        self.tree.node(of).ancestors().any(|n| self.gone.contains(&element(n)))
    }

    /// An emptied holder goes, too; a direction goes with its last type.
    fn close_upward(&mut self) {
        let mut open: Vec<Element> = self.gone.iter().copied().collect();
        while let Some(next) = open.pop() {
            let Some(parent) = self.tree.node(next).parent().filter(|p| p.is_element()) else {
                continue;
            };
            let id = element(parent);
            if self.gone.contains(&id) || self.children.contains_key(&id) || self.replaced.contains_key(&id) {
                continue;
            }
            let stays = |n: &Node| n.is_element() && !self.gone.contains(&element(*n));
            let mut left = parent.children().filter(stays);
            let empty = match facts(parent.tag_name().name()).falls {
                Falls::Never => false,
                Falls::WithLastChild => left.next().is_none(),
                Falls::WithLast(name) => !left.any(|n| n.tag_name().name() == name),
            };
            if empty {
                self.gone.insert(id);
                open.push(id);
            }
        }
    }

    /// On a line of its own, unless its sibling stands among others on a line.
    fn beside(&self, sibling: Node<'_, '_>, fragment: &Fragment) -> String {
        let text = self.tree.text();
        let before = text[..sibling.range().start].trim_end_matches([' ', '\t']);
        if fragment.children.is_empty() && !before.ends_with(['\n', '\r']) {
            return fragment.render(&self.indentation, "");
        }
        self.line(fragment, indent_of(text, sibling))
    }

    fn line(&self, fragment: &Fragment, indent: &str) -> String {
        format!("{}{indent}{}", self.indentation.newline, fragment.render(&self.indentation, indent))
    }

    fn put_children(&self, parent: Node<'_, '_>, fragments: &[Fragment], patch: &mut Patch) {
        let text = self.tree.text();
        let name = parent.tag_name().name();
        let own = indent_of(text, parent);
        let indent = format!("{own}{}", self.indentation.unit);
        let elements: Vec<Node> = parent.children().filter(|n| n.is_element()).collect();
        if elements.is_empty() {
            // `<a/>` or `<a></a>`: written anew with its children.
            let mut whole = Fragment::shell_with_layout(parent);
            for fragment in fragments {
                whole.place(fragment.clone());
            }
            patch.replace(parent.range(), whole.render(&self.indentation, own));
            return;
        }
        // In the order of the schema, so that insertions at one place keep it.
        let mut sorted: Vec<&Fragment> = fragments.iter().collect();
        sorted.sort_by_key(|f| rank(name, &f.name));
        for fragment in sorted {
            let before = |n: &&Node| match rank(name, &fragment.name) {
                Some(own) => rank(name, n.tag_name().name()).is_some_and(|r| r <= own),
                None => true,
            };
            let at = match elements.iter().rev().find(before) {
                Some(sibling) => sibling.range().end,
                None => start_with_space(text, elements[0]),
            };
            patch.insert(at, self.line(fragment, &indent));
        }
    }

    fn put_attribute(&self, node: Node<'_, '_>, name: &str, value: &str, patch: &mut Patch) {
        match node.attribute_node(name) {
            Some(attribute) => patch.replace(attribute.range_value(), escape(value)),
            None => {
                let at = node.range().start + 1 + node.tag_name().name().len();
                patch.insert(at, format!(" {name}=\"{}\"", escape(value)));
            }
        }
    }
}

fn escape(value: &str) -> String {
    quick_xml::escape::escape(in_xml(value)).into_owned()
}

impl Fragment {
    /// The element without its children, its layout included.
    fn shell_with_layout(node: Node<'_, '_>) -> Fragment {
        let mut out = Fragment::new(node.tag_name().name());
        out.attributes = node.attributes().map(|a| (a.name().to_string(), a.value().to_string())).collect();
        out
    }
}

/// Where the white space before an element starts.
fn start_with_space(text: &str, node: Node<'_, '_>) -> usize {
    let start = node.range().start;
    text[..start].trim_end_matches([' ', '\t', '\r', '\n']).len()
}

/// The white space that an element's line starts with; empty when other text
/// comes before it on the line.
fn indent_of<'t>(text: &'t str, node: Node<'_, '_>) -> &'t str {
    // Back over the blanks alone: a line may be as long as the file.
    let before = &text[..node.range().start];
    let rest = before.trim_end_matches([' ', '\t']);
    if rest.is_empty() || rest.ends_with(['\n', '\r']) { &before[rest.len()..] } else { "" }
}

fn indentation_of(text: &str) -> Indentation {
    let newline = match text.find(['\n', '\r']) {
        _ if !text.contains("\n ") && !text.contains("\r ") && !text.contains("\n\t") && !text.contains("\r\t") => {
            // No indentation: a document with most tags on lines of their own
            // still gets line breaks.
            let breaks = text.bytes().filter(|b| *b == b'\n').count().max(text.bytes().filter(|b| *b == b'\r').count());
            let tags = text.bytes().filter(|b| *b == b'<').count();
            if breaks * 4 > tags { line_end(text) } else { "" }
        }
        Some(_) => line_end(text),
        None => "",
    };
    let unit = text
        .split(['\n', '\r'])
        .skip(1)
        .find(|l| l.starts_with([' ', '\t']) && l.trim_start().starts_with('<'))
        .map_or("", |l| &l[..l.len() - l.trim_start().len()]);
    Indentation { newline, unit: unit.to_string() }
}

fn line_end(text: &str) -> &'static str {
    // Most texts have no carriage return at all, which is quickly seen.
    if memchr::memchr(b'\r', text.as_bytes()).is_some() && text.contains("\r\n") {
        "\r\n"
    } else if text.contains('\n') {
        "\n"
    } else {
        "\r"
    }
}

#[cfg(test)]
mod tests {
    use super::super::Input;
    use super::*;

    const TEXT: &str = "<score-partwise>\n  <direction>\n    <direction-type>\n      <dynamics><p/></dynamics>\n    \
        </direction-type>\n  </direction>\n  <note>\n    <type>half</type>\n    <notations>\n      <articulations>\n        \
        <accent/>\n      </articulations>\n      <fermata/>\n    </notations>\n  </note>\n</score-partwise>";

    fn edited(change: impl Fn(&mut Edits, &dyn Fn(&str) -> Element)) -> String {
        let input = Input::from_bytes("x", TEXT.into()).unwrap();
        let tree = Tree::parse(&input).unwrap();
        let find = |name: &str| element(tree.root().descendants().find(|n| n.tag_name().name() == name).unwrap());
        let mut edits = Edits::new(&tree);
        change(&mut edits, &find);
        edits.finish().apply(TEXT).unwrap()
    }

    #[test]
    fn emptied_holders_go_and_others_stay() {
        let text = edited(|edits, find| {
            edits.remove(find("p"));
            edits.remove(find("accent"));
        });
        assert_eq!(
            text,
            "<score-partwise>\n  <note>\n    <type>half</type>\n    <notations>\n      <fermata/>\n    </notations>\n  \
             </note>\n</score-partwise>"
        );
    }

    #[test]
    fn brackets_come_around_signs_and_texts() {
        let text = edited(|edits, find| {
            for name in ["p", "accent"] {
                edits.insert_before(find(name), Fragment::leaf("l", "["));
                edits.insert_after(find(name), Fragment::leaf("r", "]"));
            }
            edits.put_around(find("type"), ["(", ")"]);
        });
        assert!(text.contains("<dynamics><l>[</l><p/><r>]</r></dynamics>"), "{text}");
        assert!(text.contains("\n        <l>[</l>\n        <accent/>\n        <r>]</r>\n"), "{text}");
        assert!(text.contains("<type>(half)</type>"), "{text}");
    }

    #[test]
    fn an_attribute_of_what_is_replaced_comes_into_the_new_one() {
        let text = edited(|edits, find| {
            edits.set_attribute(find("type"), "size", "cue".into());
            edits.replace(find("type"), Fragment::leaf("type", "whole"));
        });
        assert!(text.contains("<type size=\"cue\">whole</type>"), "{text}");
    }

    #[test]
    fn a_holder_that_gets_something_new_stays() {
        let text = edited(|edits, find| {
            edits.remove(find("accent"));
            edits.add_child(find("articulations"), Fragment::new("staccato"));
            edits.add_child(find("note"), Fragment::new("dot"));
        });
        assert!(text.contains("<articulations>\n        <staccato/>\n      </articulations>"), "{text}");
        assert!(text.contains("<type>half</type>\n    <dot/>\n    <notations>"), "{text}");
    }
}
