//! Small scores, each with one thing that makes reading, collating or cleaning
//! hard. The music is our own; what must come out is plain from it.

use crate::common::compare::{Compared, compare, compare_with};
use crate::common::music::{Style, score, scores};
use obelus::pitch::Interval;
use obelus::{Input, PassageKind, Policy, Restore};

fn assert_cleans_to(edition: &str, source: &str, wanted: &str) -> Compared {
    let result = compare(edition, source);
    assert_eq!(result.clean, wanted);
    result
}

const TUNE: &str = "G4q A4e B4e C5q D5q | E5e D5e C5e B4e A4h | B4q G4q C5e B4e A4e G4e | F#4q A4q D4h";

fn g_major() -> Style {
    Style { fifths: 1, ..Style::default() }
}

fn f_major() -> Style {
    Style { fifths: -1, ..Style::default() }
}

#[test]
fn a_wrong_note_is_put_right_where_it_stands() {
    let source = score(&g_major(), TUNE);
    let edition = score(&g_major(), &TUNE.replace("A4h", "G4h"));
    let result = assert_cleans_to(&edition, &source, &source);
    assert_eq!(result.found, ["pitch altered G4 / A4"]);
}

#[test]
fn a_transposing_part_is_compared_as_it_sounds() {
    // The clarinet in B flat writes a tone higher: A major for G major.
    let clarinet = Style { fifths: 3, transpose: Some((-1, -2)), name: "Clarinet".into(), ..Style::default() };
    let written = "A4q B4e C#5e D5q E5q | F#5e E5e D5e C#5e B4h | C#5q A4q D5e C#5e B4e A4e | G#4q B4q E4h";
    let right = score(&clarinet, written);
    let source = score(&g_major(), TUNE);
    let result = assert_cleans_to(&right, &source, &right);
    assert_eq!(result.interval, Interval::UNISON);
    assert!(result.found.is_empty(), "{:?}", result.found);
    let wrong = score(&clarinet, &written.replace("D5q E5q", "D5q C#5q"));
    assert_eq!(assert_cleans_to(&wrong, &source, &right).found, ["pitch altered B4 / D5"]);
}

#[test]
fn a_slur_from_a_note_held_out_of_another_voice_is_the_same() {
    let music = |from: &str, to: &str| score(&g_major(), &format!("A5w~ | A5h{from} B5h & rw | C6h D5h{to}"));
    let other_voice = |text: String| {
        let at = text.find("<measure number=\"2\"").unwrap();
        let to = at + text[at..].find("<backup>").unwrap();
        format!("{}{}{}", &text[..at], text[at..to].replace("<voice>1<", "<voice>4<"), &text[to..])
    };
    let (slurred, plain) = (other_voice(music("(slur[)", "(slur])")), other_voice(music("", "")));
    assert_eq!(compare(&slurred, &slurred).found, [""; 0]);
    assert_eq!(compare(&slurred, &plain).found, ["slur added slur / -"]);
}

#[test]
fn other_divisions_triplets_and_chords_are_the_same_music() {
    let tune = "C4+E4+G4q Bb4et A4et G4et F4q C4+E4q | D4q. E4e F4h & A3h Bb3h";
    let one = score(&Style { divisions: 12, ..f_major() }, tune);
    let other = score(&Style { divisions: 480, ..f_major() }, tune);
    assert!(assert_cleans_to(&one, &other, &one).found.is_empty());
    let wrong = score(&Style { divisions: 12, ..f_major() }, &tune.replace("C4+E4+G4q", "C4+E4+A4q"));
    assert_eq!(assert_cleans_to(&wrong, &other, &one).found, ["pitch altered A4 / G4"]);
    let low = score(&Style { divisions: 12, ..f_major() }, &tune.replace("Bb3h", "Bb2h"));
    let result = assert_cleans_to(&low, &other, &one);
    assert_eq!(result.found, ["octave altered Bb2 / Bb3"]);
    assert_eq!(result.passages, [PassageKind::OctaveDisplacement]);
}

