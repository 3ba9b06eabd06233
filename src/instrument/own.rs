//! A table of instruments of the user's own.

use super::{Clef, Error, Instrument, Range, names};
use crate::pitch::Pitch;
use crate::readable;
use serde::{Deserialize, Deserializer};

/// Bytes of a name: reports tell it with each note that the instrument does not have.
const LONGEST_NAME: usize = 250;

/// A table of the user's own: what a `Row` has, where `sounding` may be left
/// out for an instrument that sounds as it is written, and a clef is taken that
/// suits the range where none is given.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    instrument: Vec<toml::Spanned<Entry>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    name: toml::Spanned<String>,
    #[serde(default)]
    aliases: Vec<String>,
    #[serde(default, deserialize_with = "range")]
    written: Option<Range>,
    #[serde(default, deserialize_with = "range")]
    sounding: Option<Range>,
    #[serde(default, deserialize_with = "clef")]
    clef: Option<Clef>,
    abbreviation: Option<String>,
    midi_program: Option<u8>,
    #[serde(default)]
    one_note: bool,
}

fn clef<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Clef>, D::Error> {
    use serde::de::Error;
    Clef::parse(&String::deserialize(from)?).map(Some).map_err(D::Error::custom)
}

/// What a part of this range is read in most easily: the notes lie about the middle of the staff.
fn usual_clef(written: Range) -> Clef {
    let middle = (written.lowest.staff_place() + written.highest.staff_place()) / 2;
    let away = |clef: &Clef| (clef.middle_line() - middle).abs();
    [Clef::TREBLE, Clef::BASS].into_iter().min_by_key(away).expect("there are two")
}

fn range<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Range>, D::Error> {
    use serde::de::Error;
    let [lowest, highest] = <[String; 2]>::deserialize(from)
        .map_err(|_| D::Error::custom("a range is the lowest and the highest note, as in [\"F4\", \"G6\"]"))?;
    let read = |text: &str| {
        Pitch::parse(text).ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a pitch; write F4 or Bb3")))
    };
    let range = Range { lowest: read(&lowest)?, highest: read(&highest)? };
    if range.lowest.sound() > range.highest.sound() {
        let reason = format!("{lowest} is above {highest}; write the lowest note first");
        return Err(D::Error::custom(reason));
    }
    Ok(Some(range))
}

/// The instruments of a table.
///
/// # Errors
/// What is wrong with it, with its line.
pub(super) fn read(file: &str, text: &str) -> Result<Vec<Instrument>, Error> {
    let wrong = |at: usize, reason: String| Error::Content {
        file: file.into(),
        line: text[..at.min(text.len())].matches('\n').count() + 1,
        reason,
    };
    let entries: File = toml::from_str(text).map_err(|e| {
        let reason = e.message().replace('\n', " ");
        wrong(e.span().map_or(0, |s| s.start), reason)
    })?;
    let mut out = Vec::new();
    for entry in entries.instrument {
        let start = entry.span().start;
        let entry = entry.into_inner();
        let name_start = entry.name.span().start;
        let name = entry.name.into_inner();
        if names::plain(&name).is_empty() {
            return Err(wrong(name_start, "an instrument needs a name".into()));
        }
        if name.len() > LONGEST_NAME {
            return Err(wrong(name_start, format!("a name of more than {LONGEST_NAME} bytes; no instrument has one")));
        }
        let (Some(written), Some(sounding)) = (entry.written.or(entry.sounding), entry.sounding.or(entry.written))
        else {
            let reason = format!("\"{name}\" has no range; give its written notes");
            return Err(wrong(start, reason));
        };
        let size = |r: Range| r.highest.sound() - r.lowest.sound();
        if size(written) != size(sounding) {
            let reason = format!(
                "\"{name}\": the written range {written} and the sounding range {sounding} \
                 are not equally wide"
            );
            return Err(wrong(start, reason));
        }
        if entry.midi_program.is_some_and(|program| !(1..=128).contains(&program)) {
            return Err(wrong(start, format!("\"{name}\": General MIDI programs go from 1 to 128")));
        }
        // It may become the name of a part.
        let name = readable::plain(&name);
        out.push(Instrument {
            name,
            aliases: entry.aliases,
            written,
            sounding,
            clef: entry.clef.unwrap_or_else(|| usual_clef(written)),
            other_clefs: Vec::new(),
            abbreviation: entry.abbreviation.as_deref().map(readable::plain),
            midi_program: entry.midi_program,
            one_note: entry.one_note,
        });
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mistakes_in_a_table_have_their_line() {
        let said = |text: &str| read("mine.toml", text).unwrap_err().to_string();
        for (text, line, word) in [
            ("[[instrument]]\nname = \"a\"\n", 1, "no range"),
            ("[[instrument]]\nname = \"a\"\nwritten = [\"H4\", \"G6\"]\n", 3, "H4"),
            ("[[instrument]]\nname = \"a\"\nwritten = [\"G6\", \"F4\"]\n", 3, "above"),
            ("[[instrument]]\nname = \"a\"\nwritten = \"G6\"\n", 3, "lowest"),
            ("[[instrument]]\nnam = \"a\"\n", 2, "nam"),
            ("\n\nnot a table", 3, ""),
            ("[[instrument]]\nname = \"a\"\nwritten = [\"C4\", \"C5\"]\nclef = \"violin\"", 4, "clefs are treble"),
            ("[[instrument]]\nname = \"a\"\nwritten = [\"C4\", \"C5\"]\nsounding = [\"C5\", \"D6\"]", 1, "equally"),
            (&format!("[[instrument]]\nname = \"{}\"\nwritten = [\"C4\", \"C5\"]", "a".repeat(251)), 2, "250 bytes"),
        ] {
            let said = said(text);
            assert!(said.starts_with(&format!("mine.toml: line {line}: ")), "{said}");
            assert!(said.contains(word), "{said}");
            assert!(!said.contains('\n'), "{said}");
        }
    }
}
