//! A teacher's own marks as the user gives them: a sheet, or a marked copy.

use super::failure::Failure;
use super::input;
use obelus::clean::{self, Cleaned, LayError, Layered, MarkedCopy, Origin, Policy, Sheet, SheetError, Sides};
use obelus::musicxml::{self, Input, Tree};
use std::path::{Path, PathBuf};

pub struct Mine {
    file: PathBuf,
    pub origin: Origin,
    marks: Marks,
}

enum Marks {
    Sheet(Sheet),
    Copy(Input),
}

impl Mine {
    /// Reads the marks; a name that ends in `.toml` is a sheet.
    ///
    /// # Errors
    /// Where the file cannot be read; wrong use, where a mark of a sheet is not one.
    pub fn read(file: &Path) -> Result<Mine, Failure> {
        let is_sheet = file.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
        let (marks, origin) = if is_sheet {
            let (text, origin) = input::text(file)?;
            (Marks::Sheet(Sheet::parse(&text).map_err(|e| sheet_failure(file, &e))?), origin)
        } else {
            let (input, origin) = input::open(file)?;
            (Marks::Copy(input), origin)
        };
        Ok(Mine { file: file.to_path_buf(), origin, marks })
    }

    /// Lays the marks on a clean copy; those of a sheet without a part of their
    /// own go to `part`.
    pub fn lay(
        &self,
        like: &Input,
        cleaned: &Cleaned,
        sides: &Sides,
        part: usize,
        policy: &Policy,
    ) -> Result<Layered, Failure> {
        match &self.marks {
            Marks::Sheet(sheet) => {
                let layered = clean::lay(like, cleaned, sheet, part, policy);
                layered.map_err(|error| match error {
                    LayError::Sheet(error) => sheet_failure(&self.file, &error),
                    LayError::Failure(error) => error.into(),
                })
            }
            Marks::Copy(input) => {
                let tree = Tree::parse(input)?;
                let mut reading = musicxml::read(&tree)?;
                let copy = MarkedCopy { tree: &tree, score: &reading.score };
                let mut layered = clean::lay_copy(like, cleaned, copy, sides, policy)?;
                layered.warnings.splice(0..0, reading.warnings.drain(..).map(|w| format!("your copy: {w}")));
                Ok(layered)
            }
        }
    }
}

fn sheet_failure(path: &Path, error: &SheetError) -> Failure {
    let message = format!("{}: {error}", path.display());
    match error {
        SheetError::Syntax(_) => Failure::unreadable(message),
        SheetError::Mark { .. } => Failure::wrong_use(message),
    }
}