#[test]
fn ties_are_put_in_and_taken_out() {
    let source = "G4q A4q B4q B4q | B4q A4q~ A4q G4q | C5w";
    let edition = "G4q A4q B4q B4q~ | B4q A4q A4q G4q | C5w";
    let result = compare(&score(&g_major(), edition), &score(&g_major(), source));
    assert_eq!(result.found, ["tie added B4 held / B4 struck twice", "tie omitted A4 struck twice / A4 held"]);
    let again = compare(&result.clean, &score(&g_major(), source));
    assert!(again.found.is_empty(), "{:?}", again.found);
}

#[test]
fn tied_notes_that_fill_a_bar_are_the_whole_bar() {
    let style = Style { time: (5, 4), ..g_major() };
    let source = score(&style, "G4q A4q B4q C5q D5q | E5w D5q | G4h. G4h");
    let edition = score(&style, "G4q A4q B4q C5q D5q | E5w~ E5q | G4h. G4h");
    let found = compare(&edition, &source).found;
    assert!(found.contains(&"rhythm altered E5 for the whole bar / E5 for a whole note".to_string()), "{found:?}");
    // What one note can say is told so.
    let edition = score(&Style { time: (4, 4), ..g_major() }, "G4q A4q B4q C5q | E5h~ E5h | G4w");
    let source = score(&Style { time: (4, 4), ..g_major() }, "G4q A4q B4q C5q | E5h D5h | G4w");
    let found = compare(&edition, &source).found;
    assert!(found.contains(&"rhythm altered E5 for a whole note / E5 for a half".to_string()), "{found:?}");
}

#[test]
fn rhythms_and_missing_notes_bring_the_bar_back_from_the_source() {
    let source = score(&g_major(), TUNE);
    let edition = score(&g_major(), &TUNE.replace("C5e B4e A4e G4e", "C5e. B4s A4q").replace("F#4q A4q", "F#4h"));
    let result = compare(&edition, &source);
    assert_eq!(
        result.found,
        [
            "rhythm altered C5 for a dotted eighth / C5 for an eighth",
            "rhythm altered B4 for a sixteenth / B4 for an eighth",
            "rhythm altered A4 for a quarter / A4 for an eighth",
            "note omitted - / G4",
            "rhythm altered F#4 for a half / F#4 for a quarter",
            "note omitted - / A4",
        ]
    );
    assert!(compare(&result.clean, &source).found.is_empty());
}

#[test]
fn marks_of_all_kinds_come_and_go() {
    let source = "G4q(staccato) A4e B4e C5q(trill-mark) D5q | E5e(slur[) D5e C5e(slur]) B4e A4h | %p B4q G4q C5e B4e A4e G4e | F#4q A4q D4h(fermata)";
    let edition = "%f G4q A4e(slur[) B4e(slur]) C5q(mordent) D5q(up-bow) | %< E5e(slur[) D5e(slur]) C5e %! B4e A4h | %f B4q g:A4 G4q C5e B4e A4e G4e | \"dolce\" F#4q A4q D4h";
    let (source, edition) = (score(&g_major(), source), score(&g_major(), edition));
    let result = compare(&edition, &source);
    assert_eq!(
        result.found,
        [
            "dynamics added f / -",
            "articulation omitted - / staccato",
            "slur added slur / -",
            "ornament altered mordent / trill",
            "bowing added up-bow / -",
            "hairpin added crescendo / -",
            "slur altered slur from 2:1 to 2:1.5 / slur from 2:1 to 2:2",
            "dynamics altered f / p",
            "grace added A4 / -",
            "expression added dolce / -",
            "fermata omitted - / fermata",
        ]
    );
    assert!(compare(&result.clean, &source).found.is_empty());
}

#[test]
fn bars_that_were_cut_come_back_and_numbers_run_on() {
    let bars: Vec<&str> = TUNE.split('|').collect();
    let long = [TUNE, "D5e E5e F#5e G5e A5h", TUNE, "G4w"].join("|");
    let cut = [TUNE, bars[2], bars[3], "G4w"].join("|");
    let (source, edition) = (score(&g_major(), &long), score(&Style { divisions: 8, ..g_major() }, &cut));
    let result = compare(&edition, &source);
    assert_eq!(result.passages, [PassageKind::Cut]);
    assert!(result.found.iter().all(|f| f.starts_with("note omitted")), "{:?}", result.found);
    assert!(compare(&result.clean, &source).found.is_empty());
    for number in 1..=10 {
        assert_eq!(result.clean.matches(&format!("<measure number=\"{number}\"")).count(), 1, "{number}");
    }
    let left = Policy { leave: [Restore::Passages].into(), ..Policy::default() };
    assert_eq!(compare_with(&edition, &source, &left).clean, edition);
}

