//! A score as it was read: alone, its range and its keys are looked at; two of
//! them are compared.

use crate::clean::{self, Failure, Lifted};
use crate::collate::{self, Choice, LineError, LineName};
use crate::exercises::{ExerciseError, ExerciseWishes, ExercisesReport, Player};
use crate::findings;
use crate::instrument::{self, Instrument, Instruments, PlayedOn, ReadAs};
use crate::keys::{Chart, Tempo, View};
use crate::musicxml::sheet::{FingeringsAs, SheetPart, clef_at};
use crate::musicxml::{self, Error, Heading, Input, Parsed, Tree};
use crate::report::{self, BarError, KeysReport, RangeReport, ScoreName};
use crate::score::{Part, Score};
use std::path::Path;

/// Bytes of a text whose tree may stay until the program ends.
const SMALL: usize = 2 << 20;

/// A score as it was read. `T` is the tree of its text, or `()` where the text was let go.
#[derive(Debug, Clone)]
pub struct ReadScore<T> {
    pub(crate) file: String,
    pub(crate) score: Score,
    pub(crate) warnings: Vec<String>,
    pub(crate) tree: T,
}

impl<'i> ReadScore<Tree<'i>> {
    /// Reads a score and keeps its text, which cleaning and drawing need.
    ///
    /// # Errors
    /// With file, line and column, where it is no score that can be read.
    pub fn of(input: &'i Input) -> Result<Self, Error> {
        Ok(ReadScore::and_whether_unknown(input)?.0)
    }

    /// The same, and whether it has elements where the schema has none such.
    fn and_whether_unknown(input: &'i Input) -> Result<(Self, bool), Error> {
        let tree = Tree::parse(input)?;
        let Parsed { score, warnings, has_unknown } = musicxml::read(&tree)?;
        Ok((ReadScore { file: input.file.clone(), score, warnings, tree }, has_unknown))
    }

    /// Lets the text go, the largest thing of all. A small tree is not even taken
    /// apart: that costs more than its room, and the program ends soon.
    pub fn without_text(self) -> ReadScore<()> {
        let is_small = self.tree.text().len() <= SMALL;
        let (tree, rest) = self.parted();
        if is_small {
            std::mem::forget(tree);
        }
        rest
    }

    /// As `without_text`, but the tree stays to the end of the program: for the
    /// last score that is read, after which nothing as large comes.
    pub fn with_its_text_unused(self) -> ReadScore<()> {
        let (tree, rest) = self.parted();
        std::mem::forget(tree);
        rest
    }

    /// As `without_text`, but all is freed: for programs that go on to other scores.
    pub fn and_the_text_freed(self) -> ReadScore<()> {
        self.parted().1
    }

    fn parted(self) -> (Tree<'i>, ReadScore<()>) {
        let ReadScore { file, score, warnings, tree } = self;
        (tree, ReadScore { file, score, warnings, tree: () })
    }

    /// The tree of its text.
    pub(crate) fn tree(&self) -> &Tree<'i> {
        &self.tree
    }

    /// The place of the part that is named; `None` where none is.
    ///
    /// # Errors
    /// Where the score has no such part.
    pub(crate) fn find(&mut self, line: &LineName) -> Result<Option<usize>, WishError> {
        Ok(line.find(&mut self.score, &self.file)?)
    }

    /// A practice sheet: the hardest stretches of one line, and what one does with each.
    ///
    /// # Errors
    /// Where the score has no such line, nobody says for which line or instrument, or there is nothing to practise.
    pub fn exercises(
        &mut self,
        line: &LineName,
        wishes: &InstrumentWishes,
        own: &ExerciseWishes,
    ) -> Result<PracticeSheet, WishError> {
        let place = match line.find(&mut self.score, &self.file)? {
            Some(place) => place,
            None if self.score.printed().len() == 1 => 0,
            None => {
                let of = |(place, part): (usize, &Part)| format!("{} {}", place + 1, part.spoken());
                let parts = self.score.printed().iter().enumerate().map(of).collect();
                return Err(ExerciseError::WhichPart(parts).into());
            }
        };
        let part = &self.score.parts[place];
        let named = wishes.named()?;
        let Some(PlayedOn { instrument, guessed }) = wishes.of_part(&named, &part.name).first().copied() else {
            return Err(ExerciseError::NoInstrument { part: part.spoken().into_owned() }.into());
        };
        let (read_as, _) = ReadAs::of(part, instrument, wishes.octave);
        let (chart, tempo) = (Chart::recorder(), Tempo::of(&self.score, wishes.tempo));
        let clefs = |bar: usize, staff: u32| clef_at(&self.tree, part, bar, staff);
        let view = View::new(read_as, instrument);
        let player = Player { part, instrument, view, chart: &chart, tempo: &tempo, clefs: &clefs };
        let mut practice = player.practise(own)?;
        let Heading { title, subtitle, composer } = musicxml::heading(&self.tree);
        let sheet = &mut practice.sheet;
        sheet.title = title.or(subtitle).unwrap_or_else(|| part.spoken().into_owned());
        sheet.subtitle = Some("Practice sheet".into());
        sheet.composer = composer;
        sheet.description = format!("Exercises made from {}", self.tree.input.file_name());
        let score = ScoreName { file: self.file.clone(), title: self.score.title.clone() };
        let report = ExercisesReport::new(&player, guessed, &practice, score, self.warnings.clone());
        Ok(PracticeSheet { report, sheet: practice.sheet })
    }

    /// One line of it as a score of its own: the tune of a piano edition.
    ///
    /// # Errors
    /// Where the score has no such line, or the text with it is not what it should be.
    pub fn extract(&mut self, line: &LineName) -> Result<Extracted, Failure> {
        let found = line.find(&mut self.score, &self.file).map_err(|error| Failure::Line(error.into()))?;
        let place = found.unwrap_or(0);
        let alone = clean::alone(&self.tree, &self.score, place)?;
        let warnings = [self.warnings.clone(), alone.warnings].concat();
        let line = self.score.parts[place].spoken().into_owned();
        Ok(Extracted { input: self.tree.input.with_text(alone.text), line, warnings })
    }
}

