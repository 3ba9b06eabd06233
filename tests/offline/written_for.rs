//! Parts written for an instrument: `clean --for`. That they are valid is looked at in
//! `tests/external/valid.rs`.

use crate::common::adapt::{
    changing_clarinets, duet, flute_with_its_sound, in_key, instrument, named, shawm, write_for, written,
};
use crate::common::compare::reading;
use crate::common::music::{Style, score};
use crate::common::program::{obelus, obelus_fails};
use obelus::score::Part;
use obelus::{Failure, Instruments, ReadAs};
use proptest::prelude::*;

/// As `music` writes a part for the clarinet in B flat.
fn clarinet(fifths: i32) -> Style {
    Style { fifths, transpose: Some((-1, -2)), name: "clarinet in B flat".into(), ..Style::default() }
}

fn part(text: &str) -> Part {
    reading(text).score.parts.remove(0)
}

fn sounds(part: &Part) -> Vec<String> {
    part.notes.iter().filter_map(|n| n.pitch()).map(|p| p.to_string()).collect()
}

/// With another clef in the place of the only one.
fn with_clef(text: &str, clef: &str) -> String {
    let old = "<clef>\n          <sign>G</sign>\n          <line>2</line>\n        </clef>";
    assert_eq!(text.matches(old).count(), 1);
    text.replace(old, clef)
}

fn clef(sign: &str, line: i32, octaves: i32) -> String {
    let change = match octaves {
        0 => String::new(),
        n => format!("\n          <clef-octave-change>{n}</clef-octave-change>"),
    };
    format!("<clef>\n          <sign>{sign}</sign>\n          <line>{line}</line>{change}\n        </clef>")
}

/// The same, put in as a change before a bar's notes.
fn clef_change(text: &str, bar: usize, sign: &str, line: i32) -> String {
    let head = format!("<measure number=\"{bar}\">\n");
    let at = text.find(&head).unwrap() + head.len();
    let change = format!("      <attributes>\n        {}\n      </attributes>\n", clef(sign, line, 0));
    format!("{}{change}{}", &text[..at], &text[at..])
}

// G major sounds; the clarinet in B flat reads A major, a tone higher: any primer.
#[test]
fn for_the_clarinet_and_back() {
    let flute = score(&named(in_key(1), "modern flute"), "G4q A4e B4e C5q D5q | F#5e E5e D5e C5e B4h | B4q G4q F#4h");
    let music = "A4q B4e C#5e D5q E5q | G#5e F#5e E5e D5e C#5h | C#5q A4q G#4h";
    let for_clarinet = written(&flute, "clarinet in B flat");
    assert_eq!(for_clarinet, score(&clarinet(3), music));
    assert_eq!(sounds(&part(&for_clarinet)), sounds(&part(&flute)));
    assert_eq!(written(&for_clarinet, "modern flute"), flute);
    // B flat is C natural, for which the new key needs a sign.
    let flat = written(&score(&in_key(1), "G4q Bb4q G4h"), "clarinet in B flat");
    assert_eq!(flat.matches("<accidental>").count(), 1);
    assert!(flat.contains("<accidental>natural</accidental>"));
}

// B major would be C sharp major, of seven sharps; D flat major has five flats.
#[test]
fn a_key_with_many_signs_is_respelled() {
    let flute = score(&named(in_key(5), "modern flute"), "B4q C#5q D#5q E5q | F#5q G#5q A#5q B5q");
    let for_clarinet = written(&flute, "clarinet in B flat");
    assert_eq!(for_clarinet, score(&clarinet(-5), "Db5q Eb5q F5q Gb5q | Ab5q Bb5q C6q Db6q"));
    let midi = |text: &str| part(text).notes.iter().map(|n| n.pitch().unwrap().sound()).collect::<Vec<_>>();
    assert_eq!(midi(&for_clarinet), midi(&flute));
}

// The clarinet in A reads a minor third higher than it sounds: C major for A major, B flat: B major.
#[test]
fn a_part_that_changes_its_transposition() {
    for both in changing_clarinets() {
        let before = part(&both);
        let after = part(&written(&both, "modern flute"));
        assert_eq!(sounds(&after), sounds(&before));
        assert!(after.notes.iter().all(|n| n.transpose.semitones == 0));
        let fifths: Vec<i32> = after.bars.iter().map(|b| b.fifths).collect();
        assert_eq!(fifths, (0..3).map(|bar| before.sounding_fifths(bar)).collect::<Vec<_>>());
    }
}

