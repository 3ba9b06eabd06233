//! What is said of an edition in a ranking.

use super::order::{Criterion, decided};
use super::{Figures, RankedEdition};
use crate::findings::PassageKind;
use crate::report::phrases::{count, listed};

/// Its passages by kind: `1 octave displacement, 2 cuts`; nothing where there are none.
pub fn passages(figures: &Figures) -> String {
    let of = |(kind, n): (&PassageKind, &usize)| match kind {
        PassageKind::OctaveDisplacement => count(*n, "octave displacement"),
        PassageKind::InventedEnding => count(*n, "invented ending"),
        PassageKind::InsertedPassage => count(*n, "inserted passage"),
        PassageKind::RewrittenPassage => count(*n, "rewritten passage"),
        PassageKind::Cut => count(*n, "cut"),
        PassageKind::WrittenOutRepeat => count(*n, "written-out repeat"),
        PassageKind::WrittenOutOrnament => count(*n, "written-out ornament"),
        PassageKind::RevoicedChords => format!("{n} of revoiced chords"),
    };
    figures.passages.iter().map(of).collect::<Vec<_>>().join(", ")
}

/// What the edition lacks; nothing where it lacks nothing.
pub fn missing(figures: &Figures) -> String {
    let missing = &figures.missing;
    let mut out = Vec::new();
    if missing.bars > 0 {
        out.push(format!("{} of {}", missing.bars, count(missing.of_bars, "bar")));
    }
    match missing.parts.as_slice() {
        [] => {}
        parts if parts.len() <= MOST_NAMED => out.push(listed(parts)),
        parts => out.push(count(parts.len(), "part")),
    }
    out.join("; ")
}

/// What a table does not say of an edition.
pub fn sentences(edition: &RankedEdition, figures: &Figures) -> Vec<String> {
    let mut out = Vec::new();
    if let (Some(source), Some(sure)) = (&edition.source, edition.sure) {
        let others = edition.candidates.iter().filter(|c| c.file != *source);
        let others: Vec<String> = others.map(|c| format!("{} ({} in 100)", c.file, c.alike_in_100)).collect();
        out.push(match (sure, others.is_empty()) {
            (true, _) => format!("source: {source}"),
            (false, true) => format!("source: {source}, unsure"),
            (false, false) => format!("source: {source}, unsure: or {}", others.join(", ")),
        });
    }
    if !figures.is_in_key() {
        out.push(format!("another key: {}", figures.key.name));
    }
    let (passages, missing) = (passages(figures), missing(figures));
    out.extend(Some(passages).filter(|p| !p.is_empty()));
    out.extend(Some(missing).filter(|m| !m.is_empty()).map(|m| format!("missing: {m}")));
    if !figures.not_in_source.is_empty() {
        out.push(format!("not in the source: {}", figures.not_in_source.join(", ")));
    }
    out
}

/// More parts than this are counted.
const MOST_NAMED: usize = 3;

/// As in `99.7`; `100` where all are alike.
pub fn notes_alike(figures: &Figures) -> String {
    let alike = figures.notes.alike_in_100;
    if figures.notes.alike == figures.notes.all { "100".into() } else { format!("{alike:.1}") }
}

/// Why an edition is the first, or the last: what was done to it, and what decided.
pub fn reason(all: &[RankedEdition], place: usize, any_key: bool) -> String {
    let own = &all[place];
    let figures = own.figures.as_ref().expect("only what was compared is ranked");
    let is_first = place == 0;
    let most = if is_first { "least" } else { "most" };
    let neighbour = if is_first { all.get(1) } else { place.checked_sub(1).and_then(|before| all.get(before)) };
    let mut out = match neighbour {
        None => format!("{}: {}.", own.file, done(figures)),
        Some(_) => format!("{} has {most} of an editor in it: {}.", own.file, done(figures)),
    };
    let Some(neighbour) = neighbour else { return out };
    let theirs = neighbour.figures.as_ref().expect("only what was compared is ranked");
    let (side, other) = if is_first { ("before", &neighbour.file) } else { ("behind", &neighbour.file) };
    match decided(figures, theirs, any_key) {
        None => out += &format!(" {other} is just as faithful."),
        Some(criterion) => {
            out += &format!(" It stands {side} {other} by its {}.", by(criterion, figures, theirs));
        }
    }
    out
}

/// What decided, with both figures where they are counts.
fn by(criterion: Criterion, own: &Figures, other: &Figures) -> String {
    let two = |name: &str, a: usize, b: usize| match a == b {
        true => format!("{name} ({a} in both, but the pieces differ in length)"),
        false => format!("{name} ({a} against {b})"),
    };
    match criterion {
        Criterion::Key => "key".into(),
        Criterion::Notes => two("changed notes", own.notes.changed, other.notes.changed),
        Criterion::Passages => two("bars in passages", own.bars.in_passages, other.bars.in_passages),
        Criterion::Octaves => {
            two("notes in another octave", own.notes.in_another_octave, other.notes.in_another_octave)
        }
        Criterion::Marks => two("editor's marks", own.marks.all(), other.marks.all()),
        Criterion::Missing => two("missing bars", own.missing.bars, other.missing.bars),
    }
}

/// What the editor did, in one breath.
fn done(figures: &Figures) -> String {
    let Figures { notes, bars, marks, .. } = figures;
    let mut out = Vec::new();
    if !figures.is_in_key() {
        out.push(format!("it is in another key ({})", figures.key.name));
    }
    out.push(match notes.changed {
        0 => "no note is changed".into(),
        changed => format!("{changed} of {} {} changed", count(notes.all, "note"), are(changed)),
    });
    if bars.in_passages > 0 {
        out.push(format!(
            "{} of {} lie in passages ({})",
            bars.in_passages,
            count(bars.compared, "bar"),
            passages(figures)
        ));
    }
    out.push(match marks.all() {
        0 => "no mark is the editor's".into(),
        all => {
            let kinds = [(marks.added, "added"), (marks.omitted, "omitted"), (marks.altered, "altered")];
            let kinds: Vec<String> = kinds.iter().filter(|k| k.0 > 0).map(|(n, what)| format!("{n} {what}")).collect();
            format!("{} {} the editor's ({})", count(all, "mark"), are(all), kinds.join(", "))
        }
    });
    let missing = missing(figures);
    let lacks = if missing.is_empty() { String::new() } else { format!(". Missing: {missing}") };
    listed(&out) + &lacks
}

fn are(n: usize) -> &'static str {
    if n == 1 { "is" } else { "are" }
}
