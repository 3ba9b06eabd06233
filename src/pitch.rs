//! Pitches, intervals and key signatures as musicians spell them.

mod accidental;
mod key;

use std::fmt::{self, Write};

pub use accidental::{accidental_name, alteration_of, short_accidental};
pub use key::{Mode, key_alter, key_fifths, key_in_words, key_name, nearest_by_fifths};

/// The letter names, C first, as `Pitch::step` counts them.
pub const LETTERS: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];
/// Semitones of the naturals above C.
const NATURALS: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
/// Fifths of the naturals above C, on the line of fifths.
const FIFTHS: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];

/// A spelled pitch. The octave is the letter's: B#3 sounds as C4.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pitch {
    /// As in scientific names: C4 is middle C.
    pub octave: i32,
    /// Letter: 0 is C, 6 is B.
    pub step: i32,
    /// Hundredths of a semitone; 100 is a sharp, -50 a quarter tone down.
    pub alter: i32,
}

impl Pitch {
    /// `alter` in hundredths of a semitone.
    pub fn new(step: i32, alter: i32, octave: i32) -> Self {
        Pitch { octave, step, alter }
    }

    /// Steps of the staff, counted from C0.
    pub fn staff_place(self) -> i32 {
        self.octave * 7 + self.step
    }

    /// Sound in hundredths of a semitone; C4 is 6000.
    pub fn sound(self) -> i32 {
        ((self.octave + 1) * 12 + NATURALS[self.step as usize]) * 100 + self.alter
    }

    /// The pitch an interval away, spelled as the interval asks.
    pub fn moved(self, by: Interval) -> Pitch {
        let place = self.staff_place() + by.steps;
        let natural = Pitch::new(place.rem_euclid(7), 0, place.div_euclid(7));
        let alter = self.sound() + by.semitones * 100 - natural.sound();
        Pitch { alter, ..natural }
    }

    /// The same sound with at most a double accidental, as music is written.
    pub fn simplest(self) -> Pitch {
        let mut out = self;
        while out.alter.abs() > 200 {
            let step = if out.alter > 0 { 1 } else { -1 };
            let place = out.staff_place() + step;
            let natural = Pitch::new(place.rem_euclid(7), 0, place.div_euclid(7));
            out = Pitch { alter: out.sound() - natural.sound(), ..natural };
        }
        out
    }

    /// The same pitch class, spelling included.
    pub fn same_name(self, other: Pitch) -> bool {
        self.step == other.step && self.alter == other.alter
    }

    /// Reads `F#6`, `Bb3`, `C4`, `Ebb5` or `F##4`.
    pub fn parse(text: &str) -> Option<Pitch> {
        let mut chars = text.chars();
        let letter = chars.next()?.to_ascii_uppercase();
        let step = LETTERS.iter().position(|l| *l == letter)? as i32;
        let rest = chars.as_str();
        let name = rest.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-');
        let octave = rest[name.len()..].parse().ok()?;
        let alter = match name {
            "" => 0,
            "#" | "♯" => 100,
            "##" | "x" => 200,
            "b" | "♭" => -100,
            "bb" => -200,
            _ => return None,
        };
        Some(Pitch::new(step, alter, octave))
    }

    /// The name without its octave, as in `F#`.
    pub fn name(self) -> String {
        let mut text = String::new();
        self.write_name(&mut text).expect("a string takes whatever is written");
        text
    }

    fn write_name(self, out: &mut impl Write) -> fmt::Result {
        out.write_char(LETTERS[self.step as usize])?;
        let sign = if self.alter < 0 { 'b' } else { '#' };
        for _ in 0..self.alter.abs() / 100 {
            out.write_char(sign)?;
        }
        match self.alter % 100 {
            0 => Ok(()),
            _ => out.write_char(if self.alter < 0 { 'd' } else { '+' }),
        }
    }
}

/// Scientific notation: `C4` is middle C.
impl fmt::Display for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write_name(f)?;
        // Nearly all are within these, and need not be formatted.
        match u8::try_from(self.octave) {
            Ok(digit @ 0..=9) => f.write_char(char::from(b'0' + digit)),
            _ => write!(f, "{}", self.octave),
        }
    }
}

/// A directed interval: letters and semitones, both signed and 0-based, so
/// that a second is one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Interval {
    /// Letter names, 0-based and signed: a second up is 1.
    pub steps: i32,
    /// Half steps, signed.
    pub semitones: i32,
}

impl Interval {
    /// From a pitch to itself.
    pub const UNISON: Interval = Interval { steps: 0, semitones: 0 };

