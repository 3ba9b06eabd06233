//! The text of a score without what says nothing of the music but takes up to half of what the parser has to do: line
//! ends and spaces between tags, comments among them, and of notes stems, beams and places on the page.

use memchr::{memchr, memchr_iter, memchr2, memmem};
use std::ops::Range;

/// The text without all that, in the same order; `None` where it has nothing of it, or where it might be meant. What an
/// element holds that has no child elements stays as it is. A text that is not well formed does not become so. Where the
/// schema has no such element, a reading can tell what it holds; there it may differ.
pub fn lean(text: &str) -> Option<String> {
    let bytes = text.as_bytes();
    // Nothing in them is a tag.
    if memmem::find(bytes, b"<![CDATA[").is_some() {
        return None;
    }
    // Old systems end lines with a carriage return alone.
    let first = memchr2(b'\n', b'\r', bytes)?;
    let end = if bytes[first..].starts_with(b"\r\n") { b'\n' } else { bytes[first] };
    let mut out = String::with_capacity(text.len());
    let (mut kept, mut seen) = (0, 0);
    let mut in_note = false;
    for line_end in memchr_iter(end, bytes) {
        // Of several with nothing but space between them the first is looked at.
        if line_end < seen {
            continue;
        }
        seen = after_space(bytes, line_end + 1);
        let Some(gap) = gap(bytes, line_end, seen) else { continue };
        out.push_str(&text[kept..gap.start]);
        (kept, seen) = (gap.end, gap.end);
        let line = &bytes[kept..];
        if let Some(tag @ [b' ' | b'>', ..]) = line.strip_prefix(NOTE) {
            if let Some(places) = places(tag) {
                out.push_str(&text[kept..kept + NOTE.len()]);
                kept += NOTE.len() + places;
            }
            let after = memchr(b'>', tag).and_then(|end| tag.get(end + 1));
            in_note = matches!(after, Some(b'\n' | b'\r'));
        } else if in_note {
            let follows = || BEFORE_SHAPES.iter().any(|tag| bytes[..gap.start].ends_with(tag));
            kept += shape(line).filter(|_| follows()).unwrap_or(0);
            in_note = !AFTER_SHAPES.iter().any(|tag| line.starts_with(tag));
        }
    }
    out.push_str(&text[kept..]);
    (out.len() < text.len()).then_some(out)
}

/// How notes begin.
const NOTE: &[u8] = b"<note";
/// What stands in a note before a stem or a beam.
const BEFORE_SHAPES: [&[u8]; 9] = [
    b"</type>",
    b"</stem>",
    b"</beam>",
    b"</staff>",
    b"<dot/>",
    b"</time-modification>",
    b"</accidental>",
    b"</notehead>",
    b"</voice>",
];
/// What a note has after them that may hold others of the same names, and its end.
const AFTER_SHAPES: [&[u8]; 3] = [b"<notations", b"<lyric", b"</note"];
/// How the attributes begin that are places on the page.
const PLACE: &[u8] = b" default-";

/// How many bytes of a tag are one or two places on the page, if it has no others.
fn places(tag: &[u8]) -> Option<usize> {
    let mut rest = tag;
    let mut last = b' ';
    while let Some([axis @ (b'x' | b'y'), b'=', b'"', value @ ..]) = rest.strip_prefix(PLACE)
        && *axis > last
        && let digits = value.iter().take_while(|b| matches!(b, b'-' | b'.' | b'0'..=b'9')).count()
        && let [b'"', after @ ..] = &value[digits..]
        && let Some(b' ' | b'>' | b'/') = after.first()
    {
        (rest, last) = (after, *axis);
    }
    // An attribute that stands there twice is a mistake that the parser has to see.
    let others = || memchr(b'<', rest).is_none_or(|end| memmem::find(&rest[..end], PLACE).is_some());
    let is_all = last > b' ' && (rest.starts_with(b">") || !others());
    is_all.then_some(tag.len() - rest.len())
}

