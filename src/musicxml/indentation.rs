//! Line ends and spaces between the tags of a text: a third of most files, a third of what a parser has to do, and no
//! music.

use memchr::{memchr_iter, memchr2, memmem, memrchr};

/// The text without the line ends between its tags, and the spaces around them; `None` where it has none, or where they
/// might mean something. What an element holds that has no child elements stays as it is; so do comments and
/// processing instructions with the space on either side.
pub fn without(text: &str) -> Option<String> {
    let bytes = text.as_bytes();
    // Nothing in them is a tag.
    if memmem::find(bytes, b"<![CDATA[").is_some() {
        return None;
    }
    // Old systems end lines with a carriage return alone.
    let first = memchr2(b'\n', b'\r', bytes)?;
    let end = if bytes[first..].starts_with(b"\r\n") { b'\n' } else { bytes[first] };
    let mut out = String::new();
    let mut kept = 0;
    for line_end in memchr_iter(end, bytes) {
        // The line end before may have taken this one along.
        if line_end < kept {
            continue;
        }
        let Some(between) = gap(bytes, line_end) else { continue };
        if out.is_empty() {
            out.reserve(text.len());
        }
        // Both ends are beside a bracket.
        out.push_str(&text[kept..between.start]);
        kept = between.end;
    }
    (kept > 0).then(|| {
        out.push_str(&text[kept..]);
        out
    })
}

/// The space around a line end that has a tag on both sides, if it holds nothing that could be meant.
fn gap(bytes: &[u8], line_end: usize) -> Option<std::ops::Range<usize>> {
    let is_space = |byte: &u8| matches!(byte, b' ' | b'\n' | b'\t' | b'\r');
    let start = line_end - bytes[..line_end].iter().rev().take_while(|b| is_space(b)).count();
    let end = line_end + 1 + bytes[line_end + 1..].iter().take_while(|b| is_space(b)).count();
    let (before, after) = (&bytes[..start], &bytes[end..]);
    let [.., last, b'>'] = before else { return None };
    let [b'<', next, ..] = after else { return None };
    if matches!(last, b'-' | b'?' | b']') || matches!(next, b'!' | b'?') {
        return None;
    }
    // Space is all that an element holds if it starts on one side and ends on the other.
    let tag = || memrchr(b'<', before).map_or(before, |start| &before[start..]);
    let may_be_content = *next == b'/' && {
        let tag = tag();
        let is_end = tag.starts_with(b"</");
        let is_empty = *last == b'/' && memchr_iter(b'>', tag).count() == 1;
        !is_end && !is_empty
    };
    (!may_be_content).then_some(start..end)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn space_between_tags_goes() {
        for (text, expected) in [
            ("<a>\n  <b>1</b>\n  <c/>\n</a>\n", "<a><b>1</b><c/></a>\n"),
            ("<a>\r\n\t<b>1</b>  \r\n\r\n <c/>\r\n</a>", "<a><b>1</b><c/></a>"),
            ("<a>\r\r\t<b>1</b>\r<c/>\r</a>", "<a><b>1</b><c/></a>"),
            ("<?xml?>\n<!DOCTYPE a>\n<a>\n<b/>\n</a>", "<?xml?>\n<!DOCTYPE a><a><b/></a>"),
        ] {
            assert_eq!(without(text).as_deref(), Some(expected), "{text}");
        }
    }

    #[test]
    fn space_that_may_be_meant_stays() {
        for text in [
            "<a> \n </a>",
            "<a b='/'>\n</a>",
            "<a>b >\n</a>",
            "<a>b />\n</a>",
            "<a>b\n<c/>\nd</a>",
            "<a>\n<!-- b -->\n</a>",
            "<a>\n<?b?>\n</a>",
            "<a> <b/> <c/> </a>",
            "<a>\n<b><![CDATA[<c>\n<d>]]></b>\n</a>",
            "",
            "\n",
            "<\n>",
            ">\n<",
        ] {
            assert_eq!(without(text), None, "{text:?}");
        }
    }
}
