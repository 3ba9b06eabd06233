//! The voices of a part as one line: who plays them all moves them together.

use super::line::{Event, Line, joints, may_part, times};
use crate::score::{NoteId, Part};
use std::borrow::Cow;
use std::collections::HashMap;

/// All voices of a part, note under note. It is parted only where each of them
/// can be, and none sounds on.
pub fn together<'l>(part: &Part, lines: &'l [Line]) -> Option<Cow<'l, Line>> {
    let (first, others) = lines.split_first()?;
    if others.is_empty() {
        return Some(Cow::Borrowed(first));
    }
    let mut all: Vec<(&Line, &Event)> = lines.iter().flat_map(|l| l.events.iter().map(move |e| (l, e))).collect();
    all.sort_by_key(|(_, event)| (event.onset, !event.grace));
    let mut out = Line { voice: first.voice, notes: Vec::new(), events: Vec::new() };
    for (line, event) in all {
        let from = out.notes.len();
        out.notes.extend_from_slice(&line.notes[event.notes.clone()]);
        let top = from + (event.top - event.notes.start);
        match out.events.last_mut() {
            Some(last) if last.onset == event.onset && !last.grace && !event.grace => {
                last.notes.end = out.notes.len();
                last.end = last.end.max(event.end);
                if out.notes[top].1.sound() > out.notes[last.top].1.sound() {
                    last.top = top;
                }
            }
            _ => out.events.push(Event { notes: from..out.notes.len(), top, after_rest: false, ..event.clone() }),
        }
    }
    times(&mut out);
    joints(part, &mut out);
    join_where_a_voice_goes_on(lines, &mut out);
    Some(Cow::Owned(out))
}

/// No voice is parted where it could not be alone.
fn join_where_a_voice_goes_on(lines: &[Line], all: &mut Line) {
    let mut place: HashMap<NoteId, usize> = HashMap::new();
    for (at, event) in all.events.iter().enumerate() {
        place.extend(all.notes[event.notes.clone()].iter().map(|n| (n.0, at)));
    }
    let of = |line: &Line, event: usize| place[&line.notes[line.events[event].notes.start].0];
    for line in lines {
        for event in (1..line.events.len()).filter(|event| !may_part(line, *event)) {
            // A grace note comes first where a note before it has no length.
            let [one, other] = [of(line, event - 1), of(line, event)];
            all.events[one.min(other) + 1..=one.max(other)].iter_mut().for_each(|e| e.joined = true);
        }
    }
}
