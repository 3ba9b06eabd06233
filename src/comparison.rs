//! An edition beside its source: read once, then audited, cleaned and shown.

mod decide;

pub(crate) use decide::{Otherwise, ToDecide};

use crate::beside::{self, SideBySide, Staves};
use crate::clean::{self, CleanCopy, Cleaned, Failure, Policy, Provenance, Sides, Texts, Wishes};
use crate::collate::{self, Choice, Collation, Layout, Lines, Pairing};
use crate::findings::{self, PartFindings};
use crate::instrument::PlayedOn;
use crate::keys::{Chart, Tempo};
use crate::musicxml::Tree;
use crate::read_score::{InstrumentWishes, ReadScore, WishError};
use crate::report::{self, Audit, Bars, Hands, Material, Notes, PartReport};
use std::cell::OnceCell;

/// Both sides as they lie beside each other, with what was found.
#[derive(Debug)]
struct Laid {
    collation: Collation,
    findings: Vec<PartFindings>,
}

/// An edition beside its source.
#[derive(Debug)]
pub struct Comparison<T> {
    edition: ReadScore<T>,
    source: ReadScore<T>,
    pairing: Pairing,
    /// Bars cut at each other's barlines, and strains played twice: as an audit looks at them.
    audited: OnceCell<Laid>,
    /// Bar beside bar, as a cleaning looks at them.
    whole: OnceCell<Laid>,
}

/// What an audit is to look at beyond the comparison itself.
#[derive(Debug, Clone, Default)]
pub struct AuditWishes {
    /// Against which instrument's range every part is checked: the first that is named. Only where one is named are its
    /// hardest stretches told.
    pub range: InstrumentWishes,
    /// Only these bars of the edition, by their printed numbers.
    pub bars: Option<Bars>,
}

/// The form of critical notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotesForm {
    /// For people, with tables.
    Markdown,
    /// A line for each finding, for other programs.
    Csv,
}

impl<T> Comparison<T> {
    /// Pairs the lines of both sides.
    ///
    /// # Errors
    /// Where `lines` names a line that a score does not have.
    pub fn new(mut edition: ReadScore<T>, mut source: ReadScore<T>, lines: &Lines) -> Result<Self, WishError> {
        let choice = Choice {
            edition: lines.edition.find(&mut edition.score, &edition.file).map_err(WishError::Line)?,
            source: lines.source.find(&mut source.score, &source.file).map_err(WishError::SourceLine)?,
        };
        let pairing = collate::pair_parts(&mut edition.score, &mut source.score, choice);
        Ok(Comparison { edition, source, pairing, audited: OnceCell::new(), whole: OnceCell::new() })
    }

    /// The edition; lines that no part prints are derived and added to its score.
    pub fn edition(&self) -> &ReadScore<T> {
        &self.edition
    }

    /// The source, as the edition.
    pub fn source(&self) -> &ReadScore<T> {
        &self.source
    }

    /// The places of the edition's printed parts that have a counterpart, or a line that has one.
    pub fn compared_parts(&self) -> Vec<usize> {
        let mut out: Vec<usize> =
            self.whole().collation.parts.iter().map(|a| self.edition.score.printed_part_of(a.edition)).collect();
        out.dedup();
        out
    }

    /// What was unusual in both files, in words.
    pub fn warnings(&self) -> Vec<String> {
        let of = |side: &str, warnings: &[String]| warnings.iter().map(|w| format!("{side}, {w}")).collect::<Vec<_>>();
        [of("edition", &self.edition.warnings), of("source", &self.source.warnings)].concat()
    }

    fn lay(&self, layout: Layout) -> Laid {
        let (edition, source) = (&self.edition.score, &self.source.score);
        let collation = collate::lay(edition, source, self.pairing.clone(), layout);
        let findings = findings::find(edition, source, &collation);
        Laid { collation, findings }
    }

    fn audited(&self) -> &Laid {
        self.audited.get_or_init(|| self.lay(Layout::Played))
    }

    fn whole(&self) -> &Laid {
        self.whole.get_or_init(|| self.lay(Layout::Printed))
    }

