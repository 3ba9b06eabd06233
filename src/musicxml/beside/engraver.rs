//! What the engraver wants said otherwise than the schema would let anyone say it.

use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::super::marks::Pair;
use super::beams::mend_open;
use super::directions::{dynamics_before_notes, joined_dynamics, metronomes_after_words, split_dynamics};
use super::rests::{fill_with_rest, with_values};
use crate::time::Time;
use std::collections::BTreeMap;

/// Before and after a colour that stands in a text: of some elements the
/// engraver carries over what they say, but not in which colour.
pub const TEXT_COLOR: [char; 2] = ['\u{F0000}', '\u{F0001}'];
/// Before the colour of a sign that stands in brackets, which the engraver does not draw.
pub const BRACKETED: char = '[';
/// Between the number of a bar that earlier ones have too, and how many have it.
pub const SAME_NUMBER: char = '\u{F0002}';

/// What becomes of the brackets around signs, and of signs in small type.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Brackets {
    LeftOut,
    /// The signs are marked so that brackets can be drawn around them.
    Drawn,
}

/// What would join several bars into one, or hide their notes.
const LEFT_OUT: [&str; 2] = ["measure-style", "part-symbol"];
/// Of several in a note the engraver reads the first.
const ONCE: [&str; 4] = ["notations", "articulations", "ornaments", "technical"];
/// What stands beside notes in letters.
const LETTERED: [&str; 9] = [
    "words",
    "rehearsal",
    "other-dynamics",
    "fingering",
    "text",
    "kind",
    "other-ornament",
    "other-technical",
    "other-articulation",
];
/// Letters of the longest line, and of the longest word.
const LINE: usize = 60;
/// Lines of the longest text.
const LINES: usize = 4;
/// Signs and letters that are set apart by their size.
pub(super) const SIZED: [&str; 4] = ["fermata", "rehearsal", "segno", "coda"];

/// Makes the bars of a part ready.
pub(super) fn prepare_all(measures: &mut [Fragment], brackets: Brackets) {
    let mut divisions = Time::from(1);
    for measure in &mut *measures {
        prepare(measure, brackets);
        with_values(measure, &mut divisions);
    }
    mend_open(measures);
    number_apart(measures);
}

/// The engraver puts the marks of a bar into the first one with its number, though each movement begins with 1.
fn number_apart(measures: &mut [Fragment]) {
    let mut known: BTreeMap<String, usize> = BTreeMap::new();
    for measure in measures {
        let Some(own) = measure.attribute("number").map(String::from) else { continue };
        let count = known.entry(own.clone()).or_default();
        if *count > 0 {
            measure.set_attribute("number", format!("{own}{SAME_NUMBER}{count}"));
        }
        *count += 1;
    }
}

/// Makes a bar ready.
fn prepare(measure: &mut Fragment, brackets: Brackets) {
    dynamics_before_notes(measure);
    metronomes_after_words(measure);
    let mut children = Vec::new();
    for child in std::mem::take(&mut measure.children) {
        children.extend(if child.name == "direction" { split_dynamics(child) } else { vec![child] });
    }
    measure.children = joined_dynamics(children);
    attributes_first(measure);
    fill_with_rest(measure);
    ready(measure, brackets);
}

/// What holds from the start of a bar is said before all that is drawn: after a
/// chord symbol the engraver would not look for it.
fn attributes_first(measure: &mut Fragment) {
    let is_timed = |f: &Fragment| matches!(f.name.as_str(), "note" | "backup" | "forward");
    let first = measure.children.iter().position(is_timed).unwrap_or(measure.children.len());
    let is_left = |f: &Fragment| f.name == "barline" && f.attribute("location") == Some("left");
    measure.children[..first].sort_by_key(|f| match f.name.as_str() {
        _ if is_left(f) => 0,
        "attributes" => 1,
        _ => 2,
    });
}

