//! The teacher's layer: marks of a sheet laid on a clean text, and lifted from
//! a marked copy again.

use super::clash::{self, Own};
use super::compare::Signs;
use super::content::{Content, MarkLine};
use super::copy::{self, MarkedCopy};
use super::fingerings;
use super::made_for::{MadeFor, Moved};
use super::sheet::{BarBeat, Sheet, SheetError, SheetMark};
use super::step::{CleanCopy, Steps};
use super::{Cleaned, Failure, Sides};
use crate::findings::{Finding, PartFindings, Status, Subject};
use crate::musicxml::rewrite::{Alone, Context, NewMark};
use crate::musicxml::{Edits, articulations, beat_unit, is_dynamic_sign, ornaments, words_of};
use crate::patch::Patch;
use crate::pitch::Interval;
use crate::plan::Plan;
use crate::score::sign::{Hairpin, LineKind, Metronome};
use crate::score::{Anchor, Category, Mark, NoteId, Part, Place, Score, Sign};
use crate::time::{Time, beat_text};

/// The user's own marks.
pub enum OwnMarks<'m> {
    /// A mark sheet.
    Sheet {
        /// The sheet.
        sheet: &'m Sheet,
        /// Where its marks go that name no part, by its place.
        part: usize,
    },
    /// A copy that they marked.
    Copy(MarkedCopy<'m>),
}

/// Lays the user's own marks on a clean copy.
///
/// # Errors
/// Where a mark of a sheet has no place, or a marked copy is of other music.
pub(super) fn lay<'t>(
    steps: Steps<'_, 't>,
    copy: CleanCopy<'t>,
    cleaned: &mut Cleaned,
    own: &OwnMarks,
    sides: Sides,
) -> Result<CleanCopy<'t>, Failure> {
    let done = steps.take(copy, cleaned, Signs::Stay, |copy, cleaned| {
        let mut expected: Vec<Content> = copy.score.parts.iter().map(Content::of).collect();
        let (patch, laid) = match own {
            OwnMarks::Sheet { sheet, part } => lay_sheet(copy, sheet, *part, &mut expected, &mut cleaned.warnings),
            OwnMarks::Copy(marked) => copy::lay_copy(copy, marked, &sides, &mut expected, &mut cleaned.warnings),
        }?;
        cleaned.laid = Some(laid);
        Ok((patch, expected))
    });
    Ok(done?.1)
}

/// Marks of a sheet in one bar; a score of many more could not be read.
const MOST_IN_A_BAR: usize = 1000;

/// Lays all marks of a sheet on: the edits, and how many came on.
fn lay_sheet(
    CleanCopy { tree, score }: &CleanCopy,
    sheet: &Sheet,
    part: usize,
    expected: &mut [Content],
    warnings: &mut Vec<String>,
) -> Result<(Patch, usize), Failure> {
    let (mut edits, mut laid) = (Edits::new(tree), 0);
    let mut by_part: Vec<Vec<&SheetMark>> = vec![Vec::new(); score.parts.len()];
    for mark in &sheet.marks {
        by_part[part_of(mark, score, part)?].push(mark);
    }
    let moved = moved(sheet, &score.parts[part]);
    warnings.extend(sheet.made_for.as_ref().and_then(|made_for| told(made_for, &moved, &score.parts[part])));
    for (index, marks) in by_part.into_iter().enumerate().filter(|(_, m)| !m.is_empty()) {
        let part = &score.parts[index];
        let plan = Plan::keep_all(part);
        let (mut to_lay, mut fingered) = (Vec::new(), Vec::new());
        let mut in_bars = vec![0; part.bars.len()];
        for mark in marks {
            let kind = mark.kind()?;
            let (at, end) = ends(part, mark, &kind, &moved)?;
            in_bars[at.bar] += 1;
            if in_bars[at.bar] > MOST_IN_A_BAR {
                let reason = format!("the sheet has more than {MOST_IN_A_BAR} marks in this bar");
                return Err(SheetError::Mark { mark: mark.to_string(), reason }.into());
            }
            let line = expected_line(&kind, at, end);
            if expected[index].marks.contains(&line) {
                warnings.push(format!("{mark} is there already"));
            } else {
                fingered.push((mark, at));
                to_lay.push((kind, at, end, line));
            }
        }
        warnings.extend(fingerings::on_others(part, &fingered));
        let context = Context::alone(tree, part, &plan);
        let mut rewrite = Alone::new(&context, &mut edits).marks();
        let own: Vec<Own> = to_lay.iter().map(|(kind, at, end, line)| own(part, kind, *at, *end, line)).collect();
        // Slurs stand beside each other, each with its own number.
        let goes = |mark: usize| {
            let there = &part.marks[mark];
            there.category != Category::Slur && own.iter().any(|own| clash::gives_way(there, own))
        };
        clash::make_way(part, goes, &mut rewrite, &mut expected[index], warnings);
        let mut rewrite = rewrite.inserter();
        for (kind, at, end, line) in to_lay {
            rewrite.insert_new(&kind, at, end);
            expected[index].marks.push(line);
            laid += 1;
        }
        rewrite.finish();
        expected[index].sort();
    }
    Ok((edits.finish(), laid))
}

