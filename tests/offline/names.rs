//! Bars are named in decisions, in mark sheets and by `--bars`, whatever their numbers hold.

use obelus::{
    AuditWishes, Bars, Category, Comparison, Decisions, Input, Lines, OwnMarks, Policy, ReadScore, Sheet, Texts, Wishes,
};
use proptest::collection::vec;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// As an attribute or a text of XML has it.
fn escaped(text: &str) -> String {
    let one = |c: char| if c.is_alphanumeric() { c.to_string() } else { format!("&#{};", u32::from(c)) };
    text.chars().map(one).collect()
}

fn score(numbers: &[String], words: Option<&[String]>) -> Input {
    let note = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration></note>";
    let bar = |(place, number): (usize, &String)| {
        let words = words.map_or(String::new(), |words| {
            let words = escaped(&words[place]);
            format!("<direction><direction-type><words>x{words}</words></direction-type></direction>")
        });
        format!("<measure number=\"{}\">{words}{}</measure>", escaped(number), note.repeat(place + 1))
    };
    let bars: String = numbers.iter().enumerate().map(bar).collect();
    let text = format!(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>Oboe</part-name></score-part></part-list>\
         <part id=\"P1\">{bars}</part></score-partwise>"
    );
    Input::from_bytes("a.xml", text.into_bytes()).expect("a score")
}

/// Signs that a score can hold; those that mean something in our files come often.
fn text() -> impl Strategy<Value = String> {
    let often = prop::sample::select(" \t\n\r\"'\\#=[]:-–.,1ab\u{9b}\u{2028}\u{202e}".chars().collect::<Vec<_>>());
    let is_xml = |c: &char| matches!(c, '\t' | '\n' | '\r' | ' '..='\u{fffd}' | '\u{10000}'..);
    vec(prop_oneof![3 => often, 1 => any::<char>().prop_filter("none of XML", is_xml)], 0..8)
        .prop_map(|signs| signs.into_iter().collect())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 128, ..ProptestConfig::default() })]

    #[test]
    fn decisions_are_read_as_they_were_written(numbers in vec(text(), 4), words in vec(text(), 4)) {
        let inputs = [score(&numbers, Some(&words)), score(&numbers, None)];
        let [edition, source] = inputs.each_ref().map(|input| ReadScore::of(input).expect("a score"));
        let comparison = Comparison::new(edition, source, &Lines::default()).expect("one part");
        let text = comparison.decisions();
        let mut read = Decisions::parse(&text).map_err(|fault| TestCaseError::fail(format!("{fault}\n{text}")))?;
        let lines = text.lines().filter(|line| line.ends_with(" = \"out\"")).count();
        prop_assert_eq!((read.findings.len(), lines), (4, 4), "{}", &text);
        prop_assert!(!text.contains(|c: char| c.is_control() && c != '\n'), "{}", &text);
        read.findings.values_mut().for_each(|said| *said = obelus::Said::Keep);
        let policy = Policy { decisions: Some(read), ..Policy::default() };
        let texts = Texts::new();
        let (_, cleaned) = comparison.clean(&policy, &Wishes::default(), None, &texts).expect("a copy");
        prop_assert_eq!(cleaned.warnings, Vec::<String>::new());
        prop_assert_eq!(cleaned.summary.kept, 4);
    }

    #[test]
    fn marks_and_bars_are_found_by_every_number(numbers in vec(text(), 4)) {
        prop_assume!(numbers.iter().collect::<BTreeSet<_>>().len() == numbers.len());
        let words: Vec<String> = (0..4).map(|n| n.to_string()).collect();
        let inputs = [score(&numbers, Some(&words)), score(&numbers, None)];
        let [mine, base] = inputs.each_ref().map(|input| ReadScore::of(input).expect("a score"));
        let lifted = mine.own_marks(&base).expect("one part");
        let text = lifted.sheet.to_toml();
        let sheet = Sheet::parse(&text).map_err(|fault| TestCaseError::fail(format!("{fault}\n{text}")))?;
        prop_assert_eq!(&sheet, &lifted.sheet);
        let [edition, source] = [&inputs[1], &inputs[1]].map(|input| ReadScore::of(input).expect("a score"));
        let comparison = Comparison::new(edition, source, &Lines::default()).expect("one part");
        let wishes = Wishes { own_marks: Some(OwnMarks::Sheet { sheet: &sheet, part: 0 }), ..Wishes::default() };
        let texts = Texts::new();
        let (copy, cleaned) = comparison.clean(&Policy::default(), &wishes, None, &texts).expect("a copy");
        prop_assert_eq!((cleaned.laid, &cleaned.warnings), (Some(4), &Vec::new()), "{}", &text);
        let copy = Input::from_bytes("copy.xml", copy.text().as_bytes().to_vec()).expect("a score");
        let copy = ReadScore::of(&copy).expect("a score");
        let marks = copy.score().parts[0].marks.iter().filter(|mark| mark.category == Category::Text);
        let marks: BTreeMap<usize, String> = marks.map(|m| (m.at.place.bar, m.reading().into_owned())).collect();
        prop_assert_eq!(marks, (0..4).map(|n| (n, format!("x{n}"))).collect::<BTreeMap<_, _>>());

        let both = [&inputs[0], &inputs[1]].map(|input| ReadScore::of(input).expect("a score"));
        let [edition, source] = both;
        let comparison = Comparison::new(edition, source, &Lines::default()).expect("one part");
        for (place, number) in numbers.iter().enumerate() {
            let wishes = AuditWishes { bars: Some(Bars(number.clone())), ..AuditWishes::default() };
            let audit = comparison.audit(&wishes).map_err(|fault| TestCaseError::fail(format!("{number:?}: {fault}")))?;
            let found: Vec<usize> = audit.parts[0].findings.iter().map(|finding| finding.at.bar_index).collect();
            prop_assert_eq!(found, vec![place], "{:?}", number);
        }
    }
}
