//! Several editions beside their source, the most faithful first: one result,
//! and its forms.

mod csv;
mod figures;
mod order;
mod text;
mod words;

use super::ScoreName;
use serde::Serialize;
use std::cmp::Ordering;

pub use figures::{BarFigures, Figures, Hand};
pub(super) use words::{notes_alike, sentences};

/// What `obelus rank` says.
#[derive(Debug, Serialize)]
pub struct Ranking {
    /// The version of the JSON.
    pub schema: u32,
    /// The source of all; `None` where each edition's was looked for.
    pub source: Option<ScoreName>,
    /// The folder in which sources were looked for.
    pub sources: Option<String>,
    /// Against whose range the notes were checked.
    pub instrument: Option<String>,
    /// What decides, the first first.
    pub order: Vec<&'static str>,
    /// The most faithful first; then those that could not be compared, by their names.
    pub editions: Vec<RankedEdition>,
    /// What was unusual, in sentences.
    pub warnings: Vec<String>,
}

/// One edition.
#[derive(Debug, Clone, Serialize)]
pub struct RankedEdition {
    /// 1-based; editions that are alike share one. `None` where nothing was compared, or no others are known yet.
    pub rank: Option<usize>,
    /// As it was found.
    pub file: String,
    /// Whether it is a score that can be read.
    pub readable: bool,
    /// The title, if the file has one.
    pub title: Option<String>,
    /// The source that it was compared with.
    pub source: Option<String>,
    /// Whether no other source is as like; `None` where the user named the source.
    pub sure: Option<bool>,
    /// The sources that come near, the likest first; only where they were looked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub candidates: Vec<Candidate>,
    /// Why nothing was compared.
    pub fault: Option<String>,
    /// How far it is the source; `None` where nothing was compared.
    #[serde(flatten)]
    pub figures: Option<Figures>,
    /// The page with its audit.
    pub audit: Option<String>,
    /// Why it is the first, or the last.
    pub reason: Option<String>,
}

/// A source that an edition may come from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Candidate {
    /// Its file.
    pub file: String,
    /// Of 100 notes of the edition, so many are alike.
    pub alike_in_100: f64,
}

impl RankedEdition {
    /// One that could not be read.
    pub fn without_figures(file: String, fault: String) -> RankedEdition {
        RankedEdition {
            rank: None,
            file,
            readable: false,
            title: None,
            source: None,
            sure: None,
            candidates: Vec::new(),
            fault: Some(fault),
            figures: None,
            audit: None,
            reason: None,
        }
    }

    /// As JSON on one line, with a line end.
    pub fn json_line(&self) -> String {
        serde_json::to_string(self).expect("plain data is always JSON") + "\n"
    }
}

impl Ranking {
    /// Puts the editions in their order. With `any_key`, another key counts for nothing.
    pub fn sort(&mut self, any_key: bool) {
        self.order = order::criteria(any_key).iter().map(|c| c.name()).collect();
        self.editions.sort_by(|a, b| by_figures(a, b, any_key).then_with(|| a.file.cmp(&b.file)));
        let alike = |a: &RankedEdition, b: &RankedEdition| by_figures(a, b, any_key) == Ordering::Equal;
        for place in 0..self.editions.len() {
            let (before, own) = self.editions.split_at_mut(place);
            own[0].rank = own[0].figures.is_some().then(|| match before.last() {
                Some(last) if alike(last, &own[0]) => last.rank.unwrap_or(place + 1),
                _ => place + 1,
            });
        }
        self.give_reasons(any_key);
    }

    /// The editions that were compared.
    pub fn compared(&self) -> &[RankedEdition] {
        &self.editions[..self.editions.iter().take_while(|e| e.figures.is_some()).count()]
    }

    fn give_reasons(&mut self, any_key: bool) {
        let compared = self.compared();
        let last = match compared.len() {
            0 => return,
            n => n - 1,
        };
        let reason = |place: usize| words::reason(compared, place, any_key);
        let reasons = [(0, reason(0)), (last, reason(last))];
        for (place, reason) in reasons.into_iter().take(last + 1) {
            self.editions[place].reason = Some(reason);
        }
    }

    /// The report as JSON, with a line end.
    pub fn json(&self) -> String {
        super::json(self)
    }

    /// For people, no wider than `width` columns where words allow it.
    pub fn text(&self, width: usize) -> String {
        text::text(self, width)
    }

    /// One line per edition under a line of headings; an empty cell is nothing.
    pub fn csv(&self) -> String {
        csv::csv(self)
    }

    /// A page for the browser, complete in one file.
    pub fn page(&self) -> String {
        super::html::ranking(self)
    }
}

fn by_figures(a: &RankedEdition, b: &RankedEdition, any_key: bool) -> Ordering {
    match (&a.figures, &b.figures) {
        (Some(a), Some(b)) => order::compare(a, b, any_key),
        (one, other) => other.is_some().cmp(&one.is_some()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One in so many bars of eight notes, by what was done to it.
    fn edition(file: &str, done: impl FnOnce(&mut Figures)) -> RankedEdition {
        let mut figures = Figures::of_bars(40, 8);
        done(&mut figures);
        let fault = String::new();
        RankedEdition { figures: Some(figures), fault: None, ..RankedEdition::without_figures(file.into(), fault) }
    }

    fn ranked(editions: Vec<RankedEdition>, any_key: bool) -> Vec<(Option<usize>, String)> {
        let mut ranking = Ranking {
            schema: 2,
            source: None,
            sources: None,
            instrument: None,
            order: Vec::new(),
            editions,
            warnings: Vec::new(),
        };
        ranking.sort(any_key);
        ranking.editions.into_iter().map(|e| (e.rank, e.file)).collect()
    }

    fn editions() -> Vec<RankedEdition> {
        vec![
            RankedEdition::without_figures("broken".into(), "no score".into()),
            edition("key", |f| (f.key.semitones, f.key.steps) = (3, 2)),
            edition("ending", |f| {
                f.change_notes(3);
                f.put_into_passages(2);
            }),
            edition("octave", |f| {
                f.notes.in_another_octave = 12;
                f.put_into_passages(2);
            }),
            edition("marks", |f| f.marks.added = 40),
            edition("one mark", |f| f.marks.omitted = 1),
            edition("none b", |_| ()),
            edition("none a", |_| ()),
        ]
    }

    #[test]
    fn notes_come_before_passages_and_passages_before_marks() {
        let names: Vec<_> = ["none a", "none b", "one mark", "marks", "octave", "ending", "key", "broken"].into();
        let ranks = [Some(1), Some(1), Some(3), Some(4), Some(5), Some(6), Some(7), None];
        let wanted: Vec<_> = ranks.into_iter().zip(names.into_iter().map(String::from)).collect();
        assert_eq!(ranked(editions(), false), wanted);
        let any: Vec<String> = ranked(editions(), true).into_iter().map(|e| e.1).collect();
        assert_eq!(any[..3], ["key", "none a", "none b"], "another key counts for nothing");
    }

    #[test]
    fn the_order_does_not_depend_on_how_the_editions_are_given() {
        let mut turned = editions();
        turned.reverse();
        assert_eq!(ranked(turned, false), ranked(editions(), false));
    }
}
