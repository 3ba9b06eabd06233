//! JSON with a line for each value, two spaces deeper in each bracket. What
//! stands between two values is written at once.

use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};
use std::io::{Result, Write};

/// Bytes of a small report. It is not to be copied again and again while it grows.
const ROOM: usize = 1 << 17;

/// A result as JSON, with a line end.
pub fn text(result: &impl Serialize) -> String {
    let mut out = Vec::with_capacity(ROOM);
    result.serialize(&mut Serializer::with_formatter(&mut out, Lines::new())).expect("plain data is always JSON");
    out.push(b'\n');
    String::from_utf8(out).expect("JSON of strings is UTF-8")
}

struct Lines {
    /// A comma, a new line as deep as the brackets are, and a quotation mark.
    between: Vec<u8>,
    /// The bracket that is closed next holds something.
    filled: bool,
    /// The string that is written next is the name of a field.
    in_key: bool,
}

impl Lines {
    fn new() -> Lines {
        Lines { between: b",\n\"".to_vec(), filled: false, in_key: false }
    }

    fn open<W: ?Sized + Write>(&mut self, out: &mut W, bracket: &[u8]) -> Result<()> {
        self.between.pop();
        self.between.extend_from_slice(b"  \"");
        self.filled = false;
        out.write_all(bracket)
    }

    fn close<W: ?Sized + Write>(&mut self, out: &mut W, bracket: &[u8]) -> Result<()> {
        self.between.truncate(self.between.len() - 3);
        self.between.push(b'"');
        if self.filled {
            self.line(out, true)?;
        }
        out.write_all(bracket)
    }

    fn line<W: ?Sized + Write>(&self, out: &mut W, first: bool) -> Result<()> {
        out.write_all(&self.between[usize::from(first)..self.between.len() - 1])
    }
}

impl Formatter for Lines {
    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> Result<()> {
        self.open(out, b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> Result<()> {
        self.close(out, b"]")
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> Result<()> {
        self.line(out, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, _: &mut W) -> Result<()> {
        self.filled = true;
        Ok(())
    }

    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> Result<()> {
        self.open(out, b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> Result<()> {
        self.close(out, b"}")
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> Result<()> {
        self.in_key = true;
        out.write_all(&self.between[usize::from(first)..])
    }

    fn begin_string<W: ?Sized + Write>(&mut self, out: &mut W) -> Result<()> {
        // That of a name is written with its line.
        if self.in_key { Ok(()) } else { out.write_all(b"\"") }
    }

    fn end_string<W: ?Sized + Write>(&mut self, out: &mut W) -> Result<()> {
        out.write_all(if std::mem::take(&mut self.in_key) { b"\": " } else { b"\"" })
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, _: &mut W) -> Result<()> {
        Ok(())
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, _: &mut W) -> Result<()> {
        self.filled = true;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_set_as_in_any_pretty_json() {
        let value = serde_json::json!({"a": [], "b": {}, "c": [1, [2, "x\n"], {"d": null}], "e": {"f": [[]]}});
        assert_eq!(text(&value), serde_json::to_string_pretty(&value).unwrap() + "\n");
    }
}
