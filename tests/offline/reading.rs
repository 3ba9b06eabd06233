//! What is read is what a player sees: what is not printed is no music, and a
//! length is what it looks like where the file only rounds it.

use crate::common::compare::{compare, reading};
use crate::common::music::{Style, score};
use obelus::Input;
use obelus::score::Part;
use obelus::time::{self, Time};

/// `onset pitch length` of each note of the first part, `+` before those of a chord.
fn notes(text: &str) -> Vec<String> {
    let part = part(text);
    let told = |n: &obelus::score::Note| {
        let sound = n.pitch().map_or("rest".into(), |p| p.to_string());
        let onset = time::text(part.time(n.place()));
        format!("{}{onset} {sound} {}", if n.chord { "+" } else { "" }, time::text(n.duration))
    };
    part.notes.iter().map(told).collect()
}

fn part(text: &str) -> Part {
    reading(text).score.parts.swap_remove(0)
}

fn lengths(text: &str) -> Vec<String> {
    part(text).bars.iter().map(|b| time::text(b.length)).collect()
}

/// The nth note of a text is not printed.
fn unprinted(text: &str, which: &[usize]) -> String {
    let mut out = String::new();
    for (index, piece) in text.split("<note>").enumerate() {
        match index {
            0 => {}
            _ if which.contains(&(index - 1)) => out.push_str("<note print-object=\"no\">"),
            _ => out.push_str("<note>"),
        }
        out.push_str(piece);
    }
    out
}

fn plain(music: &str) -> String {
    score(&Style::default(), music)
}

const UNSEEN: &str = "notes that are not printed were ignored";

#[test]
fn notes_that_are_not_printed_are_no_music() {
    let tune = "C5q D5q E5q F5q | G5q A5q B5q C6q | G5w";
    let lone = unprinted(&plain(tune), &[1]);
    assert_eq!(notes(&lone)[..3], ["0 C5 1", "2 E5 1", "3 F5 1"]);
    assert_eq!(lengths(&lone), ["4", "4", "4"]);
    assert_eq!(reading(&lone).warnings, [format!("part P1 (Solo), bar 1: {UNSEEN}")]);
    // A voice that nobody sees makes no voice, and no bar longer.
    let two = plain("C5q D5q E5q F5q & C4w. | G5q A5q B5q C6q | G5w");
    let hidden = unprinted(&two, &[4]);
    assert!(part(&hidden).notes.iter().all(|n| n.voice == 0));
    assert_eq!(lengths(&hidden), ["4", "4", "4"]);
    assert_eq!(compare(&hidden, &plain(tune)).found, [""; 0]);
    assert_eq!(compare(&plain(tune), &hidden).found, [""; 0]);
    // What stands on one is not printed, and it stays in the file.
    let marked = unprinted(&plain(&tune.replace("D5q", "D5q(staccato)").replace("A5q", "A5q(trill-mark)")), &[1]);
    let cleaned = compare(&marked, &unprinted(&plain(tune), &[1]));
    assert_eq!(cleaned.found, ["ornament added trill / -"]);
    assert_eq!(cleaned.clean, unprinted(&plain(&tune.replace("D5q", "D5q(staccato)")), &[1]));
}

#[test]
fn rests_that_are_not_printed_stay_rests() {
    let tune = plain("C5q rq E5q F5q | G5w");
    let hidden = unprinted(&tune, &[1]);
    assert_eq!(notes(&hidden), notes(&tune));
    assert_eq!(reading(&hidden).warnings, [""; 0]);
}

#[test]
fn a_chord_is_what_is_printed_of_it() {
    let chords = plain("C5+E5+G5q D5q E5h | C5w");
    assert_eq!(notes(&unprinted(&chords, &[0]))[..3], ["0 E5 1", "+0 G5 1", "1 D5 1"]);
    assert_eq!(notes(&unprinted(&chords, &[1]))[..3], ["0 C5 1", "+0 G5 1", "1 D5 1"]);
    assert_eq!(notes(&unprinted(&chords, &[0, 1]))[..2], ["0 G5 1", "1 D5 1"]);
    assert_eq!(notes(&unprinted(&chords, &[0, 1, 2]))[..1], ["1 D5 1"]);
    // In a bar that is written again, too, the chord begins with a note that is printed.
    let source = unprinted(&plain("C5+E5+G5q D5q E5h | C5q D5q E5q F5q | G5w"), &[0]);
    let edition = plain("E5+G5e D5q. E5h | C5q D5q E5q F5q | G5w");
    let again = compare(&edition, &source).clean;
    assert_eq!(notes(&again), notes(&source));
    assert_eq!(again.matches("<chord/>").count(), 1);
}

