//! What a file says of itself: where it comes from and what made it.

use super::edits::Edits;
use super::fragment::Fragment;
use super::tree::{Tree, child, element, elements, text_of};
use roxmltree::Node;

/// The name of our miscellaneous field.
pub const FIELD: &str = "obelus";

/// Says in the identification, in a description of the encoding and in a
/// miscellaneous field, where a copy comes from; what stands there stays.
pub fn sign(edits: &mut Edits, description: &str, field: &str) {
    let root = edits.tree().root();
    let description = Fragment::leaf("encoding-description", description);
    let field = Fragment::leaf("miscellaneous-field", field).set("name", FIELD);
    let Some(identification) = child(root, "identification") else {
        let made = Fragment::new("identification")
            .with(Fragment::new("encoding").with(description))
            .with(Fragment::new("miscellaneous").with(field));
        edits.add_child(element(root), made);
        return;
    };
    for (holder, leaf) in [("encoding", description), ("miscellaneous", field)] {
        match child(identification, holder) {
            Some(holder) => edits.add_child(element(holder), leaf),
            None => edits.add_child(element(identification), Fragment::new(holder).with(leaf)),
        }
    }
}

/// What our miscellaneous field says, where there is one.
pub fn signature<'a>(tree: &'a Tree<'_>) -> Option<&'a str> {
    let miscellaneous = child(child(tree.root(), "identification")?, "miscellaneous")?;
    let is_ours = |n: &Node<'_, '_>| n.attribute("name") == Some(FIELD);
    elements(miscellaneous).filter(is_ours).last().map(text_of)
}

#[cfg(test)]
mod tests {
    use super::super::Input;
    use super::*;

    fn signed(head: &str) -> String {
        let text = format!("<score-partwise>\n  {head}<part-list/>\n  <part id=\"P1\"/>\n</score-partwise>");
        let input = Input::from_bytes("x", text.clone().into_bytes()).unwrap();
        let tree = Tree::parse(&input).unwrap();
        let mut edits = Edits::new(&tree);
        sign(&mut edits, "made by us", "a & b");
        edits.finish().apply(&text).unwrap()
    }

    #[test]
    fn a_file_without_an_identification_gets_one_in_its_place() {
        assert_eq!(
            signed("<movement-title>Air</movement-title>\n  "),
            "<score-partwise>\n  <movement-title>Air</movement-title>\n  <identification>\n    <encoding>\n      \
             <encoding-description>made by us</encoding-description>\n    </encoding>\n    <miscellaneous>\n      \
             <miscellaneous-field name=\"obelus\">a &amp; b</miscellaneous-field>\n    </miscellaneous>\n  \
             </identification>\n  <part-list/>\n  <part id=\"P1\"/>\n</score-partwise>"
        );
        assert!(signed("").starts_with("<score-partwise>\n  <identification>"));
    }

    #[test]
    fn what_stands_there_stays_and_the_order_is_kept() {
        let text = signed(
            "<identification>\n    <creator>N. N.</creator>\n    <encoding><software>X</software></encoding>\n    \
             <relation>Y</relation>\n  </identification>\n  ",
        );
        let order: Vec<usize> = ["<creator>", "<encoding>", "<software>", "made by us", "<relation>", "a &amp; b"]
            .iter()
            .map(|what| text.find(what).unwrap())
            .collect();
        assert!(order.is_sorted(), "{text}");
    }
}
