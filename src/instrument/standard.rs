//! The instruments that obelus knows. Pitches are scientific: C4 is middle C.
//!
//! Clefs, abbreviations and programs of General MIDI are common practice. The
//! soprano recorders have the little 8, for without it nobody knows in which
//! octave their parts sound; the basses and the piccolo are printed without.
//!
//! Every entry says where its numbers come from; "common practice" means that no
//! source was read for them. It is part of the program rather than a file beside
//! it, for every audit asks it.

use super::Clef;

/// An instrument as a table of the user's own has it, too.
pub(super) struct StandardInstrument {
    /// What reports call it.
    pub name: &'static str,
    /// Other names, in any language; capitals, accents, spaces and hyphens do not matter.
    pub aliases: &'static [&'static str],
    /// Lowest and highest note as the part is printed.
    pub written: [&'static str; 2],
    /// The same two notes as they sound.
    pub sounding: [&'static str; 2],
    pub clef: Clef,
    pub other_clefs: &'static [Clef],
    pub abbreviation: &'static str,
    /// 1-based.
    pub midi_program: u8,
    /// It plays one note at a time: all winds.
    pub one_note: bool,
}

pub(super) const STANDARD: [StandardInstrument; 17] = [
    // Low note: B. Thorn, Composing for the Recorder. High note: common practice.
    StandardInstrument {
        name: "sopranino recorder",
        aliases: &[
            "sopranino",
            "recorder, sopranino",
            "sopranino recorder in F",
            "Sopraninoblockflöte",
            "flauto dolce sopranino",
            "flautino",
            "flûte à bec sopranino",
        ],
        written: ["F4", "G6"],
        sounding: ["F5", "G7"],
        clef: Clef::TREBLE_8,
        other_clefs: &[],
        abbreviation: "Sno. Rec.",
        midi_program: 75,
        one_note: true,
    },
    // Low note: Thorn. High note: an encyclopedia's article on the soprano recorder.
    StandardInstrument {
        name: "soprano recorder",
        aliases: &[
            "descant recorder",
            "recorder, soprano",
            "recorder, descant",
            "descant",
            "soprano recorder in C",
            "Sopranblockflöte",
            "Sopran-Blockflöte in C",
            "flauto dolce soprano",
            "flûte à bec soprano",
        ],
        written: ["C4", "D6"],
        sounding: ["C5", "D7"],
        clef: Clef::TREBLE_8,
        other_clefs: &[],
        abbreviation: "S. Rec.",
        midi_program: 75,
        one_note: true,
    },
    // Thorn; an encyclopedia's article on the alto recorder.
    StandardInstrument {
        name: "alto recorder",
        aliases: &[
            "treble recorder",
            "recorder, alto",
            "recorder, treble",
            "alto recorder in F",
            "treble recorder in F",
            "Altblockflöte",
            "Altblockflöte in F",
            "flauto dolce contralto",
            "flauto dolce alto",
            "flûte à bec alto",
        ],
        written: ["F4", "G6"],
        sounding: ["F4", "G6"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "A. Rec.",
        midi_program: 75,
        one_note: true,
    },
    // Low note: Thorn. High note: common practice.
    StandardInstrument {
        name: "tenor recorder",
        aliases: &[
            "recorder, tenor",
            "tenor recorder in C",
            "Tenorblockflöte",
            "Tenorblockflöte in C",
            "flauto dolce tenore",
            "flûte à bec ténor",
        ],
        written: ["C4", "D6"],
        sounding: ["C4", "D6"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "T. Rec.",
        midi_program: 75,
        one_note: true,
    },
    // Low note: Thorn. High note: common practice. In the bass clef.
    StandardInstrument {
        name: "bass recorder",
        aliases: &[
            "recorder, bass",
            "basset recorder",
            "bass recorder in F",
            "Bassblockflöte",
            "flauto dolce basso",
            "flûte à bec basse",
        ],
        written: ["F2", "G4"],
        sounding: ["F3", "G5"],
        clef: Clef::BASS,
        other_clefs: &[],
        abbreviation: "B. Rec.",
        midi_program: 75,
        one_note: true,
    },
    // Common practice, no source. In the bass clef.
    StandardInstrument {
        name: "great bass recorder",
        aliases: &[
            "recorder, great bass",
            "great bass recorder in C",
            "bass recorder in C",
            "Großbassblockflöte",
            "Grossbassblockflöte",
            "flauto dolce gran basso",
            "flûte à bec grande basse",
        ],
        written: ["C2", "D4"],
        sounding: ["C3", "D5"],
        clef: Clef::BASS,
        other_clefs: &[],
        abbreviation: "Gb. Rec.",
        midi_program: 75,
        one_note: true,
    },
    // A minor third below the alto: D. Lasocki, American Recorder, Summer 2017.
    StandardInstrument {
        name: "voice flute",
        aliases: &["tenor recorder in D", "recorder in D", "Voice-Flute", "flauto di voce", "flûte de voix"],
        written: ["D4", "E6"],
        sounding: ["D4", "E6"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "V. Fl.",
        midi_program: 75,
        one_note: true,
    },
    // Above E6 the notes are forced: Hotteterre, Principes, 1707. A lexicon of 1809
    // goes up to A6.
    StandardInstrument {
        name: "Baroque flute",
        aliases: &[
            "traverso",
            "baroque traverso",
            "German flute",
            "transverse flute",
            "one-keyed flute",
            "Traversflöte",
            "Traversière",
            "flauto traverso",
            "flauto traversiere",
            "flauto barocco",
            "flûte traversière",
            "flûte baroque",
        ],
        written: ["D4", "E6"],
        sounding: ["D4", "E6"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "Fl.",
        midi_program: 74,
        one_note: true,
    },
    // Low note: music21, Flute. High note: tables for orchestration. Some flutes
    // reach B3, and players D7.
    StandardInstrument {
        name: "modern flute",
        aliases: &["flute", "concert flute", "Flöte", "Querflöte", "flauto", "flûte"],
        written: ["C4", "C7"],
        sounding: ["C4", "C7"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "Fl.",
        midi_program: 74,
        one_note: true,
    },
    // Tables for orchestration; music21, Piccolo.
    StandardInstrument {
        name: "piccolo",
        aliases: &[
            "piccolo flute",
            "flute, piccolo",
            "Piccoloflöte",
            "Pikkoloflöte",
            "Pikkolo",
            "ottavino",
            "flauto piccolo",
            "petite flûte",
        ],
        written: ["D4", "C7"],
        sounding: ["D5", "C8"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "Picc.",
        midi_program: 73,
        one_note: true,
    },
    // Walther, Lexicon, 1732. It has no good C#4: common practice.
    StandardInstrument {
        name: "Baroque oboe",
        aliases: &["Barockoboe", "oboe barocco", "hautbois baroque"],
        written: ["C4", "D6"],
        sounding: ["C4", "D6"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "Ob.",
        midi_program: 69,
        one_note: true,
    },
    // Tables for orchestration; low note also music21, Oboe.
    StandardInstrument {
        name: "modern oboe",
        aliases: &["oboe", "Hoboe", "hautbois"],
        written: ["Bb3", "A6"],
        sounding: ["Bb3", "A6"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "Ob.",
        midi_program: 69,
        one_note: true,
    },
    // Tables for orchestration; low note also music21, Clarinet.
    StandardInstrument {
        name: "clarinet in B flat",
        aliases: &[
            "clarinet",
            "clarinet in Bb",
            "Bb clarinet",
            "B flat clarinet",
            "Klarinette",
            "Klarinette in B",
            "B-Klarinette",
            "clarinetto",
            "clarinetto in si bemolle",
            "clarinetto in sib",
            "clarinette",
            "clarinette en si bémol",
            "clarinette en sib",
        ],
        written: ["E3", "C7"],
        sounding: ["D3", "Bb6"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "Cl.",
        midi_program: 72,
        one_note: true,
    },
    // Tables for orchestration; music21, Bassoon.
    StandardInstrument {
        name: "bassoon",
        aliases: &["Fagott", "fagotto", "basson"],
        written: ["Bb1", "Eb5"],
        sounding: ["Bb1", "Eb5"],
        clef: Clef::BASS,
        other_clefs: &[Clef::TENOR],
        abbreviation: "Bsn.",
        midi_program: 71,
        one_note: true,
    },
    // Low note: music21, Violin. High note: tables for orchestration.
    StandardInstrument {
        name: "violin",
        aliases: &["Violine", "Geige", "violino", "violon", "fiddle"],
        written: ["G3", "A7"],
        sounding: ["G3", "A7"],
        clef: Clef::TREBLE,
        other_clefs: &[],
        abbreviation: "Vln.",
        midi_program: 41,
        one_note: false,
    },
    // Low note: music21, Viola. High note: common practice.
    StandardInstrument {
        name: "viola",
        aliases: &["Bratsche"],
        written: ["C3", "E6"],
        sounding: ["C3", "E6"],
        clef: Clef::ALTO,
        other_clefs: &[Clef::TREBLE],
        abbreviation: "Vla.",
        midi_program: 42,
        one_note: false,
    },
    // Low note: music21, Violoncello. High note: common practice.
    StandardInstrument {
        name: "cello",
        aliases: &["violoncello", "Violoncell", "violoncelle"],
        written: ["C2", "C6"],
        sounding: ["C2", "C6"],
        clef: Clef::BASS,
        other_clefs: &[Clef::TENOR, Clef::TREBLE],
        abbreviation: "Vc.",
        midi_program: 43,
        one_note: false,
    },
];
