//! The audit as a page.

use super::program::{json_of, obelus};
use serde_json::Value;

pub fn page_of(args: &[&str]) -> String {
    obelus(&[&["audit"], args, &["--format", "html"]].concat())
}

pub fn report_of(args: &[&str]) -> Value {
    json_of(&[&["audit"], args, &["--format", "json"]].concat())
}

/// A tune of so many bars of eighth notes, each with a mark if it is the edition.
pub fn long(bars: usize, marked: bool) -> String {
    let mut out = String::from(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part></part-list><part id=\"P1\">",
    );
    let mut state = 7_u32;
    for bar in 1..=bars {
        out += &format!("<measure number=\"{bar}\">");
        if bar == 1 {
            out += "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        }
        for _ in 0..8 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let step = char::from(b"CDEFGAB"[(state >> 16) as usize % 7]);
            let octave = if marked && bar % 10 == 0 { 4 } else { 5 };
            let mark = if marked { "<notations><articulations><staccato/></articulations></notations>" } else { "" };
            out += &format!(
                "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration><voice>1</voice>{mark}</note>"
            );
        }
        out += "</measure>";
    }
    out + "</part></score-partwise>"
}