/// Exercises, and what they are.
#[derive(Debug)]
pub struct PracticeSheet {
    /// What is on the sheet.
    pub report: ExercisesReport,
    sheet: SheetPart,
}

impl PracticeSheet {
    /// The sheet as a score.
    pub fn musicxml(&self) -> String {
        self.sheet.to_musicxml(FingeringsAs::Fingerings)
    }

    /// The same for the engraver, which makes room for the fingerings.
    pub(crate) fn for_engraving(&self) -> String {
        self.sheet.to_musicxml(FingeringsAs::Syllables)
    }
}

/// One line of a score as a score of its own.
#[derive(Debug)]
pub struct Extracted {
    input: Input,
    line: String,
    warnings: Vec<String>,
}

impl Extracted {
    /// How the line is spoken of: its part, its staff, its voice.
    pub fn line(&self) -> &str {
        &self.line
    }

    /// Reads it; its warnings are those of the whole score and what was left out.
    ///
    /// # Errors
    /// Where the text cannot be read back.
    pub fn read(&self) -> Result<ReadScore<Tree<'_>>, Error> {
        Ok(ReadScore { warnings: self.warnings.clone(), ..ReadScore::of(&self.input)? })
    }
}

impl<T> ReadScore<T> {
    /// Its parts, bars, notes and marks.
    pub fn score(&self) -> &Score {
        &self.score
    }

    /// What was unusual in the file, in words, with part and bars.
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }
}

/// The instruments that a score is looked at for.
#[derive(Debug, Clone, Default)]
pub struct InstrumentWishes {
    /// Where instruments are looked up.
    pub instruments: Instruments,
    /// Instruments by name or alias; where none is named, the one that a part's name tells.
    pub names: Vec<String>,
    /// In which octave the parts are to be read.
    pub octave: Option<ReadAs>,
    /// Quarter notes per minute; else the score's first metronome mark, or 72 beats.
    pub tempo: Option<f64>,
}

/// A part by its place, and the instruments that it is looked at for.
type OnInstruments<'t> = (usize, Vec<PlayedOn<'t>>);

