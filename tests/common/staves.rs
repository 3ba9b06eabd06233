//! Both sides of a comparison on staves one below the other.

use super::program::obelus;
use std::path::Path;

/// Writes both sides and gives the text.
pub fn both(edition: &str, source: &str, file: &Path) -> String {
    let name = file.display().to_string();
    obelus(&["audit", edition, source, "--format", "json", "--side-by-side", &name, "-o", "/dev/null"]);
    std::fs::read_to_string(file).unwrap()
}

/// A score of one part; each bar has a tune's four quarters, below them other music if it has two staves.
pub fn on_staves(staves: usize) -> String {
    let mut out =
        String::from("<score-partwise><part-list><score-part id=\"P1\"><part-name>Keys</part-name></score-part>");
    out += "</part-list><part id=\"P1\">";
    for (bar, tune) in ["GABC", "DBGD", "ECAF", "DECD", "BGCA", "FDEB", "CADG", "EDCC"].iter().enumerate() {
        out += &format!("<measure number=\"{}\">", bar + 1);
        if bar == 0 {
            out += &format!("<attributes><divisions>1</divisions><staves>{staves}</staves></attributes>");
        }
        for staff in 1..=staves {
            let (octave, notes) = if staff == 1 { (5, *tune) } else { (3, "CGEG") };
            for step in notes.chars() {
                let pitch = format!("<pitch><step>{step}</step><octave>{octave}</octave></pitch>");
                out +=
                    &format!("<note>{pitch}<duration>1</duration><voice>{staff}</voice><staff>{staff}</staff></note>");
            }
            out += if staff < staves { "<backup><duration>4</duration></backup>" } else { "" };
        }
        out += "</measure>";
    }
    out + "</part></score-partwise>"
}

/// A score of quarters: each bar its notes, and what else stands in it after them.
pub fn quarters(bars: &[(&str, &str)]) -> String {
    let mut out =
        String::from("<score-partwise><part-list><score-part id=\"P1\"><part-name>Flute</part-name></score-part>");
    out += "</part-list><part id=\"P1\">";
    for (bar, (notes, more)) in bars.iter().enumerate() {
        out += &format!("<measure number=\"{}\">", bar + 1);
        if bar == 0 {
            out += "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        }
        for step in notes.chars() {
            let pitch = format!("<pitch><step>{step}</step><octave>5</octave></pitch>");
            out += &format!("<note>{pitch}<duration>1</duration><type>quarter</type></note>");
        }
        out += &format!("{more}</measure>");
    }
    out + "</part></score-partwise>"
}
