//! Small scores from a short notation, so that a test can show its music.
//!
//! Bars are divided by `|`, voices in a bar by `&`. A note is its pitch, its
//! length (`w h q e s`, `z` for a 32nd, `x` for a 64th, with `.` for each dot or
//! `t` for a triplet member), `~` if tied to the next, then marks in brackets:
//! `Bb4q.~(staccato,slur[)`. Chords: `C4+E4+G4q`, grace notes: `g:D5`, rests:
//! `rq`. A word in quotes is a direction: `"dolce"`; `%p` a dynamic; `%<`, `%>`
//! and `%!` hairpins; `2:` before a note puts it on the second staff; `[:` and `:]` repeat signs, `[1` and `[2` endings, which
//! end with the bar; `@3/4` another time.

use std::fmt::Write;

/// How a part is written down.
#[derive(Clone)]
pub struct Style {
    pub divisions: i64,
    pub fifths: i32,
    pub time: (i64, i64),
    /// `<transpose>` as diatonic, chromatic.
    pub transpose: Option<(i32, i32)>,
    pub name: String,
    /// Printed number of the first bar; 0 for a pickup.
    pub first: i64,
}

impl Default for Style {
    fn default() -> Style {
        Style { divisions: 48, fifths: 0, time: (4, 4), transpose: None, name: "Solo".into(), first: 1 }
    }
}

/// A score of one part.
pub fn score(style: &Style, music: &str) -> String {
    scores(&[(style.clone(), music)])
}

/// A score of several parts.
pub fn scores(parts: &[(Style, &str)]) -> String {
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<score-partwise version=\"4.0\">\n");
    out.push_str("  <part-list>\n");
    for (index, (style, _)) in parts.iter().enumerate() {
        let id = index + 1;
        let name = &style.name;
        let _ = write!(out, "    <score-part id=\"P{id}\">\n      <part-name>{name}</part-name>\n    </score-part>\n");
    }
    out.push_str("  </part-list>\n");
    for (index, (style, music)) in parts.iter().enumerate() {
        let _ = writeln!(out, "  <part id=\"P{}\">", index + 1);
        part(style, music, &mut out);
        out.push_str("  </part>\n");
    }
    out.push_str("</score-partwise>\n");
    out
}

fn part(style: &Style, music: &str, out: &mut String) {
    // A tie goes on over the barline (in the first voice).
    let mut tied = false;
    for (index, bar) in music.split('|').enumerate() {
        let number = style.first + index as i64;
        let implicit = if number == 0 { " implicit=\"yes\"" } else { "" };
        let _ = writeln!(out, "    <measure number=\"{number}\"{implicit}>");
        let staves = if music.contains("2:") { 2 } else { 1 };
        if index == 0 {
            attributes(style, staves, out);
        }
        for (voice, music) in bar.split('&').enumerate() {
            if voice > 0 {
                let length = bar.split('&').next().map(|v| ticks_of(v, style)).unwrap_or(0);
                let _ = writeln!(out, "      <backup>\n        <duration>{length}</duration>\n      </backup>");
            }
            let ending = music.split_whitespace().find_map(|t| t.strip_prefix('[')).filter(|n| *n != ":");
            let endings = [ending.map(|n| (n, "left", "start")), ending.map(|n| (n, "right", "stop"))];
            barline(endings[0], music.contains("[:").then_some(("left", "forward")), out);
            for token in music.split_whitespace().filter(|t| !t.starts_with(['[', ':'])) {
                item(token, voice + 1, style, &mut tied, out);
            }
            barline(endings[1], music.contains(":]").then_some(("right", "backward")), out);
        }
        out.push_str("    </measure>\n");
    }
}

fn barline(ending: Option<(&str, &str, &str)>, repeat: Option<(&str, &str)>, out: &mut String) {
    let Some(location) = repeat.map(|r| r.0).or(ending.map(|e| e.1)) else { return };
    let _ = writeln!(out, "      <barline location=\"{location}\">");
    if let Some((number, _, kind)) = ending {
        let _ = writeln!(out, "        <ending number=\"{number}\" type=\"{kind}\"/>");
    }
    if let Some((_, direction)) = repeat {
        let _ = writeln!(out, "        <repeat direction=\"{direction}\"/>");
    }
    out.push_str("      </barline>\n");
}