/// What was asked for and is not there.
#[derive(Debug, thiserror::Error)]
pub enum WishError {
    /// The score, or the edition, has no such line.
    #[error(transparent)]
    Line(#[from] LineError),
    /// The source has no such line.
    #[error(transparent)]
    SourceLine(LineError),
    /// No instrument is called so.
    #[error(transparent)]
    Instrument(#[from] instrument::Error),
    /// A part does not have these bars.
    #[error(transparent)]
    Bars(#[from] BarError),
    /// There is nothing to practise, or nobody says what.
    #[error(transparent)]
    Exercises(#[from] ExerciseError),
}

impl InstrumentWishes {
    /// The instruments that are named, each once.
    pub(crate) fn named(&self) -> Result<Vec<&Instrument>, instrument::Error> {
        let mut given: Vec<&Instrument> = Vec::new();
        for name in &self.names {
            let instrument = self.instruments.find(name)?;
            if !given.contains(&instrument) {
                given.push(instrument);
            }
        }
        Ok(given)
    }

    /// The instruments that are named, or else the one that a part's name tells.
    pub(crate) fn of_part<'t>(&'t self, named: &[&'t Instrument], name: &str) -> Vec<PlayedOn<'t>> {
        match named {
            [] => self
                .instruments
                .guess(name)
                .map(|instrument| PlayedOn { instrument, guessed: true })
                .into_iter()
                .collect(),
            _ => named.iter().map(|instrument| PlayedOn { instrument, guessed: false }).collect(),
        }
    }

    /// All parts of a score or one line of it, on these instruments.
    fn parts(&self, score: &Score, wanted: Option<usize>) -> Result<Vec<OnInstruments<'_>>, instrument::Error> {
        let named = self.named()?;
        let on = |p: usize| (p, self.of_part(&named, &score.parts[p].name));
        let all = if wanted.is_some() { score.parts.len() } else { score.printed().len() };
        Ok((0..all).filter(|p| wanted.is_none_or(|w| w == *p)).map(on).collect())
    }
}

impl ReadScore<()> {
    /// Opens and reads a score, and lets its text go; `-` is standard input.
    ///
    /// # Errors
    /// Where it is no score that can be read, with file, line and column.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, Error> {
        ReadScore::music(&Input::open(path)?)
    }

    /// As `open`, but all of the text is freed.
    ///
    /// # Errors
    /// As `open`.
    pub fn open_alone(path: impl AsRef<Path>) -> Result<Self, Error> {
        ReadScore::music_and(&Input::open(path)?, |read| read.and_the_text_freed())
    }

    /// Reads a score of which nothing but the music is needed, which takes less time than all of it.
    ///
    /// # Errors
    /// As `ReadScore::of`.
    pub fn music(input: &Input) -> Result<Self, Error> {
        ReadScore::music_and(input, |read| read.without_text())
    }

    /// The same; `let_go` says what becomes of the tree.
    pub(crate) fn music_and(input: &Input, let_go: fn(ReadScore<Tree<'_>>) -> Self) -> Result<Self, Error> {
        if let Some(lean) = input.lean()
            && let Ok((read, false)) = ReadScore::and_whether_unknown(&lean)
        {
            return Ok(let_go(read));
        }
        // An error has its place in the text as it is, and an element that no score should have is told in full.
        ReadScore::of(input).map(let_go)
    }
}

impl<T> ReadScore<T> {
    /// The notes of a line, or of all parts, that leave an instrument's range, and the hardest stretches.
    ///
    /// ```
    /// use obelus::{InstrumentWishes, LineName, ReadScore};
    ///
    /// let mut score = ReadScore::open("corpus/demo/edition.musicxml")?;
    /// let wishes = InstrumentWishes { names: vec!["alto recorder".into()], ..InstrumentWishes::default() };
    /// let report = score.range(&LineName::default(), &wishes)?;
    /// println!("{}", report.json());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// Where the score has no such line, or an instrument is unknown.
    pub fn range<'w>(&mut self, line: &LineName, wishes: &'w InstrumentWishes) -> Result<RangeReport, WishError> {
        let wanted = line.find(&mut self.score, &self.file)?;
        let parts = wishes.parts(&self.score, wanted)?;
        let first = |(place, on): OnInstruments<'w>| (place, on.first().copied());
        let parts: Vec<_> = parts.into_iter().map(first).collect();
        let tempo = Tempo::of(&self.score, wishes.tempo);
        Ok(report::range_report(&self.score, &self.file, &parts, wishes.octave, &tempo, self.warnings.clone()))
    }

    /// Every key in which a line, or each part, could be played, the one that lies best first.
    ///
    /// ```
    /// use obelus::{InstrumentWishes, LineName, ReadScore};
    ///
    /// let mut score = ReadScore::open("corpus/demo/source.musicxml")?;
    /// let oboe = LineName { part: Some("Oboe".into()), ..LineName::default() };
    /// let wishes = InstrumentWishes { names: vec!["alto recorder".into()], ..InstrumentWishes::default() };
    /// let report = score.keys(&oboe, &wishes)?;
    /// println!("{} keys", report.parts[0].instruments[0].transpositions.len());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// Where the score has no such line, or an instrument is unknown.
    pub fn keys(&mut self, line: &LineName, wishes: &InstrumentWishes) -> Result<KeysReport, WishError> {
        let wanted = line.find(&mut self.score, &self.file)?;
        let parts = wishes.parts(&self.score, wanted)?;
        let tempo = Tempo::of(&self.score, wishes.tempo);
        Ok(report::keys_report(&self.score, &self.file, &parts, wishes.octave, &tempo, self.warnings.clone()))
    }

    /// The marks that this copy has and `base`, from which it was made, has not, as a mark sheet. `None` where the two
    /// have no part in common.
    pub fn own_marks<U>(&self, base: &ReadScore<U>) -> Option<Lifted> {
        let collation = collate::collate(&self.score, &base.score, Choice::default());
        if collation.parts.is_empty() {
            return None;
        }
        let found = findings::find(&self.score, &base.score, &collation);
        let parts: Vec<_> = collation.parts.iter().map(|a| a.edition).zip(&found).collect();
        Some(clean::lift(&self.score, &parts))
    }
}
