//! What delicate files must read as, worked out by hand from their XML and the schema's documentation: marks.

use super::claims::{music21, musicscore};
use obelus::score::{Anchor, Category, Mark, Part};
use obelus::testing::Parsed;
use std::collections::BTreeSet;

/// All marks of a category, part after part, in time: `bar+offset reading`, and ` to bar+offset` for a span.
fn marks(reading: &Parsed, category: Category) -> Vec<String> {
    let place = |part: &Part, at: &Anchor| format!("{}+{}", part.bars[at.bar].number, at.offset);
    let told = |part: &Part, mark: &Mark| {
        let end = mark.end.as_ref().map_or(String::new(), |end| format!(" to {}", place(part, end)));
        format!("{} {}{end}", place(part, &mark.at), mark.reading())
    };
    reading
        .score
        .parts
        .iter()
        .flat_map(|p| p.marks.iter().filter(|m| m.category == category).map(|m| told(p, m)))
        .collect()
}

#[test]
fn grace_groups_are_marks() {
    let expected = [
        "1+0 D5",
        "1+1 E5 D5",
        "1+2 D5",
        "1+3 D5", // bar 1
        "2+0 D5 slashed",
        "2+1 E5 D5",
        "2+3 D5 slashed",
        "2+7/2 D5 slashed",
        "2+4 E5", // bar 2
        "3+0 E5",
        "3+1 D#5",
        "3+2 Db5 Ab4",
    ];
    assert_eq!(marks(&music21("24a"), Category::Grace), expected);
    assert_eq!(marks(&music21("24b"), Category::Grace), ["1+1 D5 F5 slashed", "1+2 B4 D5 slashed"]);
    assert_eq!(marks(&musicscore("24d"), Category::Grace), ["1+2 G5 A5 A5", "1+4 G5 A5"]);
}

#[test]
fn slurs_end_where_their_number_stops() {
    let nested = ["1+0 slur to 1+1", "1+1 slur to 1+2", "1+2 slur to 1+3", "2+0 slur to 2+3", "2+1 slur to 2+2"];
    for reading in [music21("33c"), musicscore("33c")] {
        assert_eq!(marks(&reading, Category::Slur), nested);
        assert!(reading.warnings.is_empty(), "{:?}", reading.warnings);
    }
    assert_eq!(marks(&music21("24f"), Category::Slur), ["25+2 slur to 25+2"]);
    assert_eq!(marks(&music21("33g"), Category::Slur), ["1+0 slur to 1+2", "1+2 slur", "1+2 slur to 1+3"]);
    // Two voices use one number at one time.
    assert_eq!(marks(&music21("42a"), Category::Slur), ["2+2 slur to 2+7/2", "2+2 slur to 2+7/2"]);
}

#[test]
fn lines_end_on_the_right_note() {
    assert_eq!(marks(&music21("33f"), Category::Ornament), ["25+5/4 trill to 25+3"]);
    let waves = ["1+0 trill to 1+1", "1+1 trill to 1+2"];
    assert_eq!(marks(&music21("99c"), Category::Ornament), waves);
    let lines = marks(&music21("33h"), Category::Ornament);
    let expected = ["1+0 glissando to 1+1", "1+2 glissando to 1+3"];
    assert_eq!((lines.len(), &lines[..2]), (10, &expected.map(String::from)[..]));
    assert!(lines.iter().all(|line| line.contains(" to ")), "{lines:?}");
    let octaves =
        ["1+1/2 15 above to 1+1", "1+3/2 15 below to 1+2", "1+5/2 8 above to 1+25/8", "1+7/2 8 below to 1+15/4"];
    assert_eq!(marks(&music21("33d"), Category::OctaveLine), octaves);
    // Two notes share a tremolo; the pair of a hammer-on or pull-off is one sign.
    let spans = music21("33a");
    assert!(
        marks(&spans, Category::Ornament).iter().any(|m| m.starts_with("20+0 tremolo 2") && m.ends_with(" to 20+1"))
    );
    let pairs = marks(&spans, Category::Technique);
    assert_eq!(pairs[pairs.len() - 2..], ["21+0 hammer-on to 21+1", "22+0 pull-off to 22+1"]);
    // The dashes only draw the word out.
    assert_eq!(marks(&musicscore("33a"), Category::Tempo), ["15+0 rit. to 15+2"]);
}

