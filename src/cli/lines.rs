//! The lines of a score that the user names: a part, a staff of it, a voice.

use crate::{LineName, Lines};

/// One line of a score.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct OneLine {
    /// Look only at this part: its id, name or number
    #[arg(long, value_name = "P")]
    pub part: Option<String>,
    /// Look only at this staff of the part, counted from the top
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..100))]
    pub staff: Option<u32>,
    /// Look only at this voice of the part, by its number in the file
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..1000))]
    pub voice: Option<u32>,
}

impl OneLine {
    pub fn is_named(&self) -> bool {
        self.name().is_named()
    }

    pub fn name(&self) -> LineName {
        LineName { part: self.part.clone(), staff: self.staff, voice: self.voice }
    }
}

/// A line of the edition, and one of the source.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct LinesOfBoth {
    #[command(flatten)]
    pub edition: OneLine,
    /// Compare with this part of the source: its id, name or number
    #[arg(long, value_name = "P")]
    pub source_part: Option<String>,
    /// Compare with this staff of the source's part
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..100))]
    pub source_staff: Option<u32>,
    /// Compare with this voice of the source's part, by its number in the file
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..1000))]
    pub source_voice: Option<u32>,
}

impl LinesOfBoth {
    /// What the user named on both sides.
    pub fn names(&self) -> Lines {
        let source = LineName { part: self.source_part.clone(), staff: self.source_staff, voice: self.source_voice };
        Lines { edition: self.edition.name(), source }
    }
}
