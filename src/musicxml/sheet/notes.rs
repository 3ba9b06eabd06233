//! The notes of a bar of our own making.

use super::super::fragment::Fragment;
use super::super::tree::type_of;
use super::beams::{Beam, beams};
use super::{ABOVE, FingeringsAs, SheetNote, altered};
use crate::pitch::{Interval, LETTERS, Pitch, accidental_name};
use crate::time::{Time, Value};

/// A grace note's flag.
const SMALL: &str = "eighth";

pub struct NoteWriter<'s> {
    fifths: i32,
    divisions: Time,
    raised: Interval,
    fingerings: FingeringsAs,
    /// Accidentals of the bar so far.
    said: Vec<Pitch>,
    /// Open slurs.
    slurs: &'s mut usize,
}

impl NoteWriter<'_> {
    /// `raised` is from what the player reads to what an octave clef makes of it.
    pub fn new(
        fifths: i32,
        divisions: i64,
        raised: Interval,
        fingerings: FingeringsAs,
        slurs: &mut usize,
    ) -> NoteWriter<'_> {
        NoteWriter { fifths, divisions: Time::from(divisions), raised, fingerings, said: Vec::new(), slurs }
    }

    pub fn notes(&mut self, notes: &[SheetNote]) -> Vec<Fragment> {
        let tuplets = tuplets(notes);
        let beams = beams(notes, &numbered(&tuplets));
        let threefold = threefold(notes, &tuplets);
        let all = notes.iter().zip(beams).zip(tuplets.into_iter().zip(threefold));
        all.map(|((note, beams), tuplet)| self.note(note, &beams, tuplet)).collect()
    }

    fn note(&mut self, note: &SheetNote, beams: &[Beam], (tuplet, is_threefold): (Option<Edge>, bool)) -> Fragment {
        let mut out = Fragment::new("note");
        if note.is_grace {
            out.children.push(Fragment::new("grace").set("slash", "no"));
        }
        out.children.push(match (note.pitch, note.value) {
            (Some(pitch), _) => pitched(pitch.moved(self.raised)),
            (None, Some(_)) => Fragment::new("rest"),
            (None, None) => Fragment::new("rest").set("measure", "yes"),
        });
        if !note.is_grace {
            out.children.push(Fragment::leaf("duration", (note.length * self.divisions).to_integer()));
        }
        for (is_there, kind) in [(note.tied_from, "stop"), (note.tied_to, "start")] {
            out.children.extend(is_there.then(|| Fragment::new("tie").set("type", kind)));
        }
        out.children.push(Fragment::leaf("voice", 1));
        match note.value {
            Some(value) => self.value(&mut out, value, is_threefold),
            None if note.is_grace => out.children.push(Fragment::leaf("type", SMALL)),
            None => {}
        }
        if let Some(pitch) = note.pitch.filter(|_| !note.tied_from) {
            let accidental = self.accidental(pitch);
            if let Some(name) = accidental {
                out.place(Fragment::leaf("accidental", name));
            }
        }
        for (level, beam) in beams.iter().enumerate() {
            out.children.push(Fragment::leaf("beam", beam.name()).set("number", level + 1));
        }
        let notations = self.notations(note, tuplet);
        if !notations.children.is_empty() {
            out.children.push(notations);
        }
        if let (FingeringsAs::Syllables, Some(hands)) = (self.fingerings, &note.fingering) {
            out.children.extend(syllables(hands));
        }
        out
    }

    fn value(&self, out: &mut Fragment, value: Value, is_threefold: bool) {
        let (dots, normal) = match is_threefold {
            true => (0, value.in_the_time_of() * 3 / 2),
            false => (value.dots, value.in_the_time_of()),
        };
        out.children.push(Fragment::leaf("type", type_of(value)));
        out.children.extend((0..dots).map(|_| Fragment::new("dot")));
        if value.tuplet > 1 {
            let modified = Fragment::new("time-modification").with(Fragment::leaf("actual-notes", value.tuplet));
            out.place(modified.with(Fragment::leaf("normal-notes", normal)));
        }
    }

    /// The accidental that the signature and the bar ask for.
    fn accidental(&mut self, pitch: Pitch) -> Option<&'static str> {
        let needed = altered(self.fifths, &self.said, pitch) != pitch.alter;
        self.said.push(pitch);
        needed.then(|| accidental_name(pitch.alter)).flatten()
    }

    fn notations(&mut self, note: &SheetNote, tuplet: Option<Edge>) -> Fragment {
        let mut out = Fragment::new("notations");
        for (is_there, kind) in [(note.tied_from, "stop"), (note.tied_to, "start")] {
            out.children.extend(is_there.then(|| Fragment::new("tied").set("type", kind)));
        }
        // One ends before another begins on the same note.
        if note.slur_stops {
            out.children.push(Fragment::new("slur").set("type", "stop").set("number", slur_number(*self.slurs)));
        }
        if note.slur_starts {
            *self.slurs += 1;
            out.children.push(Fragment::new("slur").set("type", "start").set("number", slur_number(*self.slurs)));
        }
        if let Some(edge) = tuplet {
            let kind = if edge == Edge::Start { "start" } else { "stop" };
            out.children.push(Fragment::new("tuplet").set("type", kind));
        }
        if let (FingeringsAs::Fingerings, Some(hands)) = (self.fingerings, &note.fingering) {
            let mut technical = Fragment::new("technical");
            let lines = hands.iter().filter(|hand| !hand.is_empty());
            technical.children =
                lines.map(|hand| Fragment::leaf("fingering", hand).set("placement", "above")).collect();
            out.children.push(technical);
        }
        out
    }
}

