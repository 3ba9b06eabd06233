//! Collates a performing edition with a plain source, both MusicXML, says what
//! the editor did, and writes the music without it.

pub mod beside;
pub mod clean;
pub mod collate;
mod comparison;
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

pub use clean::{Cleaned, Copy, Policy, Provenance, Texts, Wishes};
pub use collate::{LineError, LineName, Lines};
pub use comparison::{
    AuditError, AuditWishes, Comparison, ExtractError, Extracted, NotesForm, PairingError, ReadScore,
};
pub use musicxml::Input;
pub use report::Audit;