#[test]
fn octaves_are_told_by_clef_or_transposition() {
    let plain = score(&named(in_key(0), "Air"), "C4q D4q E4q G4q | C5q E5q D6h");
    let soprano =
        with_clef(&score(&named(in_key(0), "soprano recorder"), "C5q D5q E5q G5q | C6q E6q D7h"), &clef("G", 2, 1));
    // The part does not say in which octave it sounds: it is read as what the soprano reads.
    assert_eq!(written(&plain, "soprano recorder"), soprano);
    // A piccolo and a bass recorder have plain clefs.
    let piccolo = written(&plain, "piccolo");
    assert!(piccolo.contains("<octave-change>1</octave-change>") && !piccolo.contains("clef-octave-change"));
    assert_eq!(sounds(&part(&piccolo)), sounds(&part(&soprano)));
    // Read as it sounds, it stays in its octave.
    let sounding = |name: &str| write_for(&plain, instrument(name), Some(ReadAs::Sounding)).unwrap().text;
    for name in ["soprano recorder", "bass recorder", "piccolo"] {
        assert_eq!(sounds(&part(&sounding(name))), sounds(&part(&plain)), "{name}");
    }
    // From one with a little 8 to one without, and back.
    let alto = written(&soprano, "alto recorder");
    assert_eq!(sounds(&part(&alto)), sounds(&part(&soprano)));
    assert!(!alto.contains("clef-octave-change"));
    let bass = written(&soprano, "bass recorder");
    assert!(bass.contains(&clef("F", 4, 0)) && bass.contains("<octave-change>1</octave-change>"));
    assert_eq!(sounds(&part(&bass)), sounds(&part(&soprano)));
    assert_eq!(written(&bass, "soprano recorder"), soprano);
}

#[test]
fn clef_changes_stay_where_the_player_reads_them() {
    let bassoon = with_clef(&score(&named(in_key(0), "bassoon"), "C3w | G3w | C4w | G3w"), &clef("F", 4, 0));
    let bassoon = clef_change(&clef_change(&bassoon, 3, "C", 4), 4, "F", 4);
    let signs = |text: &str| text.matches("<sign>").count();
    // Tenor clef: the cellist reads it, the violist does not.
    assert_eq!(signs(&written(&bassoon, "cello")), 3);
    let viola = written(&bassoon, "viola");
    assert_eq!(signs(&viola), 1);
    assert!(viola.contains(&clef("C", 3, 0)));
    // A treble clef at the beginning is no change.
    let violin = score(&named(in_key(0), "violin"), "C5w | G5w");
    assert!(written(&violin, "viola").contains(&clef("C", 3, 0)));
    // Without any clef at all.
    let none = violin.replace(&clef("G", 2, 0), "");
    assert!(written(&none, "viola").contains(&clef("C", 3, 0)));
}

#[test]
fn stems_and_rests_follow_the_clef() {
    let stemmed = |text: String, stem: &str| {
        text.replace("<type>half</type>", &format!("<type>half</type>\n        <stem>{stem}</stem>"))
            .replace("<rest/>", "<rest><display-step>B</display-step><display-octave>4</display-octave></rest>")
    };
    let text = stemmed(score(&named(in_key(0), "violin"), "E4h rh"), "up");
    let tenor = written(&text, "viola");
    assert!(tenor.contains("<stem>down</stem>"), "{tenor}");
    assert!(tenor.contains("<display-step>C</display-step>"), "{tenor}");
}

#[test]
fn a_part_that_is_right_already_stays_byte_for_byte() {
    let text = score(&named(in_key(1), "alto recorder"), "G4q A4e B4e C5q D5q");
    assert_eq!(written(&text, "alto recorder"), text);
    let text = score(&clarinet(3), "A4q B4e C#5e D5q E5q");
    assert_eq!(written(&text, "clarinet in B flat"), text);
}

