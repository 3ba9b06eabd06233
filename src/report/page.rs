//! A page of text: titles, wrapped paragraphs, lists, and their colours.

use crate::findings::Status;
use crate::readable::one_line;
use owo_colors::OwoColorize;
use unicode_width::UnicodeWidthStr;

/// How a piece of text is coloured. Colour only repeats what the words say; whoever
/// prints the text takes it out where it is not wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    Plain,
    Title,
    Quiet,
    Status(Status),
}

impl Ink {
    fn on(self, text: &str) -> String {
        match self {
            Ink::Plain => text.into(),
            Ink::Title => text.bold().to_string(),
            Ink::Quiet => text.dimmed().to_string(),
            Ink::Status(Status::Added) => text.blue().to_string(),
            Ink::Status(Status::Omitted) => text.red().to_string(),
            Ink::Status(Status::Altered) => text.yellow().to_string(),
        }
    }
}

/// A text that grows by paragraphs, none wider than it should be. All text for
/// people goes through here: the words of a file make no lines and command no terminal.
pub struct Page {
    text: String,
    pub width: usize,
}

impl Page {
    pub fn new(width: usize) -> Page {
        Page { text: String::new(), width }
    }

    pub fn finish(self) -> String {
        self.text
    }

    pub fn blank(&mut self) {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
    }

    pub fn title(&mut self, text: &str) {
        self.blank();
        self.line(&[(Ink::Title, text)]);
    }

    /// As it is, in pieces; `cell` measures them.
    pub fn line<T: AsRef<str>>(&mut self, pieces: &[(Ink, T)]) {
        self.pieces(pieces);
        self.end_line();
    }

    fn pieces<T: AsRef<str>>(&mut self, pieces: &[(Ink, T)]) {
        self.text.extend(pieces.iter().map(|(ink, text)| ink.on(&one_line(text.as_ref()))));
    }

    fn end_line(&mut self) {
        let end = self.text.trim_end_matches(' ').len();
        self.text.truncate(end);
        self.text.push('\n');
    }

    /// Wrapped; the first line starts with `lead`, the others with as much space.
    pub fn hanging(&mut self, lead: &str, text: &str) {
        self.hanging_after(&[(Ink::Plain, lead)], text);
    }

    /// As `hanging`, after coloured pieces.
    pub fn hanging_after(&mut self, lead: &[(Ink, &str)], text: &str) {
        let wide: usize = lead.iter().map(|piece| width(piece.1)).sum();
        let space = " ".repeat(wide.min(self.width / 2));
        let room = self.width.saturating_sub(wide).max(24);
        for (place, line) in textwrap::wrap(&one_line(text), room).iter().enumerate() {
            match place {
                0 => self.pieces(lead),
                _ => self.text += &space,
            }
            self.text += line;
            self.end_line();
        }
    }

    pub fn paragraph(&mut self, text: &str) {
        self.hanging("", text);
    }

    pub fn quiet_paragraph(&mut self, text: &str) {
        for line in textwrap::wrap(&one_line(text), self.width.max(24)) {
            self.line(&[(Ink::Quiet, line)]);
        }
    }

    /// One of several things below a sentence.
    pub fn item(&mut self, text: &str) {
        let options = textwrap::Options::new(self.width).initial_indent("  ").subsequent_indent("      ");
        for line in textwrap::wrap(&one_line(text), options) {
            self.line(&[(Ink::Plain, line)]);
        }
    }

    /// Two columns: where, and what.
    pub fn list(&mut self, items: &[(String, String)]) {
        let widest = items.iter().map(|i| width(&i.0)).max().unwrap_or(0);
        for (place, what) in items {
            let pad = " ".repeat(widest - width(place));
            self.hanging(&format!("  {place}{pad}   "), what);
        }
    }

    pub fn warnings(&mut self, warnings: &[String]) {
        if warnings.is_empty() {
            return;
        }
        self.title("Warnings");
        for warning in warnings {
            self.hanging("  ", warning);
        }
    }
}

/// The columns that a text takes on a page.
pub fn width(text: &str) -> usize {
    one_line(text).width()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_is_no_wider_than_it_should_be() {
        let mut page = Page::new(30);
        page.list(&[("bar 1".into(), "a very long sentence that goes on".into()), ("b".into(), "short".into())]);
        assert_eq!(page.text, "  bar 1   a very long sentence\n          that goes on\n  b       short\n");
    }

    #[test]
    fn nothing_in_a_score_commands_the_terminal() {
        let mut page = Page::new(80);
        page.paragraph("a\u{1b}[2Jb");
        page.list(&[("bar 1\n2".into(), "c\u{2028}d".into())]);
        page.title("e\r\u{9b}1mf");
        let text = anstream::adapter::strip_str(&page.finish()).to_string();
        assert_eq!(text, "a [2Jb\n  bar 1 2   c d\n\ne  1mf\n");
    }
}
