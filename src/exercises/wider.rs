//! The scale or the broken chord of a stretch, a step beyond it on both sides.

use super::passage::Passage;
use super::tone::{Tone, Try};
use crate::instrument::Range;
use crate::pitch::{Pitch, key_alter};
use crate::time::Time;
use std::collections::BTreeMap;

/// A chord has no more different notes; other leaps are practised on the scale.
const MOST_IN_CHORD: usize = 4;

/// From a step below the lowest note to a step above the highest and back, in the stretch's own pace; it turns back
/// where the instrument ends. `None` where the stretch has one pitch.
pub fn wider(passage: &Passage, range: &Range) -> Option<Try> {
    let pitches: Vec<Pitch> = passage.tones.iter().filter_map(|tone| tone.pitch).collect();
    let lowest = pitches.iter().map(|p| p.staff_place()).min()?;
    let highest = pitches.iter().map(|p| p.staff_place()).max()?;
    if lowest == highest {
        return None;
    }
    let names: BTreeMap<i32, i32> = pitches.iter().map(|pitch| (pitch.step, pitch.alter)).collect();
    // Notes of a chord are thirds apart; a seventh is next to its root.
    let neighbours = names.keys().filter(|step| names.contains_key(&((*step + 1) % 7))).count();
    let is_chord = names.len() <= MOST_IN_CHORD && neighbours <= names.len().saturating_sub(3) && leaps(&pitches);
    let belongs = |place: &i32| !is_chord || names.contains_key(&place.rem_euclid(7));
    let below = (lowest - 7..lowest).rev().find(belongs)?;
    let above = (highest + 1..highest + 8).find(belongs)?;
    // Spelled as in the stretch, there in this octave first.
    let spelled = |place: i32| {
        let (step, octave) = (place.rem_euclid(7), place.div_euclid(7));
        let here = pitches.iter().find(|pitch| pitch.staff_place() == place).map(|pitch| pitch.alter);
        let alter = here.or_else(|| names.get(&step).copied()).unwrap_or_else(|| key_alter(passage.fifths, step));
        Pitch::new(step, alter, octave)
    };
    let all = (below..=above).filter(belongs).map(spelled).filter(|pitch| range.leaves(*pitch).is_none());
    let up: Vec<Pitch> = all.collect();
    let down = up.iter().rev().skip(1);
    let tones: Vec<Tone> = up.iter().chain(down).map(|pitch| Tone::new(*pitch, pace(passage))).collect();
    (up.len() > 2).then_some(Try { tones, start: Time::zero(), lands: true })
}

/// Whether most of its intervals are leaps.
fn leaps(pitches: &[Pitch]) -> bool {
    let far = pitches.windows(2).filter(|pair| (pair[0].staff_place() - pair[1].staff_place()).abs() > 1).count();
    2 * far > pitches.len().saturating_sub(1)
}

/// The length that most of its notes have; of several the shortest.
fn pace(passage: &Passage) -> Time {
    let mut counts: BTreeMap<Time, usize> = BTreeMap::new();
    // The last note is often held.
    let moving = passage.tones.iter().filter(|tone| tone.pitch.is_some()).rev().skip(1);
    moving.for_each(|tone| *counts.entry(tone.length).or_default() += 1);
    let most = counts.values().copied().max().unwrap_or(0);
    counts.into_iter().find(|(_, count)| *count == most).map_or(passage.metre.pulse, |(length, _)| length)
}

#[cfg(test)]
mod tests {
    use super::super::metre::Metre;
    use super::*;
    use crate::score::Meter;

    /// What is played around notes, up to the top.
    fn up(steps: &[(i32, i32)]) -> String {
        let tones =
            steps.iter().map(|(step, octave)| Tone::new(Pitch::new(*step, 0, *octave), Time::from(1))).collect();
        let metre = Metre::of(Meter { bar: Time::from(4), beat: Time::from(1) });
        let passage = Passage { tones, start: Time::zero(), metre, fifths: 0, worst: None };
        let range = Range { lowest: Pitch::new(0, 0, 4), highest: Pitch::new(0, 0, 6) };
        let all = wider(&passage, &range).unwrap().tones;
        let up = all.iter().take(all.len() / 2 + 1).filter_map(|tone| tone.pitch);
        up.map(|pitch| pitch.to_string()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn leaps_over_a_chord_are_practised_on_it_and_others_on_the_scale() {
        assert_eq!(up(&[(0, 5), (4, 4), (0, 5), (2, 5)]), "E4 G4 C5 E5 G5");
        assert_eq!(up(&[(4, 4), (1, 5), (5, 4), (6, 4), (4, 4)]), "F4 G4 A4 B4 C5 D5 E5");
        // The instrument ends at C4.
        assert_eq!(up(&[(0, 4), (1, 4), (2, 4)]), "C4 D4 E4 F4");
    }
}
