//! What delicate files must read as, worked out by hand from their XML and the schema's documentation: notes, time, keys
//! and parts. None of it was copied from what the program prints.

use super::files;
use obelus::score::{Mark, Part, Sign, Sound};
use obelus::testing::Parsed;

pub fn music21(code: &str) -> Parsed {
    files::read("music21", code)
}

pub fn musicscore(code: &str) -> Parsed {
    files::read("musicscore", code)
}

/// The notes of one bar as `offset pitch length`, with `v` and `s` where voice or staff is not the first: `0 C5 1`,
/// `3/2 - 1/2` for a rest, `0 (D5)` for a grace note, `4 D5)` for one that comes after its note.
pub fn bar(part: &Part, index: usize) -> String {
    let told = |note: usize| {
        let n = &part.notes[note];
        let name = match n.sound {
            Sound::Pitched(p) => p.to_string(),
            Sound::Unpitched(p) => format!("{p}?"),
            Sound::Rest => "-".into(),
        };
        let mut text = match (n.grace > 0, n.grace_after) {
            (false, _) => format!("{} {name} {}", n.offset, n.duration),
            (true, false) => format!("{} ({name})", n.offset),
            (true, true) => format!("{} {name})", n.offset),
        };
        for (letter, number) in [('v', n.voice + 1), ('s', n.staff)] {
            if number > 1 {
                text.push_str(&format!(" {letter}{number}"));
            }
        }
        text
    };
    part.bars[index].notes.clone().map(told).collect::<Vec<_>>().join(", ")
}

fn only(reading: &Parsed) -> &Part {
    assert_eq!(reading.score.parts.len(), 1);
    &reading.score.parts[0]
}

/// Every bar of a file with one part.
#[track_caller]
fn assert_bars(reading: &Parsed, expected: &[&str]) {
    let part = only(reading);
    let bars: Vec<String> = (0..part.bars.len()).map(|index| bar(part, index)).collect();
    assert_eq!(bars, expected);
}

/// The written keys where they change, as `bar number, offset, fifths`.
fn keys(part: &Part) -> Vec<(&str, String, i32)> {
    let key = |m: &'_ Mark| match m.sign {
        Sign::Key { sounding, .. } => Some(sounding),
        _ => None,
    };
    let keys = part.marks.iter().filter_map(|m| Some((m, key(m)?)));
    keys.map(|(m, sounding)| {
        let bar = &part.bars[m.at.bar];
        (bar.number.as_str(), m.at.offset.to_string(), sounding - bar.transpose.fifths())
    })
    .collect()
}

fn lengths(part: &Part) -> Vec<String> {
    part.bars.iter().map(|b| b.length.to_string()).collect()
}

fn meters(part: &Part) -> Vec<String> {
    part.bars.iter().map(|b| format!("{} by {}", b.meter.bar, b.meter.beat)).collect()
}

#[test]
fn microtones_keep_their_alteration() {
    for (reading, octave) in [(music21("01d"), [4, 5]), (musicscore("01d"), [4, 5])] {
        let part = only(&reading);
        for (index, octave) in octave.into_iter().enumerate() {
            let pitches = part.bars[index].notes.clone().map(|n| part.notes[n].pitch().expect("a pitch"));
            let told: Vec<(i32, i32, i32)> = pitches.map(|p| (p.step, p.alter, p.octave)).collect();
            assert_eq!(told, [(0, -150, octave), (1, -50, octave), (2, 50, octave), (3, 150, octave)]);
        }
    }
}

#[test]
fn time_is_where_backup_and_divisions_put_it() {
    assert_bars(&music21("02e"), &["0 C5 1, 0 - 1 v2 s2", "0 A4 4, 0 E3 4 v2"]);
    let backup = music21("03b");
    assert_bars(&backup, &["0 C4 1, 1 C4 1, 1 A3 1 v2, 2 A3 1 v2"]);
    assert_eq!(lengths(only(&backup)), ["3"]);
    assert_bars(&music21("03c"), &["0 C5 1, 1 C5 1, 2 C5 1, 3 C5 1", "0 C5 2, 2 C5 2"]);
    assert_bars(&music21("46e"), &["0 C5 1", "0 C5 1, 1 A4 1, 2 F4 1, 3 C5 1, 1 C4 1 v2"]);
    assert_eq!(lengths(only(&music21("46f"))), ["2", "4", "2", "4"]);
    let long = music21("03d");
    assert_eq!(lengths(only(&long))[8..16], ["5/4", "5/4", "7/2", "7/2", "9/2", "9/2", "31/2", "31/2"]);
}

