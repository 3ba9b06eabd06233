//! The engraver's own reading of our score, so that every element says which
//! mark it is. It carries colours over from MusicXML, though not always to the
//! place where they are drawn; where it carries none, text carries them.

use super::document::{SPACE, is};
use crate::musicxml::sheet::{ABOVE, SMALL_TEXT};
use crate::musicxml::{BRACKETED as BRACKET_SIGN, SAME_NUMBER, TEXT_COLOR};
use crate::patch::Patch;
use roxmltree::{Document, Node, NodeId};
use std::collections::HashSet;
use std::ops::Range;

/// What becomes of colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colors {
    /// They are names of marks: `#00002A` becomes the type `m42`.
    Names,
    /// They are colours, to be drawn.
    Drawn,
}

/// The size of small words.
const SMALL: &str = "80%";
/// The class of what stands above a stretch or an exercise.
pub const HEADING: &str = "heading";

/// The type of what is to stand in brackets.
pub const BRACKETED: &str = "bracketed";

/// Elements that are drawn in one colour, whatever their parts say.
const CONTROL: [&str; 9] = ["dynam", "dir", "tempo", "reh", "fing", "harm", "verse", "ending", "repeatMark"];

/// The number of the mark that a colour is the name of.
pub fn mark_of(color: &str) -> Option<u32> {
    u32::from_str_radix(color.trim_start_matches('#'), 16).ok()
}

/// The document with colours where they are seen; `None` if it is none.
pub fn paint(mei: &str, colors: Colors) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let mut painter = Painter { mei, colors, patch: Patch::default(), done: HashSet::new() };
    for node in document.descendants() {
        if node.tag_name().name() == "reh" && !["tstamp", "startid"].iter().any(|at| node.has_attribute(*at)) {
            // Else the engraver puts it in the place of the bar number.
            painter.patch.insert(node.range().start + 1 + "reh".len(), " tstamp=\"1\"");
        }
        if let Some(own) = node.attribute_node("n")
            && let Some((number, _)) = own.value().split_once(SAME_NUMBER)
        {
            painter.patch.replace(own.range_value(), quick_xml::escape::escape(number).into_owned());
        }
        if is(node, "dir") && node.descendants().filter_map(|n| n.text()).any(|text| text.contains(SMALL_TEXT)) {
            painter.patch.insert(node.range().start + 1 + "dir".len(), format!(" type=\"{HEADING}\""));
        }
        if is(node, "verse") && node.attribute("label") == Some(ABOVE) {
            painter.patch.insert(node.range().start + 1 + "verse".len(), " place=\"above\"");
        }
        if is_of_signs(node) {
            painter.patch.insert(node.range().start + 1 + "rend".len(), " glyph.auth=\"smufl\"");
        }
        if node.is_text() && is_of_syllable_above(node) {
            let text = quick_xml::escape::escape(node.text().unwrap_or_default().trim()).into_owned();
            painter.patch.replace(node.range(), format!("<rend fontsize=\"{SMALL}\">{text}\u{a0}</rend>"));
            continue;
        }
        if node.is_text() {
            if is_small(node) {
                let text = node.text().unwrap_or_default().trim_start().trim_start_matches(SMALL_TEXT);
                let text = quick_xml::escape::escape(text);
                painter.patch.replace(node.range(), format!("<rend fontsize=\"{SMALL}\">{text}</rend>"));
                continue;
            }
            painter.keep_spaces(node);
            let Some((color, rest)) = marked(node.text().unwrap_or_default()) else { continue };
            let Some(holder) = node.ancestors().find(|n| CONTROL.contains(&n.tag_name().name())) else { continue };
            painter.patch.replace(node.range(), quick_xml::escape::escape(rest));
            painter.say(holder, color);
        } else if let Some(color) = node.attribute_node("color") {
            let holder = node.ancestors().skip(1).find(|n| CONTROL.contains(&n.tag_name().name()));
            painter.cut(color.range());
            painter.say(holder.unwrap_or(node), color.value());
        }
        if let Some(color) = node.attribute_node("head.color").filter(|_| colors == Colors::Names) {
            painter.cut(color.range());
        }
    }
    painter.patch.apply(mei).ok()
}

/// Whether a text is of a syllable above the staff: it is small, and keeps a distance from the next.
fn is_of_syllable_above(text: Node<'_, '_>) -> bool {
    let verse = text.ancestors().find(|n| is(*n, "verse"));
    verse.is_some_and(|verse| verse.attribute("label") == Some(ABOVE))
        && text.parent().is_some_and(|p| is(p, "syl") || is(p, "rend"))
}

/// Whether a text is of words that are drawn small, in whichever of their lines.
fn is_small(text: Node<'_, '_>) -> bool {
    let words = text.ancestors().find(|n| is(*n, "rend") || is(*n, "dir"));
    let texts =
        words.into_iter().flat_map(|words| words.descendants()).filter_map(|n| n.text().filter(|_| n.is_text()));
    texts.into_iter().find(|t| !t.trim().is_empty()).is_some_and(|first| first.trim_start().starts_with(SMALL_TEXT))
}

