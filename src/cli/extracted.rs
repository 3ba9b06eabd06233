//! `clean --alone`: the edition as if one of its lines were all of it.

use super::failure::Failure;
use obelus::clean;
use obelus::musicxml::{Input, Reading, Tree};

pub struct Extracted {
    pub input: Input,
    /// As it is spoken of.
    pub line: String,
    /// Those of the whole edition come first.
    pub warnings: Vec<String>,
}

impl Extracted {
    /// # Errors
    /// Where the text with the line is not what it should be.
    pub fn new(input: &Input, tree: &Tree, edition: &Reading, line: usize) -> Result<Extracted, Failure> {
        let alone = clean::alone(tree, &edition.score, line)?;
        let mut warnings = edition.warnings.clone();
        warnings.extend(alone.warnings);
        let line = edition.score.parts[line].spoken().into_owned();
        Ok(Extracted { input: input.with_text(alone.text), line, warnings })
    }
}
