//! What holds for the notes that follow: divisions, signatures, transposition.

use super::{LARGEST_DIVISIONS, MOST_STAVES, PartReader};
use crate::musicxml::Error;
use crate::musicxml::marks::Spot;
use crate::musicxml::tree::{alteration, child, child_text, elements, text_of};
use crate::pitch::{Interval, Mode, Pitch};
use crate::score::Meter;
use crate::time::{Time, parse_decimal};
use roxmltree::Node;
use std::collections::HashMap;

/// Key and time, as they were last said.
#[derive(Debug, Default)]
pub(super) struct Signatures {
    pub fifths: Option<i32>,
    pub mode: Option<Mode>,
    /// Accidentals of a signature that is not of the circle of fifths.
    pub key_signs: String,
    /// What another staff than the first was just given as its signature.
    pub other_key: Option<i32>,
    pub meter: Meter,
    pub meter_text: String,
}

/// How written pitches sound.
#[derive(Debug, Default)]
pub(super) struct Transpositions {
    pub of_part: Interval,
    /// Of staves that transpose otherwise.
    pub of_staff: HashMap<u32, Interval>,
}

impl PartReader<'_, '_> {
    pub(super) fn attributes(&mut self, node: Node<'_, '_>) -> Result<(), Error> {
        for item in elements(node) {
            match item.tag_name().name() {
                "divisions" => {
                    let divisions = parse_decimal(text_of(item))
                        .filter(|t| t.is_integer())
                        .map(|t| t.to_integer())
                        .filter(|d| (1..=LARGEST_DIVISIONS).contains(d));
                    let wrong = || {
                        let told = text_of(item);
                        format!("divisions of {told:?} are not a whole number from 1 to {LARGEST_DIVISIONS}")
                    };
                    self.lengths.divisions = divisions.ok_or_else(|| self.tree.content_error(item, wrong()))?;
                    self.lengths.are_told = true;
                    // Twos in the divisions halve a quarter exactly.
                    self.lengths.coarse = Time::new(1, 1 << self.lengths.divisions.trailing_zeros());
                }
                "key" => self.key(item),
                "time" => self.time(item),
                "staves" => {
                    let staves = self.number(Some(text_of(item)), "the number of staves", 1..=MOST_STAVES, 1);
                    self.part.staves = self.part.staves.max(staves);
                }
                "transpose" => self.transposition(item),
                "clef" => {
                    let change = child_text(item, "clef-octave-change").unwrap_or("0");
                    self.part.octave_is_told |= change != "0";
                }
                _ => {
                    let spot = self.spot_at(self.clock.now, item);
                    self.marks.attribute(&mut self.part, item, spot);
                }
            }
        }
        if self.signatures.other_key.take().is_some_and(|other| Some(other) != self.signatures.fifths) {
            self.warn("the staves have different key signatures; that of the first staff was compared");
        }
        let untouched = self.part.bars[self.here()].notes.start == self.part.notes.len();
        let transpose = self.transpose_of(1);
        let at_start = self.clock.now.is_zero();
        let bar = self.part.bars.last_mut().expect("inside a bar");
        if untouched {
            bar.divisions = self.lengths.divisions;
            bar.transpose = transpose;
        }
        // They may stand after a backup, with the notes of another staff.
        if at_start {
            bar.fifths = self.signatures.fifths.unwrap_or(0);
            bar.mode = self.signatures.mode;
            bar.meter = self.signatures.meter;
        }
        Ok(())
    }

    fn key(&mut self, node: Node<'_, '_>) {
        let given = child_text(node, "fifths");
        let fifths = given.map_or(Some(0), |t| t.parse().ok()).filter(|f| (-20..=20).contains(f));
        let Some(fifths) = fifths else {
            let given = given.unwrap_or_default();
            return self.warn(format!("there is no key signature of {given:?} fifths; it was ignored"));
        };
        let own_staff = node.attribute("number").is_none_or(|n| n == "1");
        if !own_staff {
            self.signatures.other_key = Some(fifths);
            return;
        }
        self.signatures.mode = child_text(node, "mode").map(|mode| match mode {
            "major" => Mode::Major,
            "minor" => Mode::Minor,
            _ => Mode::Other,
        });
        let signs = single_accidentals(node);
        if self.signatures.fifths != Some(fifths) || self.signatures.key_signs != signs {
            let spot = self.spot_at(self.clock.now, node);
            if signs.is_empty() {
                self.set_key(Some(node), fifths, spot);
            } else {
                self.signatures.fifths = Some(fifths);
                self.marks.key_of_signs(&mut self.part, node, &signs, spot);
            }
            self.signatures.key_signs = signs;
        }
    }