#[test]
fn directions_stand_at_their_offset() {
    assert_eq!(marks(&music21("21d"), Category::Dynamics), ["1+3/8 fp", "2+0 p"]);
    let hands = music21("43e");
    assert_eq!(marks(&hands, Category::Dynamics), ["1+0 ffff", "1+25/8 p"]);
    assert_eq!(marks(&hands, Category::Hairpin), ["1+0 crescendo to 1+2"]);
    let hairpin = hands.score.parts[0].marks.iter().find(|m| m.category == Category::Hairpin);
    assert_eq!(hairpin.map(|m| m.staff), Some(2));
    let all = marks(&music21("31a"), Category::Dynamics);
    assert_eq!(all[all.len() - 3..], ["14+2 p", "14+3 ppp", "14+4 fff"]);
    let tempos = [
        "1+0 dotted quarter = 100",
        "1+2 Adagio",
        "1+2 long = 100",
        "2+0 dotted quarter = dotted half",
        "2+2 long = dotted 32nd",
        "3+0 dotted quarter = dotted half",
        "3+2 dotted quarter = 77",
    ];
    assert_eq!(marks(&music21("31c"), Category::Tempo), tempos);
}

#[test]
fn an_arpeggio_is_one_mark_for_its_chord() {
    let arrows = marks(&music21("32d"), Category::Ornament);
    let plain = "arpeggiate";
    let expected = [plain, "arpeggiate up", plain, "arpeggiate down", plain, "non arpeggiate", plain];
    assert_eq!(arrows, std::array::from_fn::<_, 7, _>(|beat| format!("1+{beat} {}", expected[beat])));
    let wrapped = marks(&music21("32c"), Category::Articulation);
    let expected = ["staccato", "accent"].map(|sign| ["0", "1", "2"].map(|beat| format!("1+{beat} {sign}")));
    let mut expected = expected.concat();
    let mut found = wrapped;
    expected.sort();
    found.sort();
    assert_eq!(found, expected);
}

#[test]
fn endings_and_repeats_are_counted_as_they_stand() {
    let two = ["2+0 ending 1 to 2+4", "2+4 backward repeat", "3+0 ending 2 to 3+4"];
    for reading in [music21("45b"), musicscore("45b")] {
        assert_eq!(sorted(marks(&reading, Category::Structure)), two);
    }
    let nested = [
        "10+0 ending 1 to 10+4",
        "11+0 ending 5 to 11+4",
        "11+4 backward repeat",
        "2+0 ending 1 to 2+4",
        "2+4 backward repeat",
        "3+0 ending 2 to 5+4",
        "6+0 ending 3 to 6+4",
    ];
    assert_eq!(sorted(marks(&music21("45d"), Category::Structure)), nested);
    let both_sides = marks(&music21("45e"), Category::Structure);
    assert!(both_sides.contains(&"7+4 backward repeat".into()) && both_sides.contains(&"8+0 forward repeat".into()));
    let times = music21("45c");
    let repeats = ["2+0 forward repeat", "3+4 backward repeat, 5 times", "7+4 backward repeat, 3 times"];
    assert_eq!(marks(&times, Category::Structure), repeats);
    assert_eq!(marks(&music21("45g"), Category::Structure), ["2+0 forward repeat"]);
    let doubles = ["6+4 double bar", "7+4 double bar", "8+4 double bar", "9+4 double bar"];
    for reading in [music21("46a"), musicscore("46a")] {
        assert_eq!(marks(&reading, Category::Structure), doubles);
    }
}

fn sorted(mut marks: Vec<String>) -> Vec<String> {
    marks.sort();
    marks
}

