//! Octave changes that a musician would make: common practice, no source.

use crate::common::music::{Style, score};
use obelus::pitch::Interval;
use obelus::score::Part;
use obelus::testing::{self, Proposal, Seam, octave_change_sentence, propose};
use obelus::{Input, Instruments, ReadAs, Tree};
use proptest::prelude::*;

fn part(music: &str) -> Part {
    let input = Input::from_bytes("test", score(&Style::default(), music).into_bytes()).unwrap();
    testing::read(&Tree::parse(&input).unwrap()).unwrap().score.parts.remove(0)
}

/// The proposal for the alto recorder, F4 to G6.
fn proposed(part: &Part) -> Proposal {
    let table = Instruments::standard();
    propose(part, ReadAs::Sounding, Interval::UNISON, &table.find("alto recorder").unwrap().sounding)
}

/// The moved stretches, as their first and last note with the octaves.
fn moves(music: &str) -> Vec<String> {
    let part = part(music);
    let name = |note: usize| part.notes[note].pitch().unwrap().to_string();
    proposed(&part)
        .moves
        .iter()
        .map(|m| format!("{} to {} {:+}", name(m.notes[0]), name(*m.notes.last().unwrap()), m.octaves))
        .collect()
}

#[test]
fn a_phrase_between_rests_goes_as_a_whole() {
    assert_eq!(moves("C5q D5q E5q rq | G4q F4q E4q rq | C5q D5q C5h"), ["G4 to E4 +1"]);
    assert_eq!(moves("C5q D5q E5q rq | F6q G6q A6q rq | C5q D5q C5h"), ["F6 to A6 -1"]);
    assert!(moves("C5q D5q E5q rq | G4q F4q G4q rq | C5q D5q C5h").is_empty());
}

#[test]
fn without_a_rest_it_parts_at_leaps_never_in_a_step() {
    // The notes below come by leap and go by leap.
    let rest = "C5q D5q E5q D5q | C5q D5q E5q F5q | G5q F5q E5q D5q | C5w";
    assert_eq!(moves(&format!("{rest} | E4q D4q E4q C5q | {rest}")), ["E4 to E4 +1"]);
    // Steps lead into them: what hangs together goes together.
    assert_eq!(moves(&format!("{rest} | G4q F4q E4q D4q | {rest}")), ["G4 to D4 +1"]);
    assert_eq!(moves(&format!("{rest} | F5q Bb4q A4q G4q | F4q E4q D4h | {rest}")), ["Bb4 to D4 +1"]);
}

#[test]
fn a_slur_is_not_parted_even_at_a_leap() {
    let slurred = "C5q D5q E5q G5q | C5q(slur[) E4q D4q C5q(slur]) | D5q rq C5h";
    let moved = moves(slurred);
    assert_eq!(moved, ["C5 to D5 +1"], "the slur from C5 to C5 stays whole and the step after it unbroken");
}

#[test]
fn a_breath_is_as_good_as_a_rest() {
    let part = part("C5q D5q E5q(breath-mark) F4q | E4q D4q E4q(breath-mark) C5q | D5q C5q D5h");
    let proposal = proposed(&part);
    assert_eq!(proposal.moves.len(), 1);
    let one = &proposal.moves[0];
    assert_eq!((one.begins, one.ends), (Seam::Rest, Seam::Rest));
    assert_eq!((one.notes.len(), one.below, one.left), (4, 3, 0));
}

#[test]
fn grace_notes_go_with_their_note() {
    let part = part("C5q D5q E5q rq | g:F4 E4q D4q E4q rq | C5w");
    assert_eq!(proposed(&part).moves[0].notes.len(), 4);
}

