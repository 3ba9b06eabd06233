//! The engraver's side of the conversation.

use super::barlines;
use super::job::{Drawing, Job, Piece, Strip};
use super::mei::{Colors, paint};
use super::metre::counted;
use super::pages;
use super::places::given;
use super::process::seconds;
use super::resources::Folder;
use super::sides::signed;
use super::toolkit::Toolkit;
use serde_json::json;
use std::io::{self, Read, Write};

/// Hears a job, says the drawing. Says nothing when there is none.
///
/// # Errors
/// When the other side cannot be heard or spoken to, or there is no place for fonts.
pub fn work(mut from: impl Read, mut to: impl Write) -> io::Result<()> {
    #[cfg(target_os = "linux")]
    bounds::set()?;
    let mut said = Vec::new();
    from.read_to_end(&mut said)?;
    let job: Job = serde_json::from_slice(&said)?;
    #[cfg(target_os = "linux")]
    {
        // A little more than who called it waits.
        bounds::set_time(seconds(&job) + 5)?;
        bounds::set_room(job.bytes())?;
    }
    let fonts = Folder::find()?;
    let drawn = Toolkit::with(&fonts.path().display().to_string(), |toolkit| draw(toolkit, &job)).flatten();
    match drawn {
        Some(drawing) => to.write_all(&serde_json::to_vec(&drawing)?),
        None => Err(io::Error::new(io::ErrorKind::InvalidData, "nothing could be drawn")),
    }
}

/// What the system itself holds the engraver to, whatever becomes of who called it.
#[cfg(target_os = "linux")]
mod bounds {
    use rustix::process::{Resource, Rlimit, Signal, getrlimit, set_parent_process_death_signal, setrlimit};
    use std::io;

    /// Address space, bytes: at most, at least, and for each byte of music.
    const MOST: u64 = 8 << 30;
    const LEAST: u64 = 1 << 30;
    const FOR_BYTE: u64 = 256;

    /// It ends with the thread that called it, which waits for the answer.
    pub fn set() -> io::Result<()> {
        set_parent_process_death_signal(Some(Signal::KILL))?;
        limit(Resource::As, MOST)
    }

    /// Address space for so many bytes of music.
    pub fn set_room(bytes: usize) -> io::Result<()> {
        limit(Resource::As, (LEAST + bytes as u64 * FOR_BYTE).min(MOST))
    }

    /// Seconds of processor time.
    pub fn set_time(seconds: u64) -> io::Result<()> {
        limit(Resource::Cpu, seconds)
    }

    /// What whoever called the program allows is not exceeded.
    fn limit(resource: Resource, most: u64) -> io::Result<()> {
        let most = getrlimit(resource).maximum.map_or(most, |allowed| allowed.min(most));
        Ok(setrlimit(resource, Rlimit { current: Some(most), maximum: Some(most) })?)
    }
}

fn draw(toolkit: &mut Toolkit, job: &Job) -> Option<Drawing> {
    toolkit.set(&json!({
        "breaks": "auto",
        "footer": "none",
        "header": "none",
        "font": "Leipzig",
        "smuflTextFont": "none",
        "svgViewBox": true,
        // The same picture on every run.
        "xmlIdChecksum": true,
    }));
    match job {
        Job::Systems(pieces) => systems(toolkit, pieces),
        Job::Strips(all) => strips(toolkit, all),
        Job::Pages { music, layout } => pages::draw(toolkit, music, layout),
    }
}

/// What pictures on a page of text have in common.
fn set_for_text(toolkit: &mut Toolkit) {
    toolkit.set(&json!({
        "adjustPageHeight": true,
        "mnumInterval": 1,
        "pageHeight": 60_000,
        "pageMarginBottom": 20,
        "pageMarginLeft": 50,
        "pageMarginRight": 20,
        "pageMarginTop": 20,
        "systemDivider": "none",
        // A browser reads these.
        "svgHtml5": true,
        "svgRemoveXlink": true,
    }));
}

/// Pictures of one part.
fn strips(toolkit: &mut Toolkit, all: &[Strip]) -> Option<Drawing> {
    set_for_text(toolkit);
    let drawn = |strip: &Strip| {
        toolkit.set(&json!({ "breaks": "encoded", "minLastJustification": 0.0, "pageWidth": strip.width }));
        toolkit.load_changed(&strip.music, |mei| paint(mei, Colors::Names)).then(|| toolkit.pages())
    };
    Some(Drawing { pictures: all.iter().map(drawn).collect::<Option<_>>()? })
}

/// Pictures of systems.
fn systems(toolkit: &mut Toolkit, pieces: &[Piece]) -> Option<Drawing> {
    set_for_text(toolkit);
    let drawn = |piece: &Piece| {
        toolkit.set(&match piece.width {
            Some(width) => json!({ "adjustPageWidth": false, "breaks": "auto", "pageWidth": width }),
            None => json!({ "adjustPageWidth": true, "breaks": "none" }),
        });
        let change = |mei: &str| {
            let painted = paint(mei, Colors::Names)?;
            signed(&counted(&painted, &piece.beats)?, &piece.beats, &piece.signs)
        };
        let pages = toolkit.load_changed(&piece.music, change).then(|| toolkit.pages())?;
        given(&barlines::of_each_side(&pages, piece.beats.upper, &piece.signs)?)
    };
    Some(Drawing { pictures: pieces.iter().map(drawn).collect::<Option<_>>()? })
}
