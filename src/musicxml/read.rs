//! A document into a score: parts, bars, notes and their marks.

use super::error::Error;
use super::marks::{Collector, Spot};
use super::spans;
use super::tree::{Tree, child, child_text, element, text_of};
use crate::pitch::{Interval, Pitch};
use crate::score::{Bar, Category, Element, Meter, Note, NoteId, Part, Place, Score, Sound};
use crate::time::{Time, parse_decimal};
use num_traits::{CheckedAdd, Zero};
use roxmltree::Node;
use std::collections::HashMap;

/// Finer than any program writes; coarser would endanger exact sums.
const LARGEST_DIVISIONS: i64 = 1 << 24;
/// In quarter notes; no bar is longer.
const LARGEST_DURATION: i64 = 1 << 20;

/// A score as read, with what was odd on the way.
#[derive(Debug)]
pub struct Reading {
    pub score: Score,
    pub warnings: Vec<String>,
}

/// Reads a parsed document. Errors have the place of what cannot be read.
pub fn read(tree: &Tree<'_>) -> Result<Reading, Error> {
    let root = tree.root();
    let mut names: HashMap<&str, &str> = HashMap::new();
    for part in root.descendants().filter(|n| n.tag_name().name() == "score-part") {
        if let Some(id) = part.attribute("id") {
            names.insert(id, child_text(part, "part-name").unwrap_or(""));
        }
    }
    let mut warnings = Vec::new();
    let mut score = Score { title: title(root), parts: Vec::new() };
    for (id, node, bars) in parts(tree)? {
        let name = names.get(id).map_or(String::new(), |n| n.split_whitespace().collect::<Vec<_>>().join(" "));
        let mut reader = PartReader::new(tree, id, name, node);
        for (place, bar) in bars.into_iter().enumerate() {
            reader.bar(place, bar)?;
        }
        let (part, odd) = reader.finish();
        score.parts.push(part);
        warnings.extend(odd);
    }
    if score.parts.is_empty() {
        return Err(tree.content_error(root, "the score has no part"));
    }
    Ok(Reading { score, warnings })
}

