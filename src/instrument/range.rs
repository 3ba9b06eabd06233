//! Which notes of a part leave an instrument's range.

use super::{Instrument, Range, ReadAs};
use crate::pitch::{Interval, Pitch};
use crate::score::{NoteId, Part};
use crate::time::Time;
use serde::Serialize;

/// So many notes inside the range do not end a passage outside it.
const BRIDGE: usize = 2;

/// On which side of its range a note lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, strum::IntoStaticStr)]
#[serde(rename_all = "lowercase")]
#[strum(serialize_all = "lowercase")]
pub enum Side {
    Below,
    Above,
}

impl Side {
    pub fn name(self) -> &'static str {
        self.into()
    }
}

/// A part against a range.
#[derive(Debug, Clone)]
pub struct RangeCheck {
    pub instrument: String,
    pub read_as: ReadAs,
    /// In which octave the part was read, in one sentence, for people.
    pub octave_sentence: String,
    /// The range that the pitches were compared with.
    pub range: Range,
    /// The same for people, as in `F4 to G6`, `sounding D3 to Bb6`.
    pub range_words: String,
    /// In the order of the part.
    pub outside: Vec<Outside>,
    pub passages: Vec<OutsidePassage>,
    /// `None` for a part without pitches.
    pub compass: Option<Compass>,
}

/// A note outside the range, struck or a grace note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outside {
    pub note: NoteId,
    /// In the octave that was taken.
    pub pitch: Pitch,
    pub side: Side,
}

/// Notes of one voice that leave the range together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutsidePassage {
    pub side: Side,
    /// All its notes from the first to the last one outside.
    pub notes: Vec<NoteId>,
    /// How many of them are outside.
    pub outside: usize,
    /// Towards the range: 1 for what lies below, -1 for what lies above.
    pub octave: i32,
    /// How many would be outside after that octave.
    pub outside_moved: usize,
}

/// The lowest and the highest note of a part, the first of each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Compass {
    pub lowest: (NoteId, Pitch),
    pub highest: (NoteId, Pitch),
}

/// Compares a part with the range of an instrument, in the octave that is
/// `asked` for or that the part itself tells.
pub fn check(part: &Part, instrument: &Instrument, asked: Option<ReadAs>) -> RangeCheck {
    let (read_as, octave_sentence) = ReadAs::of(part, instrument, asked);
    let range = match read_as {
        ReadAs::Written => instrument.written,
        ReadAs::Sounding => instrument.sounding,
    };
    let range_words = match read_as {
        _ if instrument.written == instrument.sounding => range.to_string(),
        ReadAs::Written => format!("written {range}"),
        ReadAs::Sounding => format!("sounding {range}"),
    };
    let mut check = RangeCheck {
        instrument: instrument.name.clone(),
        read_as,
        octave_sentence,
        range,
        range_words,
        outside: Vec::new(),
        passages: Vec::new(),
        compass: None,
    };
    for note in played(part) {
        let Some(pitch) = check.pitch(part, note) else {
            continue;
        };
        if let Some(side) = range.leaves(pitch) {
            check.outside.push(Outside { note, pitch, side });
        }
        let own = (note, pitch);
        let compass = check.compass.get_or_insert(Compass { lowest: own, highest: own });
        if pitch.sound() < compass.lowest.1.sound() {
            compass.lowest = own;
        }
        if pitch.sound() > compass.highest.1.sound() {
            compass.highest = own;
        }
    }
    check.passages = passages(part, &check);
    check
}

/// Notes that sound anew: struck ones and grace notes, without cues.
pub fn played(part: &Part) -> impl Iterator<Item = NoteId> + '_ {
    (0..part.notes.len()).filter(|n| {
        let note = &part.notes[*n];
        !note.cue && !note.is_rest() && note.tied_from.is_none()
    })
}

impl RangeCheck {
    /// The pitch of a note in the octave that was taken.
    pub fn pitch(&self, part: &Part, note: NoteId) -> Option<Pitch> {
        let pitch = part.notes[note].pitch()?;
        Some(self.read(part, part.notes[note].bar, pitch))
    }

    /// A sounding pitch in the octave that was taken, as it stands in a bar.
    pub fn read(&self, part: &Part, bar: usize, sounding: Pitch) -> Pitch {
        match self.read_as {
            ReadAs::Sounding => sounding,
            ReadAs::Written => sounding.moved(part.bars[bar].transpose.inverse()),
        }
    }

