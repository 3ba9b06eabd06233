//! Which marks of a copy give way to a teacher's own, because a player could
//! not follow both.

use super::content::{Content, mark_line};
use crate::musicxml::rewrite::Marking;
use crate::pitch::Interval;
use crate::score::{Category, Mark, Part, Place, Sign};
use crate::time::beat_text;

/// How a warning ends that a mark gave way.
pub(super) const REPLACED: &str = " was replaced by yours";

/// A teacher's mark with its place in the copy.
#[derive(Debug, Clone, Copy)]
pub(super) struct Own {
    pub category: Category,
    /// Written in words, where its category has signs too.
    pub words: bool,
    pub at: Place,
    pub end: Option<Place>,
    pub voice: Option<u32>,
    pub staff: u32,
}

/// Whether a mark that is there gives way. Slurs and hairpins do where the new
/// one sounds with them, but for shorter slurs under a longer one; dynamics, fermatas, ornaments and tempo marks where
/// both stand at one moment, sign for sign and words for words.
pub(super) fn gives_way(there: &Mark, own: &Own) -> bool {
    let (at, end) = (there.at.place, there.end.map(|e| e.place));
    let same_voice = own.voice.is_none_or(|v| v == there.voice);
    if there.category != own.category || there.staff != own.staff {
        return false;
    }
    match own.category {
        Category::Slur | Category::Hairpin => {
            let voices = own.category == Category::Hairpin || same_voice;
            let (Some(end), Some(own_end)) = (end, own.end) else { return false };
            let under =
                own.category == Category::Slur && own.at <= at && end <= own_end && (at, end) != (own.at, own_end);
            voices && at < own_end && own.at < end && !under
        }
        Category::Ornament => at == own.at && same_voice,
        Category::Fermata => at == own.at,
        Category::Dynamics | Category::Tempo => at == own.at && matches!(there.sign, Sign::Words { .. }) == own.words,
        _ => false,
    }
}

/// Takes out of the part what gives way to the teacher's marks, lets the
/// rewrite know of what stays, and tells what went.
pub(super) fn make_way(
    part: &Part,
    goes: impl Fn(usize) -> bool,
    rewrite: &mut Marking,
    expected: &mut Content,
    warnings: &mut Vec<String>,
) {
    for (id, mark) in part.marks.iter().enumerate() {
        if !goes(id) {
            rewrite.keep(mark);
            continue;
        }
        rewrite.remove(mark);
        let line = mark_line(mark, mark.at.place, mark.end.map(|e| e.place), Interval::UNISON);
        if let Some(there) = expected.marks.iter().position(|m| *m == line) {
            expected.marks.remove(there);
        }
        warnings.push(format!("the {} in {}{REPLACED}", told(mark), place(part, mark)));
    }
}

/// As in `dynamics f`, `slur`.
pub(super) fn told(mark: &Mark) -> String {
    let name = mark.category.name();
    let reading = mark.reading();
    if reading == name { name.to_string() } else { format!("{name} {reading}") }
}

/// As in `part Viola, bar 7, beat 2`.
pub(super) fn place(part: &Part, mark: &Mark) -> String {
    let number = part.bars.get(mark.at.bar).map_or("-", |b| &b.number);
    format!("part {}, bar {number}, beat {}", part.spoken(), beat_text(part.beat(mark.at.place)))
}
