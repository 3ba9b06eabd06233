//! The file of critical notes.

use super::failure::Failure;
use super::output::{Content, Output};
use obelus::clean::{self, Cleaned, Provenance, Sides};
use obelus::collate::{self, Pairing};
use obelus::findings;
use obelus::report::{self, Material};
use std::path::{Path, PathBuf};

/// Where critical notes go, and in which form.
pub struct NotesFile {
    output: Output,
    markdown: bool,
}

impl NotesFile {
    /// # Errors
    /// Wrong use, when the name ends otherwise or the place cannot be written.
    pub fn new(file: &Path, others: &[&Path]) -> Result<NotesFile, Failure> {
        let ending = file.extension().map(|e| e.to_string_lossy().to_lowercase());
        let markdown = match ending.as_deref() {
            Some("md") => true,
            Some("csv") => false,
            _ => {
                return Err(Failure::wrong_use(format!(
                    "{}: critical notes are written as Markdown or as CSV; let the name end in .md or .csv",
                    file.display()
                )));
            }
        };
        Ok(NotesFile { output: Output::new(Some(file), others)?, markdown })
    }

    /// Writes the notes on a cleaning; `pairing` is that of its sides, and `files` are the edition's and the source's.
    ///
    /// # Errors
    /// Wrong use, when the file cannot be written.
    pub fn write(
        &self,
        sides: &Sides,
        pairing: Pairing,
        files: [&PathBuf; 2],
        cleaned: &Cleaned,
        provenance: &Provenance,
        remarks: &[String],
    ) -> Result<(), Failure> {
        let [edition_file, source_file] = files.map(|f| f.display().to_string());
        // What an audit finds: it cuts bars and plays strains twice, as a cleaning does not.
        let collation = collate::lay(sides.edition, sides.source, pairing, false);
        let findings = findings::find(sides.edition, sides.source, &collation);
        let audit = report::audit(Material {
            edition: sides.edition,
            source: sides.source,
            edition_file: &edition_file,
            source_file: &source_file,
            collation: &collation,
            findings: &findings,
            instruments: &vec![None; collation.parts.len()],
            bars: None,
            asked: None,
            hands: None,
            warnings: Vec::new(),
        })?;
        let notes = report::Notes {
            audit: &audit,
            edition: sides.edition,
            source: sides.source,
            collation: &collation,
            findings: &findings,
            outcomes: &clean::outcomes(*sides, cleaned, &collation, &findings),
            names: &clean::finding_names(sides.edition, sides.collation, sides.findings),
            rows: &cleaned.rows,
            on: &cleaned.on,
            provenance: Some(provenance),
            remarks,
        };
        let text = if self.markdown { notes.markdown() } else { notes.csv() };
        self.output.write(Content::Bytes(text.as_bytes()))
    }
}
