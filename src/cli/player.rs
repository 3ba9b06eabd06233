//! For whom a clean copy is meant, as the options of `clean` say.

use super::failure::Failure;
use super::input::ReadFor;
use crate::clean::{PartFor, Player, Wishes};
use crate::instrument::{Instrument, Instruments, ReadAs};
use crate::readable::capital;
use crate::score::Score;

/// For whom a copy is meant.
#[derive(Debug, clap::Args)]
pub struct ForPlayer {
    /// Check the clean part against this instrument's range [default: that of --for]
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    #[command(flatten)]
    pub read_for: ReadFor,
    /// Move phrases to another octave where they leave the instrument's range
    #[arg(long)]
    fit: bool,
    /// Write the part for this instrument: clef, transposition, key, name
    #[arg(long = "for", value_name = "INSTRUMENT")]
    written_for: Option<String>,
}

pub struct OnInstruments {
    table: Instruments,
    /// Whose range counts.
    range: Option<Instrument>,
    written_for: Option<Instrument>,
    asked: Option<ReadAs>,
    fit: bool,
}

impl OnInstruments {
    /// # Errors
    /// Wrong use, where an instrument is unknown or lacking; where the table cannot be read.
    pub fn of(args: &ForPlayer) -> Result<OnInstruments, Failure> {
        let table = args.read_for.table()?;
        let find = |name: &Option<String>| name.as_deref().map(|n| table.find(n).cloned()).transpose();
        let written_for = find(&args.written_for)?;
        let range = find(&args.instrument)?.or_else(|| written_for.clone());
        let asked = args.read_for.octave();
        if range.is_none() {
            let option = match (args.fit, asked) {
                (true, _) => "--fit needs an instrument",
                (_, Some(ReadAs::Written)) => "--written needs an instrument",
                (_, Some(ReadAs::Sounding)) => "--sounding needs an instrument",
                _ => "",
            };
            if !option.is_empty() {
                return Err(Failure::wrong_use(format!(
                    "{option}; name it with --instrument or --for (obelus range --list prints the instruments)"
                )));
            }
        }
        Ok(OnInstruments { range, written_for, asked, fit: args.fit, table })
    }

    /// What is wished for the parts that are cleaned.
    ///
    /// # Errors
    /// Wrong use, where one part is to change and several are cleaned.
    pub fn wishes(&self, score: &Score, parts: &[usize]) -> Result<Wishes<'_>, Failure> {
        let changes_one = if self.fit { Some("--fit") } else { self.written_for.as_ref().map(|_| "--for") };
        if let Some(option) = changes_one.filter(|_| parts.len() > 1) {
            let names: Vec<String> = parts.iter().map(|p| format!("{} {}", p + 1, score.parts[*p].spoken())).collect();
            return Err(Failure::wrong_use(format!(
                "{option} is for one part, but {} are being cleaned; choose one with --part: {}",
                parts.len(),
                names.join(", ")
            )));
        }
        let player = |instrument, part: usize| Player { instrument, asked: self.asked, part };
        let players = self.range.iter().flat_map(|i| parts.iter().map(move |part| player(i, *part))).collect();
        let written_for = self.written_for.as_ref().zip(parts.first()).map(|(instrument, part)| {
            // A name in another language or with a number is as good.
            let told = self.table.guess(&score.parts[*part].name) == Some(instrument);
            PartFor { player: player(instrument, *part), name: (!told).then(|| capital(&instrument.name)) }
        });
        Ok(Wishes { players, fit: self.fit, written_for, ..Wishes::default() })
    }
}
