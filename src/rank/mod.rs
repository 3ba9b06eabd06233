//! Many editions beside one source, or beside those of a folder: which has
//! least of an editor in it. Each edition is read, compared and let go; all
//! cores work, and memory is bounded by their number.

mod files;
mod library;

use crate::collate::Lines;
use crate::comparison::{AuditWishes, Comparison};
use crate::engrave;
use crate::musicxml::{Error, Input, Tree};
use crate::read_score::{ReadScore, WishError};
use crate::report::{Audit, Candidate, Figures, RankedEdition, Ranking, SCHEMA, ScoreName};
use crate::whole_file;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

pub use files::{Shard, editions};
pub use library::Library;

/// What the editions are compared with.
pub enum Against {
    /// One source; with its text, where audits are written.
    Source {
        /// As it was read.
        score: ReadScore<()>,
        /// The same, unread.
        text: Option<Input>,
    },
    /// Whichever of a folder has their music.
    Library(Library),
}

/// How the editions are compared.
pub struct Contest {
    /// With what.
    pub against: Against,
    /// The part that is looked at on either side.
    pub lines: Lines,
    /// The instrument whose range is checked.
    pub wishes: AuditWishes,
    /// Where the audits are written, each as a page.
    pub audits: Option<Audits>,
}

/// A folder for the audits, and the names of their pages in the order of the editions.
pub struct Audits {
    folder: PathBuf,
    names: Vec<String>,
}

impl Audits {
    /// Names for the pages of these editions: each that of its file, numbered where two would be the same.
    pub fn new(folder: PathBuf, files: &[PathBuf]) -> Audits {
        let mut taken: BTreeMap<String, usize> = BTreeMap::new();
        let name = |file: &PathBuf| {
            let stem = file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            // Some systems make no difference between large and small letters.
            let count = taken.entry(stem.to_lowercase()).or_default();
            *count += 1;
            if *count == 1 { format!("{stem}.html") } else { format!("{stem}-{count}.html") }
        };
        let names = files.iter().map(name).collect();
        Audits { folder, names }
    }

    /// All pages that may be written.
    pub fn pages(&self) -> impl Iterator<Item = PathBuf> + '_ {
        self.names.iter().map(|name| self.folder.join(name))
    }
}

/// What is shown where an edition stopped the program; it goes on with the others.
const BROKE: &str = "this file cannot be compared: the program failed on it; please report it";

/// All cores are to work, or where the system has no threads for them this one alone. Once, before all else.
pub fn take_cores() {
    if rayon::ThreadPoolBuilder::new().build().is_err() {
        // Where somebody has taken them before, it stays so.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global();
    }
}

impl Contest {
    /// Compares all editions and gives each away, in their order, as soon as those before it are done.
    pub fn run(&self, files: &[PathBuf], mut done: impl FnMut(RankedEdition)) {
        let one = |place: usize, file: &PathBuf| {
            let edition = catch_unwind(AssertUnwindSafe(|| self.edition(place, file)));
            edition.unwrap_or_else(|_| RankedEdition::without_figures(shown(file), BROKE.into()))
        };
        if rayon::current_num_threads() < 2 {
            files.iter().enumerate().for_each(|(place, file)| done(one(place, file)));
            return;
        }
        let (next, one) = (AtomicUsize::new(0), &one);
        let (send, receive) = mpsc::channel();
        std::thread::scope(|scope| {
            // One after the other, so that none has to wait long for those before it.
            let work = move |_: rayon::BroadcastContext| {
                loop {
                    let place = next.fetch_add(1, Ordering::Relaxed);
                    let Some(file) = files.get(place) else { break };
                    if send.send((place, one(place, file))).is_err() {
                        break;
                    }
                }
            };
            scope.spawn(move || rayon::broadcast(work));
            let mut waiting = BTreeMap::new();
            let mut due = 0;
            for (place, edition) in receive {
                waiting.insert(place, edition);
                while let Some(edition) = waiting.remove(&due) {
                    done(edition);
                    due += 1;
                }
            }
        });
    }

    /// The ranking of editions that were compared.
    pub fn ranking(&self, editions: Vec<RankedEdition>, any_key: bool) -> Ranking {
        let name = |source: &ReadScore<()>| ScoreName { file: source.file.clone(), title: source.score.title.clone() };
        let (source, sources, warnings) = match &self.against {
            Against::Source { score: source, .. } => {
                let of = |warning: &String| format!("source, {warning}");
                (Some(name(source)), None, source.warnings.iter().map(of).collect())
            }
            Against::Library(library) => (None, Some(library.folder.clone()), library.warnings.clone()),
        };
        let instrument = self.wishes.range.names.first().cloned();
        let mut ranking =
            Ranking { schema: SCHEMA, source, sources, instrument, order: Vec::new(), editions, warnings };
        ranking.sort(any_key);
        ranking
    }

