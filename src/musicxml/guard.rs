//! A look through a text before it is parsed, for what no score holds and what
//! makes parsing slow or large without bound.

use memchr::{memchr, memchr_iter, memmem};
use roxmltree::{Document, Node};

/// The deepest element of a score in the schema lies below 20.
const DEEPEST: usize = 100;
/// Elements in one text; a movement of 30 MB has about half as many.
const MOST_ELEMENTS: usize = 3_000_000;
/// Attributes of one element; the schema knows none with over 60.
const MOST_ATTRIBUTES: usize = 256;
/// Namespace declarations on the way to an element, and in the whole text.
const MOST_NAMESPACES_OPEN: usize = 32;
const MOST_NAMESPACES: usize = 100_000;

/// What is wrong, and the byte where.
#[derive(Debug, PartialEq, Eq)]
pub struct Fault {
    pub at: usize,
    pub reason: String,
}

fn too_deep() -> String {
    format!("elements nested more than {DEEPEST} deep; no score needs that")
}

/// As `check`, but quickly; where nothing else is in doubt it leaves the depth
/// to `check_depth`.
pub fn check_score(text: &str) -> Result<(), Fault> {
    if !is_harmless(text.as_bytes()) {
        check(text)?;
    }
    check_references(text)
}

/// Refuses numbers that are no characters, such as `&#xD800;`: the parser reads another in their place, and a copy would
/// have them again.
fn check_references(text: &str) -> Result<(), Fault> {
    let bytes = text.as_bytes();
    let is_none = |at: &usize| {
        let rest = &text[at + 2..];
        let number = &rest[..rest.bytes().take_while(u8::is_ascii_alphanumeric).count()];
        let number = number.strip_prefix('x').map_or_else(|| number.parse(), |hex| u32::from_str_radix(hex, 16));
        number.is_ok_and(|number| char::from_u32(number).is_none())
    };
    let mut none = memmem::find_iter(bytes, b"&#").filter(is_none).peekable();
    let mut at = 0;
    while let Some(first) = none.peek().copied() {
        let Some(found) = memchr(b'<', &bytes[at..first]).map(|n| at + n) else {
            return Err(Fault { at: first, reason: "this is the number of no character; remove it".into() });
        };
        // In comments and their like it stands for nothing.
        let rest = &bytes[found..];
        at = [("<!--", "-->"), ("<![CDATA[", "]]>"), ("<?", "?>")]
            .iter()
            .find(|quotes| rest.starts_with(quotes.0.as_bytes()))
            .map_or(found + 1, |(start, end)| after(text, found + start.len(), end));
        while none.next_if(|reference| *reference < at).is_some() {}
    }
    Ok(())
}

/// Refuses declared entities, which can grow without bound, and more nesting,
/// elements, attributes or namespaces than any score needs. Whether the text
/// is well formed is left to the parser.
pub fn check(text: &str) -> Result<(), Fault> {
    let bytes = text.as_bytes();
    let fault = |at, reason: String| Err(Fault { at, reason });
    let mut elements = 0;
    let mut namespaces = 0;
    // Of each open element, how many namespaces hold inside it.
    let mut open: Vec<usize> = Vec::new();
    let mut at = 0;
    // One sign is found much faster than a text of one sign.
    while let Some(found) = text.get(at..).and_then(|rest| rest.find('<')).map(|n| at + n) {
        let rest = &bytes[found..];
        at = if rest.starts_with(b"<!--") {
            after(text, found + 4, "-->")
        } else if rest.starts_with(b"<![CDATA[") {
            after(text, found + 9, "]]>")
        } else if rest.starts_with(b"<?") {
            after(text, found + 2, "?>")
        } else if rest.starts_with(b"<!DOCTYPE") {
            let (end, entity) = document_type(text, found);
            if let Some(entity) = entity {
                return fault(
                    entity,
                    "the document declares an entity of its own, which no score needs; remove it".into(),
                );
            }
            end
        } else if rest.starts_with(b"</") {
            open.pop();
            found + 2
        } else {
            elements += 1;
            if elements > MOST_ELEMENTS {
                return fault(found, format!("more than {MOST_ELEMENTS} elements; no score has as many"));
            }
            let tag = Tag::scan(bytes, found + 1);
            if tag.attributes > MOST_ATTRIBUTES {
                return fault(
                    found,
                    format!("an element with more than {MOST_ATTRIBUTES} attributes; no score has one"),
                );
            }
            namespaces += tag.namespaces;
            let here = open.last().copied().unwrap_or(0) + tag.namespaces;
            if here > MOST_NAMESPACES_OPEN || namespaces > MOST_NAMESPACES {
                return fault(found, "more namespaces than any score declares".into());
            }
            if !tag.is_empty {
                open.push(here);
                if open.len() > DEEPEST {
                    return fault(found, too_deep());
                }
            }
            tag.end
        };
    }
    Ok(())
}