#[test]
fn the_parts_of_a_sequence_go_alike() {
    // Three times the same figure, a step lower each; the last dips below.
    let music = "B5q C6q D6h | A4e B4e C5e A4e E5e F5e G5e E5e | G4e A4e B4e G4e D5e E5e F5e D5e | \
                 F4e G4e A4e F4e C5e D5e E5e C5e | E4e F4e G4e E4e B4e C5e D5e B4e | C5w";
    let part = part(music);
    let proposal = proposed(&part);
    assert_eq!(proposal.left, 0);
    let name = |note: usize| part.notes[note].pitch().unwrap().to_string();
    assert_eq!(name(proposal.moves[0].notes[0]), "A4", "{:?}", proposal.moves);
}

#[test]
fn each_change_has_a_sentence() {
    let part = part("C5e D5e E5e F5e C5e D5e E5e G5e | E4q D4q E4q rq | D5q C5q D5q C5q | D5w");
    let proposal = proposed(&part);
    assert_eq!(
        octave_change_sentence(&part, &proposal.moves[0]),
        "bar 2, beats 1 to 3: 3 notes an octave up, 3 of them below the range; then all fit; begins at a leap \
         (down a minor third and an octave becomes down a minor third), ends at a rest or breath"
    );
    assert!(proposal.cost > 0.0);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
    /// Nothing is parted inside a step or a slur, nothing that lies below is
    /// lowered, no more is outside than before, and the counts are those of the notes.
    #[test]
    fn a_proposal_keeps_its_promises(places in prop::collection::vec((24..52_i32, 0..5_u8, any::<bool>()), 4..60)) {
        let mut music = Vec::new();
        let mut slurred = false;
        for (at, (place, kind, slur)) in places.iter().enumerate() {
            if at > 0 && at % 4 == 0 {
                music.push("|".to_string());
            }
            let name = format!("{}{}q", ['C', 'D', 'E', 'F', 'G', 'A', 'B'][(place % 7) as usize], place / 7);
            let sign = match (*slur, slurred) {
                (true, false) => "(slur[)",
                (true, true) => "(slur])",
                _ => "",
            };
            if *kind == 0 && !slurred {
                music.push("rq".into());
                continue;
            }
            slurred ^= *slur;
            music.push(name + sign);
        }
        if slurred {
            music.push("| C5w(slur])".into());
        }
        let part = part(&music.join(" "));
        let range = Instruments::standard().find("alto recorder").unwrap().sounding;
        let proposal = proposed(&part);
        let mut octaves = vec![0; part.notes.len()];
        for m in &proposal.moves {
            prop_assert!(m.octaves != 0);
            for note in &m.notes {
                octaves[*note] = m.octaves;
            }
        }
        let outside = |by: &dyn Fn(usize) -> i32| part.struck()
            .filter(|n| range.leaves(part.notes[*n].pitch().unwrap().moved(Interval::octaves(by(*n)))).is_some())
            .count();
        prop_assert_eq!(proposal.outside, outside(&|_| 0));
        prop_assert_eq!(proposal.left, outside(&|n| octaves[n]));
        prop_assert!(proposal.left <= proposal.outside);
        prop_assert!(proposal.moves.is_empty() || proposal.left < proposal.outside);
        for note in part.struck() {
            let below = part.notes[note].pitch().unwrap().sound() < range.lowest.sound();
            prop_assert!(!below || octaves[note] >= 0, "what lies below was lowered");
        }
        let struck: Vec<usize> = (0..part.notes.len()).filter(|n| part.notes[*n].is_struck()).collect();
        for pair in struck.windows(2) {
            let [a, b] = [pair[0], pair[1]];
            if octaves[a] == octaves[b] {
                continue;
            }
            let rest = (a + 1..b).any(|n| part.notes[n].is_rest());
            let apart = Interval::between(part.notes[a].pitch().unwrap(), part.notes[b].pitch().unwrap());
            prop_assert!(rest || apart.semitones.abs() >= 5, "parted in {}", apart.name());
            for slur in part.marks.iter().filter(|m| m.sign.name() == "slur") {
                let (Some(from), Some(to)) = (slur.at.note, slur.end.and_then(|e| e.note)) else { continue };
                prop_assert!(b <= from || a >= to, "a slur is parted");
            }
        }
    }
}