#[test]
fn a_grace_note_that_is_not_printed_and_a_tie_to_nowhere_are_none() {
    let tune = "g:D5 C5q D5q E5h~ | E5h F5h | G5w";
    let hidden = unprinted(&plain(tune), &[0, 4]);
    assert!(part(&hidden).marks.iter().all(|m| m.sign.name() != "grace"));
    assert_eq!(reading(&hidden).warnings, [format!("part P1 (Solo), bars 1 and 2: {UNSEEN}")]);
}

#[test]
fn notes_that_sound_a_sign_go_with_it_and_no_others() {
    // An appoggiatura, and below what it sounds like; and a voice for somebody who plays along.
    let tune = "g:D5 C5h E5q(trill-mark) F5q | G5w";
    let (sounds, along) = ("D5q C5q E5q F5q | G5q A5q G5h", "C3w | C3w");
    let both = |tune: &str, sounds: &str, along: &str| {
        let bars: Vec<Vec<&str>> = [tune, sounds, along].map(|v| v.split(" | ").collect()).to_vec();
        plain(&format!(
            "{} & {} & {} | {} & {} & {}",
            bars[0][0], bars[1][0], bars[2][0], bars[0][1], bars[1][1], bars[2][1]
        ))
    };
    // Of the trill's bar the last note sounds what stays.
    let edition = unprinted(&both(tune, sounds, along), &[4, 5, 6, 7, 8, 10, 11, 12, 13]);
    let source = plain("C5h E5q F5q | G5w");
    let clean = compare(&edition, &source).clean;
    assert_eq!(notes(&clean), notes(&source));
    assert_eq!(clean.matches("print-object=\"no\"").count(), 6);
    assert_eq!(clean.matches("<forward>").count(), 3);
    assert!(compare(&clean, &source).found.is_empty());
    // As long as one of two signs stays, all stay.
    let signs = tune.replace("trill-mark", "trill-mark,turn");
    let signs = unprinted(&both(&signs, sounds, along), &[4, 5, 6, 7, 8, 10, 11, 12, 13]);
    let clean = compare(&signs, &edition).clean;
    assert_eq!(clean.matches("print-object=\"no\"").count(), 9);
    assert!(!clean.contains("<turn/>"));
}

/// The durations of a text in order, others than they are.
fn with_durations(text: &str, durations: &[i64]) -> String {
    let mut pieces = text.split("<duration>");
    let mut out = pieces.next().unwrap().to_string();
    for (index, piece) in pieces.enumerate() {
        let (old, rest) = piece.split_once("</duration>").unwrap();
        let told = durations.get(index).map_or(old.to_string(), i64::to_string);
        out.push_str(&format!("<duration>{told}</duration>{rest}"));
    }
    out
}

#[test]
fn durations_that_are_rounded_are_read_as_what_they_round() {
    let music = "C5et D5et E5et F5q C5q D5q & C4q D4et C4et D4et E4h | G5w";
    let exact = plain(music);
    let coarse = score(&Style { divisions: 256, ..Style::default() }, music);
    let rounded = |third: [i64; 3], back: i64| {
        let [a, b, c] = third;
        with_durations(&coarse, &[a, b, c, 256, 256, 256, back, 256, a, b, c, 512])
    };
    for text in [rounded([85, 85, 86], 1024), rounded([86, 85, 85], 1024), rounded([85, 85, 85], 1023)] {
        assert_eq!(notes(&text), notes(&exact));
        assert_eq!(lengths(&text), ["4", "4"]);
        assert_eq!(reading(&text).warnings, [""; 0]);
        assert_eq!(compare(&text, &exact).found, [""; 0]);
    }
    // Back to the bar's start, by whatever it is long.
    assert_eq!(notes(&rounded([85, 85, 85], 1024)), notes(&exact));
    // The other voice, which has none, is no fuller for it.
    let below = "C5et D5et E5et F5q C5q D5q & C4h E4h | G5w";
    let text = score(&Style { divisions: 256, ..Style::default() }, below);
    let late = with_durations(&text, &[86, 86, 86, 256, 256, 256, 1024]);
    assert_eq!(notes(&late), notes(&plain(below)));
    // A bar that comes back brings its thirds along.
    let source = rounded([85, 85, 86], 1024);
    let edition = source.replacen("<step>F</step>", "<step>A</step>", 1).replacen("eighth", "16th", 1);
    assert_eq!(notes(&compare(&edition, &source).clean), notes(&source));
    let other = score(&Style { divisions: 256, ..Style::default() }, "C5q. D5e F5q C5q D5q & C4q D4q E4h | G5w");
    assert_eq!(notes(&compare(&other, &source).clean), notes(&source));
}

