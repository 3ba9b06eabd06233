//! Which parts a document has, with their names and the elements of their bars,
//! whether it goes part by part or bar by bar.

use crate::musicxml::Error;
use crate::musicxml::tree::{Tree, child_text, one_line};
use roxmltree::Node;
use std::collections::HashMap;

/// An orchestra with a choir has about 60.
const MOST_PARTS: usize = 250;
/// Bytes of the name or the id of a part, or of the number of a bar: reports tell them with each finding.
const LONGEST_NAME: usize = 250;

/// Refuses a name that is longer than any.
pub(super) fn check_name(tree: &Tree, node: Node, what: &str, name: &str) -> Result<(), Error> {
    match name.len() > LONGEST_NAME {
        true => Err(tree.content_error(node, format!("{what} of more than {LONGEST_NAME} bytes; no score has one"))),
        false => Ok(()),
    }
}

/// One bar of one part: the element that has its number, and the one that
/// holds its music. They differ in a timewise score.
pub(super) struct BarNode<'a, 'i> {
    pub measure: Node<'a, 'i>,
    pub content: Node<'a, 'i>,
}

pub(super) struct PartNode<'a, 'i> {
    pub id: String,
    pub name: String,
    pub bars: Vec<BarNode<'a, 'i>>,
}

/// The parts in the order of their music; warnings name no bar.
pub(super) fn parts<'a, 'i>(tree: &'a Tree<'i>, warnings: &mut Vec<String>) -> Result<Vec<PartNode<'a, 'i>>, Error> {
    let list = PartList::new(tree, warnings)?;
    let mut out = Parts { tree, list, parts: Vec::new(), places: HashMap::new() };
    if tree.is_timewise() {
        for measure in children(tree.root(), "measure") {
            for (place, part) in children(measure, "part").enumerate() {
                let at = out.place(part, place, warnings)?;
                let bars = &mut out.parts[at].bars;
                if bars.last().is_some_and(|last| last.measure == measure) {
                    let id = &out.parts[at].id;
                    return Err(tree.content_error(part, format!("the part {id} appears twice in this bar")));
                }
                bars.push(BarNode { measure, content: part });
            }
        }
    } else {
        for (place, part) in children(tree.root(), "part").enumerate() {
            let known = out.parts.len();
            let at = out.place(part, place, warnings)?;
            if at < known {
                return Err(tree.content_error(part, format!("two parts have the id {}", out.parts[at].id)));
            }
            out.parts[at].bars = children(part, "measure").map(|m| BarNode { measure: m, content: m }).collect();
        }
    }
    Ok(out.parts)
}

fn children<'a, 'i>(node: Node<'a, 'i>, name: &'static str) -> impl Iterator<Item = Node<'a, 'i>> {
    node.children().filter(move |n| n.is_element() && n.tag_name().name() == name)
}

/// What the part list says: the ids in its order, and their names.
struct PartList<'a> {
    ids: Vec<&'a str>,
    names: HashMap<&'a str, String>,
}

impl<'a> PartList<'a> {
    fn new(tree: &'a Tree<'_>, warnings: &mut Vec<String>) -> Result<PartList<'a>, Error> {
        let mut list = PartList { ids: Vec::new(), names: HashMap::new() };
        for part in tree.root().children().filter(|n| n.tag_name().name() == "part-list").flat_map(|l| l.descendants())
        {
            let Some(id) = part.attribute("id").filter(|_| part.tag_name().name() == "score-part") else { continue };
            let name = one_line(child_text(part, "part-name").unwrap_or(""));
            check_name(tree, part, "the name of a part", &name)?;
            list.ids.push(id);
            if list.names.contains_key(id) {
                warnings.push(format!("the part list names {id} twice; the first name was used"));
                continue;
            }
            list.names.insert(id, name);
        }
        Ok(list)
    }
}

struct Parts<'a, 'i> {
    tree: &'a Tree<'i>,
    list: PartList<'a>,
    parts: Vec<PartNode<'a, 'i>>,
    places: HashMap<String, usize>,
}

impl<'a, 'i> Parts<'a, 'i> {
    /// The place of the part that an element belongs to, a new one if need be.
    fn place(&mut self, node: Node<'a, 'i>, place: usize, warnings: &mut Vec<String>) -> Result<usize, Error> {
        let given = node.attribute("id");
        let id = match given {
            Some(id) => id.to_string(),
            // The schema wants an id; without one the order tells.
            None => self.list.ids.get(place).map_or_else(|| format!("part {}", place + 1), |id| id.to_string()),
        };
        if let Some(at) = self.places.get(&id) {
            return Ok(*at);
        }
        if given.is_none() {
            warnings.push(format!(
                "part {} of the music has no id; it was read as {id}, in the order of the part list",
                place + 1
            ));
        }
        if given.is_some() && !self.list.names.contains_key(id.as_str()) {
            warnings.push(format!("part {id} is not in the part list; it was read as a part without a name"));
        }
        check_name(self.tree, node, "the id of a part", &id)?;
        if self.parts.len() == MOST_PARTS {
            return Err(self.tree.content_error(node, format!("more than {MOST_PARTS} parts; no score has as many")));
        }
        let name = self.list.names.get(id.as_str()).cloned().unwrap_or_default();
        self.places.insert(id.clone(), self.parts.len());
        self.parts.push(PartNode { id, name, bars: Vec::new() });
        Ok(self.parts.len() - 1)
    }
}
