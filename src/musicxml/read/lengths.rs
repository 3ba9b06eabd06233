//! How long a note is. Its duration says so, unless that is only a rounding of
//! what is printed (a third of a quarter in 256ths), or forgets a dot: players
//! read the type, the dots and the tuplet.

use super::PartReader;
use crate::musicxml::tree::{child, child_text, elements, length_of_type, text_of};
use crate::time::{Time, parse_decimal};
use roxmltree::Node;

/// Finer divisions round nothing that is seen; finer tuplets are left to their durations.
const FINEST_DIVISIONS: i64 = 1 << 16;
const FINEST_NOTE: i64 = 1 << 14;
/// A duration in divisions; what is longer is no note.
const LARGEST: i64 = 1 << 32;
/// Where a voice may end within a bar, in parts of a quarter.
const FINEST_END: i64 = 48;

/// What the notes of one voice of a bar, from one backup to the next, go by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LengthBy {
    /// Their durations.
    Duration,
    /// What is printed, where a duration is a rounding of it or forgets a dot.
    Mended,
    /// What is printed.
    Print,
}

/// What a note without dots and tuplet is only told to be, and how long it looks.
struct Sizes {
    told: Time,
    shown: Option<Time>,
    rounded: bool,
    undotted: bool,
    tuplet: bool,
}

impl Sizes {
    fn of(node: Node<'_, '_>, told: Time, divisions: i64) -> Sizes {
        let shown = Shown::of(node).filter(|_| !is_rest_of_bar(node));
        let length = shown.as_ref().map(Shown::length).filter(|l| l.denom() <= FINEST_NOTE);
        let rounded = length.is_some_and(|length| {
            let off = if length > told { length - told } else { told - length };
            let divisions = Time::from(divisions);
            off * divisions < Time::from(1) && !(length * divisions).is_integer()
        });
        let undotted = shown.as_ref().is_some_and(|s| (0..s.dots).any(|dots| s.dotted(dots) == told));
        let tuplet = shown.is_some_and(|s| s.ratio != Time::from(1));
        Sizes { told, shown: length, rounded, undotted, tuplet }
    }

    fn by(&self, length_by: LengthBy) -> Time {
        let mends = length_by == LengthBy::Print || length_by == LengthBy::Mended && (self.rounded || self.undotted);
        self.shown.filter(|_| mends).unwrap_or(self.told)
    }
}

/// Sums of one voice of a bar, read in each of these ways.
struct Line {
    told: Time,
    mended: Time,
    print: Time,
    /// Nothing differs in it.
    clean: bool,
    /// What was mended is of a tuplet or has a dot, so that it is known what is meant.
    sure: bool,
    /// Nothing was mended but roundings in tuplets.
    tuplets: bool,
}

impl Line {
    fn from(start: Time) -> Line {
        Line { told: start, mended: start, print: start, clean: true, sure: true, tuplets: true }
    }

    fn add(&mut self, sizes: &Sizes) {
        let mended = sizes.by(LengthBy::Mended);
        self.clean &= sizes.shown.is_none_or(|shown| shown == sizes.told);
        self.sure &= mended == sizes.told || sizes.tuplet || sizes.undotted;
        self.tuplets &= mended == sizes.told || sizes.tuplet && sizes.rounded;
        self.told = self.told.checked_add(sizes.told).unwrap_or_default();
        self.mended = self.mended.checked_add(mended).unwrap_or_default();
        self.print = self.print.checked_add(sizes.by(LengthBy::Print)).unwrap_or_default();
    }

    /// What makes the bar add up: a bar that is full stays so.
    fn length_by(&self, full: &[Time]) -> LengthBy {
        let fills = |end: Time| full.contains(&end);
        let fits = |end: Time| end == self.told || !fills(self.told) && fills(end);
        let may_be = |end: Time| (self.tuplets || full.iter().any(|f| end < *f)) && end.denom() <= FINEST_END;
        if fits(self.print) {
            LengthBy::Print
        } else if fits(self.mended) || self.sure && !fills(self.told) && may_be(self.mended) {
            LengthBy::Mended
        } else {
            LengthBy::Duration
        }
    }
}

/// How the durations of the present bar are understood.
#[derive(Debug)]
pub(super) struct Lengths<'a, 'i> {
    /// Of a quarter note.
    pub divisions: i64,
    /// Whether the part has said its divisions, or their lack was told.
    pub are_told: bool,
    /// The longest note that divisions may have rounded though it is in no tuplet.
    pub coarse: Time,
    /// What holds the music of the bar.
    pub content: Option<Node<'a, 'i>>,
    /// What the lengths of each line of the bar, from backup to backup, go by;
    /// empty until it is asked.
    pub by: Vec<LengthBy>,
    pub line: usize,
}

impl Default for Lengths<'_, '_> {
    fn default() -> Self {
        let coarse = Time::from(1);
        Lengths { divisions: 1, are_told: false, coarse, content: None, by: Vec::new(), line: 0 }
    }
}

impl<'a, 'i> PartReader<'a, 'i> {
    /// The length of a note whose duration may be none that is meant.
    pub(super) fn as_printed(&mut self, node: Node<'_, '_>, told: Time) -> Time {
        let Some((sizes, _)) = self.other_sizes(node, told) else { return told };
        if self.lengths.by.is_empty() {
            self.lengths.by = self.read_ahead();
        }
        let length_by = self.lengths.by.get(self.lengths.line).copied().unwrap_or(LengthBy::Duration);
        sizes.by(length_by)
    }

