//! Words and dynamics know their part: where two parts meet, what stands under one is none of the other's.

use super::document::is;
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// What begins the class that tells a part, before the number of its first staff.
const OF: &str = "of-";
const WORDS: [&str; 3] = ["dir", "dynam", "tempo"];

/// The document with words and dynamics that tell their part; `None` if it is none.
pub fn told(mei: &str) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let staves: Vec<Node<'_, '_>> = document.descendants().filter(|n| is(*n, "staffDef")).collect();
    let owner = |number: &str| {
        let own = staves.iter().find(|staff| staff.attribute("n") == Some(number))?;
        let braced = own.ancestors().find(|n| is(*n, "staffGrp") && is_braced(*n)).unwrap_or(*own);
        braced.descendants().find(|n| is(*n, "staffDef"))?.attribute("n")
    };
    let mut patch = Patch::default();
    let marks = document.descendants().filter(|n| WORDS.iter().any(|name| is(*n, name)));
    for mark in marks {
        let Some(part) = mark.attribute("staff").and_then(|s| owner(s.split(' ').next()?)) else { continue };
        match mark.attribute_node("type") {
            Some(old) => patch.replace(old.range_value(), format!("{} {OF}{part}", old.value())),
            None => {
                let at = mark.range().start + 1 + mark.tag_name().name().len();
                patch.insert(at, format!(" type=\"{OF}{part}\""));
            }
        }
    }
    patch.apply(mei).ok()
}

fn is_braced(group: Node<'_, '_>) -> bool {
    let symbol = group.children().find(|n| is(*n, "grpSym")).and_then(|n| n.attribute("symbol"));
    symbol.or(group.attribute("symbol")) == Some("brace")
}

/// The class of what is drawn that tells its part.
pub fn part_of<'a>(drawn: Node<'a, '_>) -> Option<&'a str> {
    drawn.attribute("class")?.split(' ').find(|class| class.starts_with(OF))
}

#[cfg(test)]
mod tests {
    use super::super::document::MEI;
    use super::*;

    #[test]
    fn words_tell_the_first_staff_of_their_part() {
        let staves = "<staffGrp><grpSym symbol=\"bracket\"/><staffDef n=\"1\"/><staffGrp><grpSym symbol=\"brace\"/>\
                      <staffDef n=\"2\"/><staffDef n=\"3\"/></staffGrp></staffGrp>";
        let mei = |marks: &str| format!("<mei xmlns=\"{MEI}\">{staves}<measure>{marks}</measure></mei>");
        let given = "<dir staff=\"1\">a</dir><dynam type=\"m2\" staff=\"3\">p</dynam><fing staff=\"3\">1</fing>";
        let wanted = "<dir type=\"of-1\" staff=\"1\">a</dir><dynam type=\"m2 of-2\" staff=\"3\">p</dynam><fing staff=\"3\">1</fing>";
        assert_eq!(told(&mei(given)).unwrap(), mei(wanted));
    }
}
