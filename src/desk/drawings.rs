//! What was drawn: lines of the copy and their shapes, kept as long as there is room.

use super::copy::{LineOfPart, draw};
use super::fault::Fault;
use super::opened::{Pair, Shapes};
use crate::beside::ToDraw;
use crate::engrave;
use crate::report::out_of_line;
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::{BTreeMap, HashMap, VecDeque};
use std::sync::{Arc, Mutex};
use tokio::sync::Semaphore;

/// Engravers at work at once.
const ENGRAVERS: usize = 2;
/// Of so many times that lines were asked for, all are known.
const ASKED: usize = 3;
/// Bytes of drawings that are kept.
const DRAWINGS: usize = 64 << 20;

/// What was drawn, and who draws.
pub struct Drawings {
    /// The lines of the copy as they were last asked for: two views may ask at once.
    lines: Mutex<VecDeque<HashMap<String, LineOfPart>>>,
    /// Drawings by their names, and how many bytes they have.
    kept: Mutex<(HashMap<String, Arc<Drawn>>, usize)>,
    shapes: Shapes,
    /// Of each part its staves to decide on, by the pair that they are of, and their pieces as they were drawn.
    staves: tokio::sync::Mutex<BTreeMap<(u64, usize), Arc<ToDraw>>>,
    pieces: tokio::sync::Mutex<BTreeMap<(u64, usize, usize), Arc<Drawn>>>,
    engravers: Semaphore,
}

/// A drawing for a page without inline styles.
#[derive(Debug, Serialize)]
pub struct Drawn {
    markup: String,
    style: String,
}

impl Drawn {
    /// Of markup with styles in it.
    pub fn new(markup: &str) -> Drawn {
        let (markup, style) = out_of_line(markup);
        Drawn { markup, style }
    }
}

impl Default for Drawings {
    fn default() -> Drawings {
        Drawings {
            lines: Mutex::default(),
            kept: Mutex::default(),
            shapes: Shapes::default(),
            staves: Default::default(),
            pieces: Default::default(),
            engravers: Semaphore::new(ENGRAVERS),
        }
    }
}

/// # Errors
/// Where this build has no engraver.
fn built_in() -> Result<(), Fault> {
    match engrave::IS_BUILT_IN {
        true => Ok(()),
        false => Err(format!("this build cannot draw staves; {}", engrave::HOW_TO_GET).into()),
    }
}

impl Drawings {
    /// What is to be drawn of a part of a pair.
    ///
    /// # Errors
    /// Why there is nothing, in a sentence.
    async fn to_draw(&self, number: u64, pair: &Pair, part: usize) -> Result<Arc<ToDraw>, Fault> {
        built_in()?;
        if part >= pair.opened.audit.parts.len() {
            return Err("there is no such part".into());
        }
        let mut all = self.staves.lock().await;
        if let Some(known) = all.get(&(number, part)) {
            return Ok(known.clone());
        }
        let to_draw = Arc::new(pair.to_draw(part).await?);
        all.retain(|(of, _), _| *of == number);
        all.insert((number, part), to_draw.clone());
        Ok(to_draw)
    }

    /// In how many pieces a part of a pair is drawn.
    ///
    /// # Errors
    /// Why there are no staves, in a sentence.
    pub async fn pieces(&self, number: u64, pair: &Pair, part: usize) -> Result<usize, Fault> {
        Ok(self.to_draw(number, pair, part).await?.count())
    }

    /// A piece of the staves of a part, on which its findings are decided.
    ///
    /// # Errors
    /// Why there are none, in a sentence.
    pub async fn staves(&self, number: u64, pair: &Pair, part: usize, piece: usize) -> Result<Arc<Drawn>, Fault> {
        let own = self.to_draw(number, pair, part).await?.piece(piece).ok_or("there is no such piece")?;
        if let Some(drawn) = self.pieces.lock().await.get(&(number, part, piece)) {
            return Ok(drawn.clone());
        }
        let _turn = self.engravers.acquire().await.map_err(|fault| fault.to_string())?;
        let drawn = Arc::new(Drawn::new(&pair.staves(part, piece, own, self.shapes.clone()).await?));
        let mut all = self.pieces.lock().await;
        all.retain(|(of, ..), _| *of == number);
        all.insert((number, part, piece), drawn.clone());
        Ok(drawn)
    }

    /// From now on these lines can be asked for.
    pub fn know(&self, lines: impl Iterator<Item = LineOfPart>) {
        let mut known = self.lines.lock().expect("nobody panics with it");
        known.truncate(ASKED - 1);
        known.push_front(lines.map(|line| (line.key.clone(), line)).collect());
    }

    /// Lines, drawn, by their names.
    pub async fn drawn(&self, keys: Vec<String>) -> Result<BTreeMap<String, Arc<Drawn>>, Fault> {
        built_in()?;
        let mut out = BTreeMap::new();
        let mut missing = Vec::new();
        {
            let kept = self.kept.lock().expect("nobody panics with it");
            let lines = self.lines.lock().expect("nobody panics with it");
            for key in keys {
                match kept.0.get(&key) {
                    Some(drawn) => _ = out.insert(key, drawn.clone()),
                    None => missing.extend(lines.iter().find_map(|asked| asked.get(&key)).cloned()),
                }
            }
        }
        if missing.is_empty() {
            return Ok(out);
        }
        let _turn = self.engravers.acquire().await.map_err(|fault| fault.to_string())?;
        let keys: Vec<String> = missing.iter().map(|line| line.key.clone()).collect();
        let drawn = tokio::task::spawn_blocking({
            let shapes = self.shapes.clone();
            move || draw(&missing, &shapes)
        })
        .await
        .map_err(|fault| fault.to_string())??;
        let mut kept = self.kept.lock().expect("nobody panics with it");
        for (key, svg) in keys.into_iter().zip(drawn) {
            let drawn = Arc::new(Drawn::new(&svg));
            if kept.1 + svg.len() > DRAWINGS {
                *kept = Default::default();
            }
            kept.1 += svg.len();
            kept.0.insert(key.clone(), drawn.clone());
            out.insert(key, drawn);
        }
        Ok(out)
    }

    /// The shapes that came after so many, and how many there are.
    pub fn shapes(&self, from: [usize; 2]) -> Value {
        let shapes = self.shapes.lock().expect("nobody panics with it");
        json!({ "counts": shapes.counts(), "shapes": shapes.definitions_from(from) })
    }
}