/// Where the bars of a sheet's marks are in this part.
pub(super) fn moved(sheet: &Sheet, part: &Part) -> Moved {
    let Some(made_for) = &sheet.made_for else { return Moved::default() };
    let own = sheet.marks.iter().filter_map(|mark| mark.places().ok());
    made_for.moved(part, own.flat_map(|(from, to)| [Some(from.bar), to.map(|to| to.bar)]).flatten())
}

/// That a sheet was made for a copy with other bars: which of its marks followed
/// the music, and which to look at.
fn told(made_for: &MadeFor, moved: &Moved, part: &Part) -> Option<String> {
    let bars = |names: &[&str]| format!("{} {}", if names.len() == 1 { "bar" } else { "bars" }, names.join(", "));
    let mut said = Vec::new();
    if !moved.to.is_empty() {
        let mut all: Vec<(usize, &str)> = moved.to.iter().map(|(number, to)| (*to, number.as_str())).collect();
        all.sort_unstable();
        let (from, to): (Vec<&str>, Vec<&str>) =
            all.into_iter().map(|(to, number)| (number, part.bars[to].number.as_str())).unzip();
        said.push(format!("its marks in {} moved with the music to {}", bars(&from), bars(&to)));
    }
    if !moved.unsure.is_empty() {
        let unsure: Vec<&str> = moved.unsure.iter().map(String::as_str).collect();
        said.push(format!("check its marks in {}", bars(&unsure)));
    }
    let bars = made_for.bars;
    (!said.is_empty())
        .then(|| format!("the mark sheet was made for a copy with other bars ({bars} in all): {}", said.join("; ")))
}

/// A mark of a sheet with its place, to be held against what is there.
fn own(part: &Part, kind: &NewMark, at: Anchor, end: Option<Anchor>, line: &MarkLine) -> Own {
    let note = at.note.map(|n| &part.notes[n]);
    Own {
        category: line.category,
        words: match kind {
            NewMark::Dynamics(sign) => !is_dynamic_sign(sign),
            NewMark::Tempo(_) => true,
            _ => false,
        },
        at: at.place,
        end: end.map(|e| e.place),
        voice: note.map(|n| n.voice),
        staff: note.map_or(1, |n| n.staff),
    }
}

pub(super) fn part_of(mark: &SheetMark, score: &Score, default: usize) -> Result<usize, SheetError> {
    let Some(id) = &mark.part else { return Ok(default) };
    score
        .parts
        .iter()
        .position(|p| p.id == *id)
        .ok_or_else(|| SheetError::Mark { mark: mark.to_string(), reason: format!("the score has no part {id}") })
}

/// What the proof must find afterwards.
pub(super) fn expected_line(kind: &NewMark, at: Anchor, end: Option<Anchor>) -> MarkLine {
    let (category, sign) = match kind {
        NewMark::Dynamics(sign) if is_dynamic_sign(sign) => (Category::Dynamics, Sign::Named(sign.clone().into())),
        NewMark::Dynamics(text) | NewMark::Tempo(text) | NewMark::Expression(text) | NewMark::Text(text) => {
            let (category, term) = words_of(text);
            (category, Sign::Words { printed: text.clone(), term })
        }
        NewMark::Hairpin { louder: true } => (Category::Hairpin, Sign::Hairpin(Hairpin::crescendo())),
        NewMark::Hairpin { louder: false } => (Category::Hairpin, Sign::Hairpin(Hairpin::diminuendo())),
        NewMark::Slur => (Category::Slur, Sign::Line { kind: LineKind::Slur, text: String::new() }),
        NewMark::Articulation(name) => (Category::Articulation, Sign::Named(name.clone().into())),
        NewMark::Ornament(name) => (Category::Ornament, Sign::Named(name.clone().into())),
        NewMark::Breath => (Category::Breath, Sign::Named("breath-mark".into())),
        NewMark::Fermata => (Category::Fermata, Sign::Named("fermata".into())),
        NewMark::Fingering(text) => {
            let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
            (Category::Fingering, Sign::Textual { name: "fingering".into(), text })
        }
        NewMark::Metronome { unit, dots, per_minute } => {
            let printed = format!("{}{} = {per_minute}", "dotted ".repeat(*dots), beat_unit(unit));
            (Category::Tempo, Sign::Metronome(Metronome { printed, quarters: None, beat: None }))
        }
    };
    let meaning = sign.meaning(Interval::UNISON).into_owned();
    MarkLine { at: at.place, end: end.map(|e| e.place), category, meaning }
}