fn ready(fragment: &mut Fragment, brackets: Brackets) {
    fragment.children.retain(|c| !LEFT_OUT.contains(&c.name.as_str()) && !is_empty(c));
    merge(fragment);
    unbracket(fragment, brackets);
    fragment.children.iter_mut().for_each(|c| ready(c, brackets));
    if fragment.name == "harmony" {
        print_text(fragment);
    }
    if fragment.name == "words" {
        close(&mut fragment.text);
    }
    if fragment.children.is_empty() && LETTERED.contains(&fragment.name.as_str()) {
        shorten(&mut fragment.text);
    }
    if fragment.name == "direction" && fragment.child("staff").is_none() {
        // Without it an octave line is drawn, but moves no note.
        fragment.place(Fragment::leaf("staff", 1));
    }
    if brackets == Brackets::Drawn
        && SIZED.contains(&fragment.name.as_str())
        && fragment.attribute("font-size").is_some()
    {
        mark_bracketed(fragment);
    }
    let color = fragment.attribute("color").map(String::from);
    let Some(color) = color else { return };
    let texts: &[&str] = match fragment.name.as_str() {
        "fingering" => &[],
        "metronome" => &["per-minute"],
        "harmony" => &["root", "root-step"],
        "figured-bass" => &["figure", "figure-number"],
        _ => return,
    };
    let mut holder = fragment;
    for name in texts {
        let Some(next) = holder.children.iter_mut().find(|c| c.name == *name) else { return };
        holder = next;
    }
    let [open, close] = TEXT_COLOR;
    holder.text = format!("{open}{color}{close}{}", holder.text.trim());
}

/// Brackets close around the words that they enclose.
fn close(words: &mut String) {
    for pair in Pair::ALL {
        let [open, close] = pair.texts();
        let inner = words.trim().strip_prefix(open).and_then(|rest| rest.strip_suffix(close));
        if let Some(inner) = inner.filter(|inner| inner.trim() != *inner) {
            *words = format!("{open}{}{close}", inner.trim());
        }
    }
}

/// Long texts stand in lines; what would still be wider than a page is cut.
fn shorten(text: &mut String) {
    if text.chars().nth(LINE).is_none() {
        return;
    }
    let cut = |word: &str| match word.char_indices().nth(LINE) {
        // What encloses words still does.
        Some((end, _)) => {
            let close = word.chars().last().filter(|c| "])}".contains(*c)).map_or(String::new(), String::from);
            format!("{}…{close}", &word[..end])
        }
        None => word.to_string(),
    };
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace().map(cut) {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < LINE => *line += &format!(" {word}"),
            _ => lines.push(word),
        }
    }
    if lines.len() > LINES {
        lines.truncate(LINES);
        lines[LINES - 1].push('…');
    }
    let before = if text.starts_with('\n') { "\n" } else { "" };
    *text = before.to_string() + &lines.join("\n");
}

/// Whether a sign shows nothing. The engraver would look for its place in vain.
fn is_empty(fragment: &Fragment) -> bool {
    match fragment.name.as_str() {
        "words" | "rehearsal" | "fingering" | "other-dynamics" => fragment.text.trim().is_empty(),
        "direction-type" | "dynamics" => fragment.children.iter().all(is_empty),
        "direction" => fragment.children.iter().filter(|c| c.name == "direction-type").all(is_empty),
        _ => false,
    }
}

/// What a chord symbol prints in place of its root, its bass and its kind.
fn print_text(harmony: &mut Fragment) {
    for of in &mut harmony.children {
        let [step, alter] = match of.name.as_str() {
            "root" => ["root-step", "root-alter"],
            "bass" => ["bass-step", "bass-alter"],
            // The engraver prints nothing for no chord.
            "kind" if of.text.trim() == "none" && of.attribute("text").is_some() => {
                of.text = "other".into();
                continue;
            }
            _ => continue,
        };
        let is_hidden = |f: &Fragment| f.name == alter && f.attribute("print-object") == Some("no");
        of.children.retain(|c| !is_hidden(c));
        if let Some(own) = of.children.iter_mut().find(|c| c.name == step)
            && let Some(printed) = own.attribute("text").map(String::from)
        {
            own.text = printed;
        }
    }
}

fn mark_bracketed(fragment: &mut Fragment) {
    let color = fragment.attribute("color").unwrap_or_default();
    if !color.starts_with(BRACKETED) {
        let color = format!("{BRACKETED}{color}");
        fragment.set_attribute("color", color);
    }
}

