//! The state of a desk: what is chosen, the scores that are open, the copy that follows from both.

use super::change::Change;
use super::copy::{Copy, PartInLines, Wanted};
use super::drawings::{Drawings, Drawn};
use super::fault::Fault;
use super::folder::Folder;
use super::now::Now;
use super::opened::{Opened, Pair};
use super::settings::{PlayerSettings, Settings};
use super::steps::{Chosen, Steps, Way};
use super::tabs::Tabs;
use super::words::{self, in_words};
use crate::clean::SheetMark;
use crate::readable::is_alike;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;
use tokio::sync::Mutex;

pub struct Desk {
    pub folder: Folder,
    pub tabs: Arc<Tabs>,
    now: Mutex<Now>,
    /// The copy of a version.
    copy: Mutex<Option<(u64, Arc<Copy>)>>,
    pub drawings: Drawings,
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
            let named =
                |path: &Option<std::path::PathBuf>| path.as_ref().map_or("…".into(), |p| p.display().to_string());
            return Err(format!(
                "{}: this folder holds the desk of other scores ({} beside {}); name another with --folder, or go on with \
                 those: obelus desk --folder {0}",
                folder.path().display(),
                named(&old.edition),
                named(&old.source),
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
            steps.begin_with(Chosen::Settings(Box::new(settings))).map_err(|fault| fault.to_string())?;
        }
        // No page of another run shows what is so now.
        let version =
            std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(1, |t| t.as_millis() as u64);
        let now = Now { version, steps, number: 0, pair: None, decided: None, faults: Vec::new(), news: Vec::new() };
        let desk = Arc::new(Desk {
            folder,
            tabs: Tabs::new(version, stays),
            now: Mutex::new(now),
            copy: Mutex::default(),
            drawings: Drawings::default(),
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
        Ok(now.told(&self.folder))
    }

    /// What can be decided, which stays as it is as long as the scores are open.
    pub async fn pair(&self) -> Result<Value, Fault> {
        let now = self.now.lock().await;
        let pair = now.pair.as_ref().ok_or("no scores are open")?;
        let Opened { audit, can_be_apart, lines, .. } = &*pair.opened;
        Ok(json!({
            "number": now.number,
            "audit": audit,
            "can_be_apart": can_be_apart,
            "lines": lines,
            "summaries": pair.opened.summaries(),
            "passages": pair.opened.passages(),
            "bars": audit.parts.iter().map(|part| &part.bar_numbers).collect::<Vec<_>>(),
        }))
    }

    /// What of the decisions cannot be so.
    pub async fn otherwise(&self) -> Result<Value, Fault> {
        let (version, pair, choices) = {
            let now = self.now.lock().await;
            (now.version, now.pair.clone().ok_or("no scores are open")?, now.steps.now().clone())
        };
        // The thread knows the copy then.
        let otherwise = pair.otherwise(choices.decisions.clone()).await?;
        let bars = pair.edition_bars(choices.sheet.clone(), choices.decisions).await?;
        let marks = choices.sheet.marks.iter().zip(bars);
        let marks = marks.map(|(mark, bar)| json!({ "about": in_words(mark), "bar": bar.map(|bar| bar.0) }));
        Ok(json!({ "version": version, "otherwise": otherwise, "marks": marks.collect::<Vec<_>>() }))
    }

    /// Changes something. `version` is what the page shows.
    pub async fn change(&self, version: u64, change: Change) -> Result<Value, Fault> {
        let mut now = self.now.lock().await;
        self.look(&mut now).await?;
        now.is_newest(version)?;
        let shown = self.copy.lock().await.clone().filter(|(of, _)| *of == now.version);
        let mut choices = now.steps.now().clone();
        if let (Some((_, copy)), Change::Mark { .. } | Change::EditMark { .. } | Change::RemoveMark { .. }) =
            (&shown, &change)
        {
            // The bars that the page shows are those of this copy.
            choices.sheet = copy.sheet.clone();
        }
        let opened = now.pair.as_ref().map(|pair| pair.opened.clone());
        let (mut change, asked) = (change.clone(), change);
        if let (Some((_, copy)), Change::Mark { mark } | Change::EditMark { mark, .. }) = (&shown, &mut change)
            && mark.fingering.is_some()
        {
            let part = opened.as_ref().and_then(|opened| opened.parts.first().copied());
            *mark = copy.noted(mark, part.unwrap_or(0));
        }
        let (chosen, what) = change.on(&choices, opened.as_deref())?;
        let mut gone = Vec::new();
        let mut all = vec![chosen];
        if let (Some(opened), Change::Lines { .. }) = (&opened, &asked) {
            // Which part comes first may change; the marks stay in theirs.
            let named = opened.with_part(&choices.sheet);
            all.extend((named != choices.sheet).then_some(Chosen::Sheet(named)));
        }
        if let (Some(pair), [Chosen::Decisions(new)], false) = (&now.pair, &all[..], choices.sheet.marks.is_empty()) {
            // Marks go with their notes; without a copy before there is nothing to go with.
            if let Ok(carried) = pair.carried(choices.sheet.clone(), choices.decisions.clone(), new.clone()).await {
                gone = carried.gone;
                all.extend((carried.sheet != choices.sheet).then_some(Chosen::Sheet(carried.sheet)));
            }
        }
        let copy = self.tried(&now, &all).await?;
        if let ([Chosen::Sheet(sheet)], Some(copy)) = (&all[..], &copy) {
            // A mark without a place is refused before anything is kept; one that had none before is only told.
            let is_new = |lost: &&(usize, String)| !choices.sheet.marks.contains(&sheet.marks[lost.0]);
            if let Some((_, why)) = copy.lost.iter().find(is_new) {
                return Err(why.clone().into());
            }
        }
        if let Some(Chosen::Decisions(new)) = all.first() {
            let pair = now.pair.clone().ok_or("no scores are open")?;
            pair.decided(new.clone()).await?;
        }
        let shown = shown.as_ref().map(|(_, copy)| &**copy);
        let losses = copy.as_ref().map(|copy| copy.losses_since(shown)).unwrap_or_default();
        let mut told = self.taken(&mut now, &all.clone(), copy, |now| now.take(all, what)).await?;
        told["gone"] = json!([words::gone(&gone).into_iter().collect(), losses].concat());
        Ok(told)
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
        // What was so before can be so again, whether a copy can be made of it or not.
        let copy = self.tried(&now, &chosen).await.unwrap_or_default();
        let told = self.taken(&mut now, &chosen, copy, |now| {
            let done = now.steps.turn(way).map_err(Fault::not_kept)?;
            let done = done.unwrap_or_default();
            Ok(if way == Way::Back { format!("undone: {done}") } else { format!("done again: {done}") })
        });
        told.await
    }

    /// The copy as it would be after a step; `None` where nobody needs to know.
    async fn tried(&self, now: &Now, chosen: &[Chosen]) -> Result<Option<Copy>, Fault> {
        let old = now.steps.now();
        let mut new = old.clone();
        chosen.iter().for_each(|one| new.put(one.clone()));
        let changes_copy = new.sheet != old.sheet
            || new.settings.player != old.settings.player
            || new.decisions != old.decisions && !new.sheet.marks.is_empty();
        if now.pair.is_none() || !changes_copy || new.settings.opens_other_than(&old.settings) {
            return Ok(None);
        }
        Ok(Some(now.wanted(chosen)?.make().await?))
    }

    /// Takes a step, and tells what is so then. `copy` follows from it, if it is made already.
    async fn taken(
        &self,
        now: &mut Now,
        chosen: &[Chosen],
        copy: Option<Copy>,
        take: impl FnOnce(&mut Now) -> Result<String, Fault>,
    ) -> Result<Value, Fault> {
        let old = now.steps.now().settings.clone();
        let what = take(now)?;
        now.news.clear();
        if now.steps.now().settings.opens_other_than(&old) {
            now.open().await;
        } else if chosen.iter().any(|one| matches!(one, Chosen::Decisions(_))) {
            now.decide().await;
        }
        now.version += 1;
        if let Some(copy) = copy {
            *self.copy.lock().await = Some((now.version, Arc::new(copy)));
        }
        self.tabs.tell(now.version);
        let mut told = now.told(&self.folder);
        told["done"] = what.into();
        Ok(told)
    }

    /// Takes up what another program has written.
    async fn look(&self, now: &mut Now) -> Result<(), Fault> {
        let old = now.steps.now().settings.clone();
        match now.steps.refresh() {
            Ok(files) if files.is_empty() => return Ok(()),
            Err(fault) => {
                return Err(Fault::Told(format!("{fault}; put it right, then load this page again")));
            }
            Ok(files) => {
                now.news = vec![format!(
                    "Another program has changed {}. What it says holds now; undo goes back to what you had.",
                    files.join(" and ")
                )];
            }
        }
        if now.steps.now().settings.opens_other_than(&old) {
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
        let chosen = vec![Chosen::Settings(Box::new(new))];
        self.taken(&mut now, &chosen.clone(), None, |now| now.take(chosen, what)).await
    }

    /// The pair that is open, and its number.
    async fn opened(&self) -> Result<(u64, Arc<Pair>), Fault> {
        let now = self.now.lock().await;
        Ok((now.number, now.pair.clone().ok_or("no scores are open")?))
    }

    /// In how many pieces the staves of a part are drawn.
    pub async fn pieces(&self, part: usize) -> Result<usize, Fault> {
        let (number, pair) = self.opened().await?;
        self.drawings.pieces(number, &pair, part).await
    }

    /// A piece of the staves of a part, on which its findings are decided.
    pub async fn staves(&self, part: usize, piece: usize) -> Result<Arc<Drawn>, Fault> {
        let (number, pair) = self.opened().await?;
        self.drawings.staves(number, &pair, part, piece).await
    }

    /// The compass of a part, which needs no engraver.
    pub async fn compass(&self, part: usize) -> Result<Drawn, Fault> {
        let (_, pair) = self.opened().await?;
        if part >= pair.opened.audit.parts.len() {
            return Err("there is no such part".into());
        }
        Ok(Drawn::new(&pair.compass(part).await?))
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
    pub async fn plain_copy(&self) -> Result<Copy, Fault> {
        let mut wanted = self.wanted().await?;
        wanted.marks = None;
        let instrument = wanted.settings.player.instrument.take();
        wanted.settings.player = PlayerSettings { instrument, ..PlayerSettings::default() };
        Ok(wanted.make().await?)
    }

    /// What is chosen, for a page that shows a version: it must be the newest.
    pub async fn wanted_as_shown(&self, version: u64) -> Result<Wanted, Fault> {
        let mut now = self.now.lock().await;
        self.look(&mut now).await?;
        now.is_newest(version)?;
        now.wanted_now()
    }

    /// What is chosen, for a command.
    pub async fn wanted(&self) -> Result<Wanted, Fault> {
        self.now.lock().await.wanted_now()
    }

    /// The user's marks with the bars of a copy, in words; with those of the edition where it counts otherwise.
    async fn marks(&self, copy: &Copy) -> Vec<String> {
        let (pair, decisions) = {
            let now = self.now.lock().await;
            (now.pair.clone(), now.steps.now().decisions.clone())
        };
        let known = match pair.filter(|_| !copy.sheet.marks.is_empty()) {
            Some(pair) => pair.edition_bars(copy.sheet.clone(), decisions).await.unwrap_or_default(),
            None => Vec::new(),
        };
        let told = |(place, mark): (usize, &SheetMark)| {
            let own = mark.places().ok().map(|(from, _)| from.bar);
            let is_own = |bar: &String| own.as_ref().is_some_and(|own| is_alike(own, bar));
            let other = known.get(place).cloned().flatten().map(|bar| bar.1).filter(|bar| !is_own(bar));
            let other = other.map_or(String::new(), |bar| format!(" (bar {bar} of the edition)"));
            format!("{}{other}", in_words(mark))
        };
        copy.sheet.marks.iter().enumerate().map(told).collect()
    }

    /// The copy's parts in lines of a width.
    pub async fn lines(&self, width: u32) -> Result<Value, Fault> {
        let (version, copy, opened) = self.copy().await?;
        let shown: BTreeSet<usize> = opened.parts.iter().copied().collect();
        let first = opened.parts.first().copied().unwrap_or(0);
        let worked = copy.clone();
        let work = move || Ok::<_, String>((worked.in_lines(width, &shown, first)?, worked.range(&opened.parts)?));
        let (parts, range): (Vec<PartInLines>, _) =
            tokio::task::spawn_blocking(work).await.map_err(|fault| fault.to_string())??;
        let marks = self.marks(&copy).await;
        let told = json!({
            "version": version,
            "parts": parts,
            "told": copy.told,
            "remarks": copy.remarks,
            "range": range,
            "marks": marks,
            "lost": words::without_place(&copy.lost()),
        });
        self.drawings.know(parts.into_iter().flat_map(|part| part.lines));
        Ok(told)
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
