//! Key signatures, and the keys that they stand for.

use super::{FIFTHS, Interval, Pitch};

/// The fifths of a key in words, as in `D minor`, `Bb major`.
///
/// # Errors
/// With what a key looks like.
pub fn key_fifths(text: &str) -> Result<i32, String> {
    let wrong = || format!("{text:?} is not a key; write it as \"D minor\" or \"Bb major\"");
    let (tonic, mode) = text.trim().split_once(' ').ok_or_else(wrong)?;
    let tonic = Pitch::parse(&format!("{tonic}4")).ok_or_else(wrong)?;
    let major = FIFTHS[tonic.step as usize] + 7 * tonic.alter / 100;
    let fifths = match mode.trim().to_lowercase().as_str() {
        "major" => major,
        "minor" => major - 3,
        _ => return Err(wrong()),
    };
    if fifths.abs() > 7 {
        Err(format!("{text} would need {}; write it otherwise", key_name(fifths)))
    } else {
        Ok(fifths)
    }
}

/// The nearest interval that moves a signature by so many fifths.
pub fn nearest_by_fifths(fifths: i32) -> Interval {
    let semitones = (7 * fifths + 5).rem_euclid(12) - 5;
    Interval::new((7 * semitones - fifths) / 12, semitones)
}

/// The alteration that a signature of `fifths` gives a letter, in hundredths.
pub fn key_alter(fifths: i32, step: i32) -> i32 {
    // Sharps come in the order F C G D A E B, flats the other way round.
    const ORDER: [i32; 7] = [1, 3, 5, 0, 2, 4, 6];
    let place = ORDER[step as usize];
    if fifths > 0 {
        ((fifths - place + 6).div_euclid(7)) * 100
    } else {
        -((-fifths - (6 - place) + 6).div_euclid(7)) * 100
    }
}

/// A signature in words, as in `2 flats`.
pub fn key_name(fifths: i32) -> String {
    let sign = if fifths < 0 { "flat" } else { "sharp" };
    match fifths.abs() {
        0 => "no sharps or flats".into(),
        1 => format!("1 {sign}"),
        n => format!("{n} {sign}s"),
    }
}

/// What a file says of a signature beside its signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// The third above the keynote is major.
    Major,
    /// It is minor.
    Minor,
    /// A church mode, or none.
    Other,
}

/// The key that a signature stands for, as in `D major`; both where the mode is not known, none for other modes and
/// more than seven signs.
pub fn key_in_words(fifths: i32, mode: Option<Mode>) -> Option<String> {
    if fifths.abs() > 7 {
        return None;
    }
    let tonic = |fifths: i32| {
        let natural = FIFTHS.iter().position(|f| (f - fifths) % 7 == 0).expect("seven letters, seven fifths");
        Pitch::new(natural as i32, (fifths - FIFTHS[natural]) / 7 * 100, 4).name()
    };
    let (major, minor) = (tonic(fifths), tonic(fifths + 3));
    match mode {
        Some(Mode::Major) => Some(format!("{major} major")),
        Some(Mode::Minor) => Some(format!("{minor} minor")),
        Some(Mode::Other) => None,
        None => Some(format!("{major} major or {minor} minor")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Any primer.
    #[test]
    fn signatures_have_their_keys() {
        for (fifths, major, minor) in [
            (0, "C", "A"),
            (1, "G", "E"),
            (-2, "Bb", "G"),
            (6, "F#", "D#"),
            (-7, "Cb", "Ab"),
            (7, "C#", "A#"),
            (5, "B", "G#"),
        ] {
            assert_eq!(key_in_words(fifths, None), Some(format!("{major} major or {minor} minor")));
            for (mode, words) in [(Mode::Major, format!("{major} major")), (Mode::Minor, format!("{minor} minor"))] {
                assert_eq!(key_fifths(&words), Ok(fifths));
                assert_eq!(key_in_words(fifths, Some(mode)), Some(words));
            }
        }
        assert_eq!(key_in_words(8, None), None);
        assert_eq!(key_in_words(1, Some(Mode::Other)), None);
    }

    #[test]
    fn keys_are_read_and_reached_by_the_nearest_way() {
        assert_eq!(key_fifths("D minor"), Ok(-1));
        assert_eq!(key_fifths("Bb major"), Ok(-2));
        assert_eq!(key_fifths("f# minor"), Ok(3));
        assert!(key_fifths("G# major").unwrap_err().contains("8 sharps"));
        assert!(key_fifths("H-Dur").is_err());
        // From G major (one sharp) to F, Bb and E: fifths -2, -3, 3.
        assert_eq!(nearest_by_fifths(-2).name(), "down a major second");
        assert_eq!(nearest_by_fifths(-3).name(), "up a minor third");
        assert_eq!(nearest_by_fifths(3).name(), "down a minor third");
    }

    #[test]
    fn signatures_alter_letters() {
        assert_eq!(key_alter(0, 3), 0);
        assert_eq!(key_alter(1, 3), 100);
        assert_eq!(key_alter(2, 0), 100);
        assert_eq!(key_alter(1, 0), 0);
        assert_eq!(key_alter(-1, 6), -100);
        assert_eq!(key_alter(-2, 2), -100);
        assert_eq!(key_alter(-2, 5), 0);
        assert_eq!(key_alter(7, 6), 100);
        assert_eq!(key_alter(-7, 3), -100);
        assert_eq!(key_alter(8, 3), 200);
    }
}
