//! The packages bring the manual and the completions of this program, not of an earlier one.

use crate::common::program::obelus;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What the program makes of its commands, by the names in `docs/packages`.
fn made() -> BTreeMap<PathBuf, String> {
    let folder = tempfile::tempdir().unwrap();
    obelus(&["manual", folder.path().to_str().unwrap()]);
    let mut files = read(folder.path(), "man");
    for (shell, name) in [("bash", "obelus.bash"), ("fish", "obelus.fish"), ("zsh", "_obelus")] {
        files.insert(Path::new("completions").join(name), obelus(&["completions", shell]));
    }
    files
}

fn read(folder: &Path, named: &str) -> BTreeMap<PathBuf, String> {
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    files.map(|file| (Path::new(named).join(file.file_name().unwrap()), fs::read_to_string(&file).unwrap())).collect()
}

#[test]
fn the_manual_and_the_completions_are_of_this_program() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/packages");
    let made = made();
    if std::env::var_os("UPDATE_DOCS").is_some_and(|v| v == "1") {
        for part in ["man", "completions"] {
            // A command that is no more has no page.
            let _ = fs::remove_dir_all(folder.join(part));
            fs::create_dir_all(folder.join(part)).unwrap();
        }
        made.iter().for_each(|(name, text)| fs::write(folder.join(name), text).unwrap());
    }
    let kept: BTreeMap<_, _> =
        ["man", "completions"].into_iter().flat_map(|part| read(&folder.join(part), part)).collect();
    let names = |files: &BTreeMap<PathBuf, String>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&kept), names(&made), "UPDATE_DOCS=1 writes docs/packages anew");
    for (name, text) in &made {
        let differs = text.lines().zip(kept[name].lines()).find(|(a, b)| a != b);
        assert!(*text == kept[name], "docs/packages/{}: {differs:?}; UPDATE_DOCS=1 writes it anew", name.display());
    }
}

#[test]
fn every_command_has_a_page_and_is_completed() {
    let help = obelus(&["--help"]);
    let listed = help.split("Commands:\n").nth(1).unwrap().lines().take_while(|line| !line.is_empty());
    let commands: Vec<&str> = listed
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect();
    assert!(commands.len() >= 9, "{commands:?}");
    let made = made();
    let page = &made[Path::new("man/obelus.1")];
    for command in &commands {
        assert!(made.contains_key(&PathBuf::from(format!("man/obelus-{command}.1"))), "{command} has no page");
        assert!(page.contains(&format!("obelus\\-{command}(1)")), "obelus(1) does not name {command}");
        for shell in ["obelus.bash", "obelus.fish", "_obelus"] {
            assert!(
                made[&Path::new("completions").join(shell)].contains(command),
                "{shell} does not complete {command}"
            );
        }
    }
    // Nobody calls these by hand.
    for (name, text) in made.iter().filter(|(name, _)| name.starts_with("completions")) {
        assert!(!text.contains("engrave") && !text.contains("manual"), "{} offers a hidden command", name.display());
    }
}
