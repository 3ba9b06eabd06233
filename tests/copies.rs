//! A clean copy is one score: bars that go or come back do so in all parts, and
//! what held across them still makes sense.

#[path = "common/coherence.rs"]
mod coherence;
#[path = "common/compare.rs"]
mod compare;
#[path = "common/music.rs"]
mod music;

use coherence::faults;
use compare::{compare, reading};
use music::{Style, scores};

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
    let marks = part.marks.iter().filter(|m| m.kind != "key" && m.kind != "time").map(|m| {
        let end = m.end.map_or("nowhere".to_string(), |e| (e.bar + 1).to_string());
        format!("{} {} to {end}", m.kind, m.at.bar + 1)
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
