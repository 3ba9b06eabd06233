//! Which encoding a text is in, and how large it may be.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};

/// Bytes of a text; the largest movements are below 40 MB.
pub const LARGEST_TEXT: u64 = 64 << 20;

pub(super) fn too_large() -> String {
    format!("larger than {} MB; no score is", LARGEST_TEXT >> 20)
}

/// The encoding of a text and the length of its byte-order mark; else what a
/// user can do about it.
pub(super) fn encoding_of(bytes: &[u8]) -> Result<(&'static Encoding, usize), String> {
    if bytes.starts_with(b"\xFF\xFE\0\0") || bytes.starts_with(b"\0\0\xFE\xFF") {
        return Err("the text is UTF-32, which MusicXML programs do not write; save it again as UTF-8".into());
    }
    if let Some(found) = Encoding::for_bom(bytes) {
        return Ok(found);
    }
    // Without a mark, the first `<` and what follows tell UTF-16 apart.
    match bytes {
        [b'<', 0, ..] => return Ok((UTF_16LE, 0)),
        [0, b'<', ..] => return Ok((UTF_16BE, 0)),
        _ => {}
    }
    let Some(name) = declared_encoding(bytes) else { return Ok((UTF_8, 0)) };
    match Encoding::for_label(name.as_bytes()) {
        // A text that can be read byte by byte is not UTF-16, whatever it says.
        Some(encoding) if encoding.is_ascii_compatible() => Ok((encoding, 0)),
        Some(_) => Ok((UTF_8, 0)),
        None if std::str::from_utf8(bytes).is_ok() => Ok((UTF_8, 0)),
        None => Err(format!("the encoding {name} is not known; save the file again as UTF-8")),
    }
}

/// The text of a small file that goes with a score.
pub(super) fn decode_plainly(bytes: &[u8]) -> Option<std::borrow::Cow<'_, str>> {
    let (encoding, bom) = encoding_of(bytes).ok()?;
    encoding.decode_without_bom_handling_and_without_replacement(&bytes[bom..])
}

/// The name of the encoding in an XML declaration.
fn declared_encoding(bytes: &[u8]) -> Option<&str> {
    let start = &bytes[..bytes.len().min(200)];
    let end = start.windows(2).position(|w| w == b"?>")?;
    let declaration = std::str::from_utf8(&start[..end]).ok()?;
    let value = declaration.strip_prefix("<?xml")?.split("encoding").nth(1)?.trim_start().strip_prefix('=')?;
    let value = value.trim_start();
    let quote = value.chars().next().filter(|c| matches!(c, '"' | '\''))?;
    value[1..].split(quote).next()
}

/// The first byte that does not decode.
pub(super) fn first_fault(encoding: &'static Encoding, bytes: &[u8]) -> usize {
    if encoding == UTF_8 {
        return Encoding::utf8_valid_up_to(bytes);
    }
    let mut decoder = encoding.new_decoder_without_bom_handling();
    let mut sink = String::with_capacity(bytes.len() * 3 + 16);
    let (_, read) = decoder.decode_to_string_without_replacement(bytes, &mut sink, true);
    read.saturating_sub(1)
}
