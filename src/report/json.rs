//! JSON with a line for each value, two spaces deeper in each bracket. What
//! stands between two values is written at once, and names of fields are not searched for what must be escaped.

use serde::de::value::Error;
use serde::ser::{self, Serialize, Serializer};

/// Bytes of a small report. It is not to be copied again and again while it grows.
const ROOM: usize = 1 << 17;

/// A result as JSON, with a line end.
pub(super) fn text(result: &impl Serialize) -> String {
    let mut lines = Lines { out: Vec::with_capacity(ROOM), depth: 0 };
    result.serialize(&mut lines).expect("plain data is always JSON");
    lines.out.push(b'\n');
    String::from_utf8(lines.out).expect("JSON of strings is UTF-8")
}

struct Lines {
    out: Vec<u8>,
    depth: usize,
}

/// A comma and a new line with more spaces than any result needs.
const BETWEEN: &[u8] = b",\n                                                                ";

impl Lines {
    fn put(&mut self, text: &[u8]) -> Result<(), Error> {
        self.out.extend_from_slice(text);
        Ok(())
    }

    fn line(&mut self, first: bool) {
        self.out.extend_from_slice(&BETWEEN[usize::from(first)..2 + 2 * self.depth]);
    }

    fn open(&mut self, brackets: [u8; 2]) -> Inside<'_> {
        self.out.push(brackets[0]);
        self.depth += 1;
        Inside { lines: self, closing: brackets[1], is_empty: true, deeper: false }
    }

    /// An object of one field, whose value is in brackets.
    fn open_variant(&mut self, name: &str, brackets: [u8; 2]) -> Inside<'_> {
        self.out.push(b'{');
        self.depth += 1;
        self.line(true);
        self.name(name);
        Inside { deeper: true, ..self.open(brackets) }
    }

    /// Of a field: plain letters.
    fn name(&mut self, name: &str) {
        self.out.push(b'"');
        self.out.extend_from_slice(name.as_bytes());
        self.out.extend_from_slice(b"\": ");
    }

    fn number(&mut self, mut number: u64) -> Result<(), Error> {
        let (mut digits, mut at) = ([0; 20], 20);
        loop {
            at -= 1;
            digits[at] = b'0' + (number % 10) as u8;
            number /= 10;
            if number == 0 {
                return self.put(&digits[at..]);
            }
        }
    }

    /// What few values need.
    fn other(&mut self, value: &impl Serialize) -> Result<(), Error> {
        serde_json::to_writer(&mut self.out, value).map_err(ser::Error::custom)
    }
}

/// Whether a text has quotes, backslashes or control characters: eight bytes are looked at together.
fn must_be_escaped(text: &str) -> bool {
    const ONES: u64 = u64::from_ne_bytes([1; 8]);
    const HIGH: u64 = ONES << 7;
    let below = |bytes: u64, limit: u8| bytes.wrapping_sub(ONES * u64::from(limit)) & !bytes & HIGH;
    let with = |bytes: u64, byte: u8| below(bytes ^ (ONES * u64::from(byte)), 1);
    let is_special = |bytes: u64| below(bytes, b' ') | with(bytes, b'"') | with(bytes, b'\\') != 0;
    let (eights, rest) = text.as_bytes().as_chunks::<8>();
    let mut last = [b'a'; 8];
    last[..rest.len()].copy_from_slice(rest);
    eights.iter().chain([&last]).any(|bytes| is_special(u64::from_ne_bytes(*bytes)))
}

const ARRAY: [u8; 2] = *b"[]";
const OBJECT: [u8; 2] = *b"{}";

/// An array or an object while it is being written.
struct Inside<'l> {
    lines: &'l mut Lines,
    closing: u8,
    is_empty: bool,
    /// It is the value of an object's only field.
    deeper: bool,
}

