//! What a package holds: whose work is in it, its manual, and a program that runs from where it is put.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What a program prints.
///
/// # Panics
/// If it is not there, or fails.
fn printed(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|e| panic!("{command:?} is needed: {e}"));
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {errors}");
    String::from_utf8(output.stdout).expect("text")
}

#[cfg(feature = "engrave")]
mod licenses {
    use super::*;

    /// The lines under a heading of the file of licenses that begin an entry.
    fn section(heading: &str) -> BTreeSet<String> {
        let file = fs::read_to_string(root().join("docs/packages/licenses.txt")).expect("the file is there");
        let bar = "=".repeat(78) + "\n";
        let mut pieces = file.split(&bar).skip(1);
        let found = std::iter::from_fn(|| Some((pieces.next()?, pieces.next()?))).find(|p| p.0.starts_with(heading));
        let (_, text) = found.unwrap_or_else(|| panic!("no section {heading}"));
        let lines = text.lines().filter(|line| !line.is_empty() && !line.starts_with(' '));
        lines.map(|line| line.split(':').next().unwrap().to_string()).collect()
    }

    fn cargo(args: &[&str]) -> String {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        printed(
            Command::new(cargo).args(args).args(["--locked", "--offline", "--features", "engrave"]).current_dir(root()),
        )
    }

    #[test]
    fn the_crates_in_the_program_are_those_in_the_file_of_licenses() {
        let tree = cargo(&["tree", "-e", "normal", "--prefix", "none", "--target", "x86_64-unknown-linux-gnu"]);
        let linked: BTreeSet<String> = tree
            .lines()
            .filter_map(|line| {
                let (name, rest) = line.split_once(" v")?;
                Some(format!("{name} {}", rest.split(' ').next()?))
            })
            .filter(|name| !name.starts_with("obelus "))
            .collect();
        assert!(linked.len() > 100, "{linked:?}");
        let listed: BTreeSet<String> = section("Crates").into_iter().filter(|n| !n.starts_with("obelus ")).collect();
        let (missing, gone): (Vec<_>, Vec<_>) =
            (linked.difference(&listed).collect(), listed.difference(&linked).collect());
        assert!(
            missing.is_empty() && gone.is_empty(),
            "docs/packages/licenses.txt lacks {missing:?} and has {gone:?}; docs/packages.md says how it is made"
        );
    }

    #[test]
    fn the_fonts_in_the_program_are_those_in_the_file_of_licenses() {
        let sheets = verovio_data::DATA.files().filter_map(|file| file.path().to_str()?.strip_suffix(".css"));
        assert_eq!(section("Fonts"), sheets.map(String::from).collect());
    }

    #[test]
    fn the_libraries_in_the_engraver_are_those_in_the_file_of_licenses() {
        let about = cargo(&["metadata", "--format-version", "1", "--filter-platform", "x86_64-unknown-linux-gnu"]);
        let about: serde_json::Value = serde_json::from_str(&about).unwrap();
        let engraver = about["packages"].as_array().unwrap().iter().find(|p| p["name"] == "verovio-sys").unwrap();
        let folder = Path::new(engraver["manifest_path"].as_str().unwrap()).with_file_name("vendor/verovio/include");
        let libraries = fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
        assert_eq!(section("The engraver's own libraries"), libraries.filter(|name| name != "win32").collect());
    }
}

/// Puts what the package holds below a folder, by the list in Cargo.toml.
fn install(below: &Path) {
    let manifest: toml::Table = fs::read_to_string(root().join("Cargo.toml")).unwrap().parse().unwrap();
    let assets = manifest["package"]["metadata"]["deb"]["assets"].as_array().unwrap();
    for asset in assets {
        let [from, to] = [0, 1].map(|at| asset[at].as_str().unwrap());
        let files = if from == "target/release/obelus" {
            vec![PathBuf::from(env!("CARGO_BIN_EXE_obelus"))]
        } else {
            named(&root().join(from))
        };
        assert!(!files.is_empty(), "{from}: there is no such file");
        for file in files {
            let to = if to.ends_with('/') { below.join(to).join(file.file_name().unwrap()) } else { below.join(to) };
            fs::create_dir_all(to.parent().unwrap()).unwrap();
            fs::copy(file, to).unwrap();
        }
    }
}

/// A file, or all of a folder with an ending.
fn named(pattern: &Path) -> Vec<PathBuf> {
    let Some(ending) = pattern.file_name().unwrap().to_str().unwrap().strip_prefix('*') else {
        return vec![pattern.to_path_buf()];
    };
    let files = fs::read_dir(pattern.parent().unwrap()).unwrap().map(|e| e.unwrap().path());
    files.filter(|file| file.to_str().unwrap().ends_with(ending)).collect()
}

#[test]
fn the_demo_runs_from_what_was_installed() {
    let below = tempfile::tempdir().unwrap();
    install(below.path());
    let demo = |name: &str| below.path().join("usr/share/obelus/demo").join(name);
    let home = tempfile::tempdir().unwrap();
    // Nothing of the machine is asked for: not even its path.
    let call = |args: &[&str]| -> Output {
        Command::new(below.path().join("usr/bin/obelus"))
            .args(args)
            .args([demo("edition.musicxml"), demo("source.musicxml")])
            .env_clear()
            .env("HOME", home.path())
            .current_dir(home.path())
            .output()
            .unwrap()
    };
    let audit = call(&["audit"]);
    assert!(audit.status.success() && String::from_utf8_lossy(&audit.stdout).contains("an octave lower"), "{audit:?}");
    let marks = demo("marks.toml");
    let clean = call(&["clean", "-o", "copy.musicxml", "--mine", marks.to_str().unwrap()]);
    assert!(clean.status.success(), "{clean:?}");
    assert!(fs::read_to_string(home.path().join("copy.musicxml")).unwrap().contains("<score-partwise"));
    if cfg!(feature = "engrave") {
        let pages = call(&["clean", "-o", "copy.musicxml", "--pdf", "part.pdf"]);
        assert!(pages.status.success(), "{pages:?}");
        assert!(fs::read(home.path().join("part.pdf")).unwrap().starts_with(b"%PDF-"));
    }
}

#[test]
#[cfg(target_os = "linux")]
fn the_manual_formats_without_a_warning() {
    for page in named(&root().join("docs/packages/man/*.1")) {
        let mut man = Command::new("man");
        man.args(["--warnings=w", "-E", "UTF-8", "-l", "-Tutf8"])
            .arg(&page)
            .envs([("LC_ALL", "C.UTF-8"), ("MANWIDTH", "80")]);
        let output = man.output().unwrap_or_else(|e| panic!("`man` is needed (in Debian, the package man-db): {e}"));
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success() && said.is_empty(), "{}: {said}", page.display());
        assert!(String::from_utf8_lossy(&output.stdout).contains("Print help"), "{}: nothing is shown", page.display());
    }
}
