//! Arguments, files, colours and exit statuses; nothing musical.

mod audit;
mod clean;
mod completions;
mod desk;
mod exercises;
mod failure;
mod files;
mod input;
mod keys;
mod lines;
mod manual;
mod marks;
mod notes;
mod output;
mod own_marks;
mod pdf;
mod player;
mod print;
mod progress;
mod range;
mod rank;

use crate::whole_file;
use clap::error::ErrorKind;
use clap::{Parser, Subcommand};
use failure::Failure;
use std::ffi::OsString;
use std::io::Write;
use std::process::ExitCode;

/// Compares a performing edition with a plain source, both MusicXML, says what
/// the editor did, and writes a clean copy.
#[derive(Debug, Parser)]
#[command(name = "obelus", version, after_help = EXAMPLES, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "\
Examples:
  obelus desk edition.musicxml source.musicxml
  obelus audit edition.musicxml source.musicxml
  obelus clean edition.musicxml source.musicxml -o clean.musicxml --mine my-marks.toml
  obelus range part.mxl --instrument \"alto recorder\"
  obelus keys sonata.mxl --part Oboe --instrument \"alto recorder\"
  obelus rank source.mxl editions/
  obelus exercises part.mxl --pdf practice.pdf
  obelus marks my-copy.musicxml clean.musicxml -o my-marks.toml
  obelus print sonata.mxl --part Oboe --pdf oboe.pdf

Scores are MusicXML: .musicxml, .xml or .mxl; - reads standard input.
Exit status: 0 done, 1 --strict and something was found, 2 wrong use,
3 an input cannot be read, 4 a clean copy failed its proof (nothing was written).";

#[derive(Debug, Subcommand)]
enum Command {
    Audit(audit::Args),
    Clean(Box<clean::Args>),
    Range(range::Args),
    Keys(keys::Args),
    Marks(marks::Args),
    Exercises(Box<exercises::Args>),
    Print(print::Args),
    Desk(desk::Args),
    Rank(rank::Args),
    Completions(completions::Args),
    #[command(hide = true)]
    Manual(manual::Args),
    /// Reads a job from standard input and draws it; for this program's own use
    #[cfg(feature = "engrave")]
    #[command(hide = true, name = crate::engrave::COMMAND)]
    Engrave,
}

/// Reads the arguments, runs the command, tells what went wrong.
pub fn main() -> ExitCode {
    tell_of_large_files();
    let args: Vec<OsString> = std::env::args_os().collect();
    let command = called(&args).map_or_else(|| Cli::try_parse_from(&args).map(|cli| cli.command), Ok);
    let result = match command {
        Ok(command) => run(command),
        Err(error) if is_help(&error) => {
            match error.print() {
                // Whoever reads may stop early.
                Err(fault) if fault.kind() != std::io::ErrorKind::BrokenPipe => {
                    Err(Failure::wrong_use(format!("the help cannot be written: {}", whole_file::reason(&fault))))
                }
                _ => return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2)),
            }
        }
        Err(error) => Err(Failure::wrong_use(one_line(&error))),
    };
    match result {
        Ok(status) => ExitCode::from(status),
        Err(failure) => {
            let mut out = anstream::stderr();
            let _ = writeln!(out, "obelus: {}", failure.line());
            ExitCode::from(failure.status)
        }
    }
}

/// Where files may not be as large as a result, writing it fails and is told. Otherwise the system ends the program.
fn tell_of_large_files() {
    #[cfg(unix)]
    {
        let ignored = std::sync::Arc::default();
        // Without it the program ends as it always would.
        let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, ignored);
    }
}

/// The command that is called, with its arguments. To prepare those of all commands takes as long as to read a short
/// score: this is only done for whoever asks for help, or calls wrongly.
fn called(args: &[OsString]) -> Option<Command> {
    fn read<A: clap::Args>(args: &[OsString]) -> Option<A> {
        let known = A::augment_args(clap::Command::new("obelus"));
        A::from_arg_matches(&known.try_get_matches_from(args).ok()?).ok()
    }
    let args = args.get(1..)?;
    match args.first()?.to_str()? {
        "audit" => read(args).map(Command::Audit),
        "clean" => read(args).map(Command::Clean),
        "range" => read(args).map(Command::Range),
        "keys" => read(args).map(Command::Keys),
        "marks" => read(args).map(Command::Marks),
        "exercises" => read(args).map(Command::Exercises),
        "print" => read(args).map(Command::Print),
        "desk" => read(args).map(Command::Desk),
        "rank" => read(args).map(Command::Rank),
        _ => None,
    }
}

/// Runs a command and gives its exit status.
fn run(command: Command) -> Result<u8, Failure> {
    match command {
        Command::Audit(args) => audit::run(&args),
        Command::Clean(args) => clean::run(&args),
        Command::Range(args) => range::run(&args),
        Command::Keys(args) => keys::run(&args),
        Command::Marks(args) => marks::run(&args),
        Command::Exercises(args) => exercises::run(&args),
        Command::Print(args) => print::run(&args),
        Command::Desk(args) => desk::run(args),
        Command::Rank(args) => rank::run(&args),
        Command::Completions(args) => completions::run::<Cli>(&args),
        Command::Manual(args) => manual::run::<Cli>(&args),
        #[cfg(feature = "engrave")]
        Command::Engrave => crate::engrave::worker::work(std::io::stdin().lock(), std::io::stdout().lock())
            .map(|()| 0)
            .map_err(|fault| Failure::wrong_use(fault.to_string())),
    }
}

/// Says something while the program goes on.
fn say(what: &str) {
    let _ = writeln!(anstream::stdout(), "{}", crate::readable::one_line(what));
}

/// Says something that does not stop the program.
fn warn(what: &str) {
    // Nobody may be there to be told.
    let _ = writeln!(anstream::stderr(), "obelus: {}", Failure::wrong_use(what).line());
}

fn is_help(error: &clap::Error) -> bool {
    matches!(
        error.kind(),
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
    )
}

/// What the reader of arguments says, without its usage lines.
fn one_line(error: &clap::Error) -> String {
    let text = error.to_string();
    let said: Vec<&str> = text
        .lines()
        .take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more"))
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .collect();
    let said = said.join(" ");
    let said = said.strip_prefix("error: ").unwrap_or(&said);
    let said = said.replace(" tip: ", "; ");
    format!("{said}; obelus --help shows how to call it")
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_arguments_are_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn a_command_is_read_alone_as_among_all() {
        let read = |line: &str| {
            let args: Vec<OsString> = line.split(' ').map(OsString::from).collect();
            (
                called(&args).map(|c| format!("{c:?}")),
                Cli::try_parse_from(&args).ok().map(|c| format!("{:?}", c.command)),
            )
        };
        let right =
            ["audit a b --format json -o c", "clean a b -o c", "range a", "keys a", "print a --pdf b", "rank a b"];
        for line in right.into_iter().chain(["marks a b -o c", "desk a b", "exercises a -o b"]) {
            let (alone, among_all) = read(&format!("obelus {line}"));
            assert!(alone.is_some(), "{line}");
            assert_eq!(alone, among_all, "{line}");
        }
        for wrong in ["obelus", "obelus help", "obelus audit", "obelus audit --help", "obelus audit a b --bar 3"] {
            assert_eq!(read(wrong), (None, None), "{wrong}");
        }
    }

    #[test]
    fn wrong_arguments_are_one_line() {
        let error = Cli::try_parse_from(["obelus", "audit", "--bar", "3"]).unwrap_err();
        let line = one_line(&error);
        assert!(!line.contains('\n'), "{line}");
        assert!(line.contains("--bar"), "{line}");
    }
}
