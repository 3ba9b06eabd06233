//! Signatures of single accidentals in another key.

use super::super::fragment::Fragment;
use super::super::pitches::spelled;
use super::super::tree::{alteration, child, elements, text_of};
use crate::pitch::{Interval, LETTERS, Pitch, accidental_name};
use crate::score::KeySigns;
use roxmltree::Node;

/// The letters in the order in which sharps come; flats come the other way round.
const ORDER: [i32; 7] = [3, 0, 4, 1, 5, 2, 6];

/// The signature moved, every letter of it: what is sharp without a sign in
/// one key may need one in another. The signs that were there come first.
pub(super) fn moved_key_of_signs(key: Node<'_, '_>, by: Interval) -> Fragment {
    // By the least octave, so that signs with a place of their own stay on the staff.
    let octaves = (by.semitones + 6).div_euclid(12);
    let by = Interval::new(by.steps - 7 * octaves, by.semitones - 12 * octaves);
    let has_names = child(key, "key-accidental").is_some();
    let octave_of = |nth: usize| {
        let told = |n: &Node| n.tag_name().name() == "key-octave" && n.attribute("number") == Some(&nth.to_string());
        elements(key).find(told).and_then(|n| text_of(n).parse::<i32>().ok().map(|octave| (n, octave)))
    };
    let mut old: Vec<Pitch> = Vec::new();
    let mut new: Vec<(Pitch, Option<Fragment>)> = Vec::new();
    let steps = elements(key).filter(|n| n.tag_name().name() == "key-step");
    for (nth, step) in steps.enumerate() {
        let alter = step.next_sibling_element().filter(|n| n.tag_name().name() == "key-alter");
        // As it is read: what alters nothing, or too far, is no sign.
        let alter = alter.map(text_of).filter(|alter| alteration(alter).is_some());
        let Some(sign) = alter.and_then(|alter| spelled(text_of(step), alter)) else { continue };
        let place = octave_of(nth + 1);
        let moved = Pitch { octave: place.map_or(4, |p| p.1), ..sign }.moved(by);
        new.push((moved, place.map(|(node, _)| Fragment::shell(node))));
        old.push(sign);
    }
    let plain = ORDER.iter().filter(|step| old.iter().all(|sign| sign.step != **step));
    let moved: Vec<Pitch> = plain.map(|step| Pitch::new(*step, 0, 4).moved(by)).collect();
    let order = |pitch: &Pitch| ORDER.iter().position(|step| *step == pitch.step);
    let mut sharps: Vec<Pitch> = moved.iter().copied().filter(|p| p.alter > 0).collect();
    let mut flats: Vec<Pitch> = moved.iter().copied().filter(|p| p.alter < 0).collect();
    sharps.sort_by_key(order);
    flats.sort_by_key(|pitch| std::cmp::Reverse(order(pitch)));
    new.extend(sharps.into_iter().chain(flats).map(|pitch| (pitch, None)));
    new.retain(|(pitch, _)| pitch.alter != 0);
    let mut out = Fragment::shell(key);
    if new.is_empty() {
        return out.with(Fragment::leaf("fifths", 0));
    }
    for (pitch, _) in &new {
        out = out
            .with(Fragment::leaf("key-step", LETTERS[pitch.step as usize]))
            .with(Fragment::leaf("key-alter", f64::from(pitch.alter) / 100.0));
        if let Some(name) = accidental_name(pitch.alter).filter(|_| has_names) {
            out = out.with(Fragment::leaf("key-accidental", name));
        }
    }
    for (nth, (pitch, place)) in new.into_iter().enumerate() {
        if let Some(mut place) = place {
            place.set_attribute("number", nth + 1);
            place.text = pitch.octave.to_string();
            out = out.with(place);
        }
    }
    out
}

/// A signature that a file does not write, but says by how its instrument changes.
pub(super) fn key_of_signs(signs: KeySigns) -> Fragment {
    let mut out = Fragment::new("key");
    for step in ORDER.into_iter().filter(|step| signs.0[*step as usize] != 0) {
        out = out
            .with(Fragment::leaf("key-step", LETTERS[step as usize]))
            .with(Fragment::leaf("key-alter", f64::from(signs.0[step as usize]) / 100.0));
    }
    if out.children.is_empty() { out.with(Fragment::leaf("fifths", 0)) } else { out }
}
