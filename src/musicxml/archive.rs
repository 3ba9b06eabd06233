//! `.mxl` archives: finding the score in one, and putting another text in.

use super::encoding::{LARGEST_TEXT, decode_plainly, too_large};
use super::guard;
use super::parse::parse;
use std::io::{Cursor, Read, Write};
use zip::ZipArchive;
use zip::result::{ZipError, ZipResult};
use zip::write::{SimpleFileOptions, ZipWriter};

const MIMETYPE: &str = "application/vnd.recordare.musicxml";
const CONTAINER: &str = "META-INF/container.xml";
/// Members of one archive; a score comes with a few pages and pictures.
const MOST_MEMBERS: usize = 10_000;
/// How each member's entry in an archive's directory begins.
const DIRECTORY_ENTRY: &[u8] = b"PK\x01\x02";

/// Members that may be the score where nothing names it, and the signs that tell.
const MOST_LIKELY: usize = 20;
const START: usize = 4096;

type Archive<'a> = ZipArchive<Cursor<&'a [u8]>>;

/// The archive that a score came from.
#[derive(Debug)]
pub(super) struct Container {
    pub bytes: Vec<u8>,
    /// The name of the member that is the score.
    pub root: String,
    /// How it was found, if not as it should be.
    pub warning: Option<String>,
}

/// Whether a file begins as an archive does.
pub(super) fn is_archive(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06")
}

/// The archive and the bytes of its score; else what is wrong with it.
pub(super) fn unpack(bytes: Vec<u8>) -> Result<(Container, Vec<u8>), String> {
    let entries = bytes.windows(DIRECTORY_ENTRY.len()).filter(|w| *w == DIRECTORY_ENTRY).count();
    if entries > MOST_MEMBERS {
        return Err(format!("more than {MOST_MEMBERS} files in one archive"));
    }
    let mut archive = ZipArchive::new(Cursor::new(bytes.as_slice())).map_err(|e| in_words(&e))?;
    let (root, text, warning) = match named(&mut archive) {
        Ok((root, text)) => (root, text, None),
        Err(reason) => {
            let (root, text) = only_score(&mut archive).ok_or(reason.clone())?;
            let warning = format!("the archive is damaged: {reason}; its only score, {root}, was read");
            (root, text, Some(warning))
        }
    };
    Ok((Container { root, warning, bytes }, text))
}

/// The score that the container names.
fn named(archive: &mut Archive<'_>) -> Result<(String, Vec<u8>), String> {
    let container = member(archive, CONTAINER).map_err(|reason| match reason {
        None => format!("{CONTAINER}, which names the score inside, is missing"),
        Some(reason) => format!("{CONTAINER}: {reason}"),
    })?;
    let container = decode_plainly(&container).ok_or(format!("{CONTAINER} is not UTF-8"))?;
    let told = root_file(&container).map_err(|reason| format!("{CONTAINER}: {reason}"))?;
    // Some programs write the name as a path.
    for root in [told.as_str(), told.trim_start_matches("./").trim_start_matches('/')] {
        match member(archive, root) {
            Ok(text) => return Ok((root.to_string(), text)),
            Err(None) => {}
            Err(Some(reason)) => return Err(format!("{root}: {reason}")),
        }
    }
    Err(format!("{CONTAINER} names {told}, but there is no such file in the archive"))
}

/// The one member that is a score, if there is just one.
fn only_score(archive: &mut Archive<'_>) -> Option<(String, Vec<u8>)> {
    let may_be = |name: &String| {
        let lower = name.to_lowercase();
        let is_xml = [".xml", ".musicxml"].into_iter().any(|ending| lower.ends_with(ending));
        is_xml && !["META-INF/", "__MACOSX/"].into_iter().any(|folder| name.starts_with(folder))
    };
    let names = archive.file_names().flatten().map(|name| name.into_owned()).filter(may_be);
    let names: Vec<String> = names.take(MOST_LIKELY + 1).collect();
    if names.len() > MOST_LIKELY {
        return None;
    }
    let mut found = None;
    for name in names {
        let Ok(text) = member(archive, &name) else { continue };
        let start = decode_plainly(&text).map_or(String::new(), |text| text.chars().take(START).collect());
        if !["<score-partwise", "<score-timewise"].iter().any(|root| start.contains(root)) {
            continue;
        }
        if found.is_some() {
            return None;
        }
        found = Some((name, text));
    }
    found
}