/// Puts what several elements of a name hold into the first.
fn merge(fragment: &mut Fragment) {
    for name in ONCE {
        let mut own: Vec<usize> = (0..fragment.children.len()).filter(|c| fragment.children[*c].name == name).collect();
        own.reverse();
        for later in own.iter().take(own.len().saturating_sub(1)) {
            let held = fragment.children.remove(*later).children;
            let first = fragment.children.iter_mut().find(|c| c.name == name).expect("one is left");
            // The later ones come first here.
            let at = first.children.len();
            first.children.splice(at..at, held);
        }
    }
}

/// Takes out the brackets around signs, and marks these and those in small type.
fn unbracket(holder: &mut Fragment, brackets: Brackets) {
    let Some(flank) = facts(&holder.name).brackets.filter(|_| holder.name != "dynamics") else { return };
    let is = |fragment: Option<&Fragment>, side: usize| {
        fragment.is_some_and(|f| f.name == flank && Pair::ALL.iter().any(|pair| pair.texts()[side] == f.text.trim()))
    };
    for sign in holder.children.iter_mut().filter(|s| brackets == Brackets::Drawn && s.attribute("font-size").is_some())
    {
        mark_bracketed(sign);
    }
    let mut at = 1;
    while at + 1 < holder.children.len() {
        if is(holder.children.get(at - 1), 0) && is(holder.children.get(at + 1), 1) {
            holder.children.remove(at + 1);
            holder.children.remove(at - 1);
            if brackets == Brackets::Drawn {
                mark_bracketed(&mut holder.children[at - 1]);
            }
        } else {
            at += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made_ready(inner: Fragment, brackets: Brackets) -> Fragment {
        let mut measure = Fragment::new("measure").with(inner);
        prepare(&mut measure, brackets);
        measure
    }

    #[test]
    fn colours_that_would_be_lost_stand_in_the_text() {
        let fingering = Fragment::leaf("fingering", "0 12").set("color", "#00002A");
        assert_eq!(made_ready(fingering, Brackets::LeftOut).children[0].text, "\u{F0000}#00002A\u{F0001}0 12");
        let minute = Fragment::leaf("per-minute", "66");
        let mark = Fragment::new("metronome").with(Fragment::leaf("beat-unit", "half")).with(minute);
        let mark = made_ready(mark.set("color", "#000001"), Brackets::LeftOut);
        assert_eq!(mark.children[0].children[1].text, "\u{F0000}#000001\u{F0001}66");
        assert_eq!(made_ready(Fragment::leaf("fingering", "2"), Brackets::Drawn).children[0].text, "2");
        let small = Fragment::new("technical").with(Fragment::leaf("fingering", "2").set("font-size", "6"));
        assert_eq!(made_ready(small, Brackets::Drawn).children[0].children[0].text, "\u{F0000}[\u{F0001}2");
    }

    #[test]
    fn directions_have_a_staff_and_dynamics_one_of_their_own() {
        let kind = |inner| Fragment::new("direction-type").with(inner);
        let dynamics = kind(Fragment::new("dynamics").with(Fragment::new("f")));
        let direction = Fragment::new("direction").with(dynamics).with(kind(Fragment::leaf("words", "poco rit.")));
        let measure = made_ready(direction, Brackets::LeftOut);
        assert_eq!(measure.children.len(), 2);
        for direction in &measure.children {
            assert_eq!(direction.child("staff").map(|s| s.text.as_str()), Some("1"));
            assert_eq!(direction.children.iter().filter(|c| c.name == "direction-type").count(), 1);
        }
    }

    #[test]
    fn bars_of_one_number_are_told_apart() {
        let mut measures: Vec<Fragment> =
            ["1", "2", "1", "1"].map(|number| Fragment::new("measure").set("number", number)).into();
        prepare_all(&mut measures, Brackets::LeftOut);
        let numbers: Vec<_> = measures.iter().filter_map(|m| m.attribute("number")).collect();
        assert_eq!(numbers, ["1", "2", "1\u{F0002}1", "1\u{F0002}2"]);
    }

    #[test]
    fn empty_signs_are_left_out() {
        let direction = |inner| Fragment::new("direction").with(Fragment::new("direction-type").with(inner));
        let mut measure = Fragment::new("measure").with(direction(Fragment::leaf("rehearsal", " ")));
        measure.children.push(direction(Fragment::new("dynamics")));
        measure.children.push(direction(Fragment::new("dynamics").with(Fragment::new("f"))));
        measure.children.push(direction(Fragment::leaf("words", "dolce")));
        measure.children.push(direction(Fragment::new("wedge")));
        prepare(&mut measure, Brackets::LeftOut);
        let kept: Vec<_> = measure.children.iter().map(|d| d.children[0].children[0].name.as_str()).collect();
        assert_eq!(kept, ["dynamics", "words", "wedge"]);
    }

    #[test]
    fn what_holds_is_said_first() {
        let mut measure = Fragment::new("measure").with(Fragment::new("harmony"));
        measure.children.push(Fragment::new("attributes"));
        measure.children.push(Fragment::new("barline").set("location", "left"));
        measure.children.extend([Fragment::new("note"), Fragment::new("attributes")]);
        prepare(&mut measure, Brackets::LeftOut);
        let names: Vec<_> = measure.children.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["barline", "attributes", "harmony", "note", "attributes"]);
    }

    #[test]
    fn chord_symbols_print_their_texts() {
        let root = Fragment::new("root")
            .with(Fragment::leaf("root-step", "C").set("text", "In"))
            .with(Fragment::leaf("root-alter", 1).set("print-object", "no"));
        let kind = Fragment::leaf("kind", "none").set("text", " Tempo");
        let harmony = Fragment::new("harmony").set("color", "#000004").with(root).with(kind);
        let measure = made_ready(harmony, Brackets::LeftOut);
        let [root, kind] = &measure.children[0].children[..] else { panic!("{measure:?}") };
        assert_eq!(root.children.len(), 1);
        assert_eq!(root.children[0].text, "\u{F0000}#000004\u{F0001}In");
        assert_eq!((kind.text.as_str(), kind.attribute("text")), ("other", Some(" Tempo")));
    }

    #[test]
    fn brackets_around_signs_become_one_mark() {
        let bracket = |text| Fragment::leaf("other-articulation", text);
        let accent = Fragment::new("accent").set("color", "#D55E00");
        let group = Fragment::new("articulations").with(bracket("[")).with(accent).with(bracket("]"));
        let notations = |inner| Fragment::new("notations").with(inner);
        let tenuto = notations(Fragment::new("articulations").with(Fragment::new("tenuto")));
        let note = Fragment::new("note").with(notations(group)).with(tenuto);
        let measure = made_ready(note, Brackets::Drawn);
        let notations = &measure.children[0].children;
        assert_eq!(notations.len(), 1);
        let signs = &notations[0].children[0].children;
        let told: Vec<_> = signs.iter().map(|s| (s.name.as_str(), s.attribute("color"))).collect();
        assert_eq!(told, [("accent", Some("[#D55E00")), ("tenuto", None)]);
    }

    #[test]
    fn long_words_stand_in_lines_and_what_is_wider_than_a_page_is_cut() {
        let said = |text: &str| {
            let words = Fragment::new("direction-type").with(Fragment::leaf("words", text));
            let direction = made_ready(Fragment::new("direction").with(words), Brackets::LeftOut).children.remove(0);
            direction.child("direction-type").and_then(|t| t.child("words")).expect("it stays").text.clone()
        };
        assert_eq!(said("un poco  più mosso"), "un poco  più mosso");
        let long = "play it softly ".repeat(8);
        assert_eq!(said(&long).replace('\n', " "), long.trim());
        assert!(said(&long).lines().count() == 2 && said(&long).lines().all(|line| line.chars().count() <= LINE));
        assert_eq!(said(&format!("[{}]", "é".repeat(300))), format!("[{}…]", "é".repeat(LINE - 1)));
        assert!(said(&long.repeat(9)).ends_with('…') && said(&long.repeat(9)).lines().count() == LINES);
    }
}
