//! Words in lines of a width, so that long ones stay on the page.

use super::letters::{Face, letter};

/// How wide a text is, in the unit of its size.
fn width(text: &str, size: f64) -> f64 {
    text.chars().map(|c| letter(c, Face::Regular).advance * size).sum()
}

/// A text in at most so many lines; what has no room in them is left out, and "…" says so.
pub fn wrapped(text: &str, size: f64, room: f64, most: usize) -> Vec<String> {
    if width(text, size) <= room {
        return vec![text.into()];
    }
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let line = lines.last_mut().expect("there is one");
        let space = if line.is_empty() { "" } else { " " };
        if width(line, size) + width(space, size) + width(word, size) <= room {
            *line = format!("{line}{space}{word}");
            continue;
        }
        let mut rest = if line.is_empty() {
            std::mem::take(line)
        } else {
            lines.push(String::new());
            String::new()
        };
        // A word that is longer than a line goes on in the next one.
        for c in word.chars() {
            if !rest.is_empty() && width(&rest, size) + width(c.encode_utf8(&mut [0; 4]), size) > room {
                let full = std::mem::take(&mut rest);
                *lines.last_mut().expect("there is one") = full;
                lines.push(String::new());
            }
            rest.push(c);
        }
        *lines.last_mut().expect("there is one") = rest;
        // Nobody reads a thousand lines.
        if lines.len() > most {
            break;
        }
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            while !last.is_empty() && width(last, size) + width("…", size) > room {
                last.pop();
            }
            *last = format!("{}…", last.trim_end());
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_texts_are_wrapped_and_very_long_ones_end() {
        let room = 20.0 * width("n", 10.0);
        assert_eq!(wrapped("Andante", 10.0, room, 3), ["Andante"]);
        assert_eq!(wrapped("", 10.0, room, 3), [""]);
        let lines = wrapped(&"a rather long title ".repeat(3), 10.0, room, 9);
        assert_eq!(lines.join(" "), "a rather long title ".repeat(3).trim());
        for text in ["a rather long title ".repeat(9), "Wolkenkuckucksheim".repeat(20), "n".repeat(400)] {
            let lines = wrapped(&text, 10.0, room, 3);
            assert!(lines.len() == 3 && lines[2].ends_with('…') && !lines[0].is_empty(), "{lines:?}");
            assert!(lines.iter().all(|line| width(line, 10.0) <= room), "{lines:?}");
        }
    }
}
