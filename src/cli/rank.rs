//! `obelus rank`: which of several editions has least of an editor in it.

use super::audit::{Form, width};
use super::failure::Failure;
use super::files::{Files, is_same_file};
use super::input::ReadFor;
use super::output::{Content, Output, suits};
use super::progress::Count;
use crate::rank::{Against, Audits, Contest, Library, Shard, editions};
use crate::report::RankedEdition;
use crate::{AuditWishes, Input, LineName, Lines, ReadScore};
use std::path::{Path, PathBuf};

/// Which of several editions has least of an editor in it
#[derive(Debug, clap::Args)]
#[command(
    after_help = EXAMPLES,
    override_usage = "obelus rank [OPTIONS] <SOURCE> <EDITION>...\n       obelus rank [OPTIONS] --sources <DIR> <EDITION>..."
)]
pub struct Args {
    /// The plain source, then the editions; a folder stands for all scores in it. With --sources all are editions
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Lay each edition beside the score of this folder whose music it is, in whatever key
    #[arg(long, value_name = "DIR")]
    sources: Option<PathBuf>,
    /// Compare only this part of the editions: its id, name or number
    #[arg(long, value_name = "P")]
    part: Option<String>,
    /// Compare with this part of the source: its id, name or number
    #[arg(long, value_name = "P")]
    source_part: Option<String>,
    /// Do not put editions in another key last
    #[arg(long)]
    any_key: bool,
    /// Count the notes that leave this instrument's range
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    #[command(flatten)]
    read_for: ReadFor,
    /// Also write each audit to this folder, as a page; a ranking as a page links to them
    #[arg(long, value_name = "DIR")]
    audits: Option<PathBuf>,
    /// The form of the ranking
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Instead of a ranking, write each edition as soon as it is compared: one line of JSON, in the order of the files
    #[arg(long, conflicts_with_all = ["format", "any_key"])]
    lines: bool,
    /// Look only at every N-th edition, from the I-th on, for work that several machines share
    #[arg(long, value_name = "I/N")]
    shard: Option<Shard>,
    /// Write to this file [default: standard output]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  obelus rank source.musicxml first.musicxml second.mxl more-editions/
  obelus rank source.mxl editions/ --instrument \"alto recorder\"
  obelus rank source.mxl editions/ --format html -o ranking.html --audits audits
  obelus rank --sources urtexts/ editions/
  obelus rank --sources urtexts/ editions/ --lines --shard 3/16 -o part-3.jsonl";

pub fn run(args: &Args) -> Result<u8, Failure> {
    crate::rank::take_cores();
    let (source, named) = split(args)?;
    if args.lines {
        suits(args.output.as_deref(), "a file of JSON lines", &["jsonl", "ndjson", "json"])?;
    } else {
        args.format.suits("a ranking", args.output.as_deref())?;
    }
    let mut all = editions(named).map_err(Failure::wrong_use)?;
    // The source is often in the folder of the editions.
    if let Some(source) = source {
        all.retain(|file| !is_same_file(file, source));
    }
    if all.is_empty() {
        return Err(Failure::wrong_use("there is no edition besides the source; name one, or a folder of them"));
    }
    let mut inputs: Vec<&Path> = all.iter().map(PathBuf::as_path).collect();
    inputs.extend(source);
    inputs.extend(args.read_for.file());
    let mut named = Files::new(&inputs)?;
    let output = named.output(args.output.as_deref())?;
    let wishes = wishes(args)?;
    let files = args.shard.map_or_else(|| all.clone(), |shard| shard.of(all.clone()));
    let audits = args.audits.as_deref().map(|folder| audits(folder, &files, &mut named)).transpose()?;
    let line = |part: &Option<String>| LineName { part: part.clone(), ..LineName::default() };
    let lines = Lines { edition: line(&args.part), source: line(&args.source_part) };
    let against = match (source, &args.sources) {
        (Some(source), _) => against(source, audits.is_some())?,
        (None, Some(folder)) => {
            let progress = Count::new("sources", None);
            Against::Library(Library::open(folder, || progress.step()).map_err(Failure::unreadable)?)
        }
        (None, None) => unreachable!("clap and split see to it"),
    };
    let contest = Contest { against, lines, wishes, audits };
    compare(args, &contest, &files, &output)
}

/// The source; its text too, where pages are to be made of it.
fn against(source: &Path, with_text: bool) -> Result<Against, Failure> {
    let input = Input::open(source)?;
    let score = ReadScore::music_and(&input, |read| read.and_the_text_freed())?;
    Ok(Against::Source { score, text: with_text.then_some(input) })
}

/// The source and what else was named.
fn split(args: &Args) -> Result<(Option<&Path>, &[PathBuf]), Failure> {
    match (&args.sources, args.files.as_slice()) {
        (Some(folder), all) if folder.is_dir() => Ok((None, all)),
        (Some(folder), _) => Err(Failure::wrong_use(format!("{}: there is no such folder", folder.display()))),
        (None, [source, editions @ ..]) if !editions.is_empty() => {
            if source.is_dir() {
                let name = source.display();
                return Err(Failure::wrong_use(format!(
                    "{name}: the source is one score; a folder of sources is named with --sources"
                )));
            }
            Ok((Some(source), editions))
        }
        _ => Err(Failure::wrong_use("name the source, then the editions: obelus rank SOURCE EDITION…")),
    }
}

fn wishes(args: &Args) -> Result<AuditWishes, Failure> {
    let range = args.read_for.wishes(args.instrument.as_slice(), None)?;
    if let Some(name) = &args.instrument {
        range.instruments.find(name)?;
    }
    Ok(AuditWishes { range, bars: None })
}

/// The folder is made if it is not there.
fn audits(folder: &Path, files: &[PathBuf], named: &mut Files) -> Result<Audits, Failure> {
    std::fs::create_dir_all(folder)
        .map_err(|e| Failure::wrong_use(format!("{}: this folder cannot be made: {e}", folder.display())))?;
    let audits = Audits::new(folder.to_path_buf(), files);
    for page in audits.pages() {
        named.output(Some(&page))?;
    }
    Ok(audits)
}

fn compare(args: &Args, contest: &Contest, files: &[PathBuf], output: &Output) -> Result<u8, Failure> {
    let progress = Count::new("editions", Some(files.len() as u64));
    let (mut kept, mut lines, mut failed) = (Vec::new(), String::new(), Ok(()));
    let mut read_any = files.is_empty();
    contest.run(files, |edition| {
        progress.step();
        read_any |= edition.readable;
        if !args.lines {
            kept.push(edition);
        } else if output.is_file() {
            lines += &edition.json_line();
        } else if failed.is_ok() {
            failed = progress.aside(|| output.write(Content::Data(&edition.json_line())));
        }
    });
    progress.finish();
    failed?;
    if args.lines {
        if output.is_file() {
            output.write(Content::Bytes(lines.as_bytes()))?;
        }
    } else {
        write(args, contest, kept, output)?;
    }
    if read_any { Ok(0) } else { Err(Failure::unreadable("none of the editions could be read")) }
}

fn write(args: &Args, contest: &Contest, editions: Vec<RankedEdition>, output: &Output) -> Result<(), Failure> {
    let mut ranking = contest.ranking(editions, args.any_key);
    match args.format {
        Form::Text => output.write(Content::Text(&ranking.text(width()))),
        Form::Json => output.write(Content::Data(&ranking.json())),
        Form::Csv => output.write(Content::Bytes(ranking.csv().as_bytes())),
        Form::Html => {
            let folder = args.output.as_deref().and_then(Path::parent).unwrap_or(Path::new(""));
            ranking.editions.iter_mut().for_each(|e| e.audit = e.audit.as_deref().map(|audit| link(folder, audit)));
            output.write(Content::Bytes(ranking.page().as_bytes()))
        }
    }
}

/// How a page in `folder` names another file.
fn link(folder: &Path, file: &str) -> String {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let whole = Path::new(file).canonicalize().unwrap_or_else(|_| file.into());
    let below = folder.canonicalize().ok().and_then(|folder| Some(whole.strip_prefix(folder).ok()?.to_path_buf()));
    let (path, before) = match &below {
        Some(below) => (below.as_path(), ""),
        None => (whole.as_path(), "file://"),
    };
    let is_plain = |b: &u8| b.is_ascii_alphanumeric() || b"-._~/".contains(b);
    let text = path.to_string_lossy();
    let encoded: String =
        text.bytes().map(|b| if is_plain(&b) { char::from(b).to_string() } else { format!("%{b:02X}") }).collect();
    format!("{before}{encoded}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_links_to_what_lies_below_it() {
        let folder = tempfile::tempdir().expect("a folder");
        let audits = folder.path().join("the audits");
        std::fs::create_dir(&audits).expect("a folder");
        let page = audits.join("op. 1 #2.html");
        std::fs::write(&page, "").expect("a file");
        assert_eq!(link(folder.path(), page.to_str().expect("text")), "the%20audits/op.%201%20%232.html");
        assert!(link(&audits.join(".."), page.to_str().expect("text")).starts_with("the%20audits/"));
        let elsewhere = tempfile::tempdir().expect("a folder");
        assert!(link(elsewhere.path(), page.to_str().expect("text")).starts_with("file:///"));
    }
}
