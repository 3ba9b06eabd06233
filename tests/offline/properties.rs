//! What must hold for any pair of scores: a clean copy is proved, has nothing
//! of the editor's left, and cleaning it again changes nothing. Scores are made
//! at random from a few rhythms, and editions from them by random changes.

use crate::common::compare::{compare, compare_if_alike, compare_with};
use crate::common::music::{Style, score};
use obelus::{Additions, Policy};
use proptest::prelude::*;

/// Rhythms of a 4/4 bar; ties only where a note of the same pitch follows.
const RHYTHMS: [&[&str]; 8] = [
    &["w"],
    &["h", "h"],
    &["q", "q", "q", "q"],
    &["q.", "e", "q", "q"],
    &["e", "e", "q", "e", "e", "q"],
    &["et", "et", "et", "q", "h"],
    &["s", "s", "s", "s", "q", "e.", "s", "q"],
    &["h.", "q"],
];
const PITCHES: [&str; 12] = ["D4", "E4", "F#4", "G4", "A4", "B4", "C5", "C#5", "D5", "Eb5", "F5", "G5"];
const MARKS: [&str; 7] = ["staccato", "accent", "trill-mark", "mordent", "up-bow", "fermata", "tenuto"];

/// One bar as tokens of the short notation.
type Bar = Vec<String>;

fn bar() -> impl Strategy<Value = Bar> {
    (0..RHYTHMS.len(), prop::collection::vec((0..PITCHES.len(), 0..12_usize), 8)).prop_map(|(rhythm, notes)| {
        RHYTHMS[rhythm]
            .iter()
            .zip(notes)
            .map(|(length, (pitch, extra))| match extra {
                0 => format!("r{length}"),
                1 => format!("{}{length}({})", PITCHES[pitch], MARKS[pitch % MARKS.len()]),
                _ => format!("{}{length}", PITCHES[pitch]),
            })
            .collect()
    })
}

/// What an editor does to a piece.
#[derive(Debug, Clone)]
enum Deed {
    Mark { bar: usize, note: usize, mark: usize },
    Word { bar: usize, note: usize, word: usize },
    Grace { bar: usize, note: usize },
    Pitch { bar: usize, note: usize, pitch: usize },
    Octave { bar: usize, bars: usize },
    Replace { bar: usize, with: Bar },
    Insert { bar: usize, what: Bar },
    Cut { bar: usize },
}

fn deed() -> impl Strategy<Value = Deed> {
    let place = || (0..32_usize, 0..8_usize);
    prop_oneof![
        (place(), 0..MARKS.len()).prop_map(|((bar, note), mark)| Deed::Mark { bar, note, mark }),
        (place(), 0..4_usize).prop_map(|((bar, note), word)| Deed::Word { bar, note, word }),
        place().prop_map(|(bar, note)| Deed::Grace { bar, note }),
        (place(), 0..PITCHES.len()).prop_map(|((bar, note), pitch)| Deed::Pitch { bar, note, pitch }),
        (0..32_usize, 1..3_usize).prop_map(|(bar, bars)| Deed::Octave { bar, bars }),
        (0..32_usize, bar()).prop_map(|(bar, with)| Deed::Replace { bar, with }),
        (0..32_usize, bar()).prop_map(|(bar, what)| Deed::Insert { bar, what }),
        (0..32_usize).prop_map(|bar| Deed::Cut { bar }),
    ]
}

fn is_note(token: &str) -> bool {
    token.starts_with(|c: char| c.is_ascii_uppercase())
}

fn edit(bars: &mut Vec<Bar>, deed: &Deed) {
    let count = bars.len();
    let token = |bars: &mut Vec<Bar>, bar: usize, note: usize| -> Option<(usize, usize)> {
        let bar = bar % count;
        let note = note % bars[bar].len();
        is_note(&bars[bar][note]).then_some((bar, note))
    };
    match deed {
        Deed::Mark { bar, note, mark } => {
            if let Some((bar, note)) = token(bars, *bar, *note)
                && !bars[bar][note].contains('(')
            {
                bars[bar][note] += &format!("({})", MARKS[*mark]);
            }
        }
        Deed::Word { bar, note, word } => {
            if let Some((bar, note)) = token(bars, *bar, *note) {
                let words = ["%p", "%f", "\"dolce\"", "\"poco_rit.\""];
                bars[bar].insert(note, words[*word].into());
            }
        }
        Deed::Grace { bar, note } => {
            if let Some((bar, note)) = token(bars, *bar, *note) {
                bars[bar].insert(note, "g:E5".into());
            }
        }
        Deed::Pitch { bar, note, pitch } => {
            if let Some((bar, note)) = token(bars, *bar, *note) {
                let at = bars[bar][note].find(|c: char| c.is_ascii_digit()).unwrap() + 1;
                bars[bar][note] = format!("{}{}", PITCHES[*pitch], &bars[bar][note][at..]);
            }
        }
        Deed::Octave { bar, bars: more } => {
            for bar in (*bar % count..count).take(*more) {
                for token in bars[bar].iter_mut().filter(|t| is_note(t)) {
                    *token = token.replacen('5', "4", 1);
                }
            }
        }
        Deed::Replace { bar, with } => bars[bar % count] = with.clone(),
        Deed::Insert { bar, what } => bars.insert(bar % count, what.clone()),
        Deed::Cut { bar } => {
            if count > 4 {
                bars.remove(bar % count);
            }
        }
    }
}

fn text(bars: &[Bar], divisions: i64) -> String {
    let music: Vec<String> = bars.iter().map(|b| b.join(" ")).collect();
    score(&Style { divisions, fifths: 1, ..Style::default() }, &music.join(" | "))
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_clean_copy_has_nothing_of_the_editor_left(
        bars in prop::collection::vec(bar(), 6..24),
        deeds in prop::collection::vec(deed(), 0..8),
    ) {
        let source = text(&bars, 24);
        let mut edited = bars.clone();
        deeds.iter().for_each(|d| edit(&mut edited, d));
        let edition = text(&edited, 48);
        let Some(first) = compare_if_alike(&edition, &source, &Policy::default()) else { return Ok(()) };
        let again = compare(&first.clean, &source);
        prop_assert_eq!((again.found.len(), again.passages.len()), (0, 0));
        prop_assert_eq!(&again.clean, &first.clean);
        for additions in [Additions::Bracket, Additions::Color] {
            let policy = Policy { additions, ..Policy::default() };
            let apart = compare_if_alike(&edition, &source, &policy).expect("they were alike");
            prop_assert_eq!(&compare_with(&apart.clean, &source, &policy).clean, &apart.clean);
            prop_assert_eq!(compare(&compare(&apart.clean, &source).clean, &source).found.len(), 0);
        }
    }
}
