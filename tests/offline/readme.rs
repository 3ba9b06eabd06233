//! The README is true: its commands print what it shows. A line with `…` alone
//! stands for any lines.

use std::path::Path;
use std::process::Command;

#[test]
fn the_readme_shows_what_the_program_prints() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = std::fs::read_to_string(root.join("README.md")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    for file in ["edition.musicxml", "source.musicxml", "marks.toml"] {
        std::fs::copy(root.join("corpus/demo").join(file), folder.path().join(file)).unwrap();
    }
    let mut blocks = 0;
    for block in readme.split("```console\n").skip(1) {
        let block = block.split("\n```").next().unwrap();
        let (command, shown) = block.split_once('\n').unwrap_or((block, ""));
        let printed = run(command.strip_prefix("$ obelus ").expect("blocks call obelus"), folder.path());
        assert!(agrees(shown, &printed), "{command}\nprints:\n{printed}\nthe README shows:\n{shown}");
        blocks += 1;
    }
    assert!(blocks >= 5, "{blocks} blocks");
}

fn run(args: &str, folder: &Path) -> String {
    // Arguments in double quotes hold spaces.
    let args: Vec<&str> = args
        .split('"')
        .enumerate()
        .flat_map(|(place, piece)| if place % 2 == 0 { piece.split_whitespace().collect() } else { vec![piece] })
        .collect();
    let output = Command::new(env!("CARGO_BIN_EXE_obelus"))
        .args(args)
        .current_dir(folder)
        .env_remove("COLUMNS")
        .output()
        .expect("the program starts");
    String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned()
}

/// Whether the printed lines are the shown ones, in order and without gaps but
/// for the lines with `…`.
fn agrees(shown: &str, printed: &str) -> bool {
    if shown.is_empty() {
        return printed.is_empty();
    }
    let mut printed: Vec<&str> = printed.lines().collect();
    let mut gap = false;
    for piece in shown.split("…\n").flat_map(|p| p.split("\n…")) {
        let lines: Vec<&str> = piece.lines().collect();
        let found = printed.windows(lines.len().max(1)).position(|w| lines.is_empty() || w == lines);
        let Some(at) = found.filter(|at| gap || *at == 0) else { return false };
        printed.drain(..at + lines.len());
        gap = true;
    }
    printed.is_empty() || shown.trim_end().ends_with('…')
}
