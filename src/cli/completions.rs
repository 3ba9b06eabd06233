//! `obelus completions`: what a shell needs to complete the commands, from the same definition as the help.

use super::failure::Failure;
use super::output::{Content, Output};
use clap::{Command, CommandFactory};
use clap_complete::Shell;

/// Print what a shell needs to complete commands and options
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The shell
    #[arg(value_name = "SHELL", value_enum)]
    shell: Shell,
}

const EXAMPLES: &str = "\
Examples:
  obelus completions bash > ~/.local/share/bash-completion/completions/obelus
  obelus completions fish > ~/.config/fish/completions/obelus.fish
  obelus completions zsh > _obelus     (in a folder of fpath)";

pub fn run<Cli: CommandFactory>(args: &Args) -> Result<u8, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut shown(&Cli::command()), "obelus", &mut script);
    Output::Stdout.write(Content::Bytes(&script))?;
    Ok(0)
}

/// The commands that the help lists: shells would offer the hidden ones, too.
fn shown(whole: &Command) -> Command {
    Command::new("obelus")
        .version(env!("CARGO_PKG_VERSION"))
        .about(whole.get_about().cloned().unwrap_or_default())
        .subcommands(whole.get_subcommands().filter(|c| !c.is_hide_set()).cloned())
}
