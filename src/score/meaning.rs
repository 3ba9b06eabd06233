//! What is compared of a mark: two marks that say the same have the same meaning.

use super::harmony::{ChordItem, Figure, FigureSign};
use super::{Mark, Sign};
use crate::pitch::{Interval, accidental_name, alteration_of};
use std::borrow::Cow;

/// What a mark says, whatever it is written with: `piano` in words and the letter p are one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Meaning<'m> {
    /// By name: a sign, or words in the lexicon's spelling.
    Term(Cow<'m, str>),
    /// All that the sign says counts.
    Sign(Cow<'m, Sign>),
    /// Fifths of the signature as it sounds, from 0 to 11: twelve more sound the same.
    Key(i32),
    /// Sounds in hundredths of a semitone.
    Grace {
        /// In hundredths of a semitone.
        sounds: Vec<i32>,
        /// With a stroke through the stem.
        slashed: bool,
    },
    /// Without what is printed for it.
    Chord(Vec<ChordMeaning>),
    /// From the top.
    Figures(Vec<FigureMeaning>),
    /// Which it is; `None` where that is not compared.
    AccidentalMark(Option<String>),
    /// Which accidental it is depends on the key, not on the editor.
    Accidental,
}

/// What is compared of a chord symbol.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChordMeaning {
    /// Sounds within the octave, in hundredths of a semitone.
    Root(Option<i32>),
    Bass(Option<i32>),
    Numeral(String),
    Function(String),
    Kind(String),
    Inversion(String),
    Degree(String),
    Diagram,
    Form(String),
}

/// What is compared of a figure.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FigureMeaning {
    number: String,
    /// Names of accidentals before and after it; `None` where they are not compared.
    signs: Vec<Option<String>>,
    goes_on: bool,
}

impl Mark {
    /// What is compared of it, its pitches and signs moved by an interval.
    pub fn meaning(&self, by: Interval) -> Meaning<'_> {
        self.sign.meaning(by)
    }
}

impl Sign {
    /// What is compared of it, its pitches and signs moved by an interval.
    pub fn meaning(&self, by: Interval) -> Meaning<'_> {
        match self {
            Sign::Named(name) => Meaning::Term(Cow::Borrowed(name)),
            Sign::Words { term, .. } | Sign::OtherDynamics { term, .. } => Meaning::Term(term.into()),
            Sign::Rehearsal(text) => Meaning::Term(text.into()),
            Sign::Metronome(metronome) => Meaning::Term(Cow::Borrowed(&metronome.printed)),
            Sign::Line { kind, text } if text.is_empty() => Meaning::Term(kind.name().into()),
            Sign::Trill { .. } => Meaning::Term(TRILL.into()),
            Sign::Key { sounding, .. } => Meaning::Key((sounding + by.fifths()).rem_euclid(12)),
            Sign::Grace { pitches, slashed } => {
                let sounds = pitches.iter().map(|p| p.moved(by).sound()).collect();
                Meaning::Grace { sounds, slashed: *slashed }
            }
            Sign::Chord(chord) => {
                let form = chord.form.iter().map(|form| ChordMeaning::Form(form.clone()));
                Meaning::Chord(chord.items.iter().map(|item| of_chord(item, by)).chain(form).collect())
            }
            Sign::Figures(bass) => Meaning::Figures(bass.figures.iter().map(|f| of_figure(f, by)).collect()),
            Sign::AccidentalMark { sign, .. } => Meaning::AccidentalMark(Some(sign.clone())),
            Sign::Accidental { .. } => Meaning::Accidental,
            sign => Meaning::Sign(Cow::Borrowed(sign)),
        }
    }
}

/// A trill says the same with a wavy line and without.
const TRILL: &str = "trill-mark";

fn of_chord(item: &ChordItem, by: Interval) -> ChordMeaning {
    // Chord symbols have no octave.
    let class = || item.tone()?.pitch.map(|p| p.moved(by).sound().rem_euclid(1200));
    match item {
        ChordItem::Root(_) => ChordMeaning::Root(class()),
        ChordItem::Bass(_) => ChordMeaning::Bass(class()),
        ChordItem::Numeral(text) => ChordMeaning::Numeral(text.clone()),
        ChordItem::Function(text) => ChordMeaning::Function(text.clone()),
        ChordItem::Kind { name, .. } => ChordMeaning::Kind(name.clone()),
        ChordItem::Inversion(text) => ChordMeaning::Inversion(text.clone()),
        ChordItem::Degree(text) => ChordMeaning::Degree(text.clone()),
        ChordItem::Diagram => ChordMeaning::Diagram,
    }
}