#[test]
fn a_cadenza_goes_in_all_parts_and_a_part_without_source_rests_for_a_cut() {
    let bars: Vec<&str> = TUNE.split('|').collect();
    let bass = "G2h E2h | C3h A2h | G2q E2q A2h | D3q F#2q G2h";
    let drone = "G3w | G3w | G3w | G3w | G3w";
    let with_cadenza = [bars[0], bars[1], "E5s F#5s G5s A5s B5e A5e G5q D5q", bars[2], bars[3]].join("|");
    let with_rest = "G2h E2h | C3h A2h | rw | G2q E2q A2h | D3q F#2q G2h";
    let other = Style { name: "Drone".into(), ..g_major() };
    let source = scores(&[(g_major(), TUNE), (g_major(), bass)]);
    let edition = scores(&[(g_major(), &with_cadenza), (g_major(), with_rest), (other, drone)]);
    let result = compare(&edition, &source);
    assert_eq!(result.passages, [PassageKind::InsertedPassage]);
    assert_eq!(result.clean.matches("<measure ").count(), 12);
    assert!(compare(&result.clean, &source).found.is_empty());
}

#[test]
fn a_pickup_written_as_a_full_bar_is_still_a_pickup() {
    let source = score(&Style { first: 0, ..g_major() }, &format!("D4e E4e | {TUNE}"));
    let edition = score(&g_major(), &format!("rh rq D4e E4e | {TUNE}"));
    assert!(assert_cleans_to(&edition, &source, &edition).found.is_empty());
    let wrong =
        edition.replace("<step>E</step>\n          <octave>4</octave>", "<step>F</step>\n          <octave>4</octave>");
    assert_eq!(compare(&wrong, &source).found, ["pitch altered F4 / E4"]);
}

#[test]
fn an_octave_drop_goes_on_across_rests() {
    let source = "G4q A4e B4e C5q D5q | E5e D5e rq C5e B4e A4q | B4q G4q C5e B4e A4e G4e | F#4q A4q D4h";
    let low = "G4q A4e B4e C5q D4q | E4e D4e rq C4e B3e A3q | B4q G4q C5e B4e A4e G4e | F#4q A4q D4h";
    let (source, edition) = (score(&g_major(), source), score(&g_major(), low));
    let result = assert_cleans_to(&edition, &source, &source);
    assert_eq!(result.found.len(), 6);
    assert_eq!(result.passages, [PassageKind::OctaveDisplacement]);
}

#[test]
fn accidentals_follow_what_was_put_right() {
    // The editor's F natural made a sharp sign necessary that is so no more.
    let source = score(&g_major(), "G4q F#4q G4q F#4q | G4w | A4q B4q C5h | G4w");
    let edition = score(&g_major(), "G4q F4q G4q F#4q | G4w | A4q B4q C5h | G4w")
        .replacen("<type>quarter</type>\n      </note>\n      <note>\n        <pitch>\n          <step>G", "<type>quarter</type>\n        <accidental>natural</accidental>\n      </note>\n      <note>\n        <pitch>\n          <step>G", 2)
        .replacen("<accidental>natural</accidental>", "@", 2);
    // Only the F itself (the second note) and the last F carry signs.
    let parts: Vec<&str> = edition.split('@').collect();
    let edition = format!("{}{}{}", parts[0], parts[1], parts.get(2).unwrap_or(&""));
    let result = compare(&edition, &source);
    assert_eq!(result.found, ["pitch altered F4 / F#4"]);
    assert!(!result.clean.contains("<accidental>natural"), "{}", result.clean);
}

