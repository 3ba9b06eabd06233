//! Clean parts made to fit an instrument: `clean --fit`.

use crate::common::adapt::{fit, instrument};
use crate::common::compare::reading;
use crate::common::desk::Desk;
use crate::common::music::{Style, score, scores};
use crate::common::program::{demo, obelus, obelus_fails};
use crate::common::unsigned::unsigned;
use obelus::score::Part;
use proptest::prelude::*;
use std::path::Path;

const ALTO: &str = "alto recorder";

fn piece(music: &str) -> String {
    score(&Style::default(), music)
}

fn part(text: &str) -> Part {
    reading(text).score.parts.remove(0)
}

/// What fits already, so that a few notes outside do not move all.
const BEFORE: &str = "C5q D5q E5q rq | ";
const AFTER: &str = " | D5q C5q D5h";

#[test]
fn a_phrase_moves_and_no_other_byte_changes() {
    let of = |middle: &str| piece(&format!("{BEFORE}{middle}{AFTER}"));
    let fitted = fit(&of("G4q F4q E4q rq"), ALTO);
    assert_eq!(fitted.text, of("G5q F5q E5q rq"));
    let [on] = &fitted.on[..] else { panic!("one part") };
    assert_eq!((on.outside, on.left.len(), on.moves.as_ref().unwrap().len()), (1, 0, 1));
}

#[test]
fn what_fits_stays_as_it_is() {
    let text = piece("C5q D5q E5q rq | F5q G5q A5q rq");
    let fitted = fit(&text, ALTO);
    assert_eq!(fitted.text, text);
    assert!(fitted.on[0].moves.as_ref().unwrap().is_empty());
}

#[test]
fn ties_and_chords_stay_whole() {
    let of = |middle: &str| piece(&format!("{BEFORE}{middle}{AFTER}"));
    assert_eq!(fit(&of("rh E4h~ | E4h rh"), ALTO).text, of("rh E5h~ | E5h rh"));
    assert_eq!(fit(&of("E4+G4q D4+F4q rh"), ALTO).text, of("E5+G5q D5+F5q rh"));
    // Of the second chord one note is held from the first: neither goes alone.
    let held = "E4+G4h~ E4+B4h";
    let text = of(held).replacen("<tie type=\"stop\"/>", "", 2);
    let fitted = fit(&text, ALTO);
    let by: Vec<i32> = octaves(&part(&text), &part(&fitted.text));
    assert!(by[4..8].iter().all(|b| *b == by[4]), "{by:?}");
}

#[test]
fn grace_notes_go_with_the_note_they_belong_to() {
    let of = |middle: &str| piece(&format!("{BEFORE}{middle}{AFTER}"));
    assert_eq!(fit(&of("g:F4 E4q D4q rh"), ALTO).text, of("g:F5 E5q D5q rh"));
    // A close of a trill belongs to the note before it.
    let after = |text: String| text.replace("<grace/>", "<grace steal-time-previous=\"20\"/>");
    let next = "C5e E5e G5e E5e C5e E5e | G5e E5e C5e E5e G5e E5e D5e C5e";
    let fitted = fit(&after(of(&format!("D4q(trill-mark) g:C4 g:D4 {next}"))), ALTO);
    assert_eq!(fitted.text, after(of(&format!("D5q(trill-mark) g:C5 g:D5 {next}"))));
}

#[test]
fn cues_stay_where_they_are() {
    let text = piece(&format!("{BEFORE}D4q E4q rh{AFTER}"));
    let cue = text.replacen(
        "<pitch>\n          <step>D</step>\n          <octave>4",
        "<cue/>\n        <pitch>\n          <step>D</step>\n          <octave>4",
        1,
    );
    assert_ne!(cue, text);
    let fitted = fit(&cue, ALTO);
    assert_eq!(octaves(&part(&cue), &part(&fitted.text)).iter().filter(|by| **by != 0).count(), 1);
    assert!(fitted.text.contains("<cue/>\n        <pitch>\n          <step>D</step>\n          <octave>4"));
}

/// A direction with an octave line, in the notation's own layout.
fn with_line(text: &str, from: usize, to: usize, kind: &str) -> String {
    let direction = |how: &str| {
        format!(
            "      <direction>\n        <direction-type>\n          <octave-shift type=\"{how}\" size=\"8\"/>\n        \
             </direction-type>\n      </direction>\n"
        )
    };
    let note = |place: usize| text.match_indices("      <note>\n").nth(place).unwrap().0;
    let (first, last) = (note(from), note(to));
    format!("{}{}{}{}{}", &text[..first], direction(kind), &text[first..last], direction("stop"), &text[last..])
}

