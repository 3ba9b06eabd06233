//! The table: what stands in a bar, by what holds it, and what is known about it.
//! The reader follows it, and the tests and `docs/marks.md` with it.

use super::facts::{Facts, element};
use super::{Placement, Siblings};
use crate::musicxml::spans::Kind;
use crate::score::Category::*;
use crate::score::sign::LineKind;
use Placement::{Holder, Mark, NotCompared, Within, Words};

const fn siblings(of: &'static str, is: Placement, all: &'static [Facts]) -> Siblings {
    Siblings { of, is, all }
}

/// Elements of which nothing more is known.
const fn plain<const N: usize>(names: [&'static str; N]) -> [Facts; N] {
    let mut all = [element(""); N];
    let mut at = 0;
    while at < N {
        all[at] = element(names[at]);
        at += 1;
    }
    all
}

const PLAYBACK: Placement = NotCompared("for playback, not for the eye");
const PAGE: Placement = NotCompared("how the page or the staff is laid out");
const SHAPE: Placement = NotCompared("how a note is drawn");
const WRITING: Placement = NotCompared("how pitches and lengths are written down; they are compared as they sound");
const REMARK: Placement = NotCompared("a remark of the file's makers, not of the music");
const LINK: Placement = NotCompared("a pointer into the file or out of it");

/// All elements that MusicXML 4.0 allows in a bar, but for what is deeper in
/// a mark of several elements.
pub static ELEMENTS: &[Siblings] = &[
    siblings(
        "measure",
        Holder,
        &[
            element("direction").stands_in_time().falls_without("direction-type"),
            element("attributes").falls_when_empty(),
            element("barline").falls_when_empty(),
        ],
    ),
    siblings(
        "measure",
        Within,
        &[element("note").moves_time(), element("backup").moves_time(), element("forward").moves_time()],
    ),
    siblings(
        "measure",
        Mark(Harmony),
        &[
            element("harmony").stands_in_time().type_of_words(),
            element("figured-bass").stands_in_time().enclosed_by(&["parentheses"]).type_of_words(),
        ],
    ),
    siblings("measure", PLAYBACK, &plain(["sound", "listening"])),
    siblings("measure", PAGE, &[element("print")]),
    siblings("measure", LINK, &plain(["link", "bookmark"])),
    siblings("measure", NotCompared("an analysis of the music"), &[element("grouping")]),
    siblings("note", Holder, &[element("notations").holder(None, Text)]),
    siblings("note", Mark(Grace), &[element("grace").enclosed_at_head()]),
    siblings(
        "note",
        Mark(Accidental),
        &[element("accidental").enclosed_by(&["parentheses", "bracket", "editorial"]).type_of_sign()],
    ),
    siblings("note", Mark(Lyric), &[element("lyric").type_of_words()]),
    siblings(
        "note",
        Within,
        &plain(["pitch", "unpitched", "rest", "chord", "cue", "duration", "tie", "voice", "staff"]),
    ),
    siblings("note", WRITING, &plain(["type", "dot", "time-modification"])),
    siblings("note", SHAPE, &plain(["stem", "beam", "notehead", "notehead-text"])),
    siblings("note", PLAYBACK, &plain(["instrument", "play", "listen"])),
    siblings("note", REMARK, &plain(["footnote", "level"])),
    siblings(
        "notations",
        Holder,
        &[
            element("ornaments").holder(Some("other-ornament"), Ornament),
            element("technical").holder(Some("other-technical"), Technique),
            element("articulations").holder(Some("other-articulation"), Articulation),
            element("dynamics").holder(Some("other-dynamics"), Dynamics),
        ],
    ),
    siblings("notations", Mark(Slur), &[element("slur").span(Kind::Line(LineKind::Slur)).line()]),
    siblings(
        "notations",
        Mark(Ornament),
        &[
            element("glissando").span(Kind::Line(LineKind::Glissando)).line().type_of_sign(),
            element("slide").span(Kind::Line(LineKind::Slide)).line().type_of_sign(),
            element("arpeggiate").telling(&["direction"]),
            element("non-arpeggiate"),
        ],
    ),
    siblings("notations", Mark(Fermata), &[element("fermata").plain("normal").type_of_sign()]),
    siblings(
        "notations",
        Mark(Accidental),
        &[element("accidental-mark").enclosed_by(&["parentheses", "bracket"]).type_of_sign()],
    ),
    siblings("notations", Mark(Text), &[element("other-notation").type_of_sign()]),
    siblings("notations", Within, &[element("tied")]),
    siblings("notations", WRITING, &[element("tuplet")]),
    siblings("notations", REMARK, &plain(["footnote", "level"])),
    siblings(
        "articulations",
        Mark(Articulation),
        &[
            element("accent").by_name(),
            element("strong-accent").by_name(),
            element("staccato").by_name(),
            element("tenuto").by_name(),
            element("detached-legato").by_name(),
            element("staccatissimo").by_name(),
            element("spiccato").by_name(),
            element("scoop").by_name().line(),
            element("plop").by_name().line(),
            element("doit").by_name().line(),
            element("falloff").by_name().line(),
            element("stress").by_name(),
            element("unstress").by_name(),
            element("soft-accent").by_name(),
            element("other-articulation").by_name(),
        ],
    ),
    siblings(
        "articulations",
        Mark(Breath),
        &[element("breath-mark").plain("comma"), element("caesura").plain("normal")],
    ),
    siblings(
        "ornaments",
        Mark(Ornament),
        &[
            element("trill-mark").by_name(),
            element("turn").by_name().telling(&["slash"]),
            element("delayed-turn").by_name().telling(&["slash"]),
            element("inverted-turn").by_name().telling(&["slash"]),
            element("delayed-inverted-turn").by_name().telling(&["slash"]),
            element("vertical-turn").by_name(),
            element("inverted-vertical-turn").by_name().telling(&["slash"]),
            element("shake").by_name(),
            element("wavy-line").span(Kind::Wavy).unenclosed().of_one_size(),
            element("mordent").by_name().telling(&["long", "approach", "departure"]),
            element("inverted-mordent").by_name().telling(&["long", "approach", "departure"]),
            element("schleifer").by_name(),
            element("tremolo").span(Kind::Tremolo).unenclosed(),
            element("haydn"),
            element("other-ornament"),
            element("accidental-mark").enclosed_by(&["parentheses", "bracket"]).type_of_sign(),
        ],
    ),
    siblings("technical", Mark(Bowing), &plain(["up-bow", "down-bow"])),
    siblings(
        "technical",
        Mark(Fingering),
        &[
            element("fingering").telling(&["substitution", "alternate"]).type_of_fingering(),
            element("string").type_of_fingering(),
            element("fret").type_of_fingering(),
            element("pluck").type_of_fingering(),
            element("thumb-position"),
            element("hole"),
        ],
    ),
    siblings(
        "technical",
        Mark(Technique),
        &[
            element("harmonic"),
            element("open-string"),
            element("double-tongue"),
            element("triple-tongue"),
            element("stopped"),
            element("snap-pizzicato"),
            element("hammer-on").span(Kind::Line(LineKind::HammerOn)).unenclosed(),
            element("pull-off").span(Kind::Line(LineKind::PullOff)).unenclosed(),
            element("bend").unenclosed(),
            element("tap").telling(&["hand"]),
            element("heel").telling(&["substitution"]),
            element("toe").telling(&["substitution"]),
            element("fingernails"),
            element("arrow"),
            element("handbell"),
            element("brass-bend"),
            element("flip"),
            element("smear"),
            element("open"),
            element("half-muted"),
            element("harmon-mute"),
            element("golpe"),
            element("other-technical"),
        ],
    ),
    siblings(
        "dynamics",
        Mark(Dynamics),
        &plain([
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
        ]),
    ),
    siblings("direction", Holder, &[element("direction-type").holder(None, Text)]),
    siblings("direction", Within, &plain(["offset", "voice", "staff"])),
    siblings("direction", PLAYBACK, &plain(["sound", "listening"])),
    siblings("direction", REMARK, &plain(["footnote", "level"])),
    siblings("direction-type", Holder, &[element("dynamics").holder(Some("other-dynamics"), Dynamics)]),
    siblings(
        "direction-type",
        Words,
        &[element("words").enclosed_in_text().boxed().type_of_words(), element("symbol").boxed().type_of_sign()],
    ),
    siblings("direction-type", Mark(Rehearsal), &[element("rehearsal").boxed().type_of_words()]),
    siblings("direction-type", Mark(Structure), &[element("segno").type_of_sign(), element("coda").type_of_sign()]),
    siblings("direction-type", Mark(Hairpin), &[element("wedge").span(Kind::Hairpin).line()]),
    siblings("direction-type", Mark(OctaveLine), &[element("octave-shift").span(Kind::OctaveLine).type_of_sign()]),
    siblings(
        "direction-type",
        Mark(Pedal),
        &[
            element("pedal").span(Kind::Pedal).type_of_sign(),
            element("damp").type_of_sign(),
            element("damp-all").type_of_sign(),
        ],
    ),
    siblings("direction-type", Mark(Tempo), &[element("metronome").enclosed_by(&["parentheses"]).type_of_sign()]),
    siblings(
        "direction-type",
        Mark(Text),
        &[
            element("dashes").span(Kind::Line(LineKind::Dashes)),
            element("bracket").span(Kind::Line(LineKind::Bracket)).line(),
            element("harp-pedals").type_of_sign(),
            element("eyeglasses").type_of_sign(),
            element("string-mute").telling(&["type"]).type_of_sign(),
            element("scordatura").uncolored(),
            element("image").telling(&["source"]).uncolored(),
            element("principal-voice").span(Kind::Line(LineKind::PrincipalVoice)).telling(&["symbol"]).type_of_sign(),
            element("percussion").boxed().type_of_sign(),
            element("accordion-registration").type_of_sign(),
            element("staff-divide").telling(&["type"]).type_of_sign(),
            element("other-direction").type_of_sign(),
        ],
    ),
    siblings(
        "barline",
        Mark(Structure),
        &[
            element("bar-style"),
            element("segno").type_of_sign(),
            element("coda").type_of_sign(),
            element("ending").span(Kind::Ending).type_of_words(),
            element("repeat").uncolored(),
        ],
    ),
    siblings("barline", Mark(Fermata), &[element("fermata").plain("normal").type_of_sign()]),
    siblings("barline", Mark(Ornament), &[element("wavy-line").span(Kind::Wavy).unenclosed().of_one_size()]),
    siblings("barline", REMARK, &plain(["footnote", "level"])),
    siblings("attributes", Mark(Signature), &[element("key").lasts(), element("time").lasts()]),
    siblings("attributes", Words, &[element("directive").enclosed_in_text().type_of_words()]),
    siblings(
        "attributes",
        Within,
        &[element("divisions").lasts(), element("staves").lasts(), element("transpose").lasts()],
    ),
    siblings("attributes", WRITING, &[element("clef").lasts(), element("for-part"), element("measure-style")]),
    siblings("attributes", PAGE, &plain(["part-symbol", "staff-details"])),
    siblings("attributes", PLAYBACK, &[element("instruments")]),
    siblings("attributes", REMARK, &plain(["footnote", "level"])),
    siblings(
        "harmony",
        Within,
        &plain(["root", "numeral", "function", "kind", "inversion", "bass", "degree", "frame", "offset", "staff"]),
    ),
    siblings("harmony", REMARK, &plain(["footnote", "level"])),
    siblings("figured-bass", Within, &plain(["figure", "duration"])),
    siblings("figured-bass", REMARK, &plain(["footnote", "level"])),
    siblings("figure", Within, &plain(["prefix", "figure-number", "suffix", "extend"])),
    siblings("figure", REMARK, &plain(["footnote", "level"])),
    siblings("lyric", Within, &plain(["syllabic", "text", "elision", "laughing", "humming"])),
    siblings("lyric", NotCompared("where a syllable goes on; the next syllable tells"), &[element("extend")]),
    siblings("lyric", PLAYBACK, &plain(["end-line", "end-paragraph"])),
    siblings("lyric", REMARK, &plain(["footnote", "level"])),
];

/// What is deeper in a mark of several elements.
pub(super) static DEEPER: &[Facts] = &[
    element("accord").telling(&["string"]),
    element("beater").telling(&["tip"]),
    element("harmon-closed").telling(&["location"]),
    element("hole-closed").telling(&["location"]),
    element("stick").telling(&["tip"]),
];
