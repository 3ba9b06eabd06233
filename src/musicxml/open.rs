//! Bytes to text and back: encodings, byte-order marks, archives.

use super::archive::{self, Container};
use super::encoding::{LARGEST_TEXT, encoding_of, first_fault, too_large};
use super::error::Error;
use super::lean::lean;
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use std::io::Read;
use std::path::Path;
use std::sync::Arc;

/// A score file, decoded; knows how to turn an edited text into bytes again.
#[derive(Debug)]
pub struct Input {
    /// The name that messages use.
    pub file: String,
    /// The decoded text.
    pub text: String,
    encoding: &'static Encoding,
    bom: bool,
    container: Option<Arc<Container>>,
}

impl Input {
    /// Reads a file, or standard input for `-`.
    ///
    /// # Errors
    /// Where there is no such file, or it is no text and no archive that can be read.
    pub fn open(path: impl AsRef<Path>) -> Result<Input, Error> {
        let (name, bytes) = Input::bytes_of(path.as_ref())?;
        Input::from_bytes(&name, bytes)
    }

    /// The bytes of a file, or of standard input for `-`, and the name for messages.
    pub fn bytes_of(path: &Path) -> Result<(String, Vec<u8>), Error> {
        let file = path.display().to_string();
        let mut bytes = Vec::new();
        let (name, read) = if file == "-" {
            ("standard input", std::io::stdin().lock().take(LARGEST_TEXT + 1).read_to_end(&mut bytes))
        } else {
            let handle = std::fs::File::open(path).map_err(|e| Error::io(&file, &e))?;
            let size = handle.metadata().map_or(0, |about| about.len());
            bytes.reserve(size.min(LARGEST_TEXT) as usize + 1);
            (file.as_str(), handle.take(LARGEST_TEXT + 1).read_to_end(&mut bytes))
        };
        read.map_err(|e| Error::io(name, &e))?;
        Ok((name.to_string(), bytes))
    }

    /// Whether bytes begin as a score does, or an archive.
    pub fn may_be(bytes: &[u8]) -> bool {
        let text = bytes.strip_prefix("\u{FEFF}".as_bytes()).unwrap_or(bytes);
        let first = text.iter().find(|b| !b.is_ascii_whitespace());
        // UTF-16 begins with one of the last two.
        archive::is_archive(bytes) || matches!(first, Some(b'<' | 0xfe | 0xff))
    }

    /// Unpacks and decodes. `file` is the name that messages use.
    pub fn from_bytes(file: &str, bytes: Vec<u8>) -> Result<Input, Error> {
        if bytes.len() as u64 > LARGEST_TEXT {
            return Err(Error::Unsuited { file: file.into(), reason: too_large() });
        }
        if archive::is_archive(&bytes) {
            let (container, text) =
                archive::unpack(bytes).map_err(|reason| Error::Container { file: file.into(), reason })?;
            let name = format!("{file} ({})", container.root);
            return Input::decode(name, text, Some(Arc::new(container)));
        }
        Input::decode(file.into(), bytes, None)
    }

