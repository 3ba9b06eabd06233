//! Text of files as people are shown it: on one line, and nothing that a terminal obeys.

use std::borrow::Cow;

/// What a name or a word of a score may bring along: controls that a terminal obeys, line ends that are none of ours,
/// turned directions, and the two that are no characters, which no score can hold.
pub fn is_odd(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        || matches!(c, '\u{fffe}' | '\u{ffff}')
}

/// A page without controls, and without turned directions: whatever stands after them would be read backwards.
pub fn unturned(page: &str) -> String {
    let is_out = |c: char| {
        c.is_control() && !matches!(c, '\n' | '\t') || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    page.replace(is_out, "")
}

/// The text with spaces in the place of all that is odd.
pub fn one_line(text: &str) -> Cow<'_, str> {
    if text.contains(is_odd) { text.replace(is_odd, " ").into() } else { text.into() }
}

/// The words of a text with one space between them, as names are told apart.
pub fn plain(text: &str) -> String {
    words(text).collect::<Vec<_>>().join(" ")
}

/// Whether two names look the same.
pub fn is_alike(one: &str, other: &str) -> bool {
    words(one).eq(words(other))
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| c.is_whitespace() || is_odd(c)).filter(|word| !word.is_empty())
}

/// Signs of a message. One that quotes a long text of a file is cut in its middle.
const LONGEST: usize = 800;

/// With a capital letter, as a sentence or a name begins.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// A message on one line, no longer than anybody reads.
pub fn message(text: &str) -> String {
    let starts: Vec<usize> = text.char_indices().map(|c| c.0).take(LONGEST / 2 + 1).collect();
    let ends: Vec<usize> = text.char_indices().rev().map(|c| c.0).take(LONGEST / 2).collect();
    match (starts.last(), ends.last()) {
        (Some(to), Some(from)) if to < from => format!("{} … {}", one_line(&text[..*to]), one_line(&text[*from..])),
        _ => one_line(text).into_owned(),
    }
}

/// Data for programs (JSON, TOML) as a terminal may have it: what is odd in a string is escaped, line ends stay.
pub fn escaped(text: &str) -> Cow<'_, str> {
    harmless(text, &['\n', '\t'], |c| format!("\\u{c:04x}"))
}

/// A score as a terminal may have it: what is odd is a number in it, which says the same.
pub fn numbered(text: &str) -> Cow<'_, str> {
    harmless(text, &['\n', '\t', '\r'], |c| format!("&#x{c:x};"))
}

/// What stays is `kept`, line ends among it.
fn harmless<'t>(text: &'t str, kept: &[char], said: impl Fn(u32) -> String) -> Cow<'t, str> {
    let harms = |c: char| is_odd(c) && !kept.contains(&c);
    if !text.contains(harms) {
        return text.into();
    }
    let mut out = String::with_capacity(text.len() + 64);
    for c in text.chars() {
        match harms(c) {
            true => out += &said(c.into()),
            false => out.push(c),
        }
    }
    out.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_odd_becomes_a_space() {
        assert_eq!(one_line("a\u{1b}[2Jb\nc\u{85}d\u{2028}e\u{202e}f\u{200f}g"), "a [2Jb c d e f g");
        assert!(matches!(one_line("Flöte, Übung 3 – 𝄞"), Cow::Borrowed(_)));
        assert_eq!(plain(" 12\n\u{202e} 13 "), "12 13");
        assert!(is_alike("12\r\n13", " 12 13"));
        assert!(!is_alike("1213", "12 13"));
    }

    #[test]
    fn a_long_message_is_cut_in_its_middle() {
        let long = format!("a.xml: the part {} has no bar 3", "é".repeat(100_000));
        let cut = message(&long);
        assert!(cut.starts_with("a.xml: the part éé") && cut.ends_with("éé has no bar 3"), "{cut}");
        assert!(cut.contains("é … é"), "{cut}");
        for length in [0, 1, LONGEST - 1, LONGEST] {
            assert_eq!(message(&"é".repeat(length)), "é".repeat(length));
        }
        assert_eq!(message(&"é".repeat(LONGEST + 1)).chars().filter(|c| *c == 'é').count(), LONGEST);
    }

    #[test]
    fn a_score_is_the_same_to_a_program() {
        let safe = numbered("<a b=\"\u{9b}2J\">\u{202e}\u{7f}é\n</a>");
        assert_eq!(safe, "<a b=\"&#x9b;2J\">&#x202e;&#x7f;é\n</a>");
        assert!(matches!(numbered("<a>\n\té</a>"), Cow::Borrowed(_)));
    }

    #[test]
    fn data_is_the_same_to_a_program() {
        let text = serde_json::to_string_pretty(&["a\u{9b}b\u{202e}\u{7f}\n"]).unwrap();
        let safe = escaped(&text);
        assert_eq!(safe, "[\n  \"a\\u009bb\\u202e\\u007f\\n\"\n]");
        let [read, again] = [&*text, &*safe].map(|text| serde_json::from_str::<Vec<String>>(text).unwrap());
        assert_eq!(read, again);
    }
}
