//! What `obelus audit`, `obelus clean` and `obelus keys` cost beside merely parsing
//! their files: instructions, memory, and how both grow. `cargo bench` prints a small table; with names of
//! rows after `--` only these.

mod browser;
#[path = "../common/chromium.rs"]
mod chromium;
mod heap;
mod measure;
mod music;
mod real;

use measure::{Pair, Work};
use music::Piece;
use std::process::ExitCode;

#[global_allocator]
static HEAP: heap::Counting = heap::Counting;

/// Bytes of one bar of one part, about.
const BAR: usize = 3800;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.first().map(String::as_str) {
        Some("parse") => measure::parse(&arguments[1..]),
        Some("audit" | "clean" | "keys") => {
            let code = obelus::main();
            measure::tell();
            return code;
        }
        _ => {
            table(&arguments);
            return ExitCode::SUCCESS;
        }
    }
    measure::tell();
    ExitCode::SUCCESS
}

/// A row of the table: its name, the two pieces that are laid side by side, and what is done with them.
struct Row {
    name: &'static str,
    work: Work,
    edition: Piece,
    source: Piece,
}

fn rows() -> Vec<Row> {
    let like = |name, parts, bars| {
        let piece = Piece { seed: 7, parts, bars };
        Row { name, work: Work::Audit, edition: piece, source: piece }
    };
    let clean = |name, bars| Row { work: Work::Clean, ..like(name, 2, bars) };
    let page = |name, parts, bars| Row { work: Work::Page, ..like(name, parts, bars) };
    let unrelated = |bars| Piece { seed: 7, parts: 1, bars };
    vec![
        like("0.4MB", 2, 400_000 / BAR / 2),
        like("1MB", 2, 1_000_000 / BAR / 2),
        like("4MB", 2, 4_000_000 / BAR / 2),
        like("10MB", 2, 10_000_000 / BAR / 2),
        like("N", 1, 120),
        like("16N", 1, 16 * 120),
        like("40-parts", 40, 40),
        page("page-30", 1, 30),
        page("page-300", 1, 300),
        page("page-4x190", 4, 190),
        clean("clean-0.4MB", 400_000 / BAR / 2),
        clean("clean-1MB", 1_000_000 / BAR / 2),
        clean("clean-10MB", 10_000_000 / BAR / 2),
        Row {
            name: "unrelated",
            work: Work::Audit,
            edition: Piece { seed: 11, ..unrelated(9050) },
            source: unrelated(9050),
        },
    ]
}

/// Every key of one part of 10 000 notes, beside parsing its file.
fn keys(folder: &std::path::Path) {
    let piece = Piece { seed: 7, parts: 1, bars: 905 };
    let pair = Pair::write(folder, "", &piece.source());
    let (keys, parse) = (pair.cost(Work::Keys), pair.cost(Work::ParseOne));
    let counted = pair.instructions(Work::Keys).zip(pair.instructions(Work::ParseOne));
    let said = counted.map_or("-".into(), |(k, p)| format!("{k:.0} instructions, {:.2} times those of parsing", k / p));
    println!(
        "keys of {} notes: {said}; {:.2} s, {:.2} times; peak {:.2} MB, {:.2} times",
        piece.notes(),
        keys.seconds,
        keys.seconds / parse.seconds,
        keys.peak as f64 / 1e6,
        keys.peak as f64 / parse.peak as f64,
    );
}

/// What a second core saves, and what it could save: what the system gives to two threads that only compute.
fn clock(folder: &std::path::Path) {
    let piece = Piece { seed: 7, parts: 2, bars: 1_000_000 / BAR / 2 };
    let pair = Pair::write(folder, &piece.edition(), &piece.source());
    let all = pair.clock(Work::Audit);
    let one = pair.clock_on_one_core(Work::Audit);
    let said = one.map_or("-".into(), |one| format!("{:.1} ms, {:.2} of it on all", one * 1e3, all / one));
    println!("a pair of {:.1} MB by the clock: {:.1} ms, on one core {said}", pair.megabytes(), all * 1e3);
    println!("two threads that only compute take {:.2} of what one takes", measure::at_best());
}

/// From a click at the desk to the changed staves.
fn desk(folder: &std::path::Path) {
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus/demo");
    let told = |name: &str, edition: &std::path::Path, source: &std::path::Path| {
        println!("desk, {name}: {}", browser::click(edition, source).unwrap_or_else(|| "no browser".into()));
    };
    told("the demo", &demo.join("edition.musicxml"), &demo.join("source.musicxml"));
    for bars in [100, 300] {
        let piece = Piece { seed: 7, parts: 1, bars };
        let pair = Pair::write(folder, &piece.edition(), &piece.source());
        told(&format!("{bars} bars"), &pair.edition, &pair.source);
    }
}

fn table(wanted: &[String]) {
    let wanted: Vec<&str> = wanted.iter().map(String::as_str).filter(|w| !w.starts_with('-')).collect();
    let folder = tempfile::tempdir().expect("a folder for files that are made");
    println!(
        "{:<12}{:>7}{:>8}{:>14}{:>8}{:>11}{:>8}{:>8}{:>8}",
        "pair", "MB", "notes", "instructions", "ratio", "peak MB", "ratio", "s", "ratio"
    );
    let mut grown = Vec::new();
    for row in rows().into_iter().filter(|r| wanted.is_empty() || wanted.contains(&r.name)) {
        let pair = Pair::write(folder.path(), &row.edition.edition(), &row.source.source());
        let (command, parse) = (pair.cost(row.work), pair.cost(Work::Parse));
        // Of the two that take long it is the time that matters.
        let count = |work| if row.name == "unrelated" { None } else { pair.instructions(work) };
        let counted = count(row.work).zip(count(Work::Parse));
        let instructions = counted.map_or("-".into(), |(a, _)| format!("{:.0}", a));
        let ratio = counted.map_or("-".into(), |(a, p)| format!("{:.3}", a / p));
        println!(
            "{:<12}{:>7.2}{:>8}{:>14}{:>8}{:>11.2}{:>8.3}{:>8.3}{:>8.2}",
            row.name,
            pair.megabytes(),
            row.source.notes(),
            instructions,
            ratio,
            command.peak as f64 / 1e6,
            command.peak as f64 / parse.peak as f64,
            command.seconds,
            command.seconds / parse.seconds,
        );
        if row.work == Work::Page && cfg!(feature = "engrave") {
            let clock = pair.clock(row.work);
            let seen =
                browser::first_staves(&pair.report).map_or("no browser".into(), |s| format!("{s} s in Chromium"));
            println!(
                "{:<12}{clock:.2} s on the clock with the engraver's process; page {:.2} MB, first staves: {seen}",
                "",
                measure::megabytes(&[&pair.report]),
            );
        }
        if matches!(row.name, "N" | "16N") {
            grown.push((counted.map_or(command.seconds, |(a, _)| a), command.seconds - parse.seconds));
        }
    }
    if wanted.is_empty() || wanted.contains(&"all-keys") {
        keys(folder.path());
    }
    if wanted.is_empty() || wanted.contains(&"clock") {
        clock(folder.path());
    }
    if wanted.is_empty() || wanted.contains(&"real") {
        real::table(folder.path());
    }
    if cfg!(feature = "engrave") && (wanted.is_empty() || wanted.contains(&"desk")) {
        desk(folder.path());
    }
    if let [small, large] = grown.as_slice() {
        println!("from N to 16 N bars the audit grows {:.2} times", large.0 / small.0);
    }
}
