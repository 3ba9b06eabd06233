//! What two marks say, told apart and kept alike: forms, lines, words, chords.

use crate::common::compare::{compare, reading};
use crate::common::music;
use crate::common::sample::room;

/// What the edition has, where the source has another form of it: they are
/// told apart (or not), and the source's comes back.
#[test]
fn what_changes_the_meaning_is_altered_and_nothing_else_is() {
    // Where, the edition's, the source's, and the finding.
    let cases = [
        ("articulations", "<breath-mark>tick</breath-mark>", "<breath-mark/>", "breath-mark tick / breath-mark"),
        ("articulations", "<breath-mark>comma</breath-mark>", "<breath-mark/>", ""),
        ("articulations", "<caesura>curved</caesura>", "<caesura>thick</caesura>", "caesura curved / caesura thick"),
        ("articulations", "<caesura>normal</caesura>", "<caesura></caesura>", ""),
        ("articulations", "<strong-accent type=\"down\"/>", "<strong-accent/>", ""),
        ("articulations", "<staccatissimo/>", "<staccato/>", "staccatissimo / staccato"),
        ("notations", "<fermata type=\"inverted\"/>", "<fermata>normal</fermata>", ""),
        ("notations", "<fermata>square</fermata>", "<fermata/>", "square fermata / fermata"),
        ("notations", "<arpeggiate direction=\"down\"/>", "<arpeggiate/>", "arpeggiate down / arpeggiate"),
        ("notations", "<non-arpeggiate type=\"top\"/>", "<arpeggiate/>", "non arpeggiate / arpeggiate"),
        ("ornaments", "<tremolo>2</tremolo>", "<tremolo type=\"single\">3</tremolo>", "tremolo 2 / tremolo 3"),
        ("ornaments", "<mordent long=\"yes\"/>", "<mordent long=\"no\"/>", "mordent long / mordent"),
        ("ornaments", "<inverted-turn slash=\"yes\"/>", "<turn/>", "inverted turn slash / turn"),
        ("ornaments", "<other-ornament smufl=\"ornamentHaydn\"/>", "<haydn/>", "ornamentHaydn / haydn"),
        ("technical", "<fingering alternate=\"yes\">2</fingering>", "<fingering>2</fingering>", "2 alternate / 2"),
        ("technical", "<fingering>2</fingering>", "<pluck>2</pluck>", "2 / pluck 2"),
        (
            "technical",
            "<hole><hole-closed>half</hole-closed></hole>",
            "<hole><hole-closed>yes</hole-closed></hole>",
            "half hole / closed hole",
        ),
        (
            "technical",
            "<harmonic><natural/></harmonic>",
            "<harmonic><artificial/></harmonic>",
            "harmonic natural / harmonic artificial",
        ),
        ("technical", "<toe substitution=\"yes\"/>", "<toe/>", "toe substitution / toe"),
        ("technical", "<tap hand=\"left\">T</tap>", "<tap>T</tap>", "tap T left / tap T"),
        ("dynamics", "<other-dynamics>piu f</other-dynamics>", "<other-dynamics>più forte</other-dynamics>", ""),
        ("dynamics", "<sfz/>", "<fp/>", "sfz / fp"),
        // What sets a sign apart is no part of what it says.
        ("dynamics", "<other-dynamics>[</other-dynamics><p/><other-dynamics>]</other-dynamics>", "<p/>", ""),
        (
            "ornaments",
            "<other-ornament smufl=\"csymParensLeftTall\"/><turn/><other-ornament smufl=\"csymParensRightTall\"/>",
            "<turn/>",
            "",
        ),
        (
            "articulations",
            "<other-articulation>[</other-articulation><accent/><other-articulation>]</other-articulation>",
            "<tenuto/>",
            "accent / tenuto",
        ),
        ("direction-type", "<words>[dolce]</words>", "<words>dolce</words>", ""),
        (
            "measure",
            "<figured-bass parentheses=\"yes\"><figure><figure-number>6</figure-number></figure></figured-bass>",
            "<figured-bass><figure><figure-number>6</figure-number></figure></figured-bass>",
            "",
        ),
        (
            "direction-type",
            "<string-mute type=\"off\"/>",
            "<string-mute type=\"on\"/>",
            "string mute off / string mute on",
        ),
        (
            "direction-type",
            "<metronome parentheses=\"yes\"><beat-unit>half</beat-unit><per-minute>60</per-minute></metronome>",
            "<metronome><beat-unit>half</beat-unit><per-minute> 60</per-minute></metronome>",
            "",
        ),
        (
            "direction-type",
            "<metronome><beat-unit>half</beat-unit><beat-unit-tied><beat-unit>eighth</beat-unit></beat-unit-tied><per-minute>60</per-minute></metronome>",
            "<metronome><beat-unit>half</beat-unit><beat-unit-dot/><beat-unit>quarter</beat-unit></metronome>",
            "half tied to eighth = 60 / dotted half = quarter",
        ),
        (
            "barline",
            "<repeat direction=\"backward\" times=\"3\"/>",
            "<repeat direction=\"backward\" times=\"2\" winged=\"curved\"/>",
            "backward repeat, 3 times / backward repeat",
        ),
        ("barline", "<bar-style>dashed</bar-style>", "<bar-style>regular</bar-style>", ""),
        (
            "figure",
            "<prefix>sharp</prefix><figure-number>6</figure-number>",
            "<figure-number>6</figure-number><suffix>slash</suffix>",
            "# 6 / 6 slash",
        ),
        (
            "lyric",
            "<syllabic>begin</syllabic><text>la</text>",
            "<syllabic>single</syllabic><text>la</text>",
            "la- / la",
        ),
    ];
    for (of, ours, theirs, finding) in cases {
        let (edition, source) = (room(of, ours, "").score(), room(of, theirs, "").score());
        let result = compare(&edition, &source);
        let told: Vec<&str> =
            result.found.iter().map(|f| f.split_once(" altered ").map_or(f.as_str(), |t| t.1)).collect();
        let wanted: Vec<&str> = [finding].into_iter().filter(|f| !f.is_empty()).collect();
        assert_eq!(told, wanted, "{ours} against {theirs}");
        assert!(compare(&result.clean, &source).found.is_empty(), "{ours} against {theirs}: {}", result.clean);
    }
}