    /// The same of a later note of a chord: it follows the first one, which is
    /// counted, if it looks like it.
    pub(super) fn as_printed_in_chord(&self, node: Node<'_, '_>, told: Time) -> Time {
        let shown = self.other_sizes(node, told).map(|(_, shown)| shown);
        shown.filter(|shown| *shown == self.chord.length).unwrap_or(told)
    }

    /// The lengths of a note that looks longer or shorter than is told, and how it looks.
    fn other_sizes(&self, node: Node<'_, '_>, told: Time) -> Option<(Sizes, Time)> {
        if self.lengths.divisions > FINEST_DIVISIONS || told.denom() > FINEST_DIVISIONS {
            return None;
        }
        let sizes = Sizes::of(node, told, self.lengths.divisions);
        let shown = sizes.shown.filter(|shown| *shown != told)?;
        Some((sizes, shown))
    }

    /// Whether a length is so short that its divisions may not tell it, though
    /// it has neither dots nor a tuplet.
    pub(super) fn is_coarse(&self, told: Time) -> bool {
        told <= self.lengths.coarse
    }

    /// By what each voice of the present bar goes.
    fn read_ahead(&self) -> Vec<LengthBy> {
        let Some(content) = self.lengths.content else { return Vec::new() };
        let bar = &self.part.bars[self.here()];
        let mut divisions = bar.divisions;
        let mut lines = vec![Line::from(Time::zero())];
        let mut notes = 0;
        for item in elements(content) {
            let told = child_text(item, "duration").and_then(parse_decimal);
            let told = told.filter(|t| (Time::zero()..Time::from(LARGEST)).contains(t));
            let told = told.map(|t| t / Time::from(divisions)).filter(|t| t.denom() <= FINEST_DIVISIONS);
            let line = lines.last_mut().expect("never empty");
            match item.tag_name().name() {
                "attributes" => {
                    let given = child_text(item, "divisions").and_then(|t| t.parse().ok());
                    divisions = given.filter(|d| (1..=FINEST_DIVISIONS).contains(d)).unwrap_or(divisions);
                }
                "backup" => {
                    let start = line.told.checked_add(-told.unwrap_or_default());
                    // Roundings may not lead quite to the bar's start.
                    let off = Time::new(notes, divisions).min(Time::new(1, 16));
                    let start = start.filter(|t| t.denom() <= FINEST_DIVISIONS && *t > off);
                    lines.push(Line::from(start.unwrap_or_default()));
                }
                "forward" => {
                    let by = told.unwrap_or_default();
                    line.add(&Sizes { told: by, shown: None, rounded: false, undotted: false, tuplet: false });
                }
                "note" if child(item, "grace").is_none() && child(item, "chord").is_none() => {
                    line.add(&Sizes::of(item, told.unwrap_or_default(), divisions));
                    notes += 1;
                }
                _ => {}
            }
        }
        let sound = lines.iter().filter(|line| line.clean).map(|line| line.told).max();
        let full: Vec<Time> = sound.into_iter().chain([bar.meter.bar]).filter(|t| !t.is_zero()).collect();
        lines.iter().map(|line| line.length_by(&full)).collect()
    }

    /// The length that a note without a duration shows by its type and dots.
    pub(super) fn told_by_type(&mut self, node: Node<'_, '_>) -> Time {
        let Some(length) = Shown::of(node).map(|s| s.length()) else {
            self.warn("a note has neither a duration nor a type; it was read as taking no time");
            return Time::zero();
        };
        self.warn("a note has no duration; its length was taken from its type");
        length
    }
}

/// A rest for a bar is as long as the bar, whatever it looks like.
fn is_rest_of_bar(node: Node<'_, '_>) -> bool {
    let whole = || matches!(child_text(node, "type"), None | Some("whole" | "breve"));
    child(node, "rest").is_some_and(|rest| rest.attribute("measure") == Some("yes") || whole())
}

/// How long a note looks.
struct Shown {
    /// By its type alone.
    plain: Time,
    dots: usize,
    /// Of its tuplet.
    ratio: Time,
}

impl Shown {
    fn of(node: Node<'_, '_>) -> Option<Shown> {
        let (mut plain, mut dots, mut ratio) = (None, 0, None);
        for item in elements(node) {
            match item.tag_name().name() {
                "type" => plain = length_of_type(text_of(item)),
                "dot" => dots += 1,
                "time-modification" => {
                    let number = |name| {
                        child_text(item, name).and_then(|t| t.parse::<i64>().ok()).filter(|n| (1..1000).contains(n))
                    };
                    ratio = number("normal-notes").zip(number("actual-notes")).map(|(n, a)| Time::new(n, a));
                }
                _ => {}
            }
        }
        Some(Shown { plain: plain?, dots: dots.min(8), ratio: ratio.unwrap_or_else(|| Time::from(1)) })
    }

    fn dotted(&self, dots: usize) -> Time {
        self.plain * (Time::from(2) - Time::new(1, 1 << dots)) * self.ratio
    }

    fn length(&self) -> Time {
        self.dotted(self.dots)
    }
}