#[test]
fn meters_of_several_numbers_add_up() {
    assert_eq!(meters(only(&music21("11c"))), ["5/2 by 1/2", "9 by 1"]);
    assert_eq!(meters(only(&music21("11d"))), ["11/2 by 1/2", "21/2 by 2"]);
    assert_eq!(meters(only(&music21("11e"))), ["11/2 by 1/2"]);
    assert_eq!(meters(only(&music21("11f"))), ["3/2 by 1/2", "5/2 by 1/2", "5/2 by 1/2"]);
    let eleven = ["4 by 2", "4 by 1", "4 by 2", "6 by 2", "2 by 1", "3 by 1", "4 by 1", "5 by 1", "3/2 by 1/2"];
    assert_eq!(meters(only(&music21("11a")))[..9], eleven);
    for package in files::PACKAGES {
        assert_eq!(meters(only(&files::read(package, "11g"))), ["3/2 by 1/2"]);
    }
}

#[test]
fn clefs_do_not_move_pitches() {
    let wide = music21("12ad");
    assert_bars(&wide, &["0 C2 4", "0 C2 4", "0 C6 4", "0 C6 4", "0 C7 4", "0 C1 4"]);
    assert!(only(&wide).octave_is_told);
    let many = musicscore("12a");
    assert_bars(&many, &["0 C4 4"; 18]);
    let mid = music21("42b");
    assert!(bar(only(&mid), 0).starts_with("0 F4 1/2, 1/2 D4 1/2, 1 B3 1/2, 3/2 G3 1/2, 2 F3 1, 0 - 1/2 v2 s2"));
}

#[test]
fn keys_change_where_they_stand() {
    let at = |n: &'static str, offset: &str, fifths| (n, offset.to_string(), fifths);
    let mid = music21("13e");
    let expected = [at("1", "0", 2), at("1", "1", -2), at("1", "2", 0), at("1", "3", 7)];
    assert_eq!(keys(only(&mid)), expected);
    assert_eq!(only(&mid).bars[0].fifths, 2);
    let extreme = music21("13aa");
    let fifths: Vec<i32> = keys(only(&extreme)).into_iter().map(|k| k.2).collect();
    assert_eq!(fifths, [-11, -10, -9, -8, -7, 7, 8, 9, 10, 11]);
    assert_eq!(keys(only(&music21("13b"))), [at("1", "0", 2)]);
    let cancelled = music21("13ab");
    let fifths: Vec<i32> = keys(only(&cancelled)).into_iter().map(|k| k.2).collect();
    assert_eq!(fifths, [3, -2, 7, -3, 2]);
    let flats_to_sharps = musicscore("13a");
    let fifths: Vec<i32> = keys(only(&flats_to_sharps)).into_iter().map(|k| k.2).collect();
    assert_eq!(fifths, (-11..=11).collect::<Vec<i32>>());
    // Two staves, two keys: the first staff's is compared, and that is said.
    for code in ["43b", "43c"] {
        let hands = music21(code);
        assert_eq!(keys(only(&hands)), [at("1", "0", 0)]);
        assert!(hands.warnings[0].contains("different key signatures"), "{:?}", hands.warnings);
    }
}

#[test]
fn chords_stand_on_one_place() {
    assert_bars(
        &music21("21c"),
        &[
            "0 F4 3/2, 0 A4 3/2, 0 C5 3/2, 3/2 A4 1/2, 3/2 G5 1/2, 2 A4 1, 2 F4 1, 2 C5 1, 3 A4 1, 3 F4 1, 3 C5 1",
            "0 A4 1, 0 F4 1, 0 E5 1, 1 A4 1, 1 F4 1, 1 F5 1, 2 A4 2, 2 F4 2, 2 D5 2",
        ],
    );
    assert_bars(&music21("21e"), &["0 C5 1", "0 C5 1, 0 A4 1, 0 F4 1, 1 C5 1, 1 A4 1"]);
    let staves = music21("43d");
    assert!(bar(only(&staves), 1).ends_with("3/2 G3 1/2 s2, 3/2 C4 1/2, 3/2 E4 1/2, 3/2 G4 1/2, 2 - 2 s2"));
}

