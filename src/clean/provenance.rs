//! Where a clean copy says that it comes from: files with their checksums,
//! settings, and how much was done.

use super::{Additions, Cleaned, Policy, Restore};
use crate::musicxml::beside::Brackets;
use crate::musicxml::{self, Edits, Tree};
use crate::readable::plain;
use std::collections::BTreeSet;
use std::path::Path;

/// A file that a copy was made from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// Without its folder: paths are nobody else's business. On one line: a score cannot hold controls.
    pub file: String,
    /// BLAKE3 of the bytes as they lay there, hexadecimal, as `b3sum` prints it. SHA-256 would cost two thirds of
    /// what parsing the files does.
    pub checksum: String,
}

impl Origin {
    /// Of a file with these bytes.
    pub fn new(path: &Path, bytes: &[u8]) -> Origin {
        let name = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
        let file = if name == "-" { "standard input".into() } else { plain(&name) };
        Origin { file, checksum: blake3::hash(bytes).to_hex().to_string() }
    }

    fn told(&self) -> String {
        format!("{} (BLAKE3 {})", self.file, self.checksum)
    }
}

/// What a copy was made from, beside the counts that come out of the making.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Provenance {
    /// The edition's file.
    pub edition: Origin,
    /// The source's file.
    pub source: Origin,
    /// The teacher's marks.
    pub mine: Option<Origin>,
    /// The file of decisions, if there was one.
    pub decisions: Option<Origin>,
    /// The table of how additions are set apart.
    pub apart: Option<Origin>,
}

impl Provenance {
    /// Lets a copy say where it comes from. What is printed of the editor goes with the additions, but for what
    /// the source says, too (`source`).
    pub(super) fn sign(&self, edits: &mut Edits, policy: &Policy, source: &BTreeSet<String>, cleaned: &mut Cleaned) {
        if policy.additions == Additions::Strip {
            cleaned.credits = musicxml::take_out_the_editor(edits, source);
        }
        musicxml::sign(edits, &self.description(), &self.field(policy, cleaned));
    }

    /// For readers of a file's description.
    pub fn description(&self) -> String {
        let (edition, source) = (&self.edition.file, &self.source.file);
        format!(
            "Derived from {edition} by obelus {}: compared with {source}, changes of the editor undone",
            env!("CARGO_PKG_VERSION")
        )
    }

    /// For those who want to make the copy again: everything, in one line.
    fn field(&self, policy: &Policy, cleaned: &Cleaned) -> String {
        let mut out = vec![
            format!("obelus {}", env!("CARGO_PKG_VERSION")),
            format!("edition: {}", self.edition.told()),
            format!("source: {}", self.source.told()),
        ];
        out.extend(self.mine.iter().map(|m| format!("own marks: {}", m.told())));
        out.extend(self.decisions.iter().map(|d| format!("decisions: {}", d.told())));
        out.extend(self.apart.iter().map(|t| format!("manners: {}", t.told())));
        out.push(format!("settings: {}", settings(policy, cleaned)));
        let changes = &cleaned.summary;
        let apart = if changes.marks_apart > 0 { format!(", {}{APART}", changes.marks_apart) } else { String::new() };
        let lost = if changes.lost > 0 { format!(", {} that could not be kept", changes.lost) } else { String::new() };
        out.push(format!(
            "changes: {} findings undone{apart}, {} left as the edition has them{lost}, {} own marks laid on",
            changes.undone,
            changes.kept,
            cleaned.laid.unwrap_or(0)
        ));
        if !cleaned.credits.is_empty() {
            let lines: Vec<String> = cleaned.credits.iter().map(|line| format!("\"{line}\"")).collect();
            out.push(format!("taken out of the credits: {}", lines.join(", ")));
        }
        out.join("; ")
    }
}

/// Whether a score is a copy with additions set apart; in any other score, small type and brackets are its own.
pub fn brackets(tree: &Tree) -> Brackets {
    match musicxml::signature(tree) {
        Some(field) if field.contains(&format!("{APART},")) => Brackets::Drawn,
        _ => Brackets::LeftOut,
    }
}

/// What brackets and colours of a copy mean, for its pages; `None` where it has none.
#[cfg(feature = "engrave")]
pub fn key(tree: &Tree) -> Option<&'static str> {
    let field = musicxml::signature(tree).filter(|field| field.contains(&format!("{APART},")))?;
    Some(match field.contains(&format!("settings: additions {}", Additions::Color)) {
        true => {
            "[ ] ( ) and orange: added by the editor \u{b7} green: omitted, put back \u{b7} blue: altered, put right"
        }
        false => "[ ] ( ) and dashed: added by the editor",
    })
}

/// How the signature says that additions are set apart.
const APART: &str = " set apart";

/// The options that differ from what is usual, in their own words.
fn settings(policy: &Policy, cleaned: &Cleaned) -> String {
    let mut out = vec![format!("additions {}", policy.additions)];
    let list = |names: Vec<&str>| names.join(",");
    if !policy.keep.is_empty() {
        out.push(format!("keep {}", list(policy.keep.iter().map(|c| c.name()).collect())));
    }
    if !policy.leave.is_empty() {
        out.push(format!("no-restore {}", list(policy.leave.iter().copied().map(Restore::name).collect())));
    }
    out.extend(policy.alone.iter().map(|line| format!("{line} alone")));
    out.extend(cleaned.moved.map(|by| format!("transpose {}", by.name())));
    let fitted = cleaned.on.first().filter(|on| on.moves.is_some());
    out.extend(fitted.map(|on| format!("fit to the {}", on.instrument)));
    out.extend(cleaned.written.iter().map(|written| format!("for the {}", written.instrument)));
    out.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first of the published test vectors (BLAKE3 team, test_vectors.json: no input) is the hash of nothing.
    #[test]
    fn checksums_are_blake3() {
        let origin = Origin::new(Path::new("folder/air.musicxml"), b"");
        assert_eq!(origin.file, "air.musicxml");
        assert_eq!(origin.checksum, "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262");
    }
}
