//! The file of critical notes.

use super::failure::Failure;
use super::output::{Content, Output};
use crate::musicxml::Tree;
use crate::{Cleaned, Comparison, NotesForm, Provenance};
use std::path::Path;

/// Where critical notes go, and in which form.
pub struct NotesFile {
    output: Output,
    form: NotesForm,
}

impl NotesFile {
    /// # Errors
    /// Wrong use, when the name ends otherwise or the place cannot be written.
    pub fn new(file: &Path, others: &[&Path]) -> Result<NotesFile, Failure> {
        let ending = file.extension().map(|e| e.to_string_lossy().to_lowercase());
        let form = match ending.as_deref() {
            Some("md") => NotesForm::Markdown,
            Some("csv") => NotesForm::Csv,
            _ => {
                return Err(Failure::wrong_use(format!(
                    "{}: critical notes are written as Markdown or CSV; the name must end in .md or .csv",
                    file.display()
                )));
            }
        };
        Ok(NotesFile { output: Output::new(Some(file), others)?, form })
    }

    /// Writes the notes on a cleaning.
    ///
    /// # Errors
    /// Wrong use, when the file cannot be written.
    pub fn write(
        &self,
        comparison: &Comparison<Tree>,
        cleaned: &Cleaned,
        provenance: &Provenance,
        remarks: &[String],
    ) -> Result<(), Failure> {
        let text = comparison.critical_notes(self.form, cleaned, Some(provenance), remarks);
        self.output.write(Content::Bytes(text.as_bytes()))
    }
}
