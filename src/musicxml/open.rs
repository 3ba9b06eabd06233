//! Bytes to text and back: archives, encodings, byte-order marks.

use super::error::Error;
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use std::io::{Cursor, Read, Write};
use std::path::Path;
use zip::ZipArchive;
use zip::write::{SimpleFileOptions, ZipWriter};

/// More than any real score: the largest movements are below 40 MB.
const LARGEST_TEXT: u64 = 256 << 20;
const MIMETYPE: &str = "application/vnd.recordare.musicxml";

/// A score file, decoded; knows how to turn an edited text into bytes again.
#[derive(Debug)]
pub struct Input {
    /// The name that messages use.
    pub file: String,
    pub text: String,
    encoding: &'static Encoding,
    bom: bool,
    container: Option<Container>,
}

#[derive(Debug)]
struct Container {
    bytes: Vec<u8>,
    root: String,
}

impl Input {
    /// Reads a file, or standard input for `-`.
    pub fn open(path: &Path) -> Result<Input, Error> {
        let file = path.display().to_string();
        let mut bytes = Vec::new();
        if file == "-" {
            let name = "standard input";
            std::io::stdin().lock().take(LARGEST_TEXT + 1).read_to_end(&mut bytes).map_err(|e| Error::io(name, &e))?;
            return Input::from_bytes(name, bytes);
        }
        let handle = std::fs::File::open(path).map_err(|e| Error::io(&file, &e))?;
        handle.take(LARGEST_TEXT + 1).read_to_end(&mut bytes).map_err(|e| Error::io(&file, &e))?;
        Input::from_bytes(&file, bytes)
    }

    /// Unpacks and decodes. `file` is the name that messages use.
    pub fn from_bytes(file: &str, bytes: Vec<u8>) -> Result<Input, Error> {
        if bytes.len() as u64 > LARGEST_TEXT {
            return Err(Error::TooLarge { file: file.into(), reason: "larger than 256 MB".into() });
        }
        if bytes.starts_with(b"PK\x03\x04") {
            let (root, text) = unpack(&bytes).map_err(|reason| Error::Container { file: file.into(), reason })?;
            let name = format!("{file} ({root})");
            return Input::decode(&name, &text, Some(Container { bytes, root }));
        }
        Input::decode(file, &bytes, None)
    }

    fn decode(file: &str, bytes: &[u8], container: Option<Container>) -> Result<Input, Error> {
        let (encoding, bom) = match Encoding::for_bom(bytes) {
            Some((encoding, length)) => (encoding, length),
            None => (declared_encoding(bytes).unwrap_or(UTF_8), 0),
        };
        let body = &bytes[bom..];
        if body.iter().all(u8::is_ascii_whitespace) {
            return Err(Error::Empty { file: file.into() });
        }
        let Some(text) = encoding.decode_without_bom_handling_and_without_replacement(body) else {
            let at = bom + first_fault(encoding, body);
            return Err(Error::Encoding { file: file.into(), encoding: encoding.name().into(), at });
        };
        Ok(Input { file: file.into(), text: text.into_owned(), encoding, bom: bom > 0, container })
    }

    /// Another text under the same name, to be read back; it has no archive.
    pub fn with_text(&self, text: String) -> Input {
        Input { file: self.file.clone(), text, encoding: self.encoding, bom: self.bom, container: None }
    }

    /// The bytes of a file with this text, in the input's encoding and, for an
    /// `.mxl`, in its archive with all other members as they were.
    pub fn encode(&self, text: &str) -> Result<Vec<u8>, Error> {
        let body = self.encode_text(text);
        match &self.container {
            None => Ok(body),
            Some(container) => repack(container, &body)
                .map_err(|e| Error::Container { file: self.file.clone(), reason: e.to_string() }),
        }
    }

    /// As `encode`, with or without an archive as the ending of the output's
    /// name asks: `.mxl` or anything else.
    pub fn encode_for(&self, text: &str, output: &Path) -> Result<Vec<u8>, Error> {
        let wants_archive = output.extension().is_some_and(|e| e.eq_ignore_ascii_case("mxl"));
        match (&self.container, wants_archive) {
            (Some(_), false) => Ok(self.encode_text(text)),
            (None, true) => {
                pack(&self.encode_text(text)).map_err(|e| Error::Container { file: self.file.clone(), reason: e })
            }
            _ => self.encode(text),
        }
    }