    /// Of so many letter names and half steps.
    pub fn new(steps: i32, semitones: i32) -> Self {
        Interval { steps, semitones }
    }

    /// From one pitch up or down to another; microtones are rounded.
    pub fn between(from: Pitch, to: Pitch) -> Interval {
        Interval {
            steps: to.staff_place() - from.staff_place(),
            semitones: (to.sound() - from.sound() + 50).div_euclid(100),
        }
    }

    /// So many octaves, up or down.
    pub fn octaves(n: i32) -> Interval {
        Interval::new(7 * n, 12 * n)
    }

    /// The same interval in the other direction.
    pub fn inverse(self) -> Interval {
        Interval::new(-self.steps, -self.semitones)
    }

    /// Both, one after the other.
    pub fn plus(self, other: Interval) -> Interval {
        Interval::new(self.steps + other.steps, self.semitones + other.semitones)
    }

    /// How many fifths a key signature moves by: up a fifth is 1.
    pub fn fifths(self) -> i32 {
        // A step of the staff is two fifths (a tone), a semitone's surplus seven.
        let natural = Pitch::new(0, 0, 4).moved(self);
        FIFTHS[natural.step as usize] + 7 * natural.alter / 100
    }

    /// How one sounds that lies the interval away, as in `a major second lower`.
    pub fn relation(self) -> String {
        let name = self.name();
        match name.split_once(' ') {
            Some(("up", distance)) => format!("{distance} higher"),
            Some(("down", distance)) => format!("{distance} lower"),
            _ => name,
        }
    }

    /// In words, as in `down a major second`; `the same pitch` for a unison.
    pub fn name(self) -> String {
        if self == Interval::UNISON {
            return "the same pitch".into();
        }
        let down = self.steps < 0 || (self.steps == 0 && self.semitones < 0);
        let up = if down { self.inverse() } else { self };
        let octaves = up.steps / 7;
        let steps = up.steps % 7;
        let surplus = up.semitones - octaves * 12 - NATURALS[steps as usize];
        let direction = if down { "down" } else { "up" };
        let perfect = matches!(steps, 0 | 3 | 4);
        let quality = match (perfect, surplus) {
            (true, 0) => "perfect",
            (true, -1) | (false, -2) => "diminished",
            (_, 1) => "augmented",
            (false, 0) => "major",
            (false, -1) => "minor",
            _ => {
                return format!("{direction} {} steps ({} semitones)", up.steps, up.semitones);
            }
        };
        if steps == 0 && surplus == 0 {
            return match octaves {
                1 => format!("{direction} an octave"),
                n => format!("{direction} {} octaves", in_words(n)),
            };
        }
        let article = if quality == "augmented" { "an" } else { "a" };
        if steps == 0 && octaves == 1 {
            return format!("{direction} {article} {quality} octave");
        }
        let simple = ["unison", "second", "third", "fourth", "fifth", "sixth", "seventh"];
        let name = format!("{direction} {article} {quality} {}", simple[steps as usize]);
        match octaves {
            0 => name,
            1 => format!("{name} and an octave"),
            n => format!("{name} and {} octaves", in_words(n)),
        }
    }
}

impl std::str::FromStr for Interval {
    type Err = String;

    /// Reads an interval in words, as `name` writes it: `up a minor third`,
    /// `down an octave`; up to two octaves. A fourth, a fifth, a unison and an
    /// octave are perfect unless it says otherwise.
    fn from_str(text: &str) -> Result<Interval, String> {
        let plain = |text: &str| {
            let lower = text.to_lowercase();
            let words = lower.split_whitespace().filter(|w| !matches!(*w, "a" | "an" | "the" | "one"));
            words.collect::<Vec<_>>().join(" ")
        };
        const QUALITIES: [&str; 5] = ["perfect", "major", "minor", "augmented", "diminished"];
        let mut wanted = plain(text).replace("perfect octave", "octave");
        let bare = !QUALITIES.iter().any(|q| wanted.contains(q));
        let directed = wanted.starts_with("up ") || wanted.starts_with("down ");
        if bare
            && directed
            && let Some(doubtful) = ["second", "third", "sixth", "seventh"].iter().find(|n| wanted.contains(**n))
        {
            let [minor, major] = ["minor", "major"].map(|q| wanted.replacen(doubtful, &format!("a {q} {doubtful}"), 1));
            return Err(format!("{text:?} may be minor or major; say \"{minor}\" or \"{major}\""));
        }
        if bare {
            wanted = wanted.replace("fourth", "perfect fourth").replace("fifth", "perfect fifth");
        }
        if ["unison", "perfect unison"].contains(&wanted.trim_start_matches("up ").trim_start_matches("down ")) {
            return Ok(Interval::UNISON);
        }
        let all = (-14..=14).flat_map(|steps: i32| {
            let whole = Pitch::new(0, 0, 4).moved(Interval::new(steps, 0)).alter / -100;
            (-2..=2).map(move |more| Interval::new(steps, whole + more))
        });
        all.into_iter().find(|interval| plain(&interval.name()) == wanted).ok_or_else(|| {
            format!(
                "{text:?} is not an interval; say which way and how far: \"up a minor third\", \"down a perfect fourth\", \
                 \"up an octave\""
            )
        })
    }
}

