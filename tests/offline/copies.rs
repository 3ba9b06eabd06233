//! A clean copy is one score: bars that go or come back do so in all parts, and
//! what held across them still makes sense.

use crate::coherence::faults;
use crate::common::compare::{compare, compare_with, reading};
use crate::common::music::{Style, scores};
use obelus::{Policy, Restore};

const TUNE: [&str; 6] = [
    "G4q A4e B4e C5q D5q",
    "E5e D5e C5e B4e A4h",
    "B4q G4q C5e B4e A4e G4e",
    "F#4q A4q D4h",
    "D5q C5e B4e A4q G4q",
    "A4e B4e C5e A4e G4h",
];

fn flute() -> Style {
    Style { fifths: 1, name: "Flute".into(), ..Style::default() }
}

fn oboe() -> Style {
    Style { fifths: 1, name: "Oboe".into(), ..Style::default() }
}

/// The copy, if it is one score in which nothing is left to find.
fn cleaned(edition: &str, source: &str) -> String {
    let clean = compare(edition, source).clean;
    assert_eq!(faults(edition, &clean), Vec::<String>::new(), "{clean}");
    let again = compare(&clean, source);
    assert!(again.found.is_empty(), "{:?}\n{clean}", again.found);
    clean
}

/// The notes of a part, ties and marks with them: `2:0 G4 4` and `slur 2:0-3:0`.
fn told(text: &str, part: usize) -> Vec<String> {
    let score = reading(text).score;
    let part = &score.parts[part];
    let notes = part.struck().map(|n| {
        let own = &part.notes[n];
        let length = obelus::time::text(part.sounding(n));
        format!("{}:{} {} {length}", own.bar + 1, obelus::time::text(own.offset), own.pitch().unwrap())
    });
    let marks = part.marks.iter().filter(|m| !matches!(m.sign.name(), "key" | "time")).map(|m| {
        let end = m.end.map_or("nowhere".to_string(), |e| (e.bar + 1).to_string());
        format!("{} {} to {end}", m.sign.name(), m.at.bar + 1)
    });
    notes.chain(marks).collect()
}

#[test]
fn a_tie_ends_where_a_bar_comes_back_in_the_other_part() {
    let whole = TUNE.join("|");
    let cut = [TUNE[0], TUNE[1], TUNE[3], TUNE[4], TUNE[5]].join("|");
    let source = scores(&[(flute(), &whole)]);
    let edition = scores(&[(flute(), &cut), (oboe(), "G4w | A4h A4h~ | A4q F#4q A4h | G4w | A4h G4h")]);
    let clean = cleaned(&edition, &source);
    let wanted =
        ["1:0 G4 4", "2:0 A4 2", "2:2 A4 2", "4:0 A4 1", "4:1 F#4 1", "4:2 A4 2", "5:0 G4 4", "6:0 A4 2", "6:2 G4 2"];
    assert_eq!(told(&clean, 1), wanted);
    assert_eq!(clean.matches("<tie ").count() + clean.matches("<tied ").count(), 0);
}

#[test]
fn where_a_bar_goes_a_tie_through_it_goes_on_and_one_into_it_ends() {
    let whole = TUNE.join("|");
    let more = [TUNE[0], TUNE[1], "E5s F#5s G5s A5s B5e A5e G5q D5q", TUNE[2], TUNE[3], TUNE[4], TUNE[5]].join("|");
    let source = scores(&[(flute(), &whole)]);
    let of = |oboe_part: &str| scores(&[(flute(), &more), (oboe(), oboe_part)]);
    // Into the bar, through it and out again in one pitch.
    let through = of("G4w | A4w~ | A4w~ | A4q F#4q A4h | G4w | A4h G4h | G4w");
    let clean = cleaned(&through, &source);
    assert_eq!(told(&clean, 1)[1..3], ["2:0 A4 5", "3:1 F#4 1"]);
    // It ends in the bar that goes.
    let into = of("G4w | A4w~ | A4h B4h | A4q F#4q A4h | G4w | A4h G4h | G4w");
    let clean = cleaned(&into, &source);
    assert_eq!(told(&clean, 1)[1..3], ["2:0 A4 4", "3:0 A4 1"]);
    // It begins there.
    let out_of = of("G4w | A4w | B4h A4h~ | A4q F#4q A4h | G4w | A4h G4h | G4w");
    let clean = cleaned(&out_of, &source);
    assert_eq!(told(&clean, 1)[1..3], ["2:0 A4 4", "3:0 A4 1"]);
    assert_eq!(clean.matches("<tie ").count(), 0);
}

