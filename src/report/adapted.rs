//! What was done to a clean copy for the one who plays it: ours, and not the editor's.

use super::keys_reason::octave_change_sentence;
use super::phrases::count;
use crate::clean::{Cleaned, Direction, OnInstrument};
use crate::instrument::Outside;
use crate::keys::phrases::Move;
use crate::pitch::Interval;
use crate::score::{NoteId, Part, Place};
use std::collections::BTreeSet;

/// So many octave changes are told by the command; the critical notes have all.
const CHANGES: usize = 8;
/// So many stretches of notes that stay outside are told, with so many pitches each.
const STRETCHES: usize = 8;
const PITCHES: usize = 12;

/// One sentence of the critical notes, and where it belongs.
pub(super) struct Remark<'a> {
    pub part: &'a Part,
    pub bar: String,
    pub at: Place,
    pub voice: u32,
    pub category: &'static str,
    pub text: String,
}

pub(super) fn has_moves(cleaned: &Cleaned) -> bool {
    cleaned.on.iter().any(|on| on.moves.as_ref().is_some_and(|moves| !moves.is_empty()))
}

/// Why it was moved this way and not the other, to follow the interval.
pub(super) fn direction(chosen: &Direction) -> String {
    let ((_, ours), (other, theirs)) = (chosen.taken, chosen.other);
    let (other, name) = (other.name(), &chosen.instrument);
    if ours == theirs {
        return format!(", the nearer way; {other} would lie no better on the {name}");
    }
    let (n, than, what) = match ours.outside == theirs.outside {
        true => (ours.moved, theirs.moved, ["goes to another octave", "go to another octave"]),
        false => (ours.outside, theirs.outside, ["stays outside", "stay outside"]),
    };
    let what = what[usize::from(n != 1)];
    let notes = if n == 0 { "no notes".into() } else { count(n, "note") };
    format!(", not {other}: on the {name} {notes} {what}, instead of {than}")
}

/// The lines of the command's own summary.
pub(super) fn told(cleaned: &Cleaned) -> Vec<String> {
    let mut out = Vec::new();
    for on in &cleaned.on {
        out.push(format!("{} {}", summary(on), on.octave_sentence));
        let moves = on.moves.as_deref().unwrap_or_default();
        out.extend(moves.iter().take(CHANGES).map(|m| format!("- {}.", octave_change_sentence(&on.part, m))));
        if moves.len() > CHANGES {
            let more = count(moves.len() - CHANGES, "more change");
            out.push(format!("- and {more}; the critical notes (--notes) list all."));
        }
        out.extend(outside(on));
        out.extend(on.held.iter().map(|m| format!("- {}.", held(&on.part, m))));
    }
    if cleaned.on.iter().any(|on| on.moves.is_none() && !on.left.is_empty()) {
        let one = if cleaned.on.len() > 1 { "--part and --fit" } else { "--fit" };
        out.push(format!("{one} moves phrases that leave the range to another octave."));
    }
    if let Some(written) = &cleaned.written {
        let sounding = match written.transposition {
            Interval::UNISON => "it sounds as written".to_string(),
            by => format!("it sounds {} than written", by.relation()),
        };
        let besides = if has_moves(cleaned) { ", not counting the octave changes of phrases" } else { "" };
        let moved = match written.sounds {
            Interval::UNISON => String::new(),
            by => format!(" The whole part sounds {} than before{besides}.", by.relation()),
        };
        let lead =
            format!("Written for the {}, in the {}; {sounding}.{moved}", written.instrument, written.clef.words());
        out.push(if cleaned.on.is_empty() { format!("{lead} {}", written.octave_sentence) } else { lead });
    }
    out
}

