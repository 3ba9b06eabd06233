//! Pairs of real scores: those of music21's corpus, where the packages of the external tests are, and those of a folder
//! that the user names.

use super::measure::{Pair, Work};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Folders with two scores each, `a` and `b`, of which `a` is taken as the edition. In the place of a score there may be
/// a file `b.from` that ends with the path of one inside the package music21.
const FOLDER: &str = "OBELUS_PAIRS";

/// Two settings of one melody, two versions of one piece, two encodings.
const OF_CORPUS: [[&str; 2]; 18] = [
    ["trecento/PMFC_23_15a-Kyrie Humano Generi a.xml", "trecento/PMFC_23_15b-Kyrie Humano Generi b.xml"],
    ["trecento/PMFC_06-Jacopo-03a-Di_Novo.xml", "trecento/PMFC_06-Jacopo-03b-Di_Novo.xml"],
    ["trecento/PMFC_13_01-Kyrie-Summe-Clementissime.xml", "trecento/PMFC_13_01-Kyrie-Summe-Clementissime.mxl"],
    ["schumann_robert/dichterliebe_no2.xml", "schumann_robert/opus48no2.mxl"],
    ["bach/bwv146.8.mxl", "bach/bwv154.3.mxl"],
    ["bach/bwv13.6.mxl", "bach/bwv393.mxl"],
    ["bach/bwv194.6.mxl", "bach/bwv30.6.mxl"],
    ["bach/bwv244.10.mxl", "bach/bwv395.mxl"],
    ["bach/bwv430.mxl", "bach/bwv95.7.mxl"],
    ["bach/bwv16.6.mxl", "bach/bwv28.6.mxl"],
    ["bach/bwv194.6.mxl", "bach/bwv39.7.mxl"],
    ["bach/bwv244.37.mxl", "bach/bwv44.7.mxl"],
    ["bach/bwv13.6.mxl", "bach/bwv244.37.mxl"],
    ["bach/bwv244.46.mxl", "bach/bwv245.3.mxl"],
    ["bach/bwv101.7.mxl", "bach/bwv90.5.mxl"],
    ["bach/bwv312.mxl", "bach/bwv69.6.xml"],
    ["bach/bwv155.5.mxl", "bach/bwv251.mxl"],
    ["bach/bwv20.11.mxl", "bach/bwv397.mxl"],
];

/// The package music21 of the external tests' environment, if it was made.
fn package() -> Option<PathBuf> {
    let library = Path::new(env!("CARGO_TARGET_TMPDIR")).join("python").join("lib");
    let versions = std::fs::read_dir(library).ok()?.filter_map(Result::ok);
    versions.map(|version| version.path().join("site-packages/music21")).find(|package| package.is_dir())
}

/// The text of a score, packed or not.
fn text(file: &Path) -> Option<String> {
    let bytes = std::fs::read(file).ok()?;
    if !bytes.starts_with(b"PK") {
        return String::from_utf8(bytes).ok();
    }
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).ok()?;
    let is_score = |name: &str| !name.starts_with("META-INF") && name.ends_with("xml");
    let name = archive.file_names().filter_map(Result::ok).find(|name| is_score(name))?.into_owned();
    let mut out = String::new();
    archive.by_name(&name).ok()?.read_to_string(&mut out).ok()?;
    Some(out)
}

/// The score of a folder whose name is `a` or `b`, whatever its ending.
fn of_folder(folder: &Path, name: &str, package: Option<&Path>) -> Option<PathBuf> {
    let files = std::fs::read_dir(folder).ok()?.filter_map(Result::ok).map(|entry| entry.path());
    let named = |file: &PathBuf| file.file_stem().is_some_and(|stem| stem == name);
    let of_kind = |file: &PathBuf| file.extension().is_some_and(|kind| kind != "txt");
    let file = files.filter(named).find(of_kind)?;
    if file.extension().is_some_and(|kind| kind == "from") {
        let said = std::fs::read_to_string(&file).ok()?;
        return Some(package?.join(said.split_once(' ')?.1.trim()));
    }
    Some(file)
}

/// The name of each pair, and its two scores.
fn pairs() -> Vec<(String, [PathBuf; 2])> {
    let package = package();
    let mut out = Vec::new();
    if let Some(corpus) = package.as_deref().map(|package| package.join("corpus")) {
        let stem = |file: &str| Path::new(file).file_stem().unwrap_or_default().to_string_lossy().into_owned();
        out.extend(OF_CORPUS.map(|pair| (pair.map(stem).join(", "), pair.map(|file| corpus.join(file)))));
    }
    if let Some(folder) = std::env::var_os(FOLDER) {
        let entries = std::fs::read_dir(&folder).unwrap_or_else(|error| panic!("{FOLDER}: {error}"));
        let mut folders: Vec<PathBuf> = entries.filter_map(Result::ok).map(|entry| entry.path()).collect();
        folders.sort();
        for folder in folders {
            let both = ["a", "b"].map(|name| of_folder(&folder, name, package.as_deref()));
            if let [Some(a), Some(b)] = both {
                out.push((folder.file_name().unwrap_or_default().to_string_lossy().into_owned(), [a, b]));
            }
        }
    }
    out
}

/// A row for each pair, then the median of the ratios and the worst.
pub fn table(folder: &Path) {
    let mut ratios = Vec::new();
    for (name, files) in pairs() {
        let [Some(edition), Some(source)] = files.map(|file| text(&file)) else { continue };
        let pair = Pair::write(folder, &edition, &source);
        let counted = pair.instructions(Work::Audit).zip(pair.instructions(Work::Parse));
        let ratio = counted.map(|(audit, parse)| audit / parse);
        let said = ratio.map_or("-".into(), |ratio| format!("{ratio:.3}"));
        println!("{:<72}{:>8.0} KB{said:>8}", name.chars().take(70).collect::<String>(), pair.megabytes() * 1e3);
        ratios.extend(ratio);
    }
    ratios.sort_by(f64::total_cmp);
    match ratios.last() {
        Some(worst) => println!("{} pairs: median {:.3}, worst {worst:.3}", ratios.len(), ratios[ratios.len() / 2]),
        None => println!("no real pairs: run the external tests once, or name a folder with {FOLDER}"),
    }
}