#[test]
fn slurs_and_hairpins_of_a_part_without_counterpart_go_with_the_bar_they_end_in() {
    let whole = TUNE.join("|");
    let more = [TUNE[0], TUNE[1], "E5s F#5s G5s A5s B5e A5e G5q D5q", TUNE[2], TUNE[3], TUNE[4], TUNE[5]].join("|");
    let source = scores(&[(flute(), &whole)]);
    let of = |oboe_part: &str| scores(&[(flute(), &more), (oboe(), oboe_part)]);
    let into = of("G4w | %< A4w(slur[) | A4h(slur]) %! B4h | A4q F#4q A4h | G4w(slur[) | A4h(slur]) G4h | G4w");
    let clean = cleaned(&into, &source);
    assert_eq!(told(&clean, 1)[9..], ["slur 4 to 5"]);
    let over = of("G4w | A4w(slur[) | A4h B4h | A4q(slur]) F#4q A4h | %< G4w | A4h G4h %! | G4w");
    let clean = cleaned(&over, &source);
    assert_eq!(told(&clean, 1)[9..], ["slur 2 to 3", "crescendo 4 to 5"]);
    let out_of = of("G4w | A4w | %> A4h B4h(slur[) | A4q(slur]) %! F#4q A4h | G4w | A4h G4h | G4w");
    let clean = cleaned(&out_of, &source);
    assert_eq!(told(&clean, 1)[9..], Vec::<String>::new());
    // Over a bar of rest goes no slur.
    let cut = [TUNE[0], TUNE[1], TUNE[3], TUNE[4], TUNE[5]].join("|");
    let rest = scores(&[(flute(), &cut), (oboe(), "G4w | A4w(slur[) | A4q(slur]) F#4q A4h | G4w | A4h G4h")]);
    let clean = cleaned(&rest, &source);
    assert_eq!(told(&clean, 1).last().unwrap(), "6:2 G4 2");
}

#[test]
fn a_bar_comes_back_before_the_first_with_all_that_holds() {
    let whole = TUNE.join("|");
    let source = scores(&[(flute(), &whole)]);
    let edition = scores(&[(flute(), &TUNE[1..].join("|")), (oboe(), "A4w | G4h F#4h | G4w | A4h G4h | D4w")]);
    let clean = cleaned(&edition, &source);
    let first = clean.split("</measure>").next().unwrap();
    for name in ["divisions", "key", "time", "clef"] {
        assert_eq!(clean.matches(&format!("<{name}>")).count(), 2, "{name}: {clean}");
        assert!(first.contains(&format!("<{name}>")), "{name}: {first}");
    }
}

/// The same music with another way to write common time.
fn common(text: &str) -> String {
    text.replace("<time>", "<time symbol=\"common\">")
}

#[test]
fn a_signature_that_holds_is_not_said_again() {
    let bars = |at: usize, bar: &str| {
        let mut bars = TUNE.to_vec();
        bars[at] = bar;
        bars.join("|")
    };
    // C against 4/4, and a bar that comes back, one that goes, one written again.
    let source = scores(&[(flute(), &TUNE.join("|"))]);
    for music in [
        [TUNE[0], TUNE[1], TUNE[3], TUNE[4], TUNE[5]].join("|"),
        [TUNE[0], TUNE[1], "E5s F#5s G5s A5s B5e A5e G5q D5q", TUNE[2], TUNE[3], TUNE[4], TUNE[5]].join("|"),
        bars(2, "B4h C5e B4e A4e G4e"),
        [TUNE[1], TUNE[2], TUNE[3], TUNE[4], TUNE[5]].join("|"),
    ] {
        let edition = common(&scores(&[(flute(), &music), (oboe(), &TUNE.join("|"))]));
        let edition = scores_of_equal_length(&edition);
        let clean = cleaned(&edition, &source);
        assert_eq!(clean.matches("<time").count(), 2, "{clean}");
    }
    // Another time in a bar that is written again.
    let other = bars(2, "@3/4 B4h C5e B4e A4e G4e");
    let edition = scores(&[(flute(), &other.replace(TUNE[3], &format!("@4/4 {}", TUNE[3])))]);
    assert_eq!(cleaned(&edition, &source).matches("<time>").count(), 1);
    let clef = "</time>\n      </attributes>\n      <attributes>\n        <clef>\n          <sign>C</sign>\n          \
                <line>1</line>\n        </clef>\n      </attributes>";
    let at = edition.match_indices("</time>").nth(1).unwrap().0;
    let apart = format!("{}{}", &edition[..at], edition[at..].replacen("</time>\n      </attributes>", clef, 1));
    assert_eq!(cleaned(&apart, &source).matches("<time>").count(), 1);
}

