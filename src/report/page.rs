//! A page of text: titles, wrapped paragraphs, lists, and their colours.

use crate::findings::Status;
use owo_colors::OwoColorize;
use unicode_width::UnicodeWidthStr;

/// How things are coloured. Colour only repeats what the words say; whoever
/// prints the text takes it out where it is not wanted.
pub struct Ink;

impl Ink {
    pub fn title(text: &str) -> String {
        text.bold().to_string()
    }

    pub fn quiet(text: &str) -> String {
        text.dimmed().to_string()
    }

    pub fn status(status: Status, text: &str) -> String {
        match status {
            Status::Added => text.blue().to_string(),
            Status::Omitted => text.red().to_string(),
            Status::Altered => text.yellow().to_string(),
        }
    }
}

/// A text that grows by paragraphs, none wider than it should be.
pub struct Page {
    pub text: String,
    pub width: usize,
}

impl Page {
    pub fn new(width: usize) -> Page {
        Page { text: String::new(), width }
    }

    pub fn blank(&mut self) {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
    }

    pub fn title(&mut self, text: &str) {
        self.blank();
        self.text += &Ink::title(&printable(text));
        self.text.push('\n');
    }

    /// Wrapped; the first line starts with `lead`, the others with as much space.
    pub fn hanging(&mut self, lead: &str, styled_lead: &str, text: &str) {
        let indent = lead.width().min(self.width / 2);
        let space = " ".repeat(indent);
        let room = self.width.saturating_sub(lead.width()).max(24);
        for (place, line) in textwrap::wrap(&printable(text), room).iter().enumerate() {
            self.text += if place == 0 { styled_lead } else { &space };
            self.text += line;
            let end = self.text.trim_end_matches(' ').len();
            self.text.truncate(end);
            self.text.push('\n');
        }
    }

    pub fn paragraph(&mut self, text: &str) {
        self.hanging("", "", text);
    }

    /// Two columns: where, and what.
    pub fn list(&mut self, items: &[(String, String)]) {
        let widest = items.iter().map(|i| i.0.width()).max().unwrap_or(0);
        for (place, what) in items {
            let pad = " ".repeat(widest - place.width());
            let lead = format!("  {place}{pad}   ");
            self.hanging(&lead, &lead.clone(), what);
        }
    }

    pub fn warnings(&mut self, warnings: &[String]) {
        if warnings.is_empty() {
            return;
        }
        self.title("Warnings");
        for warning in warnings {
            self.hanging("  ", "  ", warning);
        }
    }
}

/// Titles and file names may hold anything, a terminal's commands too.
pub fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
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
        assert_eq!(page.text, "a [2Jb\n");
    }
}
