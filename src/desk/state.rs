//! The state of a desk: what is chosen, the scores that are open, the copy that follows from both.

use super::change::{Change, is_decided};
use super::copy::{Copy, LineOfPart, PartInLines, Wanted, draw};
use super::folder::{Folder, Held};
use super::opened::{Opened, Pair, Shapes};
use super::settings::{PlayerSettings, Settings};
use super::steps::{Chosen, Steps, Unreadable, Way};
use super::tabs::Tabs;
use crate::clean::{Decided, Decision};
use crate::engrave;
use crate::report::out_of_line;
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;
use tokio::sync::{Mutex, Semaphore};

/// Why something was not done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// The page does not show what is so now.
    Stale(String),
    /// It cannot be; in a sentence.
    Told(String),
}

impl<T: Into<String>> From<T> for Fault {
    fn from(told: T) -> Fault {
        Fault::Told(told.into())
    }
}

/// Engravers at work at once.
const ENGRAVERS: usize = 2;
/// Bytes of drawings that are kept.
const DRAWINGS: usize = 64 << 20;

pub struct Desk {
    pub folder: Folder,
    pub tabs: Arc<Tabs>,
    now: Mutex<Now>,
    /// The copy of a version, and its lines as they were last asked for.
    copy: Mutex<Option<(u64, Arc<Copy>)>>,
    lines: std::sync::Mutex<HashMap<String, LineOfPart>>,
    drawings: std::sync::Mutex<(HashMap<String, Arc<Drawn>>, usize)>,
    shapes: Shapes,
    /// Of each part its staves to decide on, by the pair that they are of.
    staves: Mutex<BTreeMap<(u64, usize), Arc<Drawn>>>,
    engravers: Semaphore,
}

struct Now {
    version: u64,
    steps: Steps,
    /// Counts the pairs that were opened.
    number: u64,
    pair: Option<Arc<Pair>>,
    /// What the decisions come to.
    decided: Option<Decided>,
    /// Why there is no pair, or no decision.
    faults: Vec<String>,
}

impl Desk {
    /// Takes up what a folder holds.
    ///
    /// # Errors
    /// Where one of its files cannot be read.
    pub async fn new(folder: Folder, settings: Settings, stays: bool) -> Result<Arc<Desk>, String> {
        let mut steps = Steps::read(folder.clone()).map_err(|fault| fault.to_string())?;
        let old = &steps.now().settings;
        let other = |new: &Option<std::path::PathBuf>, old: &Option<std::path::PathBuf>| {
            new.is_some() && old.is_some() && new != old
        };
        if other(&settings.edition, &old.edition) || other(&settings.source, &old.source) {
            return Err(format!(
                "{}: this folder holds the desk of other scores; name another with --folder",
                folder.path().display()
            ));
        }
        let instrument = settings.player.instrument.or(old.player.instrument.clone());
        let settings = Settings {
            edition: settings.edition.or(old.edition.clone()),
            source: settings.source.or(old.source.clone()),
            player: PlayerSettings { instrument, ..old.player.clone() },
            ..old.clone()
        };
        if settings != steps.now().settings && settings != Settings::default() {
            steps.begin_with(Chosen::Settings(settings)).map_err(|fault| fault.to_string())?;
        }
        // No page of another run shows what is so now.
        let version =
            std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(1, |t| t.as_millis() as u64);
        let now = Now { version, steps, number: 0, pair: None, decided: None, faults: Vec::new() };
        let desk = Arc::new(Desk {
            folder,
            tabs: Tabs::new(version, stays),
            now: Mutex::new(now),
            copy: Mutex::default(),
            lines: Default::default(),
            drawings: Default::default(),
            shapes: Default::default(),
            staves: Mutex::default(),
            engravers: Semaphore::new(ENGRAVERS),
        });
        let mut now = desk.now.lock().await;
        now.open().await;
        drop(now);
        Ok(desk)
    }

    /// What the page shows.
    pub async fn state(&self) -> Result<Value, Fault> {
        let mut now = self.now.lock().await;
        self.look(&mut now).await?;
        Ok(now.told(self))
    }

    /// What can be decided, which stays as it is as long as the scores are open.
    pub async fn pair(&self) -> Result<Value, Fault> {
        let now = self.now.lock().await;
        let pair = now.pair.as_ref().ok_or("no scores are open")?;
        let Opened { audit, can_be_apart, .. } = &*pair.opened;
        Ok(json!({
            "number": now.number,
            "audit": audit,
            "can_be_apart": can_be_apart,
            "summaries": pair.opened.summaries(),
            "passages": pair.opened.passages(),
            "bars": audit.parts.iter().map(|part| &part.bar_numbers).collect::<Vec<_>>(),
        }))
    }

