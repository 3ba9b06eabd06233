//! What the program reads in a score, as JSON, for tools that share nothing with it.

use obelus::score::{Anchor, Note, Part, Sound};
use obelus::testing::Parsed;
use serde_json::{Value, json};

/// All of a reading. Times are quarter notes as exact fractions in text; pitches sound, `alter` in hundredths of a
/// semitone; bars and notes are named by their 0-based place in the part.
pub fn contents(reading: &Parsed) -> Value {
    json!({
        "title": reading.score.title,
        "parts": reading.score.parts.iter().map(part).collect::<Vec<_>>(),
        "warnings": reading.warnings,
    })
}

fn part(part: &Part) -> Value {
    let bars: Vec<Value> = part
        .bars
        .iter()
        .map(|b| {
            json!({
                "number": b.number,
                "start": b.start.to_string(),
                "length": b.length.to_string(),
                "meter": b.meter.bar.to_string(),
                "beat": b.meter.beat.to_string(),
                "fifths": b.fifths,
            })
        })
        .collect();
    let marks: Vec<Value> = part
        .marks
        .iter()
        .map(|m| {
            json!({
                "category": m.category.name(), "kind": m.sign.name(), "reading": m.reading(),
                "at": place(&m.at), "end": m.end.as_ref().map(place), "voice": m.voice, "staff": m.staff,
            })
        })
        .collect();
    json!({
        "id": part.id, "name": part.name, "staves": part.staves,
        "bars": bars, "notes": part.notes.iter().map(note).collect::<Vec<_>>(), "marks": marks,
    })
}

fn place(at: &Anchor) -> Value {
    json!({"bar": at.bar, "offset": at.offset.to_string(), "note": at.note})
}

fn note(note: &Note) -> Value {
    let (kind, pitch) = match note.sound {
        Sound::Pitched(p) => ("pitched", Some(p)),
        Sound::Unpitched(p) => ("unpitched", Some(p)),
        Sound::Rest => ("rest", None),
    };
    json!({
        "kind": kind,
        "pitch": pitch.map(|p| json!({"step": p.step, "alter": p.alter, "octave": p.octave})),
        "bar": note.bar, "offset": note.offset.to_string(), "duration": note.duration.to_string(),
        "voice": note.voice, "staff": note.staff, "chord": note.chord, "cue": note.cue,
        "grace": note.grace, "grace_after": note.grace_after,
        "tied_from": note.tied_from, "tied_to": note.tied_to,
    })
}
