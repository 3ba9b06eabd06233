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
pub enum Category {
    /// The same note in another octave.
    Octave,
    /// Another note.
    Pitch,
    /// The same sound, written with another letter.
    Spelling,
    /// Another length, or another place in the bar.
    Rhythm,
    /// A note that one side alone has.
    Note,
    /// Held where the other side strikes again.
    Tie,
    /// An ornament in small notes, or bars that the other side only repeats.
    WrittenOut,
    /// Letters and words: `p`, `cresc.`
    Dynamics,
    /// A wedge.
    Hairpin,
    /// A slur.
    Slur,
    /// Signs on notes: `staccato`, `accent`.
    Articulation,
    /// A breath mark or a caesura.
    Breath,
    /// A trill, a turn, a glissando, an arpeggio.
    Ornament,
    /// Grace notes.
    Grace,
    /// A fermata.
    Fermata,
    /// Metronome marks and words of speed.
    Tempo,
    /// Words of character: `dolce`.
    Expression,
    /// Fingers, strings, holes.
    Fingering,
    /// Up- and down-bows.
    Bowing,
    /// How a note is made: `pizz.`, harmonics.
    Technique,
    /// Notes printed in another octave than they sound.
    OctaveLine,
    /// Pedal lines and signs.
    Pedal,
    /// Repeats, endings, double bars, `da capo`, segno and coda.
    Structure,
    /// Keys and times.
    Signature,
    /// An accidental more than the note needs.
    Accidental,
    /// Letters and numbers to rehearse by.
    Rehearsal,
    /// Chord symbols and figured bass.
    Harmony,
    /// Syllables under notes.
    Lyric,
    /// All other words and signs.
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
