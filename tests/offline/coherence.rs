//! Whether a copy is one score, looked at with eyes of its own: signatures that
//! say what holds already, bars of other lengths in other parts, voices with two
//! notes at once.

use roxmltree::{Document, Node, ParsingOptions};
use std::collections::{BTreeMap, HashMap};

/// What is wrong with a copy and was not wrong with the edition.
pub fn faults(edition: &str, copy: &str) -> Vec<String> {
    let options = || ParsingOptions { allow_dtd: true, ..Default::default() };
    let before = Document::parse_with_options(edition, options()).unwrap();
    let after = Document::parse_with_options(copy, options()).unwrap();
    let mut known: BTreeMap<String, usize> = BTreeMap::new();
    let looked = |document: &Document| {
        let parts: Vec<Node> = document.descendants().filter(|n| n.has_tag_name("part")).collect();
        let (mut out, mut bars) = (Vec::new(), Vec::new());
        for part in &parts {
            let (faults, lengths) = part_faults(*part);
            out.extend(faults);
            bars.push(lengths);
        }
        let longest = bars.iter().map(Vec::len).max().unwrap_or(0);
        for bar in 0..longest {
            let lengths: Vec<Option<f64>> = bars.iter().map(|b| b.get(bar).copied()).collect();
            if lengths.windows(2).any(|w| w[0] != w[1]) {
                out.push(("ragged".to_string(), format!("bar {}: lengths {lengths:?}", bar + 1)));
            }
        }
        out
    };
    looked(&before).into_iter().for_each(|(kind, _)| *known.entry(kind).or_default() += 1);
    let mut out = Vec::new();
    for (kind, what) in looked(&after) {
        match known.get_mut(&kind).filter(|n| **n > 0) {
            Some(left) => *left -= 1,
            None => out.push(what),
        }
    }
    out
}

fn text<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    node.children().find(|n| n.has_tag_name(name)).and_then(|n| n.text()).map(str::trim)
}

/// What an element of attributes says, its layout apart.
fn said(node: Node) -> String {
    let leaves = node.descendants().filter(|n| n.is_element() && n.children().all(|c| !c.is_element()));
    let leaves = leaves.filter(|n| !n.has_tag_name("mode") && !n.has_tag_name("cancel"));
    leaves.map(|n| format!("{}={}", n.tag_name().name(), n.text().unwrap_or("").trim())).collect::<Vec<_>>().join(",")
}

/// Kinds of faults with what each is, and the lengths of the bars.
fn part_faults(part: Node) -> (Vec<(String, String)>, Vec<f64>) {
    let id = part.attribute("id").unwrap_or("");
    let mut out = Vec::new();
    let mut lengths = Vec::new();
    let mut held: HashMap<(String, String), String> = HashMap::new();
    let mut divisions = 1.0;
    for (bar, measure) in part.children().filter(|n| n.has_tag_name("measure")).enumerate() {
        let bar = bar + 1;
        let (mut at, mut end, mut last) = (0.0_f64, 0.0_f64, 0.0_f64);
        let mut busy: HashMap<(String, String), Vec<(f64, f64)>> = HashMap::new();
        for item in measure.children().filter(Node::is_element) {
            let by = text(item, "duration").map_or(0.0, |d| d.parse::<f64>().unwrap() / divisions);
            match item.tag_name().name() {
                "attributes" => {
                    for sign in item.children().filter(Node::is_element) {
                        let name = sign.tag_name().name();
                        if !["divisions", "key", "time", "clef"].contains(&name) {
                            continue;
                        }
                        let number = sign.attribute("number").unwrap_or("1");
                        let old = held.insert((name.into(), number.into()), said(sign));
                        if old == Some(said(sign)) {
                            out.push((format!("{id} {name}"), format!("{id}, bar {bar}: a superfluous {name}")));
                        }
                        if name == "divisions" {
                            divisions = sign.text().unwrap().trim().parse().unwrap();
                        }
                    }
                }
                "backup" => at -= by,
                "forward" => at += by,
                "note" if item.children().any(|n| n.has_tag_name("grace") || n.has_tag_name("cue")) => {}
                "note" => {
                    let chord = item.children().any(|n| n.has_tag_name("chord"));
                    let from = if chord { last } else { at };
                    if !chord {
                        let voice = (text(item, "staff").unwrap_or("1"), text(item, "voice").unwrap_or("1"));
                        let busy = busy.entry((voice.0.into(), voice.1.into())).or_default();
                        if busy.iter().any(|(a, b)| *a < at + by && at < *b) {
                            out.push(("overlap".into(), format!("{id}, bar {bar}: two notes at once in a voice")));
                        }
                        busy.push((at, at + by));
                        at += by;
                    }
                    last = from;
                }
                _ => {}
            }
            if at < -1e-9 {
                out.push(("before".into(), format!("{id}, bar {bar}: back before the bar")));
            }
            end = end.max(at);
        }
        lengths.push((end * 1e6).round() / 1e6);
    }
    if !lengths.is_empty() && !held.keys().any(|k| k.0 == "divisions") {
        out.push(("divisions".into(), format!("{id}: no divisions")));
    }
    (out, lengths)
}