/// The readings and ends of the marks that a score has beside its signatures.
fn read(text: &str) -> Vec<String> {
    let score = reading(text).score;
    let marks = score.parts[0].marks.iter().filter(|m| !matches!(m.sign.name(), "key" | "time"));
    marks
        .map(|m| {
            let end = m.end.map_or(String::new(), |e| format!(" to {}", e.offset));
            format!("{} {} from {}{end}", m.category, m.reading(), m.at.offset)
        })
        .collect()
}

#[test]
fn lines_are_one_mark_from_start_to_stop() {
    let cases = [
        (
            "ornaments",
            "<tremolo type=\"start\">3</tremolo>",
            "<tremolo type=\"stop\">3</tremolo>",
            "ornament tremolo 3 with the next note",
        ),
        ("technical", "<hammer-on type=\"start\">H</hammer-on>", "<hammer-on type=\"stop\"/>", "technique hammer-on H"),
        (
            "direction-type",
            "<principal-voice type=\"start\" symbol=\"Nebenstimme\"/>",
            "<principal-voice type=\"stop\" symbol=\"none\"/>",
            "text principal voice Nebenstimme",
        ),
        (
            "direction-type",
            "<wedge type=\"diminuendo\"/>",
            "<wedge type=\"stop\" niente=\"yes\"/>",
            "hairpin diminuendo to nothing",
        ),
        (
            "direction-type",
            "<wedge type=\"crescendo\" niente=\"yes\" spread=\"0\"/>",
            "<wedge type=\"stop\" spread=\"15\"/>",
            "hairpin crescendo from nothing",
        ),
        ("direction-type", "<pedal type=\"sostenuto\"/>", "<pedal type=\"stop\"/>", "pedal sostenuto pedal"),
        ("direction-type", "<pedal type=\"start\"/>", "<pedal type=\"discontinue\"/>", "pedal pedal"),
        (
            "direction-type",
            "<octave-shift type=\"up\" size=\"15\"/>",
            "<octave-shift type=\"stop\"/>",
            "octave-line 15 below",
        ),
        (
            "direction-type",
            "<bracket type=\"start\" line-end=\"up\"/>",
            "<bracket type=\"stop\" line-end=\"none\"/>",
            "text bracket",
        ),
    ];
    for (of, start, stop, says) in cases {
        let text = room(of, start, stop).score();
        assert_eq!(read(&text), [format!("{says} from 0 to 1")]);
        assert!(reading(&text).warnings.is_empty(), "{:?}", reading(&text).warnings);
        let plain = room(of, "", "").score();
        assert_eq!(compare(&text, &plain).clean, plain, "{says}");
        let back = compare(&plain, &text).clean;
        assert_eq!(read(&back), read(&text), "{back}");
    }
    let changed = room("direction-type", "<pedal type=\"start\"/>", "<pedal type=\"change\"/>").score();
    assert_eq!(read(&changed), ["pedal pedal from 0", "pedal pedal change from 1"]);
}

