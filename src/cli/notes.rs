//! The file of critical notes.

use super::failure::Failure;
use super::files::Files;
use super::output::Output;
use crate::musicxml::Tree;
use crate::{Cleaned, Comparison, NotesForm, Provenance};
use std::path::Path;

/// Where critical notes go, and in which form.
pub struct NotesFile {
    pub output: Output,
    form: NotesForm,
}

impl NotesFile {
    /// # Errors
    /// Wrong use, when the name ends otherwise or the place cannot be written.
    pub fn new(file: &Path, files: &mut Files) -> Result<NotesFile, Failure> {
        let output = files.output(Some(file))?;
        let ending = file.extension().map(|e| e.to_string_lossy().to_lowercase());
        let form = match ending.as_deref() {
            Some("md") => NotesForm::Markdown,
            Some("csv") => NotesForm::Csv,
            // A pipe has no ending.
            _ if !output.is_file() => NotesForm::Markdown,
            _ => {
                return Err(Failure::wrong_use(format!(
                    "{}: critical notes are written as Markdown or CSV; the name must end in .md or .csv",
                    file.display()
                )));
            }
        };
        Ok(NotesFile { output, form })
    }

    /// The notes on a cleaning.
    pub fn text(
        &self,
        comparison: &Comparison<Tree>,
        cleaned: &Cleaned,
        provenance: &Provenance,
        remarks: &[String],
    ) -> String {
        comparison.critical_notes(self.form, cleaned, Some(provenance), remarks)
    }
}