fn attributes(style: &Style, staves: u8, out: &mut String) {
    let (beats, kind) = style.time;
    let _ = write!(
        out,
        "      <attributes>\n        <divisions>{}</divisions>\n        <key>\n          <fifths>{}</fifths>\n        \
         </key>\n        <time>\n          <beats>{beats}</beats>\n          <beat-type>{kind}</beat-type>\n        \
         </time>\n",
        style.divisions, style.fifths
    );
    if staves > 1 {
        let _ = writeln!(out, "        <staves>{staves}</staves>");
    }
    out.push_str("        <clef>\n          <sign>G</sign>\n          <line>2</line>\n        </clef>\n");
    if let Some((diatonic, chromatic)) = style.transpose {
        let _ = write!(
            out,
            "        <transpose>\n          <diatonic>{diatonic}</diatonic>\n          \
             <chromatic>{chromatic}</chromatic>\n        </transpose>\n"
        );
    }
    out.push_str("      </attributes>\n");
}

/// The parts of a note's token.
struct Token<'t> {
    pitches: Vec<&'t str>,
    length: char,
    dots: usize,
    triplet: bool,
    tied: bool,
    grace: bool,
    marks: Vec<&'t str>,
    /// In a part of two staves.
    staff: Option<u8>,
}

fn token(text: &str) -> Token<'_> {
    let (staff, text) = text.strip_prefix("2:").map_or((None, text), |t| (Some(2), t));
    let (text, marks) = match text.split_once('(') {
        Some((text, marks)) => (text, marks.trim_end_matches(')').split(',').collect()),
        None => (text, Vec::new()),
    };
    let (grace, text) = text.strip_prefix("g:").map_or((false, text), |t| (true, t));
    let tied = text.ends_with('~');
    let text = text.trim_end_matches('~');
    let triplet = text.ends_with('t');
    let text = text.trim_end_matches('t');
    let undotted = text.trim_end_matches('.');
    let (dots, text) = (text.len() - undotted.len(), undotted);
    let (pitches, length) = if grace { (text, 'e') } else { (&text[..text.len() - 1], text.chars().last().unwrap()) };
    Token { pitches: pitches.split('+').collect(), length, dots, triplet, tied, grace, marks, staff }
}

/// Duration in ticks and the type's name.
fn length(token: &Token, style: &Style) -> (i64, &'static str) {
    let (quarters, name) = match token.length {
        'w' => ((4, 1), "whole"),
        'h' => ((2, 1), "half"),
        'q' => ((1, 1), "quarter"),
        'e' => ((1, 2), "eighth"),
        's' => ((1, 4), "16th"),
        'z' => ((1, 8), "32nd"),
        'x' => ((1, 16), "64th"),
        other => panic!("no length {other}"),
    };
    let mut ticks = style.divisions * quarters.0 / quarters.1;
    ticks = match token.dots {
        0 => ticks,
        1 => ticks * 3 / 2,
        2 => ticks * 7 / 4,
        other => panic!("{other} dots"),
    };
    if token.triplet {
        ticks = ticks * 2 / 3;
    }
    (ticks, name)
}

fn ticks_of(voice: &str, style: &Style) -> i64 {
    let notes = voice.split_whitespace().filter(|t| !t.starts_with(['"', '%', '[', ':', '@']) && !t.starts_with("g:"));
    notes.map(|t| length(&token(t), style).0).sum()
}