/// Whether a part fits its instrument, in one or two sentences.
pub(super) fn summary(on: &OnInstrument) -> String {
    let name = format!("{} on the {} ({})", on.part.spoken(), on.instrument, on.range);
    let Some(moves) = &on.moves else {
        return match on.left.len() {
            0 => format!("{name}: all notes fit."),
            n => format!("{name}: {} the range.", leave(n)),
        };
    };
    if on.outside == 0 {
        return format!("{name}: all notes fit, no octave was changed.");
    }
    let moved: usize = moves.iter().map(|m| m.notes.len()).sum();
    let done = match moves.len() {
        0 => "no phrase could go to another octave".into(),
        1 => format!("1 phrase ({}) went to another octave", count(moved, "note")),
        n => format!("{n} phrases ({}) went to another octave", count(moved, "note")),
    };
    let now = match on.left.len() {
        0 => "now all fit".to_string(),
        1 => "1 is still outside".to_string(),
        n => format!("{n} are still outside"),
    };
    let voices: BTreeSet<u32> = on.part.struck().map(|note| on.part.notes[note].voice).collect();
    let together = match voices.len() {
        1 => String::new(),
        n => format!(" Its {n} voices move together or not at all."),
    };
    format!("{name}: {} the range; {done}, and {now}.{together}", leave(on.outside))
}

fn leave(notes: usize) -> String {
    format!("{} {}", count(notes, "note"), if notes == 1 { "leaves" } else { "leave" })
}

/// The notes outside, those of one side in bars that follow each other together.
fn outside(on: &OnInstrument) -> Vec<String> {
    let mut left: Vec<&Outside> = on.left.iter().collect();
    left.sort_by_key(|o| on.part.notes[o.note].bar);
    let bar_of = |o: &Outside| on.part.notes[o.note].bar;
    let together = |a: &&Outside, b: &&Outside| a.side == b.side && bar_of(b) <= bar_of(a) + 1;
    let stretches: Vec<&[&Outside]> = left.chunk_by(together).collect();
    let line = |notes: &&[&Outside]| {
        let mut pitches: Vec<String> = notes.iter().take(PITCHES).map(|o| o.pitch.to_string()).collect();
        if notes.len() > PITCHES {
            pitches.push("…".into());
        }
        let (first, last) = (notes[0], notes[notes.len() - 1]);
        let bars = match bar_of(first) == bar_of(last) {
            true => format!("bar {}", bar(&on.part, first.note)),
            false => format!("bars {} to {}", bar(&on.part, first.note), bar(&on.part, last.note)),
        };
        format!("- {bars}: {} {}: {}", count(notes.len(), "note"), first.side.name(), pitches.join(" "))
    };
    let mut out: Vec<String> = stretches.iter().take(STRETCHES).map(line).collect();
    let more: usize = stretches.iter().skip(STRETCHES).map(|s| s.len()).sum();
    if more > 0 {
        out.push(format!("- and {}; the critical notes (--notes) list all.", count(more, "more note")));
    }
    out
}

fn bar(part: &Part, note: NoteId) -> &str {
    &part.bars[part.notes[note].bar].number
}

fn held(part: &Part, m: &Move) -> String {
    format!("not done, because a line joins it to a note that stays: {}", octave_change_sentence(part, m))
}

/// All that the critical notes have to say of it.
pub(super) fn remarks(on: &OnInstrument) -> Vec<Remark<'_>> {
    let part = &on.part;
    let remark = |note: NoteId, category: &'static str, text: String| {
        let own = &part.notes[note];
        let at = own.place();
        Remark { part, bar: bar(part, note).to_string(), at, voice: own.voice, category, text }
    };
    let moves = on.moves.iter().flatten();
    let mut out: Vec<Remark> = moves
        .map(|m| {
            remark(
                m.notes[0],
                "octave change",
                format!("by obelus, not by the editor: {}", octave_change_sentence(part, m)),
            )
        })
        .collect();
    out.extend(on.held.iter().map(|m| remark(m.notes[0], "octave change", held(part, m))));
    out.extend(on.left.iter().map(|o| {
        let side = o.side.name();
        let text = format!(
            "bar {}: {} is {side} the range of the {} ({})",
            bar(part, o.note),
            o.pitch,
            on.instrument,
            on.range
        );
        remark(o.note, "range", text)
    }));
    out.sort_by_key(|r| (r.at.bar, r.at.offset));
    out
}
