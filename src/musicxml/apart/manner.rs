//! The ways to make a mark look unlike others, and by what means each element
//! of MusicXML 4.0 can be shown in them.

use crate::musicxml::marks::{Pair, Placement, ROWS, Row, flank_name};
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

const LINES: [&str; 9] = ["slur", "wedge", "bracket", "glissando", "slide", "scoop", "plop", "doit", "falloff"];
/// Among other signs, but a line or at a stem: nothing can stand beside them.
const UNFLANKED: [&str; 5] = ["tremolo", "wavy-line", "hammer-on", "pull-off", "bend"];
const WORDED: [&str; 11] = [
    "words",
    "directive",
    "rehearsal",
    "lyric",
    "fingering",
    "string",
    "fret",
    "pluck",
    "harmony",
    "figured-bass",
    "ending",
];
/// Signs outside the holders of signs that have a size.
const TYPESET: [&str; 22] = [
    "fermata",
    "accidental",
    "accidental-mark",
    "symbol",
    "segno",
    "coda",
    "pedal",
    "octave-shift",
    "damp",
    "damp-all",
    "metronome",
    "glissando",
    "slide",
    "harp-pedals",
    "eyeglasses",
    "string-mute",
    "principal-voice",
    "percussion",
    "accordion-registration",
    "staff-divide",
    "other-direction",
    "other-notation",
];

/// By what means an element of a holder is shown in a manner, if it can be.
pub(super) fn means(of: &str, name: &str, manner: Manner) -> Option<Means> {
    let attribute = |name, value| Some(Means::Attribute(name, value));
    match manner {
        Dashed | Dotted | Wavy if !LINES.contains(&name) => None,
        Dashed => attribute("line-type", "dashed"),
        Dotted => attribute("line-type", "dotted"),
        Wavy => attribute("line-type", "wavy"),
        Brackets | Parentheses | Braces => match name {
            "words" | "directive" => Some(Means::Around(pair(manner))),
            "accidental" | "accidental-mark" if manner == Parentheses => attribute("parentheses", "yes"),
            "accidental" | "accidental-mark" => attribute("bracket", "yes"),
            // Of these, only parentheses can be said.
            "metronome" | "figured-bass" => attribute("parentheses", "yes"),
            "grace" => Some(Means::Head),
            _ if UNFLANKED.contains(&name) => None,
            _ => flank_name(of).map(|flank| Means::Flanks(flank, pair(manner))),
        },
        Editorial if name == "accidental" => attribute("editorial", "yes"),
        Box | Oval if matches!(name, "words" | "symbol" | "rehearsal" | "percussion") || of == "dynamics" => {
            attribute("enclosure", if manner == Box { "rectangle" } else { "oval" })
        }
        Italic if is_worded(name) => attribute("font-style", "italic"),
        Bold if is_worded(name) => attribute("font-weight", "bold"),
        Small | Large => {
            let sign = flank_name(of).is_some() && name != "wavy-line";
            (sign || is_worded(name) || TYPESET.contains(&name)).then_some(Means::Size)
        }
        Editorial | Box | Oval | Italic | Bold => None,
    }
}

fn pair(manner: Manner) -> Pair {
    match manner {
        Parentheses => Pair::Round,
        Braces => Pair::Curly,
        _ => Pair::Square,
    }
}

pub(super) fn is_worded(name: &str) -> bool {
    WORDED.contains(&name)
}

/// Whether an element has a colour of its own.
pub(super) fn has_color(of: &str, name: &str) -> bool {
    of != "dynamics" && !matches!(name, "scordatura" | "image" | "repeat")
}

/// The manners that at least one element of a category can be shown in, of
/// those that a user can choose.
pub fn manners_of(category: Category) -> Vec<Manner> {
    use Category::{Dynamics, Expression, Structure, Technique, Tempo, Text};
    let of_words = matches!(category, Dynamics | Tempo | Expression | Technique | Structure | Text);
    let own = |row: &&Row| row.is == Placement::Mark(category) || of_words && row.is == Placement::Words;
    let elements: Vec<_> = ROWS.iter().filter(own).flat_map(|row| row.names.iter().map(|n| (row.of, *n))).collect();
    let shown = |manner: &Manner| elements.iter().any(|(of, name)| means(of, name, *manner).is_some());
    Manner::CHOSEN.into_iter().filter(shown).collect()
}
