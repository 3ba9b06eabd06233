//! Additions that stay, but set apart: in brackets, dashed, small, and coloured
//! in a proof copy. Every element of MusicXML, and a few bars of each kind. That
//! the copies are valid is looked at in `tests/external/valid.rs`.

use crate::common::apart::{
    TUNE, cut, g_major, pairs, pairs_of_another_rhythm, policy, set_apart, three_kinds_of_change,
};
use crate::common::compare::{compare, compare_with};
use crate::common::program::{demo, obelus, obelus_fails};
use obelus::score::Category;
use obelus::{Additions, Apart, Policy};

/// What MusicXML can set apart in no way.
const AS_IT_IS: [&str; 7] = [
    "notations-arpeggiate",
    "notations-non-arpeggiate",
    "ornaments-wavy-line",
    "direction-type-dashes",
    "direction-type-scordatura",
    "direction-type-image",
    "barline-wavy-line",
];
/// What is taken out, for it changes how the piece goes.
const OUT: [&str; 9] = [
    "direction-type-segno",
    "direction-type-coda",
    "barline-bar-style",
    "barline-segno",
    "barline-coda",
    "barline-ending",
    "barline-repeat",
    "attributes-key",
    "attributes-time",
];
/// What has no colour of its own.
const COLOURLESS: [&str; 3] = ["direction-type-scordatura", "direction-type-image", "barline-repeat"];