#[test]
fn an_octave_line_that_says_what_is_done_now_goes() {
    let of = |middle: &str| piece(&format!("{BEFORE}{middle}{AFTER}"));
    // 8va over A6: an octave lower it is the note that was printed.
    let high = with_line(&of("F6q A6q B6q rq"), 4, 7, "down");
    let fitted = fit(&high, ALTO);
    assert_eq!(fitted.text, of("F5q A5q B5q rq"));
    assert!(fitted.warnings.is_empty(), "{:?}", fitted.warnings);
    // Over some of the notes only: it stays right, and is told.
    let longer = with_line(&of("F6q A6q B6q rq"), 1, 7, "down");
    let fitted = fit(&longer, ALTO);
    assert_eq!(fitted.text, with_line(&of("F5q A5q B5q rq"), 1, 7, "down"));
    assert!(fitted.warnings[0].contains("the octave line"), "{:?}", fitted.warnings);
}

#[test]
fn a_sign_comes_where_another_octave_needs_it() {
    // The second F sharp is in the octave of the first no longer.
    let text = piece("F#5h C5h | F#5q C5q F#4q E4q | rw | C5w");
    let signs = |text: &str| text.matches("<accidental>").count();
    let signed = text.replacen("<type>half</type>", "<type>half</type>\n        <accidental>sharp</accidental>", 1);
    let fitted = fit(&signed, ALTO);
    assert!(fitted.on[0].left.is_empty());
    assert!(signs(&fitted.text) >= signs(&signed), "{}", fitted.text);
}

#[test]
fn a_slur_into_another_voice_is_not_torn() {
    let of = |middle: &str| piece(&format!("{BEFORE}{middle}{AFTER}"));
    let fitted = fit(&of("E4q(slur[) D4q rh & rh C5q D5e(slur]) re"), ALTO);
    assert_eq!(fitted.text, of("E5q(slur[) D5q rh & rh C6q D6e(slur]) re"));
    assert_eq!((fitted.on[0].held.len(), fitted.on[0].left.len()), (0, 0));
}

#[test]
fn a_slur_to_a_cue_is_not_torn() {
    let text = piece(&format!("{BEFORE}D4q(slur[) E4q E4q(slur]) rq{AFTER}"));
    let last = text.match_indices("<step>E</step>").nth(2).unwrap().0;
    let note = text[..last].rfind("<pitch>").unwrap();
    let cue = format!("{}<cue/>\n        {}", &text[..note], &text[note..]);
    let fitted = fit(&cue, ALTO);
    assert_eq!(fitted.text, cue);
    assert_eq!((fitted.on[0].held.len(), fitted.on[0].left.len()), (1, 2));
}

#[test]
fn all_voices_move_together_or_stay() {
    let of = |middle: &str| piece(&format!("{BEFORE}{middle}{AFTER}"));
    // Only the lower voice leaves the range.
    let fitted = fit(&of("A4q B4q A4q rq & F4q E4q F4q rq"), ALTO);
    assert_eq!(fitted.text, of("A5q B5q A5q rq & F5q E5q F5q rq"));
    assert_eq!(fitted.on[0].moves.as_ref().unwrap().len(), 1);
    // A rest in one voice does not part them while the other goes on by step.
    let fitted = fit(&of("A4q rq A4q rq & F4q E4q F4q rq"), ALTO);
    assert_eq!(fitted.text, of("A5q rq A5q rq & F5q E5q F5q rq"));
    // Together they would be worse off: they stay.
    let high = of("F6q G6q F6q G6q & F4q E4q F4q F4q");
    let fitted = fit(&high, ALTO);
    assert_eq!((&fitted.text, fitted.on[0].left.len()), (&high, 1));
}

/// By how many octaves each note went.
fn octaves(before: &Part, after: &Part) -> Vec<i32> {
    assert_eq!(before.notes.len(), after.notes.len());
    let by = |(a, b): (&obelus::score::Note, &obelus::score::Note)| match (a.pitch(), b.pitch()) {
        (Some(a), Some(b)) => {
            assert!(a.same_name(b), "{a} became {b}");
            b.octave - a.octave
        }
        (a, b) => {
            assert_eq!(a, b);
            0
        }
    };
    before.notes.iter().zip(&after.notes).map(by).collect()
}