/// Whether a quick look is enough to see that a text keeps all limits but that
/// of depth, which is so with nearly all scores. Where it is in doubt it says no.
fn is_harmless(bytes: &[u8]) -> bool {
    let brackets = || memchr_iter(b'<', bytes).count();
    // An element takes four bytes at least.
    let few_elements = bytes.len() <= 4 * MOST_ELEMENTS || brackets() <= MOST_ELEMENTS;
    let few_namespaces = || memmem::find_iter(bytes, b"xmlns").nth(MOST_NAMESPACES_OPEN).is_none();
    // An attribute takes four bytes, too, and no bracket can stand in it.
    let few_attributes = || bytes.chunks_exact(2 * MOST_ATTRIBUTES).all(|chunk| memchr(b'<', chunk).is_some());
    few_elements && few_namespaces() && few_attributes() && declares_nothing(bytes)
}

/// Whether a text has no document type, or clearly one without declarations.
fn declares_nothing(bytes: &[u8]) -> bool {
    let Some(start) = memmem::find(bytes, b"<!DOCTYPE") else { return true };
    let rest = &bytes[start + 9..];
    let kind = &rest[..memchr(b'<', rest).unwrap_or(rest.len())];
    let quotes = memchr_iter(b'"', kind).count();
    // Neither may it stand in a comment, nor a bracket in a quotation.
    only_comments(&bytes[..start])
        && kind.trim_ascii_end().ends_with(b">")
        && quotes.is_multiple_of(2)
        && !kind.iter().any(|b| matches!(b, b'[' | b'\''))
}

/// Whether what stands before a document type is, beside the XML declaration, clearly nothing but whole comments.
fn only_comments(before: &[u8]) -> bool {
    let mut rest = before.strip_prefix(b"<?xml").unwrap_or(before);
    if memmem::find(rest, b"<?").is_some() {
        return false;
    }
    while let Some(at) = memmem::find(rest, b"<!") {
        let comment = rest[at..].strip_prefix(b"<!--");
        let Some(after) = comment.and_then(|text| Some(&text[memmem::find(text, b"-->")? + 3..])) else { return false };
        rest = after;
    }
    true
}

/// Refuses more nesting than any score needs. The parser takes any, but what
/// walks through the tree may not.
pub fn check_depth(document: &Document<'_>) -> Result<(), Fault> {
    // Nodes are numbered in the order of the document: a node has most of its
    // ancestors in common with those before it, so that of what is too deep one
    // in so many is at least half as deep.
    let mut some = document.descendants().step_by(DEEPEST / 2);
    if some.all(|node| node.ancestors().count() <= DEEPEST / 2) {
        return Ok(());
    }
    check_below(document.root(), 0, document.descendants().len())
}

/// The elements below a node at a depth; `end` is the number after its last.
fn check_below(node: Node<'_, '_>, depth: usize, end: usize) -> Result<(), Fault> {
    if depth > DEEPEST {
        return Err(Fault { at: node.range().start, reason: too_deep() });
    }
    let mut next = node.first_child();
    while let Some(child) = next {
        next = child.next_sibling();
        // Nodes are numbered in the order of the document. What holds but a few
        // cannot be deep, and these are nearly all.
        let after = next.map_or(end, |n| n.id().get_usize());
        if after - child.id().get_usize() + depth > DEEPEST && child.is_element() {
            check_below(child, depth + 1, after)?;
        }
    }
    Ok(())
}

/// The byte after the next end mark, or the end of the text.
fn after(text: &str, from: usize, end: &str) -> usize {
    text.get(from..).and_then(|rest| rest.find(end)).map_or(text.len(), |at| from + at + end.len())
}

