//! The files of the page, as they are read.

use crate::engrave::{self, letters::Face};
use crate::report::PICTURES_STYLE;
use std::collections::BTreeSet;
use std::sync::OnceLock;

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";

/// Name, kind and text.
pub const FILES: [(&str, &str, &str); 12] = [
    ("index.html", "text/html; charset=utf-8", include_str!("page/index.html")),
    ("pictures.css", STYLE, PICTURES_STYLE),
    ("desk.css", STYLE, include_str!("page/desk.css")),
    ("desk.js", SCRIPT, include_str!("page/desk.js")),
    ("server.js", SCRIPT, include_str!("page/server.js")),
    ("parts.js", SCRIPT, include_str!("page/parts.js")),
    ("staves.js", SCRIPT, include_str!("page/staves.js")),
    ("choose.js", SCRIPT, include_str!("page/choose.js")),
    ("decide.js", SCRIPT, include_str!("page/decide.js")),
    ("mark.js", SCRIPT, include_str!("page/mark.js")),
    ("play.js", SCRIPT, include_str!("page/play.js")),
    ("out.js", SCRIPT, include_str!("page/out.js")),
];

/// Letters that scores have in words; others stand in a font of the machine.
const LETTERS: [std::ops::RangeInclusive<char>; 4] =
    [' '..='\u{17f}', '\u{370}'..='\u{3ff}', '\u{400}'..='\u{45f}', '\u{2010}'..='\u{2044}'];

/// The style sheet of the fonts that staves are measured with.
pub fn letters() -> &'static str {
    static SHEET: OnceLock<String> = OnceLock::new();
    SHEET.get_or_init(|| {
        let all: BTreeSet<char> =
            LETTERS.into_iter().flatten().chain(['\u{2212}', '\u{266d}', '\u{266e}', '\u{266f}']).collect();
        let faces = [Face::Regular, Face::Italic, Face::Bold, Face::BoldItalic];
        engrave::text_font(&faces.into_iter().map(|face| (face, all.clone())).collect()) + engrave::music_font()
    })
}
