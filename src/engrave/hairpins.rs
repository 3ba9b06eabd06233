//! Lines that would go on for no more than a stub where a new line of music begins.

use super::document::{self, end_of, is, staves_of};
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// What is drawn as a line from one time to another.
const LINES: [&str; 3] = ["hairpin", "dir", "dynam"];

/// Lets lines that end where the first note of a new line of music begins end at the barline before;
/// `begins` tells of each bar whether it begins one.
pub fn end_at_the_line(document: &Document<'_>, begins: impl Fn(usize) -> bool, patch: &mut Patch) {
    let bars: Vec<Node<'_, '_>> = document.descendants().filter(|n| is(*n, "measure")).collect();
    let beats = beats(document, bars.len());
    for (place, bar) in bars.iter().enumerate() {
        for line in bar.children().filter(|n| LINES.iter().any(|name| is(*n, name))) {
            let Some(end) = ["tstamp2", "endid"].iter().find_map(|name| line.attribute_node(*name)) else { continue };
            let by_note =
                || first_note(&bars, place, end.value().trim_start_matches('#')).map(|bar| (bar - place, 1.0));
            let last = end_of(line).or_else(by_note);
            let Some((more, _)) = last.filter(|(more, beat)| *more > 0 && *beat <= 1.0) else { continue };
            if begins(place + more) {
                let at = format!("tstamp2=\"{}m+{}\"", more - 1, beats[place + more - 1] + 1);
                patch.replace(end.range(), at);
            }
        }
    }
}

/// The bar after `place` that a note is the first one of.
fn first_note(bars: &[Node<'_, '_>], place: usize, id: &str) -> Option<usize> {
    let is_it = |n: Node<'_, '_>| document::id(n) == Some(id);
    let sounds = |n: &Node<'_, '_>| ["note", "rest", "chord", "mRest"].iter().any(|name| is(*n, name));
    (place + 1..bars.len()).find(|bar| {
        let layers = staves_of(bars[*bar]).flat_map(|staff| staff.children()).filter(|n| is(*n, "layer"));
        layers.filter_map(|layer| layer.descendants().find(sounds)).any(|n| n.descendants().any(is_it))
    })
}

/// Of each bar, how many beats its time signature counts.
fn beats(document: &Document<'_>, bars: usize) -> Vec<u32> {
    let mut out = Vec::with_capacity(bars);
    let mut count = 4;
    for node in document.descendants() {
        if let Some(told) = node.attribute(if is(node, "meterSig") { "count" } else { "meter.count" }) {
            count = told.split('+').filter_map(|n| n.trim().parse::<u32>().ok()).sum::<u32>().max(1);
        }
        if is(node, "measure") {
            out.push(count);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::document::MEI;
    use super::*;

    fn result(line: &str, begins: &[usize]) -> String {
        let bar = |id: &str, more: &str| {
            let notes = format!("<note xml:id=\"{id}1\"/><note xml:id=\"{id}2\"/>");
            format!("<measure><staff n=\"1\"><layer n=\"1\">{notes}</layer></staff>{more}</measure>")
        };
        let meter = "<scoreDef><meterSig count=\"3\" unit=\"4\"/></scoreDef>";
        let mei = format!("<mei xmlns=\"{MEI}\">{meter}{}{}</mei>", bar("a", line), bar("b", ""));
        let document = Document::parse(&mei).unwrap();
        let mut patch = Patch::default();
        end_at_the_line(&document, |bar| begins.contains(&bar), &mut patch);
        patch.apply(&mei).unwrap()
    }

    #[test]
    fn a_hairpin_ends_at_the_barline_where_the_line_ends() {
        for end in ["tstamp2=\"1m+1.0000\"", "endid=\"#b1\""] {
            let line = format!("<hairpin tstamp=\"2\" {end}/>");
            assert!(result(&line, &[1]).contains("<hairpin tstamp=\"2\" tstamp2=\"0m+4\"/>"), "{end}");
            assert!(result(&line, &[]).contains(&line), "{end}");
        }
        for end in ["tstamp2=\"1m+2.0000\"", "endid=\"#b2\"", "tstamp2=\"0m+1\"", "endid=\"#a2\""] {
            let line = format!("<hairpin tstamp=\"2\" {end}/>");
            assert!(result(&line, &[1]).contains(&line), "{end}");
        }
    }
}
