//! A clean copy without what it says of its making, to be compared with other texts.

/// Takes out the description of the encoding and the miscellaneous field that a
/// clean copy is signed with, and what held only them.
///
/// # Panics
/// If the copy is not signed.
pub fn unsigned(text: &str) -> String {
    let description =
        cut(text, "<encoding-description>Derived from ", "</encoding-description>").expect("a description");
    let field = cut(&description, "<miscellaneous-field name=\"obelus\">", "</miscellaneous-field>").expect("a field");
    ["encoding", "miscellaneous"].iter().fold(field, |text, holder| {
        let start = format!("<{holder}>");
        let empty = text
            .find(&start)
            .is_some_and(|at| text[at + start.len()..].trim_start().starts_with(&format!("</{holder}>")));
        if empty { cut(&text, &start, &format!("</{holder}>")).expect("found above") } else { text }
    })
}

/// The text without the element from `start` to `end` and the white space before it.
fn cut(text: &str, start: &str, end: &str) -> Option<String> {
    let from = text.find(start)?;
    let to = from + text[from..].find(end)? + end.len();
    Some(format!("{}{}", text[..from].trim_end(), &text[to..]))
}