#[test]
fn a_timewise_score_is_read_and_its_marks_cleaned() {
    let timewise = |mark: &str| {
        let note = |pitch: &str, mark: &str| {
            format!(
                "<note><pitch><step>{pitch}</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice>\
                 <type>quarter</type>{mark}</note>"
            )
        };
        let bar = |n: i32, pitches: [&str; 4], mark: &str| {
            let notes: String = pitches.iter().map(|p| note(p, "")).collect();
            let attributes = if n == 1 { "<attributes><divisions>1</divisions></attributes>" } else { "" };
            let marked = note("G", mark);
            format!("<measure number=\"{n}\"><part id=\"P1\">{attributes}{notes}{marked}</part></measure>")
        };
        format!(
            "<score-timewise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Solo</part-name></score-part>\
             </part-list>{}{}</score-timewise>",
            bar(1, ["C", "D", "E", "F"], mark),
            bar(2, ["A", "G", "E", "C"], "")
        )
    };
    let marked = timewise("<notations><articulations><accent/></articulations></notations>");
    let result = assert_cleans_to(&marked, &timewise(""), &timewise(""));
    assert_eq!(result.found, ["articulation added accent / -"]);
}

#[test]
fn encodings_and_archives_come_out_as_they_came_in() {
    let source = score(&g_major(), TUNE);
    let marked = score(&g_major(), &TUNE.replace("A4h", "A4h(accent)")).replace('\n', "\r");
    let marked = marked.replace("encoding=\"UTF-8\"", "encoding=\"UTF-16\"");
    let bytes: Vec<u8> = std::iter::once(0xFEFF).chain(marked.encode_utf16()).flat_map(u16::to_be_bytes).collect();
    let input = Input::from_bytes("edition.xml", bytes).unwrap();
    let clean = compare(&input.text, &source).clean;
    assert!(!clean.contains('\n') && !clean.contains("accent"));
    let out = input.encode(&clean).unwrap();
    assert_eq!(out[..2], [0xFE, 0xFF]);
    assert_eq!(Input::from_bytes("again.xml", out).unwrap().text, clean);
}

#[test]
fn an_ornament_written_out_goes_back_to_its_sign() {
    let source = "G4q A4q B4q(trill-mark) C5q | D5q g:E5 D5q C5h | B4q A4q G4h | G4w";
    let edition = "G4q A4q C5s B4s C5s B4s C5q | D5q E5e D5e C5h | B4q A4q G4h | G4w";
    let (source, edition) = (score(&g_major(), source), score(&g_major(), edition));
    let result = compare(&edition, &source);
    assert_eq!(
        result.found,
        [
            "written-out altered trill: C5 B4 C5 B4 / B4 with trill",
            "written-out altered appoggiatura: E5 D5 / D5 with a grace note"
        ]
    );
    assert!(compare(&result.clean, &source).found.is_empty());
}

#[test]
fn other_music_is_a_passage_and_a_close_of_its_own_an_ending() {
    let bars: Vec<&str> = TUNE.split('|').collect();
    let long = [TUNE, TUNE.replace("G4", "B4").as_str(), "D5h F#4h | G4w"].join("|");
    let mut edited: Vec<&str> = long.split('|').collect();
    let own = "G5e F#5e G5s A5s B5s C6s D6q C6q";
    edited[5] = own;
    let middle = edited.join("|");
    let (source, edition) = (score(&g_major(), &long), score(&g_major(), &middle));
    let result = compare(&edition, &source);
    assert_eq!(result.passages, [PassageKind::RewrittenPassage]);
    assert!(compare(&result.clean, &source).found.is_empty());

    edited[5] = long.split('|').nth(5).unwrap();
    let last = edited.len() - 2;
    edited.truncate(last);
    edited.extend([own, "B5s A5s G5s F#5s G5s A5s B5s C6s D6h", "G4w"]);
    let edition = score(&g_major(), &edited.join("|"));
    let result = compare(&edition, &source);
    assert_eq!(result.passages, [PassageKind::InventedEnding]);
    assert!(compare(&result.clean, &source).found.is_empty());
    assert_eq!(bars.len(), 4);
}

#[test]
fn which_note_of_a_chord_carries_a_mark_says_nothing() {
    // In the second chord the C is struck, the other two are held over.
    let source = score(
        &Style::default(),
        "E4+G4h~ C4+E4+G4h~ | C4+E4+G4w(fermata) | C4h~ D4q E4q | C4+G4h(slur[) A4h(slur]) | C4w",
    );
    let edition = score(
        &Style::default(),
        "G4+E4h~ E4+C4+G4h~ | G4+C4+E4w(fermata) | C4h~ D4q E4q | G4+C4h(slur[) A4h(slur]) | C4w",
    );
    let result = assert_cleans_to(&edition, &source, &edition);
    assert!(result.found.is_empty(), "{:?}", result.found);
    assert!(compare(&source, &edition).found.is_empty());
}