impl Inside<'_> {
    fn next(&mut self) {
        self.lines.line(self.is_empty);
        self.is_empty = false;
    }

    fn field<T: ?Sized + Serialize>(&mut self, name: &str, value: &T) -> Result<(), Error> {
        self.next();
        self.lines.name(name);
        value.serialize(&mut *self.lines)
    }

    fn element<T: ?Sized + Serialize>(&mut self, value: &T) -> Result<(), Error> {
        self.next();
        value.serialize(&mut *self.lines)
    }

    fn close(self) -> Result<(), Error> {
        self.lines.depth -= 1;
        if !self.is_empty {
            self.lines.line(true);
        }
        self.lines.out.push(self.closing);
        if self.deeper {
            self.lines.depth -= 1;
            self.lines.line(true);
            self.lines.out.push(b'}');
        }
        Ok(())
    }
}

/// Integers of all sizes.
macro_rules! integers {
    ($($signed:ident $i:ty, $unsigned:ident $u:ty;)*) => {$(
        fn $signed(self, value: $i) -> Result<(), Error> {
            if value < 0 {
                self.out.push(b'-');
            }
            self.number(u64::from(value.unsigned_abs()))
        }

        fn $unsigned(self, value: $u) -> Result<(), Error> {
            self.number(u64::from(value))
        }
    )*};
}

impl<'l> Serializer for &'l mut Lines {
    type Ok = ();
    type Error = Error;
    type SerializeSeq = Inside<'l>;
    type SerializeTuple = Inside<'l>;
    type SerializeTupleStruct = Inside<'l>;
    type SerializeTupleVariant = Inside<'l>;
    type SerializeMap = Inside<'l>;
    type SerializeStruct = Inside<'l>;
    type SerializeStructVariant = Inside<'l>;

    integers! {
        serialize_i8 i8, serialize_u8 u8;
        serialize_i16 i16, serialize_u16 u16;
        serialize_i32 i32, serialize_u32 u32;
        serialize_i64 i64, serialize_u64 u64;
    }

    fn serialize_bool(self, value: bool) -> Result<(), Error> {
        self.put(if value { b"true" } else { b"false" })
    }

    fn serialize_f32(self, value: f32) -> Result<(), Error> {
        self.other(&value)
    }

    fn serialize_f64(self, value: f64) -> Result<(), Error> {
        self.other(&value)
    }

    fn serialize_char(self, value: char) -> Result<(), Error> {
        self.other(&value)
    }

    fn serialize_str(self, text: &str) -> Result<(), Error> {
        if must_be_escaped(text) {
            return self.other(&text);
        }
        self.out.reserve(text.len() + 2);
        self.out.push(b'"');
        self.out.extend_from_slice(text.as_bytes());
        self.out.push(b'"');
        Ok(())
    }

    fn serialize_bytes(self, bytes: &[u8]) -> Result<(), Error> {
        self.collect_seq(bytes)
    }

    fn serialize_none(self) -> Result<(), Error> {
        self.put(b"null")
    }

    fn serialize_some<T: ?Sized + Serialize>(self, value: &T) -> Result<(), Error> {
        value.serialize(self)
    }

    fn serialize_unit(self) -> Result<(), Error> {
        self.put(b"null")
    }

    fn serialize_unit_struct(self, _: &'static str) -> Result<(), Error> {
        self.put(b"null")
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, variant: &'static str) -> Result<(), Error> {
        self.serialize_str(variant)
    }

    fn serialize_newtype_struct<T: ?Sized + Serialize>(self, _: &'static str, value: &T) -> Result<(), Error> {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: ?Sized + Serialize>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> Result<(), Error> {
        let mut inside = self.open(OBJECT);
        inside.field(variant, value)?;
        inside.close()
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Inside<'l>, Error> {
        Ok(self.open(ARRAY))
    }

