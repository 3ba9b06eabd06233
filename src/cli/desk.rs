//! `obelus desk`: a page on this machine where all of it is done by looking and clicking.

use super::failure::Failure;
use crate::desk::{self, Options};
use std::path::PathBuf;

/// Decide, mark and hand out on the staff, in your browser, on this machine
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The performing edition, MusicXML
    #[arg(requires = "source")]
    edition: Option<PathBuf>,
    /// The plain source, MusicXML
    source: Option<PathBuf>,
    /// The instrument that the part is for
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    /// Keep decisions, marks and what is handed out in this folder [default: the edition's name with -desk]
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
    /// Listen on this port [default: a free one]
    #[arg(long, value_name = "N")]
    port: Option<u16>,
    /// Print the address, and open no browser
    #[arg(long)]
    no_open: bool,
    /// Go on after the last tab was closed
    #[arg(long)]
    stay: bool,
}

const EXAMPLES: &str = "\
Examples:
  obelus desk edition.mxl source.mxl --instrument \"alto recorder\"
  obelus desk
  obelus desk --folder edition-desk

The page is served to this machine only. Every decision is written to the folder at once, in files that
clean and marks read, too. It ends with Ctrl-C, or when its last tab is closed.";

pub fn run(args: Args) -> Result<u8, Failure> {
    let folder = args.folder.unwrap_or_else(|| match args.edition.as_deref().and_then(|e| e.file_stem()) {
        Some(stem) => PathBuf::from(format!("{}-desk", stem.to_string_lossy())),
        None => "obelus-desk".into(),
    });
    let options = Options {
        files: args.edition.zip(args.source).map(<[PathBuf; 2]>::from),
        instrument: args.instrument,
        folder,
        port: args.port,
        opens: !args.no_open,
        stays: args.stay,
    };
    desk::serve(options, super::say).map(|()| 0).map_err(Failure::wrong_use)
}
