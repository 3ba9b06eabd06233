//! What is so now: what is chosen, and the scores that are open.

use super::change::is_decided;
use super::copy::Wanted;
use super::fault::Fault;
use super::folder::{Folder, Held};
use super::opened::Pair;
use super::steps::{Chosen, Steps};
use super::words::in_words;
use crate::clean::{Decided, Decision};
use crate::engrave;
use serde_json::{Value, json};
use std::sync::Arc;

/// What is so now.
pub struct Now {
    pub version: u64,
    pub steps: Steps,
    /// Counts the pairs that were opened.
    pub number: u64,
    pub pair: Option<Arc<Pair>>,
    /// What the decisions come to.
    pub decided: Option<Decided>,
    /// Why there is no pair, or no decision.
    pub faults: Vec<String>,
    /// What another program has done, until the next step.
    pub news: Vec<String>,
}

impl Now {
    pub fn is_newest(&self, version: u64) -> Result<(), Fault> {
        if version == self.version {
            return Ok(());
        }
        Err(Fault::Stale("something has changed since this page was loaded; it shows the newest state now, and nothing else was done".into()))
    }

    /// Takes a step; gives what was done, in words.
    pub fn take(&mut self, chosen: Vec<Chosen>, what: String) -> Result<String, Fault> {
        self.steps.take(chosen, what.clone()).map_err(Fault::not_kept)?;
        Ok(what)
    }

    /// Opens both scores, where both are chosen.
    pub async fn open(&mut self) {
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
    pub async fn decide(&mut self) {
        let Some(pair) = self.pair.clone() else { return };
        self.faults.clear();
        let decided = pair.decided(self.steps.now().decisions.clone()).await;
        self.decided = match decided {
            Ok(decided) => Some(decided),
            Err(fault) => {
                let file = Held::Decisions.file();
                self.faults.push(format!("Your decisions ({file}) do not hold here; {fault} Until then all is open."));
                pair.decided(Default::default()).await.ok()
            }
        };
    }

    /// What a copy is made from, with some things changed.
    pub fn wanted(&self, chosen: &[Chosen]) -> Result<Wanted, Fault> {
        let mut wanted = self.wanted_now()?;
        for one in chosen {
            match one {
                Chosen::Settings(settings) => wanted.settings = (**settings).clone(),
                Chosen::Sheet(_) => wanted.marks = self.steps.text(one),
                Chosen::Decisions(_) => wanted.decisions = self.steps.text(one),
            }
        }
        Ok(wanted)
    }

    pub fn wanted_now(&self) -> Result<Wanted, Fault> {
        let pair = self.pair.as_ref().ok_or("no scores are open")?;
        let choices = self.steps.now();
        let [decisions, marks] = [Chosen::Decisions(choices.decisions.clone()), Chosen::Sheet(choices.sheet.clone())]
            .map(|c| self.steps.text(&c));
        let part = pair.opened.parts.first().copied().unwrap_or(0);
        Ok(Wanted { settings: choices.settings.clone(), decisions, marks, part })
    }

    pub fn told(&self, folder: &Folder) -> Value {
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
            "folder": folder.path().display().to_string(),
            "faults": self.faults,
            "news": self.news,
            "undo": undo,
            "redo": redo,
            "settings": choices.settings,
            "title": choices.sheet.title,
            "marks": choices.sheet.marks.iter().map(|mark| json!({
                "mark": mark, "about": in_words(mark),
            })).collect::<Vec<_>>(),
            "staves": engrave::IS_BUILT_IN,
            "how": engrave::HOW_TO_GET,
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