#[test]
fn tuplets_are_exact() {
    let seven = music21("23a");
    assert_eq!(
        bar(only(&seven), 2),
        "0 B5 1/4, 1/4 C6 1/4, 1/2 C6 1/4, 3/4 B5 1/4, 1 A5 3/7, 10/7 G5 3/7, 13/7 F5 3/7, 16/7 E5 3/7, 19/7 D5 3/7, \
         22/7 C5 3/7, 25/7 B4 3/7"
    );
    assert_bars(
        &music21("23d"),
        &["0 B4 1/3, 1/3 B4 1/3, 2/3 B4 2/15, 4/5 B4 2/15, 14/15 B4 2/15, 16/15 B4 2/15, 6/5 B4 2/15, 4/3 B4 1/3, \
           5/3 B4 1/3"],
    );
    let hands = music21("23f");
    assert!(bar(only(&hands), 0).contains("2 A4 2/3, 8/3 B4 2/3, 10/3 C5 2/3, 0 A2 1/2 v2 s2"));
    assert!(bar(only(&hands), 0).ends_with("11/3 B3 1/6 v2 s2, 23/6 C4 1/6 v2 s2"));
    // What a tuplet displays is not what it lasts.
    assert_bars(&music21("23c"), &["0 C5 1/3, 1/3 C5 1/3, 2/3 C5 1/3, 1 C5 1, 2 C5 1, 3 C5 1"; 5]);
    assert_eq!(bar(only(&music21("23e")), 1), "0 G4 1, 1 G4 1, 2 G4 1");
}

#[test]
fn grace_notes_take_no_time() {
    assert_bars(
        &music21("24a"),
        &[
            "0 (D5), 0 C5 1, 1 (E5), 1 (D5), 1 C5 1, 2 (D5), 2 C5 1, 3 (D5), 3 C5 1",
            "0 (D5), 0 C5 1, 1 (E5), 1 (D5), 1 C5 2, 3 (D5), 3 C5 1/2, 7/2 (D5), 7/2 C5 1/2, 4 E5)",
            "0 (E5), 0 F4 1, 0 C5 1, 1 (D#5), 1 C5 1, 2 (Db5), 2 (Ab4), 2 C5 1, 3 C5 1",
        ],
    );
    let chords = music21("24b");
    assert_bars(&chords, &["0 C5 1, 1 (D5), 1 (F5), 1 C5 1, 2 (B4), 2 (D5), 2 A4 1, 2 C5 1"]);
    assert_eq!(only(&chords).notes[..3].iter().map(|n| n.grace).collect::<Vec<_>>(), [0, 1, 1]);
    for package in files::PACKAGES {
        let end = files::read(package, "24c");
        assert_bars(&end, &["0 E5 2, 2 E5 2, 4 G5), 4 A5)"]);
        assert_eq!((only(&end).main_note(2), only(&end).main_note(3)), (Some(1), Some(1)));
    }
    let other_staff = music21("24e");
    assert_bars(&other_staff, &["0 E5 2, 2 (G5) s2, 2 (A5) s2, 2 E5 2"]);
    assert_eq!(only(&other_staff).main_note(1), Some(3));
}

#[test]
fn ties_join_only_what_is_tied() {
    let joined = |code: &str| {
        let reading = music21(code);
        let part = &reading.score.parts[0];
        let ties = (0..part.notes.len()).filter_map(|n| part.notes[n].tied_to.map(|to| (n, to))).collect::<Vec<_>>();
        (ties, part.struck().count())
    };
    assert_eq!(joined("33b"), (vec![(0, 1)], 1));
    assert_eq!(joined("33i"), (vec![(3, 4)], 4));
    // Over the grace notes between them; the tie from a grace note to another pitch is none.
    assert_eq!(joined("61f"), (vec![(6, 9)], 7));
    assert_eq!(joined("73a").0, [(0, 1)]);
}

