//! A tiny score with room for one element, and an instance of every element
//! that can stand in it.

use obelus::testing::{ELEMENTS, Placement};

/// What stands in the score besides its notes. All but the first are put into
/// the second of three bars.
#[derive(Clone, Default)]
pub struct Room {
    /// Children of the attributes at the head of the bar.
    pub attributes: String,
    /// Before the first note, and before the second.
    pub before: [String; 2],
    /// Children of the first and of the second note, in front of the rest of them.
    pub voice: [String; 2],
    pub accidental: [String; 2],
    pub look: [String; 2],
    pub notations: [String; 2],
    pub lyric: [String; 2],
    /// Children of the barline at the end of the bar.
    pub barline: String,
    /// The first note, where it is not as the others.
    pub note: Option<String>,
}

impl Room {
    pub fn score(&self) -> String {
        let wrapped = |holder: &str, inner: &str, attributes: &str| {
            if inner.is_empty() {
                return String::new();
            }
            format!("\n      <{holder}{attributes}>\n        {inner}\n      </{holder}>")
        };
        let note = |step: &str, at: Option<usize>| {
            let of = |slot: &[String; 2]| at.map_or(String::new(), |at| slot[at].clone());
            let line = |text: String| if text.is_empty() { text } else { format!("\n        {text}") };
            format!(
                "\n      <note>\n        <pitch>\n          <step>{step}</step>\n          <octave>4</octave>\n        \
                 </pitch>\n        <duration>24</duration>{}\n        <voice>1</voice>\n        \
                 <type>quarter</type>{}{}{}{}\n      </note>",
                line(of(&self.voice)),
                line(of(&self.accidental)),
                line(of(&self.look)),
                wrapped("notations", &of(&self.notations), ""),
                line(of(&self.lyric)),
            )
        };
        let line = |text: &String| if text.is_empty() { String::new() } else { format!("\n      {text}") };
        let plain = |steps: &str| steps.split(' ').map(|s| note(s, None)).collect::<String>();
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<score-partwise version=\"4.0\">\n  <part-list>\n    \
             <score-part id=\"P1\">\n      <part-name>Solo</part-name>\n      <score-instrument id=\"I1\">\n        \
             <instrument-name>Solo</instrument-name>\n      </score-instrument>\n    </score-part>\n  \
             </part-list>\n  <part id=\"P1\">\n    <measure number=\"1\">\n      <attributes>\n        \
             <divisions>24</divisions>\n        <key>\n          <fifths>0</fifths>\n        </key>\n        <time>\n          \
             <beats>4</beats>\n          <beat-type>4</beat-type>\n        </time>\n        <clef>\n          \
             <sign>G</sign>\n          <line>2</line>\n        </clef>\n      </attributes>{}\n    </measure>\n    \
             <measure number=\"2\">{}{}{}{}{}{}{}\n    </measure>\n    <measure number=\"3\">{}\n    </measure>\n  \
             </part>\n</score-partwise>\n",
            plain("C D E F"),
            wrapped("attributes", &self.attributes, ""),
            line(&self.before[0]),
            self.note.clone().map_or_else(|| note("G", Some(0)), |n| line(&n)),
            line(&self.before[1]),
            note("A", Some(1)),
            plain("F D"),
            wrapped("barline", &self.barline, " location=\"right\""),
            plain("E D C B"),
        )
    }
}

/// Puts elements where children of `of` go: one at the first note, and what
/// ends it at the second.
pub fn room(of: &str, first: &str, second: &str) -> Room {
    let mut room = Room::default();
    let both = [first.to_string(), second.to_string()];
    let within = |outer: &str| both.clone().map(|x| if x.is_empty() { x } else { format!("<{outer}>{x}</{outer}>") });
    match of {
        "measure" => room.before = both,
        "note" => {
            let name = first.trim_start_matches('<').split([' ', '>', '/']).next().unwrap_or("");
            match name {
                "accidental" | "dot" | "time-modification" => room.accidental = both,
                "instrument" | "footnote" | "level" | "tie" => room.voice = both,
                "lyric" | "play" | "listen" => room.lyric = both,
                // Before the note, in front of which there is room for it.
                "note" if first.contains("<grace/>") => room.before[0] = first.into(),
                "note" => room.note = Some(first.into()),
                _ => room.look = both,
            }
        }
        "notations" => room.notations = both,
        "articulations" | "ornaments" | "technical" => room.notations = within(of),
        "dynamics" => {
            let kinds = within("dynamics").map(|x| if x.is_empty() { x } else { kind(&x) });
            room.before = kinds;
        }
        "direction-type" => room.before = both.map(|x| if x.is_empty() { x } else { kind(&x) }),
        "direction" => {
            let extra = first;
            room.before[0] =
                format!("<direction><direction-type><words>xyz</words></direction-type>{extra}</direction>");
        }
        "barline" => room.barline = first.into(),
        "attributes" => room.attributes = first.into(),
        "harmony" => room.before[0] = harmony(first),
        "figured-bass" => room.before[0] = format!("<figured-bass>{first}</figured-bass>"),
        "figure" => room.before[0] = format!("<figured-bass><figure>{first}</figure></figured-bass>"),
        "lyric" => room.lyric[0] = format!("<lyric>{first}</lyric>"),
        other => panic!("no room for children of {other}"),
    }
    room
}

