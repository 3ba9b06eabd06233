//! `clean --alone`: one line of the edition comes out as a part of its own, and
//! is what it was.

#[path = "common/music.rs"]
mod music;
#[path = "common/program.rs"]
mod program;
#[path = "common/python.rs"]
mod python;

use music::{Style, score, scores};
use program::{Failed, json_of, obelus, obelus_fails};
use serde_json::Value;

struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new(edition: &str, source: &str) -> Desk {
        let desk = Desk { folder: tempfile::tempdir().unwrap() };
        std::fs::write(desk.at("edition.musicxml"), edition).unwrap();
        std::fs::write(desk.at("source.musicxml"), source).unwrap();
        desk
    }

    fn at(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_string()
    }

    fn args(&self, options: &str) -> Vec<String> {
        let own = ["clean".into(), self.at("edition.musicxml"), self.at("source.musicxml")];
        let to = ["-o".into(), self.at("copy.musicxml")];
        own.into_iter().chain(to).chain(options.split_whitespace().map(|o| o.replace('_', " "))).collect()
    }

    /// What the program says, and the copy, which is checked against the schema and the source.
    fn alone(&self, options: &str) -> (String, String) {
        let (said, text) = self.copy(options);
        let report = json_of(&["audit", &self.at("copy.musicxml"), &self.at("source.musicxml"), "--format", "json"]);
        let parts = report["parts"].as_array().unwrap();
        let found: Vec<&Value> = parts.iter().flat_map(|p| p["findings"].as_array().unwrap()).collect();
        assert_eq!((parts.len(), found.len()), (1, 0), "{found:#?}\n{text}");
        (said, text)
    }

    fn copy(&self, options: &str) -> (String, String) {
        let args = self.args(&format!("--alone {options}"));
        let said = obelus(&args.iter().map(String::as_str).collect::<Vec<_>>());
        python::run("validate.py", &[self.at("copy.musicxml").as_ref()]);
        let text = std::fs::read_to_string(self.at("copy.musicxml")).unwrap();
        for gone in ["<staves>", "<staff>", "clef number"] {
            assert!(!text.contains(gone), "{gone} stands in {text}");
        }
        assert_eq!(one(&text, "<score-part "), 1, "{text}");
        (said.split_whitespace().collect::<Vec<_>>().join(" "), text)
    }

    fn fails(&self, options: &str) -> Failed {
        let args = self.args(options);
        obelus_fails(&args.iter().map(String::as_str).collect::<Vec<_>>())
    }
}

/// A bass clef for the second staff.
fn with_bass(text: &str) -> String {
    let treble = "<clef>\n          <sign>G</sign>\n          <line>2</line>\n        </clef>\n";
    let bass = "        <clef number=\"2\">\n          <sign>F</sign>\n          <line>4</line>\n        </clef>\n";
    text.replacen(treble, &format!("{}{bass}", treble.replace("<clef>", "<clef number=\"1\">")), 1)
}

fn one(text: &str, what: &str) -> usize {
    text.matches(what).count()
}

/// The notes of a copy: what is written of each, without its layout.
fn notes(text: &str) -> Vec<String> {
    let all = text.split("<note").skip(1).map(|n| n.split("</note>").next().unwrap());
    let of =
        |n: &str, name: &str| n.split(&format!("<{name}>")).nth(1).and_then(|t| t.split('<').next()).map(String::from);
    all.map(|n| {
        let pitch = of(n, "step").map(|step| step + &of(n, "octave").unwrap()).unwrap_or("r".into());
        let chord = if n.contains("<chord") { "+" } else { "" };
        format!("{chord}{pitch}:{}", of(n, "duration").unwrap_or("0".into()))
    })
    .collect()
}

const TUNE: &str = "[: G5q A5q B5q C6q | D6h B5h | rw :] | @3/4 G5h. | E5h.";

/// The tune on the upper staff with the editor's marks, a bass on the lower one.
fn piano() -> String {
    let upper = ["[: \"Andante\" G5q(slur[) A5q(slur],staccato) B5q C6q", "D6h B5h", "rw :]", "@3/4 G5h.", "E5h."];
    let lower = ["2:C3h 2:E3h", "2:G3w", "2:C3q 2:D3q 2:E3q 2:F3q", "2:G3h.", "2:C3h."];
    let bars: Vec<String> = upper.iter().zip(lower).map(|(u, l)| format!("{u} & {l}")).collect();
    let text = score(&Style { name: "Piano".into(), ..Style::default() }, &bars.join(" | "));
    with_bass(&text)
}

