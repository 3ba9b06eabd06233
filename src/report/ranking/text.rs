//! A ranking for people: the reasons, then a line for each edition.

use super::{RankedEdition, Ranking, words};
use crate::report::page::{Ink, Page};
use crate::report::phrases;
use std::path::{Path, PathBuf};
use unicode_width::UnicodeWidthStr;

pub fn text(ranking: &Ranking, width: usize) -> String {
    let mut page = Page::new(width);
    page.title("Which edition has least of an editor in it");
    match (&ranking.source, &ranking.sources) {
        (Some(source), _) => {
            let called = source.title.as_ref().map_or(String::new(), |title| format!(" ({title})"));
            page.hanging("  source   ", &format!("{}{called}", source.file));
        }
        (None, Some(folder)) => page.hanging("  sources  ", folder),
        _ => {}
    }
    let folder = common_folder(&ranking.editions);
    if !folder.as_os_str().is_empty() {
        page.hanging("  editions ", &folder.display().to_string());
    }
    let reasons: Vec<&String> = ranking.editions.iter().filter_map(|e| e.reason.as_ref()).collect();
    if !reasons.is_empty() {
        page.blank();
        reasons.iter().for_each(|reason| page.paragraph(reason));
        page.blank();
        table(&mut page, ranking, &folder);
    }
    let left: Vec<_> = ranking.editions.iter().filter(|e| e.figures.is_none()).collect();
    if !left.is_empty() {
        page.title("Not compared");
        for edition in left {
            let fault = edition.fault.as_deref().unwrap_or_default();
            page.hanging("  ", &with_file(&edition.file, fault));
        }
    }
    page.warnings(&ranking.warnings);
    page.blank();
    page.paragraph(&format!("Order: {}; the first in which two editions differ decides.", ranking.order.join(", ")));
    page.paragraph(phrases::CAUTION);
    page.finish()
}

/// The folder in which all editions lie; empty where they have none in common but that of all files.
fn common_folder(editions: &[RankedEdition]) -> PathBuf {
    let folder = |e: &RankedEdition| Path::new(&e.file).parent().unwrap_or(Path::new("")).to_path_buf();
    let mut folders = editions.iter().map(folder);
    let first = folders.next().unwrap_or_default();
    let shared =
        |a: PathBuf, b: PathBuf| a.components().zip(b.components()).take_while(|(a, b)| a == b).map(|c| c.0).collect();
    Some(folders.fold(first, shared)).filter(|folder| folder.parent().is_some()).unwrap_or_default()
}

/// What was wrong, with the file's name before it where it is not there.
fn with_file(file: &str, fault: &str) -> String {
    if fault.starts_with(file) { fault.into() } else { format!("{file}: {fault}") }
}

const HEADINGS: [&str; 7] = ["", "alike", "changed", "octave", "passages", "marks", "clean bars"];

fn cells(edition: &RankedEdition) -> Option<[String; 7]> {
    let f = edition.figures.as_ref()?;
    Some([
        edition.rank.map_or(String::new(), |rank| rank.to_string()),
        words::notes_alike(f),
        f.notes.changed.to_string(),
        f.notes.in_another_octave.to_string(),
        f.passages.values().sum::<usize>().to_string(),
        f.marks.all().to_string(),
        format!("{} of {}", f.bars.without_finding, f.bars.compared),
    ])
}

fn table(page: &mut Page, ranking: &Ranking, folder: &Path) {
    let rows: Vec<(&RankedEdition, [String; 7])> =
        ranking.editions.iter().filter_map(|e| Some((e, cells(e)?))).collect();
    let width = |column: usize| {
        let cells = rows.iter().map(|row| row.1[column].width()).max().unwrap_or(0);
        cells.max(HEADINGS[column].width())
    };
    let widths: [usize; 7] = std::array::from_fn(width);
    let outside = ranking.instrument.is_some();
    let wide_outside = "outside".len();
    let aligned = |cells: &[String; 7], out: Option<String>| {
        let mut line: String = cells.iter().zip(widths).map(|(cell, width)| format!("{cell:>width$}  ")).collect();
        if let Some(out) = out {
            line += &format!("{out:>wide_outside$}  ");
        }
        line
    };
    let head = aligned(&HEADINGS.map(String::from), outside.then(|| "outside".into()));
    page.line(&[(Ink::Quiet, format!("{head}edition"))]);
    for (edition, cells) in &rows {
        let figures = edition.figures.as_ref().expect("only these are rows");
        let lead = aligned(cells, outside.then(|| figures.outside.unwrap_or(0).to_string()));
        let file = Path::new(&edition.file);
        let file = file.strip_prefix(folder).unwrap_or(file).display().to_string();
        page.hanging(&lead, &file);
        let more = words::sentences(edition, figures).join("; ");
        if !more.is_empty() {
            let lead = " ".repeat(widths[0] + 2);
            page.hanging(&lead, &more);
        }
    }
    page.blank();
    page.paragraph("alike: of 100 notes; marks: those that the editor added, omitted or altered.");
}
