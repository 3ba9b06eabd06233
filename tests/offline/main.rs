//! The tests that need Rust alone: `cargo test` runs them, and those beside the code.

mod advice;
mod alone;
mod apart;
mod beside;
mod clean;
mod coherence;
#[path = "../common/mod.rs"]
mod common;
mod copies;
mod decisions;
mod demo;
#[path = "../common/drive.rs"]
mod drive;
mod elements;
mod errors;
mod exercises;
mod fit;
mod formats;
mod hard_cases;
mod hostile;
mod house;
mod interrupted;
mod keys;
mod keys_phrases;
mod lean;
mod left;
#[cfg(unix)]
mod manners;
mod marks;
mod names;
mod odd_scores;
mod packages;
mod page;
mod properties;
mod rank;
mod reading;
mod readme;
mod replay;
mod served;
mod shown;
mod small;
mod written_for;
