//! The engraver's side of the conversation.

use super::job::{Drawing, Job, Layout};
use super::mei::{Colors, dress};
use super::metre::counted;
use super::pages;
use super::resources::Folder;
use super::toolkit::Toolkit;
use serde_json::json;
use std::io::{self, Read, Write};

/// Address space that the engraver may take, bytes.
#[cfg(target_os = "linux")]
const ROOM: u64 = 8 << 30;

/// Hears a job, says the drawing. Says nothing when there is none.
///
/// # Errors
/// When the other side cannot be heard or spoken to, or there is no place for fonts.
pub fn work(mut from: impl Read, mut to: impl Write) -> io::Result<()> {
    #[cfg(target_os = "linux")]
    {
        use rustix::process::{Resource, Rlimit, setrlimit};
        let limit = Rlimit { current: Some(ROOM), maximum: Some(ROOM) };
        setrlimit(Resource::As, limit)?;
    }
    let mut said = Vec::new();
    from.read_to_end(&mut said)?;
    let job: Job = serde_json::from_slice(&said)?;
    let fonts = Folder::find()?;
    let drawn = Toolkit::with(&fonts.path().display().to_string(), |toolkit| draw(toolkit, &job)).flatten();
    match drawn {
        Some(drawing) => to.write_all(&serde_json::to_vec(&drawing)?),
        None => Err(io::Error::new(io::ErrorKind::InvalidData, "nothing could be drawn")),
    }
}

fn draw(toolkit: &mut Toolkit, job: &Job) -> Option<Drawing> {
    toolkit.set(&json!({
        "breaks": "auto",
        "footer": "none",
        "header": "none",
        "font": "Leipzig",
        "smuflTextFont": "none",
        "svgHtml5": true,
        "svgRemoveXlink": true,
        "svgViewBox": true,
        // The same picture on every run.
        "xmlIdChecksum": true,
    }));
    match &job.layout {
        Layout::Systems { width, bars, beats, excerpts } => {
            let change = |mei: &str| dress(mei, Colors::Names).and_then(|mei| counted(&mei, beats));
            let loaded = toolkit.load_changed(&job.music, change);
            loaded.then(|| systems(toolkit, *width, *bars, excerpts)).flatten()
        }
        Layout::Pages(sheet) => pages::draw(toolkit, &job.music, sheet),
    }
}

/// A picture for each system, and of each excerpt one.
fn systems(toolkit: &mut Toolkit, width: u32, bars: (usize, usize), excerpts: &[(usize, usize)]) -> Option<Drawing> {
    toolkit.set(&json!({
        "adjustPageHeight": true,
        "mnumInterval": 1,
        "pageHeight": 60_000,
        "pageMarginBottom": 20,
        "pageMarginLeft": 50,
        "pageMarginRight": 20,
        "pageMarginTop": 20,
        "pageWidth": width,
        "svgBoundingBoxes": true,
        "systemMaxPerPage": 1,
    }));
    let pictures = toolkit.pages_of(bars)?;
    toolkit.set(&json!({ "adjustPageWidth": true, "pageWidth": 2 * width }));
    // What needs more than one system is left to the whole score.
    let one = |mut pictures: Vec<String>| if pictures.len() == 1 { pictures.pop() } else { None };
    let drawn = excerpts.iter().map(|e| toolkit.pages_of(*e).and_then(one).unwrap_or_default());
    Some(Drawing { pictures, excerpts: drawn.collect() })
}