/// How many bytes a plain stem or beam has that stands here.
fn shape(text: &[u8]) -> Option<usize> {
    let (says, end): (_, &[u8]) = if let Some(tag) = text.strip_prefix(b"<stem") {
        (tag[places(tag).unwrap_or(0)..].strip_prefix(b">")?, b"</stem>")
    } else {
        let [b'1'..=b'8', tag @ ..] = text.strip_prefix(b"<beam number=\"")? else { return None };
        (tag.strip_prefix(b"\">")?, b"</beam>")
    };
    let letters = says.iter().take_while(|b| matches!(b, b'a'..=b'z' | b' ')).count();
    Some(text.len() - says[letters..].strip_prefix(end)?.len())
}

/// The space around a line end, after which it ends at `end`, that has a tag on both sides, with comments in it; `None`
/// where it could be meant.
#[inline]
fn gap(bytes: &[u8], line_end: usize, mut end: usize) -> Option<Range<usize>> {
    let start = match bytes[..line_end].last() {
        Some(b'>') => line_end,
        _ => line_end - bytes[..line_end].iter().rev().take_while(|b| is_space(b)).count(),
    };
    let [.., last, b'>'] = &bytes[..start] else { return None };
    while let Some(comment) = bytes[end..].strip_prefix(b"<!--") {
        end = after_space(bytes, end + 4 + plain_comment(comment)?);
    }
    let [b'<', next, ..] = &bytes[end..] else { return None };
    let is_none = matches!(last, b'-' | b'?' | b']')
        || matches!(next, b'!' | b'?')
        || *next == b'/' && is_start(last_tag(&bytes[..start]), *last);
    (!is_none).then_some(start..end)
}

/// The byte after any space.
fn after_space(bytes: &[u8], mut at: usize) -> usize {
    // Mostly it is many blanks.
    while let Some(word) = bytes[at..].first_chunk::<8>() {
        let others = u64::from_le_bytes(*word) ^ u64::from_le_bytes(*b"        ");
        if others != 0 {
            at += (others.trailing_zeros() / 8) as usize;
            break;
        }
        at += 8;
    }
    at + bytes[at..].iter().take_while(|b| is_space(b)).count()
}

fn is_space(byte: &u8) -> bool {
    matches!(byte, b' ' | b'\n' | b'\t' | b'\r')
}

/// How long the rest of a comment is that has nothing but plain signs in it.
fn plain_comment(rest: &[u8]) -> Option<usize> {
    let end = memmem::find(rest, b"--")?;
    let is_plain = rest[..end].iter().all(|b| matches!(b, b' '..=b'~'));
    (is_plain && rest[end + 2..].first() == Some(&b'>')).then_some(end + 3)
}

/// From the last bracket that opens.
fn last_tag(text: &[u8]) -> &[u8] {
    &text[text.iter().rposition(|b| *b == b'<').unwrap_or(0)..]
}

