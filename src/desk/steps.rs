//! What was decided, and the way back.

use super::folder::{Folder, Held};
use super::settings::Settings;
use crate::{Decisions, Sheet};
use std::io;

/// All that a user has chosen.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Choices {
    pub decisions: Decisions,
    pub sheet: Sheet,
    pub settings: Settings,
}

/// What one step changes: one file, so that it happens or does not.
#[derive(Debug, Clone, PartialEq)]
pub enum Chosen {
    Decisions(Decisions),
    Sheet(Sheet),
    Settings(Box<Settings>),
}

/// A step that can be taken back.
#[derive(Debug, Clone)]
struct Step {
    /// What was before it, or, of one that was taken back, after it.
    other: Chosen,
    what: String,
}

/// The choices with their files.
#[derive(Debug)]
pub struct Steps {
    folder: Folder,
    /// The order of names in a file of decisions.
    names: [Vec<String>; 2],
    now: Choices,
    /// What the files held when they were last read or written.
    texts: [Option<String>; 3],
    past: Vec<Step>,
    future: Vec<Step>,
}

/// Why choices cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("{what} cannot be read: {file}: {reason}")]
pub struct Unreadable {
    pub what: &'static str,
    pub file: String,
    pub reason: String,
}

impl Chosen {
    fn held(&self) -> Held {
        match self {
            Chosen::Decisions(_) => Held::Decisions,
            Chosen::Sheet(_) => Held::Marks,
            Chosen::Settings(_) => Held::Settings,
        }
    }
}

impl Steps {
    /// Reads what a folder holds.
    ///
    /// # Errors
    /// Where one of its files is none of ours, with line and column.
    pub fn read(folder: Folder) -> Result<Steps, Unreadable> {
        let (now, texts) = read(&folder)?;
        Ok(Steps { folder, names: Default::default(), now, texts, past: Vec::new(), future: Vec::new() })
    }

    pub fn now(&self) -> &Choices {
        &self.now
    }

    /// In which order decisions are written: passages and findings.
    pub fn set_names(&mut self, names: [Vec<String>; 2]) {
        self.names = names;
    }

    /// What would be undone, and done again, in words.
    pub fn ways(&self) -> [Option<&str>; 2] {
        [&self.past, &self.future].map(|steps| steps.last().map(|step| step.what.as_str()))
    }

    /// Whether another program has changed a file; what it says holds then, and nothing can be undone.
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn refresh(&mut self) -> Result<bool, Unreadable> {
        let texts = Held::ALL.map(|held| self.folder.read(held).ok().flatten());
        if texts == self.texts {
            return Ok(false);
        }
        (self.now, self.texts) = read(&self.folder)?;
        (self.past, self.future) = Default::default();
        Ok(true)
    }

    /// The text of a file as it would be after a step.
    pub fn text(&self, chosen: &Chosen) -> Option<String> {
        match chosen {
            Chosen::Decisions(decisions) if decisions.is_empty() => None,
            Chosen::Decisions(decisions) => Some(decisions.to_toml(&self.names[0], &self.names[1])),
            Chosen::Sheet(sheet) if *sheet == Sheet::default() => None,
            Chosen::Sheet(sheet) => Some(sheet.to_toml()),
            Chosen::Settings(settings) => Some(settings.to_toml()),
        }
    }

    /// Chooses something that is no step: there is no way back.
    ///
    /// # Errors
    /// As `take`.
    pub fn begin_with(&mut self, chosen: Chosen) -> io::Result<()> {
        self.put(chosen).map(drop)
    }

    /// Takes a step: on disk first.
    ///
    /// # Errors
    /// Where the disk refuses; nothing has changed then.
    pub fn take(&mut self, chosen: Chosen, what: String) -> io::Result<()> {
        let other = self.put(chosen)?;
        self.past.push(Step { other, what });
        self.future.clear();
        Ok(())
    }

    /// Takes the last step back, or the last one that was taken back again; `None` where there is none.
    ///
    /// # Errors
    /// As `take`.
    pub fn turn(&mut self, way: Way) -> io::Result<Option<String>> {
        let from = if way == Way::Back { &self.past } else { &self.future };
        let Some(step) = from.last().cloned() else { return Ok(None) };
        let other = self.put(step.other)?;
        let (from, to) = match way {
            Way::Back => (&mut self.past, &mut self.future),
            Way::Forward => (&mut self.future, &mut self.past),
        };
        from.pop();
        to.push(Step { other, what: step.what.clone() });
        Ok(Some(step.what))
    }