#[test]
fn a_bar_in_front_of_the_piece_goes_and_its_signatures_stay() {
    let source = scores(&[(flute(), &TUNE.join("|"))]);
    let edition = scores(&[(flute(), &format!("D4w | {}", TUNE.join("|")))]);
    let clean = cleaned(&edition, &source);
    assert_eq!(told(&clean, 0), told(&source, 0));
    assert_eq!((clean.matches("<measure").count(), clean.matches("<fifths>1<").count()), (6, 1));
}

/// Cuts or fills up the second part to the bars of the first.
fn scores_of_equal_length(text: &str) -> String {
    let parts: Vec<&str> = text.split("  <part id=").collect();
    let bars = |part: &str| part.matches("<measure ").count();
    let wanted = bars(parts[1]);
    let mut second = parts[2].to_string();
    while bars(&second) > wanted {
        let from = second.rfind("    <measure ").unwrap();
        let to = second.rfind("  </part>").unwrap();
        second.replace_range(from..to, "");
    }
    while bars(&second) < wanted {
        let from = second.rfind("    <measure ").unwrap();
        let to = second.rfind("  </part>").unwrap();
        let last = second[from..to].replace("<measure number=\"", "<measure number=\"1");
        second.insert_str(to, &last);
    }
    format!("{}  <part id={}  <part id={second}", parts[0], parts[1])
}

#[test]
fn a_slur_comes_with_its_grace_note() {
    let music = "G4q A4e B4e C5q D5q | E5e D5e C5e B4e g:B4(slur[) A4h(slur]) | B4q G4q C5e B4e A4e G4e";
    let source = scores(&[(flute(), music)]);
    let edition = source.replace("<grace/>", "<grace slash=\"yes\"/>");
    assert_eq!(compare(&edition, &source).clean, source);
    assert_eq!(compare(&source, &edition).clean, edition);
    // Another grace note, in a voice by another name.
    let other = scores(&[(flute(), &music.replace("g:B4", "g:G4"))]).replace("<voice>1<", "<voice>3<");
    assert_eq!(cleaned(&other, &source), source.replace("<voice>1<", "<voice>3<"));
}

#[test]
fn a_grace_note_comes_with_its_accidental() {
    let source = scores(&[(flute(), "D5q g:G#4 A4q B4q G4q | D5q C5q B4q A4q")]);
    let edition = scores(&[(flute(), "D5q A4q B4q G4q | D5q C5q B4q A4q")]);
    let clean = cleaned(&edition, &source);
    let (grace, rest) = clean.split_once("<grace").unwrap().1.split_once("</note>").unwrap();
    assert!(grace.contains("<accidental>sharp</accidental>"), "{clean}");
    assert_eq!(rest.matches("<accidental>natural</accidental>").count(), 1, "{clean}");
}

#[test]
fn a_direction_stands_where_the_divisions_could_not_say() {
    let music = TUNE.join("|").replace("C5e. B4s", "C5e B4e");
    let fine = scores(&[(Style { divisions: 48, ..flute() }, &music.replacen("G4q", "\"dolce\" G4q", 1))]);
    let fine = fine.replacen("      </direction>", "        <offset>5</offset>\n      </direction>", 1);
    let plain = scores(&[(Style { divisions: 2, ..flute() }, &music)]);
    let clean = cleaned(&plain, &fine);
    assert_eq!(told(&clean, 0).last().unwrap(), "words 1 to nowhere");
    // In the middle of a bar, beside other marks.
    let later = scores(&[(Style { divisions: 48, ..flute() }, &music.replacen("C5q D5q", "\"dolce\" C5q %p D5q", 1))]);
    let later = later.replacen("      </direction>", "        <offset>5</offset>\n      </direction>", 1);
    cleaned(&plain, &later);
}

