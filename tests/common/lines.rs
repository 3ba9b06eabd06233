//! Editions that have several lines in a part, and the copies of one line alone.

use super::desk::Desk;
use super::music::{Style, score, scores};
use super::program::obelus_with;

/// The arguments that clean a desk's edition; in a name an underscore is a space.
pub fn args(desk: &Desk, options: &str) -> Vec<String> {
    let own = ["clean".into(), desk.at("edition.musicxml"), desk.at("source.musicxml")];
    let to = ["-o".into(), desk.at("copy.musicxml")];
    own.into_iter().chain(to).chain(options.split_whitespace().map(|o| o.replace('_', " "))).collect()
}

/// Takes one line out; what the program says, and the copy.
pub fn copy(desk: &Desk, options: &str) -> (String, String) {
    let said = obelus_with(&args(desk, &format!("--alone {options}")));
    (said.split_whitespace().collect::<Vec<_>>().join(" "), desk.read("copy.musicxml"))
}

/// A part in the plainest style, as most sources here are.
pub fn plain(music: &str) -> String {
    score(&Style::default(), music)
}

fn named(name: &str) -> Style {
    Style { name: name.into(), ..Style::default() }
}

/// A bass clef for the second staff.
fn with_bass(text: &str) -> String {
    let treble = "<clef>\n          <sign>G</sign>\n          <line>2</line>\n        </clef>\n";
    let bass = "        <clef number=\"2\">\n          <sign>F</sign>\n          <line>4</line>\n        </clef>\n";
    text.replacen(treble, &format!("{}{bass}", treble.replace("<clef>", "<clef number=\"1\">")), 1)
}

pub const TUNE: &str = "[: G5q A5q B5q C6q | D6h B5h | rw :] | @3/4 G5h. | E5h.";
pub const BASS: &str = "[: \"Andante\" C3h E3h | G3w | C3q D3q E3q F3q :] | @3/4 G3h. | C3h.";

/// The tune on the upper staff with the editor's marks, the bass on the lower one.
pub fn piano() -> String {
    let upper = ["[: \"Andante\" G5q(slur[) A5q(slur],staccato) B5q C6q", "D6h B5h", "rw :]", "@3/4 G5h.", "E5h."];
    let lower = ["2:C3h 2:E3h", "2:G3w", "2:C3q 2:D3q 2:E3q 2:F3q", "2:G3h.", "2:C3h."];
    let bars: Vec<String> = upper.iter().zip(lower).map(|(u, l)| format!("{u} & {l}")).collect();
    with_bass(&score(&named("Piano"), &bars.join(" | ")))
}

/// Two voices, the second of which comes and goes; the rest before it is not printed.
pub fn voices() -> String {
    let text = plain("C5q F#5q G5q A5q & rh F#4h | C5w | B4q C5q D5h & G4h rh");
    let at = text[..text.find("<voice>2</voice>").unwrap()].rfind("<note>").unwrap();
    format!("{}<note print-object=\"no\">{}", &text[..at], &text[at + "<note>".len()..])
}

/// Two voices, the first of which has the sign for both.
pub fn shared_sign() -> String {
    let half = "<voice>1</voice>\n        <type>half</type>";
    let shown = format!("{half}\n        <accidental>sharp</accidental>\n        <stem>up</stem>");
    plain("F#5h G5h & rh F#5h").replacen(half, &shown, 1)
}

/// Chords on two staves: the upper notes of the first two are on the upper staff.
pub fn divided_chords() -> String {
    let two = score(&named("Piano"), "2:C4+E4+G4h 2:C4+E4+G4h | 2:C4w");
    let mut parts = two.split("<staff>2</staff>");
    let first = parts.next().unwrap().to_string();
    let staves = ["2", "1", "1", "2", "1", "1", "2"];
    let text =
        staves.iter().zip(parts).fold(first, |text, (staff, rest)| format!("{text}<staff>{staff}</staff>{rest}"));
    with_bass(&text)
}

/// A slur from the lower staff to the upper one, and a tie on the lower one.
pub fn slur_across() -> String {
    with_bass(&plain("C5h 2:A4h(slur[) | D5h(slur]) E5h | 2:G3h~ 2:G3h"))
}

/// A flute and a piano of two staves, part by part.
pub fn flute_and_piano() -> String {
    with_bass(&scores(&[(named("Flute"), "C5w | D5w"), (named("Piano"), "2:E4h 2:F4h & G3w | 2:G4w & C3w")]))
}

/// The same bar by bar.
pub fn flute_and_piano_timewise() -> String {
    let all = flute_and_piano();
    let music = |id: &str| {
        let own = all.split(&format!("<part id=\"{id}\">")).nth(1).unwrap().split("</part>").next().unwrap();
        own.split("</measure>").map(|m| m.split_once('>').map_or("", |m| m.1).to_string()).take(2).collect::<Vec<_>>()
    };
    let head = all.split("  <part id").next().unwrap().replace("score-partwise", "score-timewise");
    let bar = |(at, (flute, piano)): (usize, (&String, String))| {
        let both = format!("<part id=\"P1\">{flute}</part><part id=\"P2\">{piano}</part>");
        format!("<measure number=\"{}\">{both}</measure>\n", at + 1)
    };
    let bars: String = music("P1").iter().zip(music("P2")).enumerate().map(bar).collect();
    format!("{head}{bars}</score-timewise>\n")
}
