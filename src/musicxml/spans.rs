//! Slurs, hairpins and other spans: pairing their ends by kind and number.

use crate::score::sign::LineKind;
use crate::score::{Anchor, Element, MarkId, Part, Sign, Wording};
use crate::time::Time;
use std::collections::HashMap;

/// What kinds of span there are; ends only pair within one kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    Line(LineKind),
    Hairpin,
    OctaveLine,
    Pedal,
    Wavy,
    Ending,
    Tremolo,
}

impl Kind {
    /// What a musician calls it.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Line(LineKind::Slur) => "a slur",
            Kind::Hairpin => "a hairpin",
            Kind::Line(LineKind::Dashes) => "a line of dashes",
            Kind::OctaveLine => "an octave line",
            Kind::Pedal => "a pedal line",
            Kind::Wavy => "a trill's wavy line",
            Kind::Line(LineKind::Glissando) => "a glissando",
            Kind::Line(LineKind::Slide) => "a slide",
            Kind::Line(LineKind::Bracket) => "a bracket",
            Kind::Ending => "an ending bracket",
            Kind::Tremolo => "a tremolo between two notes",
            Kind::Line(LineKind::PrincipalVoice) => "the bracket of a principal voice",
            Kind::Line(LineKind::HammerOn) => "a hammer-on",
            Kind::Line(LineKind::PullOff) => "a pull-off",
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    Start,
    Continue,
    /// It may go on later; else it ended here.
    Pause,
    Stop,
}

/// One end (or middle) of a span, as the document has it.
#[derive(Debug, Clone)]
pub struct End {
    pub kind: Kind,
    pub number: Wording,
    pub role: Role,
    pub place: Anchor,
    /// Absolute time, and before the main note for grace notes.
    pub order: (Time, i32),
    pub voice: u32,
    pub staff: u32,
    pub element: Element,
    /// The mark that a start opened, or a mark made for a lone stop.
    pub mark: Option<MarkId>,
    /// A hairpin that ends in nothing.
    pub to_nothing: bool,
}

/// An end looks for its start among so many that are open under its number.
const MOST_OPEN: usize = 256;

/// Pairs all ends of a part, in time rather than in the order of the document:
/// a stop may stand before its start in the file. Returns the ends left alone.
pub fn pair(part: &mut Part, mut ends: Vec<End>) -> Vec<End> {
    // A span that ends where the next one starts ends first.
    ends.sort_by_key(|e| (e.order, e.role != Role::Stop));
    let mut open: HashMap<(Kind, Wording), Vec<End>> = HashMap::new();
    let is_paused = |part: &Part, start: &End| start.mark.is_some_and(|mark| part.marks[mark].end.is_some());
    let mut alone: Vec<End> = Vec::new();
    for end in ends {
        let open = open.entry((end.kind, end.number.clone())).or_default();
        if end.role == Role::Start {
            // A pause that was never taken up was the end.
            if open.last().is_some_and(|last| is_paused(part, last)) {
                open.pop();
            }
            // What stops later in the document at the same moment is its own end.
            let recent = alone.len().saturating_sub(MOST_OPEN);
            let own = alone[recent..].iter().rposition(|stop| {
                let same = (stop.kind, &stop.number, stop.order) == (end.kind, &end.number, end.order);
                same && stop.role == Role::Stop && stop.element > end.element
            });
            match own {
                Some(at) => {
                    let stop = alone.remove(recent + at);
                    close(part, &end, &stop);
                }
                None => open.push(end),
            }
            continue;
        }
        let Some(index) = best_open(open, &end) else {
            alone.push(end);
            continue;
        };
        close(part, &open[index], &end);
        if end.role == Role::Stop {
            open.remove(index);
        }
    }
    alone.extend(open.into_values().flatten().filter(|start| !is_paused(part, start)));
    alone.sort_by_key(|end| (end.order, end.element));
    for mark in &mut part.marks {
        mark.elements.sort_unstable();
    }
    alone
}