#[test]
fn a_dot_that_is_printed_counts_where_the_bar_adds_up() {
    let style = Style { divisions: 4, time: (2, 4), ..Style::default() };
    let exact = score(&style, "C5+E5q. F5e | F5q D5q | G4h");
    // Of the second note of a chord, of both, of a note alone.
    for durations in [[6, 4, 2], [4, 4, 2]] {
        let forgets = with_durations(&exact, &durations);
        assert_eq!(notes(&forgets), notes(&exact));
        assert_eq!(compare(&forgets, &exact).found, [""; 0]);
    }
    // Played unequally, but not printed so.
    let dotted = score(&Style { divisions: 12, ..style.clone() }, "C5e. D5s E5q | F5q D5q | G4h");
    assert_eq!(notes(&with_durations(&dotted, &[8, 4])), notes(&dotted));
    // A full bar stays as full as it is: here the dots are the mistake.
    let full = with_durations(&score(&style, "C5+E5q. F5q | F5q D5q | G4h"), &[4, 4, 4]);
    assert_eq!(notes(&full)[..3], ["0 C5 1", "+0 E5 1", "1 F5 1"]);
    assert_eq!(lengths(&full), ["2", "2", "2"]);
}

#[test]
fn lengths_that_are_written_otherwise_than_they_count_stay() {
    // Three notes in the time of two without a word of it; a tremolo between two
    // notes that both look as long as both; a rest for a bar.
    let style = Style { divisions: 3, time: (3, 4), ..Style::default() };
    let triplets = score(&style, "C5q D5q E5q | F5h. | G5h.");
    let untold = with_durations(&triplets.replace("quarter", "eighth"), &[1, 1, 1]);
    let untold =
        untold.replacen("</measure>", "<note><rest/><duration>6</duration><voice>1</voice></note></measure>", 1);
    assert_eq!(notes(&untold)[..3], ["0 C5 1/3", "1/3 D5 1/3", "2/3 E5 1/3"]);
    let tremolo = score(&Style { divisions: 2, ..style.clone() }, "C5q. D5q. | F5h. | G5h.").replace("quarter", "half");
    assert_eq!(notes(&tremolo)[..2], ["0 C5 3/2", "3/2 D5 3/2"]);
    let rest = score(&style, "C5q. E5q. & rq | F5h.").replace("<duration>3</duration>", "<duration>9</duration>");
    let rest = rest.replacen("<type>quarter</type>\n      </note>", "<type>whole</type></note>", 1);
    assert_eq!(lengths(&rest), ["3", "3"]);
    assert_eq!(part(&rest).notes[2].duration, Time::from(3));
}

fn sung(tune: &str, verses: &[&[(&str, &str)]]) -> String {
    let mut pieces = tune.split("      </note>");
    let mut out = pieces.next().unwrap().to_string();
    for (index, piece) in pieces.enumerate() {
        for (verse, text) in verses.get(index).copied().unwrap_or_default() {
            out.push_str(&format!("        <lyric {verse}><text>{text}</text></lyric>\n"));
        }
        out.push_str("      </note>");
        out.push_str(piece);
    }
    out
}

#[test]
fn verses_count_by_their_order_whatever_they_are_called() {
    let tune = plain("C5q D5q E5q F5q | G5w");
    let numbered = sung(&tune, &[&[("number=\"1\"", "la"), ("number=\"2\"", "so")], &[("number=\"1\"", "lo")]]);
    let called: [[&str; 2]; 3] = [
        ["number=\"part1verse1\"", "number=\"part1verse2\""],
        ["number=\"chorus\"", "number=\"refrain\""],
        ["name=\"verse\"", "number=\"2\""],
    ];
    for [one, two] in called {
        let named = sung(&tune, &[&[(one, "la"), (two, "so")], &[(one, "lo")]]);
        assert_eq!(compare(&named, &numbered).found, [""; 0], "{one} {two}");
        // What comes back is sung in the verse that the edition has for it.
        let lacks = sung(&tune, &[&[(one, "la"), (two, "so")]]);
        let clean = compare(&lacks, &numbered).clean;
        assert_eq!(compare(&clean, &numbered).found, [""; 0]);
        assert_eq!(clean.matches(&format!("<lyric {one}>")).count(), 2);
    }
    let other = sung(&tune, &[&[("number=\"1\"", "la"), ("number=\"2\"", "so")], &[("number=\"2\"", "lo")]]);
    assert_eq!(compare(&other, &numbered).found.len(), 1);
}

