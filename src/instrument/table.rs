//! The table of instruments: the one that comes along, and the user's own.

use super::names;
use super::standard::{STANDARD, StandardInstrument};
use super::{Instrument, Range, own};
use crate::pitch::Pitch;
use crate::side_file;
use crate::suggest::did_you_mean;
use std::path::Path;

/// What can be wrong with a table of instruments or a name looked up in it.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{file}: {reason}")]
    File { file: String, reason: String },
    /// `line` is 1-based.
    #[error("{file}: line {line}: {reason}")]
    Content { file: String, line: usize, reason: String },
    #[error("no instrument is called \"{name}\"; {advice}")]
    Unknown { name: String, advice: String },
}

/// Instruments by name and alias.
#[derive(Debug, Clone)]
pub struct Instruments {
    /// In the order of the table; a later name or alias wins over an earlier one.
    list: Vec<Instrument>,
}

impl Default for Instruments {
    /// The standard table.
    fn default() -> Instruments {
        Instruments::standard()
    }
}

impl Instruments {
    /// The table that comes along.
    pub fn standard() -> Instruments {
        let range = |notes: [&str; 2]| {
            let [lowest, highest] = notes.map(|note| Pitch::parse(note).expect("the table is checked by a test"));
            Range { lowest, highest }
        };
        let instrument = |row: &StandardInstrument| Instrument {
            name: row.name.into(),
            aliases: row.aliases.iter().map(|alias| alias.to_string()).collect(),
            written: range(row.written),
            sounding: range(row.sounding),
            clef: row.clef,
            other_clefs: row.other_clefs.to_vec(),
            abbreviation: Some(row.abbreviation.into()),
            midi_program: Some(row.midi_program),
            one_note: row.one_note,
        };
        Instruments { list: STANDARD.iter().map(instrument).collect() }
    }

    /// The standard table with a user's own, whose entries win.
    ///
    /// # Errors
    /// When the file cannot be read, with its line when its content is wrong.
    pub fn with_file(path: &Path) -> Result<Instruments, Error> {
        let file = path.display().to_string();
        let failed = |reason: String| Error::File { file: file.clone(), reason };
        let about = std::fs::metadata(path).map_err(|e| failed(io_reason(&e)))?;
        if about.is_dir() {
            return Err(failed("this is a folder, not a table of instruments".into()));
        }
        let bytes = side_file::read(path).map_err(|e| failed(io_reason(&e)))?;
        let text =
            String::from_utf8(bytes).map_err(|_| failed("the text is not UTF-8; save it again as UTF-8".into()))?;
        let mut table = Instruments::standard();
        table.add(&file, text.trim_start_matches('\u{feff}'))?;
        Ok(table)
    }

    fn add(&mut self, file: &str, text: &str) -> Result<(), Error> {
        own::read(file, text)?.into_iter().for_each(|instrument| self.put(instrument));
        Ok(())
    }

    fn put(&mut self, instrument: Instrument) {
        let plain = names::plain(&instrument.name);
        match self.list.iter().position(|known| names::is(&known.name, &plain)) {
            Some(old) => self.list[old] = instrument,
            None => self.list.push(instrument),
        }
    }

    /// All of them, in order.
    pub fn iter(&self) -> impl Iterator<Item = &Instrument> {
        self.list.iter()
    }

    /// The instrument of a name or alias.
    ///
    /// # Errors
    /// `Error::Unknown`, with the names that come nearest.
    pub fn find(&self, name: &str) -> Result<&Instrument, Error> {
        let wanted = names::plain(name);
        self.get(&wanted).ok_or_else(|| Error::Unknown { name: name.into(), advice: self.advice(name) })
    }

    /// The instrument that a part's name tells, if it tells one for certain.
    pub fn guess(&self, part_name: &str) -> Option<&Instrument> {
        let plain = names::plain(part_name);
        self.get(&plain).or_else(|| {
            let core = names::core(part_name);
            if core == plain { None } else { self.get(&core) }
        })
    }

