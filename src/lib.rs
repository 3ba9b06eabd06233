//! Collates a performing edition with a plain source, both MusicXML, says what
//! the editor did, and writes the music without it.

pub mod beside;
pub mod clean;
pub mod collate;
pub mod engrave;
pub mod findings;
#[cfg(feature = "engrave")]
pub mod handout;
pub mod instrument;
pub mod keys;
pub mod musicxml;
pub mod patch;
pub mod pitch;
pub mod report;
pub mod score;
pub mod time;