fn outside(part: &Part) -> usize {
    let range = instrument(ALTO).sounding;
    part.notes.iter().filter(|n| n.tied_from.is_none() && n.pitch().is_some_and(|p| range.leaves(p).is_some())).count()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
    /// Notes move by whole octaves, never more are outside than before, no slur, tie or chord is torn, grace notes
    /// stay with their notes, and made to fit once more it is the same text.
    #[test]
    fn a_fitted_part_keeps_its_promises(notes in prop::collection::vec((24..52_i32, 0..8_u8, any::<bool>()), 4..48)) {
        let mut music = Vec::new();
        let (mut slurred, mut tied): (bool, Option<String>) = (false, None);
        for (at, (place, kind, slur)) in notes.iter().enumerate() {
            if at > 0 && at % 4 == 0 {
                music.push("|".to_string());
            }
            let pitch = |place: i32| format!("{}{}", ['C', 'D', 'E', 'F', 'G', 'A', 'B'][(place % 7) as usize], place / 7);
            let name = tied.take().unwrap_or_else(|| pitch(*place));
            if *kind == 0 {
                music.push("rq".into());
                continue;
            }
            let sign = match (*slur, slurred) {
                (true, false) => "(slur[)",
                (true, true) => "(slur])",
                _ => "",
            };
            slurred ^= *slur;
            match kind {
                1 => music.push(format!("g:{} {name}q{sign}", pitch(place + 1))),
                2 => music.push(format!("{name}+{}q{sign}", pitch(place + 2))),
                3 if at + 1 < notes.len() && notes[at + 1].1 != 0 && notes[at + 1].1 != 2 => {
                    music.push(format!("{name}q~{sign}"));
                    tied = Some(name);
                }
                _ => music.push(format!("{name}q{sign}")),
            }
        }
        let text = piece(&music.join(" "));
        let fitted = fit(&text, ALTO);
        let (before, after) = (part(&text), part(&fitted.text));
        let by = octaves(&before, &after);
        prop_assert!(outside(&after) <= outside(&before));
        prop_assert_eq!(outside(&after), fitted.on[0].left.len());
        for (id, note) in before.notes.iter().enumerate() {
            prop_assert!(note.tied_to.is_none_or(|next| by[next] == by[id]), "a tie is torn");
            prop_assert!(!note.chord || by[id] == by[id - 1], "a chord is torn");
            let main = if note.grace > 0 { before.main_note(id) } else { None };
            prop_assert!(main.is_none_or(|main| by[main] == by[id]), "a grace note is torn off");
        }
        for slur in before.marks.iter().filter(|m| m.sign.name() == "slur") {
            let (Some(from), Some(to)) = (slur.at.note, slur.end.and_then(|e| e.note)) else { continue };
            prop_assert!((from..=to).all(|n| before.notes[n].is_rest() || by[n] == by[from]), "a slur is torn");
        }
        prop_assert_eq!(fit(&text, ALTO).text, fitted.text);
    }
}

#[test]
fn the_demo_a_fifth_lower_on_the_alto_recorder() {
    let desk = Desk::new();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let (copy, notes, table) = (desk.at("copy.musicxml"), desk.at("notes.md"), desk.at("notes.csv"));
    let options = ["clean", &edition, &source, "--transpose", "down a perfect fifth", "--instrument", ALTO, "--fit"];
    let said = obelus(&[&options[..], &["-o", &copy, "--notes", &notes]].concat());
    obelus(&[&options[..], &["-o", &copy, "--notes", &table]].concat());
    let notes = desk.read("notes.md");
    let ours = &notes[notes.find("### ").unwrap()..notes.find("## Remarks").unwrap()];
    let table = desk.read("notes.csv");
    let row = table.lines().find(|line| line.contains("octave change")).unwrap();
    let said = said.replace(desk.folder.path().to_str().unwrap(), "");
    insta::assert_snapshot!("fitted_demo", format!("{said}\n{ours}\n{row}"));
}

