//! A stretch of a part as material for exercises.

use super::metre::{Metre, is_plain};
use super::tone::{Tone, Try};
use crate::time::{Time, Value};
use std::ops::Range;

/// Triplets can be taken apart.
const LARGEST_TUPLET: i64 = 3;

/// The notes of a stretch, and where they stand.
#[derive(Debug, Clone)]
pub struct Passage {
    /// In order, rests between them included; first and last are notes.
    pub tones: Vec<Tone>,
    /// From the start of its bar.
    pub start: Time,
    pub metre: Metre,
    /// The signature that the player reads.
    pub fifths: i32,
    /// The first note of the worst change.
    pub worst: Option<usize>,
}

impl Passage {
    /// Places of the notes.
    pub fn sounding(&self) -> Vec<usize> {
        (0..self.tones.len()).filter(|place| self.tones[*place].pitch.is_some()).collect()
    }

    /// When each note comes, from the start of its first bar.
    fn onsets(&self) -> impl Iterator<Item = Time> + '_ {
        self.tones.iter().scan(self.start, |now, tone| {
            let own = *now;
            *now += tone.length;
            Some(own)
        })
    }

    /// For each span of a length that begins with notes of its own, counted from the bar, the first of these.
    pub fn starts_of(&self, length: Time) -> Vec<usize> {
        let mut out = Vec::new();
        let mut before = None;
        for (place, onset) in self.onsets().enumerate() {
            let span = (onset / length).floor();
            if self.tones[place].pitch.is_some() && before != Some(span) {
                out.push(place);
                before = Some(span);
            }
        }
        out
    }

    /// A part of it as one try, from the beat in which it begins.
    pub fn part(&self, places: Range<usize>) -> Try {
        let onset = self.onsets().nth(places.start).unwrap_or_default();
        let mut tones: Vec<Tone> = self.tones[places].iter().map(|tone| tone.plain(tone.length)).collect();
        while tones.last().is_some_and(|tone| tone.pitch.is_none()) {
            tones.pop();
        }
        // It lands on its last note, however long that is in the piece.
        if let Some(last) = tones.last_mut() {
            last.length = last.length.min(self.metre.pulse);
            last.joined = None;
        }
        Try { tones, start: onset % self.metre.pulse, lands: true }
    }

    /// The same notes in lengths that can be taken apart: of a run of seven or thirteen in a beat no part fills another
    /// beat, so that its notes become plain ones.
    pub fn taken_apart(&self) -> Passage {
        let is_even = |tone: &Tone| {
            Value::of(tone.length, 2).is_some_and(|value| value.tuplet <= LARGEST_TUPLET) || is_plain(tone.length)
        };
        if self.tones.iter().all(is_even) && (is_plain(self.start) || self.start.denom() % LARGEST_TUPLET == 0) {
            return self.clone();
        }
        let plain = |tone: &Tone| {
            let value = Value::of(tone.length, 2)
                .map_or(Time::new(1, 4), |value| Value { tuplet: 1, dots: 0, ..value }.length());
            tone.plain(if is_even(tone) && is_plain(tone.length) { tone.length } else { value.min(self.metre.pulse) })
        };
        let mut tones: Vec<Tone> = self.tones.iter().map(plain).collect();
        let mut now = Time::zero();
        for (place, tone) in tones.iter_mut().enumerate() {
            let is_usual = |tone: &Tone| is_even(tone) && is_plain(tone.length);
            let is_last = !is_usual(&self.tones[place]) && self.tones.get(place + 1).is_some_and(is_usual);
            now += tone.length;
            if is_last {
                // What follows begins with a half of a beat, as it did.
                let border = Metre::up_to(now, self.metre.part());
                tone.length += border - now;
                now = border;
            }
        }
        Passage { tones, start: Time::zero(), ..self.clone() }
    }

    /// All of it where it stands, without the fingerings that are known by now.
    pub fn once_more(&self) -> Try {
        let tones = self.tones.iter().map(|tone| Tone { fingering: None, ..tone.clone() }).collect();
        Try { tones, ..self.as_it_stands() }
    }

    /// All of it, where it stands in its bar.
    pub fn as_it_stands(&self) -> Try {
        Try { tones: self.tones.clone(), start: self.start, lands: false }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Pitch;
    use crate::score::Meter;

    #[test]
    fn notes_of_a_run_of_five_become_plain_ones_that_fill_half_beats() {
        let metre = Metre::of(Meter { bar: Time::from(2), beat: Time::from(1) });
        let lengths = [Time::new(1, 10); 5].into_iter().chain([Time::new(1, 2); 2]);
        let tones = lengths.map(|length| Tone::new(Pitch::new(0, 0, 5), length)).collect();
        let passage = Passage { tones, start: Time::new(1, 2), metre, fifths: 0, worst: None };
        let apart = passage.taken_apart();
        let lengths: Vec<String> = apart.tones.iter().map(|tone| tone.length.to_string()).collect();
        assert_eq!(lengths, ["1/8", "1/8", "1/8", "1/8", "1/2", "1/2", "1/2"]);
    }
}