    fn get(&self, plain: &str) -> Option<&Instrument> {
        // A name is surer than an alias, the user's surer than ours.
        let named = self.list.iter().rev().find(|known| names::is(&known.name, plain));
        let called = |known: &&Instrument| known.aliases.iter().any(|alias| names::is(alias, plain));
        named.or_else(|| self.list.iter().rev().find(called))
    }

    fn advice(&self, wanted: &str) -> String {
        let all = self.list.iter().map(|instrument| {
            let called = std::iter::once(&instrument.name).chain(&instrument.aliases);
            (instrument.name.as_str(), called.map(String::as_str).collect())
        });
        let asked = did_you_mean(wanted, all, names::plain);
        asked.unwrap_or_else(|| "obelus range --list prints the table".into())
    }
}

fn io_reason(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such file".into(),
        std::io::ErrorKind::PermissionDenied => "permission denied".into(),
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Written and sounding range of every instrument, with its source.
    #[test]
    fn ranges_are_those_of_the_trade() {
        let table = Instruments::standard();
        let rows = [
            // B. Thorn, Composing for the Recorder; top: common practice, no source.
            ("sopranino recorder", "F4 to G6", "F5 to G7"),
            // Thorn; top: encyclopedia article "Soprano recorder".
            ("soprano recorder", "C4 to D6", "C5 to D7"),
            // Thorn; encyclopedia article "Alto recorder".
            ("alto recorder", "F4 to G6", "F4 to G6"),
            // Thorn; top: common practice, no source.
            ("tenor recorder", "C4 to D6", "C4 to D6"),
            // Thorn; top: common practice, no source.
            ("bass recorder", "F2 to G4", "F3 to G5"),
            // Common practice, no source.
            ("great bass recorder", "C2 to D4", "C3 to D5"),
            // D. Lasocki, American Recorder, Summer 2017.
            ("voice flute", "D4 to E6", "D4 to E6"),
            // Hotteterre, Principes, 1707.
            ("Baroque flute", "D4 to E6", "D4 to E6"),
            // music21 (low note), orchestration range tables.
            ("modern flute", "C4 to C7", "C4 to C7"),
            // Orchestration range tables, music21.
            ("piccolo", "D4 to C7", "D5 to C8"),
            // Walther, Lexicon, 1732.
            ("Baroque oboe", "C4 to D6", "C4 to D6"),
            // Range tables; music21 (low note).
            ("modern oboe", "Bb3 to A6", "Bb3 to A6"),
            // Range tables; music21 (low note).
            ("clarinet in B flat", "E3 to C7", "D3 to Bb6"),
            // Range tables; music21.
            ("bassoon", "Bb1 to Eb5", "Bb1 to Eb5"),
            // music21 (low note), range tables.
            ("violin", "G3 to A7", "G3 to A7"),
            // music21 (low notes); tops: common practice, no source.
            ("viola", "C3 to E6", "C3 to E6"),
            ("cello", "C2 to C6", "C2 to C6"),
        ];
        assert_eq!(table.iter().count(), rows.len());
        for (name, written, sounding) in rows {
            let instrument = table.find(name).unwrap();
            assert_eq!(instrument.name, name);
            assert_eq!(instrument.written.to_string(), written, "{name}");
            assert_eq!(instrument.sounding.to_string(), sounding, "{name}");
        }
    }

    // A recorder's nominal compass is two octaves and a tone (26 semitones):
    // Thorn; two octaves exactly is the comfortable one: "Writing for recorders".
    #[test]
    fn recorders_have_two_octaves_and_a_tone() {
        let table = Instruments::standard();
        let recorders: Vec<_> = table.iter().filter(|i| i.name.ends_with("recorder")).collect();
        for r in &recorders {
            let size = r.sounding.highest.sound() - r.sounding.lowest.sound();
            assert_eq!(size, 2600, "{}", r.name);
        }
        assert_eq!(recorders.len(), 6);
    }

    #[test]
    fn every_name_leads_to_one_instrument() {
        let table = Instruments::standard();
        for instrument in table.iter() {
            for name in std::iter::once(&instrument.name).chain(&instrument.aliases) {
                let found = table.find(name).unwrap();
                assert_eq!(found.name, instrument.name, "{name}");
            }
        }
    }

    #[test]
    fn names_are_found_in_four_languages() {
        let table = Instruments::standard();
        for (name, instrument) in [
            ("Treble Recorder", "alto recorder"),
            ("ALTBLOCKFLÖTE", "alto recorder"),
            ("Flauto dolce contralto", "alto recorder"),
            ("flute a bec alto", "alto recorder"),
            ("Bb Clarinet", "clarinet in B flat"),
            ("clarinet in B♭", "clarinet in B flat"),
        ] {
            assert_eq!(table.find(name).unwrap().name, instrument, "{name}");
        }
    }

    #[test]
    fn parts_tell_their_instrument_or_nothing() {
        let table = Instruments::standard();
        let guess = |name: &str| table.guess(name).map(|i| i.name.as_str());
        assert_eq!(guess("Violino II"), Some("violin"));
        assert_eq!(guess("Treble Recorder 1 (solo)"), Some("alto recorder"));
        assert_eq!(guess("Viola da gamba"), None);
        assert_eq!(guess("Oboe d'amore"), None);
        // It does not say which size.
        assert_eq!(guess("Recorder"), None);
        assert_eq!(guess(""), None);
    }

    #[test]
    fn an_unknown_name_gets_the_nearest_ones() {
        let table = Instruments::standard();
        let said = |name: &str| table.find(name).unwrap_err().to_string();
        assert_eq!(said("obeo"), "no instrument is called \"obeo\"; did you mean \"modern oboe\"?");
        assert_eq!(said("zither"), "no instrument is called \"zither\"; obelus range --list prints the table");
        assert_eq!(said("bason"), "no instrument is called \"bason\"; did you mean \"bassoon\"?");
        assert!(said("recorder").contains("alto recorder"));
    }

    #[test]
    fn a_users_table_adds_and_replaces() {
        let mut table = Instruments::standard();
        let text = "[[instrument]]\nname = \"Alto Recorder\"\nwritten = [\"F4\", \"F6\"]\n\n\
                    [[instrument]]\nname = \"tin whistle\"\nsounding = [\"D5\", \"D7\"]\n\
                    aliases = [\"flute\"]\n";
        table.add("mine.toml", text).unwrap();
        assert_eq!(table.find("alto recorder").unwrap().written.to_string(), "F4 to F6");
        assert_eq!(table.find("flute").unwrap().name, "tin whistle");
    }

    // Common practice, no source: what parts for these are printed in.
    #[test]
    fn parts_have_their_clefs() {
        let mut table = Instruments::standard();
        let own = "[[instrument]]\nname = \"contrabassoon\"\nwritten = [\"Bb1\", \"Bb4\"]\nsounding = [\"Bb0\", \"Bb3\"]\n\n\
                   [[instrument]]\nname = \"vocal tenor\"\nwritten = [\"C4\", \"A5\"]\nsounding = [\"C3\", \"A4\"]\n\
                   clef = \"treble 8 below\"\nabbreviation = \"T.\"\n";
        table.add("mine.toml", own).unwrap();
        for (name, clef) in [
            ("soprano recorder", "treble 8 above"),
            ("alto recorder", "treble"),
            ("tenor recorder", "treble"),
            ("bass recorder", "bass"),
            ("clarinet", "treble"),
            ("viola", "alto"),
            ("cello", "bass"),
            ("contrabassoon", "bass"),
            ("vocal tenor", "treble 8 below"),
        ] {
            assert_eq!(table.find(name).unwrap().clef.to_string(), clef, "{name}");
        }
        assert_eq!(table.find("vocal tenor").unwrap().abbreviation.as_deref(), Some("T."));
    }
}
