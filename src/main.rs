//! The program `obelus`; all it does is in `cli` and in the library.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::main()
}