    /// Changes something. `version` is what the page shows.
    pub async fn change(&self, version: u64, change: Change) -> Result<Value, Fault> {
        let mut now = self.now.lock().await;
        self.look(&mut now).await?;
        now.is_newest(version)?;
        let copy = self.copy.lock().await.clone().filter(|(of, _)| *of == now.version);
        let mut choices = now.steps.now().clone();
        if let (Some((_, copy)), Change::Mark { .. } | Change::ChangeMark { .. } | Change::RemoveMark { .. }) =
            (&copy, &change)
        {
            // The bars that the page shows are those of this copy.
            choices.sheet = copy.sheet.clone();
        }
        let opened = now.pair.as_ref().map(|pair| pair.opened.clone());
        let (chosen, what) = change.on(&choices, opened.as_deref())?;
        self.step(&mut now, chosen, |now, chosen| {
            now.steps
                .take(chosen, what.clone())
                .map(|()| what)
                .map_err(|fault| format!("this could not be kept: {fault}").into())
        })
        .await
    }

    /// Undoes or does again.
    pub async fn turn(&self, version: u64, way: Way) -> Result<Value, Fault> {
        let mut now = self.now.lock().await;
        self.look(&mut now).await?;
        now.is_newest(version)?;
        let Some(chosen) = now.steps.ahead(way).cloned() else {
            return Err(
                if way == Way::Back { "there is nothing to undo" } else { "there is nothing to do again" }.into()
            );
        };
        self.step(&mut now, chosen, |now, _| {
            let done = now.steps.turn(way).map_err(|fault| Fault::from(format!("this could not be kept: {fault}")))?;
            let done = done.unwrap_or_default();
            Ok(if way == Way::Back { format!("undone: {done}") } else { format!("done again: {done}") })
        })
        .await
    }

    /// Tries a step, takes it, and tells what is so then.
    async fn step(
        &self,
        now: &mut Now,
        chosen: Chosen,
        take: impl FnOnce(&mut Now, Chosen) -> Result<String, Fault>,
    ) -> Result<Value, Fault> {
        // A mark without a place and a key that cannot be are refused before anything is kept.
        let mut made = None;
        let mut reopens = false;
        match &chosen {
            Chosen::Sheet(_) => made = Some(now.wanted(&chosen)?.make().await?),
            Chosen::Settings(new) => {
                let old = &now.steps.now().settings;
                reopens = new.lines != old.lines || new.files() != old.files();
                if !reopens && new.player != old.player && now.pair.is_some() {
                    made = Some(now.wanted(&chosen)?.make().await?);
                }
            }
            Chosen::Decisions(decisions) => {
                let pair = now.pair.clone().ok_or("no scores are open")?;
                now.decided = Some(pair.decided(decisions.clone()).await?);
            }
        }
        let what = take(now, chosen)?;
        if reopens {
            now.open().await;
        }
        now.version += 1;
        if let Some(made) = made {
            *self.copy.lock().await = Some((now.version, Arc::new(made)));
        }
        self.tabs.tell(now.version);
        let mut told = now.told(self);
        told["done"] = what.into();
        Ok(told)
    }

    /// Takes up what another program has written.
    async fn look(&self, now: &mut Now) -> Result<(), Fault> {
        let old = now.steps.now().settings.clone();
        match now.steps.refresh() {
            Ok(false) => return Ok(()),
            Err(Unreadable { file, reason }) => {
                return Err(Fault::Told(format!("{file}: {reason}; put it right, then load this page again")));
            }
            Ok(true) => {}
        }
        let new = &now.steps.now().settings;
        if new.files() != old.files() || new.lines != old.lines {
            now.open().await;
        } else {
            now.decide().await;
        }
        now.version += 1;
        self.tabs.tell(now.version);
        Ok(())
    }

    /// An uploaded score for one side.
    pub async fn choose(&self, version: u64, side: Side, name: &str, bytes: &[u8]) -> Result<Value, Fault> {
        // What is no score is told before it is kept.
        let input = crate::Input::from_bytes(name, bytes.to_vec()).map_err(|fault| fault.to_string())?;
        crate::ReadScore::of(&input).map_err(|fault| fault.to_string())?;
        let mut now = self.now.lock().await;
        now.is_newest(version)?;
        let path = self.folder.keep(name, bytes).map_err(|fault| format!("the score could not be kept: {fault}"))?;
        let old = now.steps.now().settings.clone();
        let new = match side {
            Side::Edition => Settings { edition: Some(path), ..old },
            Side::Source => Settings { source: Some(path), ..old },
        };
        let what = format!("choose the {}", side.name());
        self.step(&mut now, Chosen::Settings(new), |now, chosen| {
            now.steps
                .take(chosen, what.clone())
                .map(|()| what)
                .map_err(|fault| format!("this could not be kept: {fault}").into())
        })
        .await
    }