fn title(root: Node<'_, '_>) -> Option<String> {
    let work = child(root, "work").and_then(|w| child_text(w, "work-title"));
    let movement = child_text(root, "movement-title");
    let credit = || {
        root.children()
            .filter(|n| n.tag_name().name() == "credit")
            .find(|c| child_text(*c, "credit-type") == Some("title"))
            .and_then(|c| child_text(c, "credit-words"))
    };
    let found = [work, movement].into_iter().flatten().find(|t| !t.is_empty()).or_else(credit)?;
    Some(found.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// One bar of one part: the element that has its number, and the one that
/// holds its music. They differ in a timewise score.
struct BarNode<'a, 'i> {
    measure: Node<'a, 'i>,
    content: Node<'a, 'i>,
}

type PartNodes<'a, 'i> = (&'a str, Node<'a, 'i>, Vec<BarNode<'a, 'i>>);

fn parts<'a, 'i>(tree: &'a Tree<'i>) -> Result<Vec<PartNodes<'a, 'i>>, Error> {
    let root = tree.root();
    let named = |node: Node<'a, 'i>| {
        node.attribute("id").ok_or_else(|| tree.content_error(node, "a part has no id that names it"))
    };
    let children = |node: Node<'a, 'i>, name: &'static str| {
        node.children().filter(move |n| n.is_element() && n.tag_name().name() == name)
    };
    let mut out: Vec<PartNodes<'a, 'i>> = Vec::new();
    if root.tag_name().name() == "score-partwise" {
        for part in children(root, "part") {
            let id = named(part)?;
            if out.iter().any(|p| p.0 == id) {
                return Err(tree.content_error(part, format!("two parts have the id {id}")));
            }
            let bars = children(part, "measure").map(|m| BarNode { measure: m, content: m }).collect();
            out.push((id, part, bars));
        }
        return Ok(out);
    }
    for measure in children(root, "measure") {
        for content in children(measure, "part") {
            let id = named(content)?;
            let bar = BarNode { measure, content };
            match out.iter_mut().find(|p| p.0 == id) {
                Some(part) => part.2.push(bar),
                None => out.push((id, content, vec![bar])),
            }
        }
    }
    Ok(out)
}

/// A tie that waits for its second note.
struct OpenTie {
    pitch: Pitch,
    voice: u32,
    note: NoteId,
    end: Time,
}

struct PartReader<'a, 'i> {
    tree: &'a Tree<'i>,
    part: Part,
    marks: Collector,
    warnings: Vec<String>,
    voices: HashMap<(String, u32), u32>,
    divisions: i64,
    transpose: Interval,
    fifths: Option<i32>,
    meter: Meter,
    meter_text: String,
    ties: Vec<OpenTie>,
    cursor: Time,
    furthest: Time,
    /// Onset of the note that a chord note joins.
    chord_onset: Time,
    /// Grace notes that wait for their main note, by voice.
    graces: Vec<(u32, Vec<NoteId>, bool)>,
    /// How far figures have gone on at the present place.
    figures: Time,
}

impl<'a, 'i> PartReader<'a, 'i> {
    fn new(tree: &'a Tree<'i>, id: &str, name: String, _node: Node<'a, 'i>) -> Self {
        PartReader {
            tree,
            part: Part {
                id: id.to_string(),
                name,
                bars: Vec::new(),
                notes: Vec::new(),
                marks: Vec::new(),
                staves: 1,
                octave_is_told: false,
            },
            marks: Collector::default(),
            warnings: Vec::new(),
            voices: HashMap::new(),
            divisions: 1,
            transpose: Interval::UNISON,
            fifths: None,
            meter: Meter::default(),
            meter_text: String::new(),
            ties: Vec::new(),
            cursor: Time::zero(),
            furthest: Time::zero(),
            chord_onset: Time::zero(),
            graces: Vec::new(),
            figures: Time::zero(),
        }
    }

    fn warn(&mut self, what: impl std::fmt::Display) {
        let bar = self.part.bars.last().map_or("", |b| b.number.as_str());
        self.warnings.push(format!("{}: part {}, bar {bar}: {what}", self.tree.input.file, self.part.id));
    }

    fn here(&self) -> usize {
        self.part.bars.len() - 1
    }

    fn bar(&mut self, place: usize, node: BarNode<'a, 'i>) -> Result<(), Error> {
        let start = self.part.bars.last().map_or(Time::zero(), |b| b.start + b.length);
        let first = self.part.notes.len();
        let number = node.measure.attribute("number").map_or_else(|| (place + 1).to_string(), str::to_string);
        self.part.bars.push(Bar {
            number,
            element: element(node.content),
            start,
            length: Time::zero(),
            meter: self.meter,
            fifths: self.fifths.unwrap_or(0),
            divisions: self.divisions,
            transpose: self.transpose,
            notes: first..first,
        });
        self.cursor = Time::zero();
        self.furthest = Time::zero();
        let mut right_barlines = Vec::new();
        for item in node.content.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "note" => self.note(item)?,
                "backup" => {
                    let back = self.duration(item)?.unwrap_or_default();
                    if back > self.cursor {
                        self.warn("a backup goes before the bar's start; it was read as going to the start");
                    }
                    self.cursor = (self.cursor - back).max(Time::zero());
                    self.figures = Time::zero();
                }
                "forward" => {
                    let forward = self.duration(item)?.unwrap_or_default();
                    self.advance(item, forward)?;
                }
                "attributes" => self.attributes(item)?,
                "direction" => {
                    let spot = self.spot(item)?;
                    self.marks.direction(&mut self.part, item, spot);
                }
                "harmony" => {
                    let spot = self.spot(item)?;
                    self.marks.harmony(&mut self.part, item, spot);
                }
                "figured-bass" => {
                    let mut spot = self.spot(item)?;
                    spot.place.offset += self.figures;
                    spot.order.0 += self.figures;
                    self.marks.figured_bass(&mut self.part, item, spot);
                    self.figures += self.duration(item)?.unwrap_or_default();
                }
                "barline" => match item.attribute("location") {
                    Some("left") => {
                        let spot = self.spot_at(Time::zero(), item);
                        self.marks.barline(&mut self.part, item, spot);
                    }
                    Some("middle") => {
                        let spot = self.spot_at(self.cursor, item);
                        self.marks.barline(&mut self.part, item, spot);
                    }
                    _ => right_barlines.push(item),
                },
                _ => {}
            }
        }
        self.graces_after();
        let end = self.part.notes.len();
        let bar = self.part.bars.last_mut().expect("pushed above");
        bar.notes = first..end;
        bar.length = if self.furthest.is_zero() { bar.meter.bar } else { self.furthest };
        let length = bar.length;
        for barline in right_barlines {
            let spot = self.spot_at(length, barline);
            self.marks.barline(&mut self.part, barline, spot);
        }
        if self.fifths.is_none() {
            // No signature at all is a signature without accidentals.
            self.set_key(None, 0, self.spot_at(Time::zero(), node.content));
        }
        Ok(())
    }

    /// Where a direction stands: at the cursor, moved by its own offset.
    fn spot(&mut self, node: Node<'_, '_>) -> Result<Spot, Error> {
        let offset = match child_text(node, "offset") {
            None => Time::zero(),
            Some(text) => {
                let offset = parse_decimal(text)
                    .filter(|t| *t.denom() <= 1000 && t.numer().abs() < LARGEST_DURATION)
                    .ok_or_else(|| {
                    self.tree.content_error(node, format!("an offset of {text:?} is not a number"))
                })?;
                offset / Time::from(self.divisions)
            }
        };
        Ok(self.spot_at(self.cursor + offset, node))
    }

    fn spot_at(&self, offset: Time, node: Node<'_, '_>) -> Spot {
        let staff = child_text(node, "staff").and_then(|t| t.parse().ok()).unwrap_or(1);
        let bar = self.here();
        let voice = match child_text(node, "voice") {
            Some(name) => self.voices.get(&(name.to_string(), 0)).copied().unwrap_or(0),
            None => 0,
        };
        let order = (self.part.bars[bar].start + offset, 0);
        Spot { place: Place { bar, offset, note: None }, order, voice, staff }
    }

    fn advance(&mut self, node: Node<'_, '_>, by: Time) -> Result<(), Error> {
        let start = self.part.bars[self.here()].start;
        self.cursor = self
            .cursor
            .checked_add(&by)
            .filter(|t| t.checked_add(&start).is_some_and(|t| *t.denom() < 1 << 30))
            .ok_or_else(|| self.tree.content_error(node, "the lengths in this bar do not add up to any real time"))?;
        self.furthest = self.furthest.max(self.cursor);
        if !by.is_zero() {
            self.figures = Time::zero();
        }
        Ok(())
    }

    /// The duration in quarter notes, if the element has one.
    fn duration(&self, node: Node<'_, '_>) -> Result<Option<Time>, Error> {
        let Some(holder) = child(node, "duration") else {
            return Ok(None);
        };
        let text = text_of(holder);
        let time = parse_decimal(text)
            .filter(|t| *t >= Time::zero() && *t.denom() <= 1000)
            .and_then(|t| (*t.numer() < LARGEST_DURATION * LARGEST_DIVISIONS).then(|| t / Time::from(self.divisions)))
            .filter(|t| *t <= Time::from(LARGEST_DURATION))
            .ok_or_else(|| self.tree.content_error(holder, format!("a duration of {text:?} is not a length")))?;
        Ok(Some(time))
    }

    fn attributes(&mut self, node: Node<'_, '_>) -> Result<(), Error> {
        for item in node.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "divisions" => {
                    let divisions = parse_decimal(text_of(item))
                        .filter(|t| t.is_integer())
                        .map(|t| t.to_integer())
                        .filter(|d| (1..=LARGEST_DIVISIONS).contains(d));
                    let wrong = || format!("divisions of {:?} are not a whole number of at least 1", text_of(item));
                    self.divisions = divisions.ok_or_else(|| self.tree.content_error(item, wrong()))?;
                }
                "key" => {
                    let fifths: i32 = child_text(item, "fifths").and_then(|t| t.parse().ok()).unwrap_or(0);
                    let own_staff = item.attribute("number").is_none_or(|n| n == "1");
                    if own_staff && (-20..=20).contains(&fifths) && self.fifths != Some(fifths) {
                        self.set_key(Some(item), fifths, self.spot_at(self.cursor, item));
                    }
                }
                "time" => self.time(item),
                "staves" => {
                    let staves = text_of(item).parse().ok().filter(|s| (1..100).contains(s)).unwrap_or(1);
                    self.part.staves = self.part.staves.max(staves);
                }
                "transpose" => {
                    let number = |name| child_text(item, name).and_then(|t| t.parse::<i32>().ok());
                    let chromatic = number("chromatic").unwrap_or(0);
                    let steps = number("diatonic").unwrap_or_else(|| usual_steps(chromatic));
                    let octaves = number("octave-change").unwrap_or(0);
                    if chromatic.abs() < 100 && steps.abs() < 100 && octaves.abs() < 10 {
                        self.transpose = Interval::new(steps, chromatic).plus(Interval::octaves(octaves));
                    }
                    self.part.octave_is_told |= self.transpose.semitones != 0;
                }
                "clef" => {
                    let change = child_text(item, "clef-octave-change").unwrap_or("0");
                    self.part.octave_is_told |= change != "0";
                }
                _ => {}
            }
        }
        let untouched = self.part.bars[self.here()].notes.start == self.part.notes.len();
        if untouched {
            let bar = self.part.bars.last_mut().expect("inside a bar");
            bar.divisions = self.divisions;
            bar.transpose = self.transpose;
            bar.fifths = self.fifths.unwrap_or(0);
            bar.meter = self.meter;
        }
        Ok(())
    }

    fn set_key(&mut self, node: Option<Node<'_, '_>>, fifths: i32, spot: Spot) {
        self.fifths = Some(fifths);
        self.marks.key(&mut self.part, node, fifths, spot);
    }

    fn time(&mut self, node: Node<'_, '_>) {
        let of = |name: &str| -> Vec<&str> {
            node.children().filter(|n| n.tag_name().name() == name).map(text_of).collect()
        };
        let (beats, types) = (of("beats"), of("beat-type"));
        if node.attribute("number").is_some_and(|n| n != "1") {
            return;
        }
        let text = if child(node, "senza-misura").is_some() {
            "no time signature".to_string()
        } else {
            beats.iter().zip(&types).map(|(b, t)| format!("{b}/{t}")).collect::<Vec<_>>().join(" + ")
        };
        let mut bar = Time::zero();
        let mut beat = None;
        for (beats, kind) in beats.iter().zip(&types) {
            let count: i64 = beats.split('+').filter_map(|b| b.trim().parse::<i64>().ok()).sum();
            let kind = kind.parse::<i64>().ok().filter(|k| (1..=1024).contains(k)).unwrap_or(4);
            let length = Time::new(4, kind);
            bar += length * Time::from(count.clamp(0, 1000));
            beat = beat.or(Some(length));
        }
        if !bar.is_zero() {
            self.meter = Meter { bar, beat: beat.unwrap_or_else(|| Time::from(1)) };
        }
        if text != self.meter_text {
            let spot = self.spot_at(self.cursor, node);
            self.marks.time(&mut self.part, node, &text, spot);
            self.meter_text = text;
        }
    }

    fn note(&mut self, node: Node<'a, 'i>) -> Result<(), Error> {
        let (mut grace, mut chord, mut cue, mut sound) = (None, false, false, None);
        let (mut voice_name, mut staff) = ("", 1);
        let (mut tie_start, mut tie_stop, mut tied_start, mut tied_stop) = (false, false, false, false);
        let mut has_tie = false;
        let mut carries = false;
        for item in node.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "grace" => grace = Some(item),
                "chord" => chord = true,
                "cue" => cue = true,
                "pitch" => sound = Some(Sound::Pitched(self.pitch(item)?)),
                "unpitched" => sound = Some(Sound::Unpitched(self.displayed(item))),
                "rest" => sound = Some(Sound::Rest),
                "voice" => voice_name = text_of(item),
                "staff" => staff = text_of(item).parse().ok().filter(|s| (1..100).contains(s)).unwrap_or(1),
                "tie" => {
                    has_tie = true;
                    match item.attribute("type") {
                        Some("start") => tie_start = true,
                        Some("stop") => tie_stop = true,
                        _ => {}
                    }
                }
                "notations" => {
                    carries = true;
                    for tied in item.children().filter(|n| n.tag_name().name() == "tied") {
                        match tied.attribute("type") {
                            Some("start") => tied_start = true,
                            Some("stop") => tied_stop = true,
                            Some("continue") => (tied_start, tied_stop) = (true, true),
                            _ => {}
                        }
                    }
                }
                "lyric" | "accidental" => carries = true,
                _ => {}
            }
        }
        if !has_tie {
            (tie_start, tie_stop) = (tied_start, tied_stop);
        }
        let sound = match sound {
            Some(sound) => sound,
            None => {
                self.warn("a note has neither pitch nor rest; it was read as a rest");
                Sound::Rest
            }
        };
        let duration = match (grace, self.duration(node)?) {
            (Some(_), _) => Time::zero(),
            (None, Some(duration)) => duration,
            (None, None) => {
                self.warn("a note has no duration; it was read as taking no time");
                Time::zero()
            }
        };
        let onset = if chord { self.chord_onset } else { self.cursor };
        let last = self.part.notes.last().filter(|_| chord).map(|n| (n.voice, n.staff));
        if let (Some((_, of_chord)), None) = (last, child(node, "staff")) {
            staff = of_chord;
        }
        let voice = match last.filter(|_| voice_name.is_empty()) {
            Some((of_chord, _)) => of_chord,
            None => self.voice(voice_name, staff),
        };
        let id = self.part.notes.len();
        self.part.notes.push(Note {
            element: element(node),
            bar: self.here(),
            offset: onset,
            duration,
            sound,
            voice,
            staff,
            chord,
            grace: 0,
            grace_after: false,
            cue,
            tied_from: None,
            tied_to: None,
        });
        if let Some(grace) = grace {
            self.collect_grace(id, voice, chord, grace.attribute("slash") == Some("yes"));
        } else if !chord {
            self.graces_before(id, voice);
        }
        if grace.is_none() {
            self.tie(id, tie_start, tie_stop);
            if !chord {
                self.chord_onset = onset;
                self.advance(node, duration)?;
            }
        } else if !chord {
            self.chord_onset = onset;
        }
        if carries {
            let rank = if grace.is_some() { -1000 + self.part.notes[id].grace as i32 } else { 0 };
            let place = Place { bar: self.here(), offset: onset, note: Some(id) };
            let order = (self.part.bars[place.bar].start + onset, rank);
            self.marks.note(&mut self.part, node, Spot { place, order, voice, staff });
        }
        Ok(())
    }

    /// Files without voices keep their staves apart.
    fn voice(&mut self, name: &str, staff: u32) -> u32 {
        let key = if name.is_empty() { (String::new(), staff) } else { (name.to_string(), 0) };
        let next = self.voices.len() as u32;
        *self.voices.entry(key).or_insert(next)
    }

    fn pitch(&self, node: Node<'_, '_>) -> Result<Pitch, Error> {
        let wrong = |what: &str, found: &str| self.tree.content_error(node, format!("{found:?} is not {what}"));
        let step = child_text(node, "step").unwrap_or("");
        let octave = child_text(node, "octave").unwrap_or("");
        let base = Pitch::parse(&format!("{step}4")).filter(|_| step.len() == 1);
        let base = base.ok_or_else(|| wrong("the letter of a pitch", step))?;
        let octave = octave.parse::<i32>().ok().filter(|o| (-1..=12).contains(o));
        let octave = octave.ok_or_else(|| wrong("an octave from 0 to 9", child_text(node, "octave").unwrap_or("")))?;
        let alter = match child_text(node, "alter") {
            None | Some("") => 0,
            Some(text) => parse_decimal(text)
                .map(|t| (t * Time::from(100)).round().to_integer())
                .filter(|a| a.abs() <= 400)
                .ok_or_else(|| wrong("an alteration", text))? as i32,
        };
        Ok(Pitch::new(base.step, alter, octave).moved(self.transpose))
    }

    fn displayed(&self, node: Node<'_, '_>) -> Pitch {
        let step = child_text(node, "display-step").unwrap_or("B");
        let octave = child_text(node, "display-octave").unwrap_or("4");
        Pitch::parse(&format!("{step}{octave}")).unwrap_or(Pitch::new(6, 0, 4))
    }

    fn tie(&mut self, id: NoteId, start: bool, stop: bool) {
        let note = &self.part.notes[id];
        let Some(pitch) = note.pitch() else { return };
        let onset = self.part.onset(id);
        if stop {
            let fits = |t: &OpenTie| t.end == onset && t.pitch == pitch;
            let same_voice = self.ties.iter().position(|t| fits(t) && t.voice == note.voice);
            if let Some(at) = same_voice.or_else(|| self.ties.iter().position(fits)) {
                let from = self.ties.swap_remove(at).note;
                self.part.notes[id].tied_from = Some(from);
                self.part.notes[from].tied_to = Some(id);
            }
        }
        if start {
            let note = &self.part.notes[id];
            let tie = OpenTie { pitch, voice: note.voice, note: id, end: onset + note.duration };
            // What ended long ago will never be taken up.
            self.ties.retain(|t| t.end >= onset - Time::from(64));
            self.ties.push(tie);
        }
    }

    fn collect_grace(&mut self, id: NoteId, voice: u32, chord: bool, slashed: bool) {
        let index = match self.graces.iter().position(|g| g.0 == voice) {
            Some(index) => index,
            None => {
                self.graces.push((voice, Vec::new(), slashed));
                self.graces.len() - 1
            }
        };
        let group = &mut self.graces[index];
        let last = group.1.last().map_or(0, |n| self.part.notes[*n].grace);
        self.part.notes[id].grace = if chord && last > 0 { last } else { last + 1 };
        group.1.push(id);
    }

    fn graces_before(&mut self, main: NoteId, voice: u32) {
        let Some(at) = self.graces.iter().position(|g| g.0 == voice) else {
            return;
        };
        let (_, notes, slashed) = self.graces.swap_remove(at);
        let note = &self.part.notes[main];
        let place = Place { bar: note.bar, offset: note.offset, note: Some(main) };
        let spot = Spot { place, order: (self.part.onset(main), 0), voice, staff: note.staff };
        self.marks.grace(&mut self.part, &notes, slashed, spot);
    }

    /// Grace notes with no note after them in the bar belong to the one before.
    fn graces_after(&mut self) {
        for (voice, notes, slashed) in std::mem::take(&mut self.graces) {
            let bar = self.here();
            for id in &notes {
                self.part.notes[*id].grace_after = true;
            }
            let first = notes[0];
            let main = (0..first).rev().take_while(|n| self.part.notes[*n].bar == bar).find(|n| {
                let note = &self.part.notes[*n];
                note.voice == voice && note.grace == 0 && !note.chord
            });
            let note = &self.part.notes[first];
            let place = Place { bar, offset: note.offset, note: main };
            let spot = Spot { place, order: (self.part.onset(first), 0), voice, staff: note.staff };
            self.marks.grace(&mut self.part, &notes, slashed, spot);
        }
    }

    fn finish(mut self) -> (Part, Vec<String>) {
        let ends = std::mem::take(&mut self.marks.ends);
        let alone = spans::pair(&mut self.part, ends);
        for end in alone {
            let number = &self.part.bars[end.place.bar].number;
            let what = format!("{:?}", end.kind).to_lowercase();
            match end.mark {
                Some(_) => self.warnings.push(format!(
                    "{}: part {}, bar {number}: a {what} starts and does not end; it was read as a start alone",
                    self.tree.input.file, self.part.id
                )),
                None => self.warnings.push(format!(
                    "{}: part {}, bar {number}: a {what} ends that did not start; its end was passed over",
                    self.tree.input.file, self.part.id
                )),
            }
        }
        self.drop_last_double_bar();
        self.let_signatures_sound();
        (self.part, self.warnings)
    }

    /// A signature means what it says as it sounds; the transposition comes
    /// after it in the document.
    fn let_signatures_sound(&mut self) {
        let keys = self.part.marks.iter_mut().filter(|m| m.category == Category::Signature && m.kind == "key");
        for mark in keys {
            let transpose = self.part.bars[mark.at.bar].transpose.fifths();
            let written: i32 = mark.meaning.parse().unwrap_or(0);
            mark.meaning = (written + transpose).to_string();
        }
    }

    /// Every piece ends with a double bar, written or not.
    fn drop_last_double_bar(&mut self) {
        let last = self.part.bars.len().saturating_sub(1);
        let is_last = |bar: usize, offset: Time, bars: &[Bar]| bar == last && offset >= bars[last].length;
        let bars = &self.part.bars;
        let doubled: Vec<Element> = self
            .part
            .marks
            .iter()
            .filter(|m| m.kind == "bar-style" && m.category == Category::Structure)
            .filter(|m| is_last(m.at.bar, m.at.offset, bars))
            .flat_map(|m| m.elements.clone())
            .collect();
        if doubled.is_empty() {
            return;
        }
        self.part.marks.retain(|m| m.kind != "bar-style" || !m.elements.iter().any(|e| doubled.contains(e)));
    }
}

/// The usual number of steps for a number of semitones, where a file tells none.
fn usual_steps(semitones: i32) -> i32 {
    const STEPS: [i32; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
    let size = semitones.abs();
    semitones.signum() * (STEPS[(size % 12) as usize] + 7 * (size / 12))
}