fn figures(text: &str, at: &str, figures: &[(&str, i64)]) -> String {
    let told = figures.iter().map(|(number, ticks)| {
        format!(
            "      <figured-bass>\n        <figure>\n          <figure-number>{number}</figure-number>\n        \
             </figure>\n        <duration>{ticks}</duration>\n      </figured-bass>\n"
        )
    });
    text.replacen(&format!("      <direction>\n        <direction-type>\n          <words>{at}</words>\n        </direction-type>\n      </direction>\n"), &told.collect::<String>(), 1)
}

#[test]
fn figures_over_one_note_come_back_in_their_order() {
    let bass = "G3h C3h | \"x\" D3w | G3h E3h | C3q D3q G3h";
    let source = |style: Style| scores(&[(style, bass)]);
    let style = || Style { divisions: 2, ..flute() };
    let of = |told: &[(&str, i64)]| figures(&source(style()), "x", told);
    let whole = of(&[("4", 4), ("3", 4)]);
    for lacking in [of(&[]), of(&[("4", 8)]), of(&[("6", 4), ("5", 2), ("3", 2)]), of(&[("6", 2), ("4", 2), ("3", 4)])]
    {
        let clean = cleaned(&lacking, &whole);
        assert_eq!(told(&clean, 0)[8..].len(), 2, "{clean}");
    }
    assert_eq!(told(&cleaned(&whole, &of(&[])), 0).len(), 8);
    let (three, one) = (of(&[("6", 3), ("5", 3), ("3", 2)]), of(&[("5", 8)]));
    cleaned(&one, &three);
    cleaned(&three, &one);
    // In a bar that is written again.
    let other = figures(&scores(&[(style(), &bass.replace("D3w", "D3h D3h"))]), "x", &[("4", 4)]);
    cleaned(&other, &whole);
}

#[test]
fn two_voices_of_the_source_are_two_in_the_copy() {
    let source = scores(&[(flute(), "G4q A4q B4q C5q & E4h G4h | D5h G4h | A4q F#4q G4h & E4h D4h | G4w")]);
    let edition = scores(&[(flute(), "E4+G4q A4q G4+B4q C5q | D5h G4h | E4+A4q F#4q D4+G4h | G4w")]);
    let clean = cleaned(&edition, &source);
    assert_eq!(clean.matches("<voice>2</voice>").count(), 4, "{clean}");
    // A name that the other staff has is not free.
    let two = |music: &str| scores(&[(flute(), music)]);
    let source = two("G4q A4q B4q C5q & E4h G4h & 2:C3w | D5h G4h & 2:C3w & 2:rw | G4w & 2:G2w & 2:rw")
        .replace("<voice>2</voice>\n        <type>half</type>\n", "<voice>5</voice>\n        <type>half</type>\n");
    let edition = two("E4+G4q A4q G4+B4q C5q & 2:C3w | D5h G4h & 2:C3w | G4w & 2:G2w");
    let clean = cleaned(&edition, &source);
    assert!(!clean.contains("<voice>2</voice>\n        <type>half</type>"), "{clean}");
}

#[test]
fn a_part_without_counterpart_rests_on_all_its_staves_as_long_as_the_others() {
    let whole = "G4q A4e B4e C5q D5q | E5e D5e C5e B4e A4h | @3/4 B4q G4q C5q | A4q F#4q D4q | @4/4 D5q C5e B4e A4q G4q | A4e B4e C5e A4e G4h";
    let source = scores(&[(flute(), whole)]);
    let cut = whole.replace("@3/4 B4q G4q C5q |", "@3/4");
    let own = "G4w & 2:G2w | A4w & 2:A2w | @3/4 B4q D5h & 2:D3q 2:D3h | @4/4 G4w & 2:G2w | A4h G4h & 2:G2w";
    let edition = scores(&[(flute(), &cut), (oboe(), own)]);
    let clean = cleaned(&edition, &source);
    assert_eq!(clean.matches("<rest measure=\"yes\"/>").count(), 2);
    assert_eq!(clean.matches("<time>").count(), 6);
}