fn item(text: &str, voice: usize, style: &Style, tied: &mut bool, out: &mut String) {
    if let Some((beats, kind)) = text.strip_prefix('@').and_then(|t| t.split_once('/')) {
        let _ = write!(
            out,
            "      <attributes>\n        <time>\n          <beats>{beats}</beats>\n          <beat-type>{kind}</beat-type>\n        \
             </time>\n      </attributes>\n"
        );
        return;
    }
    let sign = match text {
        "%<" => "<wedge type=\"crescendo\"/>".to_string(),
        "%>" => "<wedge type=\"diminuendo\"/>".to_string(),
        "%!" => "<wedge type=\"stop\"/>".to_string(),
        _ if text.starts_with('%') => format!("<dynamics><{}/></dynamics>", &text[1..]),
        _ if text.starts_with('"') => format!("<words>{}</words>", text.trim_matches('"').replace('_', " ")),
        _ => return note(&token(text), voice, style, tied, out),
    };
    let _ = write!(
        out,
        "      <direction>\n        <direction-type>\n          {sign}\n        </direction-type>\n      </direction>\n"
    );
}

fn note(token: &Token, voice: usize, style: &Style, tied: &mut bool, out: &mut String) {
    let (ticks, name) = length(token, style);
    for (index, pitch) in token.pitches.iter().enumerate() {
        out.push_str("      <note>\n");
        if token.grace {
            out.push_str("        <grace/>\n");
        }
        if index > 0 {
            out.push_str("        <chord/>\n");
        }
        sound(pitch, out);
        if !token.grace {
            let _ = writeln!(out, "        <duration>{ticks}</duration>");
        }
        let (stop, start) = (*tied && !token.grace, token.tied);
        let mut ties = String::new();
        for (on, kind) in [(stop, "stop"), (start, "start")] {
            if on {
                let _ = writeln!(out, "        <tie type=\"{kind}\"/>");
                let _ = writeln!(ties, "          <tied type=\"{kind}\"/>");
            }
        }
        let _ = writeln!(out, "        <voice>{voice}</voice>\n        <type>{name}</type>");
        for _ in 0..token.dots {
            out.push_str("        <dot/>\n");
        }
        if token.triplet {
            out.push_str(
                "        <time-modification>\n          <actual-notes>3</actual-notes>\n          \
                 <normal-notes>2</normal-notes>\n        </time-modification>\n",
            );
        }
        if let Some(staff) = token.staff {
            let _ = writeln!(out, "        <staff>{staff}</staff>");
        }
        let marks: String = if index == 0 { token.marks.iter().map(|m| mark(m)).collect() } else { String::new() };
        if !marks.is_empty() || !ties.is_empty() {
            let _ = write!(out, "        <notations>\n{ties}{marks}        </notations>\n");
        }
        out.push_str("      </note>\n");
    }
    if !token.grace {
        *tied = token.tied;
    }
}

fn sound(pitch: &str, out: &mut String) {
    if pitch == "r" {
        out.push_str("        <rest/>\n");
        return;
    }
    let step = &pitch[..1];
    let octave = pitch.trim_start_matches(|c: char| !c.is_ascii_digit());
    let signs = &pitch[1..pitch.len() - octave.len()];
    let alter = signs.matches('#').count() as i64 - signs.matches('b').count() as i64;
    let _ = writeln!(out, "        <pitch>\n          <step>{step}</step>");
    if alter != 0 {
        let _ = writeln!(out, "          <alter>{alter}</alter>");
    }
    let _ = writeln!(out, "          <octave>{octave}</octave>\n        </pitch>");
}

fn mark(name: &str) -> String {
    let line = |text: String| format!("          {text}\n");
    match name {
        "slur[" => line("<slur number=\"1\" type=\"start\"/>".into()),
        "slur]" => line("<slur number=\"1\" type=\"stop\"/>".into()),
        "fermata" => line("<fermata/>".into()),
        "wavy" => {
            line("<ornaments><trill-mark/><wavy-line type=\"start\"/><wavy-line type=\"stop\"/></ornaments>".into())
        }
        "trill-mark" | "mordent" | "inverted-mordent" | "turn" | "inverted-turn" | "schleifer" => {
            line(format!("<ornaments><{name}/></ornaments>"))
        }
        "arpeggiate" => line("<arpeggiate/>".into()),
        "up-bow" | "down-bow" => line(format!("<technical><{name}/></technical>")),
        _ => line(format!("<articulations><{name}/></articulations>")),
    }
}
