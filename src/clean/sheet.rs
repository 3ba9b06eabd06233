//! The mark sheet: a teacher's own marks, apart from any edition.

use super::made_for::MadeFor;
use super::toml_fault::told;
use crate::musicxml::rewrite::NewMark;
use crate::musicxml::{articulations, is_xml, ornaments};
use crate::time::{Time, parse_beat};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A mark sheet as its file has it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// What it is called; a user's own word.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// The copy that it was made for.
    #[serde(rename = "made-for", skip_serializing_if = "Option::is_none")]
    pub made_for: Option<MadeFor>,
    /// Its marks, in order.
    #[serde(default, rename = "mark", skip_serializing_if = "Vec::is_empty")]
    pub marks: Vec<SheetMark>,
}

/// One mark: a place, or two, and exactly one kind.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetMark {
    /// The part, by its id; the first part with a source when missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// The staff, 1-based, in parts of several staves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub staff: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dynamics: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hairpin: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slur: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub articulation: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ornament: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub breath: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fermata: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fingering: Option<String>,
    /// The note that a fingering was made for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tempo: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metronome: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expression: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}

/// What is wrong with a sheet, with the mark that it is wrong in.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    #[error("{0}")]
    /// It is not TOML, or has keys that no sheet has: what and where.
    Syntax(String),
    #[error("{mark}: {reason}")]
    /// One of its marks is wrong.
    Mark {
        /// The mark, as in `slur from 3:1 to 4:2`.
        mark: String,
        /// What is wrong with it, in words.
        reason: String,
    },
}

/// A place in a sheet: the printed bar and the beat, 1-based.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BarBeat {
    pub bar: String,
    pub beat: Time,
}

impl Sheet {
    /// Reads a sheet; faults of the file have line and column.
    pub fn parse(text: &str) -> Result<Sheet, SheetError> {
        let sheet: Sheet = toml::from_str(text).map_err(|error| SheetError::Syntax(told(text, &error)))?;
        for mark in &sheet.marks {
            mark.kind()?;
            mark.places()?;
        }
        Ok(sheet)
    }

    /// As a file.
    pub fn to_toml(&self) -> String {
        toml::to_string(self).expect("a sheet is plain data")
    }
}

/// What no line of words has.
fn is_no_text(c: char) -> bool {
    c.is_control() || !is_xml(c)
}

impl SheetMark {
    fn wrong(&self, reason: impl Into<String>) -> SheetError {
        SheetError::Mark { mark: self.to_string(), reason: reason.into() }
    }

    /// What is to be laid on.
    pub fn kind(&self) -> Result<NewMark, SheetError> {
        let switch = |name: &str, on: &Option<bool>, mark: NewMark| match on {
            Some(true) => Some(Ok(mark)),
            Some(false) => Some(Err(self.wrong(format!("{name} = false says nothing; leave the mark out")))),
            None => None,
        };
        let words = |text: &Option<String>, make: fn(String) -> NewMark| {
            let text = text.as_ref()?;
            Some(if text.trim().is_empty() {
                Err(self.wrong("the text is empty"))
            } else if text.trim().chars().any(is_no_text) {
                Err(self.wrong("the text has a control character, which a score cannot hold"))
            } else {
                Ok(make(text.trim().to_string()))
            })
        };
        let named = |name: &Option<String>, list: &[&str], make: fn(String) -> NewMark| {
            let name = name.as_ref()?;
            let known = list.contains(&name.as_str());
            Some(if known {
                Ok(make(name.clone()))
            } else {
                Err(self.wrong(format!("{name:?} is not one of {}", list.join(", "))))
            })
        };
        let hairpin = self.hairpin.as_ref().map(|kind| match kind.as_str() {
            "crescendo" => Ok(NewMark::Hairpin { louder: true }),
            "diminuendo" => Ok(NewMark::Hairpin { louder: false }),
            other => Err(self.wrong(format!("a hairpin is \"crescendo\" or \"diminuendo\", not {other:?}"))),
        });
        let kinds = [
            words(&self.dynamics, NewMark::Dynamics),
            hairpin,
            switch("slur", &self.slur, NewMark::Slur),
            named(&self.articulation, &articulations(), NewMark::Articulation),
            named(&self.ornament, &ornaments(), NewMark::Ornament),
            switch("breath", &self.breath, NewMark::Breath),
            switch("fermata", &self.fermata, NewMark::Fermata),
            words(&self.fingering, NewMark::Fingering),
            words(&self.tempo, NewMark::Tempo),
            self.metronome.as_ref().map(|text| self.metronome_mark(text)),
            words(&self.expression, NewMark::Expression),
            words(&self.text, NewMark::Text),
        ];
        let mut given = kinds.into_iter().flatten();
        match (given.next(), given.next()) {
            (Some(kind), None) => kind,
            (None, _) => Err(self.wrong("it does not say what mark it is, such as dynamics = \"p\"")),
            (Some(_), Some(_)) => Err(self.wrong("it has two kinds of mark; make them two marks")),
        }
    }