#[test]
fn clefs_and_double_bars_inside_a_bar_written_again_stay_in_their_place() {
    let source = scores(&[(flute(), &TUNE.join("|"))]);
    let edition = scores(&[(flute(), &TUNE.join("|").replace("B4q G4q C5e B4e A4e G4e", "B4q G4q C5q \"x\" A4e G4e"))]);
    let direction = "      <direction>\n        <direction-type>\n          <words>x</words>\n        </direction-type>\n      </direction>\n";
    let clef = "      <attributes>\n        <clef>\n          <sign>C</sign>\n          <line>3</line>\n        </clef>\n      </attributes>\n";
    let bar = "      <barline location=\"middle\">\n        <bar-style>light-light</bar-style>\n      </barline>\n";
    let edited = edition.replace(direction, clef);
    let clean = cleaned(&edited, &source);
    let after: Vec<&str> = clean.split("<line>3</line>").nth(1).unwrap().split("</measure>").collect();
    assert_eq!(after[0].matches("<note>").count(), 2, "{clean}");
    let doubled = source.replacen(
        "          <step>C</step>\n          <octave>5</octave>\n        </pitch>\n        <duration>24",
        "@",
        3,
    );
    assert!(doubled.contains('@'));
    // A double bar of the source's in a bar that stays and in one that does not.
    let with_bar = |text: &str| {
        let third = text.match_indices("<measure ").nth(2).unwrap().0;
        let note = third + text[third..].match_indices("      <note>").nth(2).unwrap().0;
        format!("{}{bar}{}", &text[..note], &text[note..])
    };
    cleaned(&source, &with_bar(&source));
    cleaned(&with_bar(&source), &source);
    cleaned(&edited, &with_bar(&source));
}

#[test]
fn a_part_without_counterpart_follows_time_and_repeats() {
    let source = scores(&[(flute(), &TUNE.join("|"))]);
    let music = TUNE.join("|");
    let edition =
        [TUNE[0], &format!("[: {}", TUNE[1]), TUNE[2], &format!("{} :]", TUNE[3]), TUNE[4], TUNE[5]].join("|");
    let own = |signs: [&str; 2]| format!("G4w | {} A4w | G4w | F#4w {} | G4w | D4w", signs[0], signs[1]);
    let repeated = scores(&[(flute(), &edition), (oboe(), &own(["[:", ":]"]))]);
    assert!(!cleaned(&repeated, &source).contains("<repeat"));
    let plain = scores(&[(flute(), &music), (oboe(), &own(["", ""]))]);
    let source = scores(&[(flute(), &edition)]);
    assert_eq!(cleaned(&plain, &source).matches("<repeat").count(), 4);
    assert_eq!(cleaned(&repeated, &source), repeated);
    // Another time, said over all bars.
    let halves =
        scores(&[(Style { time: (2, 2), ..flute() }, &music), (Style { time: (2, 2), ..oboe() }, &own(["", ""]))]);
    let plain = scores(&[(flute(), &music)]);
    let clean = cleaned(&halves, &plain);
    assert_eq!(clean.matches("<beats>4</beats>").count(), 2);
    assert!(!clean.contains("<beats>2</beats>"));
}

#[test]
fn a_bar_that_becomes_longer_does_so_in_all_parts() {
    let whole = [TUNE[0], TUNE[1], TUNE[2], "F#4q A4q D4h", TUNE[4], TUNE[5]].join("|");
    let bass = "G3w | A3w | G3h E3h | rw | D3w | G3w";
    let source = scores(&[(flute(), &whole), (Style { name: "Bass".into(), ..flute() }, bass)]);
    let short = [TUNE[0], TUNE[1], TUNE[2], "F#4q A4q D4q", TUNE[4], TUNE[5]].join("|");
    let edition = scores(&[
        (flute(), &short),
        (Style { name: "Bass".into(), ..flute() }, &bass.replace("rw", "rh.")),
        (oboe(), "B4w | A4w | B4w | G4q A4h & E4h D4q | G4w | D4w"),
    ]);
    let clean = cleaned(&edition, &source);
    assert_eq!(told(&clean, 2), told(&edition, 2));
}

#[test]
fn a_slur_into_a_bar_that_stays_out_stays_out() {
    let music = "G4q A4e B4e C5q D5q | E5e D5e C5e B4e A4h(slur[) | B4q(slur]) G4q C5e B4e A4e G4e | F#4q A4q D4h";
    let source = scores(&[(flute(), music)]);
    let cut = "G4q A4e B4e C5q D5q | E5e D5e C5e B4e A4h | F#4q A4q D4h";
    let left = Policy { leave: [Restore::Passages].into(), ..Policy::default() };
    let edition = scores(&[(flute(), cut)]);
    assert_eq!(compare_with(&edition, &source, &left).clean, edition);
    let lone = scores(&[(flute(), &cut.replace("A4h", "A4h(slur[)"))]);
    assert_eq!(compare_with(&lone, &source, &left).clean, lone);
}
