//! What a score need not print: staves on which nobody ever plays, and a tempo
//! over more than the top staff; and words that are a heading in letters of one.

use super::document::{id, is, staves_of};
use crate::musicxml::words_of;
use crate::patch::Patch;
use crate::score::Category;
use roxmltree::{Document, Node};
use std::collections::{BTreeMap, BTreeSet};

/// The document without its empty staves; `None` if it is none.
pub fn without_empty_staves(mei: &str) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let number = |n: Node<'_, '_>| n.attribute("n").and_then(|n| n.parse::<usize>().ok());
    let listed = document.descendants().filter(|n| is(*n, "staffDef")).filter_map(number);
    let all: BTreeSet<usize> = listed.collect();
    let bars = || document.descendants().filter(|n| is(*n, "measure"));
    let mut played = BTreeSet::new();
    for staff in bars().flat_map(staves_of) {
        let signs = staff.descendants().filter(|n| !RESTS.contains(&n.tag_name().name()) && n.is_element());
        for sign in signs.filter(|n| !is(*n, "staff") && !is(*n, "layer")) {
            let other = sign.attribute("staff").and_then(|s| s.parse().ok());
            played.extend(other.or_else(|| number(staff)));
        }
    }
    let empty: BTreeSet<usize> = all.difference(&played).copied().collect();
    if empty.is_empty() || played.is_empty() {
        return Some(mei.to_string());
    }
    let is_gone = |n: Node<'_, '_>| number(n).is_some_and(|n| empty.contains(&n));
    let neighbour = |n: usize| played.range(..n).next_back().or_else(|| played.first()).copied();
    let mut patch = Patch::default();
    let mut ids = BTreeSet::new();
    for staff in bars().flat_map(staves_of).filter(|n| is_gone(*n)) {
        patch.cut(staff.range());
        ids.extend(staff.descendants().filter_map(id));
    }
    let goes = |n: &Node<'_, '_>| {
        let lists = is(*n, "staffDef") || is(*n, "staffGrp");
        let mut own = n.descendants().filter(|n| is(*n, "staffDef")).peekable();
        lists && own.peek().is_some() && own.all(is_gone)
    };
    for listed in document.descendants().filter(goes) {
        // What holds it goes with it.
        if !listed.ancestors().skip(1).any(|n| goes(&n)) {
            patch.cut(listed.range());
        }
    }
    for group in document.descendants().filter(|n| is(*n, "staffGrp") && !goes(n)) {
        let own = group.descendants().filter(|n| is(*n, "staffDef") && !is_gone(*n)).count();
        if let Some(symbol) = group.attribute_node("symbol").filter(|_| own == 1) {
            patch.cut(symbol.range());
        }
    }
    for mark in bars().flat_map(|bar| bar.children()).filter(|n| n.is_element() && !is(*n, "staff")) {
        let at = |name: &str| mark.attribute(name).is_some_and(|id| ids.contains(id.trim_start_matches('#')));
        if at("startid") || at("endid") {
            patch.cut(mark.range());
        } else if let Some(staff) = mark.attribute_node("staff")
            && let Ok(own) = staff.value().parse::<usize>()
            && empty.contains(&own)
        {
            patch.replace(staff.range_value(), neighbour(own)?.to_string());
        }
    }
    patch.apply(mei).ok()
}

/// What may stand on a staff on which nobody plays.
const RESTS: [&str; 7] = ["rest", "mRest", "space", "mSpace", "multiRest", "clef", "clefGrp"];

/// The document with each tempo once, over the top staff; `None` if it is none.
pub fn tempo_over_the_top(mei: &str) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let mut patch = Patch::default();
    let top = document.descendants().filter(|n| is(*n, "staffDef")).find_map(|n| n.attribute("n"))?;
    let mut begins = true;
    for bar in document.descendants().filter(|n| is(*n, "measure")) {
        let has_mark = bar.children().any(|n| is(n, "tempo"));
        let staff = |n: Node<'_, '_>| n.attribute("staff").map_or(top.to_string(), str::to_string);
        let time = |n: Node<'_, '_>| n.attribute("tstamp").unwrap_or_default().to_string();
        // At each time the tempo of one staff is enough: the top one's, else the first that has one.
        let mut whose: BTreeMap<String, String> = BTreeMap::new();
        let tempos: Vec<Node<'_, '_>> = bar.children().filter(|n| is_tempo(*n)).collect();
        for tempo in tempos.iter().filter(|n| staff(**n) == top).chain(&tempos) {
            whose.entry(time(*tempo)).or_insert_with(|| staff(*tempo));
        }
        for tempo in tempos {
            if staff(tempo) != top {
                let own = tempo.attribute_node("staff")?;
                if whose[&time(tempo)] != own.value() {
                    patch.cut(tempo.range());
                    continue;
                }
                patch.replace(own.range_value(), top.to_string());
                if let Some(place) = tempo.attribute_node("place") {
                    patch.replace(place.range_value(), "above".to_string());
                }
            }
            // Later, "rit." is none.
            let is_heading = is(tempo, "dir") && is_at_the_start(tempo) && (begins || has_mark);
            if is_heading {
                let range = tempo.range();
                let end = range.start + mei[range.clone()].rfind("</dir")?;
                patch.replace(range.start + 1..range.start + 1 + "dir".len(), "tempo");
                patch.replace(end..range.end, "</tempo>");
            }
        }
        begins = bar.attribute("right").is_some_and(|line| line != "single" && line != "invis");
    }
    patch.apply(mei).ok()
}

