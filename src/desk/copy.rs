//! The copy as it now stands: made by `clean`, read back, in lines that are drawn one by one.

use super::commands::{self, From};
use super::opened::Shapes;
use super::range::InRange;
use super::settings::Settings;
use crate::beside::{Thing, named_part};
use crate::clean::{self, Sheet, SheetMark};
use crate::engrave::{Job, Strip, engrave};
use crate::instrument::{Instrument, Instruments};
use crate::musicxml::beside::{Brackets, is_flanked};
use crate::report::{DrawnThing, Lies, drawn_alone};
use crate::score::{Anchor, Mark, NoteId, Part, Place, Score};
use crate::time::beat_text;
use crate::{Input, ReadScore};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use tempfile::TempDir;

/// A copy with what is known of it.
pub struct Copy {
    /// Where its file lies, as long as this lives.
    folder: TempDir,
    /// What `clean` said of it.
    pub told: Value,
    pub remarks: Vec<String>,
    /// The sheet of its own marks with the bars of this copy.
    pub sheet: Sheet,
    /// Whose range counts.
    instrument: Option<Instrument>,
    /// Which part goes to other octaves.
    part: usize,
    /// The marks of the sheet that it lacks, since they stand on none of its notes, and what `clean` says of each.
    pub lost: Vec<(usize, String)>,
}

/// The name of the copy in its folder; what is handed out has the same.
const FILE: &str = "clean.musicxml";

/// What a copy is made from.
pub struct Wanted {
    pub settings: Settings,
    /// The texts of both files, where there are any.
    pub decisions: Option<String>,
    pub marks: Option<String>,
    /// Where marks go that name no part.
    pub part: usize,
}

impl Wanted {
    /// Makes the copy. Marks that stand on none of its notes are left out.
    ///
    /// # Errors
    /// What `clean` says of its fault.
    pub async fn make(&self) -> Result<Copy, String> {
        let fault = match self.make_of(self.marks.as_deref()).await {
            Ok(copy) => return Ok(copy),
            Err(fault) => fault,
        };
        let Some(marks) = &self.marks else { return Err(fault) };
        let sheet = Sheet::parse(marks).map_err(|fault| fault.to_string())?;
        let plain = self.make_of(None).await?;
        let lost = with_score(plain.folder.path(), |_, score| Ok(clean::without_place(&sheet, score, self.part)))?;
        if lost.is_empty() {
            return Err(fault);
        }
        let lost: Vec<(usize, String)> = lost.into_iter().map(|(place, why)| (place, why.to_string())).collect();
        let is_lost = |place: usize| lost.iter().any(|lost| lost.0 == place);
        let stays = |(place, mark): (usize, &SheetMark)| (!is_lost(place)).then(|| mark.clone());
        let placed = Sheet { marks: sheet.marks.iter().enumerate().filter_map(stays).collect(), ..sheet.clone() };
        let copy = self.make_of(Some(&placed.to_toml())).await?;
        let sheet = with_score(copy.folder.path(), |_, score| Ok(clean::sheet_on(&sheet, score, self.part)))?;
        Ok(Copy { sheet, lost, ..copy })
    }

    /// Makes the copy with the marks of a sheet, as it is.
    async fn make_of(&self, marks: Option<&str>) -> Result<Copy, String> {
        let Some([edition, source]) = self.settings.files() else {
            return Err("choose an edition and a source first".into());
        };
        let folder = tempfile::Builder::new().prefix("obelus-").tempdir().map_err(|fault| fault.to_string())?;
        // Under the names that they have in the desk's folder: the copy says what it was made from.
        let file = |name: &str, text: Option<&str>| match text {
            Some(text) => {
                let path = folder.path().join(name);
                std::fs::write(&path, text).map(|()| Some(path)).map_err(|fault| fault.to_string())
            }
            None => Ok(None),
        };
        let from = From {
            edition,
            source,
            decisions: file(super::folder::Held::Decisions.file(), self.decisions.as_deref())?,
            marks: file(super::folder::Held::Marks.file(), marks)?,
        };
        let options =
            [self.settings.lines.options(), self.settings.player.options(), vec!["--format=json".into()]].concat();
        // The user knows the files of the desk by their names alone.
        let own = format!("{}{}", folder.path().display(), std::path::MAIN_SEPARATOR);
        let said = commands::run(from.clean(&folder.path().join(FILE), &options)).await;
        let said = said.map_err(|fault| fault.replace(&own, ""))?;
        let told = serde_json::from_str(&said.text).map_err(|fault| fault.to_string())?;
        let sheet = Sheet::parse(marks.unwrap_or_default()).map_err(|fault| fault.to_string())?;
        let sheet = with_score(folder.path(), |_, score| Ok(clean::sheet_on(&sheet, score, self.part)))?;
        let player = &self.settings.player;
        let named = player.instrument.as_ref().or(player.written_for.as_ref());
        let instrument = named.and_then(|name| Instruments::standard().find(name).ok().cloned());
        Ok(Copy { folder, told, remarks: said.remarks, sheet, lost: Vec::new(), instrument, part: self.part })
    }
}

