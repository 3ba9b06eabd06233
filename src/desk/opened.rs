//! An edition beside its source, opened: a thread of its own holds both, since what was read borrows from the files.

use crate::beside::{Staves, ToDraw};
use crate::clean::{Carried, Decided, DecisionError, Names, PlainCopy, SheetMark};
use crate::comparison::{Otherwise, ToDecide};
use crate::report::{Audit, Glyphs, phrases, verdict};
use crate::score::{Line, Part};
use crate::{Comparison, Decisions, Failure, Input, LineName, Lines, ReadScore, Sheet, Tree};
use serde::Serialize;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, mpsc};
use tokio::sync::oneshot;

use super::settings::LineSettings;

/// What there is to decide.
pub struct Opened {
    pub audit: Audit,
    pub names: Vec<Names>,
    pub can_be_apart: Vec<Vec<bool>>,
    /// What can be named on each side: of the edition, and of the source.
    pub lines: [Vec<PartOfLines>; 2],
    /// The places of the parts that are cleaned; marks that name no part go to the first.
    pub parts: Vec<usize>,
}

/// A part with the staves and voices that can be compared by themselves.
#[derive(Debug, Serialize)]
pub struct PartOfLines {
    id: String,
    name: String,
    staves: u32,
    /// Of all staves together, then of each staff.
    voices: Vec<Vec<u32>>,
}

impl PartOfLines {
    fn new(part: &Part) -> PartOfLines {
        let has = |line: Line| part.notes.iter().any(|note| !note.is_rest() && line.holds(part, note));
        let voices = |staff: Option<u32>| {
            let mut all = part.voices.clone();
            all.retain(|voice| has(Line { staff, voice: Some(*voice) }));
            all.sort_unstable();
            all
        };
        let staves = if part.staves > 1 { part.staves } else { 0 };
        let voices = std::iter::once(None).chain((1..=staves).map(Some)).map(voices).collect();
        PartOfLines { id: part.id.clone(), name: part.name.clone(), staves: part.staves, voices }
    }
}

/// The shapes of all drawings of a desk.
pub type Shapes = Arc<Mutex<Glyphs>>;

/// A bar of the edition: its place and its number.
type EditionBar = (usize, String);

/// What the thread is asked.
enum Ask {
    Decided(Decisions, oneshot::Sender<Result<Decided, String>>),
    Carried(Sheet, [Decisions; 2], oneshot::Sender<Result<Carried, String>>),
    Otherwise(Decisions, oneshot::Sender<Result<Vec<Otherwise>, String>>),
    EditionBars(Sheet, Decisions, oneshot::Sender<Result<Vec<Option<EditionBar>>, String>>),
    ToDraw(usize, oneshot::Sender<Result<ToDraw, String>>),
    Compass(usize, oneshot::Sender<Result<String, String>>),
    Compose((usize, usize), Staves, Shapes, oneshot::Sender<Result<String, String>>),
}

/// The thread of a pair; it ends when this is dropped.
pub struct Pair {
    pub opened: Arc<Opened>,
    asks: mpsc::Sender<Ask>,
}

impl Opened {
    /// All names, in order: of passages, and of findings.
    pub fn order(&self) -> [Vec<String>; 2] {
        let all = |names: fn(&Names) -> &Vec<String>| self.names.iter().flat_map(names).cloned().collect();
        [all(|n| &n.passages), all(|n| &n.findings)]
    }

    /// A sheet whose marks say which part they are in, where there are several.
    pub fn with_part(&self, sheet: &Sheet) -> Sheet {
        let printed = &self.lines[0];
        let first = self.parts.first().and_then(|first| printed.get(*first)).filter(|_| printed.len() > 1);
        let named = |mark: &SheetMark| SheetMark {
            part: mark.part.clone().or_else(|| first.map(|first| first.id.clone())),
            ..mark.clone()
        };
        Sheet { marks: sheet.marks.iter().map(named).collect(), ..sheet.clone() }
    }

    /// Of each part what was found, in words.
    pub fn summaries(&self) -> Vec<Vec<String>> {
        let of = |part| [vec![phrases::key_relation(part)], verdict::summary(part)].concat();
        self.audit.parts.iter().map(of).collect()
    }

