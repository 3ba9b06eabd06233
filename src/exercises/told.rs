//! What is on a sheet, as text and as JSON.

use super::{Exercise, Player, Practice};
use crate::report::fingers::{BeatsReport, TempoReport, across, again, why};
use crate::report::page::Page;
use crate::report::phrases::count;
use crate::report::{PartName, Point, SCHEMA, ScoreName, json};
use serde::Serialize;

/// What `obelus exercises` says.
#[derive(Debug, Clone, Serialize)]
pub struct ExercisesReport {
    /// The version of the JSON.
    pub schema: u32,
    /// The score's file and title.
    pub score: ScoreName,
    /// Whose stretches they are.
    pub part: PartName,
    /// For whom the sheet is written.
    pub instrument: String,
    /// The instrument was read off the part's name.
    pub guessed: bool,
    /// How fast the piece goes.
    pub tempo: TempoReport,
    /// In the order of the sheet, the hardest first.
    pub stretches: Vec<StretchReport>,
    /// Bars of the sheet.
    pub bars: usize,
    /// What was unusual, in sentences.
    pub warnings: Vec<String>,
    #[serde(skip)]
    has_fingerings: bool,
    #[serde(skip)]
    left_out: usize,
}

/// A stretch with its exercises.
#[derive(Debug, Clone, Serialize)]
pub struct StretchReport {
    /// Its first note.
    pub from: Point,
    /// Its last note.
    pub to: Point,
    /// Where the same music comes again.
    pub again: Vec<Point>,
    /// What makes it hard.
    pub why: String,
    /// The tempo to begin at.
    pub start: BeatsReport,
    /// That of the piece, in the same beats.
    pub tempo: BeatsReport,
    /// It would have to begin slower than anybody does.
    pub lies_badly: bool,
    /// Beats a minute, rising, from the one to the other.
    pub ladder: Vec<u32>,
    /// The first is the stretch as it stands.
    pub exercises: Vec<ExerciseReport>,
}

/// An exercise in the sheet.
#[derive(Debug, Clone, Serialize)]
pub struct ExerciseReport {
    /// Its name, as `--form` takes it; `None` for the stretch as it stands.
    pub form: Option<&'static str>,
    /// As it stands above the music.
    pub heading: String,
    /// Counted from 1 in the stretch.
    pub first_bar: usize,
    /// Counted from 1 in the stretch.
    pub last_bar: usize,
}

impl From<&Exercise> for ExerciseReport {
    fn from(exercise: &Exercise) -> ExerciseReport {
        ExerciseReport {
            form: exercise.form.map(super::Form::name),
            heading: exercise.heading.clone(),
            first_bar: exercise.first_bar,
            last_bar: exercise.last_bar,
        }
    }
}

impl ExercisesReport {
    pub(crate) fn new(
        player: &Player,
        guessed: bool,
        practice: &Practice,
        score: ScoreName,
        mut warnings: Vec<String>,
    ) -> Self {
        let stretches = practice.stretches.iter().map(|own| StretchReport {
            from: player.point(own.hard.first),
            to: player.point(own.hard.last),
            again: own.hard.again.iter().map(|note| player.point(*note)).collect(),
            why: why(&own.hard),
            start: own.hard.start.into(),
            tempo: own.hard.tempo.into(),
            lies_badly: own.hard.lies_badly,
            ladder: own.ladder.clone(),
            exercises: own.exercises.iter().map(ExerciseReport::from).collect(),
        });
        warnings.extend(practice.warnings.iter().cloned());
        ExercisesReport {
            schema: SCHEMA,
            score,
            part: PartName::of(player.part),
            instrument: player.instrument.name.clone(),
            guessed,
            tempo: player.tempo.into(),
            stretches: stretches.collect(),
            bars: practice.sheet.bars.len(),
            warnings,
            left_out: practice.left_out,
            has_fingerings: player.chart.lowest(player.instrument).is_some(),
        }
    }

    /// What the numbers above the notes mean; nothing for an instrument without a table of fingerings.
    pub(crate) fn key(&self) -> String {
        match self.has_fingerings {
            true => {
                "Fingerings: 0 thumb, 1 to 7 fingers; Ø thumb half open; ½ one of a double hole; + bell closed.".into()
            }
            false => String::new(),
        }
    }

    /// For other programs.
    pub fn json(&self) -> String {
        json::text(self)
    }

    /// For people, no wider than `width` columns where words allow it. `file` is where the sheet is.
    pub fn text(&self, file: &str, width: usize) -> String {
        let mut page = Page::new(width);
        let guessed = if self.guessed { " (guessed from the part's name)" } else { "" };
        let exercises: usize = self.stretches.iter().map(|own| own.exercises.len() - 1).sum();
        let (part, instrument) = (self.part.spoken(), &self.instrument);
        match self.stretches.is_empty() {
            true if self.left_out > 0 => page.paragraph(&format!(
                "{part} on the {instrument}{guessed}: every stretch that has to begin slower than the piece was left \
                 out, so no sheet was written."
            )),
            true => page.paragraph(&format!(
                "{part} on the {instrument}{guessed}: no stretch has to begin slower than the piece, so no sheet was written. \
                 Name bars with --bars to practise them all the same."
            )),
            false => page.paragraph(&format!(
                "{file}: {part} on the {instrument}{guessed}, {} with {} in {}.",
                match self.stretches.len() {
                    1 => "one stretch".into(),
                    many => format!("{many} stretches"),
                },
                count(exercises, "exercise"),
                count(self.bars, "bar")
            )),
        }
        if !self.stretches.is_empty() {
            page.blank();
        }
        let items: Vec<(String, String)> = self.stretches.iter().map(StretchReport::item).collect();
        page.list(&items);
        page.warnings(&self.warnings);
        page.finish()
    }
}

impl StretchReport {
    fn item(&self) -> (String, String) {
        let ladder: Vec<String> = self.ladder.iter().map(u32::to_string).collect();
        (
            across(&self.from, &self.to),
            format!("{}; {} = {}{}", self.why, self.start.beat, ladder.join(", "), again(&self.again)),
        )
    }
}