/// The end of a document type declaration, and its first entity declaration.
/// It goes through it as the parser does, which knows no quotes inside of it.
fn document_type(text: &str, from: usize) -> (usize, Option<usize>) {
    let bytes = text.as_bytes();
    let mut at = from + 9;
    loop {
        at += match bytes.get(at) {
            Some(b'[') => break,
            Some(b'>') => return (at + 1, None),
            Some(quote @ (b'"' | b'\'')) => bytes[at + 1..].iter().position(|b| b == quote).map_or(1, |n| n + 2),
            Some(_) => 1,
            None => return (at, None),
        };
    }
    at += 1;
    loop {
        let rest = &bytes[at.min(bytes.len())..];
        at = match rest.first() {
            Some(b' ' | b'\t' | b'\r' | b'\n') => at + 1,
            Some(b']') => return (after(text, at, ">"), None),
            _ if rest.starts_with(b"<!ENTITY") => return (at, Some(at)),
            _ if rest.starts_with(b"<!--") => after(text, at + 4, "-->"),
            _ if rest.starts_with(b"<?") => after(text, at + 2, "?>"),
            _ if rest.starts_with(b"<!") => after(text, at + 2, ">"),
            // The parser ends here.
            _ => return (bytes.len(), None),
        };
    }
}

/// What a start tag holds.
struct Tag {
    attributes: usize,
    namespaces: usize,
    is_empty: bool,
    end: usize,
}