#[test]
fn a_trill_and_its_line_are_one_whichever_comes_first() {
    for pair in ["<trill-mark/><wavy-line type=\"start\"/>", "<wavy-line type=\"start\"/><trill-mark/>"] {
        let text = room("ornaments", pair, "<wavy-line type=\"stop\"/>").score();
        assert_eq!(read(&text), ["ornament trill from 0 to 1"]);
    }
}

#[test]
fn a_line_left_open_is_told_as_a_musician_would() {
    let warnings = reading(&room("ornaments", "<wavy-line type=\"start\"/>", "").score()).warnings;
    let wanted = "part P1 (Solo), bar 2: a trill's wavy line starts and does not end; only its start was read";
    assert_eq!(warnings, [wanted]);
    let warnings = reading(&room("direction-type", "", "<dashes type=\"stop\"/>").score()).warnings;
    let wanted = "part P1 (Solo), bar 2: a line of dashes ends that did not start; its end was ignored";
    assert_eq!(warnings, [wanted]);
}

#[test]
fn what_the_schema_does_not_know_is_told() {
    let text = room("technical", "<left-hand-pizzicato/>", "").score();
    assert_eq!(read(&text), ["technique left-hand-pizzicato from 0"]);
    let wanted = "part P1 (Solo), bar 2: MusicXML 4.0 has no element left-hand-pizzicato in technical; it was read \
                  as a mark of the kind technique";
    assert_eq!(reading(&text).warnings, [wanted]);
    let text = room("measure", "<pause/>", "<pause/>").score();
    assert_eq!(read(&text), [""; 0]);
    let wanted = "part P1 (Solo), bar 2: MusicXML 4.0 has no element pause in measure; it was ignored";
    assert_eq!(reading(&text).warnings, [wanted]);
    // However many there are, there is an end to telling.
    let many: String = (0..20_000).map(|n| format!("<new{n}/>")).collect();
    assert!(reading(&room("measure", &many, "").score()).warnings.len() < 100);
}

#[test]
fn words_of_one_direction_type_are_one_phrase() {
    let cases = [
        ("<words>dolce </words><words>e legato</words>", "technique dolce e legato from 0"),
        ("<words>mezzo</words><words font-style=\"italic\">forte</words>", "dynamics mezzo forte from 0"),
        ("<words font-size=\"14\">A</words><words>llegro</words>", "tempo Allegro from 0"),
        ("<words>[</words><words>FINE</words><words>]</words>", "structure [ FINE ] from 0"),
        (
            "<words>(</words><symbol>metNoteQuarterUp</symbol><words> = 72)</words>",
            "tempo ( metNoteQuarterUp = 72) from 0",
        ),
        ("<symbol>segno</symbol>", "text symbol segno from 0"),
    ];
    for (words, says) in cases {
        let text = room("direction-type", words, "").score();
        assert_eq!(read(&text), [says]);
        let plain = room("direction-type", "", "").score();
        assert_eq!(compare(&text, &plain).clean, plain);
        assert_eq!(read(&compare(&plain, &text).clean), [says]);
    }
    let two = "<words>p</words></direction-type><direction-type><words>dolce</words>";
    assert_eq!(read(&room("direction-type", two, "").score()), ["dynamics p from 0", "expression dolce from 0"]);
}

#[test]
fn a_metric_modulation_is_told_whole() {
    let note = |kind: &str, more: &str| {
        format!("<metronome-note><metronome-type>{kind}</metronome-type>{more}</metronome-note>")
    };
    let tuplet = |kind: &str| {
        format!(
            "<metronome-tuplet type=\"{kind}\"><actual-notes>3</actual-notes><normal-notes>2</normal-notes></metronome-tuplet>"
        )
    };
    let text = format!(
        "<metronome>{}{}<metronome-relation>equals</metronome-relation>{}{}</metronome>",
        note("eighth", ""),
        note("eighth", ""),
        note("quarter", &tuplet("start")),
        note("eighth", &tuplet("stop"))
    );
    let wanted = "tempo eighth eighth = (3 for 2: quarter eighth) from 0";
    assert_eq!(read(&room("direction-type", &text, "").score()), [wanted]);
}