    fn material<'a>(&'a self, laid: &'a Laid, instruments: &'a [Option<PlayedOn<'a>>]) -> Material<'a> {
        Material {
            edition: &self.edition.score,
            source: &self.source.score,
            edition_file: &self.edition.file,
            source_file: &self.source.file,
            collation: &laid.collation,
            findings: &laid.findings,
            instruments,
            bars: None,
            asked: None,
            hands: None,
            warnings: Vec::new(),
        }
    }

    /// What the editor did, bar by bar.
    ///
    /// ```
    /// use obelus::{AuditWishes, Comparison, Input, InstrumentWishes, Lines, ReadScore};
    ///
    /// let files = ["edition", "source"].map(|name| format!("corpus/demo/{name}.musicxml"));
    /// let [edition, source] = [Input::open(&files[0])?, Input::open(&files[1])?];
    /// let comparison = Comparison::new(ReadScore::of(&edition)?, ReadScore::of(&source)?, &Lines::default())?;
    /// let range = InstrumentWishes { names: vec!["alto recorder".into()], ..InstrumentWishes::default() };
    /// let audit = comparison.audit(&AuditWishes { range, bars: None })?;
    /// for passage in audit.parts.iter().flat_map(|part| &part.passages).filter(|p| p.octaves.is_some()) {
    ///     println!("bars {} to {}: {} octaves", passage.from.bar, passage.to.bar, passage.octaves.unwrap_or(0));
    /// }
    /// # assert!(audit.parts[0].passages.iter().any(|p| p.octaves == Some(-1) && p.outside_range == Some(10)));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// Where a wish names a bar that a part does not have, or an unknown instrument.
    pub fn audit(&self, wishes: &AuditWishes) -> Result<Audit, WishError> {
        self.with_material(wishes, |material| Ok(report::audit(material)?))
    }

    fn with_material<R>(
        &self,
        wishes: &AuditWishes,
        then: impl FnOnce(Material) -> Result<R, WishError>,
    ) -> Result<R, WishError> {
        let range = &wishes.range;
        let named = range.named()?;
        let edition = &self.edition.score;
        let of =
            |pair: &collate::PartAlignment| range.of_part(&named, &edition.parts[pair.edition].name).into_iter().next();
        let instruments: Vec<_> = self.audited().collation.parts.iter().map(of).collect();
        let chart = named.first().map(|_| Chart::recorder());
        let tempo = Tempo::of(edition, range.tempo);
        then(Material {
            bars: wishes.bars.as_ref(),
            asked: range.octave,
            hands: chart.as_ref().map(|chart| Hands { chart, tempo: &tempo }),
            warnings: self.warnings(),
            ..self.material(self.audited(), &instruments)
        })
    }

    /// The audit as one page for a browser; `staves` are those of its parts, or none.
    ///
    /// # Errors
    /// As `audit`.
    pub fn page(
        &self,
        wishes: &AuditWishes,
        audit: &Audit,
        staves: &[Result<Staves, String>],
    ) -> Result<String, WishError> {
        self.with_material(wishes, |material| Ok(report::audit_html(&material, audit, staves)))
    }

    /// A file of decisions, TOML: one line for each finding that a cleaning has.
    pub fn decisions(&self) -> String {
        let Laid { collation, findings } = self.whole();
        clean::decisions_file(&self.edition.score, collation, findings, &Policy::default())
    }
}

impl<'i> Comparison<Tree<'i>> {
    /// Both sides bar beside bar, as a cleaning has them.
    fn sides(&self) -> Sides<'_, 'i> {
        self.sides_of(self.whole())
    }

    fn sides_of<'a>(&'a self, laid: &'a Laid) -> Sides<'a, 'i> {
        Sides {
            edition_tree: &self.edition.tree,
            edition: &self.edition.score,
            source_tree: &self.source.tree,
            source: &self.source.score,
            collation: &laid.collation,
            findings: &laid.findings,
        }
    }

    /// Makes a clean copy, proves it, and does what else is wished for. Gives the copy, and what was done. `provenance`
    /// is written into the copy if anything changed; `texts` keeps the texts that the copy had on the way.
    ///
    /// ```
    /// use obelus::{Category, Comparison, Input, Lines, Policy, ReadScore, Texts, Wishes};
    ///
    /// let edition = Input::open("corpus/demo/edition.musicxml")?;
    /// let source = Input::open("corpus/demo/source.musicxml")?;
    /// let comparison = Comparison::new(ReadScore::of(&edition)?, ReadScore::of(&source)?, &Lines::default())?;
    /// let policy = Policy { keep: [Category::Breath].into(), ..Policy::default() };
    /// let texts = Texts::new();
    /// let (copy, done) = comparison.clean(&policy, &Wishes::default(), None, &texts)?;
    /// println!("{} notes proved, {} findings kept", done.proof.notes, done.summary.kept);
    /// # assert!(copy.text().contains("<breath-mark"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the decisions are not of these scores, a wish cannot be fulfilled, or the copy cannot be proved.
    pub fn clean<'t>(
        &self,
        policy: &Policy,
        wishes: &Wishes,
        provenance: Option<&Provenance>,
        texts: &'t Texts,
    ) -> Result<(CleanCopy<'t>, Cleaned), Failure> {
        clean::clean(self.sides(), policy, wishes, provenance, texts)
    }

    /// Critical notes on a cleaning: each intervention with what became of it. `remarks` come at the end.
    pub fn critical_notes(
        &self,
        form: NotesForm,
        cleaned: &Cleaned,
        provenance: Option<&Provenance>,
        remarks: &[String],
    ) -> String {
        let laid = self.audited();
        let audit =
            report::audit(self.material(laid, &vec![None; laid.collation.parts.len()])).expect("all bars are there");
        let sides = self.sides();
        let notes = Notes {
            audit: &audit,
            edition: sides.edition,
            source: sides.source,
            collation: &laid.collation,
            findings: &laid.findings,
            outcomes: &clean::outcomes(sides, cleaned, &laid.collation, &laid.findings),
            names: &clean::finding_names(sides.edition, sides.collation, sides.findings),
            rows: &cleaned.rows,
            on: &cleaned.on,
            provenance,
            remarks,
        };
        match form {
            NotesForm::Markdown => notes.markdown(),
            NotesForm::Csv => notes.csv(),
        }
    }

    /// Source and edition as one score, bar beside bar in the edition's key.
    pub fn side_by_side(&self) -> SideBySide {
        beside::side_by_side(self.sides(), &self.audited().collation.outline)
    }

    /// The staves of an audit's parts, drawn; or why there are none, in a sentence.
    pub fn staves(&self, audit: &Audit) -> Vec<Result<Staves, String>> {
        let sides = self.sides_of(self.audited());
        let of = |(place, part): (usize, &PartReport)| beside::staves(sides, place, &part.looked_at());
        audit.parts.iter().enumerate().map(of).collect()
    }
}