/// The first root file that is MusicXML, or the first of all.
fn root_file(container: &str) -> Result<String, String> {
    guard::check(container).map_err(|fault| fault.reason)?;
    let doc = parse(container).map_err(|(_, reason)| reason)?;
    let files: Vec<_> = doc.descendants().filter(|n| n.tag_name().name() == "rootfile").collect();
    let is_music = |n: &&roxmltree::Node| n.attribute("media-type").is_none_or(|t| t.contains("musicxml"));
    files
        .iter()
        .find(is_music)
        .or(files.first())
        .and_then(|n| n.attribute("full-path"))
        .map(str::to_string)
        .ok_or_else(|| "it names no score".into())
}

/// The bytes of a member; an error is `None` if there is no such member.
fn member(archive: &mut Archive<'_>, name: &str) -> Result<Vec<u8>, Option<String>> {
    let file = archive.by_name(name).map_err(|error| match error {
        ZipError::FileNotFound => None,
        error => Some(in_words(&error)),
    })?;
    let told = file.size();
    if told > LARGEST_TEXT {
        return Err(Some(too_large()));
    }
    // The size may be forged: no more is unpacked than it says.
    let mut out = Vec::with_capacity(told as usize);
    file.take(told + 1).read_to_end(&mut out).map_err(|e| Some(format!("it cannot be decompressed: {e}")))?;
    if out.len() as u64 > told {
        return Err(Some("it holds more than the archive says".into()));
    }
    Ok(out)
}

fn in_words(error: &ZipError) -> String {
    match error {
        ZipError::Io(_) | ZipError::InvalidArchive(_) => "the file is damaged or cut short".into(),
        ZipError::CompressionMethodNotSupported(_) => {
            "it is compressed in a way that MusicXML does not allow; compress it as an ordinary zip file".into()
        }
        ZipError::UnsupportedArchive(reason) => format!("it is compressed in an unusual way: {reason}"),
        other => other.to_string(),
    }
}

impl Container {
    /// The same archive with another score in it; all other members are copied as they are.
    pub(super) fn with_score(&self, body: &[u8]) -> ZipResult<Vec<u8>> {
        let mut archive = ZipArchive::new(Cursor::new(self.bytes.as_slice()))?;
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        for index in 0..archive.len() {
            let file = archive.by_index_raw(index)?;
            if file.name().is_ok_and(|name| name == self.root) {
                let options = SimpleFileOptions::default()
                    .compression_method(file.compression())
                    .last_modified_time(file.last_modified().unwrap_or_default());
                writer.start_file(self.root.as_str(), options)?;
                writer.write_all(body)?;
            } else {
                writer.raw_copy_file(file)?;
            }
        }
        Ok(writer.finish()?.into_inner())
    }
}

/// A new archive around one score.
pub(super) fn pack(body: &[u8]) -> ZipResult<Vec<u8>> {
    let root = "score.musicxml";
    let container = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container>\n  <rootfiles>\n    <rootfile full-path=\"{root}\" \
         media-type=\"{MIMETYPE}+xml\"/>\n  </rootfiles>\n</container>\n"
    );
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    // The specification wants the type first and uncompressed.
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let deflated = SimpleFileOptions::default();
    let mut add = |name: &str, options, bytes: &[u8]| -> ZipResult<()> {
        writer.start_file(name, options)?;
        Ok(writer.write_all(bytes)?)
    };
    add("mimetype", stored, MIMETYPE.as_bytes())?;
    add(CONTAINER, deflated, container.as_bytes())?;
    add(root, deflated, body)?;
    Ok(writer.finish()?.into_inner())
}
