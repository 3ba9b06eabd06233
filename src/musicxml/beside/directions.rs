//! Directions as the engraver wants them: dynamics and words each by themselves.

use super::super::elements::is_dynamic_sign;
use super::super::fragment::Fragment;
use super::super::marks::Pair;

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

/// A dynamic whose last letter was typed as words, as one sign: `f` and `z` are `fz`.
pub(super) fn joined_dynamics(children: Vec<Fragment>) -> Vec<Fragment> {
    let mut out: Vec<Fragment> = Vec::new();
    for child in children {
        if let Some(sign) = out.last().and_then(|before| continued(before, &child))
            && let Some(dynamics) = out.last_mut().and_then(|before| only(before, "dynamics"))
        {
            dynamics.children = vec![Fragment::new(&sign)];
        } else {
            out.push(child);
        }
    }
    out
}

/// The dynamic that two directions at one place say together.
fn continued(first: &Fragment, second: &Fragment) -> Option<String> {
    let [sign, letters] = [sole(first, "dynamics")?, sole(second, "words")?];
    let [sign_of] = &sign.children[..] else { return None };
    let is_alike = ["offset", "staff"].iter().all(|name| {
        let own = |f: &Fragment| f.child(name).map(|c| c.text.trim().to_string());
        own(first) == own(second)
    });
    // Black is how all is drawn.
    let color = |f: &Fragment| f.attribute("color").filter(|c| *c != "#000000").map(String::from);
    let whole = format!("{}{}", sign_of.name, letters.text.trim());
    let is_one = is_alike && color(sign) == color(letters) && is_dynamic_sign(&sign_of.name);
    (is_one && is_dynamic_sign(&whole)).then_some(whole)
}

/// What a direction holds, if it is one thing of this name.
fn sole<'f>(direction: &'f Fragment, name: &str) -> Option<&'f Fragment> {
    let mut kinds = direction.children.iter().filter(|c| c.name == "direction-type");
    let (kind, more) = (kinds.next()?, kinds.next());
    kind.child(name).filter(|_| kind.children.len() == 1 && more.is_none() && direction.name == "direction")
}

fn only<'f>(direction: &'f mut Fragment, name: &str) -> Option<&'f mut Fragment> {
    direction.children.iter_mut().flat_map(|kind| &mut kind.children).find(|c| c.name == name)
}

/// A metronome mark that is moved to the right of its tempo's words belongs to their beat.
pub(super) fn metronomes_after_words(measure: &mut Fragment) {
    let holds = |f: &Fragment, name: &str| {
        let mut kinds = f.children.iter().filter(|c| c.name == "direction-type").flat_map(|kind| &kind.children);
        f.name == "direction" && kinds.any(|sign| sign.name == name)
    };
    for direction in &mut measure.children {
        stand_off(direction);
    }
    for at in 1..measure.children.len() {
        let [words, mark] = &mut measure.children[at - 1..=at] else { continue };
        if holds(words, "words") && holds(mark, "metronome") && !holds(mark, "words") {
            mark.remove("offset");
            words.child("offset").cloned().map(|offset| mark.place(offset));
        }
    }
}

/// Between the words of a tempo and the metronome mark in the same direction the engraver leaves no space.
fn stand_off(direction: &mut Fragment) {
    let mut kinds = direction.children.iter_mut().filter(|c| c.name == "direction-type").peekable();
    while let Some(kind) = kinds.next() {
        let leads = kinds.peek().is_some_and(|next| next.child("metronome").is_some());
        if let Some(words) = kind.children.iter_mut().find(|c| c.name == "words").filter(|_| leads)
            && !words.text.trim_end().ends_with(['(', '['])
        {
            words.text = format!("{} ", words.text.trim_end());
        }
    }
}

/// A direction with dynamics and words as two: the engraver would set them as
/// one word.
pub(super) fn split_dynamics(direction: Fragment) -> Vec<Fragment> {
    let holds = |f: &Fragment, name: &str| f.name == "direction-type" && f.child(name).is_some();
    let has = |name: &str| direction.children.iter().any(|c| holds(c, name));
    if !has("dynamics") {
        return vec![direction];
    }
    if !has("words") {
        return by_color(direction);
    }
    let mut words = direction.clone();
    words.children.retain(|c| c.name != "direction-type" || !holds(c, "dynamics"));
    let mut dynamics = direction;
    dynamics.children.retain(|c| c.name != "direction-type" || holds(c, "dynamics"));
    let mut out = by_color(dynamics);
    out.push(words);
    out
}