    fn edition(&self, place: usize, file: &Path) -> RankedEdition {
        let read = || {
            let input = Input::open(file)?;
            let edition = ReadScore::music_and(&input, |read| read.and_the_text_freed())?;
            Ok::<_, Error>((input, edition))
        };
        let (input, edition) = match read() {
            Ok(read) => read,
            Err(error) => return RankedEdition::without_figures(shown(file), error.to_string()),
        };
        let title = edition.score.title.clone();
        let bare =
            RankedEdition { readable: true, title, ..RankedEdition::without_figures(shown(file), String::new()) };
        let told = |fault| RankedEdition { fault: Some(fault), ..bare.clone() };
        let found = match &self.against {
            Against::Source { score, text } => {
                self.with_the_source(place, &input, edition, (score, text.as_ref()), &bare)
            }
            Against::Library(library) => self.with_its_source(place, &input, edition, library, &bare),
        };
        found.unwrap_or_else(told)
    }

    fn with_the_source(
        &self,
        place: usize,
        input: &Input,
        edition: ReadScore<()>,
        (source, text): (&ReadScore<()>, Option<&Input>),
        bare: &RankedEdition,
    ) -> Result<RankedEdition, String> {
        let name = source.file.clone();
        let (audit, figures) = self.beside(edition, source.clone())?;
        if figures.is_none() {
            return Err(NOTHING.into());
        }
        let page = text.map(|text| self.page(place, input, text, &audit)).transpose()?.flatten();
        Ok(RankedEdition { source: Some(name), fault: None, figures, audit: page, ..bare.clone() })
    }

    /// Compares it with those of the library that come near, and keeps the likest.
    fn with_its_source(
        &self,
        place: usize,
        input: &Input,
        edition: ReadScore<()>,
        library: &Library,
        bare: &RankedEdition,
    ) -> Result<RankedEdition, String> {
        let mut found = Vec::new();
        for path in library.near(&edition.score) {
            let source = ReadScore::open_alone(path).map_err(|e| e.to_string())?;
            let same_title = source.score.title.is_some() && source.score.title == edition.score.title;
            let (audit, Some(figures)) = self.beside(edition.clone(), source)? else { continue };
            let alone = audit.not_compared.edition.iter().filter(|line| !line.doubles).map(|line| line.notes).sum();
            let candidate = Candidate { file: shown(path), alike_in_100: figures.likeness(alone) };
            found.push((candidate, figures.marks.all(), !same_title, path, audit, (figures, alone)));
        }
        found.sort_by(|a, b| {
            let likeness = b.0.alike_in_100.total_cmp(&a.0.alike_in_100);
            likeness.then((a.1, a.2, a.3).cmp(&(b.1, b.2, b.3)))
        });
        let candidates: Vec<Candidate> = found.iter().map(|f| f.0.clone()).collect();
        let Some((best, _, _, path, audit, (figures, alone))) = found.into_iter().next() else {
            return Err(library.nothing());
        };
        if figures.shared(alone) < library::LEAST_SHARED_NOTES {
            let nearest =
                format!("{}; the nearest, {}, has {} of 100 notes", library.nothing(), best.file, best.alike_in_100);
            return Ok(RankedEdition { fault: Some(nearest), candidates, ..bare.clone() });
        }
        let is_ahead = |next: &Candidate| next.alike_in_100 + library::MARGIN <= best.alike_in_100;
        let sure = best.alike_in_100 >= library::LEAST_SURE && candidates.get(1).is_none_or(is_ahead);
        let source = || Input::open(path).map_err(|e| e.to_string());
        let page = match self.audits {
            Some(_) => self.page(place, input, &source()?, &audit)?,
            None => None,
        };
        let near = candidates.into_iter().filter(|c| c.alike_in_100 + library::MARGIN > best.alike_in_100).collect();
        let source = Some(best.file);
        Ok(RankedEdition {
            source,
            sure: Some(sure),
            candidates: near,
            fault: None,
            figures: Some(figures),
            audit: page,
            ..bare.clone()
        })
    }

    fn beside(&self, edition: ReadScore<()>, source: ReadScore<()>) -> Result<(Audit, Option<Figures>), String> {
        let comparison = Comparison::new(edition, source, &self.lines).map_err(told)?;
        let audit = comparison.audit(&self.wishes).map_err(told)?;
        let figures = Figures::of(&audit, !self.wishes.range.names.is_empty());
        Ok((audit, figures))
    }

    /// Writes the page of an audit, with staves where they can be drawn; gives its place.
    fn page(&self, place: usize, input: &Input, source: &Input, audit: &Audit) -> Result<Option<String>, String> {
        let Some(audits) = &self.audits else { return Ok(None) };
        let read = |input| ReadScore::of(input).map_err(|e| e.to_string());
        let comparison: Comparison<Tree> = Comparison::new(read(input)?, read(source)?, &self.lines).map_err(told)?;
        let staves = if engrave::IS_BUILT_IN { comparison.staves(audit) } else { Vec::new() };
        let page = comparison.page(&self.wishes, audit, &staves).map_err(told)?;
        let file = audits.folder.join(&audits.names[place]);
        whole_file::write(&file, page.as_bytes()).map_err(|e| format!("{}: cannot be written: {e}", shown(&file)))?;
        Ok(Some(shown(&file)))
    }
}

/// Said where no part of an edition has the source's music.
const NOTHING: &str = "no part of it has the music of the source";

fn told(error: WishError) -> String {
    error.to_string()
}

/// A file as messages name it.
fn shown(file: &Path) -> String {
    file.display().to_string()
}
