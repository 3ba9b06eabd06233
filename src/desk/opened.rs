//! An edition beside its source, opened: a thread of its own holds both, since what was read borrows from the files.

use crate::beside::{Staves, ToDraw};
use crate::clean::{Decided, Names};
use crate::comparison::ToDecide;
use crate::report::{Audit, Glyphs, phrases, verdict};
use crate::{Comparison, Decisions, Input, LineName, Lines, ReadScore, Tree};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, mpsc};
use tokio::sync::oneshot;

use super::settings::LineSettings;

/// What there is to decide.
pub struct Opened {
    pub audit: Audit,
    pub names: Vec<Names>,
    pub can_be_apart: Vec<Vec<bool>>,
    /// The places of the parts that are cleaned; marks that name no part go to the first.
    pub parts: Vec<usize>,
}

/// The shapes of all drawings of a desk.
pub type Shapes = Arc<Mutex<Glyphs>>;

/// What the thread is asked.
enum Ask {
    Decided(Decisions, oneshot::Sender<Result<Decided, String>>),
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
        std::thread::spawn(move || hold(&files, &lines, tell, &heard));
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
    let opened = Arc::new(Opened { audit, names, can_be_apart, parts: comparison.compared_parts() });
    // Whoever asked may have left.
    if tell.send(Ok(opened.clone())).is_err() {
        return;
    }
    for ask in asks {
        match ask {
            Ask::Decided(decisions, tell) => {
                let decided = comparison.decided(&decisions).map_err(|fault| fault.to_string());
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
