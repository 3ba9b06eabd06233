//! The ways to make a mark look unlike others, and by what means each element
//! of MusicXML 4.0 can be shown in them.

use crate::musicxml::elements::{ELEMENTS, Enclosed, Lettering, Placement, Siblings, facts};
use crate::musicxml::marks::Pair;
use crate::score::Category;

/// One way to make a mark look unlike others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, strum::EnumString, strum::IntoStaticStr)]
#[strum(serialize_all = "lowercase")]
pub enum Manner {
    // Lines that are not solid.
    Dashed,
    Dotted,
    Wavy,
    // Something around it.
    Brackets,
    Parentheses,
    Braces,
    Editorial,
    Box,
    Oval,
    // Another type.
    Small,
    Large,
    Italic,
    Bold,
}

use Manner::*;

impl Manner {
    /// Those that a user can choose.
    const CHOSEN: [Manner; 7] = [Dashed, Dotted, Brackets, Parentheses, Editorial, Small, Italic];

    /// Of several of one kind the first holds that an element can be shown in.
    pub(super) fn kind(self) -> Kind {
        match self {
            Dashed | Dotted | Wavy => Kind::Line,
            Brackets | Parentheses | Braces | Editorial | Box | Oval => Kind::Enclosed,
            Small | Large => Kind::Size,
            Italic => Kind::Slant,
            Bold => Kind::Weight,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Line,
    Enclosed,
    Size,
    Slant,
    Weight,
}

/// How a manner is said of an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Means {
    Attribute(&'static str, &'static str),
    /// Brackets in its text.
    Around(Pair),
    /// Elements of this name on both sides of it.
    Flanks(&'static str, Pair),
    /// A notehead in parentheses.
    Head,
    Size,
}

/// By what means an element of a holder is shown in a manner, if it can be.
pub(super) fn means(of: &str, name: &str, manner: Manner) -> Option<Means> {
    let attribute = |name, value| Some(Means::Attribute(name, value));
    let look = &facts(name).look;
    let worded = matches!(look.lettering, Lettering::Words | Lettering::Fingering);
    match manner {
        Dashed | Dotted | Wavy if !look.line => None,
        Dashed => attribute("line-type", "dashed"),
        Dotted => attribute("line-type", "dotted"),
        Wavy => attribute("line-type", "wavy"),
        Brackets | Parentheses | Braces => match look.enclosed {
            Enclosed::InText => Some(Means::Around(pair(manner))),
            Enclosed::By(names) => {
                // Of some, only parentheses can be said.
                let own = if manner == Parentheses { "parentheses" } else { "bracket" };
                attribute(names.iter().find(|n| **n == own).unwrap_or(&names[0]), "yes")
            }
            Enclosed::Head => Some(Means::Head),
            Enclosed::Never => None,
            Enclosed::Beside => facts(of).brackets.map(|flank| Means::Flanks(flank, pair(manner))),
        },
        Editorial => {
            let by_attribute = matches!(look.enclosed, Enclosed::By(names) if names.contains(&"editorial"));
            by_attribute.then_some(Means::Attribute("editorial", "yes"))
        }
        Box | Oval if look.boxed || of == "dynamics" => {
            attribute("enclosure", if manner == Box { "rectangle" } else { "oval" })
        }
        Italic if worded => attribute("font-style", "italic"),
        Bold if worded => attribute("font-weight", "bold"),
        Small | Large => {
            let sized = match look.lettering {
                Lettering::OfHolder => facts(of).brackets.is_some(),
                lettering => lettering != Lettering::None,
            };
            sized.then_some(Means::Size)
        }
        Box | Oval | Italic | Bold => None,
    }
}

fn pair(manner: Manner) -> Pair {
    match manner {
        Parentheses => Pair::Round,
        Braces => Pair::Curly,
        _ => Pair::Square,
    }
}

/// The manners that at least one element of a category can be shown in, of
/// those that a user can choose.
pub fn manners_of(category: Category) -> Vec<Manner> {
    use Category::{Dynamics, Expression, Structure, Technique, Tempo, Text};
    let of_words = matches!(category, Dynamics | Tempo | Expression | Technique | Structure | Text);
    let own = |s: &&Siblings| s.is == Placement::Mark(category) || of_words && s.is == Placement::Words;
    let elements: Vec<_> = ELEMENTS.iter().filter(own).flat_map(|s| s.names().map(|n| (s.of, n))).collect();
    let shown = |manner: &Manner| elements.iter().any(|(of, name)| means(of, name, *manner).is_some());
    Manner::CHOSEN.into_iter().filter(shown).collect()
}
