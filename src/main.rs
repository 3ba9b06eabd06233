//! The program `obelus`.

use std::process::ExitCode;

fn main() -> ExitCode {
    obelus::main()
}
