//! Pitches as elements.

use super::fragment::Fragment;
use super::tree::alteration;
use crate::pitch::{Interval, LETTERS, Pitch};

/// The element of a written pitch.
pub fn pitch_fragment(pitch: Pitch) -> Fragment {
    let mut out = Fragment::new("pitch").with(Fragment::leaf("step", LETTERS[pitch.step as usize]));
    if pitch.alter != 0 {
        let text = if pitch.alter % 100 == 0 {
            (pitch.alter / 100).to_string()
        } else {
            format!("{}", f64::from(pitch.alter) / 100.0)
        };
        out = out.with(Fragment::leaf("alter", text));
    }
    out.with(Fragment::leaf("octave", pitch.octave))
}

/// A sounding pitch of the source as the edition writes it: `interval` leads from the source's sounding
/// pitch to the edition's, `transpose` from what the edition writes to what sounds.
pub fn in_edition(sounding: Pitch, interval: Interval, transpose: Interval) -> Pitch {
    sounding.moved(interval).moved(transpose.inverse()).simplest()
}

/// Moves a pitch that is written as children of an element: the root of a
/// chord symbol, or the place of a rest.
pub fn move_named_pitch(holder: &mut Fragment, step: &str, alter: &str, by: Interval) {
    let text = |f: &Fragment, name: &str| f.child(name).map(|c| c.text.trim().to_string());
    let Some(letter) = text(holder, step) else {
        return;
    };
    let is_rest = alter.is_empty();
    let octave = text(holder, "display-octave").and_then(|o| o.parse().ok()).unwrap_or(4);
    let Some(base) = Pitch::parse(&format!("{letter}4")) else {
        return;
    };
    let signs = text(holder, alter).and_then(|t| alteration(&t)).unwrap_or(0);
    let moved = Pitch::new(base.step, signs, octave).moved(by);
    let moved = if is_rest { moved } else { moved.simplest() };
    for child in &mut holder.children {
        if child.name == step {
            child.text = LETTERS[moved.step as usize].to_string();
        } else if child.name == "display-octave" {
            child.text = moved.octave.to_string();
        }
    }
    if is_rest {
        return;
    }
    holder.remove(alter);
    if moved.alter != 0 {
        let at = holder.children.iter().position(|c| c.name == step).map_or(0, |p| p + 1);
        holder.children.insert(at, Fragment::leaf(alter, moved.alter / 100));
    }
}

/// A letter and its alteration, in any octave.
pub fn spelled(step: &str, alter: &str) -> Option<Pitch> {
    let step = LETTERS.iter().position(|l| step == l.to_string())? as i32;
    let alter: f64 = alter.parse().ok()?;
    Some(Pitch::new(step, (alter * 100.0).round() as i32, 4))
}
