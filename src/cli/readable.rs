//! Text that is safe to show.

use std::borrow::Cow;

/// Text for people without what a score's own words may bring along: controls
/// that a terminal obeys, line ends that are none of ours, turned directions.
/// Line ends and the escapes of our colours stay.
pub fn readable(text: &str) -> Cow<'_, str> {
    let is_odd = |c: char| matches!(c, '\u{7f}'..='\u{9f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    match text.contains(is_odd) {
        true => text.replace(is_odd, " ").into(),
        false => text.into(),
    }
}