    fn transposition(&mut self, node: Node<'_, '_>) {
        let number =
            |name| child_text(node, name).map_or(Ok(None), |text| text.parse::<i32>().map(Some).map_err(|_| text));
        let (chromatic, octaves, steps) = match (number("chromatic"), number("octave-change"), number("diatonic")) {
            (Ok(chromatic), Ok(octaves), Ok(steps)) => (chromatic.unwrap_or(0), octaves.unwrap_or(0), steps),
            (Err(wrong), ..) | (_, Err(wrong), _) | (.., Err(wrong)) => {
                return self.warn(format!("a transposition by {wrong:?} is no number of steps; it was ignored"));
            }
        };
        if !(-99..=99).contains(&chromatic) || !(-9..=9).contains(&octaves) {
            return self.warn("a transposition leads out of hearing range; it was ignored");
        }
        let steps = steps.filter(|s| (-99..=99).contains(s)).unwrap_or_else(|| usual_steps(chromatic));
        let transpose = Interval::new(steps, chromatic).plus(Interval::octaves(octaves));
        match node.attribute("number").and_then(|n| n.parse().ok()) {
            Some(staff) => {
                self.transpositions.of_staff.insert(staff, transpose);
            }
            None => {
                self.transpositions.of_part = transpose;
                self.transpositions.of_staff.clear();
            }
        }
        self.part.octave_is_told |= transpose.semitones != 0;
    }

    /// How the written pitches of a staff sound.
    pub(super) fn transpose_of(&self, staff: u32) -> Interval {
        self.transpositions.of_staff.get(&staff).copied().unwrap_or(self.transpositions.of_part)
    }

    pub(super) fn set_key(&mut self, node: Option<Node<'_, '_>>, fifths: i32, spot: Spot) {
        self.signatures.fifths = Some(fifths);
        self.marks.key(&mut self.part, node, fifths, spot);
    }

    pub(super) fn time(&mut self, node: Node<'_, '_>) {
        let of = |name: &str| -> Vec<&str> {
            node.children().filter(|n| n.tag_name().name() == name).map(text_of).collect()
        };
        let (beats, types) = (of("beats"), of("beat-type"));
        if node.attribute("number").is_some_and(|n| n != "1") {
            return;
        }
        let text = if child(node, "senza-misura").is_some() {
            "senza misura".to_string()
        } else {
            beats.iter().zip(&types).map(|(b, t)| format!("{b}/{t}")).collect::<Vec<_>>().join(" + ")
        };
        let mut bar = Time::zero();
        let mut beat = None;
        for (beats, kind) in beats.iter().zip(&types) {
            let counts =
                beats.split('+').map(|b| self.number(Some(b.trim()), "the beats of a time signature", 0..=1000, 0));
            let count: i64 = counts.sum();
            let kind = self.number(Some(*kind), "the beat of a time signature", 1..=1024, 4);
            let length = Time::new(4, kind);
            bar += length * Time::from(count.clamp(0, 1000));
            beat = beat.or(Some(length));
        }
        if !bar.is_zero() || child(node, "senza-misura").is_some() {
            self.signatures.meter = Meter { bar, beat: beat.unwrap_or_else(|| Time::from(1)) };
        }
        if text != self.signatures.meter_text {
            let spot = self.spot_at(self.clock.now, node);
            self.marks.time(&mut self.part, node, &text, spot);
            self.signatures.meter_text = text;
        }
    }
}

/// A signature that is not of the circle of fifths: `F#, Ab`; else nothing.
fn single_accidentals(key: Node<'_, '_>) -> String {
    let steps = key.children().filter(|n| n.tag_name().name() == "key-step");
    let signs = steps.filter_map(|step| {
        let alter = step.next_sibling_element().filter(|n| n.tag_name().name() == "key-alter")?;
        let letter = Pitch::parse(&format!("{}4", text_of(step)))?;
        Some(Pitch { alter: alteration(text_of(alter))?, ..letter }.name())
    });
    signs.collect::<Vec<_>>().join(", ")
}

/// The usual number of steps for a number of semitones, where a file tells none.
fn usual_steps(semitones: i32) -> i32 {
    const STEPS: [i32; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    let size = semitones.abs();
    semitones.signum() * (STEPS[(size % 12) as usize] + 7 * (size / 12))
}
