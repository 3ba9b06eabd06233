//! A part of our own making, written as a score: bars of notes that are plain data become a document.

mod beams;
mod notes;

use super::fragment::{Fragment, Indentation};
use super::rewrite::{clef_fragment, read_clef, transpose_fragment};
use super::tree::{Tree, elements, type_of};
use crate::instrument::{Clef, Instrument};
use crate::pitch::{Interval, Pitch, key_alter};
use crate::readable::capital;
use crate::score::Part;
use crate::time::{Time, Value, lcm, value_name};
use notes::NoteWriter;
use roxmltree::Node;

/// A part for one player.
#[derive(Debug, Clone)]
pub struct SheetPart {
    pub title: String,
    pub subtitle: Option<String>,
    pub composer: Option<String>,
    /// What the part is called.
    pub name: String,
    /// From what the player reads to what sounds.
    pub transposition: Interval,
    /// 1-based program of General MIDI.
    pub midi_program: Option<u8>,
    /// How the sheet was made.
    pub description: String,
    pub bars: Vec<SheetBar>,
}

/// A full bar.
#[derive(Debug, Clone, Default)]
pub struct SheetBar {
    /// The clef from here on; the first bar has one.
    pub clef: Option<Clef>,
    /// The signature from here on.
    pub fifths: Option<i32>,
    /// The time from here on, as in 6/8.
    pub time: Option<(i64, i64)>,
    pub begins: Begins,
    /// Above its first note, the topmost first.
    pub words: Vec<Words>,
    pub tempo: Option<SheetTempo>,
    pub notes: Vec<SheetNote>,
    pub ends: Ends,
}

/// How a bar begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Begins {
    #[default]
    Plain,
    /// A new line of the page.
    Line,
    /// A repeat.
    Repeat,
}

/// How a bar ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ends {
    #[default]
    Plain,
    /// With a double bar: another exercise follows.
    Double,
    /// With the end of a repeat.
    Repeat,
    /// For good.
    Final,
}

/// Words above the staff.
#[derive(Debug, Clone)]
pub struct Words {
    pub text: String,
    /// On pages, where there is little room.
    pub short: Option<String>,
    pub weight: Weight,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// Of a stretch.
    Heading,
    /// Of an exercise.
    Lesser,
    /// What is said of it.
    Remark,
}

/// Beats of a length in a minute.
#[derive(Debug, Clone)]
pub struct SheetTempo {
    pub beat: Value,
    pub per_minute: u32,
    /// Faster ones, to go on with.
    pub then: Vec<u32>,
}

/// A note or a rest as it is printed.
#[derive(Debug, Clone, Default)]
pub struct SheetNote {
    /// As the player reads it; `None` for a rest.
    pub pitch: Option<Pitch>,
    /// `None` for a grace note, which is a small eighth, or a rest of the whole bar.
    pub value: Option<Value>,
    pub is_grace: bool,
    /// From the bar's start.
    pub offset: Time,
    /// 0 for grace notes.
    pub length: Time,
    pub tied_from: bool,
    pub tied_to: bool,
    pub slur_starts: bool,
    pub slur_stops: bool,
    /// The beats in which notes are beamed together, by the offset of the note's own.
    pub beamed_in: Time,
    /// A line for each hand, the left one first.
    pub fingering: Option<[String; 2]>,
}

/// The clef of a staff of a part as it holds at the start of a bar; `None` where it has no pitches, or none is said.
pub fn clef_at(tree: &Tree, part: &Part, bar: usize, staff: u32) -> Option<Clef> {
    let mut out = None;
    for own in &part.bars[..=bar] {
        for item in elements(tree.node(own.element)) {
            let clefs =
                elements(item).filter(|n| item.tag_name().name() == "attributes" && n.tag_name().name() == "clef");
            let of_staff = |n: &Node| n.attribute("number").and_then(|n| n.trim().parse().ok()).unwrap_or(1) == staff;
            out = clefs.filter(of_staff).last().map(read_clef).unwrap_or(out);
            // What comes later in the bar itself does not hold at its start.
            if own.element == part.bars[bar].element && item.tag_name().name() == "note" {
                break;
            }
        }
    }
    out
}

/// How fingerings are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FingeringsAs {
    /// As what they are.
    Fingerings,
    /// As syllables above the staff, for which the engraver makes room: only for drawing.
    Syllables,
}