/// Where a mark of a sheet begins, and where it ends if it is a span.
pub(super) fn ends(
    part: &Part,
    mark: &SheetMark,
    kind: &NewMark,
    moved: &Moved,
) -> Result<(Anchor, Option<Anchor>), SheetError> {
    let (from, to) = mark.places()?;
    let at = locate(part, mark, kind, (&from, End::First), moved)?;
    let end = to.map(|to| locate(part, mark, kind, (&to, End::Last), moved)).transpose()?;
    if end.is_some_and(|end| end.place <= at.place) {
        return Err(SheetError::Mark { mark: mark.to_string(), reason: "it ends before it starts".into() });
    }
    Ok((at, end))
}

/// Which place of a mark is meant.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    First,
    Last,
}

/// The note (or, for marks in time, also the rest) that starts at a place.
pub(super) fn locate(
    part: &Part,
    mark: &SheetMark,
    kind: &NewMark,
    (place, end): (&BarBeat, End),
    moved: &Moved,
) -> Result<Anchor, SheetError> {
    let wrong = |reason: String| SheetError::Mark { mark: mark.to_string(), reason };
    let followed = moved.to.get(&place.bar).copied().filter(|bar| *bar < part.bars.len());
    let bar = followed.or_else(|| part.bar_called(&place.bar, 0)).ok_or_else(|| {
        let ends = part.bars.first().zip(part.bars.last());
        let ends =
            ends.map_or(String::new(), |(a, b)| format!("; the part goes from bar {} to {}", a.number, b.number));
        wrong(format!("there is no bar {}{ends}", place.bar))
    })?;
    let own = &part.bars[bar];
    let offset = (place.beat - Time::from(1)) * own.meter.beat - part.pickup(bar);
    let there = Place { bar, offset };
    let needs_note = !matches!(
        kind,
        NewMark::Dynamics(_)
            | NewMark::Hairpin { .. }
            | NewMark::Tempo(_)
            | NewMark::Metronome { .. }
            | NewMark::Expression(_)
            | NewMark::Text(_)
            | NewMark::Fermata
    );
    let fits = |n: &NoteId| {
        let note = &part.notes[*n];
        note.offset == offset
            && note.grace == 0
            && !note.chord
            && !(needs_note && note.is_rest())
            && mark.staff.is_none_or(|s| s == note.staff)
    };
    if let Some(note) = own.notes.clone().filter(fits).min_by_key(|n| (part.notes[*n].is_rest(), *n)) {
        return Ok(Anchor { place: there, note: Some(note) });
    }
    // A hairpin may end between notes or with the bar.
    if end == End::Last && matches!(kind, NewMark::Hairpin { .. }) && offset >= Time::from(0) && offset <= own.length {
        return Ok(Anchor { place: there, note: None });
    }
    let here = format!("{}:{}", own.number, beat_text(place.beat));
    Err(wrong(format!("no note starts at {here}; the nearest are {}", nearest(part, there))))
}

/// The places of the notes before and after a place.
fn nearest(part: &Part, place: Place) -> String {
    let time = part.time(place);
    let notes: Vec<NoteId> = (0..part.notes.len())
        .filter(|n| part.notes[*n].grace == 0 && !part.notes[*n].is_rest() && !part.notes[*n].chord)
        .collect();
    let told = |n: NoteId| {
        let note = &part.notes[n];
        let name = note.pitch().map_or("a stroke".to_string(), |p| p.to_string());
        let beat = beat_text(part.beat(note.place()));
        format!("{name} at {}:{beat}", part.bars[note.bar].number)
    };
    let before = notes.iter().filter(|n| part.onset(**n) < time).max_by_key(|n| part.onset(**n));
    let after = notes.iter().filter(|n| part.onset(**n) > time).min_by_key(|n| (part.onset(**n), **n));
    let both: Vec<String> = before.into_iter().chain(after).map(|n| told(*n)).collect();
    if both.is_empty() { "none: the part has no notes".into() } else { both.join(" and ") }
}

