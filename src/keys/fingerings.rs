//! The fingerings of the recorder family.

use super::effort::Effort;
use super::fingering::Fingering;
use crate::instrument::Instrument;
use crate::pitch::Pitch;
use serde::Deserialize;

/// Read only by commands that ask for fingers.
const TABLE: &str = include_str!("fingerings.toml");

/// Fingerings by the semitones above the lowest note, and the effort between any two.
#[derive(Debug, Clone)]
pub struct Chart {
    all: Vec<Fingering>,
    /// For each note its fingerings in `all`, the first choice first.
    notes: Vec<Vec<usize>>,
    /// Points from each of `all` to each.
    points: Vec<f64>,
    instruments: Vec<(String, Pitch)>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    instrument: Vec<Player>,
    fingering: Vec<FingeringEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Player {
    name: String,
    lowest: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FingeringEntry {
    n: usize,
    holes: String,
    register: u8,
    #[serde(default)]
    alternative: bool,
    #[serde(default)]
    bell: bool,
    /// For readers of the file only.
    #[serde(default, rename = "charts_differ")]
    _charts_differ: bool,
}

impl Chart {
    /// The recorder's.
    ///
    /// # Panics
    /// Never: the table comes along, and a test reads it.
    pub fn recorder() -> Chart {
        let file: File = toml::from_str(TABLE).expect("the table is checked by a test");
        let mut all = Vec::new();
        let mut notes: Vec<Vec<usize>> = Vec::new();
        for row in file.fingering {
            let read = Fingering::parse(&row.holes).expect("the table is checked by a test");
            notes.resize(notes.len().max(row.n + 1), Vec::new());
            notes[row.n].push(all.len());
            let FingeringEntry { register, alternative, bell, .. } = row;
            all.push(Fingering { bell, register, alternative, ..read });
        }
        let points =
            all.iter().flat_map(|from| all.iter().map(|to| Effort::of_change(from, to).points())).collect::<Vec<_>>();
        let instruments = file
            .instrument
            .into_iter()
            .map(|i| (i.name, Pitch::parse(&i.lowest).expect("the table is checked by a test")))
            .collect();
        Chart { all, notes, points, instruments }
    }

    /// The written note of n = 0, if the instrument plays from this chart.
    pub fn lowest(&self, instrument: &Instrument) -> Option<Pitch> {
        let (_, lowest) = self.instruments.iter().find(|i| i.0 == instrument.name)?;
        (instrument.written.lowest.sound() == lowest.sound()).then_some(*lowest)
    }

    /// The fingerings of a note by their numbers, the first choice first; none outside the chart.
    pub fn of(&self, n: i32) -> &[usize] {
        usize::try_from(n).ok().and_then(|n| self.notes.get(n)).map_or(&[], Vec::as_slice)
    }

    /// # Panics
    /// If there is no fingering of this number.
    pub fn fingering(&self, number: usize) -> &Fingering {
        &self.all[number]
    }

    /// Points from one fingering to another, by their numbers.
    pub fn points(&self, from: usize, to: usize) -> f64 {
        self.points[from * self.all.len() + to]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::Instruments;

    /// Rows of two open fingering charts, compared; forks as a player counts them.
    const FINGERINGS: [(&str, bool); 27] = [
        ("O 123 4567", false),
        ("O 123 456½", false),
        ("O 123 456-", false),
        ("O 123 45½-", false),
        ("O 123 45--", false),
        ("O 123 4-67", true),
        ("O 123 -56-", true),
        ("O 123 ----", false),
        ("O 12- 45½-", true),
        ("O 12- ----", false),
        ("O 1-3 4---", true),
        ("O 1-- ----", false),
        ("O -2- ----", true),
        ("- 12- ----", false),
        ("- -2- ----", true),
        ("- -23 456-", true),
        ("/ 123 45--", false),
        ("/ 123 4-6-", true),
        ("/ 123 -5--", true),
        ("/ 123 ----", false),
        ("/ 12- 4---", true),
        ("/ 12- ----", false),
        ("/ 12- 456-", true),
        ("/ 12- 45--", true),
        ("/ 1-- 45--", true),
        ("/ 1-3 4-6-", true),
        ("/ 1-3 4-6-", true),
    ];

    #[test]
    fn the_table_has_the_charts_fingerings_and_forks() {
        let chart = Chart::recorder();
        for (n, (holes, forked)) in FINGERINGS.iter().enumerate() {
            let first = chart.fingering(chart.of(n as i32)[0]);
            let told = Fingering::parse(holes).unwrap();
            assert_eq!((first.thumb, first.holes), (told.thumb, told.holes), "{n}");
            assert_eq!(first.is_forked(), *forked, "{n}");
            assert!(!first.alternative, "{n}");
            // An online recorder tutor, lesson 26: the one note without a true fingering.
            assert_eq!(first.bell, n == 25, "{n}");
        }
        assert!(chart.of(27).is_empty() && chart.of(-1).is_empty());
    }

    #[test]
    fn every_recorder_has_the_table_and_nobody_else() {
        let (chart, table) = (Chart::recorder(), Instruments::standard());
        for instrument in table.iter() {
            let recorder = instrument.name.ends_with("recorder") || instrument.name == "voice flute";
            assert_eq!(chart.lowest(instrument).is_some(), recorder, "{}", instrument.name);
            if recorder {
                let size = instrument.written.highest.sound() - instrument.written.lowest.sound();
                assert_eq!(chart.notes.len() as i32, size / 100 + 1, "{}", instrument.name);
            }
        }
        let mut mine = table.find("alto recorder").unwrap().clone();
        mine.written.lowest = Pitch::parse("G4").unwrap();
        assert_eq!(chart.lowest(&mine), None);
    }

    fn cost(from: &str, to: &str) -> f64 {
        let alto = Pitch::parse("F4").unwrap().sound();
        let chart = Chart::recorder();
        let number = |name: &str| chart.of((Pitch::parse(name).unwrap().sound() - alto) / 100)[0];
        chart.points(number(from), number(to))
    }

    // What follows are orderings that players agree on: common practice, no source.
    #[test]
    fn a_note_again_costs_nothing() {
        for n in 0..27 {
            let number = Chart::recorder().of(n)[0];
            assert_eq!(Chart::recorder().points(number, number), 0.0);
        }
    }

    #[test]
    fn e_sharp_to_f_sharp_is_harder_than_e_to_f() {
        assert!(cost("E#5", "F#5") > cost("E5", "F5"));
        assert!(cost("E#6", "F#6") > cost("E6", "F6"));
    }

    #[test]
    fn crossing_the_thumb_register_costs() {
        // The same fingers with a pinched thumb, against a change of as many fingers below.
        assert!(cost("D5", "D6") > cost("C5", "D5"));
        assert!(cost("G5", "A5") > cost("A5", "Bb5"));
        assert!(cost("Ab5", "A5") > cost("G4", "A4"));
        // The other way round it costs as well.
        assert!(cost("A5", "G5") > cost("Bb5", "A5"));
    }

    #[test]
    fn a_half_hole_and_a_closed_bell_cost() {
        assert!(cost("G4", "Ab4") > cost("G4", "A4"));
        assert!(cost("F6", "F#6") > 2.0 * cost("F6", "G6"));
    }
}