impl Tag {
    /// From the first byte of its name.
    fn scan(bytes: &[u8], from: usize) -> Tag {
        let mut tag = Tag { attributes: 0, namespaces: 0, is_empty: false, end: bytes.len() };
        let (mut at, mut name) = (from, from);
        while at < bytes.len() {
            match bytes[at] {
                b'>' => {
                    tag.is_empty = bytes[at - 1] == b'/';
                    tag.end = at + 1;
                    break;
                }
                b'=' => {
                    tag.attributes += 1;
                    tag.namespaces += usize::from(bytes[name..at].starts_with(b"xmlns"));
                }
                b' ' | b'\t' | b'\r' | b'\n' => {}
                quote @ (b'"' | b'\'') => {
                    at = bytes[at + 1..].iter().position(|b| *b == quote).map_or(bytes.len(), |n| at + 1 + n);
                }
                // A tag that never ends is not well formed; the next one starts here.
                b'<' => {
                    tag.end = at;
                    break;
                }
                _ if matches!(bytes[at - 1], b' ' | b'\t' | b'\r' | b'\n' | b'"' | b'\'') => name = at,
                _ => {}
            }
            at += 1;
        }
        tag
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reason(text: &str) -> String {
        check(text).expect_err("it must be refused").reason
    }

    #[test]
    fn real_scores_pass() {
        for score in [
            include_str!("../../corpus/demo/edition.musicxml"),
            "<?xml version='1.0'?><!DOCTYPE a PUBLIC \"<!ENTITY\" '>'[<!-- <!ENTITY --> <!ELEMENT a ANY>]><a b='>'/>",
            "<a><!-- <!ENTITY <<< --><![CDATA[<!ENTITY]]></a>",
            "",
        ] {
            assert_eq!(check(score), Ok(()));
        }
    }

    #[test]
    fn what_no_score_holds_is_refused_where_it_stands() {
        let fault = check("<!DOCTYPE a [\n<!ENTITY b 'c'>]><a/>").unwrap_err();
        assert_eq!(fault.at, 14);
        assert!(fault.reason.contains("entity"));
        assert!(reason("<!DOCTYPE a [<!ENTITY % b 'c'>]><a/>").contains("entity"));
        assert!(reason("<!DOCTYPE a '[' [<!ATTLIST a b CDATA '><!ENTITY c \"d\">'>]><a/>").contains("entity"));
        let hidden = format!("<!DOCTYPE a [<!ATTLIST a b CDATA '>]>{}", "<a>".repeat(101));
        assert!(reason(&hidden).contains("nested"));
        assert!(reason(&"<a>".repeat(101)).contains("nested"));
        assert!(reason(&format!("<a {}/>", "b='c' ".repeat(257))).contains("attributes"));
        assert!(reason(&"<a xmlns:b='c'>".repeat(33)).contains("namespaces"));
        assert!(reason(&format!("<a {}/>", "\nxmlns:b = 'c' ".repeat(33))).contains("namespaces"));
        assert!(reason(&"<a/>".repeat(3_000_001)).contains("elements"));
    }

    /// Where the quick look sees no harm there is none.
    #[test]
    fn a_quick_look_lets_no_harm_pass() {
        let long = "x".repeat(4 * MOST_ATTRIBUTES);
        let many = " xmlns:a='b'".repeat(33);
        for (text, harmless) in [
            ("<!DOCTYPE a PUBLIC \"b\" \"c\">\n<a/>".into(), true),
            ("<?b c?><!-- d --><a/>".into(), true),
            ("<?xml b='c'?><!-- d --><!-- e --><!DOCTYPE a \"f\"><a/>".into(), true),
            ("<!-- <!DOCTYPE a> --><!DOCTYPE a [<!ENTITY b 'c'>]><a/>".into(), false),
            ("<!-- b --><!-- <!DOCTYPE a> --><!DOCTYPE a [<!ENTITY b 'c'>]><a/>".into(), false),
            ("<?b <!-- ?><!--> <!DOCTYPE a> --><!DOCTYPE a [<!ENTITY b 'c'>]><a/>".into(), false),
            ("<!--> <!DOCTYPE a> --><!DOCTYPE a [<!ENTITY b 'c'>]><a/>".into(), false),
            ("<!DOCTYPE a \"b>\n<c\" [<!ENTITY d 'e'>]><a/>".into(), false),
            ("<!DOCTYPE a 'b>\n<c' [<!ENTITY d 'e'>]><a/>".into(), false),
            ("<!DOCTYPE a [<!ENTITY b 'c'>]><a/>".into(), false),
            (format!("<a{many}/>"), false),
            (format!("<a>{long}</a>"), false),
            (format!("<a{}/>", " b=''".repeat(MOST_ATTRIBUTES + 1)), false),
            ("<a/>".repeat(MOST_ELEMENTS + 1), false),
        ] {
            assert_eq!(is_harmless(text.as_bytes()), harmless, "{}", &text[..text.len().min(80)]);
        }
        assert!(is_harmless(include_bytes!("../../corpus/demo/edition.musicxml")));
    }

    #[test]
    fn depth_is_counted_in_the_tree() {
        let nested = |before: usize, count: usize| {
            format!("<r>{}{}<b/>{}</r>", "<c/>".repeat(before), "<a>".repeat(count), "</a>".repeat(count))
        };
        // Wherever it stands.
        for before in 0..DEEPEST {
            let depth = |count| {
                let text = nested(before, count);
                check_depth(&Document::parse(&text).unwrap()).map_err(|fault| fault.at)
            };
            assert_eq!((depth(98), depth(99)), (Ok(()), Err(3 + 4 * before + 3 * 99)), "{before}");
        }
    }

    #[test]
    fn numbers_of_no_character_are_refused_where_they_stand() {
        for none in ["&#xD800;", "&#55296;", "&#xdfff;", "&#x110000;", "&#x7FFFFFFF;"] {
            let fault = |text: &str| check_score(text).map_err(|fault| fault.at);
            assert_eq!(fault(&format!("<a>é{none}</a>")), Err(5), "{none}");
            assert_eq!(fault(&format!("<a b='{none}'/>")), Err(6), "{none}");
            assert_eq!(fault(&format!("<a><!-- {none} {none} --><?b {none}?><![CDATA[<!-- {none}]]></a>")), Ok(()));
            assert_eq!(fault(&format!("<a><!-- <![CDATA[ {none} -->{none}</a>")), Err(22 + none.len()), "{none}");
        }
        for some in ["&#xFFFD;", "&#65;", "&#x1D11E;", "&#x;", "&#", "&# 5;", "&#xD7FF;"] {
            assert_eq!(check_score(some), Ok(()), "{some}");
        }
    }

    /// Closed elements take their namespaces along.
    #[test]
    fn siblings_may_declare_again() {
        assert_eq!(check(&format!("<r>{}</r>", "<a xmlns:b='c'><d></d></a>".repeat(1000))), Ok(()));
    }
}
