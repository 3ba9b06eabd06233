//! The numbers that keep spans of one kind apart.

use crate::time::Time;

/// A row, and an offset from the start of its bar.
pub(super) type At = (usize, Time);

/// Spans that are in the result.
#[derive(Default)]
pub(super) struct SpanNumbers(Vec<Span>);

struct Span {
    name: String,
    number: u32,
    from: At,
    to: At,
}

impl SpanNumbers {
    /// A span that stays.
    pub(super) fn take(&mut self, name: &str, number: u32, from: At, to: At) {
        self.0.push(Span { name: name.into(), number, from, to });
    }

    /// The lowest number that no span of the same kind uses at that time; it is taken then.
    pub(super) fn free(&mut self, name: &str, from: At, to: At) -> u32 {
        let meets = |s: &&Span| s.name == name && s.from <= to && from <= s.to;
        let taken: Vec<u32> = self.0.iter().filter(meets).map(|s| s.number).collect();
        let number = (1..=16).find(|n| !taken.contains(n)).unwrap_or(1);
        self.take(name, number, from, to);
        number
    }
}
