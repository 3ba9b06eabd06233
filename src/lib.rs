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
//!     for finding in &part.findings {
//!         println!("bar {}: {} {}", finding.at.bar, finding.status.name(), finding.category);
//!     }
//! }
//! let texts = Texts::new();
//! let (copy, done) = comparison.clean(&Policy::default(), &Wishes::default(), None, &texts)?;
//! assert_eq!(done.proof.left, Some(0)); // a second audit finds nothing
//! let clean: Vec<u8> = edition.encode(copy.text())?;
//! # assert!(!clean.is_empty());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! - [`Input`] is a file: its text, and its encoding and archive, in which another text is written ([`Input::encode`]).
//! - [`ReadScore`] is the score that was read from it, with warnings. By itself it tells which notes leave an
//!   instrument's range, and which keys lie best on it.
//! - [`Comparison`] lays an edition beside its source: it audits, cleans, shows both as one score, and writes critical
//!   notes. [`Lines`] names the part, staff or voice to compare; by default all that match.
//! - [`Audit`] has a [`PartReport`] for each line: a [`FindingReport`] for each difference, of a [`Category`] and
//!   [`Status`] (added, omitted, altered), and a [`PassageReport`] for findings that belong together, such as an octave
//!   displacement.
//! - [`Policy`] says what stays of the editor's; [`Wishes`] what else is to become of a clean copy: another key, a range,
//!   an instrument, marks of one's own; a [`Provenance`], if one is given, is written into the copy. [`Cleaned`] says
//!   what was done. The copy borrows its text from [`Texts`], which must live as long as it does.
//! - [`Error`] says why a file cannot be read, [`WishError`] which wish cannot be met, [`Failure`] why no copy was made.
//!
//! What a score holds is plain data: [`score`] has its parts, bars, notes and marks, with [`pitch`] and [`time`].

#![warn(missing_docs)]

mod alignment;
mod at_once;
mod beside;
mod clean;
mod cli;
mod collate;
mod engrave;
mod exercises;
mod findings;
#[cfg(feature = "engrave")]
mod handout;
mod instrument;
mod keys;
mod musicxml;
mod patch;
pub mod pitch;
mod plan;
mod readable;
mod report;
pub mod score;
mod side_file;
mod suggest;
pub mod time;
mod whole_file;

mod comparison;
mod desk;
mod rank;
mod read_score;

pub use clean::{
    Additions, Apart, CleanCopy, Cleaned, Decision, Decisions, Difference, Failure, LeftBar, Lifted, MarkedCopy,
    NewKey, Origin, OwnMarks, PartFor, Player, Policy, Proof, Provenance, Restore, Said, Sheet, SheetError, Texts,
    Wishes,
};
pub use collate::{LineError, LineName, Lines};
pub use comparison::{AuditWishes, Comparison, NotesForm};
pub use exercises::{ExerciseError, ExerciseReport, ExerciseWishes, ExercisesReport, Form, Rhythm, StretchReport};
pub use findings::{PassageKind, Status};
pub use instrument::{Instrument, Instruments, ReadAs};
pub use musicxml::{Error, Input, Tree};
pub use pitch::Interval;
pub use read_score::{Extracted, InstrumentWishes, PracticeSheet, ReadScore, WishError};
pub use report::{
    Audit, BarError, BarReport, Bars, FindingReport, Hardest, KeysReport, LineAlone, NotCompared, NoteCounts,
    OutOfReach, OutsideReport, PartName, PartReport, PassageReport, Point, RangePart, RangeReport, RangeResult,
    ScopeReport, ScoreName, Transposition,
};
pub use score::Category;

#[doc(hidden)]
pub use cli::main;

/// What the tests look into besides; no other program should.
#[doc(hidden)]
pub mod testing {
    pub use crate::alignment::{EditionNote, SourceNote, Table};
    pub use crate::keys::phrases::{Proposal, Seam, propose};
    pub use crate::musicxml::{ELEMENTS, Parsed, Placement, Siblings, placement, read};
    pub use crate::report::{clean_json, clean_text, octave_change_sentence, passage_line};
}
