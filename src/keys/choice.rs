//! Which interval leads to a key: of all spellings of so many semitones the one
//! with the simplest signatures.

use crate::pitch::Interval;

/// The interval of so many semitones that lies so many fifths away on the line
/// of fifths; `None` where no interval is both.
fn interval(semitones: i32, fifths: i32) -> Option<Interval> {
    // A fifth is four letters and seven semitones, the rest are octaves.
    let rest = semitones - 7 * fifths;
    (rest % 12 == 0).then(|| Interval::new(4 * fifths + 7 * (rest / 12), semitones))
}

/// The interval of so many semitones after which the signatures need the
/// fewest sharps or flats. `signatures` are the fifths of each stretch of the
/// part, and how many notes it has. None may need more than seven where that
/// can be had; of two alike the one with the signs that the part has already,
/// or else flats.
pub fn simplest(semitones: i32, signatures: &[(i32, usize)]) -> Interval {
    let nearest = (7 * semitones).rem_euclid(12);
    let signs = |fifths: i32| {
        let all = signatures.iter().map(|(own, notes)| ((own + fifths).abs(), *notes));
        let beyond: usize = all.clone().filter(|(signs, _)| *signs > 7).map(|(_, notes)| notes.max(1)).sum();
        let many: usize = all.map(|(signs, notes)| signs as usize * notes.max(1)).sum();
        (beyond, many)
    };
    let sharper: i32 = signatures.iter().map(|(own, notes)| own * *notes as i32).sum();
    let best = (-3..=3).map(|turn| nearest + 12 * turn).min_by_key(|fifths| {
        // Of two ways with as many signs: F sharp for a part with sharps, G flat for one with flats.
        let other_signs = (sharper > 0) != (*fifths > 0);
        (signs(*fifths), other_signs, fifths.abs())
    });
    best.and_then(|fifths| interval(semitones, fifths)).expect("fifths are chosen to fit the semitones")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(fifths: i32, semitones: i32) -> (String, i32) {
        let interval = simplest(semitones, &[(fifths, 100)]);
        assert_eq!(interval.semitones, semitones);
        (interval.name(), fifths + interval.fifths())
    }

    // Computed with music21 10.5.1 (music21.key.KeySignature.transpose); the
    // keys by their signatures.
    #[test]
    fn keys_go_where_musicians_put_them() {
        let (c, g, d, a, e, b, f, b_flat, e_flat) = (0, 1, 2, 3, 4, 5, -1, -2, -3);
        let a_flat = -4;
        for (name, semitones, pairs) in [
            (
                "down a major second",
                -2,
                vec![(c, b_flat), (g, f), (d, c), (a, g), (e, d), (f, e_flat), (b_flat, a_flat)],
            ),
            ("down a minor third", -3, vec![(c, a), (g, e), (f, d), (b_flat, g), (e_flat, c), (d, b)]),
            ("up a minor third", 3, vec![(c, e_flat), (g, b_flat), (d, f), (a, c), (e, g), (b, d)]),
            ("up a major second", 2, vec![(c, d), (f, g), (b_flat, c), (e_flat, f)]),
            ("up a perfect fourth", 5, vec![(g, c), (d, g), (f, b_flat)]),
            ("down a perfect fifth", -7, vec![(g, c), (d, g), (f, b_flat)]),
            ("up a perfect fifth", 7, vec![(c, g), (f, c)]),
            ("up an octave", 12, vec![(c, c), (e_flat, e_flat)]),
        ] {
            for (from, to) in pairs {
                assert_eq!(names(from, semitones), (name.to_string(), to), "from {from}");
            }
        }
    }

    // B down a minor third is G sharp, of eight sharps: respelled as A flat.
    #[test]
    fn a_signature_that_overflows_is_spelled_otherwise() {
        let (name, fifths) = names(5, -3);
        assert_eq!((name.as_str(), fifths), ("down an augmented second", -4));
    }

    #[test]
    fn of_two_ways_the_one_with_the_signs_it_has() {
        assert_eq!(names(0, 6).1.abs(), 6);
        assert_eq!(names(1, 5).1, 0);
        // E to B flat or A sharp; G flat major for a part in flats, F sharp for one in sharps.
        assert_eq!(names(2, 4).1, 6);
        assert_eq!(names(-2, -4).1, -6);
    }

    #[test]
    fn every_semitone_has_an_interval_of_its_own() {
        for fifths in -7..=7 {
            for semitones in -12..=12 {
                let interval = simplest(semitones, &[(fifths, 1)]);
                assert_eq!(interval.semitones, semitones);
                assert!((fifths + interval.fifths()).abs() <= 6, "{fifths} {semitones}");
                assert!((interval.steps - semitones * 7 / 12).abs() <= 1, "{fifths} {semitones} {interval:?}");
            }
        }
    }
}
