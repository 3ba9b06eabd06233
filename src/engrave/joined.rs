//! Bars of rest of a part, joined into one with their number.

use super::document::{end_of, id, is, staves_of};
use crate::patch::Patch;
use roxmltree::{Document, Node};
use std::collections::BTreeMap;

/// The document with its rests joined, and for each bar that is left the last of those that it stands for; `None` if it is none.
pub fn joined(mei: &str) -> Option<(String, Vec<usize>)> {
    let document = Document::parse(mei).ok()?;
    let bars: Vec<Node<'_, '_>> = document.descendants().filter(|n| is(*n, "measure")).collect();
    let crossed = crossed(&bars);
    let mut patch = Patch::default();
    let mut last_of = Vec::new();
    let mut from = 0;
    while from < bars.len() {
        let mut to = from;
        if rests(bars[from], Heads::Allowed) && !crossed[from] && !ends(bars[from]) {
            while let Some(next) = bars.get(to + 1).filter(|next| follows(bars[to], **next)) {
                if !rests(*next, Heads::Refused) || crossed[to + 1] || begins(*next) || ends(bars[to]) {
                    break;
                }
                to += 1;
            }
        }
        if to > from {
            let count = to + 1 - from;
            for layer in staves_of(bars[from]).flat_map(|s| s.children()).filter(|n| is(*n, "layer")) {
                let signs: Vec<Node<'_, '_>> = layer.children().filter(Node::is_element).collect();
                let (first, last) = (signs.first()?, signs.last()?);
                patch.replace(first.range().start..last.range().end, format!("<multiRest num=\"{count}\"/>"));
            }
            if let Some(barline) = bars[to].attribute("right") {
                patch.insert(bars[from].range().start + "<measure".len(), format!(" right=\"{barline}\""));
            }
            bars[from + 1..=to].iter().for_each(|bar| patch.cut(bar.range()));
        }
        last_of.push(to);
        from = to + 1;
    }
    Some((patch.apply(mei).ok()?, last_of))
}

/// Whether words and signs may stand over a bar's beginning.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Heads {
    Allowed,
    Refused,
}

/// Whether nobody plays in a bar, and nothing stands at it.
fn rests(bar: Node<'_, '_>, heads: Heads) -> bool {
    if bar.attribute("metcon") == Some("false") {
        return false;
    }
    let mut has_rest = false;
    for child in bar.children().filter(Node::is_element) {
        if is(child, "staff") {
            let signs = child.children().filter(|n| is(*n, "layer")).flat_map(|l| l.children());
            for sign in signs.filter(Node::is_element) {
                match sign.tag_name().name() {
                    "rest" | "mRest" => has_rest = true,
                    "space" | "mSpace" => {}
                    _ => return false,
                }
            }
        } else if heads == Heads::Refused || !is_head(child) {
            return false;
        }
    }
    has_rest
}

/// A tempo, words or a rehearsal mark at the beginning of a bar.
fn is_head(mark: Node<'_, '_>) -> bool {
    let begins = mark.attribute("tstamp").and_then(|t| t.parse::<f64>().ok()).is_some_and(|t| t <= 1.0);
    ["tempo", "reh", "dir"].iter().any(|name| is(mark, name)) && begins && mark.attribute("tstamp2").is_none()
}

fn follows(bar: Node<'_, '_>, next: Node<'_, '_>) -> bool {
    bar.next_sibling_element() == Some(next)
}

fn barline(bar: Node<'_, '_>, side: &str) -> bool {
    bar.attribute(side).is_some_and(|line| line != "single")
}

fn begins(bar: Node<'_, '_>) -> bool {
    barline(bar, "left")
}

fn ends(bar: Node<'_, '_>) -> bool {
    barline(bar, "right")
}

/// The bars that a line goes across: its end is told by how many bars it goes on.
fn crossed(bars: &[Node<'_, '_>]) -> Vec<bool> {
    let within = bars.iter().enumerate().flat_map(|(place, bar)| bar.descendants().map(move |n| (n, place)));
    let bar_of: BTreeMap<&str, usize> = within.filter_map(|(n, place)| Some((id(n)?, place))).collect();
    let mut out = vec![false; bars.len()];
    for (place, bar) in bars.iter().enumerate() {
        for mark in bar.children().filter(|n| n.is_element() && !is(*n, "staff")) {
            let last = match end_of(mark) {
                Some((more, _)) => place + more,
                None if is(mark, "slur") || is(mark, "tie") => continue,
                None => mark
                    .attribute("endid")
                    .map(|id| id.trim_start_matches('#'))
                    .and_then(|id| bar_of.get(id).copied())
                    .unwrap_or(place),
            };
            let end = bars.len().min(last + 1);
            out[(place + 1).min(end)..end].fill(true);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::document::MEI;
    use super::*;

    const NOTE: &str = "<note/>";
    const REST: &str = "<mRest/>";

    fn bar(signs: &str, more: &str) -> String {
        format!("<measure{more}><staff n=\"1\"><layer n=\"1\">{signs}</layer></staff></measure>")
    }

    fn result(section: &str) -> (String, Vec<usize>) {
        joined(&format!("<mei xmlns=\"{MEI}\"><section>{section}</section></mei>")).unwrap()
    }

    #[test]
    fn rests_are_joined_up_to_the_next_note() {
        let (mei, last) = result(&[bar(NOTE, ""), bar(REST, ""), bar("<rest/><rest/>", ""), bar(NOTE, "")].concat());
        assert_eq!(last, [0, 2, 3]);
        assert!(mei.contains(&bar("<multiRest num=\"2\"/>", "")), "{mei}");
        assert_eq!(result(&[bar(NOTE, ""), bar(REST, ""), bar(NOTE, "")].concat()).1, [0, 1, 2]);
    }

    #[test]
    fn signatures_barlines_and_what_stands_at_a_bar_part_them() {
        let three =
            |between: &str, more: &str| result(&[&bar(REST, ""), between, &bar(REST, more), &bar(REST, "")].concat()).1;
        assert_eq!(three("", ""), [2]);
        assert_eq!(three("<scoreDef/>", ""), [0, 2]);
        assert_eq!(three("", " left=\"rptstart\""), [0, 2]);
        assert_eq!(three("", " right=\"dbl\""), [1, 2]);
        assert_eq!(three("", " metcon=\"false\""), [0, 1, 2]);
        let marked = |mark: &str| bar(REST, "").replace("</measure>", &format!("{mark}</measure>"));
        let tempo = marked("<tempo tstamp=\"1.000000\"/>");
        assert_eq!(result(&[bar(REST, ""), tempo, bar(REST, "")].concat()).1, [0, 2]);
        let fermata = marked("<fermata/>");
        assert_eq!(result(&[bar(REST, ""), fermata, bar(REST, "")].concat()).1, [0, 1, 2]);
        let hairpin = marked("<hairpin tstamp=\"1\" tstamp2=\"1m+1\"/>").replace(REST, NOTE);
        assert_eq!(result(&[hairpin, bar(REST, ""), bar(REST, ""), bar(REST, "")].concat()).1, [0, 1, 3]);
    }

    #[test]
    fn the_barline_of_the_last_is_kept() {
        let (mei, _) = result(&[bar(REST, ""), bar(REST, " right=\"end\"")].concat());
        assert!(mei.contains("<measure right=\"end\"><staff"), "{mei}");
    }
}
