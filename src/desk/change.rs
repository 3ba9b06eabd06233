//! What a click on the page changes.

use super::opened::Opened;
use super::settings::{LineSettings, PageSettings, PlayerSettings, Settings};
use super::steps::{Choices, Chosen};
use super::words::{in_words, moved};
use crate::clean::{Decision, Said, SheetMark};
use crate::findings::{PassageKind, Status};
use crate::report::phrases;
use crate::{Decisions, Sheet};
use serde::Deserialize;
use std::collections::BTreeSet;

/// A change as the page asks for it.
#[derive(Debug, Clone, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case")]
pub enum Change {
    Decide { which: Which, said: Word },
    Mark { mark: SheetMark },
    EditMark { place: usize, mark: SheetMark },
    RemoveMark { place: usize },
    Lines { lines: LineSettings },
    Player { player: PlayerSettings },
    Pages { pages: PageSettings },
}

/// What is decided at once.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Which {
    Finding {
        part: usize,
        finding: usize,
    },
    /// With all that is in it.
    Passage {
        part: usize,
        passage: usize,
    },
    /// In all parts.
    Category(String),
    /// From one bar of the edition to another, 0-based.
    Bars {
        part: usize,
        from: usize,
        to: usize,
    },
    /// All of which nobody has decided.
    Rest,
}

/// What becomes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Word {
    Out,
    Keep,
    Apart,
    /// Nobody has decided: as usual.
    Open,
}

impl Word {
    fn said(self) -> Option<Said> {
        match self {
            Word::Out => Some(Said::Out),
            Word::Keep => Some(Said::Keep),
            Word::Apart => Some(Said::Bracket),
            Word::Open => None,
        }
    }

    /// Of several findings, or of one by its status.
    fn told(self, of: Option<Status>) -> &'static str {
        match (self, of) {
            (Word::Out, Some(Status::Added)) => "take out",
            (Word::Out, Some(Status::Omitted)) => "put back",
            (Word::Out, Some(Status::Altered)) => "put right",
            (Word::Out, None) => "as in the source:",
            (Word::Keep, _) => "keep",
            (Word::Apart, _) => "set apart",
            (Word::Open, _) => "leave open",
        }
    }
}

impl Change {
    /// What is chosen then, and what was done in words.
    ///
    /// # Errors
    /// In a sentence, where it cannot be.
    pub fn on(self, choices: &Choices, opened: Option<&Opened>) -> Result<(Chosen, String), String> {
        let opened = || opened.ok_or_else(|| "choose an edition and a source first".to_string());
        let settings = &choices.settings;
        Ok(match self {
            Change::Decide { which, said } => decide(opened()?, &choices.decisions, &which, said)?,
            Change::Mark { mark } => {
                let what = format!("add {}", in_words(&mark));
                (with_marks(choices, &mark, |marks| marks.push(mark.clone()))?, what)
            }
            Change::EditMark { place, mark } => {
                let old = mark_at(&choices.sheet, place)?;
                let what = moved(old, &mark);
                (with_marks(choices, &mark, |marks| marks[place] = mark.clone())?, what)
            }
            Change::RemoveMark { place } => {
                let what = format!("remove {}", in_words(mark_at(&choices.sheet, place)?));
                let mut sheet = choices.sheet.clone();
                sheet.marks.remove(place);
                (Chosen::Sheet(sheet), what)
            }
            Change::Lines { lines } => {
                (Chosen::Settings(Box::new(Settings { lines, ..settings.clone() })), "choose other parts".into())
            }
            Change::Player { player } => (
                Chosen::Settings(Box::new(Settings { player, ..settings.clone() })),
                "choose instrument and key".into(),
            ),
            Change::Pages { pages } => {
                (Chosen::Settings(Box::new(Settings { pages, ..settings.clone() })), "set up the pages".into())
            }
        })
    }
}

fn mark_at(sheet: &Sheet, place: usize) -> Result<&SheetMark, String> {
    sheet.marks.get(place).ok_or_else(|| "this mark is gone".to_string())
}

fn with_marks(choices: &Choices, mark: &SheetMark, change: impl FnOnce(&mut Vec<SheetMark>)) -> Result<Chosen, String> {
    mark.kind().map_err(|fault| fault.to_string())?;
    mark.places().map_err(|fault| fault.to_string())?;
    let mut sheet = choices.sheet.clone();
    change(&mut sheet.marks);
    Ok(Chosen::Sheet(sheet))
}