#[test]
fn what_has_no_pitches_or_two_staves_is_refused() {
    let refused = |text: &str| match write_for(text, instrument("alto recorder"), None) {
        Err(Failure::Unsupported(why)) => why,
        other => panic!("{other:?}"),
    };
    assert!(refused(&score(&in_key(0), "C5q D5q 2:C4h")).contains("one staff"));
    let drum = score(&in_key(0), "C5q D5q E5h").replace("<pitch>", "<unpitched>").replace("</pitch>", "</unpitched>");
    let drum = drum.replace("step>", "display-step>").replace("octave>", "display-octave>");
    assert!(refused(&drum).contains("unpitched notes"));
    let tab = with_clef(&score(&in_key(0), "C5q D5q E5h"), "<clef><sign>TAB</sign><line>5</line></clef>");
    assert!(refused(&tab).contains("bar 1: a \"TAB\" clef has no pitches"));
    assert!(refused(&score(&in_key(0), "rw | rw")).contains("no notes with pitches"));
}

#[test]
fn names_and_playback_go_with_the_instrument() {
    let text = flute_with_its_sound();
    let renamed = written(&text, "alto recorder");
    assert!(renamed.contains(
        "<part-name>alto recorder</part-name><part-abbreviation>A. Rec.</part-abbreviation><score-instrument id=\"P1-I1\">\
         <instrument-name>alto recorder</instrument-name></score-instrument><midi-instrument id=\"P1-I1\">\
         <midi-channel>1</midi-channel><midi-program>75</midi-program></midi-instrument>"
    ), "{renamed}");
    // One of the user's own, without more than its range.
    let table = shawm();
    let renamed = write_for(&text, table.find("shawm").unwrap(), None).unwrap().text;
    assert!(renamed.contains("<part-name>shawm</part-name><score-instrument"), "{renamed}");
    assert!(!renamed.contains("midi-program"));
}

#[test]
fn the_command_says_what_it_did() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let duet = duet();
    std::fs::write(at("duet.musicxml"), &duet).unwrap();
    let (file, copy) = (at("duet.musicxml"), at("copy.musicxml"));
    let base = ["clean", &file, &file, "-o", &copy, "--for", "soprano recorder"];
    let failed = obelus_fails(&base);
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains("--for is for one part, but 2 are being cleaned"), "{}", failed.stderr);
    let said = obelus(&[&base[..], &["--part", "Oboe", "--transpose", "down a perfect fifth", "--fit"]].concat());
    insta::assert_snapshot!("written_for", said.replace(folder.path().to_str().unwrap(), ""));
    let text = std::fs::read_to_string(&copy).unwrap();
    assert!(text.contains("<part-name>Soprano recorder</part-name>") && text.contains("<part-name>Basso</part-name>"));
    assert!(text.contains("transpose down a perfect fifth, fit to the soprano recorder, for the soprano recorder"));
    // A name that tells the instrument in another language stays.
    obelus(&["clean", &file, &file, "-o", &copy, "--part", "Oboe", "--for", "modern oboe"]);
    assert_eq!(std::fs::read_to_string(&copy).unwrap(), duet);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 128, ..ProptestConfig::default() })]
    /// Whatever the key, the signs and the transposition of a part: what sounds stays, each signature has seven signs at
    /// most, and written for the same instrument again it is the same text.
    #[test]
    fn what_is_written_for_another_sounds_as_before(
        fifths in -7..=7_i32,
        transposed in any::<bool>(),
        at in 0..17_usize,
        notes in prop::collection::vec((28..49_i32, -1..=1_i32, any::<bool>()), 1..24),
    ) {
        let style = if transposed { clarinet(fifths) } else { in_key(fifths) };
        let mut music = String::new();
        for (place, (step, alter, grace)) in notes.iter().enumerate() {
            let bar = if place > 0 && place % 4 == 0 { "| " } else { "" };
            let sign = ["b", "", "#"][(alter + 1) as usize];
            let name = format!("{}{sign}{}", ['C', 'D', 'E', 'F', 'G', 'A', 'B'][(step % 7) as usize], step / 7);
            let grace = if *grace { format!("g:{name} ") } else { String::new() };
            music += &format!("{bar}{grace}{name}q ");
        }
        let text = score(&style, &music);
        let table = Instruments::standard();
        let wanted = table.iter().nth(at).unwrap();
        let new = write_for(&text, wanted, Some(ReadAs::Sounding)).unwrap().text;
        let (before, after) = (part(&text), part(&new));
        let midi = |part: &Part| part.notes.iter().map(|n| n.pitch().unwrap().sound()).collect::<Vec<_>>();
        prop_assert_eq!(midi(&before), midi(&after));
        prop_assert!(after.bars.iter().all(|bar| bar.fifths.abs() <= 7));
        prop_assert_eq!(write_for(&new, wanted, None).unwrap().text, new);
    }
}
