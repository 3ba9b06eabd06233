//! Where a TOML file is wrong, in one line.

/// `line 3, column 1: unknown field …`
pub fn told(text: &str, error: &toml::de::Error) -> String {
    let at = error.span().map_or(0, |s| s.start);
    let line = text[..at].matches('\n').count() + 1;
    let column = text[..at].rsplit('\n').next().unwrap_or("").chars().count() + 1;
    format!("line {line}, column {column}: {}", error.message().replace('\n', " "))
}