/// Reads the copy in a folder.
fn with_score<T>(folder: &Path, then: impl FnOnce(&crate::Tree, &Score) -> Result<T, String>) -> Result<T, String> {
    let input = Input::open(folder.join(FILE)).map_err(|fault| fault.to_string())?;
    let read = ReadScore::of(&input).map_err(|fault| fault.to_string())?;
    then(read.tree(), read.score())
}

/// A part of the copy in lines.
#[derive(Debug, Clone, Serialize)]
pub struct PartInLines {
    pub id: String,
    pub name: String,
    /// Where its marks go that name no part.
    pub is_first: bool,
    pub lines: Vec<LineOfPart>,
}

/// A line on the page, named by what it holds.
#[derive(Debug, Clone, Serialize)]
pub struct LineOfPart {
    pub key: String,
    /// Its first and its last bar.
    pub bars: [usize; 2],
    #[serde(skip)]
    pub strip: Strip,
    /// Which system of the strip it is: what goes over its ends is drawn with the lines around it.
    #[serde(skip)]
    pub shown: usize,
    #[serde(skip)]
    pub things: Vec<DrawnThing>,
}

/// In tenths of a millimetre: what an onset takes, and a bar beside its notes.
const ONSET: f64 = 52.0;
const BAR: f64 = 80.0;
/// Clef, key and time.
const HEAD: f64 = 220.0;

impl Copy {
    /// A mark as it is laid on this copy: a fingering says for which note it is.
    pub fn noted(&self, mark: &SheetMark, part: usize) -> SheetMark {
        with_score(self.folder.path(), |_, score| Ok(clean::for_its_note(mark, score, part))).unwrap_or(mark.clone())
    }

    /// What `clean` says of losses, and did not say of another copy.
    pub fn losses_since(&self, other: Option<&Copy>) -> Vec<String> {
        let all = |copy: &Copy| -> Vec<String> {
            let told = copy.told["warnings"].as_array().into_iter().flatten().filter_map(Value::as_str);
            told.filter(|told| clean::tells_of_loss(told)).map(String::from).collect()
        };
        let known = other.map(all).unwrap_or_default();
        let new = all(self).into_iter().filter(|told| !known.contains(told));
        new.map(|told| format!("{}{}.", told[..1].to_uppercase(), &told[1..])).collect()
    }

    /// The marks that it lacks.
    pub fn lost(&self) -> Vec<SheetMark> {
        self.lost.iter().map(|(place, _)| self.sheet.marks[*place].clone()).collect()
    }

    pub fn path(&self) -> std::path::PathBuf {
        self.folder.path().join(FILE)
    }

    /// How a part lies on the instrument, where one is chosen.
    fn in_range(&self, score: &Score, place: usize) -> Option<InRange> {
        let changes = self.told.get("octave_changes").filter(|_| place == self.part);
        let changes = changes.and_then(|c| Deserialize::deserialize(c).ok()).unwrap_or_default();
        Some(InRange::new(score.printed().get(place)?, self.instrument.as_ref()?, changes))
    }

    /// What leaves the range of the instrument in some parts, and what was done about it. `None` where none is chosen.
    ///
    /// # Errors
    /// Where it cannot be read any more.
    pub fn range(&self, wanted: &[usize]) -> Result<Option<Vec<Value>>, String> {
        if self.instrument.is_none() {
            return Ok(None);
        }
        with_score(self.folder.path(), |_, score| {
            let told = |place: &usize| {
                let part = score.printed().get(*place)?;
                let mut told = self.in_range(score, *place)?.told(part);
                told["name"] = part.spoken().into();
                Some(told)
            };
            Ok(Some(wanted.iter().filter_map(told).collect()))
        })
    }