#[test]
fn the_tune_comes_out_of_a_piano_edition() {
    let desk = Desk::new(&piano(), &score(&Style::default(), TUNE));
    let (said, text) = desk.alone("--staff 1");
    assert!(said.contains("Of the edition it holds only Piano, staff 1, as a part of its own."), "{said}");
    assert_eq!(one(&text, "<backup>") + one(&text, "<forward>"), 0, "{text}");
    assert_eq!((one(&text, "<clef>"), one(&text, "<sign>F</sign>")), (1, 0));
    assert_eq!(one(&text, "<part-name>Piano</part-name>"), 1);
    assert!(text.contains("settings: additions strip, Piano, staff 1 alone"), "{text}");
}

#[test]
fn what_stands_once_for_all_goes_with_the_lower_staff() {
    let bass = "[: \"Andante\" C3h E3h | G3w | C3q D3q E3q F3q :] | @3/4 G3h. | C3h.";
    let desk = Desk::new(&piano(), &score(&Style::default(), bass));
    let (_, text) = desk.alone("--staff 2");
    assert_eq!((one(&text, "<clef>"), one(&text, "<sign>G</sign>")), (1, 0));
    assert_eq!((one(&text, "<repeat"), one(&text, "<time>"), one(&text, "Andante")), (2, 2, 1), "{text}");
    let (name, at) = ("<words>Andante", text.find("<note>").unwrap());
    assert!(text.find(name).unwrap() < at, "the tempo stands before the first note: {text}");
}

#[test]
fn an_instrument_gets_the_tune() {
    let desk = Desk::new(&piano(), &score(&Style::default(), TUNE));
    let (said, text) = desk.copy("--staff 1 --for alto_recorder");
    assert!(said.contains("Of the edition it holds only Piano, staff 1"), "{said}");
    assert_eq!(one(&text, "<part-name>Alto recorder</part-name>"), 1, "{text}");
}

#[test]
fn a_voice_is_silent_where_it_was() {
    let text = score(&Style::default(), "C5q F#5q G5q A5q & rh F#4h | C5w | B4q C5q D5h & G4h rh");
    // The rest before the second voice is not printed.
    let at = text[..text.find("<voice>2</voice>").unwrap()].rfind("<note>").unwrap();
    let text = format!("{}<note print-object=\"no\">{}", &text[..at], &text[at + "<note>".len()..]);
    let desk = Desk::new(&text, &score(&Style::default(), "rh F#4h | rw | G4h rh"));
    let (_, text) = desk.alone("--voice 2");
    assert_eq!(notes(&text), ["F4:96", "r:192", "G4:96", "r:96"]);
    assert_eq!(one(&text, "<forward>"), 1, "{text}");
    assert_eq!(one(&text, "<rest measure=\"yes\"/>"), 1);
}

#[test]
fn signs_that_two_voices_shared() {
    let shown = |t: String| {
        t.replacen("<voice>1</voice>\n        <type>half</type>", "<voice>1</voice>\n        <type>half</type>\n        <accidental>sharp</accidental>\n        <stem>up</stem>", 1)
    };
    let edition = shown(score(&Style::default(), "F#5h G5h & rh F#5h"));
    let desk = Desk::new(&edition, &score(&Style::default(), "rh F#5h"));
    let (_, text) = desk.alone("--voice 2");
    assert_eq!(one(&text, "<accidental>sharp</accidental>"), 1, "the sharp that the other voice printed: {text}");
    let desk = Desk::new(&edition, &score(&Style::default(), "F#5h G5h"));
    let (_, text) = desk.alone("--voice 1");
    assert_eq!((one(&text, "<stem>"), one(&text, "<accidental>")), (0, 1), "{text}");
}