/// Two numbers in turn, so that a slur may begin where another ends.
fn slur_number(count: usize) -> usize {
    1 + count % 2
}

fn syllables(hands: &[String; 2]) -> Vec<Fragment> {
    let lines = hands.iter().filter(|hand| !hand.is_empty());
    let verse = |(number, hand): (usize, &String)| {
        let text = Fragment::leaf("text", hand).set("font-size", "7");
        let syllabic = Fragment::leaf("syllabic", "single");
        Fragment::new("lyric").set("number", number + 1).set("name", ABOVE).with(syllabic).with(text)
    };
    lines.enumerate().map(verse).collect()
}

fn pitched(pitch: Pitch) -> Fragment {
    let mut out = Fragment::new("pitch").with(Fragment::leaf("step", LETTERS[pitch.step as usize]));
    if pitch.alter != 0 {
        let semitones = f64::from(pitch.alter) / 100.0;
        out.children.push(Fragment::leaf("alter", semitones));
    }
    out.with(Fragment::leaf("octave", pitch.octave))
}

/// Of a tuplet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Edge {
    Start,
    Stop,
}

/// The number of each note's tuplet, by their edges.
fn numbered(edges: &[Option<Edge>]) -> Vec<Option<usize>> {
    let mut open = None;
    let number = |(place, edge): (usize, &Option<Edge>)| match edge {
        Some(Edge::Start) => {
            open = Some(place);
            open
        }
        Some(Edge::Stop) => open.take(),
        None => open,
    };
    edges.iter().enumerate().map(number).collect()
}

/// Quadruplets and smaller ones are read off dotted values.
const MOST_DOTTED: i64 = 4;

/// Which notes are of a tuplet of nothing but dotted ones. It is written as players know it: thirteen in the time of
/// twelve, not of eight dotted ones.
fn threefold(notes: &[SheetNote], tuplets: &[Option<Edge>]) -> Vec<bool> {
    let mut out = vec![false; notes.len()];
    let mut start = 0;
    for (place, edge) in tuplets.iter().enumerate() {
        match edge {
            Some(Edge::Start) => start = place,
            Some(Edge::Stop) => {
                let mut values = notes[start..=place].iter().filter_map(|note| note.value);
                out[start..=place].fill(values.all(|value| value.tuplet > MOST_DOTTED && value.dots == 1));
            }
            None => {}
        }
    }
    out
}

/// Where tuplets begin and end: each is as short as it can be and fills a plain length.
fn tuplets(notes: &[SheetNote]) -> Vec<Option<Edge>> {
    let mut out = vec![None; notes.len()];
    let mut open: Option<(i64, Time)> = None;
    for (place, note) in notes.iter().enumerate().filter(|(_, note)| !note.is_grace) {
        let tuplet = note.value.map_or(1, |value| value.tuplet);
        if open.is_some_and(|(of, _)| of != tuplet) {
            open = None;
        }
        if tuplet == 1 {
            continue;
        }
        let filled = open.map_or(Time::zero(), |(_, filled)| filled) + note.length;
        if open.is_none() {
            out[place] = Some(Edge::Start);
        }
        let is_full = filled.denom() % tuplet != 0;
        // One note alone has both ends: it is left without.
        if is_full {
            out[place] = if out[place].is_some() { None } else { Some(Edge::Stop) };
        }
        open = (!is_full).then_some((tuplet, filled));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::Indentation;
    use super::*;

    fn run(length: Time, count: i64) -> Vec<SheetNote> {
        let note = |place: i64| SheetNote {
            pitch: Some(Pitch::new(0, 0, 5)),
            value: Value::of(length, 1),
            offset: length * Time::from(place),
            length,
            ..SheetNote::default()
        };
        (0..count).map(note).collect()
    }

    #[test]
    fn thirteen_notes_are_in_the_time_of_twelve() {
        let mut slurs = 0;
        let mut writer = NoteWriter::new(0, 26, Interval::octaves(0), FingeringsAs::Fingerings, &mut slurs);
        let written = |notes: Vec<Fragment>| notes[0].render(&Indentation { newline: "", unit: String::new() }, "");
        let text = written(writer.notes(&run(Time::new(3, 26), 13)));
        assert!(text.contains("<normal-notes>12</normal-notes>") && !text.contains("<dot/>"), "{text}");
        // A triplet with a rest has its own beam.
        let mut notes = run(Time::new(1, 6), 6);
        let beams_of =
            |notes: &[SheetNote]| beams(notes, &numbered(&tuplets(notes))).iter().map(Vec::len).collect::<Vec<_>>();
        assert!(beams(&notes, &numbered(&tuplets(&notes)))[2][0] == Beam::Continue);
        notes[0].pitch = None;
        assert_eq!(beams_of(&notes), [0, 2, 2, 2, 2, 2]);
        assert!(beams(&notes, &numbered(&tuplets(&notes)))[2][0] == Beam::End);
        // In 6/8 four in the time of three are dotted notes.
        let text = written(writer.notes(&run(Time::new(3, 8), 4)));
        assert!(text.contains("<dot/>") && !text.contains("time-modification"), "{text}");
    }
}
