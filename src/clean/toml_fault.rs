//! Where a TOML file is wrong, in one line.

/// `line 3, column 1: unknown field …`
pub fn told(text: &str, error: &toml::de::Error) -> String {
    at(text, error.span().map_or(0, |s| s.start), &error.message().replace('\n', " "))
}

/// The same for a reason of our own, at a byte of the text.
pub fn at(text: &str, byte: usize, reason: &str) -> String {
    let before = &text[..byte.min(text.len())];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    format!("line {line}, column {column}: {reason}")
}
