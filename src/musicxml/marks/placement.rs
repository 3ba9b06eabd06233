//! What becomes of every element that can stand in a bar: the one table that
//! the reader follows, and the tests and `docs/marks.md` with it.

use crate::score::{Category, Wording};
use rustc_hash::{FxBuildHasher, FxHashMap, FxHashSet};
use std::sync::LazyLock;

/// What becomes of an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placement {
    /// It is a mark of this category.
    Mark(Category),
    /// It is words, and the lexicon tells their category.
    Words,
    /// It says nothing by itself; what it holds is placed under its name.
    Holder,
    /// It belongs to what holds it, and is compared with that.
    Within,
    /// It is not compared, for this reason.
    Apart(&'static str),
}

/// Elements that share a parent and a placement.
pub struct Row {
    pub of: &'static str,
    pub is: Placement,
    pub names: &'static [&'static str],
}

const fn row(of: &'static str, is: Placement, names: &'static [&'static str]) -> Row {
    Row { of, is, names }
}

use Category::*;
use Placement::{Apart, Holder, Mark, Within, Words};

const PLAYBACK: Placement = Apart("for playback, not for the eye");
const PAGE: Placement = Apart("how the page or the staff is laid out");
const SHAPE: Placement = Apart("how a note is drawn");
const WRITING: Placement = Apart("how pitches and lengths are written down; they are compared as they sound");
const REMARK: Placement = Apart("a remark of the file's makers, not of the music");
const LINK: Placement = Apart("a pointer into the file or out of it");

/// All elements that MusicXML 4.0 allows in a bar, but for what is deeper in
/// a mark of several elements.
pub const ROWS: &[Row] = &[
    row("measure", Holder, &["direction", "attributes", "barline"]),
    row("measure", Within, &["note", "backup", "forward"]),
    row("measure", Mark(Harmony), &["harmony", "figured-bass"]),
    row("measure", PLAYBACK, &["sound", "listening"]),
    row("measure", PAGE, &["print"]),
    row("measure", LINK, &["link", "bookmark"]),
    row("measure", Apart("an analysis of the music"), &["grouping"]),
    row("note", Holder, &["notations"]),
    row("note", Mark(Grace), &["grace"]),
    row("note", Mark(Accidental), &["accidental"]),
    row("note", Mark(Lyric), &["lyric"]),
    row("note", Within, &["pitch", "unpitched", "rest", "chord", "cue", "duration", "tie", "voice", "staff"]),
    row("note", WRITING, &["type", "dot", "time-modification"]),
    row("note", SHAPE, &["stem", "beam", "notehead", "notehead-text"]),
    row("note", PLAYBACK, &["instrument", "play", "listen"]),
    row("note", REMARK, &["footnote", "level"]),
    row("notations", Holder, &["ornaments", "technical", "articulations", "dynamics"]),
    row("notations", Mark(Slur), &["slur"]),
    row("notations", Mark(Ornament), &["glissando", "slide", "arpeggiate", "non-arpeggiate"]),
    row("notations", Mark(Fermata), &["fermata"]),
    row("notations", Mark(Accidental), &["accidental-mark"]),
    row("notations", Mark(Text), &["other-notation"]),
    row("notations", Within, &["tied"]),
    row("notations", WRITING, &["tuplet"]),
    row("notations", REMARK, &["footnote", "level"]),
    row(
        "articulations",
        Mark(Articulation),
        &[
            "accent",
            "strong-accent",
            "staccato",
            "tenuto",
            "detached-legato",
            "staccatissimo",
            "spiccato",
            "scoop",
            "plop",
            "doit",
            "falloff",
            "stress",
            "unstress",
            "soft-accent",
            "other-articulation",
        ],
    ),
    row("articulations", Mark(Breath), &["breath-mark", "caesura"]),
    row(
        "ornaments",
        Mark(Ornament),
        &[
            "trill-mark",
            "turn",
            "delayed-turn",
            "inverted-turn",
            "delayed-inverted-turn",
            "vertical-turn",
            "inverted-vertical-turn",
            "shake",
            "wavy-line",
            "mordent",
            "inverted-mordent",
            "schleifer",
            "tremolo",
            "haydn",
            "other-ornament",
            "accidental-mark",
        ],
    ),
    row("technical", Mark(Bowing), &["up-bow", "down-bow"]),
    row("technical", Mark(Fingering), &["fingering", "string", "fret", "pluck", "thumb-position", "hole"]),
    row(
        "technical",
        Mark(Technique),
        &[
            "harmonic",
            "open-string",
            "double-tongue",
            "triple-tongue",
            "stopped",
            "snap-pizzicato",
            "hammer-on",
            "pull-off",
            "bend",
            "tap",
            "heel",
            "toe",
            "fingernails",
            "arrow",
            "handbell",
            "brass-bend",
            "flip",
            "smear",
            "open",
            "half-muted",
            "harmon-mute",
            "golpe",
            "other-technical",
        ],
    ),
    row(
        "dynamics",
        Mark(Dynamics),
        &[
            "p",
            "pp",
            "ppp",
            "pppp",
            "ppppp",
            "pppppp",
            "f",
            "ff",
            "fff",
            "ffff",
            "fffff",
            "ffffff",
            "mp",
            "mf",
            "sf",
            "sfp",
            "sfpp",
            "fp",
            "rf",
            "rfz",
            "sfz",
            "sffz",
            "fz",
            "n",
            "pf",
            "sfzp",
            "other-dynamics",
        ],
    ),
    row("direction", Holder, &["direction-type"]),
    row("direction", Within, &["offset", "voice", "staff"]),
    row("direction", PLAYBACK, &["sound", "listening"]),
    row("direction", REMARK, &["footnote", "level"]),
    row("direction-type", Holder, &["dynamics"]),
    row("direction-type", Words, &["words", "symbol"]),
    row("direction-type", Mark(Rehearsal), &["rehearsal"]),
    row("direction-type", Mark(Structure), &["segno", "coda"]),
    row("direction-type", Mark(Hairpin), &["wedge"]),
    row("direction-type", Mark(OctaveLine), &["octave-shift"]),
    row("direction-type", Mark(Pedal), &["pedal", "damp", "damp-all"]),
    row("direction-type", Mark(Tempo), &["metronome"]),
    row(
        "direction-type",
        Mark(Text),
        &[
            "dashes",
            "bracket",
            "harp-pedals",
            "eyeglasses",
            "string-mute",
            "scordatura",
            "image",
            "principal-voice",
            "percussion",
            "accordion-registration",
            "staff-divide",
            "other-direction",
        ],
    ),
    row("barline", Mark(Structure), &["bar-style", "segno", "coda", "ending", "repeat"]),
    row("barline", Mark(Fermata), &["fermata"]),
    row("barline", Mark(Ornament), &["wavy-line"]),
    row("barline", REMARK, &["footnote", "level"]),
    row("attributes", Mark(Signature), &["key", "time"]),
    row("attributes", Words, &["directive"]),
    row("attributes", Within, &["divisions", "staves", "transpose"]),
    row("attributes", WRITING, &["clef", "for-part", "measure-style"]),
    row("attributes", PAGE, &["part-symbol", "staff-details"]),
    row("attributes", PLAYBACK, &["instruments"]),
    row("attributes", REMARK, &["footnote", "level"]),
    row(
        "harmony",
        Within,
        &["root", "numeral", "function", "kind", "inversion", "bass", "degree", "frame", "offset", "staff"],
    ),
    row("harmony", REMARK, &["footnote", "level"]),
    row("figured-bass", Within, &["figure", "duration"]),
    row("figured-bass", REMARK, &["footnote", "level"]),
    row("figure", Within, &["prefix", "figure-number", "suffix", "extend"]),
    row("figure", REMARK, &["footnote", "level"]),
    row("lyric", Within, &["syllabic", "text", "elision", "laughing", "humming"]),
    row("lyric", Apart("where a syllable goes on; the next syllable tells"), &["extend"]),
    row("lyric", PLAYBACK, &["end-line", "end-paragraph"]),
    row("lyric", REMARK, &["footnote", "level"]),
];

/// Looked into for every element of a bar; its keys are ours, so a quick hash is safe.
static TABLE: LazyLock<FxHashMap<(&str, &str), Placement>> = LazyLock::new(|| {
    let mut table = FxHashMap::with_capacity_and_hasher(ROWS.iter().map(|row| row.names.len()).sum(), FxBuildHasher);
    table.extend(ROWS.iter().flat_map(|row| row.names.iter().map(|name| ((row.of, *name), row.is))));
    table
});

/// What becomes of an element of a name in another.
pub fn placement(of: &str, name: &str) -> Option<Placement> {
    TABLE.get(&(of, name)).copied()
}

/// The names of all these elements.
static NAMES: LazyLock<FxHashSet<&str>> = LazyLock::new(|| ROWS.iter().flat_map(|row| row.names).copied().collect());

/// The name of an element, which nearly always is one of the table's.
pub(super) fn own_name(name: &str) -> Wording {
    NAMES.get(name).map_or_else(|| name.to_string().into(), |known| Wording::from(*known))
}

/// The category of an element that the reader knows to be a mark.
pub(super) fn category(of: &str, name: &str) -> Category {
    match placement(of, name) {
        Some(Mark(category)) => category,
        other => unreachable!("{name} in {of} is {other:?}"),
    }
}

/// How an element is read that the schema does not know: as what it stands
/// among, or not at all.
pub(super) fn unknown(of: &str) -> Option<Category> {
    Some(match of {
        "dynamics" => Dynamics,
        "articulations" => Articulation,
        "ornaments" => Ornament,
        "technical" => Technique,
        "notations" | "direction-type" => Text,
        _ => return None,
    })
}