#[test]
fn every_mark_can_be_set_apart_or_is_listed() {
    let (mut as_it_is, mut out, mut wrong) = (Vec::new(), Vec::new(), Vec::new());
    for (name, with, without) in pairs() {
        let apart = set_apart(&with, &without, Additions::Bracket);
        if apart == with {
            as_it_is.push(name.clone());
        } else if apart == without {
            out.push(name.clone());
        }
        if set_apart(&apart, &without, Additions::Bracket) != apart {
            wrong.push(format!("{name} is not left as it is:\n{}", apart));
        }
        let found = compare(&apart, &with).found;
        if apart != without && !found.is_empty() {
            wrong.push(format!("{name} is not the same mark: {found:?}\n{}", apart));
        }
        let stripped = compare(&apart, &without).clean;
        if stripped != without {
            wrong.push(format!("{name} is not taken out with its brackets:\n{stripped}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!((as_it_is, out), (AS_IT_IS.map(String::from).to_vec(), OUT.map(String::from).to_vec()));
}

#[test]
fn every_mark_of_a_proof_copy_is_coloured_or_listed() {
    let mut wrong = Vec::new();
    for (name, with, without) in pairs() {
        let added = set_apart(&with, &without, Additions::Color);
        let omitted = set_apart(&without, &with, Additions::Color);
        let colourless = COLOURLESS.contains(&name.as_str());
        if added.contains("color=\"#D55E00\"") == (colourless || OUT.contains(&name.as_str())) {
            wrong.push(format!("{name} added:\n{added}"));
        }
        if omitted.contains("color=\"#009E73\"") == colourless {
            wrong.push(format!("{name} omitted:\n{omitted}"));
        }
        for (proof, source) in [(&added, &without), (&omitted, &with)] {
            let again = set_apart(proof, source, Additions::Color);
            if again != *proof {
                wrong.push(format!("{name} is not left as it is:\n{proof}\n{again}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn in_a_bar_that_is_written_again_marks_are_set_apart_as_well() {
    let mut wrong = Vec::new();
    for (name, with, source) in pairs_of_another_rhythm() {
        for additions in [Additions::Bracket, Additions::Color] {
            let apart = set_apart(&with, &source, additions);
            let found = compare(&apart, &source).found;
            let kept = usize::from(!OUT.contains(&name.as_str()));
            if found.len() != kept || found.iter().any(|f| !f.contains(" added ")) {
                wrong.push(format!("{name}: {found:?}\n{apart}"));
            }
            if !AS_IT_IS.contains(&name.as_str())
                && kept == 1
                && compare_with(&with, &source, &keeping()).clean == apart
            {
                wrong.push(format!("{name} is not set apart:\n{apart}"));
            }
            if set_apart(&apart, &source, additions) != apart {
                wrong.push(format!("{name} is not left as it is:\n{apart}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// All additions stay as they are.
fn keeping() -> Policy {
    Policy { keep: Category::all().collect(), ..Policy::default() }
}

const EDITED: &str = "%f G4q A4e(slur[) B4e(slur]) C5q(mordent) D5q(up-bow) | %< E5e(staccato) D5e C5e %! B4e A4h(fermata) \
                      | \"dolce\" B4q g:A4 G4q(arpeggiate) \"Presto\" C5e B4e A4e G4e | F#4q A4q D4h :]";

/// Lines of a copy that its edition has not.
fn new_lines(edition: &str, copy: &str) -> Vec<String> {
    let (old, new): (Vec<&str>, Vec<&str>) = (edition.lines().collect(), copy.lines().collect());
    let ops = similar::capture_diff_slices(similar::Algorithm::Myers, &old, &new);
    let changed = ops.iter().filter(|o| o.tag() != similar::DiffTag::Equal);
    changed.flat_map(|o| new[o.new_range()].iter().map(|l| l.trim().to_string())).collect()
}

#[test]
fn additions_stay_in_brackets_dashed_or_small() {
    let (edition, source) = (g_major(EDITED), g_major(TUNE));
    let copy = set_apart(&edition, &source, Additions::Bracket);
    let wanted = [
        "<dynamics><other-dynamics smufl=\"csymBracketLeftTall\">[</other-dynamics><f/><other-dynamics \
         smufl=\"csymBracketRightTall\">]</other-dynamics></dynamics>",
        "<slur line-type=\"dashed\" number=\"1\" type=\"start\"/>",
        "<ornaments><other-ornament smufl=\"csymBracketLeftTall\">[</other-ornament><mordent \
         font-size=\"15\"/><other-ornament smufl=\"csymBracketRightTall\">]</other-ornament></ornaments>",
        "<technical><up-bow font-size=\"15\"/></technical>",
        "<wedge line-type=\"dashed\" type=\"crescendo\"/>",
        "<articulations><staccato font-size=\"15\"/></articulations>",
        "<fermata font-size=\"15\"/>",
        "<words font-size=\"8\">[dolce]</words>",
        "<notehead parentheses=\"yes\">normal</notehead>",
        "<words font-size=\"8\">[Presto]</words>",
    ];
    // The arpeggio has no other form, and the repeat sign is taken out.
    assert_eq!(new_lines(&edition, &copy), wanted);
    assert!(copy.contains("<arpeggiate/>") && !copy.contains("<repeat"));
    assert_eq!(compare(&copy, &source).clean, source);
    assert!(compare(&copy, &edition).found.iter().all(|f| f.contains("repeat")));
}

#[test]
fn a_category_that_is_kept_stays_plain() {
    let (edition, source) = (g_major(EDITED), g_major(TUNE));
    let keep = Category::all().filter(|c| *c != Category::Slur).collect();
    let copy = compare_with(&edition, &source, &Policy { keep, ..policy(Additions::Bracket) }).clean;
    assert_eq!(new_lines(&edition, &copy), ["<slur line-type=\"dashed\" number=\"1\" type=\"start\"/>"]);
}

#[test]
fn rows_of_the_users_table_hold() {
    let (edition, source) = (g_major(EDITED), g_major(TUNE));
    let rows = "slur = \"dotted\"\nhairpin = \"plain\"\ndynamics = \"parentheses\"\nornament = \"out\"\ngrace = \"out\"\n\
                articulation = \"brackets\"\nstructure = \"plain\"\nbowing = [\"parentheses\", \"small\"]\n\
                expression = \"italic\"\nfermata = \"out\"\n[points]\nwords = 7.5\n";
    let apart = Apart::with_rows(rows).unwrap();
    let copy = compare_with(&edition, &source, &Policy { apart, ..policy(Additions::Bracket) }).clean;
    let wanted = [
        "<dynamics><other-dynamics smufl=\"csymParensLeftTall\">(</other-dynamics><f/><other-dynamics \
         smufl=\"csymParensRightTall\">)</other-dynamics></dynamics>",
        "<slur line-type=\"dotted\" number=\"1\" type=\"start\"/>",
        "<technical><other-technical smufl=\"csymParensLeftTall\">(</other-technical><up-bow \
         font-size=\"15\"/><other-technical smufl=\"csymParensRightTall\">)</other-technical></technical>",
        "<articulations><other-articulation smufl=\"csymBracketLeftTall\">[</other-articulation><staccato/>\
         <other-articulation smufl=\"csymBracketRightTall\">]</other-articulation></articulations>",
        "<words font-style=\"italic\">dolce</words>",
        "<words font-size=\"7.5\">[Presto]</words>",
    ];
    assert_eq!(new_lines(&edition, &copy), wanted);
    assert!(
        copy.contains("<repeat")
            && !copy.contains("<mordent")
            && !copy.contains("<grace")
            && !copy.contains("<fermata")
    );
}

#[test]
fn what_is_set_apart_already_is_left_as_it_is() {
    let mark = |with: &str, plain: &str| g_major(EDITED).replace(plain, with);
    let source = g_major(TUNE);
    for (plain, with) in [
        ("<slur number=\"1\" type=\"start\"/>", "<slur number=\"1\" type=\"start\" line-type=\"dotted\"/>"),
        ("<words>dolce</words>", "<words font-size=\"5\">(dolce)</words>"),
        ("<up-bow/>", "<up-bow font-size=\"x-small\"/>"),
        (
            "<mordent/>",
            "<other-ornament>(</other-ornament><mordent font-size=\"9\"/><other-ornament>)</other-ornament>",
        ),
    ] {
        let edition = mark(with, plain);
        assert!(edition.contains(with));
        let copy = set_apart(&edition, &source, Additions::Bracket);
        assert!(copy.contains(with), "{copy}");
    }
}

#[test]
fn a_proof_copy_tells_three_kinds_of_change() {
    let (edition, source) = three_kinds_of_change();
    let copy = set_apart(&edition, &source, Additions::Color);
    let lines = new_lines(&edition, &copy);
    let has = |line: &str, times: usize| {
        let found = lines.iter().filter(|l| *l == line).count();
        assert_eq!(found, times, "{line} in\n{}", lines.join("\n"));
    };
    // The dynamic was another, and so was the ornament.
    has("<dynamics color=\"#0072B2\" enclosure=\"oval\">", 1);
    has("<other-ornament color=\"#0072B2\">{</other-ornament>", 1);
    has("<mordent color=\"#0072B2\"/>", 1);
    // One wrong pitch, two wrong lengths.
    has("<notehead color=\"#0072B2\">diamond</notehead>", 3);
    // What was left out.
    has("<slur number=\"1\" type=\"start\" color=\"#009E73\" line-type=\"dotted\"/>", 1);
    has("<slur number=\"1\" type=\"stop\" color=\"#009E73\"/>", 1);
    has("<fermata color=\"#009E73\" font-size=\"26.25\"/>", 1);
    has("<other-articulation smufl=\"csymParensLeftTall\" color=\"#009E73\">(</other-articulation>", 1);
    has("<words color=\"#009E73\" enclosure=\"rectangle\">dolce</words>", 1);
    // The word stands elsewhere in the edition: there it was added.
    has("<words color=\"#D55E00\" font-size=\"8\">[dolce]</words>", 1);
    let stripped = compare(&copy, &source);
    assert_eq!(stripped.found, ["expression added [dolce] / -"]);
    assert!(!stripped.clean.contains("#D55E00"));
}

#[test]
fn notes_that_were_left_out_come_back_as_triangles() {
    let (edition, source) = cut();
    let copy = set_apart(&edition, &source, Additions::Color);
    assert_eq!(copy.matches("<notehead color=\"#009E73\">triangle</notehead>").count(), 5);
    assert!(!copy.contains("diamond"));
}

#[test]
fn an_accidental_whose_note_is_put_right_keeps_its_brackets() {
    let source = g_major(TUNE);
    let sign = |music: &str, step: &str| {
        let at = format!("<step>{step}</step>");
        let score = g_major(music);
        let note = score.find(&at).unwrap();
        let kind = note + score[note..].find("</type>").unwrap() + "</type>".len();
        format!("{}\n        <accidental cautionary=\"yes\">natural</accidental>{}", &score[..kind], &score[kind..])
    };
    let plain = sign(TUNE, "C");
    let copy = set_apart(&plain, &source, Additions::Bracket);
    assert_eq!(new_lines(&plain, &copy), ["<accidental bracket=\"yes\" cautionary=\"yes\">natural</accidental>"]);
    let wrong = sign(&TUNE.replacen("C5q", "F5q", 1), "F");
    let copy = set_apart(&wrong, &source, Additions::Bracket);
    assert!(copy.contains("<accidental cautionary=\"yes\" bracket=\"yes\">natural</accidental>"), "{copy}");
}

#[test]
fn the_command_sets_apart_and_says_what_cannot_be() {
    let folder = tempfile::tempdir().unwrap();
    let [edition, source, table, copy] = ["edition", "source", "table", "copy"].map(|n| folder.path().join(n));
    std::fs::write(&edition, g_major(EDITED)).unwrap();
    std::fs::write(&source, g_major(TUNE)).unwrap();
    let names = [&edition, &source, &copy, &table].map(|p| p.to_str().unwrap().to_string());
    let [edition, source, copy, file] = &names;
    let told = obelus(&["clean", edition, source, "-o", copy, "--additions", "bracket"]);
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("10 additions set apart"), "{told}");
    let note = "Warning: part Solo, bar 3 of the edition: the ornament arpeggiate stays, but MusicXML cannot set it apart in the way the \
                table says";
    assert!(told.contains(note), "{told}");
    let told = obelus(&["clean", edition, source, "-o", copy, "--additions", "color"]);
    assert!(told.contains("Vermillion") && told.contains("Bluish green"), "{told}");

    let failed = obelus_fails(&["clean", edition, source, "-o", copy, "--apart", file]);
    assert!(failed.status == 2 && failed.stderr.contains("needs --additions bracket or color"), "{}", failed.stderr);

    std::fs::write(&table, "slur = \"dashed\"\nhairpin = \"brackets\"\n").unwrap();
    let run = ["clean", edition, source, "-o", copy, "--additions", "bracket", "--apart", file];
    let failed = obelus_fails(&run);
    assert_eq!(failed.status, 3);
    let said =
        "line 2, column 11: \"brackets\" is not a way to set hairpin apart; hairpin can be dashed, dotted, plain, out";
    assert!(failed.stderr.contains(said), "{}", failed.stderr);
    assert!(failed.stderr.contains(file.as_str()), "{}", failed.stderr);
}

#[test]
fn the_demo_is_set_apart_and_cleaned_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let clean = |edition: &str, name: &str, options: &[&str]| {
        let out = path(name);
        obelus(&[&["clean", edition, &demo("source.musicxml"), "-o", &out], options].concat());
        std::fs::read_to_string(out).unwrap()
    };
    let plain = clean(&demo("edition.musicxml"), "plain.musicxml", &[]);
    let bracketed = clean(&demo("edition.musicxml"), "bracket.musicxml", &["--additions", "bracket"]);
    assert_ne!(plain, bracketed);
    // But for what a copy says of its making.
    let music = |text: &str| text.split_once("<part-list>").unwrap().1.to_string();
    let stripped = clean(&path("bracket.musicxml"), "stripped.musicxml", &[]);
    assert!(music(&stripped) == music(&plain), "the brackets leave something behind");
}
