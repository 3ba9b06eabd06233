//! What goes to the engraver, and what comes back.

use crate::musicxml::beside::Signs;
use serde::{Deserialize, Serialize};

/// What is to be drawn. All music is MusicXML of our own writing (`musicxml::beside`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Job {
    /// Staves of two parts, for a page of text.
    Systems(Vec<Piece>),
    /// Staves of one part, for a page of text.
    Strips(Vec<Strip>),
    Pages {
        music: String,
        layout: PageLayout,
    },
}

/// Two parts above each other.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Piece {
    /// Of the page, in tenths of a millimetre at the usual size of staves; `None`
    /// for one line, however long.
    pub width: Option<u32>,
    pub music: String,
    pub beats: Beats,
    /// Of each bar what is the upper and the lower part's own.
    pub signs: Vec<[Signs; 2]>,
}

/// A stretch of a part.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Strip {
    /// Of the page, in tenths of a millimetre at the usual size of staves.
    pub width: u32,
    pub music: String,
}

/// How pages are laid out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PageLayout {
    pub paper: Paper,
    /// Height of a staff, in millimetres; `None` for one that suits the pages.
    pub staff_size: Option<f64>,
    /// Whether bars of rest become one with their number, as in a part.
    pub joins_rests: bool,
    pub head: Head,
    /// Of each bar, how many quarter notes of rest there are where it ends:
    /// time to turn the page.
    pub rests: Vec<f64>,
}

/// What stands above the music of the first page.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    pub title: Vec<HeadLine>,
    pub subtitle: Vec<HeadLine>,
    pub composer: Vec<HeadLine>,
    pub instrument: Vec<HeadLine>,
}

/// A line of a head.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HeadLine {
    pub text: String,
    pub color: Option<String>,
}

/// The size of a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Paper {
    A4,
    Letter,
}

impl Job {
    /// How much music it is.
    pub fn bytes(&self) -> usize {
        match self {
            Job::Systems(pieces) => pieces.iter().map(|piece| piece.music.len()).sum(),
            Job::Strips(strips) => strips.iter().map(|strip| strip.music.len()).sum(),
            Job::Pages { music, .. } => music.len(),
        }
    }
}

#[cfg(feature = "engrave")]
impl Paper {
    /// Width and height, in tenths of a millimetre.
    pub fn size(self) -> (u32, u32) {
        match self {
            Paper::A4 => (2100, 2970),
            Paper::Letter => (2159, 2794),
        }
    }
}

/// The pictures, SVG: of each piece those it needs, each with as many systems as
/// it has room for; all sheets together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drawing {
    pub pictures: Vec<Vec<String>>,
}

/// In which notes the beats of each bar are counted, by its time signature: 4 for quarters.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Beats {
    /// Staves of the upper part, and of the lower.
    pub upper: u32,
    pub lower: u32,
    /// Of each bar, in the upper and in the lower part.
    pub units: Vec<[i64; 2]>,
}