fn of_figure(figure: &Figure, by: Interval) -> FigureMeaning {
    let signs = figure.signs().map(|sign| Some(sign.moved_name(by).to_string())).collect();
    FigureMeaning { number: figure.number.clone(), signs, goes_on: figure.goes_on }
}

impl FigureSign {
    /// As it is called where the notes are moved by an interval.
    pub fn moved_name(&self, by: Interval) -> &str {
        let alter = match self.pitch {
            Some(pitch) => Some(pitch.moved(by).alter),
            None => alteration_of(&self.name),
        };
        alter.and_then(accidental_name).unwrap_or(&self.name)
    }
}

impl Meaning<'_> {
    /// Of accidentals at figures and ornaments it counts only that they are
    /// there: in another key they may be others.
    pub fn without_signs(mut self) -> Self {
        match &mut self {
            Meaning::AccidentalMark(sign) => *sign = None,
            Meaning::Figures(figures) => figures.iter_mut().flat_map(|f| &mut f.signs).for_each(|sign| *sign = None),
            _ => {}
        }
        self
    }

    /// The same, without a borrow from its mark.
    pub fn into_owned(self) -> Meaning<'static> {
        match self {
            Meaning::Term(text) => Meaning::Term(text.into_owned().into()),
            Meaning::Sign(sign) => Meaning::Sign(Cow::Owned(sign.into_owned())),
            Meaning::Key(fifths) => Meaning::Key(fifths),
            Meaning::Grace { sounds, slashed } => Meaning::Grace { sounds, slashed },
            Meaning::Chord(items) => Meaning::Chord(items),
            Meaning::Figures(figures) => Meaning::Figures(figures),
            Meaning::AccidentalMark(sign) => Meaning::AccidentalMark(sign),
            Meaning::Accidental => Meaning::Accidental,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Pitch;
    use crate::score::harmony::{ChordSymbol, ChordTone, FiguredBass};

    const STEP: Interval = Interval { steps: 1, semitones: 2 };

    fn as_it_is(sign: &Sign) -> Meaning<'_> {
        sign.meaning(Interval::UNISON)
    }

    #[test]
    fn words_and_signs_of_one_term_say_the_same() {
        let letter = Sign::Named("p".into());
        let word = Sign::Words { printed: "piano".into(), term: "p".into() };
        assert_eq!(as_it_is(&letter), as_it_is(&word));
        let [sign, line] = [true, false].map(|has_sign| Sign::Trill { has_sign });
        assert_eq!(as_it_is(&sign), as_it_is(&line));
        assert_ne!(as_it_is(&sign), as_it_is(&letter));
    }

    #[test]
    fn keys_and_pitches_are_compared_in_one_key() {
        let key = |fifths| Sign::Key { written: fifths, sounding: fifths };
        assert_eq!(key(-1).meaning(STEP), as_it_is(&key(1)));
        assert_eq!(as_it_is(&key(-6)), as_it_is(&key(6)));
        let grace = |step| Sign::Grace { pitches: vec![Pitch::new(step, 0, 4)], slashed: true };
        assert_eq!(grace(0).meaning(STEP), as_it_is(&grace(1)));
        let chord = |octave| {
            let tone = ChordTone { printed: "C".into(), pitch: Some(Pitch::new(0, 0, octave)) };
            Sign::Chord(ChordSymbol { items: vec![ChordItem::Root(tone)], form: None })
        };
        assert_eq!(as_it_is(&chord(3)), as_it_is(&chord(4)));
    }

    #[test]
    fn figures_take_the_sign_that_their_note_needs() {
        let figures = |name: &str, pitch| {
            let before = Some(FigureSign { name: name.into(), pitch });
            let figure = Figure { before, number: "6".into(), after: None, goes_on: false };
            Sign::Figures(FiguredBass { figures: vec![figure], in_parentheses: false })
        };
        // A sharp on E becomes one on F in a key a tone higher: there it is a double sharp.
        let sharp = figures("sharp", Some(Pitch::new(2, 100, 4)));
        assert_eq!(sharp.meaning(STEP), as_it_is(&figures("double-sharp", None)));
        assert_ne!(as_it_is(&sharp), as_it_is(&figures("natural", None)));
        assert_eq!(as_it_is(&sharp).without_signs(), as_it_is(&figures("natural", None)).without_signs());
    }
}