    /// Its parts in lines of a width, in tenths of a millimetre at the usual size of staves.
    ///
    /// # Errors
    /// Where it cannot be read any more.
    pub fn in_lines(&self, width: u32, wanted: &BTreeSet<usize>, first: usize) -> Result<Vec<PartInLines>, String> {
        with_score(self.folder.path(), |tree, score| {
            let own = clean::found_on(&self.sheet, score, first);
            let printed = score.printed();
            let shows_apart = clean::brackets(tree) == Brackets::Drawn;
            let shown = (0..printed.len()).filter(|p| wanted.contains(p));
            Ok(shown
                .map(|place| {
                    let part = &printed[place];
                    let lines = lines(part, f64::from(width) - HEAD);
                    let around = around(part, &lines);
                    let stretches: Vec<&[(usize, usize)]> =
                        around.iter().map(|(from, to)| &lines[*from..=*to]).collect();
                    let named = named_part(tree, part, &stretches);
                    let own: BTreeMap<usize, usize> = own
                        .iter()
                        .enumerate()
                        .filter_map(|(sheet, found)| found.filter(|f| f.0 == place).map(|f| (f.1, sheet)))
                        .collect();
                    let range = self.in_range(score, place).unwrap_or_default();
                    let things: Vec<DrawnThing> = named
                        .things
                        .iter()
                        .map(|(name, thing)| {
                            let is_apart = shows_apart
                                && matches!(thing, Thing::Mark(mark) if is_flanked(tree, &part.marks[*mark]));
                            let told = told(part, *thing, &own, &range);
                            let about = told.about.clone() + if is_apart { ", set apart" } else { "" };
                            DrawnThing { name: *name, is_apart, about, ..told }
                        })
                        .collect();
                    let drawn = named.music.into_iter().enumerate().map(|(place, music)| {
                        let all = named.things.values().copied().zip(&things);
                        let strip = Strip { width: wide_enough(part, lines[place], width), music };
                        line(part, strip, place - around[place].0, lines[place], all)
                    });
                    PartInLines {
                        id: part.id.clone(),
                        name: part.spoken().into_owned(),
                        is_first: place == first,
                        lines: drawn.collect(),
                    }
                })
                .collect())
        })
    }
}

/// A line with the things of its bars.
fn line<'t>(
    part: &Part,
    strip: Strip,
    shown: usize,
    (first, last): (usize, usize),
    all: impl Iterator<Item = (Thing, &'t DrawnThing)>,
) -> LineOfPart {
    let is_here = |thing: &Thing| match thing {
        Thing::Note(note) => (first..=last).contains(&part.notes[*note].bar),
        Thing::Mark(mark) => {
            let Mark { at, end, .. } = &part.marks[*mark];
            at.place.bar <= last && end.map_or(at.place.bar, |e| e.place.bar) >= first
        }
    };
    let things: Vec<DrawnThing> = all.filter(|(thing, _)| is_here(thing)).map(|(_, told)| told.clone()).collect();
    let mut hash = blake3::Hasher::new();
    hash.update(strip.music.as_bytes());
    hash.update(&strip.width.to_le_bytes());
    hash.update(&shown.to_le_bytes());
    hash.update(&serde_json::to_vec(&things).expect("plain data"));
    LineOfPart { key: hash.finalize().to_hex()[..24].into(), bars: [first, last], strip, shown, things }
}

/// What a bar takes, in tenths of a millimetre.
fn room(part: &Part, bar: usize) -> f64 {
    let onsets: BTreeSet<_> =
        part.bars[bar].notes.clone().map(|n| (part.notes[n].offset, part.notes[n].grace)).collect();
    BAR + ONSET * onsets.len().max(1) as f64
}

/// A single bar may need more than a narrow page has: its picture is made smaller there.
fn wide_enough(part: &Part, (first, last): (usize, usize), width: u32) -> u32 {
    let needed = if first == last { HEAD + room(part, first) } else { 0.0 };
    width.max(needed.ceil() as u32)
}

