//! The file of pages to hand out.

use super::failure::Failure;
use super::files::Files;
use super::output::Output;
use crate::Tree;
use crate::engrave::{self, Paper};
use crate::musicxml::Heading;
use crate::musicxml::beside::Brackets;
use crate::score::Score;
use clap::ValueEnum;
use std::io::IsTerminal;
use std::path::Path;

/// What the user says of the pages.
#[derive(Debug, Clone, clap::Args)]
pub struct PageOptions {
    /// The title of the printed pages; "" leaves it out [default: the movement's, else the work's]
    #[arg(long, value_name = "TITLE", requires = "pdf")]
    title: Option<String>,
    /// The line below the title; "" leaves it out [default: the work, where the title is the movement's]
    #[arg(long, value_name = "SUBTITLE", requires = "pdf")]
    subtitle: Option<String>,
    /// The composer on the printed pages; "" leaves them out [default: as the score says]
    #[arg(long, value_name = "COMPOSER", requires = "pdf")]
    composer: Option<String>,
    /// The paper for --pdf
    #[arg(long, value_name = "SIZE", value_enum, default_value_t = Sheet::A4, requires = "pdf")]
    paper: Sheet,
    /// The height of a staff, in millimetres [default: 6.8 for a part, more where pages have room]
    #[arg(long, value_name = "MM", value_parser = millimetres, requires = "pdf")]
    staff_size: Option<f64>,
}

/// The height of a staff.
fn millimetres(text: &str) -> Result<f64, String> {
    let told = text.trim().parse().ok().filter(|height: &f64| (3.0..=12.0).contains(height));
    told.ok_or_else(|| "staves are 3 to 12 millimetres high, such as 7".into())
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Sheet {
    A4,
    Letter,
}

impl From<Sheet> for Paper {
    fn from(sheet: Sheet) -> Paper {
        match sheet {
            Sheet::A4 => Paper::A4,
            Sheet::Letter => Paper::Letter,
        }
    }
}

impl PageOptions {
    /// A heading with what the user says in the place of what a score says.
    pub fn heading(&self, by_default: Heading) -> Heading {
        let said = |own: &Option<String>, other: Option<String>| own.clone().or(other).filter(|t| !t.trim().is_empty());
        Heading {
            title: said(&self.title, by_default.title),
            subtitle: said(&self.subtitle, by_default.subtitle),
            composer: said(&self.composer, by_default.composer),
        }
    }
}

/// Where pages go, and how they are laid out.
#[cfg_attr(not(feature = "engrave"), allow(dead_code))] // then none is ever made
pub struct PdfFile {
    pub output: Output,
    options: PageOptions,
    named: String,
}

/// What pages show of a score.
#[cfg_attr(not(feature = "engrave"), allow(dead_code))]
pub struct Shown {
    /// Only this part.
    pub part: Option<usize>,
    /// Drawn where the score has additions that are set apart.
    pub brackets: Brackets,
    pub heading: Heading,
    /// A line at the foot of the first page.
    pub foot: String,
    /// Staves are smaller where that saves pages beyond these.
    pub most_pages: Option<usize>,
}

impl PdfFile {
    /// # Errors
    /// Wrong use, when this build engraves nothing, the name ends otherwise or
    /// the place cannot be written.
    pub fn new(file: &Path, options: &PageOptions, files: &mut Files) -> Result<PdfFile, Failure> {
        let named = file.display().to_string();
        if !engrave::IS_BUILT_IN {
            return Err(Failure::wrong_use(format!("--pdf: this build cannot engrave; {}", engrave::HOW_TO_GET)));
        }
        let output = files.output(Some(file))?;
        if output.is_stdout() && std::io::stdout().is_terminal() {
            return Err(Failure::wrong_use("pages are not for the terminal; write them to a file, --pdf pages.pdf"));
        }
        if output.is_file() && !file.extension().is_some_and(|e| e.eq_ignore_ascii_case("pdf")) {
            return Err(Failure::wrong_use(format!("{named}: pages are written as PDF; the name must end in .pdf")));
        }
        Ok(PdfFile { output, options: options.clone(), named })
    }

    /// The pages of a score, or of one part of it. `apart` says what is written all the same.
    ///
    /// # Errors
    /// Wrong use, when they cannot be drawn.
    #[cfg(feature = "engrave")]
    pub fn pages(&self, tree: &Tree, score: &Score, shown: Shown, apart: &str) -> Result<Vec<u8>, Failure> {
        use crate::clean;
        use crate::handout::{Handout, pdf};
        let handout = Handout {
            paper: self.options.paper.into(),
            staff_size: self.options.staff_size,
            part: shown.part,
            most_pages: shown.most_pages,
            brackets: shown.brackets,
            heading: self.options.heading(shown.heading),
            foot: &shown.foot,
            key: clean::key(tree).filter(|_| shown.brackets == Brackets::Drawn),
        };
        pdf(tree, score, &handout)
            .map_err(|fault| Failure::wrong_use(format!("{}: not written{apart}: {fault}", self.named)))
    }

    #[cfg(not(feature = "engrave"))]
    pub fn pages(&self, _: &Tree, _: &Score, shown: Shown, _: &str) -> Result<Vec<u8>, Failure> {
        let _ = self.options.heading(shown.heading);
        unreachable!("no file of pages is made without the engraver")
    }
}