/// What was made to fit is the edition no more; cleaned with the same wishes it is what it was.
#[test]
fn a_fitted_copy_cleaned_with_the_same_options_stays() {
    let desk = Desk::new();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let (once, twice) = (desk.at("once.musicxml"), desk.at("twice.musicxml"));
    let wish = ["--instrument", "voice flute", "--fit"];
    let said = obelus(&[&["clean", &edition, &source, "-o", &once], &wish[..]].concat());
    assert!(said.contains("went to another octave"), "{said}");
    obelus(&[&["clean", &once, &source, "-o", &twice], &wish[..]].concat());
    assert_eq!(unsigned(&unsigned(&desk.read("twice.musicxml"))), unsigned(&desk.read("once.musicxml")));
}

#[test]
fn wrong_use_is_told() {
    let desk = Desk::new();
    let (edition, source) = (demo("edition.musicxml"), demo("source.musicxml"));
    let copy = desk.at("copy.musicxml");
    let fails = |options: &[&str]| obelus_fails(&[&["clean", &edition, &source, "-o", &copy], options].concat());
    for option in ["--fit", "--written", "--sounding"] {
        let failed = fails(&[option]);
        assert_eq!(failed.status, 2);
        assert!(failed.stderr.contains("name it with --instrument or --for"), "{}", failed.stderr);
    }
    assert_eq!(fails(&["--fit", "--instrument", "shawm"]).status, 2);
    let duet = scores(&[
        (Style { name: "Flauto".into(), ..Style::default() }, "C5q D5q E5q F5q | G5w"),
        (Style { name: "Basso".into(), ..Style::default() }, "C4h G3h | C4w"),
    ]);
    let duet = desk.write("duet.musicxml", &duet);
    let failed = obelus_fails(&["clean", &duet, &duet, "-o", &copy, "--fit", "--instrument", ALTO]);
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains("choose one with --part: 1 Flauto, 2 Basso"), "{}", failed.stderr);
    assert!(!Path::new(&copy).exists());
    obelus(&["clean", &duet, &duet, "-o", &copy, "--fit", "--instrument", ALTO, "--part", "2"]);
    let (before, after) = (reading(&desk.read("duet.musicxml")).score, reading(&desk.read("copy.musicxml")).score);
    assert!(octaves(&before.parts[0], &after.parts[0]).iter().all(|by| *by == 0));
    assert_eq!(octaves(&before.parts[1], &after.parts[1]), [1, 1, 1]);
}

#[test]
fn chords_are_warned_of_where_the_instrument_plays_one_note() {
    let desk = Desk::new();
    let text = desk.write("air.musicxml", &piece("C5q D5q E5q F5q | C5+E5h D5h | G5h A5h & G5h F5h | C5w"));
    let (copy, own) = (desk.at("copy.musicxml"), desk.at("own.toml"));
    let said = |options: &[&str]| obelus(&[&["clean", &text, &text, "-o", &copy], options].concat()).replace('\n', " ");
    let chords = "notes that sound together, but the alto recorder plays one note at a time: bars 2, 3";
    for options in [&["--for", ALTO][..], &["--instrument", ALTO, "--fit"], &["--instrument", ALTO]] {
        let said = said(options);
        assert!(said.contains(chords), "{said}");
    }
    assert!(!said(&["--for", "violin"]).contains("sound together"));
    let table = "[[instrument]]\nname = \"shawm\"\nwritten = [\"C4\", \"C6\"]\n";
    std::fs::write(&own, table).unwrap();
    assert!(!said(&["--for", "shawm", "--instruments", &own]).contains("sound together"));
    std::fs::write(&own, format!("{table}one_note = true\n")).unwrap();
    assert!(
        said(&["--for", "shawm", "--instruments", &own]).contains("but the shawm plays one note at a time: bars 2, 3")
    );
    let low = desk.write("low.musicxml", &piece("C5q D5q E5q F5q | G4h F4h & E4h F4h | C5w"));
    let said = obelus(&["clean", &low, &low, "-o", &copy, "--instrument", ALTO, "--fit"]).replace('\n', " ");
    assert!(said.contains("Its 2 voices move together or not at all."), "{said}");
}

