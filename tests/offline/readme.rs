//! The README and the lessons are true: their commands print what they show. A line with `…` alone stands for any
//! lines.

use std::path::Path;
use std::process::Command;

/// Runs the commands of a page, one after the other, in a folder with the demo. Gives their number.
fn try_page(page: &str) -> usize {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join(page)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    for file in ["edition.musicxml", "source.musicxml", "marks.toml"] {
        std::fs::copy(root.join("corpus/demo").join(file), folder.path().join(file)).unwrap();
    }
    let mut count = 0;
    for block in text.split("```console\n").skip(1) {
        let block = block.split("```").next().unwrap();
        for call in block.split("$ obelus ").skip(1) {
            let (command, shown) = call.split_once('\n').unwrap();
            let printed = run(command, folder.path());
            assert!(agrees(shown, &printed), "{page}: {command}\nprints:\n{printed}\nthe page shows:\n{shown}");
            count += 1;
        }
    }
    count
}

#[test]
fn the_readme_shows_what_the_program_prints() {
    assert!(try_page("README.md") >= 5);
}

#[test]
fn the_first_lesson_runs() {
    assert_eq!(try_page("docs/lesson-audit.md"), 4);
}

#[test]
fn the_second_lesson_runs() {
    assert_eq!(try_page("docs/lesson-clean-part.md"), 6);
}

#[test]
fn the_third_lesson_runs() {
    assert_eq!(try_page("docs/lesson-octave-drops.md"), 5);
}

/// Every page is in the table of contents, the lessons first.
#[test]
fn the_contents_name_every_page() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
    let contents = std::fs::read_to_string(docs.join("README.md")).unwrap();
    let linked: Vec<&str> = contents.split("](").skip(1).map(|link| link.split(')').next().unwrap()).collect();
    assert!(linked[..3].iter().all(|link| link.starts_with("lesson-")), "{linked:?}");
    for page in std::fs::read_dir(&docs).unwrap() {
        let name = page.unwrap().file_name().into_string().unwrap();
        let is_page = name.ends_with(".md") && name != "README.md";
        assert!(!is_page || linked.contains(&name.as_str()), "docs/README.md does not name {name}");
    }
    for link in linked {
        assert!(docs.join(link).exists(), "docs/README.md names {link}, which is not there");
    }
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
    // The lines at the end of a block, before the next command or the end.
    let shown = shown.trim_end_matches('\n');
    if shown.is_empty() {
        return printed.is_empty();
    }
    let shown = &format!("{shown}\n");
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
