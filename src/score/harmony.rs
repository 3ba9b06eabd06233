//! Chord symbols and figured basses.

use crate::pitch::Pitch;

/// A chord symbol, or several that stand together.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ChordSymbol {
    /// In the order in which they are printed.
    pub items: Vec<ChordItem>,
    /// What the file says of it, as `implied` or `alternate`.
    pub form: Option<String>,
}

/// A piece of a chord symbol.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChordItem {
    /// Its root.
    Root(ChordTone),
    /// The note under it, after a stroke.
    Bass(ChordTone),
    /// A degree of the key.
    Numeral(String),
    /// A function, as in `D7`.
    Function(String),
    /// The kind of chord, and what is printed for it.
    Kind {
        /// As in `minor`.
        name: String,
        /// As it stands there, as in `m`.
        printed: String,
    },
    /// Its inversion.
    Inversion(String),
    /// A note added, altered or left out.
    Degree(String),
    /// A diagram of where the fingers go, which changes with the key.
    Diagram,
}

/// A root or a bass as it is printed, and as it sounds.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ChordTone {
    /// As it stands there, as in `m`.
    pub printed: String,
    /// As it sounds; its octave says nothing.
    pub pitch: Option<Pitch>,
}

/// Figures of a bass, from the top.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FiguredBass {
    /// From the top.
    pub figures: Vec<Figure>,
    /// Which only set them apart.
    pub in_parentheses: bool,
}

/// A number over the bass, with its signs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Figure {
    /// The sign before the number.
    pub before: Option<FigureSign>,
    /// Empty for a sign alone, which is at the third.
    pub number: String,
    /// The sign after the number.
    pub after: Option<FigureSign>,
    /// A line shows that it goes on.
    pub goes_on: bool,
}

/// An accidental or a stroke at a figure.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FigureSign {
    /// As the file calls it.
    pub name: String,
    /// The note that it alters, as it sounds; its octave says nothing.
    pub pitch: Option<Pitch>,
}

impl ChordSymbol {
    /// Nothing of it is printed.
    pub fn is_empty(&self) -> bool {
        self.items.iter().all(|item| match item {
            ChordItem::Root(tone) => tone.printed.is_empty(),
            ChordItem::Numeral(text) | ChordItem::Function(text) => text.is_empty(),
            ChordItem::Kind { printed, .. } => printed.is_empty(),
            _ => false,
        })
    }
}

impl Figure {
    pub(super) fn signs(&self) -> impl Iterator<Item = &FigureSign> {
        self.before.iter().chain(&self.after)
    }
}

impl ChordItem {
    pub(super) fn tone(&self) -> Option<&ChordTone> {
        match self {
            ChordItem::Root(tone) | ChordItem::Bass(tone) => Some(tone),
            _ => None,
        }
    }
}