#[test]
fn an_instrument_alone_is_looked_at_and_changes_nothing() {
    let desk = Desk::new();
    let text = desk.write("air.musicxml", &piece("C5q D5q E4q rq"));
    let copy = desk.at("copy.musicxml");
    let said = obelus(&["clean", &text, &text, "-o", &copy, "--instrument", ALTO]).replace('\n', " ");
    assert!(said.contains("1 note leaves the range.") && said.contains("- bar 1: 1 note below: E4"), "{said}");
    assert!(said.contains("--fit moves phrases that leave the range"), "{said}");
    assert_eq!(desk.read("air.musicxml"), desk.read("copy.musicxml"));
}

/// Up or down to a key: as fits better, not as is nearer.
#[test]
fn the_way_to_a_key_is_weighed_on_the_instrument() {
    let desk = Desk::new();
    let copy = desk.at("copy.musicxml");
    let clean = |music: &str, options: &[&str]| {
        let text = desk.write("air.musicxml", &piece(music));
        let said = obelus(&[&["clean", &text, &text, "-o", &copy, "--instrument", ALTO], options].concat());
        let before = part(&desk.read("air.musicxml"));
        let after = part(&desk.read("copy.musicxml"));
        let first = |part: &Part| part.notes[0].pitch().unwrap();
        (said.replace('\n', " "), obelus::pitch::Interval::between(first(&before), first(&after)).name())
    };
    // From C to G a fourth down is nearer, but the alto goes down to F4 only.
    let low = "G4q A4q B4q C5q | D5q B4q G4h";
    assert_eq!(clean(low, &["--key", "G major"]).1, "down a perfect fourth");
    let (said, by) = clean(low, &["--key", "G major", "--fit"]);
    assert_eq!(by, "up a perfect fifth", "{said}");
    let told =
        "transposed up a perfect fifth, not down a perfect fourth: on the alto recorder no notes go to another octave";
    assert!(said.contains(told), "{said}");
    let high = "C6q D6q E6q F6q | G6q E6q C6h";
    let (said, by) = clean(high, &["--key", "G major", "--fit"]);
    assert_eq!(by, "down a perfect fourth", "{said}");
    // Either way all fits: the nearer.
    let (said, by) = clean("C5q D5q E5q F5q | G5q E5q C5h", &["--key", "G major", "--fit"]);
    assert_eq!(by, "down a perfect fourth", "{said}");
    assert!(said.contains("the nearer way; up a perfect fifth would lie no better"), "{said}");
    // An interval is what was said.
    let (said, _) = clean(low, &["--transpose", "down a fourth", "--fit"]);
    assert!(said.contains("transposed down a perfect fourth."), "{said}");
}

#[test]
fn what_stays_outside_is_told_by_bars() {
    let desk = Desk::new();
    let text = desk.write("air.musicxml", &piece("C5q D4q E4q rq | E4w | C5w | C3q C7q C5h"));
    let said = obelus(&["clean", &text, &text, "-o", &desk.at("copy.musicxml"), "--for", "bass recorder"]);
    let lines: Vec<&str> = said.lines().collect();
    assert!(
        lines.contains(&"- bar 1: 1 note above: C5") && lines.contains(&"- bars 3 to 4: 3 notes above: C5 C7 C5"),
        "{said}"
    );
    assert!(said.replace('\n', " ").contains("on the bass recorder (written F2 to G4)"), "{said}");
    let range = obelus(&["range", &text, "--instrument", "bass recorder"]).replace('\n', " ");
    assert!(range.contains("Checked for the bass recorder, written F2 to G4."), "{range}");
    let range = obelus(&["range", &text, "--instrument", "clarinet in B flat"]).replace('\n', " ");
    assert!(range.contains("Checked for the clarinet in B flat, sounding D3 to Bb6."), "{range}");
}

#[test]
fn written_notes_are_compared_where_that_is_asked() {
    let desk = Desk::new();
    // On the soprano C4 is the lowest note that is written, C5 the lowest that sounds.
    let text = desk.write("air.musicxml", &piece("C4q D4q E4q rq | C4q E4q C4h"));
    let copy = desk.at("copy.musicxml");
    let clean = |asked: &[&str]| {
        obelus(&[&["clean", &text, &text, "-o", &copy, "--instrument", "soprano recorder", "--fit"], asked].concat());
        octaves(&part(&desk.read("air.musicxml")), &part(&desk.read("copy.musicxml"))).into_iter().max()
    };
    assert_eq!(clean(&[]), Some(0));
    assert_eq!(clean(&["--written"]), Some(0));
    assert_eq!(clean(&["--sounding"]), Some(1));
}
