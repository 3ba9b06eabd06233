//! Compares a performing edition with a plain source, both MusicXML, says what
//! the editor did, and gives the music back without it.
//!
//! The whole job:
//!
//! ```
//! use obelus::{AuditWishes, Comparison, Input, Lines, Policy, ReadScore, Texts, Wishes};
//!
//! let edition = Input::open("corpus/demo/edition.musicxml")?;
//! let source = Input::open("corpus/demo/source.musicxml")?;
//! let comparison = Comparison::new(ReadScore::of(&edition)?, ReadScore::of(&source)?, &Lines::default())?;
//! for part in comparison.audit(&AuditWishes::default())?.parts {
//!     println!("{}: {} findings", part.part.spoken(), part.findings.len());
//! }
//! let texts = Texts::new();
//! let (copy, done) = comparison.clean(&Policy::default(), &Wishes::default(), None, &texts)?;
//! assert_eq!(done.proof.left, Some(0)); // a second audit finds nothing
//! let clean: Vec<u8> = edition.encode(copy.text())?;
//! # assert!(!clean.is_empty());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! - [`Input`] is a file: its text, and how to write another text like it.
//! - [`ReadScore`] is a score that was read from it. By itself it tells which
//!   notes leave an instrument's range, and which keys lie best on it.
//! - [`Comparison`] lays an edition beside its source: it audits, cleans, shows
//!   both as one score, and writes critical notes.
//! - [`Policy`] says what stays of the editor's; [`Wishes`] what else is to
//!   become of a clean copy: another key, a range, an instrument, marks of one's
//!   own. [`Cleaned`] says what was done.
//!
//! What a score holds is plain data: [`score`] has its parts, bars, notes and marks, with [`pitch`] and [`time`].

#![warn(missing_docs)]

mod alignment;
mod beside;
mod clean;
mod cli;
mod collate;
mod engrave;
mod findings;
#[cfg(feature = "engrave")]
mod handout;
mod instrument;
mod keys;
mod musicxml;
mod patch;
pub mod pitch;
mod plan;
mod report;
pub mod score;
pub mod time;

mod comparison;
mod read_score;

pub use clean::{
    Additions, Apart, CleanCopy, Cleaned, Decision, Decisions, Failure, NewKey, Origin, OwnMarks, PartFor, Player,
    Policy, Provenance, Restore, Said, Sheet, Texts, Wishes,
};
pub use collate::{LineError, LineName, Lines};
pub use comparison::{AuditWishes, Comparison, NotesForm};
pub use findings::PassageKind;
pub use instrument::{Instrument, Instruments, ReadAs};
pub use musicxml::{Error, Input, Tree};
pub use pitch::Interval;
pub use read_score::{Extracted, InstrumentWishes, ReadScore, WishError};
pub use report::{Audit, Bars, KeysReport, OutOfReach, RangeReport};
pub use score::Category;

#[doc(hidden)]
pub use cli::main;

/// What the tests look into besides; no other program should.
#[doc(hidden)]
pub mod testing {
    pub use crate::alignment::{EditionNote, SourceNote, Table};
    pub use crate::keys::phrases::{Proposal, Seam, propose};
    pub use crate::musicxml::{ELEMENTS, Parsed, Placement, Siblings, placement, read};
    pub use crate::report::{
        FindingReport, LineAlone, Transposition, clean_json, clean_text, octave_change_sentence, passage_line,
    };
}