    /// Of each part its passages, where and what.
    pub fn passages(&self) -> Vec<Vec<(String, String)>> {
        let of = |part: &crate::PartReport| part.passages.iter().map(|p| phrases::passage(p, None)).collect();
        self.audit.parts.iter().map(of).collect()
    }
}

impl Pair {
    /// Reads and compares both.
    ///
    /// # Errors
    /// As the commands say it, where a file cannot be read or a line is not there.
    pub async fn open(files: [PathBuf; 2], lines: LineSettings) -> Result<Pair, String> {
        let (asks, heard) = mpsc::channel();
        let (tell, told) = oneshot::channel();
        let holds = move || hold(&files, &lines, tell, &heard);
        std::thread::Builder::new().spawn(holds).map_err(|fault| format!("these scores cannot be held: {fault}"))?;
        let opened = told.await.unwrap_or_else(|_| Err("these scores could not be compared".into()))?;
        Ok(Pair { opened, asks })
    }

    async fn ask<T>(&self, ask: impl FnOnce(oneshot::Sender<Result<T, String>>) -> Ask) -> Result<T, String> {
        let (tell, told) = oneshot::channel();
        let gone = || "the scores were closed".to_string();
        self.asks.send(ask(tell)).map_err(|_| gone())?;
        told.await.map_err(|_| gone())?
    }

    /// What some decisions come to.
    ///
    /// # Errors
    /// Where they are none of these scores.
    pub async fn decided(&self, decisions: Decisions) -> Result<Decided, String> {
        self.ask(|tell| Ask::Decided(decisions, tell)).await
    }

    /// A sheet for the copy that follows from other decisions: each mark goes with its note.
    ///
    /// # Errors
    /// Where the decisions are none of these scores.
    pub async fn carried(&self, sheet: Sheet, from: Decisions, to: Decisions) -> Result<Carried, String> {
        self.ask(|tell| Ask::Carried(sheet, [from, to], tell)).await
    }

    /// What of some decisions cannot be so.
    ///
    /// # Errors
    /// Where they are none of these scores.
    pub async fn otherwise(&self, decisions: Decisions) -> Result<Vec<Otherwise>, String> {
        self.ask(|tell| Ask::Otherwise(decisions, tell)).await
    }

    /// Of each mark of a sheet the edition's bar that it stands in, its place and its number.
    ///
    /// # Errors
    /// Where the decisions are none of these scores.
    pub async fn edition_bars(&self, sheet: Sheet, decisions: Decisions) -> Result<Vec<Option<EditionBar>>, String> {
        self.ask(|tell| Ask::EditionBars(sheet, decisions, tell)).await
    }

    /// What is to be drawn of a part, with its findings named.
    ///
    /// # Errors
    /// Why there are no staves, in a sentence.
    pub async fn to_draw(&self, part: usize) -> Result<ToDraw, String> {
        self.ask(|tell| Ask::ToDraw(part, tell)).await
    }

    /// The compass of a part.
    ///
    /// # Errors
    /// Where the scores were closed.
    pub async fn compass(&self, part: usize) -> Result<String, String> {
        self.ask(|tell| Ask::Compass(part, tell)).await
    }

    /// A piece of a part, drawn, for the page.
    ///
    /// # Errors
    /// Why there is none, in a sentence.
    pub async fn staves(&self, part: usize, piece: usize, to_draw: ToDraw, shapes: Shapes) -> Result<String, String> {
        let drawn = tokio::task::spawn_blocking(move || to_draw.draw());
        let drawn = drawn.await.map_err(|fault| fault.to_string())??;
        self.ask(|tell| Ask::Compose((part, piece), drawn, shapes, tell)).await
    }
}

