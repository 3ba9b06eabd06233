//! Brackets around signs that have no attribute for them: an `other-…` element
//! on each side of the sign. They belong to it, and say nothing by themselves.

use super::name;
use crate::musicxml::elements::facts;
use crate::musicxml::tree::{elements, text_of};
use roxmltree::Node;

/// Brackets in pairs, and their glyphs in the Standard Music Font Layout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pair {
    Square,
    Round,
    Curly,
}

impl Pair {
    pub const ALL: [Pair; 3] = [Pair::Square, Pair::Round, Pair::Curly];

    pub fn texts(self) -> [&'static str; 2] {
        match self {
            Pair::Square => ["[", "]"],
            Pair::Round => ["(", ")"],
            Pair::Curly => ["{", "}"],
        }
    }

    /// There is none for curly ones.
    pub fn glyphs(self) -> Option<[&'static str; 2]> {
        match self {
            Pair::Square => Some(["csymBracketLeftTall", "csymBracketRightTall"]),
            Pair::Round => Some(["csymParensLeftTall", "csymParensRightTall"]),
            Pair::Curly => None,
        }
    }
}

/// Which bracket an element is, and whether it is the right one.
fn bracket(node: Node<'_, '_>) -> Option<(Pair, bool)> {
    if !name(node).starts_with("other-") {
        return None;
    }
    let text = text_of(node);
    let glyph = node.attribute("smufl");
    Pair::ALL.into_iter().find_map(|pair| {
        let is = |side: usize| match text {
            "" => pair.glyphs().is_some_and(|glyphs| glyph == Some(glyphs[side])),
            _ => text == pair.texts()[side],
        };
        (0..2).find(|side| is(*side)).map(|side| (pair, side == 1))
    })
}

/// The brackets around a sign, if it stands in a pair of them.
pub fn flanks<'a, 'i>(node: Node<'a, 'i>) -> Option<[Node<'a, 'i>; 2]> {
    let left = node.prev_sibling_element()?;
    let (pair, false) = bracket(left)? else { return None };
    let right = node.next_sibling_element()?;
    (bracket(right) == Some((pair, true)) && bracket(node).is_none()).then_some([left, right])
}

/// Whether an element is one of the brackets around a sign.
pub fn is_flank(node: Node<'_, '_>) -> bool {
    let sign = match bracket(node) {
        Some((_, false)) => node.next_sibling_element(),
        Some((_, true)) => node.prev_sibling_element(),
        None => return false,
    };
    sign.and_then(flanks).is_some_and(|pair| pair.contains(&node))
}

/// Whether any sign of a holder can stand in brackets of this kind: most hold none.
pub fn may_flank(holder: Node<'_, '_>) -> bool {
    facts(name(holder)).brackets.is_some_and(|other| elements(holder).filter(|n| name(*n) == other).nth(1).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Clone, Copy, PartialEq)]
    enum Is {
        Bracket,
        Bracketed,
        Plain,
    }

    fn told(inner: &str) -> Vec<(String, Is)> {
        let text = format!("<ornaments>{inner}</ornaments>");
        let doc = roxmltree::Document::parse(&text).unwrap();
        let is = |node| match (is_flank(node), flanks(node).is_some()) {
            (true, false) => Is::Bracket,
            (false, true) => Is::Bracketed,
            (false, false) => Is::Plain,
            (true, true) => panic!("a bracket is in brackets"),
        };
        elements(doc.root_element()).map(|n| (name(n).to_string(), is(n))).collect()
    }

    fn other(is: Is) -> (String, Is) {
        ("other-ornament".into(), is)
    }

    #[test]
    fn brackets_belong_to_the_sign_between_them() {
        let wanted = [other(Is::Bracket), ("turn".into(), Is::Bracketed), other(Is::Bracket)];
        assert_eq!(told("<other-ornament>[</other-ornament><turn/><other-ornament>]</other-ornament>"), wanted);
        let glyphs =
            "<other-ornament smufl=\"csymParensLeftTall\"/><turn/><other-ornament smufl=\"csymParensRightTall\"/>";
        assert_eq!(told(glyphs), wanted);
    }

    #[test]
    fn a_bracket_without_its_partner_is_a_sign_like_others() {
        let alone = [other(Is::Plain), ("turn".into(), Is::Plain), other(Is::Plain)];
        assert_eq!(told("<other-ornament>[</other-ornament><turn/><other-ornament>)</other-ornament>"), alone);
        assert_eq!(told("<other-ornament>[</other-ornament><turn/>"), alone[..2]);
        let nothing = "<other-ornament>[</other-ornament><other-ornament>]</other-ornament>";
        assert_eq!(told(nothing), [alone[0].clone(), alone[2].clone()]);
    }
}
