//! A ranking for a spreadsheet.

use super::{Ranking, words};
use crate::report::csv::line;

pub fn csv(ranking: &Ranking) -> String {
    let mut out = line(&[
        "rank",
        "file",
        "title",
        "source",
        "sure",
        "candidates",
        "parts",
        "key",
        "semitones",
        "notes",
        "alike_in_100",
        "changed",
        "in_another_octave",
        "passages",
        "bars",
        "bars_in_passages",
        "bars_without_finding",
        "marks_added",
        "marks_omitted",
        "marks_altered",
        "outside",
        "missing_bars",
        "missing_parts",
        "not_in_source",
        "audit",
        "fault",
    ]);
    for edition in &ranking.editions {
        let text = |of: &Option<String>| of.clone().unwrap_or_default();
        let mut cells = vec![
            edition.rank.map_or(String::new(), |rank| rank.to_string()),
            edition.file.clone(),
            text(&edition.title),
            text(&edition.source),
            edition.sure.map_or("", |sure| if sure { "yes" } else { "no" }).into(),
            edition
                .candidates
                .iter()
                .map(|c| format!("{} ({})", c.file, c.alike_in_100))
                .collect::<Vec<_>>()
                .join("; "),
        ];
        match &edition.figures {
            None => cells.extend(vec![String::new(); 18]),
            Some(f) => cells.extend([
                f.parts.join("; "),
                f.key.name.clone(),
                f.key.semitones.to_string(),
                f.notes.all.to_string(),
                words::notes_alike(f),
                f.notes.changed.to_string(),
                f.notes.in_another_octave.to_string(),
                words::passages(f),
                f.bars.compared.to_string(),
                f.bars.in_passages.to_string(),
                f.bars.without_finding.to_string(),
                f.marks.added.to_string(),
                f.marks.omitted.to_string(),
                f.marks.altered.to_string(),
                f.outside.map_or(String::new(), |n| n.to_string()),
                f.missing.bars.to_string(),
                f.missing.parts.join("; "),
                f.not_in_source.join("; "),
            ]),
        }
        cells.extend([text(&edition.audit), text(&edition.fault)]);
        out += &line(&cells.iter().map(String::as_str).collect::<Vec<_>>());
    }
    out
}
