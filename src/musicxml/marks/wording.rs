//! Words in directions and under notes.

use super::{Collector, Spot, name};
use crate::musicxml::tree::{element, elements, one_line, text_of};
use crate::musicxml::words;
use crate::score::{Category, Part, Sign};
use roxmltree::Node;

impl Collector {
    /// Words with all that stand in the same `direction-type`: a phrase whose
    /// font changes, or with glyphs in it, comes in several elements. The first
    /// of them brings the mark.
    pub(super) fn words(&mut self, part: &mut Part, node: Node<'_, '_>, spot: Spot) {
        let is_word = |n: &Node| matches!(name(*n), "words" | "symbol");
        let mut phrase = vec![node];
        if is_word(&node) {
            if node.prev_siblings().skip(1).any(|n| is_word(&n)) {
                return;
            }
            phrase.extend(node.next_siblings().skip(1).filter(is_word));
        }
        let text = joined(&phrase);
        if text.is_empty() {
            return;
        }
        let (category, sign) = if phrase.iter().all(|n| name(*n) == "symbol") {
            (Category::Text, Sign::Symbol(text))
        } else {
            let (category, term) = words::classify(&text);
            (category, Sign::Words { printed: text, term })
        };
        let mark = self.add(part, category, sign, spot, phrase.into_iter().map(element).collect());
        self.last_words = Some((spot.order.0, spot.staff, mark));
    }

    /// A syllable (or more) of one verse, with the hyphen that leads on.
    pub(super) fn lyric(&mut self, part: &mut Part, category: Category, lyric: Node<'_, '_>, spot: Spot) {
        let mut text = String::new();
        let mut hyphen = "";
        for item in elements(lyric) {
            match name(item) {
                "syllabic" => hyphen = if matches!(text_of(item), "begin" | "middle") { "-" } else { "" },
                "text" => text.push_str(&one_line(text_of(item))),
                // Two syllables on one note.
                "elision" => text.push('\u{203F}'),
                other @ ("laughing" | "humming") => text.push_str(other),
                _ => {}
            }
        }
        if text.is_empty() {
            return;
        }
        text.push_str(hyphen);
        let called = lyric.attribute("number").or(lyric.attribute("name")).unwrap_or("1");
        let sign = Sign::Lyric { verse: self.verses.number(called), text };
        self.add_plain(part, category, sign, lyric, spot);
    }
}

/// No phrase that the lexicon could know is longer, in bytes.
const LONGEST_PHRASE: usize = 100;

/// The text of words that follow each other. Where nothing divides them they
/// are two words, unless only both together are one that is known.
fn joined(phrase: &[Node<'_, '_>]) -> String {
    let raw = |n: &Node| {
        n.children().filter(|c| c.is_text()).filter_map(|c| c.text().map(str::to_string)).collect::<String>()
    };
    let mut out = String::new();
    for text in phrase.iter().map(raw) {
        let divided = out.is_empty() || out.ends_with(char::is_whitespace) || text.starts_with(char::is_whitespace);
        let unknown = |text: &str| words::classify(text).0 == Category::Text;
        let one_word = || {
            let short = out.len() + text.len() < LONGEST_PHRASE;
            short && unknown(&format!("{out} {text}")) && !unknown(&format!("{out}{text}"))
        };
        if !divided && !one_word() {
            out.push(' ');
        }
        out.push_str(&text);
    }
    one_line(&out)
}