/// The name of syllables that stand above the staff.
pub const ABOVE: &str = "above";
/// Stands before words that are drawn small.
pub const SMALL_TEXT: &str = "\u{2063}";

impl SheetPart {
    /// For an instrument, still empty.
    pub fn for_instrument(instrument: &Instrument) -> SheetPart {
        SheetPart {
            title: String::new(),
            subtitle: None,
            composer: None,
            name: capital(&instrument.name),
            transposition: instrument.transposition(),
            midi_program: instrument.midi_program,
            description: String::new(),
            bars: Vec::new(),
        }
    }

    /// The text of the score.
    pub fn to_musicxml(&self, fingerings: FingeringsAs) -> String {
        let root = Fragment::new("score-partwise")
            .set("version", "4.0")
            .with(Fragment::new("work").with(Fragment::leaf("work-title", &self.title)))
            .with_some(self.subtitle.as_ref().map(|text| Fragment::leaf("movement-title", text)))
            .with(self.identification())
            .with(Fragment::new("part-list").with(self.listed()))
            .with(self.part(fingerings));
        let indentation = Indentation { newline: "\n", unit: " ".into() };
        format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", root.render(&indentation, ""))
    }

    fn identification(&self) -> Fragment {
        let creator = |name: &String| Fragment::leaf("creator", name).set("type", "composer");
        let encoding = Fragment::new("encoding")
            .with(Fragment::leaf("software", concat!("obelus ", env!("CARGO_PKG_VERSION"))))
            .with(Fragment::leaf("encoding-description", &self.description));
        Fragment::new("identification").with_some(self.composer.as_ref().map(creator)).with(encoding)
    }

    fn listed(&self) -> Fragment {
        let sounds = |program: u8| {
            Fragment::new("midi-instrument").set("id", "P1-I1").with(Fragment::leaf("midi-program", program))
        };
        Fragment::new("score-part")
            .set("id", "P1")
            .with(Fragment::leaf("part-name", &self.name))
            .with(
                Fragment::new("score-instrument")
                    .set("id", "P1-I1")
                    .with(Fragment::leaf("instrument-name", &self.name)),
            )
            .with_some(self.midi_program.map(sounds))
    }

    fn part(&self, fingerings: FingeringsAs) -> Fragment {
        let all = || self.bars.iter().flat_map(|bar| &bar.notes);
        // Divisions that express every place and length.
        let divisions = all().fold(1, |d, note| lcm(lcm(d, note.length.denom()), note.offset.denom()));
        let mut part = Fragment::new("part").set("id", "P1");
        // An octave clef prints the octave that the player reads.
        let raised = self.bars.first().and_then(|bar| bar.clef).map_or(0, |clef| clef.octaves);
        let mut fifths = 0;
        let (mut slurs, mut number) = (0, 0);
        for (place, bar) in self.bars.iter().enumerate() {
            fifths = bar.fifths.unwrap_or(fifths);
            // Each stretch counts for itself.
            number = if bar.begins == Begins::Line { 1 } else { number + 1 };
            let mut written = Fragment::new("measure").set("number", number);
            written.children.extend(before(bar));
            written.children.extend(self.attributes(bar, (place == 0).then_some(divisions), raised));
            match fingerings {
                FingeringsAs::Fingerings => written.children.extend(said(bar)),
                FingeringsAs::Syllables => written.children.extend(drawn(bar)),
            }
            let mut writer = NoteWriter::new(fifths, divisions, Interval::octaves(raised), fingerings, &mut slurs);
            written.children.extend(writer.notes(&bar.notes));
            written.children.extend(after(bar));
            part.children.push(written);
        }
        part
    }

    /// `divisions` in the first bar; `raised` octaves by the clef.
    fn attributes(&self, bar: &SheetBar, divisions: Option<i64>, raised: i32) -> Option<Fragment> {
        let mut out = Fragment::new("attributes");
        if let Some(clef) = bar.clef {
            out.place(clef_fragment(clef, None));
        }
        if let Some(divisions) = divisions {
            out.place(Fragment::leaf("divisions", divisions));
            let transpose = self.transposition.plus(Interval::octaves(-raised));
            if transpose != Interval::UNISON {
                out.place(transpose_fragment(transpose));
            }
        }
        if let Some(fifths) = bar.fifths {
            out.place(Fragment::new("key").with(Fragment::leaf("fifths", fifths)));
        }
        if let Some((beats, unit)) = bar.time {
            let time = Fragment::new("time").with(Fragment::leaf("beats", beats));
            out.place(time.with(Fragment::leaf("beat-type", unit)));
        }
        (!out.children.is_empty()).then_some(out)
    }
}