    fn decode(file: String, mut bytes: Vec<u8>, container: Option<Arc<Container>>) -> Result<Input, Error> {
        if let Some(reason) = foreign(&bytes) {
            return Err(Error::Unsuited { file, reason });
        }
        let (encoding, bom) = encoding_of(&bytes).map_err(|reason| Error::Unsuited { file: file.clone(), reason })?;
        if bytes[bom..].iter().all(u8::is_ascii_whitespace) {
            return Err(Error::Empty { file });
        }
        let is_xml = bytes[bom..].iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'<');
        let fault = |at| match is_xml || encoding == UTF_16LE || encoding == UTF_16BE {
            true => Error::Encoding { file: file.clone(), encoding: encoding.name().into(), at },
            false => Error::Unsuited { file: file.clone(), reason: strange(&file) },
        };
        let text = if encoding == UTF_8 {
            bytes.drain(..bom);
            String::from_utf8(bytes).map_err(|e| fault(bom + e.utf8_error().valid_up_to()))?
        } else {
            let body = &bytes[bom..];
            let text = encoding.decode_without_bom_handling_and_without_replacement(body);
            text.ok_or_else(|| fault(bom + first_fault(encoding, body)))?.into_owned()
        };
        Ok(Input { file, text, encoding, bom: bom > 0, container })
    }

    /// A warning about how the text was found.
    pub(super) fn warning(&self) -> Option<&str> {
        self.container.as_ref()?.warning.as_deref()
    }

    /// Another text under the same name, to be read back; it has no archive.
    pub fn with_text(&self, text: String) -> Input {
        Input { file: self.file.clone(), text, encoding: self.encoding, bom: self.bom, container: None }
    }

    /// The same score with less text, which is read sooner; `None` where it cannot do with less. Places in it are not
    /// those of the file.
    pub(crate) fn lean(&self) -> Option<Input> {
        let text = lean(&self.text)?;
        Some(Input { container: self.container.clone(), ..self.with_text(text) })
    }

    /// The file without its folders, and without what it holds where it is an archive.
    pub fn file_name(&self) -> String {
        let held = self.container.as_ref().map(|container| format!(" ({})", container.root));
        let file = held.and_then(|held| self.file.strip_suffix(&held)).unwrap_or(&self.file);
        Path::new(file).file_name().map_or(file.to_string(), |name| name.to_string_lossy().into_owned())
    }

    /// The bytes of a file with this text, in the input's encoding and, for an
    /// `.mxl`, in its archive with all other members as they were.
    pub fn encode(&self, text: &str) -> Result<Vec<u8>, Error> {
        match &self.container {
            None => Ok(self.encode_text(text)),
            Some(container) if text == self.text => Ok(container.bytes.clone()),
            Some(container) => container.with_score(&self.encode_text(text)).map_err(|e| self.unpackable(&e)),
        }
    }

    /// As `encode`, with or without an archive as the ending of the output's
    /// name asks: `.mxl` or anything else.
    pub fn encode_for(&self, text: &str, output: &Path) -> Result<Vec<u8>, Error> {
        let wants_archive = output.extension().is_some_and(|e| e.eq_ignore_ascii_case("mxl"));
        match (&self.container, wants_archive) {
            (Some(_), false) => Ok(self.encode_text(text)),
            (None, true) => archive::pack(&self.encode_text(text)).map_err(|e| self.unpackable(&e)),
            _ => self.encode(text),
        }
    }

    fn unpackable(&self, error: &zip::result::ZipError) -> Error {
        Error::Container { file: self.file.clone(), reason: error.to_string() }
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

/// What a file is that by its first bytes is no score; `None` where they do not tell.
fn foreign(bytes: &[u8]) -> Option<String> {
    const STARTS: [(&[u8], &str); 6] = [
        (b"%PDF", "a PDF, which has pages and no notes"),
        (b"MThd", "a MIDI file, which has no notation"),
        (b"\x89PNG", "a picture"),
        (b"\xFF\xD8\xFF", "a picture"),
        (b"GIF8", "a picture"),
        (b"\x1F\x8B", "compressed with gzip; decompress it first"),
    ];
    let (_, what) = STARTS.iter().find(|(start, _)| bytes.starts_with(start))?;
    Some(format!("not MusicXML: this is {what}; give the score as .musicxml, .xml or .mxl"))
}

/// Said of bytes that are neither text nor anything known.
fn strange(file: &str) -> String {
    if file.to_lowercase().ends_with(".mxl") {
        "neither an .mxl archive nor MusicXML; the file is damaged or something else: download it again".into()
    } else {
        "not MusicXML: this is not text; give the score as .musicxml, .xml or .mxl".into()
    }
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
    fn a_file_is_named_without_its_folders_and_what_it_holds() {
        let name = |file: &str, root: Option<&str>| {
            let mut input = Input::from_bytes(file, b"<a/>".to_vec()).unwrap();
            input.container = root.map(|root| Arc::new(Container { bytes: vec![], root: root.into(), warning: None }));
            input.file_name()
        };
        assert_eq!(name("a/b (2).xml", None), "b (2).xml");
        assert_eq!(name("a/b.mxl (c/score.xml)", Some("c/score.xml")), "b.mxl");
    }

    #[test]
    fn faults_in_the_text_are_placed() {
        let error = Input::from_bytes("x.xml", b"<a>\xFF</a>".to_vec()).unwrap_err();
        assert_eq!(error.to_string(), "x.xml: the text is not UTF-8 from byte 3 on; save it again as UTF-8");
        assert_eq!(Input::from_bytes("x.xml", vec![]).unwrap_err().to_string(), "x.xml: the file is empty");
    }

    #[test]
    fn utf16_without_a_mark_is_known_by_its_first_sign() {
        for bytes in [u16::to_le_bytes, u16::to_be_bytes] {
            let plain: Vec<u8> = SCORE.encode_utf16().flat_map(bytes).collect();
            let input = Input::from_bytes("x", plain.clone()).unwrap();
            assert_eq!((input.text.as_str(), input.encode(SCORE).unwrap()), (SCORE, plain));
        }
    }

    #[test]
    fn encodings_that_are_not_known_are_named() {
        let text = |name: &str| format!("<?xml version='1.0' encoding='{name}'?><a>").into_bytes();
        let error = Input::from_bytes("x", [text("EBCDIC-FR"), b"\xE9</a>".to_vec()].concat()).unwrap_err();
        assert_eq!(error.to_string(), "x: the encoding EBCDIC-FR is not known; save the file again as UTF-8");
        // Pure ASCII reads under any name, and a text read byte by byte is not UTF-16.
        for name in ["EBCDIC-FR", "UTF-16", "utf8", ""] {
            assert!(Input::from_bytes("x", [text(name), b"</a>".to_vec()].concat()).is_ok(), "{name}");
        }
    }

    /// Every byte of the one-byte encodings comes back, even those that stand for nothing.
    #[test]
    fn one_byte_encodings_lose_nothing() {
        for name in ["ISO-8859-1", "windows-1252", "ISO-8859-15", "macintosh", "windows-1250"] {
            let mut bytes = format!("<?xml version='1.0' encoding='{name}'?><a>").into_bytes();
            bytes.extend((0x20..=0xFF).filter(|b| *b != b'<'));
            let Ok(input) = Input::from_bytes("x", bytes.clone()) else { panic!("{name}") };
            assert_eq!(input.encode(&input.text.clone()).unwrap(), bytes, "{name}");
        }
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
