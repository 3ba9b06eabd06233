//! Directions as the engraver wants them: dynamics and words each by themselves.

use super::super::fragment::Fragment;

/// Dynamics that a note holds, as directions: the engraver does not read them there.
pub(super) fn dynamics_before_notes(measure: &mut Fragment) {
    let mut out: Vec<Fragment> = Vec::new();
    for mut note in std::mem::take(&mut measure.children) {
        let mut held = Vec::new();
        for notations in note.children.iter_mut().filter(|c| c.name == "notations") {
            let (dynamics, rest) =
                std::mem::take(&mut notations.children).into_iter().partition(|c| c.name == "dynamics");
            notations.children = rest;
            let dynamics: Vec<Fragment> = dynamics;
            held.extend(dynamics);
        }
        // Before the first note of a chord.
        let is_in_chord = |f: &Fragment| f.name == "note" && f.child("chord").is_some();
        let mut at = out.len();
        if is_in_chord(&note) {
            at = out.iter().rposition(|f| f.name == "note" && !is_in_chord(f)).unwrap_or(at);
        }
        for dynamics in held {
            let mut direction = Fragment::new("direction");
            if let Some(placement) = dynamics.attribute("placement") {
                direction.set_attribute("placement", placement);
            }
            direction.children.push(Fragment::new("direction-type").with(dynamics));
            direction.children.extend(note.child("staff").cloned());
            out.insert(at, direction);
        }
        out.push(note);
    }
    measure.children = out;
}

/// A metronome mark that is moved to the right of its tempo's words belongs to their beat.
pub(super) fn metronomes_after_words(measure: &mut Fragment) {
    let holds = |f: &Fragment, name: &str| {
        let mut kinds = f.children.iter().filter(|c| c.name == "direction-type").flat_map(|kind| &kind.children);
        f.name == "direction" && kinds.any(|sign| sign.name == name)
    };
    for at in 1..measure.children.len() {
        let [words, mark] = &mut measure.children[at - 1..=at] else { continue };
        if holds(words, "words") && holds(mark, "metronome") && !holds(mark, "words") {
            mark.remove("offset");
            words.child("offset").cloned().map(|offset| mark.place(offset));
        }
    }
}

/// A direction with dynamics and words as two: the engraver would set them as
/// one word.
pub(super) fn split_dynamics(direction: Fragment) -> Vec<Fragment> {
    let holds = |f: &Fragment, name: &str| f.name == "direction-type" && f.child(name).is_some();
    let has = |name: &str| direction.children.iter().any(|c| holds(c, name));
    if !has("dynamics") || !has("words") {
        return vec![direction];
    }
    let mut words = direction.clone();
    words.children.retain(|c| c.name != "direction-type" || !holds(c, "dynamics"));
    let mut dynamics = direction;
    dynamics.children.retain(|c| c.name != "direction-type" || holds(c, "dynamics"));
    vec![dynamics, words]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dynamics_of_a_note_stand_before_its_chord() {
        let dynamics = Fragment::new("dynamics").set("placement", "above").with(Fragment::new("f"));
        let first = Fragment::new("note").with(Fragment::leaf("staff", 2));
        let second = first.clone().with(Fragment::new("chord")).with(Fragment::new("notations").with(dynamics));
        let mut measure = Fragment::new("measure").with(first);
        measure.children.push(second);
        dynamics_before_notes(&mut measure);
        let names: Vec<_> = measure.children.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["direction", "note", "note"]);
        let direction = &measure.children[0];
        assert_eq!(
            (direction.attribute("placement"), direction.child("staff").unwrap().text.as_str()),
            (Some("above"), "2")
        );
        assert!(measure.children[2].child("notations").unwrap().children.is_empty());
    }
}