/// Joins an end, or a middle, to the mark of its start.
fn close(part: &mut Part, start: &End, end: &End) {
    let mark = &mut part.marks[start.mark.expect("a start has its mark")];
    mark.elements.push(end.element);
    if let Sign::Hairpin(hairpin) = &mut mark.sign {
        hairpin.to_nothing |= end.to_nothing;
    }
    if matches!(end.role, Role::Stop | Role::Pause) {
        mark.end = Some(end.place);
        mark.end_elements = vec![end.element];
    }
}

/// Numbers are reused across voices and staves: the same voice is preferred,
/// then the same staff, then whatever was opened last.
fn best_open(open: &[End], end: &End) -> Option<usize> {
    (open.len().saturating_sub(MOST_OPEN)..open.len())
        .max_by_key(|index| (open[*index].voice == end.voice, open[*index].staff == end.staff, *index))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::musicxml::{Input, Tree, read};

    /// A bar of four quarters in two voices, with `notations` at each note of the first and of the second.
    fn read_bar(first: [&str; 4], second: [&str; 4], directions: [&str; 4]) -> Part {
        let note = |voice: u32, notations: &str| {
            format!(
                "<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration><voice>{voice}</voice>\
                 <notations>{notations}</notations></note>"
            )
        };
        let one: String = (0..4).map(|n| format!("{}{}", directions[n], note(1, first[n]))).collect();
        let two: String = second.iter().map(|n| note(2, n)).collect();
        let text = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name/></score-part></part-list><part id=\"P1\">\
             <measure number=\"1\"><attributes><divisions>1</divisions></attributes>{one}\
             <backup><duration>4</duration></backup>{two}</measure></part></score-partwise>"
        );
        let input = Input::from_bytes("spans", text.into()).unwrap();
        let tree = Tree::parse(&input).unwrap();
        read(&tree).unwrap().score.parts.remove(0)
    }

    /// Of each span: its name, voice, and from which to which quarter it goes.
    fn spans(part: &Part) -> Vec<String> {
        let marks = part.marks.iter().filter(|m| !matches!(m.sign, Sign::Key { .. }));
        let end = |m: &crate::score::Mark| m.end.map_or("nowhere".to_string(), |e| e.offset.to_string());
        marks.map(|m| format!("{} {} {} to {}", m.sign.name(), m.voice + 1, m.at.offset, end(m))).collect()
    }

    const START: &str = "<slur type=\"start\"/>";
    const STOP: &str = "<slur type=\"stop\"/>";
    const BOTH: &str = "<slur type=\"stop\"/><slur type=\"start\"/>";
    const NOTHING: [&str; 4] = [""; 4];

    #[test]
    fn a_slur_closes_no_hairpin() {
        let [opens, closes] = ["crescendo", "stop"]
            .map(|kind| format!("<direction><direction-type><wedge type=\"{kind}\"/></direction-type></direction>"));
        let part = read_bar([START, "", STOP, ""], NOTHING, ["", &opens, "", &closes]);
        assert_eq!(spans(&part), ["slur 1 0 to 2", "crescendo 1 1 to 3"]);
    }

    #[test]
    fn voices_that_share_a_number_keep_their_own() {
        let part = read_bar([START, "", STOP, ""], ["", START, "", STOP], NOTHING);
        assert_eq!(spans(&part), ["slur 1 0 to 2", "slur 2 1 to 3"]);
    }

    #[test]
    fn a_slur_ends_before_the_next_begins() {
        for turn in [BOTH, "<slur type=\"start\"/><slur type=\"stop\"/>"] {
            let part = read_bar([START, turn, turn, STOP], NOTHING, NOTHING);
            assert_eq!(spans(&part), ["slur 1 0 to 1", "slur 1 1 to 2", "slur 1 2 to 3"], "{turn}");
        }
    }

    #[test]
    fn of_slurs_in_each_other_the_inner_one_ends_first() {
        let part = read_bar([START, START, STOP, STOP], NOTHING, NOTHING);
        assert_eq!(spans(&part), ["slur 1 0 to 3", "slur 1 1 to 2"]);
    }

    #[test]
    fn a_slur_with_another_number_stays_open() {
        let part = read_bar([START, "", "<slur type=\"stop\" number=\"2\"/>", ""], NOTHING, NOTHING);
        assert_eq!(spans(&part), ["slur 1 0 to nowhere"]);
    }
}
