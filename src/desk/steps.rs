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

/// What a step changes of one file.
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
    other: Vec<Chosen>,
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

    /// The files that another program has changed. What they say holds then; that is a step like others.
    ///
    /// # Errors
    /// Where one cannot be read.
    pub fn refresh(&mut self) -> Result<Vec<&'static str>, Unreadable> {
        let texts = Held::ALL.map(|held| self.folder.read(held).ok().flatten());
        if texts == self.texts {
            return Ok(Vec::new());
        }
        let (now, texts) = read(&self.folder)?;
        let old = std::mem::replace(&mut self.now, now);
        let is_changed = |held: &Held| texts[*held as usize] != self.texts[*held as usize];
        let changed: Vec<Held> = Held::ALL.into_iter().filter(is_changed).collect();
        self.texts = texts;
        let names: Vec<&str> = changed.iter().map(|held| held.file()).collect();
        let what = format!("what another program wrote in {}", names.join(" and "));
        self.past.push(Step { other: changed.into_iter().map(|held| old.chosen(held)).collect(), what });
        self.future.clear();
        Ok(names)
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
        self.put(vec![chosen]).map(drop)
    }

    /// Takes a step: on disk first.
    ///
    /// # Errors
    /// Where the disk refuses; nothing has changed then.
    pub fn take(&mut self, chosen: Vec<Chosen>, what: String) -> io::Result<()> {
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

    /// What a step back or forward would make of its files; `None` where there is none.
    pub fn ahead(&self, way: Way) -> Option<&Vec<Chosen>> {
        let from = if way == Way::Back { &self.past } else { &self.future };
        from.last().map(|step| &step.other)
    }

    /// Writes files, all or none, and gives what was there.
    fn put(&mut self, mut chosen: Vec<Chosen>) -> io::Result<Vec<Chosen>> {
        // Marks are never between two files: those that come are written first, those that go last.
        let more = |one: &Chosen| matches!(one, Chosen::Sheet(new) if new.marks.len() >= self.now.sheet.marks.len());
        chosen.sort_by_key(|one| match one {
            Chosen::Sheet(_) if more(one) => 0,
            Chosen::Sheet(_) => 2,
            _ => 1,
        });
        let texts: Vec<Option<String>> = chosen.iter().map(|one| self.text(one)).collect();
        for (place, (one, text)) in chosen.iter().zip(&texts).enumerate() {
            if let Err(fault) = self.folder.write(one.held(), text.as_deref()) {
                for written in &chosen[..place] {
                    let held = written.held();
                    self.folder.write(held, self.texts[held as usize].as_deref())?;
                }
                return Err(fault);
            }
        }
        let mut before = Vec::new();
        for (one, text) in chosen.into_iter().zip(texts) {
            before.push(self.now.chosen(one.held()));
            self.texts[one.held() as usize] = text;
            self.now.put(one);
        }
        Ok(before)
    }
}

impl Choices {
    /// What one file holds.
    fn chosen(&self, held: Held) -> Chosen {
        match held {
            Held::Decisions => Chosen::Decisions(self.decisions.clone()),
            Held::Marks => Chosen::Sheet(self.sheet.clone()),
            Held::Settings => Chosen::Settings(Box::new(self.settings.clone())),
        }
    }

    pub fn put(&mut self, chosen: Chosen) {
        match chosen {
            Chosen::Decisions(new) => self.decisions = new,
            Chosen::Sheet(new) => self.sheet = new,
            Chosen::Settings(new) => self.settings = *new,
        }
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

    fn decided(name: &str) -> Vec<Chosen> {
        let mut decisions = Decisions::default();
        decisions.findings.insert(name.into(), Said::Keep);
        vec![Chosen::Decisions(decisions)]
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
        assert!(steps.refresh().unwrap().is_empty());
    }

    #[test]
    fn a_step_of_two_files_goes_back_as_one() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::new(dir.path()).unwrap();
        let mut steps = Steps::read(folder.clone()).unwrap();
        let sheet = Sheet { title: Some("mine".into()), ..Sheet::default() };
        let both = [decided("a"), vec![Chosen::Sheet(sheet.clone())]].concat();
        steps.take(both, "both".into()).unwrap();
        assert_eq!(Steps::read(folder.clone()).unwrap().now(), steps.now());
        assert_eq!(steps.now().sheet, sheet);
        steps.turn(Way::Back).unwrap();
        assert_eq!(steps.now(), &Choices::default());
        steps.turn(Way::Forward).unwrap();
        assert_eq!(Steps::read(folder).unwrap().now(), steps.now());
        assert_eq!((steps.now().sheet.title.as_deref(), steps.ways()), (Some("mine"), [Some("both"), None]));
    }

    #[test]
    fn of_two_files_all_or_none_is_written() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::new(dir.path()).unwrap();
        let mut steps = Steps::read(folder.clone()).unwrap();
        // No file can be written where a folder is.
        std::fs::create_dir_all(folder.file("my-marks.toml").join("in the way")).unwrap();
        let sheet = Sheet { title: Some("mine".into()), ..Sheet::default() };
        assert!(steps.take([decided("a"), vec![Chosen::Sheet(sheet)]].concat(), "both".into()).is_err());
        assert_eq!((steps.now(), folder.read(Held::Decisions).unwrap()), (&Choices::default(), None));
        assert_eq!(steps.ways(), [None, None]);
    }

    #[test]
    fn what_another_program_writes_holds() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::new(dir.path()).unwrap();
        let mut steps = Steps::read(folder.clone()).unwrap();
        steps.take(decided("a"), "keep a".into()).unwrap();
        std::fs::write(folder.file("decisions.toml"), "[findings]\n\"z\" = \"bracket\"\n").unwrap();
        assert_eq!(steps.refresh().unwrap(), ["decisions.toml"]);
        assert_eq!(steps.now().decisions.findings["z"], Said::Bracket);
        // And it can be undone, as what was done before it.
        assert_eq!(steps.turn(Way::Back).unwrap().as_deref(), Some("what another program wrote in decisions.toml"));
        assert!(steps.now().decisions.findings.contains_key("a"));
        assert_eq!(steps.ways(), [Some("keep a"), Some("what another program wrote in decisions.toml")]);
        steps.turn(Way::Forward).unwrap();
        assert_eq!(steps.now().decisions.findings["z"], Said::Bracket);
        std::fs::write(folder.file("decisions.toml"), "[findings]\n\"z\" = 3\n").unwrap();
        let fault = steps.refresh().unwrap_err().to_string();
        assert!(fault.contains("decisions.toml: line 2, column "), "{fault}");
    }
}