    fn serialize_tuple(self, _: usize) -> Result<Inside<'l>, Error> {
        Ok(self.open(ARRAY))
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Inside<'l>, Error> {
        Ok(self.open(ARRAY))
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Inside<'l>, Error> {
        Ok(self.open_variant(variant, ARRAY))
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Inside<'l>, Error> {
        Ok(self.open(OBJECT))
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Inside<'l>, Error> {
        Ok(self.open(OBJECT))
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Inside<'l>, Error> {
        Ok(self.open_variant(variant, OBJECT))
    }
}

/// Values in an array, by whatever name.
macro_rules! arrays {
    ($($kind:ident $element:ident)*) => {$(
        impl ser::$kind for Inside<'_> {
            type Ok = ();
            type Error = Error;

            fn $element<T: ?Sized + Serialize>(&mut self, value: &T) -> Result<(), Error> {
                self.element(value)
            }

            fn end(self) -> Result<(), Error> {
                self.close()
            }
        }
    )*};
}

arrays! {
    SerializeSeq serialize_element
    SerializeTuple serialize_element
    SerializeTupleStruct serialize_field
    SerializeTupleVariant serialize_field
}

/// Values with the names of fields.
macro_rules! objects {
    ($($kind:ident)*) => {$(
        impl ser::$kind for Inside<'_> {
            type Ok = ();
            type Error = Error;

            fn serialize_field<T: ?Sized + Serialize>(&mut self, name: &'static str, value: &T) -> Result<(), Error> {
                self.field(name, value)
            }

            fn end(self) -> Result<(), Error> {
                self.close()
            }
        }
    )*};
}

objects! { SerializeStruct SerializeStructVariant }

impl ser::SerializeMap for Inside<'_> {
    type Ok = ();
    type Error = Error;

    fn serialize_key<T: ?Sized + Serialize>(&mut self, key: &T) -> Result<(), Error> {
        self.next();
        let start = self.lines.out.len();
        key.serialize(&mut *self.lines)?;
        // A number as a key.
        if self.lines.out.get(start) != Some(&b'"') {
            self.lines.out.insert(start, b'"');
            self.lines.out.push(b'"');
        }
        self.lines.put(b": ")
    }

    fn serialize_value<T: ?Sized + Serialize>(&mut self, value: &T) -> Result<(), Error> {
        value.serialize(&mut *self.lines)
    }

    fn end(self) -> Result<(), Error> {
        self.close()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    #[derive(serde::Serialize)]
    enum Kind {
        Unit,
        New(i8),
        Tuple(u8, char),
        Struct { a: Option<f64>, b: () },
    }

    #[test]
    fn lines_are_set_as_in_any_pretty_json() {
        let value = serde_json::json!({
            "a": [], "b": {}, "c": [1, [2, "x\n"], {"d": null}], "e": {"f": [[]]}, "ü\"": [true, -3, 1.5, u64::MAX, i64::MIN],
        });
        let same =
            |value: &serde_json::Value| assert_eq!(text(value), serde_json::to_string_pretty(value).unwrap() + "\n");
        same(&value);
        let kinds = [Kind::Unit, Kind::New(-7), Kind::Tuple(0, '\\'), Kind::Struct { a: Some(0.1), b: () }];
        assert_eq!(text(&kinds), serde_json::to_string_pretty(&kinds).unwrap() + "\n");
        // Wherever in a text it stands.
        for special in ['"', '\\', '\n', '\u{1f}', ' ', '\u{7f}', 'ä', '\u{ff}', '𝄞'] {
            for at in 0..20 {
                let said = format!("{}{special}{}", "a".repeat(at), "é".repeat(20 - at));
                assert_eq!(text(&said), serde_json::to_string(&said).unwrap() + "\n");
            }
        }
        let numbered: BTreeMap<u32, [u8; 0]> = BTreeMap::from([(10, []), (2, [])]);
        assert_eq!(text(&numbered), serde_json::to_string_pretty(&numbered).unwrap() + "\n");
    }
}
