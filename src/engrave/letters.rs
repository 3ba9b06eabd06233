//! The letters that the engraver reckons with, and how much room they take.

use super::boxes::{Extent, has_class};
use roxmltree::Node;
use std::collections::{BTreeMap, BTreeSet};

/// Of the text font, and the font of notes and dynamics in texts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Face {
    Regular,
    Italic,
    Bold,
    BoldItalic,
    Music,
}

/// The letters that stand in each face.
pub type Used = BTreeMap<Face, BTreeSet<char>>;

/// How far a letter leads and the room it takes, of a font of size 1; heights grow downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Letter {
    pub advance: f64,
    pub extent: Extent,
}

/// What the engraver prints bold and in italics.
const BOLD: [&str; 4] = ["ending", "fing", "reh", "tempo"];
const ITALIC: [&str; 3] = ["dir", "dynam", "mNum"];

impl Face {
    /// The face in which the text of an element stands.
    pub fn of(node: Node<'_, '_>) -> Face {
        let says = |attribute: &str, classes: &[&str], value: &str| {
            node.ancestors().find_map(|n| {
                let own = n.attribute(attribute).map(|said| said == value);
                own.or(classes.iter().any(|c| has_class(n, c)).then_some(true))
            })
        };
        if node.ancestors().find_map(|n| n.attribute("font-family")) == Some("Leipzig") {
            return Face::Music;
        }
        let is = |said: Option<bool>| said.unwrap_or_default();
        match (is(says("font-weight", &BOLD, "bold")), is(says("font-style", &ITALIC, "italic"))) {
            (false, false) => Face::Regular,
            (false, true) => Face::Italic,
            (true, false) => Face::Bold,
            (true, true) => Face::BoldItalic,
        }
    }
}

/// A letter that no table has.
const OTHER: Letter = Letter { advance: 0.5, extent: [0.0, -0.7, 0.5, 0.2] };

/// Nothing is drawn without the engraver.
#[cfg(not(feature = "engrave"))]
pub fn letter(_: char, _: Face) -> Letter {
    OTHER
}

/// How much room a letter takes.
#[cfg(feature = "engrave")]
pub fn letter(c: char, face: Face) -> Letter {
    use std::sync::LazyLock;
    static TABLES: LazyLock<BTreeMap<Face, BTreeMap<char, Letter>>> = LazyLock::new(|| {
        let files = [
            (Face::Regular, "text/Times.xml"),
            (Face::Italic, "text/Times-italic.xml"),
            (Face::Bold, "text/Times-bold.xml"),
            (Face::BoldItalic, "text/Times-bold-italic.xml"),
            (Face::Music, "Leipzig.xml"),
        ];
        files.into_iter().filter_map(|(face, file)| Some((face, table(file)?))).collect()
    });
    TABLES.get(&face).and_then(|table| table.get(&c)).copied().unwrap_or(OTHER)
}

/// The engraver's own table of a font.
#[cfg(feature = "engrave")]
fn table(file: &str) -> Option<BTreeMap<char, Letter>> {
    use super::boxes::number;
    let text = verovio_data::DATA.get_file(file)?.contents_utf8()?;
    let document = roxmltree::Document::parse(text).ok()?;
    let root = document.root_element();
    let em = number(root.attribute("units-per-em")?)?;
    let rows = root.children().filter(|n| n.has_tag_name("g")).filter_map(|row| {
        let of = |name: &str| row.attribute(name).and_then(number).map(|n| n / em);
        let [x, y, width, height] = [of("x")?, of("y")?, of("w")?, of("h")?];
        let c = char::from_u32(u32::from_str_radix(row.attribute("c")?, 16).ok()?)?;
        let advance = of("h-a-x").unwrap_or(x + width);
        Some((c, Letter { advance, extent: [x, -y - height, x + width, -y] }))
    });
    Some(rows.collect())
}

#[cfg(all(test, feature = "engrave"))]
mod tests {
    use super::*;

    #[test]
    fn letters_have_the_engravers_measures() {
        let space = letter(' ', Face::Regular);
        assert_eq!(space.advance, 0.25);
        assert!(letter('m', Face::Bold).advance > letter('i', Face::Bold).advance);
        let forte = letter('\u{E522}', Face::Music);
        assert!(forte.extent[1] < 0.0 && forte.extent[3] > 0.0, "{forte:?}");
        assert_eq!(letter('\u{4E00}', Face::Regular), OTHER);
    }
}