    /// The staves of a part on which its findings are decided.
    pub async fn staves(&self, part: usize) -> Result<Arc<Drawn>, Fault> {
        let (number, pair) = {
            let now = self.now.lock().await;
            (now.number, now.pair.clone().ok_or("no scores are open")?)
        };
        if part >= pair.opened.audit.parts.len() {
            return Err("there is no such part".into());
        }
        if !engrave::IS_BUILT_IN {
            return Err(format!("this build cannot draw staves; {}", engrave::HOW_TO_GET).into());
        }
        if let Some(drawn) = self.staves.lock().await.get(&(number, part)) {
            return Ok(drawn.clone());
        }
        let _turn = self.engravers.acquire().await.map_err(|fault| fault.to_string())?;
        let drawn = Arc::new(Drawn::new(&pair.staves(part, self.shapes.clone()).await?));
        let mut all = self.staves.lock().await;
        all.retain(|(of, _), _| *of == number);
        all.insert((number, part), drawn.clone());
        Ok(drawn)
    }

    /// The copy that follows from what is chosen, made where it is not there yet.
    pub async fn copy(&self) -> Result<(u64, Arc<Copy>, Arc<Opened>), Fault> {
        let (version, wanted, opened) = {
            let now = self.now.lock().await;
            (now.version, now.wanted_now()?, now.pair.as_ref().ok_or("no scores are open")?.opened.clone())
        };
        let mut kept = self.copy.lock().await;
        if let Some((of, copy)) = kept.as_ref().filter(|(of, _)| *of >= version) {
            return Ok((*of, copy.clone(), opened));
        }
        let copy = Arc::new(wanted.make().await?);
        *kept = Some((version, copy.clone()));
        Ok((version, copy, opened))
    }

    /// The copy in its own key and without marks, to be tried in other keys.
    pub async fn plain_copy(&self) -> Result<(Copy, Settings), Fault> {
        let wanted = {
            let now = self.now.lock().await;
            let mut wanted = now.wanted_now()?;
            wanted.marks = None;
            let instrument = wanted.settings.player.instrument.clone();
            wanted.settings.player = PlayerSettings { instrument, ..PlayerSettings::default() };
            wanted
        };
        Ok((wanted.make().await?, wanted.settings))
    }

    /// What is chosen, for a command.
    pub async fn wanted(&self) -> Result<Wanted, Fault> {
        self.now.lock().await.wanted_now()
    }

    /// The copy's parts in lines of a width.
    pub async fn lines(&self, width: u32) -> Result<Value, Fault> {
        let (version, copy, opened) = self.copy().await?;
        let shown: BTreeSet<usize> = opened.parts.iter().copied().collect();
        let first = opened.parts.first().copied().unwrap_or(0);
        let worked = copy.clone();
        let parts: Vec<PartInLines> = tokio::task::spawn_blocking(move || worked.in_lines(width, &shown, first))
            .await
            .map_err(|fault| fault.to_string())??;
        let told = json!({ "version": version, "parts": parts, "told": copy.told, "remarks": copy.remarks });
        let mut lines = self.lines.lock().expect("nobody panics with it");
        lines.clear();
        lines.extend(parts.into_iter().flat_map(|part| part.lines).map(|line| (line.key.clone(), line)));
        Ok(told)
    }