#[test]
fn a_chord_of_two_staves_is_divided() {
    let two = score(&Style { name: "Piano".into(), ..Style::default() }, "2:C4+E4+G4h 2:C4+E4+G4h | 2:C4w");
    // The upper notes of the first chord are on the upper staff.
    let mut parts = two.split("<staff>2</staff>");
    let first = parts.next().unwrap().to_string();
    let staves = ["2", "1", "1", "2", "1", "1", "2"];
    let edition =
        staves.iter().zip(parts).fold(first, |text, (staff, rest)| format!("{text}<staff>{staff}</staff>{rest}"));
    let desk = Desk::new(&with_bass(&edition), &score(&Style::default(), "E4+G4h E4+G4h | rw"));
    let (_, text) = desk.alone("--staff 1");
    assert_eq!(notes(&text), ["E4:96", "+G4:96", "E4:96", "+G4:96", "r:192"]);
    let desk = Desk::new(&with_bass(&edition), &score(&Style::default(), "C4h C4h | C4w"));
    let (_, text) = desk.alone("--staff 2");
    assert_eq!(notes(&text), ["C4:96", "C4:96", "C4:192"]);
}

#[test]
fn what_reaches_into_another_line_is_told() {
    let edition = with_bass(&score(&Style::default(), "C5h 2:A4h(slur[) | D5h(slur]) E5h | 2:G3h~ 2:G3h"));
    let desk = Desk::new(&edition, &score(&Style::default(), "rh A4h | rw | G3h~ G3h"));
    let (said, text) = desk.copy("--staff 2");
    assert!(said.contains("the slur of bar 1 is partly in another line; it was left out"), "{said}");
    assert_eq!((one(&text, "<slur"), one(&text, "<tie ")), (0, 2), "{text}");
    // The other staff has its end.
    let desk = Desk::new(&edition, &score(&Style::default(), "C5h rh | D5h E5h | rw"));
    let (said, text) = desk.copy("--staff 1");
    assert!(said.contains("the slur of bar 1 is partly in another line; it was left out"), "{said}");
    assert_eq!((one(&text, "<slur"), one(&text, "<tie ")), (0, 0), "{text}");
}

#[test]
fn one_of_several_parts_and_of_a_timewise_score() {
    let named = |name: &str| Style { name: name.into(), ..Style::default() };
    let all = scores(&[(named("Flute"), "C5w | D5w"), (named("Piano"), "2:E4h 2:F4h & G3w | 2:G4w & C3w")]);
    let all = with_bass(&all);
    let source = score(&Style::default(), "E4h F4h | G4w");
    let desk = Desk::new(&all, &source);
    let args = "--part Piano --staff 2";
    let args = desk.args(&format!("--alone {args}"));
    obelus(&args.iter().map(String::as_str).collect::<Vec<_>>());
    let text = std::fs::read_to_string(desk.at("copy.musicxml")).unwrap();
    assert_eq!((one(&text, "<score-part "), one(&text, "<part "), one(&text, "Flute")), (1, 1, 0));
    // The same bar by bar.
    let music = |id: &str| {
        let own = all.split(&format!("<part id=\"{id}\">")).nth(1).unwrap().split("</part>").next().unwrap();
        own.split("</measure>").map(|m| m.split_once('>').map_or("", |m| m.1).to_string()).take(2).collect::<Vec<_>>()
    };
    let head = all.split("  <part id").next().unwrap().replace("score-partwise", "score-timewise");
    let bars: String = music("P1")
        .iter()
        .zip(music("P2"))
        .enumerate()
        .map(|(at, (flute, piano))| {
            format!(
                "<measure number=\"{}\"><part id=\"P1\">{flute}</part><part id=\"P2\">{piano}</part></measure>\n",
                at + 1
            )
        })
        .collect();
    let desk = Desk::new(&format!("{head}{bars}</score-timewise>\n"), &source);
    let (_, text) = desk.alone("--part Piano --staff 2");
    assert_eq!(notes(&text), ["E4:96", "F4:96", "G4:192"]);
}

#[test]
fn a_line_must_be_named() {
    let desk = Desk::new(&piano(), &score(&Style::default(), TUNE));
    let failed = desk.fails("--alone");
    assert_eq!(failed.status, 2);
    assert!(failed.stderr.contains("name it with --part, --staff or --voice"), "{}", failed.stderr);
    let failed = desk.fails("--alone --staff 3");
    assert_eq!(failed.status, 2, "{}", failed.stderr);
}