    fn metronome_mark(&self, text: &str) -> Result<NewMark, SheetError> {
        const UNITS: [&str; 8] = ["breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th"];
        let wrong = || self.wrong("a metronome mark is written like \"quarter = 66\" or \"dotted half = 48\"");
        let (unit, per_minute) = text.split_once('=').ok_or_else(wrong)?;
        let mut words: Vec<&str> = unit.split_whitespace().collect();
        let name = words.pop().map(|unit| if unit == "sixteenth" { "16th" } else { unit });
        let name = name.filter(|unit| UNITS.contains(unit)).ok_or_else(wrong)?;
        let per_minute = per_minute.trim();
        if words.iter().any(|w| *w != "dotted") || per_minute.is_empty() || per_minute.chars().any(is_no_text) {
            return Err(wrong());
        }
        Ok(NewMark::Metronome { unit: name.into(), dots: words.len(), per_minute: per_minute.into() })
    }

    fn is_span(&self) -> bool {
        self.hairpin.is_some() || self.slur.is_some()
    }

    /// The place of the mark, and the end of a span.
    pub fn places(&self) -> Result<(BarBeat, Option<BarBeat>), SheetError> {
        let read = |text: &str| {
            let wrong = || self.wrong(format!("{text:?} is not a place; write the bar and the beat, as \"12:3\""));
            let (bar, beat) = text.rsplit_once(':').ok_or_else(wrong)?;
            let beat = parse_beat(beat).filter(|b| *b >= Time::from(1)).ok_or_else(wrong)?;
            Ok(BarBeat { bar: bar.to_string(), beat })
        };
        match (&self.at, &self.from, &self.to) {
            (Some(at), None, None) if !self.is_span() => Ok((read(at)?, None)),
            (None, Some(from), Some(to)) if self.is_span() => Ok((read(from)?, Some(read(to)?))),
            _ if self.is_span() => Err(self.wrong("a slur or hairpin needs from and to, not at")),
            _ => Err(self.wrong("this mark needs at, not from and to")),
        }
    }
}

/// As a message names a mark: `the mark dynamics = "p" at 12:3`.
impl fmt::Display for SheetMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let texts = [
            ("dynamics", &self.dynamics),
            ("hairpin", &self.hairpin),
            ("articulation", &self.articulation),
            ("ornament", &self.ornament),
            ("fingering", &self.fingering),
            ("tempo", &self.tempo),
            ("metronome", &self.metronome),
            ("expression", &self.expression),
            ("text", &self.text),
        ];
        let switches = [("slur", self.slur), ("breath", self.breath), ("fermata", self.fermata)];
        let mut said: Vec<String> =
            texts.iter().filter_map(|(name, text)| text.as_ref().map(|t| format!("{name} = {t:?}"))).collect();
        said.extend(switches.iter().filter(|s| s.1.is_some()).map(|s| s.0.to_string()));
        write!(f, "the mark {}", if said.is_empty() { "without a kind".to_string() } else { said.join(", ") })?;
        match (&self.at, &self.from, &self.to) {
            (Some(at), ..) => write!(f, " at {at}"),
            (_, Some(from), Some(to)) => write!(f, " from {from} to {to}"),
            (_, Some(from), None) => write!(f, " from {from}"),
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_comes_back_from_its_own_text() {
        let text = "title = \"Air\"\n\n[[mark]]\nat = \"12:3\"\ndynamics = \"p\"\n\n[[mark]]\nfrom = \"7:1\"\nto = \
                    \"7:2+1/2\"\nslur = true\n";
        let sheet = Sheet::parse(text).unwrap();
        assert_eq!(Sheet::parse(&sheet.to_toml()).unwrap(), sheet);
        assert_eq!(sheet.to_toml(), text);
    }

    #[test]
    fn a_text_that_no_score_can_hold_is_refused() {
        let fault = Sheet::parse("[[mark]]\nat = \"3:1\"\ntext = \"so\\u0001lo\"").unwrap_err().to_string();
        assert!(fault.contains("has a control character"), "{fault}");
    }

    #[test]
    fn faults_name_the_mark() {
        let fault = |text: &str| Sheet::parse(text).unwrap_err().to_string();
        assert_eq!(
            fault("[[mark]]\nat = \"3:1\"\nslur = true"),
            "the mark slur at 3:1: a slur or hairpin needs from and to, not at"
        );
        assert_eq!(
            fault("[[mark]]\nat = \"3:1\"\n"),
            "the mark without a kind at 3:1: it does not say what mark it is, such as dynamics = \"p\""
        );
        assert_eq!(
            fault("[[mark]]\nat = \"3\"\ntext = \"x\""),
            "the mark text = \"x\" at 3: \"3\" is not a place; write the bar and the beat, as \"12:3\""
        );
        assert!(fault("[[mark]]\nat = \"3:1\"\ncolour = 3").starts_with("line 3, column 1: unknown field `colour`"));
        assert!(fault("[[mark]]\nat = \"3:1\"\nmetronome = \"fast\"").contains("like \"quarter = 66\""));
    }
}