    /// Lines, drawn, by their names.
    pub async fn drawn(&self, keys: Vec<String>) -> Result<BTreeMap<String, Arc<Drawn>>, Fault> {
        if !engrave::IS_BUILT_IN {
            return Err(format!("this build cannot draw staves; {}", engrave::HOW_TO_GET).into());
        }
        let mut out = BTreeMap::new();
        let mut missing = Vec::new();
        {
            let kept = self.drawings.lock().expect("nobody panics with it");
            let lines = self.lines.lock().expect("nobody panics with it");
            for key in keys {
                match kept.0.get(&key) {
                    Some(drawn) => _ = out.insert(key, drawn.clone()),
                    None => missing.extend(lines.get(&key).cloned()),
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
        let mut kept = self.drawings.lock().expect("nobody panics with it");
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
}

impl Desk {
    /// The shapes that came after so many, and how many there are.
    pub fn shapes(&self, from: [usize; 2]) -> Value {
        let shapes = self.shapes.lock().expect("nobody panics with it");
        json!({ "counts": shapes.counts(), "shapes": shapes.definitions_from(from) })
    }
}

/// A drawing for a page without inline styles.
#[derive(Debug, Serialize)]
pub struct Drawn {
    markup: String,
    style: String,
}

impl Drawn {
    fn new(markup: &str) -> Drawn {
        let (markup, style) = out_of_line(markup);
        Drawn { markup, style }
    }
}

/// Which of the two scores.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    Edition,
    Source,
}

impl Side {
    fn name(self) -> &'static str {
        match self {
            Side::Edition => "edition",
            Side::Source => "source",
        }
    }
}

impl Now {
    fn is_newest(&self, version: u64) -> Result<(), Fault> {
        if version == self.version {
            return Ok(());
        }
        Err(Fault::Stale("something has changed since this page was loaded; it shows the newest state now, and nothing else was done".into()))
    }

    /// Opens both scores, where both are chosen.
    async fn open(&mut self) {
        (self.pair, self.decided, self.faults) = Default::default();
        self.number += 1;
        let settings = self.steps.now().settings.clone();
        let Some(files) = settings.files() else { return };
        match Pair::open(files.map(Into::into), settings.lines).await {
            Ok(pair) => {
                self.steps.set_names(pair.opened.order());
                self.pair = Some(Arc::new(pair));
                self.decide().await;
            }
            Err(fault) => self.faults = vec![fault],
        }
    }

    /// Finds out what the decisions come to.
    async fn decide(&mut self) {
        let Some(pair) = self.pair.clone() else { return };
        self.faults.clear();
        let decided = pair.decided(self.steps.now().decisions.clone()).await;
        self.decided = match decided {
            Ok(decided) => Some(decided),
            Err(fault) => {
                self.faults.push(format!("{}: {fault}", Held::Decisions.file()));
                pair.decided(Default::default()).await.ok()
            }
        };
    }

    /// What a copy is made from, with one thing changed.
    fn wanted(&self, chosen: &Chosen) -> Result<Wanted, Fault> {
        let mut wanted = self.wanted_now()?;
        match chosen {
            Chosen::Settings(settings) => wanted.settings = settings.clone(),
            Chosen::Sheet(_) => wanted.marks = self.steps.text(chosen),
            Chosen::Decisions(_) => wanted.decisions = self.steps.text(chosen),
        }
        Ok(wanted)
    }

    fn wanted_now(&self) -> Result<Wanted, Fault> {
        let pair = self.pair.as_ref().ok_or("no scores are open")?;
        let choices = self.steps.now();
        let [decisions, marks] = [Chosen::Decisions(choices.decisions.clone()), Chosen::Sheet(choices.sheet.clone())]
            .map(|c| self.steps.text(&c));
        let part = pair.opened.parts.first().copied().unwrap_or(0);
        Ok(Wanted { settings: choices.settings.clone(), decisions, marks, part })
    }

    fn told(&self, desk: &Desk) -> Value {
        let choices = self.steps.now();
        let [undo, redo] = self.steps.ways();
        let name = |path: &Option<std::path::PathBuf>| {
            path.as_ref().and_then(|p| p.file_name()).map(|name| name.to_string_lossy().into_owned())
        };
        let mut told = json!({
            "version": self.version,
            "pair": self.pair.as_ref().map(|_| self.number),
            "edition": name(&choices.settings.edition),
            "source": name(&choices.settings.source),
            "folder": desk.folder.path().display().to_string(),
            "faults": self.faults,
            "undo": undo,
            "redo": redo,
            "settings": choices.settings,
            "title": choices.sheet.title,
            "marks": choices.sheet.marks.iter().map(|mark| json!({
                "mark": mark, "about": mark.to_string().trim_start_matches("the mark "),
            })).collect::<Vec<_>>(),
            "staves": engrave::IS_BUILT_IN,
        });
        if let (Some(pair), Some(decided)) = (&self.pair, &self.decided) {
            let opened = &*pair.opened;
            let is_ours = |p: usize, f: usize| is_decided(opened, &choices.decisions, p, f);
            let all: Vec<Vec<Value>> = (decided.findings.iter().enumerate())
                .map(|(p, part)| part.iter().enumerate().map(|(f, d)| json!([word(*d), is_ours(p, f)])).collect())
                .collect();
            let open = all.iter().flatten().filter(|one| one[1] == false).count();
            let passages: Vec<Vec<Value>> = (opened.names.iter())
                .map(|names| {
                    names
                        .passages
                        .iter()
                        .map(|name| json!(choices.decisions.passages.get(name).map(|d| word(*d))))
                        .collect()
                })
                .collect();
            told["decisions"] = json!(all);
            told["passages"] = json!(passages);
            told["open"] = json!(open);
            told["remarks"] = json!(decided.warnings);
        }
        told
    }
}

/// As the page says it.
fn word(decision: Decision) -> &'static str {
    match decision {
        Decision::Out => "out",
        Decision::Keep => "keep",
        Decision::Bracket => "apart",
    }
}
