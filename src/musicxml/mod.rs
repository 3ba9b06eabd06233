//! The only room that knows MusicXML's element names.

mod accidentals;
pub mod apart;
mod archive;
pub mod beside;
mod credits;
mod edits;
mod elements;
mod encoding;
mod error;
mod extract;
mod fragment;
mod guard;
mod identification;
mod lean;
mod marks;
mod open;
mod order;
mod parse;
mod pitches;
mod read;
pub mod rewrite;
pub mod sheet;
mod spans;
mod tree;
mod words;
mod written;

#[cfg(feature = "engrave")]
pub use beside::{BRACKETED, CLEF, SAME_NUMBER, TEXT_COLOR};
pub use credits::{Heading, heading, said_of_the_piece, take_out_the_editor};
pub use edits::Edits;
pub use elements::{ELEMENTS, Placement, Siblings, articulations, is_dynamic_sign, ornaments, placement};
pub use encoding::LARGEST_TEXT;
pub use error::Error;
pub use extract::extract;
pub use fragment::is_xml;
pub use identification::{sign, signature};
pub use marks::beat_unit;
pub use open::Input;
pub use order::out_of_order;
pub use read::{Parsed, read};
pub use tree::Tree;
pub use words::classify as words_of;
pub use written::{Sign as WrittenSign, WrittenBar, WrittenScore};