/// Marks lifted from a marked copy, and what could not be.
#[derive(Debug, Default)]
pub struct Lifted {
    /// The marks.
    pub sheet: Sheet,
    /// What is no mark that a sheet can hold, in words.
    pub warnings: Vec<String>,
}

/// The teacher's own marks: what the marked copy has and its base has not.
/// `parts` pairs each part's findings with the copy's part.
pub fn lift(copy: &Score, parts: &[(usize, &PartFindings)]) -> Lifted {
    let mut out = Lifted::default();
    out.sheet.title = copy.title.clone();
    out.sheet.made_for = parts.first().map(|(first, _)| MadeFor::of(&copy.parts[*first]));
    for (index, found) in parts {
        let part = &copy.parts[*index];
        let others = found.findings.iter().filter(|f| f.category.is_of_notes()).count();
        if others > 0 {
            out.warnings.push(format!(
                "part {}: {others} notes differ from the base; they were ignored, because a mark sheet holds only marks",
                part.spoken()
            ));
        }
        for finding in found.findings.iter().filter(|f| !f.category.is_of_notes()) {
            let lifted = lift_one(part, finding, &mut out.warnings);
            out.sheet
                .marks
                .extend(lifted.map(|mark| SheetMark { part: (*index > 0).then(|| part.id.clone()), ..mark }));
        }
    }
    out
}

fn lift_one(part: &Part, finding: &Finding, warnings: &mut Vec<String>) -> Option<SheetMark> {
    let number = |p: Anchor| part.bars[p.bar].number.as_str();
    let Subject::Mark { edition: Some(mark), .. } = finding.subject else {
        if finding.status == Status::Omitted {
            let reading = finding.source_reading.as_deref().unwrap_or("");
            warnings.push(format!(
                "part {}, bar {}: the copy lacks the base's {} {reading}; a mark sheet cannot take marks out",
                part.spoken(),
                part.bars[finding.at.bar].number,
                finding.category
            ));
        }
        return None;
    };
    let mark = &part.marks[mark.index()];
    let lifted = sheet_mark(part, mark);
    if lifted.is_none() {
        warnings.push(format!(
            "part {}, bar {}: a mark sheet has no key for the {} {}",
            part.spoken(),
            number(mark.at),
            mark.category,
            mark.reading()
        ));
    }
    lifted
}

/// The entry for a mark, if a sheet can hold its kind.
fn sheet_mark(part: &Part, mark: &Mark) -> Option<SheetMark> {
    let place = |p: Anchor| format!("{}:{}", part.bars[p.bar].number, beat_text(part.beat(p.place)));
    let mut out = SheetMark::default();
    match mark.end.filter(|_| matches!(mark.category, Category::Hairpin | Category::Slur)) {
        Some(end) => (out.from, out.to) = (Some(place(mark.at)), Some(place(end))),
        None => out.at = Some(place(mark.at)),
    }
    out.staff = (part.staves > 1 && mark.staff > 1).then_some(mark.staff);
    let reading = mark.reading().into_owned();
    match (mark.category, mark.sign.name()) {
        (Category::Dynamics, _) => out.dynamics = Some(reading),
        (Category::Hairpin, kind @ ("crescendo" | "diminuendo")) if out.from.is_some() => {
            out.hairpin = Some(kind.into());
        }
        (Category::Slur, _) if out.from.is_some() => out.slur = Some(true),
        (Category::Articulation, kind) if articulations().contains(&kind) => out.articulation = Some(kind.into()),
        (Category::Ornament, kind) if ornaments().contains(&kind) => out.ornament = Some(kind.into()),
        (Category::Breath, "breath-mark") => out.breath = Some(true),
        (Category::Fermata, _) => out.fermata = Some(true),
        (Category::Fingering, "fingering") => out.fingering = Some(reading),
        (Category::Tempo, "metronome") => out.metronome = Some(reading),
        (Category::Tempo, "words") => out.tempo = Some(reading),
        (Category::Expression, "words") => out.expression = Some(reading),
        // Words of other categories are laid on as a text, and are read as what they say.
        (_, "words") => out.text = Some(reading),
        _ => return None,
    }
    // What a sheet would not bring back the same (a metronome of another form,
    // a fermata of another shape) is not lifted.
    let anchor = Anchor { place: Place::start_of(0), note: None };
    let again = out.kind().ok().map(|kind| expected_line(&kind, anchor, None));
    again
        .is_some_and(|line| line.category == mark.category && line.meaning == mark.meaning(Interval::UNISON))
        .then_some(out)
}
