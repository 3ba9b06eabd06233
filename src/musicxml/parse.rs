//! From a text to a document, and where in the text something is.

use roxmltree::{Document, ParsingOptions, TextPos};

/// A document that may have a document type; else the byte and the reason.
pub(super) fn parse(text: &str) -> Result<Document<'_>, (usize, String)> {
    let options = ParsingOptions { allow_dtd: true, ..Default::default() };
    Document::parse_with_options(text, options).map_err(|error| {
        if is_cut_off(text, &error) {
            return (text.trim_end().len(), CUT_OFF.to_string());
        }
        let message = match error {
            roxmltree::Error::NoRootNode => "there is no element in it, so it is not MusicXML".to_string(),
            _ => error.to_string(),
        };
        // The parser ends its messages with the place, counted in its own way.
        let reason = message.rfind(" at ").map_or(message.as_str(), |at| &message[..at]);
        (byte_of(text, error.pos()), reason.to_string())
    })
}

pub(super) const CUT_OFF: &str = "the file ends in the middle; it seems to be cut off: download it or save it again";

/// Whether the text ends before what it began is closed.
fn is_cut_off(text: &str, error: &roxmltree::Error) -> bool {
    use roxmltree::Error::{UnclosedRootNode, UnexpectedEndOfStream};
    let at_end = || byte_of(text, error.pos()) >= text.trim_end().len();
    match error {
        UnclosedRootNode | UnexpectedEndOfStream => text.contains('<'),
        _ if !text.contains("<score-") => text.starts_with("<?xml") && at_end(),
        _ => at_end() || !text.contains("</score-partwise") && !text.contains("</score-timewise"),
    }
}

/// The byte of a place as the parser counts it: lines end with a line feed.
fn byte_of(text: &str, at: TextPos) -> usize {
    let before: usize = text.split_inclusive('\n').take(at.row as usize - 1).map(str::len).sum();
    let line = &text[before..];
    before + line.char_indices().nth(at.col as usize - 1).map_or(line.len(), |(byte, _)| byte)
}

/// Line and column of a byte, both 1-based; a line ends as it does in editors,
/// with CR, LF or both.
pub(super) fn place(text: &str, at: usize) -> (u32, u32) {
    let (mut line, mut start) = (1, 0);
    let bytes = text.as_bytes();
    for (index, byte) in bytes[..at].iter().enumerate() {
        if *byte == b'\n' || (*byte == b'\r' && bytes.get(index + 1) != Some(&b'\n')) {
            line += 1;
            start = index + 1;
        }
    }
    (line, text[start..at].chars().count() as u32 + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_lines_as_editors_do() {
        for end in ["\n", "\r", "\r\n"] {
            let text = format!("<a>{end}\u{e9}{end}  <b></a>");
            let at = text.find("<b").unwrap();
            assert_eq!(place(&text, at), (3, 3), "{end:?}");
            let (byte, reason) = parse(&text).unwrap_err();
            assert_eq!((place(&text, byte), reason.as_str()), ((3, 6), "expected 'b' tag, not 'a'"), "{end:?}");
        }
    }
}