/// What stands before everything in a bar.
fn before(bar: &SheetBar) -> Vec<Fragment> {
    let mut out = Vec::new();
    if bar.begins == Begins::Line {
        out.push(Fragment::new("print").set("new-system", "yes"));
    }
    if bar.begins == Begins::Repeat {
        let repeat = Fragment::new("repeat").set("direction", "forward");
        let style = Fragment::leaf("bar-style", "heavy-light");
        out.push(Fragment::new("barline").set("location", "left").with(style).with(repeat));
    }
    out
}

fn after(bar: &SheetBar) -> Option<Fragment> {
    let style = match bar.ends {
        Ends::Plain => return None,
        Ends::Double => "light-light",
        Ends::Repeat | Ends::Final => "light-heavy",
    };
    let line = Fragment::new("barline").set("location", "right").with(Fragment::leaf("bar-style", style));
    let repeat = (bar.ends == Ends::Repeat).then(|| Fragment::new("repeat").set("direction", "backward"));
    Some(line.with_some(repeat))
}

/// Words and the tempo.
fn said(bar: &SheetBar) -> Vec<Fragment> {
    let words = |words: &Words| above(vec![lettered(words, words.text.clone())]);
    let tempo = |tempo: &SheetTempo| {
        let mut metronome = Fragment::new("metronome").with(Fragment::leaf("beat-unit", type_of(tempo.beat)));
        metronome.children.extend((0..tempo.beat.dots).map(|_| Fragment::new("beat-unit-dot")));
        let metronome = metronome.with(Fragment::leaf("per-minute", tempo.per_minute));
        let quarters = tempo.beat.length() * Time::from(i64::from(tempo.per_minute));
        let quarters = quarters.numer() as f64 / quarters.denom() as f64;
        let mut out = above(vec![metronome]);
        if !tempo.then.is_empty() {
            let then: Vec<String> = tempo.then.iter().map(u32::to_string).collect();
            let then = Fragment::leaf("words", format!("then {}", then.join(", "))).set("font-style", "italic");
            out.children.push(Fragment::new("direction-type").with(then));
        }
        out.with(Fragment::new("sound").set("tempo", quarters))
    };
    bar.tempo.iter().map(tempo).chain(bar.words.iter().map(words)).collect()
}

/// The same for drawing: all in one, so that no line leaves the others.
fn drawn(bar: &SheetBar) -> Option<Fragment> {
    let ladder = bar.tempo.as_ref().map(|tempo| {
        let all: Vec<String> = [tempo.per_minute].iter().chain(&tempo.then).map(u32::to_string).collect();
        let beat = value_name(tempo.beat.length()).unwrap_or_default();
        Words { text: format!("{beat} = {}", all.join(", ")), short: None, weight: Weight::Remark }
    });
    let mut lines: Vec<&Words> = bar.words.iter().collect();
    lines.splice(lines.len().min(1)..lines.len().min(1), &ladder);
    lines.first()?;
    let line = |(place, words): (usize, &&Words)| {
        let small = if words.weight == Weight::Heading { "" } else { SMALL_TEXT };
        let line = if place > 0 { "\n" } else { "" };
        lettered(words, format!("{line}{small}{}", words.short.as_ref().unwrap_or(&words.text)))
    };
    Some(above(lines.iter().enumerate().map(line).collect()))
}

fn above(kinds: Vec<Fragment>) -> Fragment {
    let mut holder = Fragment::new("direction-type");
    holder.children = kinds;
    Fragment::new("direction").set("placement", "above").with(holder)
}

fn lettered(words: &Words, text: String) -> Fragment {
    let leaf = Fragment::leaf("words", text);
    match words.weight {
        Weight::Heading => leaf.set("font-weight", "bold").set("font-size", "12"),
        Weight::Lesser => leaf.set("font-weight", "bold").set("font-size", "9"),
        Weight::Remark => leaf.set("font-style", "italic").set("font-size", "9"),
    }
}

/// Which alterations hold in a bar, step by step and octave by octave.
fn altered(fifths: i32, said: &[Pitch], pitch: Pitch) -> i32 {
    let same = |p: &&Pitch| (p.step, p.octave) == (pitch.step, pitch.octave);
    said.iter().rev().find(same).map_or_else(|| key_alter(fifths, pitch.step), |p| p.alter)
}
