//! Fingerings that were written for other notes than those under them now.

use super::sheet::SheetMark;
use crate::pitch::Pitch;
use crate::score::{Anchor, Category, Part, Score};

/// What all of these warnings say.
const OTHER: [&str; 2] = ["written for another note", "written for other notes"];

/// Whether a warning tells of fingerings on other notes.
pub(super) fn is_told(warning: &str) -> bool {
    OTHER.iter().any(|other| warning.contains(other))
}

/// So many are named.
const NAMED: usize = 8;

/// Each fingering of a part in order, with the note that carries it.
fn noted(part: &Part) -> Vec<(usize, Option<Pitch>)> {
    let own = part.marks.iter().filter(|mark| mark.category == Category::Fingering);
    own.map(|mark| (mark.at.bar, mark.at.note.and_then(|note| part.notes[note].pitch()))).collect()
}

/// Tells of the fingerings whose notes are others after a change of a copy; a fingering that helped on one note does not
/// on another.
pub(super) fn moved(before: &Score, after: &Score) -> Vec<String> {
    let of_part = |(old, new): (&Part, &Part)| {
        let (old, now) = (noted(old), noted(new));
        let other = old.iter().zip(&now).filter(|(old, now)| old.1 != now.1).map(|(_, now)| now.0);
        let bars: Vec<usize> = other.collect();
        let mut numbers: Vec<&str> = bars.iter().map(|bar| new.bars[*bar].number.as_str()).collect();
        numbers.dedup();
        let more = if numbers.len() > NAMED { ", …" } else { "" };
        numbers.truncate(NAMED);
        let what = match bars.len() {
            0 => return None,
            1 => format!("1 fingering was {}; check it", OTHER[0]),
            n => format!("{n} fingerings were {}; check them", OTHER[1]),
        };
        let bar = if numbers.len() == 1 && more.is_empty() { "bar" } else { "bars" };
        Some(format!("{}, {bar} {}{more}: {what}", new.spoken(), numbers.join(", ")))
    };
    before.parts.iter().zip(&after.parts).filter_map(of_part).collect()
}

/// Tells of fingerings of the user's own that say for which note they were made, and stand on another.
pub(super) fn on_others(part: &Part, laid: &[(&SheetMark, Anchor)]) -> Option<String> {
    let other = |(mark, at): &(&SheetMark, Anchor)| {
        let wanted = mark.on.as_ref()?;
        let now = part.notes[at.note?].pitch()?.to_string();
        let text = mark.fingering.as_ref()?;
        (now != *wanted).then(|| format!("{text} in bar {} (for {wanted}, now on {now})", part.bars[at.bar].number))
    };
    let mut all: Vec<String> = laid.iter().filter_map(other).collect();
    let what = match all.len() {
        0 => return None,
        1 => format!("1 fingering of yours was {}; check it", OTHER[0]),
        n => format!("{n} fingerings of yours were {}; check them", OTHER[1]),
    };
    if all.len() > NAMED {
        all.truncate(NAMED);
        all.push("…".into());
    }
    Some(format!("{what}: {}", all.join(", ")))
}

/// The note of a fingering, as a sheet says it.
pub(super) fn note(part: &Part, at: Anchor) -> Option<String> {
    Some(part.notes[at.note?].pitch()?.to_string())
}