fn in_words(n: i32) -> String {
    match n {
        2 => "two".into(),
        3 => "three".into(),
        4 => "four".into(),
        _ => n.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn p(text: &str) -> Pitch {
        Pitch::parse(text).unwrap()
    }

    // Computed with music21 10.5.1 (music21.note.Note.transpose).
    #[test]
    fn worked_transpositions_agree_with_music21() {
        let cases = [
            ("F#5", -1, -2, "E5", 76),
            ("E#5", -1, -2, "D#5", 75),
            ("C4", -1, -2, "Bb3", 58),
            ("Db5", -1, -2, "Cb5", 71),
            ("E5", -2, -3, "C#5", 73),
            ("Cb5", -2, -3, "Ab4", 68),
            ("A#5", -2, -3, "F##5", 79),
            ("D4", 2, 3, "F4", 65),
            ("D#6", 2, 3, "F#6", 90),
            ("Eb6", 2, 3, "Gb6", 90),
            ("F##4", 2, 3, "A#4", 70),
        ];
        for (from, steps, semitones, to, midi) in cases {
            let moved = p(from).moved(Interval::new(steps, semitones));
            assert_eq!(moved.to_string(), to, "{from}");
            assert_eq!(moved.sound(), midi * 100, "{from}");
        }
        assert_eq!(p("B#3").sound(), 6000);
        assert_eq!(p("Cb4").sound(), 5900);
    }

    // Common practice: the tables of signatures in any theory primer.
    #[test]
    fn signatures_move_by_fifths() {
        let cases = [(-1, -2, -2), (-2, -3, 3), (2, 3, -3), (1, 2, 2), (3, 5, -1), (-4, -7, -1), (4, 7, 1)];
        for (steps, semitones, fifths) in cases {
            assert_eq!(Interval::new(steps, semitones).fifths(), fifths, "{steps} {semitones}");
        }
        assert_eq!(Interval::octaves(-1).fifths(), 0);
    }

    #[test]
    fn intervals_have_words() {
        let cases = [
            (-1, -2, "down a major second"),
            (2, 3, "up a minor third"),
            (3, 5, "up a perfect fourth"),
            (-7, -12, "down an octave"),
            (3, 6, "up an augmented fourth"),
            (9, 15, "up a minor third and an octave"),
            (0, 0, "the same pitch"),
            (0, 1, "up an augmented unison"),
            (-7, -11, "down a diminished octave"),
            (7, 13, "up an augmented octave"),
        ];
        for (steps, semitones, name) in cases {
            assert_eq!(Interval::new(steps, semitones).name(), name);
        }
    }

    #[test]
    fn intervals_are_read_as_they_are_written() {
        for text in ["up a minor third", "down a major second", "down an octave", "up a perfect fourth and an octave"] {
            assert_eq!(text.parse::<Interval>().unwrap().name(), text);
        }
        assert_eq!("Up Minor Third".parse(), Ok(Interval::new(2, 3)));
        assert_eq!("up an augmented second".parse(), Ok(Interval::new(1, 3)));
        for (short, long) in [
            ("up a fourth", "up a perfect fourth"),
            ("Down a fifth", "down a perfect fifth"),
            ("up a fifth and an octave", "up a perfect fifth and an octave"),
            ("down a perfect octave", "down an octave"),
            ("up an augmented fourth", "up an augmented fourth"),
            ("unison", "the same pitch"),
            ("up a perfect unison", "the same pitch"),
        ] {
            assert_eq!(short.parse::<Interval>().map(Interval::name), Ok(long.to_string()), "{short}");
        }
        for name in ["second", "third", "sixth", "seventh"] {
            let refused = format!("up a {name}").parse::<Interval>().unwrap_err();
            assert!(refused.contains(&format!("\"up a minor {name}\" or \"up a major {name}\"")), "{refused}");
        }
        assert!("a third".parse::<Interval>().unwrap_err().contains("up a minor third"));
    }
}
