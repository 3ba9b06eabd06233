//! `obelus manual`: the manual page of every command, from the same definition as the help.

use super::failure::Failure;
use super::files::Files;
use super::output::{self, Content};
use clap::{Command, CommandFactory};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, roman};
use std::io::{self, Write};
use std::path::PathBuf;

/// Write the manual pages to a folder
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The folder
    folder: PathBuf,
}

pub fn run<Cli: CommandFactory>(args: &Args) -> Result<u8, Failure> {
    let mut whole = Cli::command()
        .disable_help_subcommand(true)
        .subcommand_help_heading("COMMANDS")
        .subcommand_value_name("command");
    whole.build();
    let named: Vec<(&Command, &str)> = [&whole]
        .into_iter()
        .chain(whole.get_subcommands().filter(|command| !command.is_hide_set()))
        .map(|command| (command, command.get_display_name().unwrap_or(command.get_name())))
        .collect();
    let mut files = Files::new(&[])?;
    let mut pages = Vec::new();
    for (command, name) in &named {
        let others = named.iter().map(|(_, name)| *name).filter(|other| other != name);
        let page = page(command, name, others).map_err(|fault| Failure::wrong_use(fault.to_string()))?;
        pages.push((files.output(Some(&args.folder.join(format!("{name}.1"))))?, page));
    }
    let results: Vec<_> = pages.iter().map(|(output, page)| (output, Content::Bytes(page))).collect();
    output::write_all(&results)?;
    Ok(0)
}

/// The library writes a title without a place for its date, and would fill the lines of the examples.
fn page<'a>(command: &Command, name: &str, others: impl Iterator<Item = &'a str>) -> io::Result<Vec<u8>> {
    let man = Man::new(command.clone());
    let mut page = Vec::new();
    let title = name.to_uppercase();
    writeln!(page, r#".TH {title} 1 "" "obelus {}" "User Commands""#, env!("CARGO_PKG_VERSION"))?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    let mut roff = Roff::new();
    let after = command.get_after_help().map(ToString::to_string).unwrap_or_default();
    for section in after.split("\n\n").filter(|section| !section.is_empty()) {
        if let Some(examples) = section.strip_prefix("Examples:\n") {
            roff.control("SH", ["EXAMPLES"]).control("nf", []);
            roff.extend(examples.lines().map(|line| roman(line.trim_start())));
            roff.control("fi", []);
        } else {
            roff.control("SH", ["NOTES"]).text([roman(section)]);
        }
    }
    let others: Vec<String> = others.map(|other| format!("{other}(1)")).collect();
    roff.control("SH", ["SEE ALSO"]).text([roman(others.join(", "))]);
    roff.to_writer(&mut page)?;
    Ok(page)
}