/// Decides something: the decisions then, and what was done in words.
fn decide(opened: &Opened, old: &Decisions, which: &Which, word: Word) -> Result<(Chosen, String), String> {
    let mut new = old.clone();
    let gone = || "this is not among the findings".to_string();
    let what = match which {
        Which::Finding { part, finding } => {
            let about = opened.audit.parts.get(*part).and_then(|p| p.findings.get(*finding)).ok_or_else(gone)?;
            // Of other music there is all or nothing: its bars stay or go.
            if let Some(passage) = about.passage.filter(|_| about.category.is_of_notes())
                && opened.audit.parts[*part].passages[passage].kind.is_other_music()
            {
                return decide(opened, old, &Which::Passage { part: *part, passage }, word);
            }
            if word == Word::Apart && !opened.can_be_apart[*part][*finding] {
                return Err("only marks that the editor added can be set apart; take it out, or keep it".into());
            }
            say(&mut new.findings, &opened.names[*part].findings[*finding], word.said());
            let (status, category) = (about.status, about.category);
            let what = format!("{} {} {category} in bar {}", word.told(Some(status)), status.name(), about.at.bar);
            return Ok((Chosen::Decisions(new), what));
        }
        Which::Passage { part, passage } => {
            let all = opened.audit.parts.get(*part).ok_or_else(gone)?;
            if *passage >= all.passages.len() {
                return Err(gone());
            }
            let own: BTreeSet<usize> =
                (0..all.findings.len()).filter(|f| all.findings[*f].passage == Some(*passage)).collect();
            let names = &opened.names[*part];
            if word == Word::Apart {
                let able: Vec<usize> = own.iter().copied().filter(|f| opened.can_be_apart[*part][*f]).collect();
                if able.is_empty() {
                    return Err("only marks that the editor added can be set apart, and the passage has none".into());
                }
                able.iter().for_each(|f| say(&mut new.findings, &names.findings[*f], Some(Said::Bracket)));
            } else {
                let decision = match word {
                    Word::Out => Some(Decision::Out),
                    Word::Keep => Some(Decision::Keep),
                    _ => None,
                };
                say(&mut new.passages, &names.passages[*passage], decision);
                // What is in it goes the same way.
                own.iter().for_each(|f| _ = new.findings.remove(&names.findings[*f]));
            }
            let other = |f: &usize| {
                let said = old.findings.get(&names.findings[*f]).copied().filter(|said| *said != Said::Passage);
                said.is_some_and(|said| Some(said) != word.said())
            };
            let about = &all.passages[*passage];
            let status = match about.kind {
                PassageKind::InsertedPassage => Some(Status::Added),
                PassageKind::Cut => Some(Status::Omitted),
                _ => None,
            };
            let (place, _) = phrases::passage(about, None);
            let changed = changed(own.iter().filter(|f| other(f)).count());
            let what = format!("{} {} in {place}{changed}", word.told(status), about.kind.words());
            return Ok((Chosen::Decisions(new), what));
        }
        Which::Category(name) => {
            let done = each(opened, &mut new, word, |p, f| opened.audit.parts[p].findings[f].category.name() == name);
            done.told(word, &format!(" of {name}"))?
        }
        Which::Bars { part, from, to } => {
            let bars = &opened.audit.parts.get(*part).ok_or_else(gone)?;
            let done = each(opened, &mut new, word, |p, f| {
                p == *part && (*from..=*to).contains(&opened.audit.parts[p].findings[f].at.bar_index)
            });
            let number = |bar: usize| bars.bar_numbers.get(bar).map_or("", String::as_str);
            let place = if from == to {
                format!("bar {}", number(*from))
            } else {
                format!("bars {} to {}", number(*from), number(*to))
            };
            done.told(word, &format!(" in {place}"))?
        }
        Which::Rest => {
            let open = |p: usize, f: usize| !is_decided(opened, old, p, f);
            each(opened, &mut new, word, open).told(word, ", all that was open")?
        }
    };
    Ok((Chosen::Decisions(new), format!("{} {what}", word.told(None))))
}

/// What became of several findings.
#[derive(Default)]
struct Done {
    decided: usize,
    /// That were decided otherwise before.
    changed: usize,
    /// That cannot be set apart.
    not_apart: usize,
}

/// Decides each finding that is meant and can be.
fn each(opened: &Opened, new: &mut Decisions, word: Word, is_meant: impl Fn(usize, usize) -> bool) -> Done {
    let mut done = Done::default();
    for (p, part) in opened.audit.parts.iter().enumerate() {
        for f in (0..part.findings.len()).filter(|f| is_meant(p, *f)) {
            if word == Word::Apart && !opened.can_be_apart[p][f] {
                done.not_apart += 1;
                continue;
            }
            let name = &opened.names[p].findings[f];
            let old = new.findings.get(name).copied();
            done.changed += usize::from(old.is_some() && old != word.said());
            done.decided += 1;
            say(&mut new.findings, name, word.said());
        }
    }
    done
}

impl Done {
    /// In words, with what is to be known of it.
    fn told(&self, word: Word, which: &str) -> Result<String, String> {
        if self.decided == 0 {
            return Err(match word {
                Word::Apart => "nothing there can be set apart: only marks that the editor added can".into(),
                _ => "nothing there is left to decide".into(),
            });
        }
        let mut out = format!("{}{which}", phrases::count(self.decided, "finding"));
        out += &changed(self.changed);
        if self.not_apart > 0 {
            out += &format!("; {} cannot be set apart", self.not_apart);
        }
        Ok(out)
    }
}

/// How many decisions of before are others now.
fn changed(count: usize) -> String {
    match count {
        0 => String::new(),
        1 => "; 1 that you had decided otherwise is changed".into(),
        _ => format!("; {count} that you had decided otherwise are changed"),
    }
}

fn say<T>(said: &mut std::collections::BTreeMap<String, T>, name: &str, what: Option<T>) {
    match what {
        Some(what) => _ = said.insert(name.into(), what),
        None => _ = said.remove(name),
    }
}

/// Whether someone has decided a finding, or the passage that it is in.
pub fn is_decided(opened: &Opened, decisions: &Decisions, part: usize, finding: usize) -> bool {
    let names = &opened.names[part];
    let passage = opened.audit.parts[part].findings[finding].passage;
    let by_passage = || passage.is_some_and(|p| decisions.passages.contains_key(&names.passages[p]));
    match decisions.findings.get(&names.findings[finding]) {
        Some(Said::Passage) | None => by_passage(),
        Some(_) => true,
    }
}