/// Dynamics in one element, of which some are marked and some not, each in a direction of its own: the engraver has
/// one colour for all.
fn by_color(direction: Fragment) -> Vec<Fragment> {
    let of = |f: &Fragment| f.child("dynamics").map(|dynamics| dynamics.children.clone());
    let kinds: Vec<usize> = (0..direction.children.len()).filter(|c| of(&direction.children[*c]).is_some()).collect();
    let [kind] = kinds[..] else { return vec![direction] };
    let mut groups: Vec<(Option<String>, Vec<Fragment>)> = Vec::new();
    let mut opening = Vec::new();
    for mut sign in of(&direction.children[kind]).unwrap_or_default() {
        sign.text = sign.text.trim().into();
        let [opens, closes] = [0, 1].map(|side| Pair::ALL.iter().any(|pair| pair.texts()[side] == sign.text));
        let color = sign.attribute("color").map(String::from);
        match groups.last_mut() {
            _ if opens => opening.push(sign),
            Some((_, last)) if closes => last.push(sign),
            Some((old, last)) if *old == color && opening.is_empty() => last.push(sign),
            _ => groups.push((color, std::mem::take(&mut opening).into_iter().chain([sign]).collect())),
        }
    }
    if groups.is_empty() || !opening.is_empty() {
        return vec![direction];
    }
    let one = |(color, signs): (Option<String>, Vec<Fragment>)| {
        let mut out = direction.clone();
        let dynamics = out.children[kind].child_mut("dynamics");
        dynamics.children = joined(signs);
        color.into_iter().for_each(|color| dynamics.set_attribute("color", color));
        out
    };
    groups.into_iter().map(one).collect()
}

/// A text and its brackets as one: the engraver sets spaces between several.
fn joined(signs: Vec<Fragment>) -> Vec<Fragment> {
    let is_bracket = |sign: &Fragment, side: usize| Pair::ALL.iter().any(|pair| pair.texts()[side] == sign.text);
    let is_text = signs.iter().all(|sign| sign.name == "other-dynamics");
    let [open, text, close] = &signs[..] else { return signs };
    if !is_text || !is_bracket(open, 0) || !is_bracket(close, 1) {
        return signs;
    }
    let mut out = text.clone();
    out.text = [open, text, close].map(|sign| sign.text.as_str()).concat();
    vec![out]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn direction(inner: Fragment) -> Fragment {
        Fragment::new("direction").with(Fragment::new("direction-type").with(inner))
    }

    #[test]
    fn letters_that_end_a_dynamic_are_part_of_it() {
        let sign = |name: &str| direction(Fragment::new("dynamics").with(Fragment::new(name)));
        let words = |text: &str| direction(Fragment::leaf("words", text));
        let joined = joined_dynamics(vec![sign("f"), words("z"), sign("f"), words("dolce"), words("z")]);
        let said = |f: &Fragment| f.children[0].children[0].children.first().map(|c| c.name.clone());
        let said: Vec<_> = joined.iter().map(said).collect();
        assert_eq!(said, [Some("fz".into()), Some("f".into()), None, None]);
        let colored = direction(Fragment::leaf("words", "z").set("color", "#D55E00"));
        assert_eq!(joined_dynamics(vec![sign("f"), colored]).len(), 2);
    }

    #[test]
    fn a_metronome_mark_stands_off_its_words() {
        let kind = |inner| Fragment::new("direction-type").with(inner);
        let of = |text: &str| {
            let words = kind(Fragment::leaf("words", text));
            let tempo = Fragment::new("direction").with(words).with(kind(Fragment::new("metronome")));
            let mut measure = Fragment::new("measure").with(tempo);
            metronomes_after_words(&mut measure);
            measure.children[0].children[0].children[0].text.clone()
        };
        assert_eq!([of("Vivace"), of("Vivace ("), of("Vivace ")], ["Vivace ", "Vivace (", "Vivace "]);
    }

    #[test]
    fn dynamics_of_which_one_is_marked_stand_each_for_themselves() {
        let other = |text: &str| Fragment::leaf("other-dynamics", text);
        let dynamics = |signs: &[Fragment]| {
            let mut out = Fragment::new("dynamics");
            out.children = signs.to_vec();
            Fragment::new("direction").with(Fragment::new("direction-type").with(out))
        };
        let marked = other(" dolce").set("color", "#00002A");
        let split = split_dynamics(dynamics(&[Fragment::new("mf"), other("["), marked, other("]")]));
        let said = |direction: &Fragment| {
            let dynamics = direction.children[0].child("dynamics").unwrap().clone();
            let signs =
                dynamics.children.iter().map(|c| if c.text.is_empty() { c.name.clone() } else { c.text.clone() });
            (signs.collect::<Vec<_>>(), dynamics.attribute("color").map(String::from))
        };
        let said: Vec<_> = split.iter().map(said).collect();
        let strings = |all: &[&str]| all.iter().map(ToString::to_string).collect::<Vec<_>>();
        assert_eq!(said, [(strings(&["mf"]), None), (strings(&["[dolce]"]), Some("#00002A".into()))]);
        assert_eq!(split_dynamics(dynamics(&[other("più"), Fragment::new("f")])).len(), 1);
    }

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
