//! Where nothing but the music of a score is needed, less of its text is read. The music must be the same, and so must
//! what is said of a text that cannot be read.

use crate::common::music::{Style, score};
use obelus::{Input, ReadScore};
use proptest::prelude::*;

/// All that was read, but for the places of elements in the text.
fn told<T>(read: &ReadScore<T>) -> String {
    let all = format!("{:?} {:?}", read.score(), read.warnings());
    let mut parts = all.split("Element(");
    let first = parts.next().unwrap_or_default().to_string();
    parts.fold(first, |out, part| out + part.trim_start_matches(|c: char| c.is_ascii_digit()))
}

fn check(text: &str) -> bool {
    let Ok(input) = Input::from_bytes("score.xml", text.as_bytes().to_vec()) else { return false };
    let whole = ReadScore::of(&input).map(|read| told(&read)).map_err(|error| error.to_string());
    let lean = ReadScore::music(&input).map(|read| told(&read)).map_err(|error| error.to_string());
    assert_eq!(lean, whole, "{text}");
    whole.is_ok()
}

/// A score with all that lean reading leaves out, and words, slurs, lyrics, chords, grace notes and rests.
fn dressed() -> Vec<String> {
    let music = "\"dolce\" C5q(staccato) D5e(slur[) E5+G5e(slur]) g:E5 F5q rq | C5h.~ C5q | Bb4et A4et Bb4et C5q D5h(trill-mark)";
    let plain = score(&Style::default(), music);
    let note = [
        "<stem>up</stem>",
        "<stem default-y=\"-12.5\">down</stem>",
        "<!-- shapes -->",
        "<beam number=\"1\">begin</beam>",
        "<beam number=\"2\">forward hook</beam>",
    ];
    let mut out = Vec::new();
    for (place, line) in plain.lines().enumerate() {
        let line = match place % 3 {
            0 => line.replace("<note>", "<note default-x=\"12.5\" default-y=\"-3\">"),
            1 => line.replace("<note>", "<note default-y=\"-3\" color=\"#000000\">"),
            _ => line.to_string(),
        };
        let is_type = line.contains("</type>");
        out.push(line);
        if is_type {
            out.extend(note.iter().skip(place % 2).take(1 + place % 4).map(|shape| format!("        {shape}")));
        }
    }
    out
}

/// What may be put into a text.
const ODD: [&str; 22] = [
    "<stem>up</stem>",
    "<stem>up</stem>\n",
    "\n<stem>up</stem>\n",
    "<beam number=\"1\">begin</beam>\n",
    "\n<beam number=\"1\">",
    "</stem>",
    "<!-- a -->",
    "\n<!-- a\n -->\n",
    "<!-- -- -->",
    "<![CDATA[\n<a>\n]]>",
    "<?a b?>",
    " default-x=\"1\"",
    "\n<note default-x=\"1\" default-x=\"2\">\n",
    "\n<note>\n",
    "</note>",
    "\n<words>\n</words>\n",
    "<",
    ">",
    "/>\n<",
    "\n",
    " \r\n ",
    "&#10;",
];

/// Changes at places of a text, which are parts of a thousand.
#[derive(Debug, Clone)]
enum Change {
    Put(usize, usize),
    CutLine(usize),
    Double(usize),
    Swap(usize, usize),
    Join(usize),
}

fn change() -> impl Strategy<Value = Change> {
    let place = 0..1000_usize;
    prop_oneof![
        3 => (place.clone(), 0..ODD.len()).prop_map(|(at, what)| Change::Put(at, what)),
        1 => place.clone().prop_map(Change::CutLine),
        1 => place.clone().prop_map(Change::Double),
        1 => (place.clone(), place.clone()).prop_map(|(a, b)| Change::Swap(a, b)),
        1 => place.prop_map(Change::Join),
    ]
}

fn changed(mut lines: Vec<String>, changes: &[Change]) -> String {
    for change in changes {
        let line = |lines: &Vec<String>, at: usize| at * (lines.len() - 1) / 1000;
        match change {
            Change::Put(at, what) => {
                let own = line(&lines, *at);
                // Beside a bracket or in the midst of something.
                let ends: Vec<usize> =
                    lines[own].match_indices(['<', '>']).map(|(at, sign)| at + (sign == ">") as usize).collect();
                let within = ends.get(at % (ends.len() + 1)).copied().unwrap_or(lines[own].len() / 2);
                if lines[own].is_char_boundary(within) {
                    lines[own].insert_str(within, ODD[*what]);
                }
            }
            Change::CutLine(at) => drop(lines.remove(line(&lines, *at))),
            Change::Double(at) => {
                let own = line(&lines, *at);
                lines.insert(own, lines[own].clone());
            }
            Change::Swap(a, b) => {
                let (a, b) = (line(&lines, *a), line(&lines, *b));
                lines.swap(a, b);
            }
            Change::Join(at) => {
                let own = line(&lines, *at);
                let next = lines.remove(own + 1);
                lines[own] += next.trim_start();
            }
        }
    }
    lines.join("\n")
}

#[test]
fn a_dressed_score_is_read_alike() {
    let text = dressed().join("\n");
    for dress in ["<beam number=\"2\">", "<stem>", "default-x", "default-y=\"-3\" color", "<!-- shapes"] {
        assert!(text.contains(dress), "{dress} is not in {text}");
    }
    for text in [&text, &text.replace('\n', "\r\n"), &text.replace('\n', "\r"), &text.replace('\n', "")] {
        assert!(check(text), "it can be read");
    }
    for file in ["edition", "source"] {
        let path = format!("{}/corpus/demo/{file}.musicxml", env!("CARGO_MANIFEST_DIR"));
        assert!(check(&std::fs::read_to_string(path).unwrap()));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]

    #[test]
    fn whatever_happens_to_a_score_it_is_read_alike(changes in prop::collection::vec(change(), 1..4)) {
        check(&changed(dressed(), &changes));
    }
}