    fn encode_text(&self, text: &str) -> Vec<u8> {
        let mut out = Vec::with_capacity(text.len() + 4);
        // encoding_rs decodes UTF-16 but does not encode it.
        if self.encoding == UTF_16LE || self.encoding == UTF_16BE {
            let bytes = if self.encoding == UTF_16LE { u16::to_le_bytes } else { u16::to_be_bytes };
            let bom = self.bom.then_some(0xFEFF);
            out.extend(bom.into_iter().chain(text.encode_utf16()).flat_map(bytes));
            return out;
        }
        if self.bom {
            out.extend_from_slice("\u{FEFF}".as_bytes());
        }
        out.extend_from_slice(&self.encoding.encode(text).0);
        out
    }
}

/// The encoding that an XML declaration names; those that hold ASCII as ASCII.
fn declared_encoding(bytes: &[u8]) -> Option<&'static Encoding> {
    let start = &bytes[..bytes.len().min(200)];
    let end = start.windows(2).position(|w| w == b"?>")?;
    let declaration = std::str::from_utf8(&start[..end]).ok()?;
    let value = declaration.strip_prefix("<?xml")?.split("encoding").nth(1)?.trim_start().strip_prefix('=')?;
    let value = value.trim_start();
    let quote = value.chars().next().filter(|c| matches!(c, '"' | '\''))?;
    let name = value[1..].split(quote).next()?;
    // A text that can be read byte by byte is not UTF-16, whatever it says.
    Encoding::for_label(name.as_bytes()).filter(|e| e.is_ascii_compatible())
}

/// The first byte that does not decode.
fn first_fault(encoding: &'static Encoding, bytes: &[u8]) -> usize {
    if encoding == UTF_8 {
        return Encoding::utf8_valid_up_to(bytes);
    }
    let mut decoder = encoding.new_decoder_without_bom_handling();
    let mut sink = String::with_capacity(bytes.len() * 3 + 16);
    let (_, read) = decoder.decode_to_string_without_replacement(bytes, &mut sink, true);
    read.saturating_sub(1)
}

fn unpack(bytes: &[u8]) -> Result<(String, Vec<u8>), String> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|e| e.to_string())?;
    let container = match member(&mut archive, "META-INF/container.xml") {
        Ok(bytes) => bytes,
        Err(_) => {
            return Err("META-INF/container.xml, which names the score inside, is missing".into());
        }
    };
    let container = String::from_utf8(container).map_err(|_| "META-INF/container.xml is not UTF-8".to_string())?;
    let root = root_file(&container)?;
    let text = member(&mut archive, &root).map_err(|e| format!("{root}: {e}"))?;
    Ok((root, text))
}

/// The first root file that is MusicXML.
fn root_file(container: &str) -> Result<String, String> {
    let options = roxmltree::ParsingOptions { allow_dtd: true, nodes_limit: 10_000, ..Default::default() };
    let doc = roxmltree::Document::parse_with_options(container.trim_start_matches('\u{FEFF}'), options)
        .map_err(|e| format!("META-INF/container.xml: {e}"))?;
    let mut files = doc.descendants().filter(|n| n.tag_name().name() == "rootfile");
    let is_music = |n: &roxmltree::Node| n.attribute("media-type").is_none_or(|t| t.contains("musicxml"));
    files
        .find(is_music)
        .and_then(|n| n.attribute("full-path"))
        .map(str::to_string)
        .ok_or_else(|| "META-INF/container.xml names no score".into())
}

