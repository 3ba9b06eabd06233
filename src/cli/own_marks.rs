//! The user's own marks as they give them: a sheet, or a marked copy.

use super::failure::Failure;
use super::input;
use crate::clean::{MarkedCopy, Origin, OwnMarks, Sheet, SheetError};
use crate::musicxml::{self, Input, Parsed, Tree};
use std::path::Path;

pub struct MarksFile {
    pub origin: Origin,
    marks: Marks,
}

enum Marks {
    Sheet(Sheet),
    Copy(Input),
}

impl MarksFile {
    /// Reads the marks; a name that ends in `.toml` is a sheet. What has no name that tells is what it begins like.
    ///
    /// # Errors
    /// Where the file cannot be read; wrong use, where a mark of a sheet is not one.
    pub fn read(file: &Path) -> Result<MarksFile, Failure> {
        let (name, bytes) = Input::bytes_of(file)?;
        let origin = Origin::new(file, &bytes);
        let is_sheet = match file.extension() {
            Some(ending) => ending.eq_ignore_ascii_case("toml"),
            None => !Input::may_be(&bytes),
        };
        let marks = if is_sheet {
            let text = input::utf8(&name, bytes)?;
            Marks::Sheet(Sheet::parse(&text).map_err(|e| sheet_failure(file, &e))?)
        } else {
            Marks::Copy(Input::from_bytes(&name, bytes)?)
        };
        Ok(MarksFile { origin, marks })
    }

    /// What a sheet is called.
    pub fn title(&self) -> Option<&str> {
        match &self.marks {
            Marks::Sheet(sheet) => sheet.title.as_deref(),
            Marks::Copy(_) => None,
        }
    }

    /// A marked copy as it reads; `None` for a sheet.
    ///
    /// # Errors
    /// Where the copy cannot be read.
    pub fn marked(&self) -> Result<Option<(Tree<'_>, Parsed)>, Failure> {
        let Marks::Copy(input) = &self.marks else { return Ok(None) };
        let tree = Tree::parse(input)?;
        let reading = musicxml::read(&tree)?;
        Ok(Some((tree, reading)))
    }

    /// What is to be laid on; marks of a sheet without a part of their own go
    /// to `part`. `marked` is what `marked` gave.
    pub fn own_marks<'m>(&'m self, marked: Option<&'m (Tree<'m>, Parsed)>, part: usize) -> Option<OwnMarks<'m>> {
        match (&self.marks, marked) {
            (Marks::Sheet(sheet), _) => Some(OwnMarks::Sheet { sheet, part }),
            (Marks::Copy(_), marked) => marked.map(|(tree, reading)| {
                OwnMarks::Copy(MarkedCopy { tree, score: &reading.score, warnings: &reading.warnings })
            }),
        }
    }
}

pub fn sheet_failure(path: &Path, error: &SheetError) -> Failure {
    let message = format!("{}: {error}", path.display());
    match error {
        SheetError::Syntax(_) => Failure::unreadable(message),
        SheetError::Mark { .. } => Failure::wrong_use(message),
    }
}
