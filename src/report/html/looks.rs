//! Styles of single elements, taken out of line: a page whose policy allows no inline style still shows them.

use std::collections::BTreeMap;
use std::fmt::Write;

/// How a style attribute begins. Quotes in text are escaped, so it begins nothing else.
const STYLE: &str = " style=\"";

/// Markup without style attributes, and a style sheet that says the same. The same style has the same name on every
/// page.
pub fn out_of_line(markup: &str) -> (String, String) {
    let mut out = String::with_capacity(markup.len());
    let mut rules: BTreeMap<String, &str> = BTreeMap::new();
    let mut rest = markup;
    while let Some((before, after)) = rest.split_once(STYLE) {
        let (style, after) = after.split_once('"').unwrap_or((after, ""));
        let name = blake3::hash(style.as_bytes()).to_hex()[..10].to_string();
        let _ = write!(out, "{before} data-s=\"{name}\"");
        rules.insert(name, style);
        rest = after;
    }
    out.push_str(rest);
    // As strong as an attribute: stronger than any rule with classes.
    let sheet = rules.iter().fold(String::new(), |mut sheet, (name, style)| {
        let _ = writeln!(sheet, "[data-s=\"{name}\"][data-s][data-s]{{{style}}}");
        sheet
    });
    (out, sheet)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn styles_are_named_by_what_they_say() {
        let (markup, sheet) = out_of_line("<p style=\"left:1%\">a style=&quot;b&quot;</p><i style=\"left:1%\"/><b>");
        let (start, rest) = markup.split_once("data-s=\"").unwrap();
        let name = &rest[..10];
        assert_eq!((start, markup.matches(name).count()), ("<p ", 2));
        assert!(markup.contains("a style=&quot;b&quot;</p>"), "text stays: {markup}");
        assert_eq!(sheet, format!("[data-s=\"{name}\"][data-s][data-s]{{left:1%}}\n"));
        assert_eq!(out_of_line("<p>"), ("<p>".to_string(), String::new()));
    }
}
