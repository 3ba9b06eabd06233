//! Calling the built program.

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

/// A file of the demo.
pub fn demo(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo").join(name);
    path.to_str().expect("a UTF-8 path").to_string()
}

/// How a call ended that was to fail.
pub struct Failed {
    pub status: i32,
    pub stderr: String,
}

fn call(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_obelus")).args(args).env_remove("COLUMNS").output().expect("the program starts")
}

/// Runs the program and gives what it prints.
///
/// # Panics
/// If its exit status is not 0.
pub fn obelus(args: &[&str]) -> String {
    let output = call(args);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "obelus {}: {}: {errors}", args.join(" "), output.status);
    String::from_utf8(output.stdout).expect("reports are UTF-8")
}

/// Runs the program with arguments of its own making.
pub fn obelus_with(args: &[String]) -> String {
    obelus(&args.iter().map(String::as_str).collect::<Vec<_>>())
}

pub fn json_of(args: &[&str]) -> Value {
    serde_json::from_str(&obelus(args)).expect("the report is JSON")
}

/// Runs the program, which must not succeed.
pub fn obelus_fails(args: &[&str]) -> Failed {
    let output = call(args);
    assert!(!output.status.success(), "obelus {}: succeeded", args.join(" "));
    Failed {
        status: output.status.code().expect("no signal ended it"),
        stderr: String::from_utf8_lossy(&output.stderr).into(),
    }
}
