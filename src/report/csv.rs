//! Reports as comma-separated lines, for a spreadsheet.

use super::phrases::bar_list;
use super::{Audit, KeysReport, RangeReport};
use crate::readable::one_line;

impl Audit {
    /// As CSV: one line per finding under a line of headings; an empty cell is nothing.
    pub fn csv(&self) -> String {
        audit(self)
    }
}

impl RangeReport {
    /// As CSV: one line per note outside the range under a line of headings.
    pub fn csv(&self) -> String {
        range(self)
    }
}

impl RangeReport {
    /// The hardest stretches as CSV: one line for each under a line of headings.
    pub fn stretches_csv(&self) -> String {
        stretches(self)
    }
}

impl KeysReport {
    /// As CSV: one line per transposition under a line of headings, for each part and instrument.
    pub fn csv(&self) -> String {
        keys(self)
    }
}

fn audit(audit: &Audit) -> String {
    let mut out = line(&[
        "part", "bar", "beat", "offset", "category", "status", "edition", "source", "end_bar", "end_beat", "passage",
    ]);
    for part in &audit.parts {
        for f in &part.findings {
            let end = f.end.as_ref();
            let passage = f.passage.map(|p| part.passages[p].kind.name());
            out += &line(&[
                &part.part.spoken(),
                &f.at.bar,
                &f.at.beat,
                &f.at.offset,
                f.category.name(),
                f.status.name(),
                f.edition_reading.as_deref().unwrap_or(""),
                f.source_reading.as_deref().unwrap_or(""),
                end.map_or("", |e| &e.bar),
                end.map_or("", |e| &e.beat),
                passage.unwrap_or(""),
            ]);
        }
    }
    out
}

fn range(report: &RangeReport) -> String {
    let mut out = line(&["part", "instrument", "bar", "beat", "offset", "pitch", "side", "passage"]);
    for part in &report.parts {
        let Some(range) = &part.range else { continue };
        for (place, o) in range.outside.iter().enumerate() {
            let passage = part
                .passages
                .iter()
                .position(|p| p.outside_places.contains(&place))
                .map_or(String::new(), |p| (p + 1).to_string());
            out += &line(&[
                &part.part.spoken(),
                &range.instrument,
                &o.at.bar,
                &o.at.beat,
                &o.at.offset,
                &o.pitch,
                o.side.name(),
                &passage,
            ]);
        }
    }
    out
}

fn stretches(report: &RangeReport) -> String {
    let mut out = line(&[
        "part",
        "instrument",
        "rank",
        "bar",
        "beat",
        "offset",
        "end_bar",
        "end_beat",
        "end_offset",
        "again",
        "difficulty",
        "counted",
        "start",
        "tempo",
        "lies_badly",
        "why",
    ]);
    for part in &report.parts {
        let Some((range, hardest)) = part.range.as_ref().zip(part.hardest.as_ref()) else { continue };
        for (place, s) in hardest.stretches.iter().enumerate() {
            out += &line(&[
                &part.part.spoken(),
                &range.instrument,
                &(place + 1).to_string(),
                &s.from.bar,
                &s.from.beat,
                &s.from.offset,
                &s.to.bar,
                &s.to.beat,
                &s.to.offset,
                &bar_list(s.again.iter().map(|p| (p.bar_index, p.bar.as_str()))),
                &s.difficulty.to_string(),
                &s.start.beat,
                &s.start.per_minute.to_string(),
                &s.tempo.per_minute.to_string(),
                if s.lies_badly { "yes" } else { "no" },
                &s.why,
            ]);
        }
    }
    out
}

fn keys(report: &KeysReport) -> String {
    let mut out = line(&[
        "part",
        "instrument",
        "rank",
        "transposition",
        "semitones",
        "fifths",
        "written_lowest",
        "written_highest",
        "sounding_lowest",
        "sounding_highest",
        "outside",
        "octave_changes",
        "outside_after",
        "top_register",
        "accidentals",
        "sharp_or_flat",
        "forked",
        "half_holes",
        "pinched",
        "no_true_fingering",
        "difficulty",
        "reason",
    ]);
    let number = |n: Option<usize>| n.map_or(String::new(), |n| n.to_string());
    for part in &report.parts {
        for (on, key) in part.instruments.iter().flat_map(|i| i.transpositions.iter().map(move |key| (i, key))) {
            let written = key.written.as_ref().map(|c| [c.lowest.pitch.as_str(), c.highest.pitch.as_str()]);
            let sounding = key.sounding.as_ref().map(|c| [c.lowest.as_str(), c.highest.as_str()]);
            let ([low, high], [sounds_low, sounds_high]) = (written.unwrap_or_default(), sounding.unwrap_or_default());
            out += &line(&[
                &part.part.spoken(),
                &on.instrument,
                &key.rank.to_string(),
                &key.transposition.name,
                &key.transposition.semitones.to_string(),
                &key.fifths.to_string(),
                low,
                high,
                sounds_low,
                sounds_high,
                &key.outside.to_string(),
                &key.octave_changes.len().to_string(),
                &key.outside_after.to_string(),
                &key.top_register.to_string(),
                &key.accidentals.to_string(),
                &key.sharp_or_flat.to_string(),
                &number(key.forked),
                &number(key.half_holes),
                &number(key.pinched),
                &number(on.fingerings.then_some(key.no_true_fingering.len())),
                &key.difficulty.map_or(String::new(), |d| d.to_string()),
                &key.reason,
            ]);
        }
    }
    out
}

pub(super) fn line(cells: &[&str]) -> String {
    let cells: Vec<String> = cells.iter().map(|c| cell(c)).collect();
    cells.join(",") + "\n"
}

/// On one line, quoted where it must be. What a spreadsheet would take for a formula has an apostrophe before it, also
/// behind a semicolon, at which spreadsheets of some countries part cells; numbers stay. All CSV is made here.
fn cell(text: &str) -> String {
    let text = one_line(text);
    let is_number = text.parse::<f64>().is_ok_and(f64::is_finite);
    let plain = |cell: &str| {
        let is_formula = cell.len() > 1 && cell.trim_start().starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']);
        if is_formula && !is_number { format!("'{cell}") } else { cell.to_string() }
    };
    let text = text.split(';').map(plain).collect::<Vec<_>>().join(";");
    if text.contains([',', '"']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_is_a_formula() {
        let made =
            line(&["=1+2", "+cmd|' /C calc'!A0", "-3", "-", "@SUM(1,2)", "\t=1", "-1+1", "a=b", "\r\n =1", "-inf"]);
        assert_eq!(made, "'=1+2,'+cmd|' /C calc'!A0,-3,-,\"'@SUM(1,2)\",' =1,'-1+1,a=b,'   =1,'-inf\n");
    }

    #[test]
    fn no_cell_is_a_formula_where_semicolons_part_cells() {
        let made = line(&["Solo;=1+2", "a; @SUM(1)", "b;;＋1", "p; f", "c;-"]);
        assert_eq!(made, "Solo;'=1+2,a;' @SUM(1),b;;'＋1,p; f,c;-\n");
    }

    #[test]
    fn cells_are_quoted_where_they_must_be() {
        assert_eq!(line(&["a", "", "p, dolce"]), "a,,\"p, dolce\"\n");
        assert_eq!(cell("say \"f\""), "\"say \"\"f\"\"\"");
        assert_eq!(line(&["1\n2", "a\u{9b}b\u{202e}c"]), "1 2,a b c\n");
    }
}