#[test]
fn chords_and_figures_are_the_same_in_another_key() {
    let chords = |root: &str, bass: &str, sign: &str| {
        let note = |name: &str, of: &str| {
            let alter = if name.len() > 1 { format!("<{of}-alter>-1</{of}-alter>") } else { String::new() };
            format!("<{of}><{of}-step>{}</{of}-step>{alter}</{of}>", &name[..1])
        };
        let harmony = format!(
            "<harmony>{}<kind>dominant</kind>{}{}<kind>minor</kind></harmony>",
            note(root, "root"),
            note(bass, "bass"),
            note(bass, "root")
        );
        format!(
            "{harmony}<figured-bass><figure><prefix>{sign}</prefix><figure-number>6</figure-number></figure></figured-bass>"
        )
    };
    let with = |style: &music::Style, tune: &str, chords: &str| {
        music::score(style, tune).replacen("<measure number=\"2\">", &format!("<measure number=\"2\">{chords}"), 1)
    };
    let g = music::Style { fifths: 1, ..music::Style::default() };
    let f = music::Style { fifths: -1, ..music::Style::default() };
    let (in_g, in_f) = ("G4q A4e B4e C5q D5q | E5e D5e C5e B4e A4h", "F4q G4e A4e Bb4q C5q | D5e C5e Bb4e A4e G4h");
    let source = with(&g, in_g, &chords("G", "C", "sharp"));
    let edition = with(&f, in_f, &chords("F", "Bb", "natural"));
    assert_eq!(read(&source), ["harmony G dominant/C C minor from 0", "harmony # 6 from 0"]);
    assert_eq!(compare(&edition, &source).found, [""; 0]);
    // In one key the signs do count.
    let other = with(&g, in_g, &chords("G", "C", "natural"));
    assert_eq!(compare(&other, &source).found, ["harmony altered nat. 6 / # 6"]);
    // Written for a clarinet, the chords are written as its notes are.
    let clarinet = music::Style { fifths: 3, transpose: Some((-1, -2)), ..g.clone() };
    let in_a = "A4q B4e C#5e D5q E5q | F#5e E5e D5e C#5e B4h";
    let clarinet = |chords: &str| with(&clarinet, in_a, chords);
    assert_eq!(compare(&clarinet(&chords("A", "D", "sharp")), &source).found, [""; 0]);
    let mut back = read(&compare(&clarinet(""), &source).clean);
    back.sort();
    assert_eq!(back, ["harmony # 6 from 0", "harmony A dominant/D D minor from 0"]);
}

#[test]
fn what_stands_on_a_rest_comes_back_to_it() {
    let tune = "G4q A4e B4e C5q rq | E5e D5e rq B4e rq A4e";
    let plain = music::score(&music::Style::default(), tune);
    let marked = plain.replacen("<rest/>", "<rest/>@", 1).replacen(
        "@\n        <duration>48</duration>\n        <voice>1</voice>\n        <type>quarter</type>",
        "\n        <duration>48</duration>\n        <voice>1</voice>\n        <type>quarter</type>\n        <notations>\n          \
         <fermata/>\n        </notations>\n        <lyric>\n          <text>la</text>\n        </lyric>",
        1,
    );
    assert_eq!(compare(&marked, &plain).found, ["fermata added fermata / -", "lyric added la / -"]);
    assert_eq!(compare(&plain, &marked).clean, marked);
}

#[test]
fn a_slur_that_was_never_ended_takes_no_other_ones_end() {
    let slur = |number: u32, kind: &str| format!("<slur number=\"{number}\" type=\"{kind}\"/>");
    let open = room("notations", &slur(2, "start"), &slur(1, "start")).score();
    // The first ends at the third note, the second nowhere.
    let at = open.rfind("<step>A</step>").unwrap();
    let mut types = open[at..].match_indices("<type>quarter</type>").map(|m| at + m.0 + m.1.len());
    let third = types.nth(1).unwrap();
    let source = format!("{}<notations>{}</notations>{}", &open[..third], slur(2, "stop"), &open[third..]);
    assert_eq!(read(&source), ["slur slur from 0 to 2", "slur slur from 1"]);
    let back = compare(&room("notations", "", "").score(), &source).clean;
    assert_eq!(read(&back), read(&source), "{back}");
}
