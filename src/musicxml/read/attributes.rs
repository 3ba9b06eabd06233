//! What holds for the notes that follow: divisions, signatures, transposition.

use super::{LARGEST_DIVISIONS, PartReader};
use crate::musicxml::Error;
use crate::musicxml::marks::Spot;
use crate::musicxml::tree::{child, child_text, text_of};
use crate::pitch::Interval;
use crate::score::Meter;
use crate::time::{Time, parse_decimal};
use num_traits::Zero;
use roxmltree::Node;

impl PartReader<'_, '_> {
    pub(super) fn attributes(&mut self, node: Node<'_, '_>) -> Result<(), Error> {
        for item in node.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "divisions" => {
                    let divisions = parse_decimal(text_of(item))
                        .filter(|t| t.is_integer())
                        .map(|t| t.to_integer())
                        .filter(|d| (1..=LARGEST_DIVISIONS).contains(d));
                    let wrong = || format!("divisions of {:?} are not a whole number of at least 1", text_of(item));
                    self.divisions = divisions.ok_or_else(|| self.tree.content_error(item, wrong()))?;
                }
                "key" => {
                    let fifths: i32 = child_text(item, "fifths").and_then(|t| t.parse().ok()).unwrap_or(0);
                    let own_staff = item.attribute("number").is_none_or(|n| n == "1");
                    if own_staff && (-20..=20).contains(&fifths) && self.fifths != Some(fifths) {
                        self.set_key(Some(item), fifths, self.spot_at(self.cursor, item));
                    }
                }
                "time" => self.time(item),
                "staves" => {
                    let staves = text_of(item).parse().ok().filter(|s| (1..100).contains(s)).unwrap_or(1);
                    self.part.staves = self.part.staves.max(staves);
                }
                "transpose" => {
                    let number = |name| child_text(item, name).and_then(|t| t.parse::<i32>().ok());
                    let chromatic = number("chromatic").unwrap_or(0);
                    let steps = number("diatonic").unwrap_or_else(|| usual_steps(chromatic));
                    let octaves = number("octave-change").unwrap_or(0);
                    if chromatic.abs() < 100 && steps.abs() < 100 && octaves.abs() < 10 {
                        self.transpose = Interval::new(steps, chromatic).plus(Interval::octaves(octaves));
                    }
                    self.part.octave_is_told |= self.transpose.semitones != 0;
                }
                "clef" => {
                    let change = child_text(item, "clef-octave-change").unwrap_or("0");
                    self.part.octave_is_told |= change != "0";
                }
                _ => {}
            }
        }
        let untouched = self.part.bars[self.here()].notes.start == self.part.notes.len();
        if untouched {
            let bar = self.part.bars.last_mut().expect("inside a bar");
            bar.divisions = self.divisions;
            bar.transpose = self.transpose;
            bar.fifths = self.fifths.unwrap_or(0);
            bar.meter = self.meter;
        }
        Ok(())
    }

    pub(super) fn set_key(&mut self, node: Option<Node<'_, '_>>, fifths: i32, spot: Spot) {
        self.fifths = Some(fifths);
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
            "no time signature".to_string()
        } else {
            beats.iter().zip(&types).map(|(b, t)| format!("{b}/{t}")).collect::<Vec<_>>().join(" + ")
        };
        let mut bar = Time::zero();
        let mut beat = None;
        for (beats, kind) in beats.iter().zip(&types) {
            let count: i64 = beats.split('+').filter_map(|b| b.trim().parse::<i64>().ok()).sum();
            let kind = kind.parse::<i64>().ok().filter(|k| (1..=1024).contains(k)).unwrap_or(4);
            let length = Time::new(4, kind);
            bar += length * Time::from(count.clamp(0, 1000));
            beat = beat.or(Some(length));
        }
        if !bar.is_zero() {
            self.meter = Meter { bar, beat: beat.unwrap_or_else(|| Time::from(1)) };
        }
        if text != self.meter_text {
            let spot = self.spot_at(self.cursor, node);
            self.marks.time(&mut self.part, node, &text, spot);
            self.meter_text = text;
        }
    }
}

/// The usual number of steps for a number of semitones, where a file tells none.
fn usual_steps(semitones: i32) -> i32 {
    const STEPS: [i32; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    let size = semitones.abs();
    semitones.signum() * (STEPS[(size % 12) as usize] + 7 * (size / 12))
}
