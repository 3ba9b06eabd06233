//! The kinds of findings.

use serde::{Deserialize, Serialize};
use strum::{EnumIter, EnumString, IntoEnumIterator, IntoStaticStr};

/// What a finding is about: a kind of mark or of note.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    EnumIter,
    EnumString,
    IntoStaticStr,
    strum::Display,
)]
#[serde(rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
#[allow(missing_docs)] // docs/report.md says what each is
pub enum Category {
    Octave,
    Pitch,
    Spelling,
    Rhythm,
    Note,
    Tie,
    WrittenOut,
    Dynamics,
    Hairpin,
    Slur,
    Articulation,
    Breath,
    Ornament,
    Grace,
    Fermata,
    Tempo,
    Expression,
    Fingering,
    Bowing,
    Technique,
    OctaveLine,
    Pedal,
    Structure,
    Signature,
    Accidental,
    Rehearsal,
    Harmony,
    Lyric,
    Text,
}

impl Category {
    /// All categories, those of notes first.
    pub fn all() -> impl Iterator<Item = Category> {
        Category::iter()
    }

    /// Those of marks.
    pub fn of_marks() -> impl Iterator<Item = Category> {
        Category::iter().filter(|category| !category.is_of_notes())
    }

    /// The name in reports and on the command line.
    pub fn name(self) -> &'static str {
        self.into()
    }

    /// Whether it is a category of notes rather than of marks.
    pub fn is_of_notes(self) -> bool {
        self <= Category::WrittenOut
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn categories_are_named_once() {
        for category in Category::all() {
            assert_eq!(category.name().parse(), Ok(category));
            assert_eq!(serde_json::to_value(category).unwrap(), category.name());
        }
        assert_eq!(Category::all().filter(|c| c.is_of_notes()).count(), 7);
    }
}