/// Whether words are signs of a music font, in whatever font the file has them.
fn is_of_signs(node: Node<'_, '_>) -> bool {
    let own: String = node.children().filter_map(|n| n.text().filter(|_| n.is_text())).collect();
    let is_sign = |c: char| ('\u{E000}'..='\u{F8FF}').contains(&c);
    let is_rend = node.tag_name().name() == "rend" && !node.has_attribute("glyph.auth");
    is_rend && !own.trim().is_empty() && own.trim().chars().all(is_sign)
}

/// The colour that stands before a text, and the text.
fn marked(text: &str) -> Option<(&str, String)> {
    let [open, close] = TEXT_COLOR;
    let start = text.find(open)?;
    let end = start + text[start..].find(close)?;
    let color = &text[start + open.len_utf8()..end];
    Some((color, format!("{}{}", &text[..start], &text[end + close.len_utf8()..])))
}

struct Painter<'m> {
    mei: &'m str,
    colors: Colors,
    patch: Patch,
    /// What has its colour; the first holds.
    done: HashSet<NodeId>,
}

impl Painter<'_> {
    /// Takes out an attribute with the space before it.
    fn cut(&mut self, attribute: Range<usize>) {
        self.patch.cut(self.mei[..attribute.start].trim_end().len()..attribute.end);
    }

    /// A space before or behind other letters of the same words would not be drawn.
    fn keep_spaces(&mut self, text: Node<'_, '_>) {
        let said = text.text().unwrap_or_default();
        let is_part = text.parent_element().is_some_and(|p| p.tag_name().name() == "rend");
        if is_part && !said.trim().is_empty() && said.ends_with(' ') && marked(said).is_none() {
            let kept = format!("{}{SPACE}", said.trim_end());
            self.patch.replace(text.range(), quick_xml::escape::escape(kept.as_str()).into_owned());
        }
    }

    /// What a sign in brackets is, beside what the engraver says that it is.
    fn also_bracketed(&mut self, node: Node<'_, '_>) -> String {
        let Some(own) = node.attribute_node("type") else { return BRACKETED.into() };
        self.cut(own.range());
        format!("{} {BRACKETED}", own.value())
    }

    fn say(&mut self, node: Node<'_, '_>, color: &str) {
        if !self.done.insert(node.id()) {
            return;
        }
        let (bracketed, color) = color.strip_prefix(BRACKET_SIGN).map_or((false, color), |color| (true, color));
        let said = match self.colors {
            Colors::Drawn => {
                let color = if color.is_empty() { String::new() } else { format!(" color=\"{color}\"") };
                if bracketed { format!("{color} type=\"{}\"", self.also_bracketed(node)) } else { color }
            }
            Colors::Names => {
                let Some(number) = mark_of(color) else { return };
                if let Some(old) = node.attribute_node("type") {
                    self.cut(old.range());
                }
                format!(" type=\"m{number}\"")
            }
        };
        self.patch.insert(node.range().start + 1 + node.tag_name().name().len(), said);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MEI: &str = "<mei><dynam place=\"below\"><rend color=\"#00002A\">p</rend></dynam>\
                       <note color=\"#000001\" type=\"own\" head.color=\"#000001\"/>\
                       <fing>\u{F0000}#000003\u{F0001}1 &amp; 2</fing><rest/></mei>";

    #[test]
    fn colours_become_names() {
        let painted = paint(MEI, Colors::Names).unwrap();
        assert_eq!(
            painted,
            "<mei><dynam type=\"m42\" place=\"below\"><rend>p</rend></dynam><note type=\"m1\"/>\
             <fing type=\"m3\">1 &amp; 2</fing><rest/></mei>"
        );
    }

    #[test]
    fn colours_go_where_they_are_seen() {
        let painted = paint(MEI, Colors::Drawn).unwrap();
        assert!(painted.starts_with("<mei><dynam color=\"#00002A\" place=\"below\"><rend>p</rend>"), "{painted}");
        assert!(painted.contains("<note color=\"#000001\" type=\"own\" head.color=\"#000001\"/>"), "{painted}");
        assert!(painted.contains("<fing color=\"#000003\">1 &amp; 2</fing>"), "{painted}");
        let bowing = "<mei><artic type=\"technical\" color=\"[\"/><reh>A</reh><reh tstamp=\"2\">B</reh></mei>";
        let painted = paint(bowing, Colors::Drawn).unwrap();
        let [bow, marks] =
            ["<artic type=\"technical bracketed\"/>", "<reh tstamp=\"1\">A</reh><reh tstamp=\"2\">B</reh>"];
        assert_eq!(painted, format!("<mei>{bow}{marks}</mei>"));
        let words = |space: &str, auth: &str| {
            format!("<mei><dir><rend>più{space}</rend><rend{auth}>\u{E520}</rend></dir></mei>")
        };
        assert_eq!(paint(&words(" ", ""), Colors::Drawn).unwrap(), words(SPACE, " glyph.auth=\"smufl\""));
        let bars = paint("<mei><measure n=\"1\"/><measure n=\"1\u{F0002}2\"/></mei>", Colors::Drawn).unwrap();
        assert_eq!(bars, "<mei><measure n=\"1\"/><measure n=\"1\"/></mei>");
        assert_eq!(paint("<mei>", Colors::Drawn), None);
    }
}