/// Holds a pair until nobody asks any more.
fn hold(
    files: &[PathBuf; 2],
    lines: &LineSettings,
    tell: oneshot::Sender<Result<Arc<Opened>, String>>,
    asks: &mpsc::Receiver<Ask>,
) {
    let inputs = match open(files) {
        Ok(inputs) => inputs,
        Err(fault) => {
            _ = tell.send(Err(fault));
            return;
        }
    };
    let comparison = match compare(&inputs, lines) {
        Ok(comparison) => comparison,
        Err(fault) => {
            _ = tell.send(Err(fault));
            return;
        }
    };
    let ToDecide { audit, names, can_be_apart } = comparison.to_decide();
    let parts = comparison.compared_parts();
    let lines = [comparison.edition().score(), comparison.source().score()]
        .map(|score| score.printed().iter().map(PartOfLines::new).collect());
    let opened = Arc::new(Opened { audit, names, can_be_apart, lines, parts });
    // Whoever asked may have left.
    if tell.send(Ok(opened.clone())).is_err() {
        return;
    }
    let mut plain = PlainCopies::default();
    let first = opened.parts.first().copied().unwrap_or(0);
    for ask in asks {
        match ask {
            Ask::Carried(sheet, decisions, tell) => {
                let copies = decisions.each_ref().map(|one| plain.of(&comparison, one));
                let carried = match copies {
                    [Ok(from), Ok(to)] => Ok(comparison.carried(&sheet, [&from.0, &to.0], first)),
                    [Err(fault), _] | [_, Err(fault)] => Err(fault),
                };
                _ = tell.send(carried);
            }
            Ask::Otherwise(decisions, tell) => {
                _ = tell.send(plain.of(&comparison, &decisions).map(|copy| copy.1.clone()));
            }
            Ask::EditionBars(sheet, decisions, tell) => {
                let copy = plain.of(&comparison, &decisions);
                _ = tell.send(copy.map(|copy| comparison.edition_bars(&sheet, &copy.0, first)));
            }
            Ask::Decided(decisions, tell) => {
                let decided = comparison.decided(&decisions).map_err(of_decisions);
                _ = tell.send(decided);
            }
            Ask::Compass(part, tell) => _ = tell.send(Ok(comparison.compass(part))),
            Ask::ToDraw(part, tell) => _ = tell.send(comparison.staves_to_decide(&opened.audit, part)),
            Ask::Compose(place, staves, shapes, tell) => {
                let mut shapes = shapes.lock().expect("nobody panics with it");
                _ = tell.send(comparison.drawn_to_decide(&opened.audit, place, &staves, &mut shapes));
            }
        }
    }
}

/// What is wrong with decisions, and what to do then.
fn of_decisions(fault: Failure) -> String {
    match fault {
        Failure::Decision(DecisionError::Strange(names)) => format!(
            "{} for other scores. Choose the scores that they were made for, or start the \
             desk with another --folder. To decide anew here, take the file out of the folder.",
            if names == 1 { "the one that is there was made".into() } else { format!("all {names} were made") }
        ),
        other => format!("{other}. Put that right in the file."),
    }
}

/// The last two copies without marks, by their decisions.
#[derive(Default)]
struct PlainCopies(Vec<(Decisions, Arc<Plain>)>);

/// A copy, and what of the decisions could not be so.
type Plain = (PlainCopy, Vec<Otherwise>);

impl PlainCopies {
    fn of(&mut self, comparison: &Comparison<Tree>, decisions: &Decisions) -> Result<Arc<Plain>, String> {
        if let Some((_, copy)) = self.0.iter().find(|(of, _)| of == decisions) {
            return Ok(copy.clone());
        }
        let copy = Arc::new(comparison.plain_copy(decisions).map_err(|fault| fault.to_string())?);
        self.0.truncate(1);
        self.0.insert(0, (decisions.clone(), copy.clone()));
        Ok(copy)
    }
}

fn open(files: &[PathBuf; 2]) -> Result<[Input; 2], String> {
    let open = |file: &PathBuf| Input::open(file).map_err(|fault| fault.to_string());
    Ok([open(&files[0])?, open(&files[1])?])
}

fn compare<'i>(inputs: &'i [Input; 2], lines: &LineSettings) -> Result<Comparison<Tree<'i>>, String> {
    let read = |input| ReadScore::of(input).map_err(|fault| fault.to_string());
    let (edition, source) = (read(&inputs[0])?, read(&inputs[1])?);
    let name = |part: &Option<String>, staff, voice| LineName { part: part.clone(), staff, voice };
    let lines = Lines {
        edition: name(&lines.part, lines.staff, lines.voice),
        source: name(&lines.source_part, lines.source_staff, lines.source_voice),
    };
    Comparison::new(edition, source, &lines).map_err(|fault| fault.to_string())
}