    /// Whether a note is on the list of those outside.
    pub fn is_outside(&self, note: NoteId) -> bool {
        self.outside.binary_search_by_key(&note, |o| o.note).is_ok()
    }
}

fn passages(part: &Part, check: &RangeCheck) -> Vec<OutsidePassage> {
    let mut voices: Vec<u32> = check.outside.iter().map(|o| part.notes[o.note].voice).collect();
    voices.sort_unstable();
    voices.dedup();
    let mut out = Vec::new();
    for voice in voices {
        let line: Vec<(NoteId, Pitch)> = played(part)
            .filter(|n| part.notes[*n].voice == voice)
            .filter_map(|n| Some((n, check.pitch(part, n)?)))
            .collect();
        for (first, last, side) in runs(part, check, &line) {
            let line = &line[first..=last];
            let octave = if side == Side::Below { 1 } else { -1 };
            let outside = |by: i32| {
                line.iter().filter(|n| check.range.leaves(n.1.moved(Interval::octaves(by))).is_some()).count()
            };
            out.push(OutsidePassage {
                side,
                notes: line.iter().map(|n| n.0).collect(),
                outside: outside(0),
                octave,
                outside_moved: outside(octave),
            });
        }
    }
    out.sort_by_key(|p| p.notes[0]);
    out
}

