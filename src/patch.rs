//! Replacements on an immutable text: sorted, disjoint byte ranges.

use std::ops::Range;

/// One replacement: the bytes of `range` give way to `text`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Edit {
    pub range: Range<usize>,
    pub text: String,
}

/// Two edits touched the same bytes.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("two edits touch the bytes {}..{}", .0.start, .0.end)]
pub struct Overlap(pub Range<usize>);

/// A set of edits. Insertions at one place keep the order in which they came.
#[derive(Debug, Clone, Default)]
pub struct Patch {
    edits: Vec<Edit>,
}

impl Patch {
    pub fn cut(&mut self, range: Range<usize>) {
        self.replace(range, "");
    }

    pub fn insert(&mut self, at: usize, text: impl Into<String>) {
        self.replace(at..at, text);
    }

    pub fn replace(&mut self, range: Range<usize>, text: impl Into<String>) {
        self.edits.push(Edit { range, text: text.into() });
    }

    /// The edits of another patch of the same text come after these.
    pub fn extend(&mut self, other: Patch) {
        self.edits.extend(other.edits);
    }

    pub fn is_empty(&self) -> bool {
        self.edits.is_empty()
    }

    /// The edits in order of their place.
    pub fn sorted(mut self) -> Result<Vec<Edit>, Overlap> {
        self.edits.sort_by_key(|e| (e.range.start, e.range.end));
        for pair in self.edits.windows(2) {
            if pair[0].range.end > pair[1].range.start {
                return Err(Overlap(pair[1].range.clone()));
            }
        }
        Ok(self.edits)
    }

    /// The text with all edits made. Errors when two edits share a byte.
    pub fn apply(self, text: &str) -> Result<String, Overlap> {
        let mut out = String::with_capacity(text.len());
        let mut from = 0;
        for edit in self.sorted()? {
            out.push_str(&text[from..edit.range.start]);
            out.push_str(&edit.text);
            from = edit.range.end;
        }
        out.push_str(&text[from..]);
        Ok(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edits_apply_in_order_of_place() {
        let mut patch = Patch::default();
        patch.replace(4..5, "E");
        patch.insert(1, "-");
        patch.insert(1, "+");
        patch.cut(2..3);
        assert_eq!(patch.apply("abcdef").unwrap(), "a-+bdEf");
    }

    #[test]
    fn a_second_touch_is_an_error() {
        let mut patch = Patch::default();
        patch.cut(1..4);
        patch.cut(3..5);
        assert_eq!(patch.apply("abcdef"), Err(Overlap(3..5)));
    }
}
