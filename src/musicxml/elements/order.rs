//! In which order the schema wants what an element holds.

/// The order of children that the MusicXML 4.0 schema asks for, where it asks
/// for one.
pub fn rank(parent: &str, child: &str) -> Option<usize> {
    const NOTE: [&str; 26] = [
        "grace",
        "cue",
        "chord",
        "pitch",
        "unpitched",
        "rest",
        "duration",
        "tie",
        "instrument",
        "footnote",
        "level",
        "voice",
        "type",
        "dot",
        "accidental",
        "time-modification",
        "stem",
        "notehead",
        "notehead-text",
        "staff",
        "beam",
        "notations",
        "lyric",
        "play",
        "listen",
        "",
    ];
    const DIRECTION: [&str; 8] =
        ["direction-type", "offset", "footnote", "level", "voice", "staff", "sound", "listening"];
    const BARLINE: [&str; 10] =
        ["bar-style", "footnote", "level", "wavy-line", "segno", "coda", "fermata", "ending", "repeat", ""];
    const ATTRIBUTES: [&str; 14] = [
        "footnote",
        "level",
        "divisions",
        "key",
        "time",
        "staves",
        "part-symbol",
        "instruments",
        "clef",
        "staff-details",
        "transpose",
        "for-part",
        "directive",
        "measure-style",
    ];
    const HARMONY: [&str; 13] = [
        "root",
        "numeral",
        "function",
        "kind",
        "inversion",
        "bass",
        "degree",
        "frame",
        "offset",
        "footnote",
        "level",
        "staff",
        "",
    ];
    const SCORE: [&str; 9] = [
        "work",
        "movement-number",
        "movement-title",
        "identification",
        "defaults",
        "credit",
        "part-list",
        "part",
        "measure",
    ];
    const IDENTIFICATION: [&str; 6] = ["creator", "rights", "encoding", "source", "relation", "miscellaneous"];
    let order: &[&str] = match parent {
        "score-partwise" | "score-timewise" => &SCORE,
        "identification" => &IDENTIFICATION,
        "note" => &NOTE,
        "direction" => &DIRECTION,
        "barline" => &BARLINE,
        "attributes" => &ATTRIBUTES,
        "harmony" => &HARMONY,
        _ => return None,
    };
    order.iter().position(|name| *name == child)
}