/// First and last note outside of each run in a voice, as places in its line.
fn runs(part: &Part, check: &RangeCheck, line: &[(NoteId, Pitch)]) -> Vec<(usize, usize, Side)> {
    let mut out: Vec<(usize, usize, Side)> = Vec::new();
    let mut open = false;
    // Where the music of this voice has come to.
    let mut reached: Option<Time> = None;
    for (place, (note, pitch)) in line.iter().enumerate() {
        let onset = part.onset(*note);
        let bar = part.bars[part.notes[*note].bar].meter.bar;
        open &= reached.is_none_or(|end| onset - end <= bar);
        let end = onset + part.sounding(*note);
        reached = Some(reached.map_or(end, |r| r.max(end)));
        let Some(side) = check.range.leaves(*pitch) else {
            continue;
        };
        match out.last_mut() {
            Some(run) if open && run.2 == side && place - run.1 <= BRIDGE + 1 => run.1 = place,
            _ => out.push((place, place, side)),
        }
        open = true;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::Instruments;
    use crate::musicxml::{self, Input, Tree};

    /// A part of quarter notes, four to a bar, as `F4 G4 r A4`, with the
    /// attributes given; `g:F4` is a grace note.
    fn part(notes: &str, attributes: &str) -> Part {
        let mut bars = vec![String::new()];
        let mut place = 0;
        for note in notes.split_whitespace() {
            let (grace, name) = note.strip_prefix("g:").map_or((false, note), |n| (true, n));
            let sound = match Pitch::parse(name) {
                None => "<rest/>".to_string(),
                Some(p) => format!(
                    "<pitch><step>{}</step><alter>{}</alter><octave>{}</octave></pitch>",
                    crate::pitch::LETTERS[p.step as usize],
                    p.alter / 100,
                    p.octave
                ),
            };
            if !grace && place > 0 && place % 4 == 0 {
                bars.push(String::new());
            }
            let bar = bars.last_mut().unwrap();
            *bar += &match grace {
                true => format!("<note><grace/>{sound}<voice>1</voice></note>"),
                false => format!("<note>{sound}<duration>1</duration><voice>1</voice></note>"),
            };
            place += usize::from(!grace);
        }
        let bars: Vec<String> = bars
            .iter()
            .enumerate()
            .map(|(b, notes)| {
                let head = match b {
                    0 => format!("<attributes><divisions>1</divisions>{attributes}</attributes>"),
                    _ => String::new(),
                };
                format!("<measure number=\"{}\">{head}{notes}</measure>", b + 1)
            })
            .collect();
        let text = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name/></score-part>\
             </part-list><part id=\"P1\">{}</part></score-partwise>",
            bars.concat()
        );
        let input = Input::from_bytes("test", text.into_bytes()).unwrap();
        let tree = Tree::parse(&input).unwrap();
        musicxml::read(&tree).unwrap().score.parts.remove(0)
    }

    fn checked(part: &Part, instrument: &str) -> RangeCheck {
        check(part, Instruments::standard().find(instrument).unwrap(), None)
    }

    fn outside(check: &RangeCheck) -> Vec<String> {
        check.outside.iter().map(|o| format!("{} {}", o.pitch, o.side.name())).collect()
    }

    const OCTAVE_CLEF: &str = "<clef><sign>G</sign><line>2</line><clef-octave-change>1</clef-octave-change></clef>";

    // Alto recorder F4 to G6: B. Thorn, Composing for the Recorder.
    #[test]
    fn notes_outside_are_listed_and_the_limits_are_inside() {
        let check = checked(&part("F4 E4 G6 Ab6 g:E4 F#6", ""), "alto recorder");
        assert_eq!(outside(&check), ["E4 below", "Ab6 above", "E4 below"]);
        let compass = check.compass.unwrap();
        assert_eq!((compass.lowest.1.to_string(), compass.highest.1.to_string()), ("E4".into(), "Ab6".into()));
    }

    // A soprano recorder is written C4 to D6 and sounds C5 to D7: Thorn.
    #[test]
    fn an_octave_that_is_told_is_believed_and_another_is_read_as_written() {
        let told = checked(&part("C5 D7 B4", OCTAVE_CLEF), "soprano recorder");
        assert_eq!(told.read_as, ReadAs::Sounding);
        assert_eq!(outside(&told), ["B4 below"]);
        let untold = checked(&part("C4 D6 B3", ""), "soprano recorder");
        assert_eq!(untold.read_as, ReadAs::Written);
        assert_eq!(untold.range.to_string(), "C4 to D6");
        assert_eq!(outside(&untold), ["B3 below"]);
        assert!(untold.octave_sentence.contains("does not say"), "{}", untold.octave_sentence);
    }

    #[test]
    fn what_the_user_says_of_the_octave_is_believed() {
        let table = Instruments::standard();
        let soprano = table.find("soprano recorder").unwrap();
        let read = |attributes: &str, asked| check(&part("C5 D7 B4", attributes), soprano, Some(asked));
        let written = read(OCTAVE_CLEF, ReadAs::Written);
        assert_eq!(outside(&written), ["D7 above"]);
        assert!(written.octave_sentence.starts_with("As --written asks"), "{}", written.octave_sentence);
        let sounding = read("", ReadAs::Sounding);
        assert_eq!(outside(&sounding), ["B4 below"]);
        assert!(sounding.octave_sentence.starts_with("As --sounding asks"), "{}", sounding.octave_sentence);
    }

    // A clarinet in B flat is written E3 and sounds D3: orchestration range tables.
    #[test]
    fn a_transposing_part_is_compared_as_it_sounds() {
        let transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>";
        let check = checked(&part("E3 Eb3", transpose), "clarinet in B flat");
        assert_eq!(check.read_as, ReadAs::Sounding);
        assert_eq!(outside(&check), ["Db3 below"]);
    }

    #[test]
    fn notes_outside_gather_into_passages() {
        let passages = |notes: &str| -> Vec<(usize, usize, i32, usize)> {
            let check = checked(&part(notes, ""), "alto recorder");
            check.passages.iter().map(|p| (p.notes.len(), p.outside, p.octave, p.outside_moved)).collect()
        };
        // Two notes inside do not end a passage, three do.
        assert_eq!(passages("E4 D4 F4 G4 E4"), [(5, 3, 1, 0)]);
        assert_eq!(passages("E4 F4 G4 F4 E4"), [(1, 1, 1, 0), (1, 1, 1, 0)]);
        // Four beats of rest do not end it, five do.
        assert_eq!(passages("E4 r r r r D4"), [(2, 2, 1, 0)]);
        assert_eq!(passages("E4 r r r r r D4"), [(1, 1, 1, 0), (1, 1, 1, 0)]);
        // What lies above goes down, and too high a leap stays outside.
        assert_eq!(passages("A6 E4 A6"), [(1, 1, -1, 0), (1, 1, 1, 0), (1, 1, -1, 0)]);
        assert_eq!(passages("A6 B6 F4 G4 C8"), [(5, 3, -1, 3)]);
    }
}