/// Whether an element may start with this tag, which ends with `last` and a bracket, so that the space after it is all
/// that the element holds.
fn is_start(tag: &[u8], last: u8) -> bool {
    let is_empty = || last == b'/' && tag.iter().filter(|b| **b == b'>').count() == 1;
    !tag.starts_with(b"</") && !is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn space_and_comments_between_tags_go() {
        for (text, expected) in [
            ("<a>\n  <b>1</b>\n  <c/>\n</a>\n", "<a><b>1</b><c/></a>\n"),
            ("<a>\r\n\t<b>1</b>  \r\n\r\n <c/>\r\n</a>", "<a><b>1</b><c/></a>"),
            ("<a>\r\r\t<b>1</b>\r<c/>\r</a>", "<a><b>1</b><c/></a>"),
            ("<?xml?>\n<!DOCTYPE a>\n<a>\n<b/>\n</a>", "<?xml?>\n<!DOCTYPE a><a><b/></a>"),
            ("<a>\n          <!-- b -->\n\n<!----><c/>\n</a>", "<a><c/></a>"),
        ] {
            assert_eq!(lean(text).as_deref(), Some(expected), "{text}");
        }
    }

    #[test]
    fn places_of_notes_go() {
        for (text, expected) in [
            ("<a>\n<note default-x=\"1\"/></a>", "<a><note/></a>"),
            ("<a>\n<note default-x=\"-1.5\" default-y=\"2\">\n<d/></note></a>", "<a><note><d/></note></a>"),
            ("<a>\n<note default-y=\"2\" b=\"c\"/>\n</a>", "<a><note b=\"c\"/></a>"),
        ] {
            assert_eq!(lean(text).as_deref(), Some(expected), "{text}");
        }
        for tag in [
            "<note b=\"c\" default-x=\"1\"/>",
            "<note default-x=\"b\"/>",
            "<note default-x=\"1'/>",
            "<note default-x=\"1\"b=\"c\"/>",
            "<note default-y=\"1",
            "<note default-x=\"1\" default-x=\"2\"/>",
            "<note default-y=\"1\" default-x=\"2\"/>",
            "<note default-x=\"1\" default-y=\"2\" default-x=\"3\"/>",
            "<note default-x=\"1\" b=\"c\" default-x=\"3\"/>",
            "<notes default-x=\"1\"/>",
        ] {
            assert_eq!(lean(&format!("<a>\n{tag}<b/></a>")), Some(format!("<a>{tag}<b/></a>")), "{tag}");
        }
    }

    #[test]
    fn stems_and_beams_of_notes_go() {
        let note = |shapes: &str| format!("<a>\n<note>\n<type>half</type>\n{shapes}<staff>1</staff>\n</note>\n</a>");
        let without = lean(&note(""));
        for shapes in
            ["<stem>up</stem>\n", "<stem default-y=\"3.5\">none</stem>\n <beam number=\"2\">backward hook</beam>\r\n"]
        {
            assert_eq!(lean(&note(shapes)), without, "{shapes}");
        }
        for shape in ["<stem>Up</stem>", "<stem color=\"red\">up</stem>", "<beam>begin</beam>", "<stem>up", "<stem/>"] {
            let kept = without.as_ref().map(|without| without.replace("<staff", &format!("{shape}<staff")));
            assert_eq!(lean(&note(shape)), kept, "{shape}");
        }
        for elsewhere in [
            "<a>\n<stem>up</stem>\n</a>",
            "<a>\n<note>\n<notations>\n<stem>up</stem>\n</notations>\n</note>\n</a>",
            "<a>\n<note>\n<rest/>\n</note>\n<stem>up</stem>\n</a>",
            "<a>\n<note><rest/></note>\n<stem>up</stem>\n</a>",
        ] {
            assert_eq!(lean(elsewhere), Some(elsewhere.replace('\n', "")), "{elsewhere}");
        }
    }

    /// Nothing is looked at again and again: these would take hours.
    #[test]
    fn long_texts_take_no_longer_than_their_length() {
        for (begin, piece) in [
            ("a", "\n"),
            ("<a>", " \n\t\n"),
            ("<a>", "\n<!-- "),
            ("<a>", "\n<!-- -->b"),
            ("<a>", ">\n<note default-x=\"1\" "),
            ("<a>", ">\n</b"),
            ("<note>", "\n<stem>up\n"),
        ] {
            let text = begin.to_string() + &piece.repeat(1_000_000);
            assert!(lean(&text).is_none_or(|lean| lean.len() < text.len()));
        }
    }

    #[test]
    fn what_may_be_meant_stays() {
        for text in [
            "<a> \n </a>",
            "<a b='/'>\n</a>",
            "<a>b >\n</a>",
            "<a>b />\n</a>",
            "<a>b\n<c/>\nd</a>",
            "<a>\n<!-- b -->\n</a>",
            "<a>\n<!-- \u{e9} -->\n<b/></a>",
            "<a>\n<!-- b -- c -->\n<b/></a>",
            "<a>\n<!-- b --",
            "<a>\n<?b?>\n</a>",
            "<a> <b/> <c/> </a>",
            "<a>\n<b><![CDATA[<c>\n<d default-x=\"1\">]]></b>\n</a>",
            "",
            "\n",
            "<\n>",
            ">\n<",
        ] {
            assert_eq!(lean(text), None, "{text:?}");
        }
    }
}