#[test]
fn transposing_parts_sound() {
    let sounding = music21("72a");
    for part in &sounding.score.parts {
        assert_eq!(bar(part, 0), "0 C4 1, 1 D4 1, 2 E4 1, 3 F4 1", "{}", part.name);
        assert_eq!(bar(part, 1), "0 G4 1, 1 A4 1, 2 B4 1, 3 C5 1", "{}", part.name);
        assert_eq!(part.sounding_fifths(0), 0, "{}", part.name);
    }
    let all = music21("72b");
    assert_eq!(all.score.parts.len(), 11);
    for (index, part) in all.score.parts.iter().enumerate() {
        // F sharp up an augmented fourth is B sharp, and its key is 6 fifths further than 7 sharps.
        let (note, fifths) = if index == 9 { ("0 B#4 4", 13) } else { ("0 C5 4", 1) };
        assert_eq!((bar(part, 0).as_str(), part.sounding_fifths(0)), (note, fifths), "{}", part.name);
    }
    let change = music21("72c");
    assert_bars(&change, &["0 Eb4 4", "0 Bb3 4", "0 Bb3 4"]);
    assert_eq!((0..3).map(|b| only(&change).sounding_fifths(b)).collect::<Vec<_>>(), [-2, -2, -2]);
    // From the piccolo to the double bass.
    let orchestra = music21("41c");
    let first = |name: &str| {
        let part = orchestra.score.parts.iter().find(|p| p.name == name).expect("a part of that name");
        part.notes[0].pitch().map(|p| p.to_string())
    };
    let expected = [
        ("Piccolo", "B5"),
        ("English Horn", "F4"),
        ("Clarinet in Eb", "D5"),
        ("Clarinet in Bb 1", "E4"),
        ("Bass Clarinet", "A3"),
        ("Contrabassoon", "B1"),
        ("Horn in F 1", "A4"),
        ("Viola", "C4"),
        ("Contrabass", "C2"),
    ];
    for (name, pitch) in expected {
        assert_eq!(first(name).as_deref(), Some(pitch), "{name}");
    }
}

#[test]
fn parts_keep_their_order_and_names() {
    let ids = |code: &str| music21(code).score.parts.into_iter().map(|p| p.id).collect::<Vec<_>>();
    assert_eq!(ids("41a"), ["P0", "P1", "P2", "P3"]);
    assert_eq!(ids("41b"), (0..20).map(|n| format!("P{n}")).collect::<Vec<_>>());
    assert_eq!(ids("41g"), ["P1"]);
    assert_eq!(ids("41h"), ["P1", "P3", "P4"]);
    assert_eq!(only(&music21("41e")).name, "Long Staff Name");
    assert_eq!(only(&music21("51b")).name, "Staff \"Test\"");
    assert_eq!(music21("51b").score.title.as_deref(), Some("\"Quotes\" in header fields"));
    assert_eq!(music21("51d").score.title.as_deref(), Some("Empty work-title, non-empty movement-title"));
}

#[test]
fn percussion_has_places_for_pitches() {
    let kit = music21("73a");
    assert_eq!(bar(&kit.score.parts[0], 1), "0 E3 2, 2 A2 2");
    assert_eq!(bar(&kit.score.parts[1], 0), "0 E5? 3, 3 C5? 1");
    assert_eq!(bar(&kit.score.parts[2], 1), "0 E4? 4");
}

#[test]
fn a_pickup_is_counted_from_its_end() {
    for package in files::PACKAGES {
        let reading = files::read(package, "46d");
        let part = only(&reading);
        // Three eighths before the bar: the second half of beat 3, and beat 4.
        let beats: Vec<String> =
            part.bars[0].notes.clone().map(|n| part.beat(part.notes[n].place()).to_string()).collect();
        assert_eq!(beats, ["7/2", "9/2"]);
        assert_eq!(part.beat(part.notes[2].place()).to_string(), "1");
    }
}
