//! Music drawn as staves. The engraver is a large body of C++ that hostile
//! scores can crash, so it works in a process of its own: this program, called
//! with a hidden command. What it gives back is text.

#[cfg(feature = "engrave")]
mod barlines;
pub(crate) mod boxes;
#[cfg(feature = "engrave")]
mod brackets;
#[cfg(feature = "engrave")]
mod breaks;
#[cfg(feature = "engrave")]
mod clefs;
#[cfg(feature = "engrave")]
mod document;
#[cfg(feature = "engrave")]
mod fewer;
#[cfg(feature = "engrave")]
mod fonts;
#[cfg(feature = "engrave")]
mod hairpins;
mod job;
#[cfg(feature = "engrave")]
mod joined;
pub(crate) mod letters;
#[cfg(feature = "engrave")]
mod line_ends;
#[cfg(feature = "engrave")]
mod mei;
#[cfg(feature = "engrave")]
mod metre;
#[cfg(feature = "engrave")]
mod one_line;
pub(crate) mod outlines;
#[cfg(feature = "engrave")]
mod owners;
#[cfg(feature = "engrave")]
mod pages;
#[cfg(feature = "engrave")]
pub mod pdf;
#[cfg(feature = "engrave")]
mod places;
mod process;
#[cfg(feature = "engrave")]
mod resources;
#[cfg_attr(not(feature = "engrave"), allow(dead_code))] // then nothing gives way
pub(crate) mod room;
pub(crate) mod shapes;
#[cfg(feature = "engrave")]
mod sheet;
#[cfg(feature = "engrave")]
mod sides;
#[cfg(feature = "engrave")]
mod signatures;
#[cfg(feature = "engrave")]
mod stubs;
#[cfg(feature = "engrave")]
mod syllables;
#[cfg(feature = "engrave")]
mod toolkit;
#[cfg(feature = "engrave")]
mod trills;
#[cfg(feature = "engrave")]
mod under_words;
#[cfg(feature = "engrave")]
mod units;
#[cfg(feature = "engrave")]
pub mod worker;
#[cfg(feature = "engrave")]
mod wrapped;

pub use job::{Beats, Job, Paper, Piece, Strip};
#[cfg(feature = "engrave")]
pub use job::{Head, HeadLine, PageLayout};
pub use process::{Error, engrave};

/// The hidden command by which this program becomes the engraver.
pub const COMMAND: &str = "engrave";

/// Whether this build can engrave.
pub const IS_BUILT_IN: bool = cfg!(feature = "engrave");

/// How to get a build that can.
pub const HOW_TO_GET: &str =
    "`cargo install --path . --features engrave` in the folder of its source builds an obelus that does";

/// The style sheet of the font in which notes and dynamics stand in texts.
#[cfg(feature = "engrave")]
pub fn music_font() -> &'static str {
    verovio_data::DATA.get_file("Leipzig.css").and_then(|file| file.contents_utf8()).unwrap_or_default()
}

/// The family of the text font in a page: with the letters used, so it is no font for other texts.
#[cfg(feature = "engrave")]
pub const TEXT_FONT: &str = "Letters in staves";

/// The style sheet of the text font, with the letters used.
#[cfg(feature = "engrave")]
pub use fonts::text_font;

/// Nothing is drawn without the engraver.
#[cfg(not(feature = "engrave"))]
pub fn text_font(_: &letters::Used) -> String {
    String::new()
}

/// Nothing is drawn without the engraver.
#[cfg(not(feature = "engrave"))]
pub fn music_font() -> &'static str {
    ""
}
