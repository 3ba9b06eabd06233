//! What a cleaning did, in a few lines.

use super::keys_part::OctaveChange;
use super::page::Page;
use super::phrases::{count, listed};
use super::{adapted, json};
use crate::clean::{Additions, Cleaned, LeftBar};
use crate::keys::phrases::Move;
use serde::Serialize;

const LEGEND: &str = "Colours of this proof copy. Vermillion: added by the editor (dashed, in brackets, small). Bluish green: \
                      omitted and put back (dotted, boxed, in parentheses, triangular noteheads). Blue: altered and \
                      put right (wavy, ringed, in braces, diamond noteheads).";

/// A few sentences for the person who cleaned; `laid` is how many marks of
/// their own came on.
pub fn clean_text(file: &str, cleaned: &Cleaned, warnings: &[String], width: usize) -> String {
    let did = &cleaned.summary;
    let mut page = Page::new(width);
    let mut line = |text: String| page.paragraph(&text);
    if let Some(caution) = much_goes(cleaned) {
        line(caution);
    }
    if did.is_nothing() && did.kept == 0 {
        let adapted = cleaned.moved.is_some() || cleaned.written.is_some() || adapted::has_moves(cleaned);
        let is_edition = !adapted && cleaned.alone.is_none();
        let same = if is_edition { "; it is the edition byte for byte, apart from your own marks" } else { "" };
        line(format!("{file}: nothing had to change{same}."));
    } else {
        let parts = [
            (did.marks_removed, "mark", "taken out or replaced"),
            (did.marks_restored, "mark", "put back from the source"),
            (did.notes_restored, "note change", "reverted"),
            (did.bars_rebuilt, "bar", "rewritten from the source"),
            (did.bars_removed, "bar", "taken out"),
            (did.bars_inserted, "bar", "put back"),
            (did.marks_apart, "addition", "set apart"),
            (did.kept, "finding", "kept"),
            (did.lost, "finding", "that could not be kept"),
        ];
        let said: Vec<String> =
            parts.iter().filter(|p| p.0 > 0).map(|(n, noun, done)| format!("{} {done}", count(*n, noun))).collect();
        line(format!("{file}: {}.", said.join(", ")));
    }
    if let Some(alone) = &cleaned.alone {
        line(format!("It holds only the edition's {alone}, as a separate part."));
    }
    if !cleaned.left.is_empty() {
        line(format!(
            "{} could not be cleaned provably:",
            match cleaned.left.len() {
                1 => "1 bar stays as in the edition, in every part, because it".to_string(),
                n => format!("{n} bars stay as in the edition, in every part, because they"),
            }
        ));
    }
    cleaned.left.iter().for_each(|bar| page.item(&left_line(bar)));
    let mut line = |text: String| page.paragraph(&text);
    if cleaned.additions == Additions::Color {
        line(LEGEND.into());
    }
    if !cleaned.credits.is_empty() {
        let lines: Vec<String> = cleaned.credits.iter().map(|line| format!("\"{line}\"")).collect();
        line(format!("Taken out of the credits: {}.", listed(&lines)));
    }
    if let Some(by) = cleaned.moved {
        line(format!(
            "Then transposed {}{}.",
            by.name(),
            cleaned.direction.as_ref().map_or(String::new(), adapted::direction)
        ));
    }
    for told in adapted::told(cleaned) {
        line(told);
    }
    if let Some(marks) = cleaned.laid {
        line(format!("{} of your own written in.", count(marks, "mark")));
    }
    let proof = &cleaned.proof;
    let own = cleaned.laid.is_some_and(|marks| marks > 0);
    let mut whose = vec!["the source's"];
    whose.extend((did.kept > 0 || did.marks_apart > 0).then_some("kept as you asked"));
    whose.extend((!cleaned.left.is_empty()).then_some("left as in the edition"));
    whose.extend(own.then_some("your own"));
    let left = if did.parts_left > 0 { "; parts that were not cleaned are the edition's" } else { "" };
    let all = [(proof.bars, "bar"), (proof.notes, "note"), (proof.marks, "mark")];
    let all: Vec<String> = all.iter().filter(|(n, _)| *n > 0).map(|(n, noun)| count(*n, noun)).collect();
    line(format!("Proved: read back, its {} are {}{left}.", listed(&all), either(&whose)));
    let lead = match (adapted::has_moves(cleaned), own) {
        (false, false) => "A",
        (true, false) => "Before the octave changes, a",
        (false, true) => "Without your own marks, a",
        (true, true) => "Before the octave changes and without your own marks, a",
    };
    let again = if proof.again { "; cleaning again changes nothing" } else { "" };
    match proof.left {
        Some(0) => line(format!("{lead} second audit finds nothing{again}.")),
        Some(n) => line(format!("{lead} second audit finds only {}.", kept(n))),
        None => {}
    }
    for warning in warnings {
        line(format!("Warning: {warning}"));
    }
    page.finish()
}

