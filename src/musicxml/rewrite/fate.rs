//! What becomes of each bar.

use crate::score::Part;
use crate::time::Time;

/// What becomes of one row of the outline.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// The edition's bar stays; single notes and marks in it may change.
    Keep { edition: usize, source: Option<usize>, shift: Time },
    /// The edition's bar gets the music of the source's, so much later as the
    /// one is filled up with rests before it and the other is not.
    Rebuild { edition: usize, source: usize, shift: Time },
    /// A bar of the source that the edition lacks comes in.
    Fresh { source: usize },
    /// A bar of the edition goes.
    Drop { edition: usize },
    /// A bar of the source stays out.
    Absent,
}

impl Fate {
    /// Every bar of a part as it is, bar for row.
    pub fn all_kept(part: &Part) -> Vec<Fate> {
        (0..part.bars.len()).map(|edition| Fate::Keep { edition, source: None, shift: Time::zero() }).collect()
    }

    pub fn edition(self) -> Option<usize> {
        match self {
            Fate::Keep { edition, .. } | Fate::Rebuild { edition, .. } | Fate::Drop { edition } => Some(edition),
            Fate::Fresh { .. } | Fate::Absent => None,
        }
    }

    /// The source bar whose music the row has afterwards, or stands for.
    pub fn source(self) -> Option<usize> {
        match self {
            Fate::Keep { source, .. } => source,
            Fate::Rebuild { source, .. } | Fate::Fresh { source } => Some(source),
            Fate::Drop { .. } | Fate::Absent => None,
        }
    }

    /// How much later in its bar the source's music stands.
    pub fn shift(self) -> Time {
        match self {
            Fate::Keep { shift, .. } | Fate::Rebuild { shift, .. } => shift,
            _ => Time::zero(),
        }
    }

    pub fn is_composed(self) -> bool {
        matches!(self, Fate::Rebuild { .. } | Fate::Fresh { .. })
    }

    pub fn is_in_result(self) -> bool {
        !matches!(self, Fate::Drop { .. } | Fate::Absent)
    }
}
