//! Clefs, as players call them.

use crate::pitch::{Interval, Pitch};
use std::fmt;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClefSign {
    G,
    F,
    C,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clef {
    pub sign: ClefSign,
    /// The line that the sign stands on, from the bottom.
    pub line: i32,
    /// A little 8 above is 1, one below -1.
    pub octaves: i32,
}

/// Names without a little figure.
const NAMES: [(&str, ClefSign, i32); 8] = [
    ("treble", ClefSign::G, 2),
    ("French violin", ClefSign::G, 1),
    ("soprano", ClefSign::C, 1),
    ("mezzo-soprano", ClefSign::C, 2),
    ("alto", ClefSign::C, 3),
    ("tenor", ClefSign::C, 4),
    ("baritone", ClefSign::F, 3),
    ("bass", ClefSign::F, 4),
];

/// Little figures, and the octaves that they mean.
const FIGURES: [(&str, i32); 5] = [(" 8 above", 1), (" 15 above", 2), (" 8 below", -1), (" 15 below", -2), ("", 0)];

impl Clef {
    pub const TREBLE: Clef = Clef { sign: ClefSign::G, line: 2, octaves: 0 };
    pub const BASS: Clef = Clef { sign: ClefSign::F, line: 4, octaves: 0 };
    pub const ALTO: Clef = Clef { sign: ClefSign::C, line: 3, octaves: 0 };
    pub const TENOR: Clef = Clef { sign: ClefSign::C, line: 4, octaves: 0 };
    /// The treble clef with a little 8 above it.
    pub const TREBLE_8: Clef = Clef { octaves: 1, ..Clef::TREBLE };

    /// Reads `treble`, `bass`, `treble 8 above`.
    ///
    /// # Errors
    /// With the names that there are.
    pub fn parse(text: &str) -> Result<Clef, String> {
        let wanted = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for (name, sign, line) in NAMES {
            for (figure, octaves) in FIGURES {
                if format!("{name}{figure}").eq_ignore_ascii_case(&wanted) {
                    return Ok(Clef { sign, line, octaves });
                }
            }
        }
        let names: Vec<&str> = NAMES.iter().map(|n| n.0).collect();
        Err(format!(
            "\"{text}\" is not a clef; clefs are {}, each alone or with an octave figure, as in \"treble 8 above\"",
            names.join(", ")
        ))
    }

    /// As in `bass clef`, `treble clef with 8 above`.
    pub fn words(self) -> String {
        let plain = Clef { octaves: 0, ..self };
        match self.to_string().strip_prefix(&plain.to_string()).unwrap_or("").trim() {
            "" => format!("{plain} clef"),
            figure => format!("{plain} clef with {figure}"),
        }
    }

    /// The staff place of the middle line, as `Pitch::staff_place` counts.
    pub fn middle_line(self) -> i32 {
        let sign = match self.sign {
            ClefSign::G => Pitch::new(4, 0, 4),
            ClefSign::F => Pitch::new(3, 0, 3),
            ClefSign::C => Pitch::new(0, 0, 4),
        };
        sign.moved(Interval::octaves(self.octaves)).staff_place() + 2 * (3 - self.line)
    }
}

/// As `parse` reads it.
impl fmt::Display for Clef {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = NAMES.iter().find(|n| (n.1, n.2) == (self.sign, self.line)).map_or("unusual", |n| n.0);
        let figure = FIGURES.iter().find(|g| g.1 == self.octaves).map_or("", |g| g.0);
        write!(f, "{name}{figure}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clefs_are_read_as_they_are_named() {
        for name in ["treble", "treble 8 above", "bass 8 above", "treble 8 below", "alto", "tenor", "bass 15 below"] {
            assert_eq!(Clef::parse(name).unwrap().to_string(), name);
        }
        assert_eq!(Clef::parse("Treble  8 above"), Ok(Clef::TREBLE_8));
        assert_eq!(Clef::TREBLE_8.words(), "treble clef with 8 above");
        assert_eq!(Clef::ALTO.words(), "alto clef");
        assert!(Clef::parse("violin").unwrap_err().contains("treble, French violin, soprano"));
    }

    // The middle lines of the clefs: any primer.
    #[test]
    fn middle_lines() {
        let line = |name: &str, octave: i32, step: i32| {
            assert_eq!(Clef::parse(name).unwrap().middle_line(), octave * 7 + step, "{name}");
        };
        line("treble", 4, 6);
        line("treble 8 above", 5, 6);
        line("bass", 3, 1);
        line("alto", 4, 0);
        line("tenor", 3, 5);
    }
}