fn kind(inner: &str) -> String {
    format!("<direction><direction-type>{inner}</direction-type></direction>")
}

/// A chord symbol on C with one child more, or another in place of its own.
fn harmony(extra: &str) -> String {
    let is = |name: &str| extra.starts_with(&format!("<{name}"));
    let root = if ["root", "numeral", "function"].iter().any(|n| is(n)) {
        extra
    } else {
        "<root><root-step>C</root-step></root>"
    };
    let kind = if is("kind") { extra } else { "<kind>major</kind>" };
    let rest = if extra == root || extra == kind { "" } else { extra };
    format!("<harmony>{root}{kind}{rest}</harmony>")
}

/// The same room without the element, but with what it cannot stand without.
pub fn bare(of: &str, name: &str) -> Room {
    match of {
        "ornaments" if name == "accidental-mark" => room(of, "<trill-mark/>", ""),
        "direction" | "harmony" => room(of, "", ""),
        "figured-bass" | "figure" => room("figure", "<figure-number>6</figure-number>", ""),
        "lyric" => room("lyric", "<text>la</text>", ""),
        _ => Room::default(),
    }
}

/// An instance of an element, and of what ends it.
pub fn sample(of: &str, name: &str) -> (String, String) {
    let ends = |attributes: &str| {
        (format!("<{name} type=\"start\"{attributes}/>"), format!("<{name} type=\"stop\"{attributes}/>"))
    };
    let one = |text: &str| (text.to_string(), String::new());
    let note = |inside: &str| one(&format!("<note>{inside}<voice>1</voice><type>quarter</type></note>"));
    let pitch = "<pitch><step>G</step><octave>4</octave></pitch>";
    let figure = "<figure-number>6</figure-number>";
    match (of, name) {
        ("note", "grace") => note(&format!("<grace/>{pitch}")),
        ("note", "pitch") => note(&format!("{pitch}<duration>24</duration>")),
        ("note", "duration") => note(&format!("{pitch}<duration>24</duration>")),
        ("note", "voice") => note(&format!("{pitch}<duration>24</duration>")),
        ("note", "type") => note(&format!("{pitch}<duration>24</duration>")),
        ("note", "unpitched") => note("<unpitched/><duration>24</duration>"),
        ("note", "rest") => note("<rest/><duration>24</duration>"),
        ("note", "cue") => note(&format!("<cue/>{pitch}<duration>24</duration>")),
        ("note", "chord") => {
            let plain = format!("<note>{pitch}<duration>24</duration><voice>1</voice><type>quarter</type></note>");
            let chord = plain.replacen("<pitch>", "<chord/><pitch>", 1).replace('G', "B");
            one(&format!("{plain}{chord}"))
        }
        ("note", "staff") => one("<staff>1</staff>"),
        ("note", "tie") => one("<tie type=\"start\"/>"),
        ("notations", "tied") => one("<tied type=\"start\"/>"),
        ("note", "accidental") => one("<accidental cautionary=\"yes\">natural</accidental>"),
        ("note", "time-modification") => {
            one("<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>")
        }
        ("note", "stem") => one("<stem>up</stem>"),
        ("note", "beam") => one("<beam number=\"1\">begin</beam>"),
        ("note", "notehead") => one("<notehead>x</notehead>"),
        ("note", "notehead-text") => one("<notehead-text><display-text>G</display-text></notehead-text>"),
        ("note", "instrument") => one("<instrument id=\"I1\"/>"),
        ("note", "listen") => one("<listen><wait/></listen>"),
        ("note", "lyric") => one("<lyric><text>la</text></lyric>"),
        ("notations", "slur") => ends(" number=\"1\""),
        ("notations", "glissando" | "slide") => ends(" number=\"1\""),
        ("notations", "tuplet") => ends(""),
        ("notations", "non-arpeggiate") => one("<non-arpeggiate type=\"bottom\"/>"),
        ("notations", "accidental-mark") => one("<accidental-mark>sharp</accidental-mark>"),
        ("ornaments", "accidental-mark") => one("<trill-mark/><accidental-mark>sharp</accidental-mark>"),
        ("notations", "other-notation") => one("<other-notation type=\"single\">new</other-notation>"),
        ("ornaments", "wavy-line") => ends(" number=\"1\""),
        ("barline", "wavy-line") => one("<wavy-line type=\"start\" number=\"1\"/>"),
        ("ornaments", "tremolo") => one("<tremolo type=\"single\">3</tremolo>"),
        ("technical", "hammer-on" | "pull-off") => {
            (format!("<{name} type=\"start\" number=\"1\">H</{name}>"), format!("<{name} type=\"stop\" number=\"1\"/>"))
        }
        ("technical", "fingering" | "pluck") => one(&format!("<{name}>1</{name}>")),
        ("technical", "fret" | "string") => one(&format!("<{name}>2</{name}>")),
        ("technical", "bend") => one("<bend><bend-alter>2</bend-alter></bend>"),
        ("technical", "hole") => one("<hole><hole-closed>half</hole-closed></hole>"),
        ("technical", "arrow") => one("<arrow><arrow-direction>up</arrow-direction></arrow>"),
        ("technical", "handbell") => one("<handbell>damp</handbell>"),
        ("technical", "harmon-mute") => one("<harmon-mute><harmon-closed>half</harmon-closed></harmon-mute>"),
        ("technical", "harmonic") => one("<harmonic><artificial/></harmonic>"),
        ("direction-type", "words" | "symbol" | "rehearsal") => {
            one(&format!("<{name}>{}</{name}>", if name == "symbol" { "segno" } else { "xyz" }))
        }
        ("attributes", "directive") => one("<directive>xyz</directive>"),
        ("direction-type", "wedge") => ("<wedge type=\"crescendo\"/>".into(), "<wedge type=\"stop\"/>".into()),
        ("direction-type", "octave-shift") => {
            ("<octave-shift type=\"down\" size=\"8\"/>".into(), "<octave-shift type=\"stop\" size=\"8\"/>".into())
        }
        ("direction-type", "pedal" | "dashes") => ends(""),
        ("direction-type", "bracket") => ends(" line-end=\"up\""),
        ("direction-type", "principal-voice") => ends(" symbol=\"Hauptstimme\""),
        ("direction-type", "metronome") => {
            one("<metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>")
        }
        ("direction-type", "harp-pedals") => one(
            "<harp-pedals><pedal-tuning><pedal-step>D</pedal-step><pedal-alter>-1</pedal-alter></pedal-tuning></harp-pedals>",
        ),
        ("direction-type", "scordatura") => one(
            "<scordatura><accord string=\"1\"><tuning-step>D</tuning-step><tuning-octave>3</tuning-octave></accord></scordatura>",
        ),
        ("direction-type", "string-mute") => one("<string-mute type=\"on\"/>"),
        ("direction-type", "staff-divide") => one("<staff-divide type=\"up-down\"/>"),
        ("direction-type", "image") => one("<image source=\"sign.png\" type=\"image/png\"/>"),
        ("direction-type", "percussion") => one("<percussion><timpani/></percussion>"),
        ("direction-type", "accordion-registration") => {
            one("<accordion-registration><accordion-high/></accordion-registration>")
        }
        ("direction" | "harmony", "offset") => one("<offset>12</offset>"),
        ("direction", "voice") => one("<voice>1</voice>"),
        ("direction" | "harmony", "staff") => one("<staff>1</staff>"),
        (_, "sound") => one("<sound tempo=\"60\"/>"),
        (_, "listening") => one("<listening><sync type=\"none\"/></listening>"),
        ("measure", "backup" | "forward") => {
            one("<forward><duration>24</duration></forward><backup><duration>24</duration></backup>")
        }
        ("measure", "harmony") => one(&harmony("")),
        ("measure", "figured-bass") => one(&format!("<figured-bass><figure>{figure}</figure></figured-bass>")),
        ("measure", "grouping") => one("<grouping type=\"single\"/>"),
        ("measure", "link") => one("<link xmlns:xlink=\"http://www.w3.org/1999/xlink\" xlink:href=\"a\"/>"),
        ("measure", "bookmark") => one("<bookmark id=\"b\"/>"),
        ("measure", "note") => {
            one(&format!("<note>{pitch}<duration>24</duration><voice>1</voice><type>quarter</type></note>"))
        }
        ("barline", "bar-style") => one("<bar-style>light-light</bar-style>"),
        ("barline", "ending") => one("<ending number=\"1\" type=\"start\"/>"),
        ("barline", "repeat") => one("<repeat direction=\"backward\"/>"),
        ("attributes", "divisions") => one("<divisions>24</divisions>"),
        ("attributes", "key") => one("<key><fifths>3</fifths></key>"),
        ("attributes", "time") => one("<time><beats>2</beats><beat-type>2</beat-type></time>"),
        ("attributes", "staves" | "instruments") => one(&format!("<{name}>1</{name}>")),
        ("attributes", "part-symbol") => one("<part-symbol>none</part-symbol>"),
        ("attributes", "clef") => one("<clef><sign>C</sign><line>3</line></clef>"),
        ("attributes", "staff-details") => one("<staff-details><staff-lines>5</staff-lines></staff-details>"),
        ("attributes", "transpose") => one("<transpose><chromatic>0</chromatic></transpose>"),
        ("attributes", "for-part") => {
            one("<for-part><part-transpose><chromatic>-2</chromatic></part-transpose></for-part>")
        }
        ("attributes", "measure-style") => one("<measure-style><multiple-rest>2</multiple-rest></measure-style>"),
        ("harmony", "root") => one("<root><root-step>G</root-step></root>"),
        ("harmony", "numeral") => one("<numeral><numeral-root>5</numeral-root></numeral>"),
        ("harmony", "function") => one("<function>V</function>"),
        ("harmony", "kind") => one("<kind>minor</kind>"),
        ("harmony", "inversion") => one("<inversion>1</inversion>"),
        ("harmony", "bass") => one("<bass><bass-step>E</bass-step></bass>"),
        ("harmony", "degree") => one(
            "<degree><degree-value>9</degree-value><degree-alter>0</degree-alter><degree-type>add</degree-type></degree>",
        ),
        ("harmony", "frame") => {
            one("<frame><frame-strings>1</frame-strings><frame-frets>4</frame-frets><frame-note><string>1</string>\
             <fret>1</fret></frame-note></frame>")
        }
        ("figured-bass", "figure") => one("<figure><figure-number>4</figure-number></figure>"),
        ("figured-bass", "duration") => one(&format!("<figure>{figure}</figure><duration>24</duration>")),
        ("figured-bass", "footnote" | "level") => one(&format!("<figure>{figure}</figure><{name}>a</{name}>")),
        ("figure", "prefix") => one(&format!("<prefix>sharp</prefix>{figure}")),
        ("figure", "figure-number") => one("<figure-number>7</figure-number>"),
        ("figure", "suffix") => one(&format!("{figure}<suffix>plus</suffix>")),
        ("figure", "extend") => one(&format!("{figure}<extend type=\"start\"/>")),
        ("figure", _) => one(&format!("{figure}<{name}>a</{name}>")),
        ("lyric", "syllabic") => one("<syllabic>begin</syllabic><text>la</text>"),
        ("lyric", "text") => one("<text>li</text>"),
        ("lyric", "elision") => one("<text>la</text><elision>\u{203F}</elision><text>e</text>"),
        ("lyric", "laughing" | "humming") => one(&format!("<{name}/>")),
        ("lyric", "extend") => one("<text>la</text><extend type=\"start\"/>"),
        ("lyric", "end-line" | "end-paragraph") => one(&format!("<text>la</text><{name}/>")),
        ("lyric", _) => one(&format!("<text>la</text><{name}>a</{name}>")),
        (_, "footnote" | "level") => one(&format!("<{name}>a</{name}>")),
        (_, _) if name.starts_with("other-") => one(&format!("<{name}>new</{name}>")),
        _ => one(&format!("<{name}/>")),
    }
}

/// All elements of the table.
pub fn elements() -> impl Iterator<Item = (&'static str, &'static str, Placement)> {
    ELEMENTS.iter().flat_map(|s| s.names().map(|name| (s.of, name, s.is)))
}

/// A score that holds an element, and the same without it.
pub fn pair(of: &str, name: &str) -> (String, String) {
    let (first, second) = sample(of, name);
    (room(of, &first, &second).score(), bare(of, name).score())
}
