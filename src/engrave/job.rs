//! What goes to the engraver, and what comes back.

use serde::{Deserialize, Serialize};

/// One score to draw.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Job {
    /// MusicXML of our own writing (`musicxml::beside`).
    pub music: String,
    pub layout: Layout,
}

/// How it is to be laid out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Layout {
    /// A picture for each system, to stand in a page of text.
    Systems {
        /// In tenths of a millimetre at the usual size of staves.
        width: u32,
        /// First and last bar, 0-based.
        bars: (usize, usize),
        beats: Beats,
        /// Further pictures: first and last bar, 0-based.
        excerpts: Vec<(usize, usize)>,
    },
    Pages(Sheet),
}

/// Sheets of paper.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    pub paper: Paper,
    /// That stand above each other.
    pub staves: usize,
    pub head: Head,
    /// Of each bar, how many quarter notes of rest there are where it ends:
    /// time to turn the page.
    pub rests: Vec<f64>,
}

/// What stands above the music of the first page.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    pub title: String,
    pub composer: Option<String>,
    pub instrument: Option<String>,
}

/// The size of a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Paper {
    A4,
    Letter,
}

impl Paper {
    /// Width and height, in tenths of a millimetre.
    pub fn size(self) -> (u32, u32) {
        match self {
            Paper::A4 => (2100, 2970),
            Paper::Letter => (2159, 2794),
        }
    }
}

/// The pictures, SVG.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drawing {
    /// Systems or pages, in order.
    pub pictures: Vec<String>,
    /// One for each that was asked for; empty where nothing is to be seen.
    pub excerpts: Vec<String>,
}

/// In which notes the beats of each bar are counted, by its time signature: 4 for quarters.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Beats {
    /// Staves of the upper part.
    pub upper: u32,
    /// Of each bar, in the upper and in the lower part.
    pub units: Vec<[i64; 2]>,
}