fn chord(root: &str, kind: &str) -> String {
    format!("<harmony><root>{root}</root>{kind}</harmony>")
}

fn with_chords(style: &Style, tune: &str, first: &str, second: &str) -> String {
    let text = score(style, tune);
    let text = text.replacen("</attributes>", &format!("</attributes>{first}"), 1);
    text.replacen("<measure number=\"2\">", &format!("<measure number=\"2\">{second}"), 1)
}

#[test]
fn a_root_that_is_not_printed_is_none() {
    let tune = "C5q D5q E5q F5q | G5q A5q B5h";
    let tempo = chord("<root-step text=\"\">C</root-step>", "<kind text=\"In Tempo\">none</kind>");
    let german = chord("<root-step text=\"H\">B</root-step>", "<kind text=\"m\">minor</kind>");
    let read = |text: &str| -> Vec<String> {
        let marks = part(text).marks;
        let chords = marks.iter().filter(|m| m.sign.name() == "harmony");
        chords.map(|m| format!("{} {}", m.reading(), m.sign.pitches().len())).collect()
    };
    assert_eq!(read(&with_chords(&Style::default(), tune, &tempo, &german)), ["In Tempo 0", "H m 1"]);
    let nothing = chord("<root-step text=\"\">C</root-step>", "<kind text=\"\">none</kind>");
    let b = chord("<root-step>B</root-step>", "<kind text=\"-\">minor</kind>");
    assert_eq!(read(&with_chords(&Style::default(), tune, &nothing, &b)), ["B - 1"]);
    let [one, two] = [&german, &b].map(|c| with_chords(&Style::default(), tune, "", c));
    assert_eq!(compare(&one, &two).found, [""; 0]);
}

#[test]
fn chords_and_figures_of_the_source_are_told_in_the_key_of_the_edition() {
    let (in_c, in_d) = ("C5q D5q E5q F5q | G5q A5q B5h | C6w", "D5q E5q F#5q G5q | A5q B5q C#6h | D6w");
    let in_bb = "Bb4q C5q D5q Eb5q | F5q G5q A5h | Bb5w";
    let root = |step: &str, alter: i32| {
        let step = match step {
            "E" => "<root-step text=\"Mi\">E</root-step>".to_string(),
            _ => format!("<root-step>{step}</root-step>"),
        };
        chord(&format!("{step}<root-alter>{alter}</root-alter>"), "<kind text=\"7\">dominant</kind>")
    };
    let figure = |sign: &str| {
        format!("<figured-bass><figure><prefix>{sign}</prefix><figure-number>6</figure-number></figure></figured-bass>")
    };
    let c = Style::default();
    let (d, b_flat) = (Style { fifths: 2, ..c.clone() }, Style { fifths: -2, ..c.clone() });
    let source = with_chords(&c, in_c, &root("E", 0), &figure("flat"));
    let edition = with_chords(&d, in_d, &root("E", 0), &figure("flat"));
    let result = compare(&edition, &source);
    assert_eq!(result.found, ["harmony altered Mi 7 / F# 7", "harmony altered b 6 / nat. 6"]);
    let right = with_chords(&d, in_d, &root("F", 1), &figure("natural"));
    assert_eq!(compare(&result.clean, &right).found, [""; 0]);
    assert!(!result.clean.contains("Mi"), "{}", result.clean);
    // Figures that go the way of the interval are the same; left out, they come back moved.
    assert_eq!(compare(&right, &source).found, [""; 0]);
    let lacks = compare(&score(&d, in_d), &source);
    assert_eq!(lacks.found, ["harmony omitted - / F# 7", "harmony omitted - / nat. 6"]);
    assert_eq!(compare(&lacks.clean, &right).found, [""; 0]);
    let flats = with_chords(&b_flat, in_bb, &root("D", 0), &figure("double-flat"));
    assert_eq!(compare(&flats, &source).found, ["harmony altered bb 6 / b 6"]);
}

