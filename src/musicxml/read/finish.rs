//! What can be told only when a part is read to its end.

use super::PartReader;
use crate::musicxml::spans;
use crate::score::{Bar, Element, NoteId, Part, Sign};
use crate::time::Time;

/// A part that was read to its end.
pub(super) struct ReadPart {
    pub part: Part,
    pub warnings: Vec<String>,
    pub has_unknown: bool,
}

impl PartReader<'_, '_> {
    pub(super) fn finish(mut self) -> ReadPart {
        let ends = std::mem::take(&mut self.marks.ends);
        let alone = spans::pair(&mut self.part, ends);
        for (bar, what) in std::mem::take(&mut self.marks.warnings) {
            self.warnings.add(&self.part.bars[bar].number, &what);
        }
        for end in alone {
            let what = end.kind.name();
            let what = match end.mark {
                Some(_) => format!("{what} starts and does not end; only its start was read"),
                None => format!("{what} ends that did not start; its end was ignored"),
            };
            self.warnings.add(&self.part.bars[end.place.bar].number, &what);
        }
        let mut untied: Vec<NoteId> = std::mem::take(&mut self.joins.ties).into_values().flatten().collect();
        untied.sort_unstable();
        for note in untied {
            let bar = self.part.notes[note].bar;
            self.warnings
                .add(&self.part.bars[bar].number, "a tie does not lead to a note of the same pitch; it was ignored");
        }
        self.marks.number_verses(&mut self.part);
        self.drop_last_double_bar();
        self.let_signatures_sound();
        let name = if self.part.name.is_empty() { String::new() } else { format!(" ({})", self.part.name) };
        let warnings = self.warnings.lines(&format!("part {}{name}", self.part.id)).collect();
        ReadPart { warnings, has_unknown: self.marks.has_unknown, part: self.part }
    }

    /// A signature means what it says as it sounds; the transposition comes
    /// after it in the document.
    fn let_signatures_sound(&mut self) {
        for mark in &mut self.part.marks {
            if let Sign::Key { written, sounding } = &mut mark.sign {
                *sounding = *written + self.part.bars[mark.at.bar].transpose.fifths();
            }
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
            .filter(|m| m.sign == Sign::DoubleBar)
            .filter(|m| is_last(m.at.bar, m.at.offset, bars))
            .flat_map(|m| m.elements.clone())
            .collect();
        if doubled.is_empty() {
            return;
        }
        self.part.marks.retain(|m| m.sign != Sign::DoubleBar || !m.elements.iter().any(|e| doubled.contains(e)));
    }
}