#[test]
fn every_verse_has_its_syllables() {
    let verses = music21("61b");
    let of_verse = |number: u32| {
        let own = verses.score.parts[0].marks.iter().filter(|m| m.sign.verse() == Some(number));
        own.map(|m| m.reading().into_owned()).collect::<Vec<_>>()
    };
    assert_eq!(of_verse(1), ["1.Tra-", "la-", "la,", "ja!", "Tra-", "ra..."]);
    assert_eq!(of_verse(2), ["2.tra-", "la-", "la,", "ja!", "Tra-", "ra."]);
    assert_eq!(of_verse(3), ["3.TRA-", "LA-", "LA,", "JA!", "TRA-", "RA..."]);
    // The end of a line after a syllable is no syllable.
    for reading in [music21("61d"), musicscore("61d")] {
        assert_eq!(marks(&reading, Category::Lyric), ["1+0 Me-", "2+0 lis-", "2+2 ma."]);
    }
    assert_eq!(marks(&musicscore("61k"), Category::Lyric), ["1+0 A", "1+2 b-", "2+1 CC", "3+0 e"]);
    let hands = marks(&music21("61c"), Category::Lyric);
    assert_eq!(hands, ["1+0 tra-", "1+1 la-", "1+2 li", "1+3 ja!", "1+0 TRA-", "1+1 LA-", "1+2 LI", "1+3 JA!"]);
    let graces = ["1+0 Ly-", "1+2 rics", "1+3 on", "2+0 notes", "2+2 with", "2+3 graces"];
    assert_eq!(marks(&music21("61f"), Category::Lyric), graces);
}

#[test]
fn figures_and_chord_symbols_stand_before_their_note() {
    assert_eq!(marks(&music21("46g"), Category::Harmony), ["0+0 C major", "0+0 3", "1+0 C major", "1+0 3"]);
    let figures = marks(&music21("74a"), Category::Harmony);
    assert_eq!(figures[..3], ["1+0 3", "1+1 # 1/b 3/nat. 5", "1+7/4 (6)"]);
    let bass = marks(&music21("71f"), Category::Harmony);
    assert!(bass.contains(&"9+2 Fbb major/C".into()) && bass.contains(&"9+5/2 G# major/D#".into()), "{bass:?}");
    let degrees = marks(&music21("71a"), Category::Harmony);
    assert_eq!(degrees[1..3], ["1+1 C major-seventh add #11", "1+2 B dominant alter #5 add #9"]);
    // Sixteen ways to draw the stops of an accordion, the last without any.
    let stops: BTreeSet<String> = marks(&music21("75a"), Category::Text).iter().map(|m| m[4..].to_string()).collect();
    assert_eq!(stops.len(), 16);
    let tablature = music21("71e");
    assert_eq!(tablature.score.parts.len(), 8);
    // A string and a fret for each of the first guitar's ten notes.
    let first = &tablature.score.parts[0].marks;
    assert_eq!(first.iter().filter(|m| m.category == Category::Fingering).count(), 20);
}

#[test]
fn editorial_accidentals_are_marks() {
    // Three in each of four bars.
    for code in ["01e", "01f"] {
        assert_eq!(marks(&music21(code), Category::Accidental).len(), 12, "{code}");
    }
    let changed = marks(&music21("01ea"), Category::Accidental);
    assert_eq!(changed, ["1+1 parentheses sharp", "1+2 bracket sharp", "1+3 parentheses sharp"]);
    // Four in each of nine bars.
    assert_eq!(marks(&musicscore("01e"), Category::Accidental).len(), 36);
}

#[test]
fn a_span_may_begin_and_end_at_one_note() {
    let spans = music21("33a");
    assert!(spans.warnings.is_empty(), "{:?}", spans.warnings);
    assert!(marks(&spans, Category::Ornament).contains(&"7+0 trill to 7+0".into()));
    let octaves = musicscore("33d");
    assert!(octaves.warnings.is_empty(), "{:?}", octaves.warnings);
    assert_eq!(marks(&octaves, Category::OctaveLine)[0], "1+1 15 above to 1+1");
}

#[test]
fn an_arpeggio_is_one_mark_with_the_direction_of_any_note() {
    let arrows = ["1+0 arpeggiate", "1+1 arpeggiate up", "1+2 arpeggiate", "1+3 arpeggiate down"];
    assert_eq!(marks(&musicscore("32d"), Category::Ornament)[..4], arrows);
}

#[test]
fn marks_between_the_notes_of_a_chord_are_the_chords() {
    assert_eq!(marks(&music21("21f"), Category::Dynamics), ["1+0 p"]);
    assert_eq!(marks(&music21("21f"), Category::Structure), ["1+0 segno"]);
}

#[test]
fn grace_notes_go_where_they_take_their_time_from() {
    assert_eq!(marks(&music21("24d"), Category::Grace), ["25+2 G5", "25+2 A5 A5", "25+4 G5 A5"]);
}

#[test]
fn an_empty_figure_is_no_mark() {
    assert_eq!(marks(&music21("74a"), Category::Harmony).len(), 4);
}