#[test]
fn signatures_after_a_backup_hold_from_where_they_stand() {
    let text = plain("C5q D5q E5q F5q & C4w | G5q A5q B5q C6q | G5w");
    let keys =
        "<attributes><key><fifths>2</fifths></key><time><beats>2</beats><beat-type>2</beat-type></time></attributes>";
    let late = text.replacen("<key>\n          <fifths>0</fifths>\n        </key>\n", "", 1);
    let late = late.replacen("</backup>", &format!("</backup>{keys}"), 1);
    let bars = part(&late).bars;
    assert_eq!((bars[0].fifths, bars[0].meter.beat, bars[1].fifths), (2, Time::from(2), 2));
    // In the middle of a bar they hold for the next.
    let middle = text.replacen("<step>E</step>", "<step>X</step>", 1);
    let (before, after) = middle.rsplit_once("<step>X</step>").unwrap();
    let (before, note) = before.rsplit_once("<note>").unwrap();
    let middle = format!("{before}{keys}<note>{note}<step>E</step>{after}");
    let read = part(&middle);
    assert_eq!((read.bars[0].fifths, read.bars[1].fifths), (0, 2));
    let at: Vec<String> = read.marks.iter().map(|m| format!("{} {}", m.sign.name(), time::text(m.at.offset))).collect();
    assert_eq!(at, ["key 0", "time 0", "key 2", "time 2"]);
}

#[test]
fn an_archive_whose_container_fails_is_read_if_it_holds_one_score() {
    use std::io::Write;
    let text = plain("C5q D5q E5q F5q | G5w");
    let archive = |members: &[(&str, &str)]| {
        let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        for (name, content) in members {
            writer.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
            writer.write_all(content.as_bytes()).unwrap();
        }
        writer.finish().unwrap().into_inner()
    };
    let container = "META-INF/container.xml";
    let names = "<container><rootfiles><rootfile full-path=\"gone.xml\"/></rootfiles></container>";
    for (broken, why) in [(None, "is missing"), (Some("<container"), "no element"), (Some(names), "names gone.xml")] {
        let own = broken.map(|b| (container, b));
        let one = [("a tune.xml", text.as_str()), ("page.svg", "<svg/>"), ("__MACOSX/._a tune.xml", "?")];
        let bytes = archive(&own.into_iter().chain(one).collect::<Vec<_>>());
        let input = Input::from_bytes("tune.mxl", bytes).unwrap();
        let read = obelus::testing::read(&obelus::Tree::parse(&input).unwrap()).unwrap();
        assert_eq!(read.warnings.len(), 1);
        assert!(read.warnings[0].contains(why) && read.warnings[0].contains("a tune.xml"), "{}", read.warnings[0]);
        assert_eq!(read.score.parts[0].notes.len(), 5);
        let again = Input::from_bytes("again.mxl", input.encode(&text.replace("C", "D")).unwrap()).unwrap();
        assert_eq!(again.text, text.replace("C", "D"));
        // Of two nobody knows which is meant.
        let two = one.into_iter().chain([("other.musicxml", text.as_str())]);
        let bytes = archive(&own.into_iter().chain(two).collect::<Vec<_>>());
        assert!(Input::from_bytes("tune.mxl", bytes).unwrap_err().to_string().contains(why));
    }
}

#[test]
fn what_is_no_number_is_told_and_read_as_usual() {
    let text = plain("C5q D5q E5q F5q | G5w");
    let read = |from: &str, to: &str| {
        assert!(text.contains(from), "{from} in {text}");
        reading(&text.replacen(from, to, 1)).warnings
    };
    let bar_1 = |what: &str| vec![format!("part P1 (Solo), bar 1: {what}")];
    let staff = "the staff \"x\" is not a number from 1 to 99; it was read as 1";
    assert_eq!(read("<type>quarter</type>", "<type>quarter</type><staff>x</staff>"), bar_1(staff));
    let beat = "the beat of a time signature \"four\" is not a number from 1 to 1024; it was read as 4";
    assert_eq!(read("<beat-type>4</beat-type>", "<beat-type>four</beat-type>"), bar_1(beat));
    let by = "a transposition by \"-x\" is no number of steps; it was ignored";
    assert_eq!(read("</time>", "</time><transpose><chromatic>-x</chromatic></transpose>"), bar_1(by));
    let far = "a transposition leads out of hearing range; it was ignored";
    for octaves in ["-2147483648", "2147483647", "10"] {
        let by =
            format!("</time><transpose><chromatic>2</chromatic><octave-change>{octaves}</octave-change></transpose>");
        assert_eq!(read("</time>", &by), bar_1(far), "{octaves}");
    }
    // Steps that are none are those of the semitones.
    let by = "</time><transpose><diatonic>-2147483648</diatonic><chromatic>2</chromatic></transpose>";
    assert_eq!(read("</time>", by), Vec::<String>::new());
    let repeat = "<barline><repeat direction=\"backward\" times=\"x\"/></barline></measure>";
    let times = "a repeat of \"x\" times is no number; it was read as played twice";
    assert_eq!(read("</measure>", repeat), bar_1(times));
}