#[test]
fn a_tie_long_after_an_inserted_bar_is_one_finding() {
    let tune = "G4q A4q B4q C5q & G3h D3h | D5q C5q B4q A4q | B4q D5q G4q B4q | A4q F4q D4q F4q | E4q G4q C5q E5q |";
    let source = format!("{tune} D5q B4q C5q A4q & G3h~ G3q D3q | G4w");
    let edition = tune.replacen(" |", " | D5q E5q F5q G5q & A3h B3h |", 1) + "D5q B4q C5q A4q & G3h G3q D3q | G4w";
    let result = compare(&score(&Style::default(), &edition), &score(&Style::default(), &source));
    assert_eq!(result.passages, [PassageKind::InsertedPassage]);
    assert_eq!(result.found.iter().filter(|f| f.starts_with("note added")).count(), 6);
    assert_eq!(result.found.last().unwrap(), "tie omitted G3 struck twice / G3 held");
    assert_eq!(result.found.len(), 7);
}

#[test]
fn a_mark_moved_for_the_layout_and_a_bar_filled_up_say_nothing() {
    let source = score(&Style::default(), "%p C4q D4q E4q F4q | %f G4q A4q B4q C5q | C4w");
    let moved = source.replacen("</direction-type>", "</direction-type>\n        <offset>6</offset>", 1);
    assert!(compare(&moved, &source).found.is_empty());
    let filled = source.replacen(
        "    </measure>",
        "      <forward>\n        <duration>48</duration>\n      </forward>\n    </measure>",
        3,
    );
    let result = compare(&filled, &source);
    assert!(result.found.is_empty() && result.passages.is_empty(), "{:?}", result.found);
}

#[test]
fn a_word_moved_within_its_beat_is_one_word() {
    let source = score(&g_major(), &TUNE.replace("B4q G4q", "\"cresc.\" B4q G4q"));
    let word = "<words>cresc.</words>\n        </direction-type>\n";
    let dashes = "<words>cresc.</words>\n        </direction-type>\n        <direction-type>\n          \
                  <dashes type=\"start\"/>\n        </direction-type>\n        <offset>-12</offset>\n";
    assert!(source.contains(word), "{source}");
    let stop = "      <direction>\n        <direction-type>\n          <dashes type=\"stop\"/>\n        \
                </direction-type>\n      </direction>\n    </measure>\n  </part>";
    let edition = source.replace(word, dashes).replace("    </measure>\n  </part>", stop);
    let result = compare(&edition, &source);
    assert_eq!(result.found.len(), 1, "{:?}", result.found);
    assert!(result.found[0].starts_with("dynamics altered cresc."), "{:?}", result.found);
}

#[test]
fn a_slur_to_a_grace_note_reads_otherwise_than_one_to_its_note() {
    let source = score(&g_major(), &TUNE.replace("C5q D5q", "C5q(slur[) g:E5 D5q(slur])"));
    let edition = score(&g_major(), &TUNE.replace("C5q D5q", "C5q(slur[) g:E5(slur]) D5q"));
    let result = assert_cleans_to(&edition, &source, &source);
    assert_eq!(result.found, ["slur altered slur from 1:3 to the grace note of 1:4 / slur from 1:3 to 1:4"]);
}

#[test]
fn an_instrument_that_goes_with_a_voice_lacks_no_words() {
    let sung = |style: &Style, music: &str| {
        let verse = "<lyric number=\"1\"><syllabic>single</syllabic><text>la</text></lyric>\n      </note>";
        score(style, music).replace("</note>", verse)
    };
    let named = |name: &str| Style { name: name.into(), ..g_major() };
    let source = sung(&named("Soprano"), TUNE);
    let edition = scores(&[(named("Oboe"), TUNE), (named("Soprano"), TUNE)]);
    let result = compare(&edition, &source);
    assert!(result.found.is_empty(), "{:?}", result.found);
    assert_eq!(result.clean.matches("<lyric").count(), source.matches("<lyric").count());
}
