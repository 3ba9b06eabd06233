//! Clefs that come with a bar, as words: the engraver would look for their places by the metre and the divisions
//! that it has read last, and put them on other notes or nowhere.

use super::super::fragment::Fragment;
use super::signs::onsets;
use super::staff::say;

/// Before a clef that stands in words: its sign, its line, how many octaves it changes, and `no` if it is not printed.
pub const CLEF: char = '\u{F0003}';

/// Writes the clefs that come with a bar as words, but for those of the first one: they begin it, though a lower staff
/// says its own after the notes of the upper one.
pub(super) fn as_words(measures: &mut [Fragment]) {
    for (place, measure) in measures.iter_mut().enumerate() {
        let found = taken_out(measure);
        if place == 0 {
            say(&mut measure.children, found);
            continue;
        }
        let timed = |f: &Fragment| matches!(f.name.as_str(), "note" | "backup" | "forward");
        let first = measure.children.iter().position(timed).unwrap_or(measure.children.len());
        let words = found.iter().filter_map(words);
        measure.children.splice(first..first, words);
    }
}

/// The clefs that come with a bar, the last of each staff.
fn taken_out(measure: &mut Fragment) -> Vec<Fragment> {
    let onsets = onsets(&measure.children);
    let mut found: Vec<Fragment> = Vec::new();
    let at_start = measure.children.iter_mut().zip(onsets).filter(|(c, onset)| c.name == "attributes" && *onset == 0);
    for (child, _) in at_start {
        let (clefs, rest) = std::mem::take(&mut child.children).into_iter().partition(|c| c.name == "clef");
        child.children = rest;
        for clef in Vec::into_iter(clefs) {
            found.retain(|old| old.attribute("number") != clef.attribute("number"));
            found.push(clef);
        }
    }
    measure.children.retain(|c| c.name != "attributes" || !c.children.is_empty());
    found
}

/// `None` of a clef that is none.
fn words(clef: &Fragment) -> Option<Fragment> {
    let said = |name: &str| clef.child(name).map_or("", |c| c.text.trim());
    let (sign, octaves) = (said("sign"), said("clef-octave-change"));
    let line = match (said("line"), sign) {
        ("", "C") => "3",
        ("", "F") => "4",
        ("", "G") => "2",
        ("", "TAB") => "5",
        (line, _) => line,
    };
    if sign.is_empty() || sign == "none" {
        return None;
    }
    let or = |text: &str| if text.is_empty() { "0".to_string() } else { text.to_string() };
    let printed = clef.attribute("print-object").unwrap_or("yes");
    let mut words = Fragment::leaf("words", format!("{CLEF}{sign} {} {} {printed}", or(line), or(octaves)));
    if let Some(color) = clef.attribute("color") {
        words.set_attribute("color", color);
    }
    let kind = Fragment::new("direction-type").with(words);
    Some(Fragment::new("direction").with(kind).with(Fragment::leaf("staff", clef.attribute("number").unwrap_or("1"))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clef_that_comes_with_a_bar_is_words() {
        let clef = |number: u32, sign: &str| {
            Fragment::new("attributes")
                .with(Fragment::new("clef").set("number", number).with(Fragment::leaf("sign", sign)))
        };
        let lasting = |name: &str| Fragment::new(name).with(Fragment::leaf("duration", 4));
        let mut bar = Fragment::new("measure");
        bar.children = vec![clef(1, "C"), lasting("note"), clef(1, "G"), lasting("note")];
        bar.children.extend([lasting("backup"), lasting("backup"), clef(2, "F"), lasting("note")]);
        let mut bars = [bar.clone(), bar.clone()];
        as_words(&mut bars);
        let names = |bar: &Fragment| bar.children.iter().map(|c| c.name.clone()).collect::<Vec<_>>();
        assert_eq!(names(&bars[0]), ["attributes", "note", "attributes", "note", "backup", "backup", "note"]);
        assert_eq!(bars[0].children[0].children.len(), 2);
        assert_eq!(
            names(&bars[1]),
            ["direction", "direction", "note", "attributes", "note", "backup", "backup", "note"]
        );
        let said = |n: usize| {
            let direction: &Fragment = &bars[1].children[n];
            let words = direction.child("direction-type").and_then(|kind| kind.child("words"));
            (words.unwrap().text.clone(), direction.child("staff").unwrap().text.clone())
        };
        assert_eq!(said(0), (format!("{CLEF}C 3 0 yes"), "1".into()));
        assert_eq!(said(1), (format!("{CLEF}F 4 0 yes"), "2".into()));
    }
}