/// Where a third of the edition's bars go, the source may lack them by accident.
fn much_goes(cleaned: &Cleaned) -> Option<String> {
    let gone = cleaned.summary.bars_removed;
    let all = cleaned.rows.len() - cleaned.summary.bars_inserted + gone;
    (gone > 0 && 3 * gone >= all).then(|| {
        format!(
            "Is the source complete? It lacks {gone} of the edition's {all} bars, so these were taken out; \
             --no-restore passages keeps them."
        )
    })
}

/// As in `bar 27: the slur at beat 1 is lost (--no-restore readings keeps all like it)`.
fn left_line(bar: &LeftBar) -> String {
    let option = bar.option.as_ref().map_or(String::new(), |option| format!(" ({option} keeps all like it)"));
    format!("bar {}: {}{option}", bar.bar, bar.reason)
}

#[derive(Serialize)]
struct Done<'a> {
    schema: u32,
    file: &'a str,
    edition: &'a str,
    source: &'a str,
    taken_out: usize,
    put_back: usize,
    kept: usize,
    set_apart: usize,
    /// Of what was to stay.
    not_kept: usize,
    own: usize,
    credits: &'a [String],
    left: Vec<Left<'a>>,
    /// Where phrases were to change their octaves: those that did, and those that a line joins to a note that stays.
    #[serde(skip_serializing_if = "Option::is_none")]
    octave_changes: Option<Changes>,
    proved: Proved,
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct Changes {
    done: Vec<OctaveChange>,
    not_done: Vec<OctaveChange>,
}

#[derive(Serialize)]
struct Left<'a> {
    bar: &'a str,
    bar_index: usize,
    reason: &'a str,
    option: Option<&'a str>,
}

#[derive(Serialize)]
struct Proved {
    bars: usize,
    notes: usize,
    marks: usize,
}

/// What a cleaning did, for other programs; `files` are the copy's, the
/// edition's and the source's.
pub fn clean_json(files: [&str; 3], cleaned: &Cleaned, warnings: &[String]) -> String {
    fn left(left: &LeftBar) -> Left<'_> {
        Left { bar: &left.bar, bar_index: left.bar_index, reason: &left.reason, option: left.option.as_deref() }
    }
    // One part alone can be made to fit.
    let changes = cleaned.on.iter().find_map(|on| {
        let all = |moves: &[Move]| moves.iter().map(|m| OctaveChange::new(&on.part, m)).collect();
        Some(Changes { done: all(on.moves.as_deref()?), not_done: all(&on.held) })
    });
    let (did, proof) = (&cleaned.summary, &cleaned.proof);
    let warnings: Vec<String> = much_goes(cleaned).into_iter().chain(warnings.iter().cloned()).collect();
    json::text(&Done {
        schema: super::SCHEMA,
        file: files[0],
        edition: files[1],
        source: files[2],
        taken_out: cleaned.taken_out,
        put_back: cleaned.put_back,
        kept: did.kept,
        set_apart: did.marks_apart,
        not_kept: did.lost,
        own: cleaned.laid.unwrap_or(0),
        credits: &cleaned.credits,
        left: cleaned.left.iter().map(left).collect(),
        octave_changes: changes,
        proved: Proved { bars: proof.bars, notes: proof.notes, marks: proof.marks },
        warnings,
    })
}

fn kept(n: usize) -> String {
    if n == 1 { "the 1 that was kept".into() } else { format!("the {n} that were kept") }
}

/// As in `the source's, kept as you asked or your own`.
fn either(whose: &[&str]) -> String {
    match whose {
        [most @ .., last] if !most.is_empty() => format!("{} or {last}", most.join(", ")),
        all => all.concat(),
    }
}