fn member(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<Vec<u8>, String> {
    let file = archive.by_name(name).map_err(|_| "the archive has no such member".to_string())?;
    if file.size() > LARGEST_TEXT {
        return Err("larger than 256 MB".into());
    }
    let mut out = Vec::new();
    // The size in the header may be forged: count what comes out, too.
    file.take(LARGEST_TEXT + 1).read_to_end(&mut out).map_err(|e| e.to_string())?;
    if out.len() as u64 > LARGEST_TEXT {
        return Err("larger than 256 MB".into());
    }
    Ok(out)
}

fn repack(container: &Container, body: &[u8]) -> zip::result::ZipResult<Vec<u8>> {
    let mut archive = ZipArchive::new(Cursor::new(container.bytes.as_slice()))?;
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        let file = archive.by_index_raw(index)?;
        if file.name().is_ok_and(|name| name == container.root) {
            let options = SimpleFileOptions::default()
                .compression_method(file.compression())
                .last_modified_time(file.last_modified().unwrap_or_default());
            writer.start_file(container.root.as_str(), options)?;
            writer.write_all(body)?;
        } else {
            writer.raw_copy_file(file)?;
        }
    }
    Ok(writer.finish()?.into_inner())
}

/// A new archive around one score.
fn pack(body: &[u8]) -> Result<Vec<u8>, String> {
    let root = "score.musicxml";
    let container = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container>\n  <rootfiles>\n    <rootfile full-path=\"{root}\" \
         media-type=\"{MIMETYPE}+xml\"/>\n  </rootfiles>\n</container>\n"
    );
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    // The specification wants the type first and uncompressed.
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let deflated = SimpleFileOptions::default();
    let mut add = |name: &str, options, bytes: &[u8]| -> zip::result::ZipResult<()> {
        writer.start_file(name, options)?;
        Ok(writer.write_all(bytes)?)
    };
    add("mimetype", stored, MIMETYPE.as_bytes())
        .and_then(|()| add("META-INF/container.xml", deflated, container.as_bytes()))
        .and_then(|()| add(root, deflated, body))
        .map_err(|e| e.to_string())?;
    Ok(writer.finish().map_err(|e| e.to_string())?.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SCORE: &str = "<?xml version=\"1.0\" encoding=\"UTF-16\"?>\r<score-partwise>\u{E9}</score-partwise>";

    fn utf16(bytes: fn(u16) -> [u8; 2]) -> Vec<u8> {
        std::iter::once(0xFEFF).chain(SCORE.encode_utf16()).flat_map(bytes).collect()
    }

    #[test]
    fn utf16_keeps_its_bytes_both_ways_round() {
        for bytes in [utf16(u16::to_le_bytes), utf16(u16::to_be_bytes)] {
            let input = Input::from_bytes("x", bytes.clone()).unwrap();
            assert_eq!(input.text, SCORE);
            assert_eq!(input.encode(SCORE).unwrap(), bytes);
        }
    }

    #[test]
    fn a_declared_latin_encoding_is_used_and_kept() {
        let bytes = b"<?xml version='1.0' encoding='ISO-8859-1'?><a>\xE9</a>".to_vec();
        let input = Input::from_bytes("x", bytes.clone()).unwrap();
        assert!(input.text.ends_with("<a>\u{E9}</a>"));
        assert_eq!(input.encode(&input.text.clone()).unwrap(), bytes);
    }

    #[test]
    fn a_bom_in_utf8_comes_back() {
        let bytes = b"\xEF\xBB\xBF<a/>".to_vec();
        let input = Input::from_bytes("x", bytes.clone()).unwrap();
        assert_eq!(input.text, "<a/>");
        assert_eq!(input.encode("<a/>").unwrap(), bytes);
    }

    #[test]
    fn faults_in_the_text_are_placed() {
        let error = Input::from_bytes("x.xml", b"<a>\xFF</a>".to_vec()).unwrap_err();
        assert_eq!(error.to_string(), "x.xml: the text is not UTF-8 from byte 3 on; save it again as UTF-8");
        assert_eq!(Input::from_bytes("x.xml", vec![]).unwrap_err().to_string(), "x.xml: the file is empty");
    }

    #[test]
    fn an_archive_of_our_own_reads_back() {
        let input = Input::from_bytes("x", b"<a/>".to_vec()).unwrap();
        let packed = input.encode_for("<b/>", Path::new("y.mxl")).unwrap();
        let again = Input::from_bytes("y.mxl", packed).unwrap();
        assert_eq!(again.text, "<b/>");
        assert_eq!(again.file, "y.mxl (score.musicxml)");
        let repacked = Input::from_bytes("z.mxl", again.encode("<c/>").unwrap()).unwrap();
        assert_eq!(repacked.text, "<c/>");
    }
}
