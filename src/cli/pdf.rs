//! The file of pages to hand out.

use super::failure::Failure;
use super::output::Output;
use crate::clean::CleanCopy;
use crate::engrave::{self, Paper};
use crate::musicxml::beside::Brackets;
use std::path::Path;

/// Where pages go, and on which paper.
#[cfg_attr(not(feature = "engrave"), allow(dead_code))] // then none is ever made
pub struct PdfFile {
    output: Output,
    paper: Paper,
    named: String,
}

/// What pages show of a copy.
#[cfg_attr(not(feature = "engrave"), allow(dead_code))]
pub struct Shown {
    /// Only this part.
    pub part: Option<usize>,
    /// Drawn where the copy has additions that are set apart.
    pub brackets: Brackets,
    /// For a copy without a title.
    pub title: Option<String>,
    /// Where the music is from.
    pub source: String,
}

impl PdfFile {
    /// # Errors
    /// Wrong use, when this build engraves nothing, the name ends otherwise or
    /// the place cannot be written.
    pub fn new(file: &Path, paper: Paper, others: &[&Path]) -> Result<PdfFile, Failure> {
        let named = file.display().to_string();
        if !engrave::IS_BUILT_IN {
            return Err(Failure::wrong_use(format!("--pdf: this build cannot engrave; {}", engrave::HOW_TO_GET)));
        }
        if !file.extension().is_some_and(|e| e.eq_ignore_ascii_case("pdf")) {
            return Err(Failure::wrong_use(format!("{named}: pages are written as PDF; the name must end in .pdf")));
        }
        Ok(PdfFile { output: Output::new(Some(file), others)?, paper, named })
    }

    /// Writes the pages of a copy, or of one part of it.
    ///
    /// # Errors
    /// Wrong use, when they cannot be drawn or written; the copy is not touched.
    #[cfg(feature = "engrave")]
    pub fn write(&self, copy: &CleanCopy, shown: &Shown) -> Result<(), Failure> {
        use super::output::Content;
        use crate::handout::{Handout, pdf};
        let pages = pdf(
            copy,
            &Handout {
                paper: self.paper,
                part: shown.part,
                brackets: shown.brackets,
                title: shown.title.as_deref(),
                source: &shown.source,
            },
        )
        .map_err(|fault| Failure::wrong_use(format!("{}: not written, but everything else is: {fault}", self.named)))?;
        self.output.write(Content::Bytes(&pages))
    }

    #[cfg(not(feature = "engrave"))]
    pub fn write(&self, _: &CleanCopy, _: &Shown) -> Result<(), Failure> {
        unreachable!("no file of pages is made without the engraver")
    }
}