/// Bars to a line, so that lines are about equally full.
fn lines(part: &Part, width: f64) -> Vec<(usize, usize)> {
    let all: Vec<f64> = (0..part.bars.len()).map(|bar| room(part, bar)).collect();
    let count = (all.iter().sum::<f64>() / width.max(1.0)).ceil().max(1.0);
    let goal = all.iter().sum::<f64>() / count;
    let mut out = Vec::new();
    let (mut first, mut filled) = (0, 0.0);
    for (bar, own) in all.iter().enumerate() {
        let is_nearer = (filled + own - goal).abs() > (goal - filled).abs();
        if bar > first && (is_nearer || filled + own > width) {
            out.push((first, bar - 1));
            (first, filled) = (bar, 0.0);
        }
        filled += own;
    }
    out.extend((!all.is_empty()).then(|| (first, all.len() - 1)));
    out
}

/// Lines that are drawn with another, at most, before it and after it.
const MOST_AROUND: usize = 6;

/// Of each line the first and the last that must be drawn with it: ties, slurs and hairpins go over its ends.
fn around(part: &Part, lines: &[(usize, usize)]) -> Vec<(usize, usize)> {
    let line_of = |bar: usize| lines.partition_point(|line| line.1 < bar).min(lines.len().saturating_sub(1));
    let mut out: Vec<(usize, usize)> = (0..lines.len()).map(|line| (line, line)).collect();
    let ties = part.notes.iter().filter_map(|note| Some((note.bar, part.notes[note.tied_to?].bar)));
    let spans = part.marks.iter().filter_map(|mark| Some((mark.at.place.bar, mark.end?.place.bar)));
    for (from, to) in ties.chain(spans) {
        let (from, to) = (line_of(from), line_of(to));
        for (line, ends) in out.iter_mut().enumerate().take(to + 1).skip(from) {
            ends.0 = ends.0.min(from).max(line.saturating_sub(MOST_AROUND));
            ends.1 = ends.1.max(to).min(line + MOST_AROUND);
        }
    }
    out
}

/// What a thing is for the page.
fn told(part: &Part, thing: Thing, own: &BTreeMap<usize, usize>, range: &InRange) -> DrawnThing {
    let place = |at: Place| format!("{}:{}", part.bars[at.bar].number, beat_text(part.beat(at)));
    let words = |at: Place| format!("bar {}, beat {}", part.bars[at.bar].number, beat_text(part.beat(at)));
    let base = |at: Place, staff: u32| DrawnThing { at: place(at), staff, ..DrawnThing::default() };
    match thing {
        Thing::Note(note) => {
            let own = &part.notes[note];
            let what = own.pitch().map_or_else(|| "rest".to_string(), |pitch| pitch.to_string());
            let lies = Lies { outside: range.is_outside(note), moved: range.moved(note) };
            DrawnThing {
                about: format!("{what}, {}{}", words(own.place()), lies.words()),
                lies,
                kind: if own.is_rest() { "rest" } else { "note" }.into(),
                is_main: is_main(part, note),
                ..base(own.place(), own.staff)
            }
        }
        Thing::Mark(mark) => {
            let there = &part.marks[mark];
            let Mark { category, at: Anchor { place: at, .. }, staff, .. } = there;
            DrawnThing {
                about: format!("{category}: {}, {}", there.reading(), words(*at)),
                kind: "mark".into(),
                own: own.get(&mark).copied(),
                ..base(*at, *staff)
            }
        }
    }
}

/// Whether marks can be laid on at a note: no grace note, the first of its chord.
fn is_main(part: &Part, note: NoteId) -> bool {
    let own = &part.notes[note];
    own.grace == 0 && !own.chord
}

/// Has lines drawn, in one process.
///
/// # Errors
/// Why there are none, in a sentence.
pub fn draw(lines: &[LineOfPart], shapes: &Shapes) -> Result<Vec<String>, String> {
    let strips = lines.iter().map(|line| line.strip.clone()).collect();
    let drawing = engrave(&Job::Strips(strips)).map_err(|fault| fault.to_string())?;
    let mut shapes = shapes.lock().expect("nobody panics with it");
    let one = |(line, pictures): (&LineOfPart, Vec<String>)| {
        drawn_alone(&pictures, line.shown, &line.things, &format!("l{}", line.key), &mut shapes)
            .ok_or_else(|| "the engraver's answer cannot be read".to_string())
    };
    lines.iter().zip(drawing.pictures).map(one).collect()
}