fn is_at_the_start(mark: Node<'_, '_>) -> bool {
    mark.attribute("tstamp").and_then(|t| t.parse::<f64>().ok()).is_none_or(|t| t <= 1.0)
}

/// A tempo, or words that say one.
fn is_tempo(mark: Node<'_, '_>) -> bool {
    let words = || mark.descendants().filter(|n| n.is_text()).filter_map(|n| n.text()).collect::<String>();
    is(mark, "tempo") || is(mark, "dir") && words_of(&words()).0 == Category::Tempo
}

#[cfg(test)]
mod tests {
    use super::super::document::MEI;
    use super::*;

    fn score(bar: &str) -> String {
        let staff = |n: u32| format!("<staffDef n=\"{n}\"/>");
        let group = format!("<staffGrp symbol=\"brace\">{}{}</staffGrp>", staff(2), staff(3));
        format!(
            "<mei xmlns=\"{MEI}\"><scoreDef><staffGrp>{}{group}</staffGrp></scoreDef><measure>{bar}</measure></mei>",
            staff(1)
        )
    }

    fn staff(n: u32, signs: &str) -> String {
        format!("<staff n=\"{n}\"><layer n=\"1\">{signs}</layer></staff>")
    }

    #[test]
    fn staves_without_notes_are_left_out_with_their_brace() {
        let bar = [staff(1, "<note/>"), staff(2, "<note/>"), staff(3, "<mRest/>")].concat();
        let mei = without_empty_staves(&score(&format!("{bar}<dynam staff=\"3\"/>"))).unwrap();
        assert!(!mei.contains("n=\"3\"") && !mei.contains("brace"), "{mei}");
        assert!(mei.contains("<dynam staff=\"2\"/>"), "{mei}");
        let all = score(&[staff(1, "<note/>"), staff(2, "<beam><note/></beam>"), staff(3, "<note/>")].concat());
        assert_eq!(without_empty_staves(&all).unwrap(), all);
        // Notes that cross over keep the staff that they go to; where all are empty, all stay.
        let crossed =
            score(&[staff(1, "<note/>"), staff(2, "<note staff=\"3\"/><note/>"), staff(3, "<mRest/>")].concat());
        assert_eq!(without_empty_staves(&crossed).unwrap(), crossed);
        let silent = score(&[1, 2, 3].map(|n| staff(n, "<mRest/>")).concat());
        assert_eq!(without_empty_staves(&silent).unwrap(), silent);
    }

    #[test]
    fn a_whole_group_goes() {
        let mei = without_empty_staves(&score(&[staff(1, "<note/>"), staff(2, ""), staff(3, "<mRest/>")].concat()));
        let mei = mei.unwrap();
        assert!(mei.contains("<scoreDef><staffGrp><staffDef n=\"1\"/></staffGrp></scoreDef>"), "{mei}");
    }

    #[test]
    fn a_tempo_stands_once_over_the_top() {
        let tempo =
            |staff: u32, time: u32, words: &str| format!("<tempo tstamp=\"{time}\" staff=\"{staff}\">{words}</tempo>");
        let words = |staff: u32, words: &str| format!("<dir tstamp=\"1\" staff=\"{staff}\">{words}</dir>");
        let over = |marks: &[String]| {
            let mei = tempo_over_the_top(&score(&marks.concat())).unwrap();
            mei.split("<measure>").nth(1).unwrap().split("</measure>").next().unwrap().to_string()
        };
        assert_eq!(over(&[tempo(1, 1, "Largo"), tempo(2, 1, "Largo")]), tempo(1, 1, "Largo"));
        assert_eq!(over(&[tempo(2, 1, "Largo"), tempo(3, 1, "Largo")]), tempo(1, 1, "Largo"));
        // At the beginning it is a heading, in words or not.
        assert_eq!(
            over(&[words(1, "Allegro"), words(2, "Allegro"), words(2, "dolce")]),
            [tempo(1, 1, "Allegro"), words(2, "dolce")].concat()
        );
        assert_eq!(
            over(&[tempo(1, 1, "Largo"), tempo(3, 3, "rit.")]),
            [tempo(1, 1, "Largo"), tempo(1, 3, "rit.")].concat()
        );
    }
}