    /// What a step back or forward would make of its file; `None` where there is none.
    pub fn ahead(&self, way: Way) -> Option<&Chosen> {
        let from = if way == Way::Back { &self.past } else { &self.future };
        from.last().map(|step| &step.other)
    }

    /// Writes one file and gives what was there.
    fn put(&mut self, chosen: Chosen) -> io::Result<Chosen> {
        let held = chosen.held();
        let text = self.text(&chosen);
        self.folder.write(held, text.as_deref())?;
        self.texts[held as usize] = text;
        let now = &mut self.now;
        Ok(match chosen {
            Chosen::Decisions(new) => Chosen::Decisions(std::mem::replace(&mut now.decisions, new)),
            Chosen::Sheet(new) => Chosen::Sheet(std::mem::replace(&mut now.sheet, new)),
            Chosen::Settings(new) => Chosen::Settings(Box::new(std::mem::replace(&mut now.settings, *new))),
        })
    }
}

/// Undo or redo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    Back,
    Forward,
}

fn read(folder: &Folder) -> Result<(Choices, [Option<String>; 3]), Unreadable> {
    let told = |held: Held, reason: String| Unreadable {
        what: held.about(),
        file: folder.file(held.file()).display().to_string(),
        reason,
    };
    let mut texts: [Option<String>; 3] = Default::default();
    for held in Held::ALL {
        texts[held as usize] = folder.read(held).map_err(|fault| told(held, fault.to_string()))?;
    }
    let text = |held: Held| texts[held as usize].as_deref().unwrap_or_default();
    let now = Choices {
        decisions: Decisions::parse(text(Held::Decisions)).map_err(|e| told(Held::Decisions, e.to_string()))?,
        sheet: Sheet::parse(text(Held::Marks)).map_err(|e| told(Held::Marks, e.to_string()))?,
        settings: Settings::parse(text(Held::Settings)).map_err(|e| told(Held::Settings, e.to_string()))?,
    };
    Ok((now, texts))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clean::Said;

    fn decided(name: &str) -> Chosen {
        let mut decisions = Decisions::default();
        decisions.findings.insert(name.into(), Said::Keep);
        Chosen::Decisions(decisions)
    }

    #[test]
    fn every_step_is_on_disk_and_can_be_taken_back_and_again() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::new(dir.path()).unwrap();
        let mut steps = Steps::read(folder.clone()).unwrap();
        assert_eq!(steps.turn(Way::Back).unwrap(), None);
        steps.take(decided("a"), "keep a".into()).unwrap();
        steps.take(decided("b"), "keep b".into()).unwrap();
        assert_eq!(Steps::read(folder.clone()).unwrap().now(), steps.now());
        assert_eq!(steps.turn(Way::Back).unwrap().as_deref(), Some("keep b"));
        assert!(steps.now().decisions.findings.contains_key("a"));
        assert_eq!(steps.turn(Way::Back).unwrap().as_deref(), Some("keep a"));
        assert_eq!((steps.now(), folder.read(Held::Decisions).unwrap()), (&Choices::default(), None));
        assert_eq!(steps.ways(), [None, Some("keep a")]);
        steps.turn(Way::Forward).unwrap();
        steps.take(decided("c"), "keep c".into()).unwrap();
        assert_eq!(steps.ways(), [Some("keep c"), None]);
        assert!(!steps.refresh().unwrap());
    }

    #[test]
    fn what_another_program_writes_holds() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::new(dir.path()).unwrap();
        let mut steps = Steps::read(folder.clone()).unwrap();
        steps.take(decided("a"), "keep a".into()).unwrap();
        std::fs::write(folder.file("decisions.toml"), "[findings]\n\"z\" = \"bracket\"\n").unwrap();
        assert!(steps.refresh().unwrap());
        assert_eq!(steps.now().decisions.findings["z"], Said::Bracket);
        assert_eq!(steps.ways(), [None, None]);
        std::fs::write(folder.file("decisions.toml"), "[findings]\n\"z\" = 3\n").unwrap();
        let fault = steps.refresh().unwrap_err().to_string();
        assert!(fault.contains("decisions.toml: line 2, column "), "{fault}");
    }
}
