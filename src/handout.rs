//! A score as pages to hand out.

use crate::engrave::pdf::{self, About};
use crate::engrave::{Head, HeadLine, Job, PageLayout, Paper, engrave};
use crate::musicxml::beside::{Brackets, Side, Staff, Styles, Typed, too_long, write_alone};
use crate::musicxml::{Heading, Tree};
use crate::readable::one_line;
use crate::score::{Part, Score, Sound};
use crate::time::Time;

/// What the pages show besides the music.
pub struct Handout<'a> {
    pub paper: Paper,
    /// Height of a staff, in millimetres; `None` for one that suits the pages.
    pub staff_size: Option<f64>,
    /// So many pages at most, where smaller staves can do it and no size is given.
    pub most_pages: Option<usize>,
    /// The place of the only part that is shown; `None` for all.
    pub part: Option<usize>,
    /// Drawn where the score has additions that are set apart.
    pub brackets: Brackets,
    pub heading: Heading,
    /// A line at the foot of the first page.
    pub foot: &'a str,
    /// What brackets and colours mean, above the foot.
    pub key: Option<&'a str>,
}

/// Why there are no pages.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Engraver(#[from] crate::engrave::Error),
    #[error("the pages have {drawn} of the score's {wanted} notes; open it in a notation program and print it there")]
    Missing { drawn: usize, wanted: usize },
    #[error(transparent)]
    Pdf(#[from] pdf::Error),
    #[error("part {0}: {1}")]
    Length(String, String),
}

/// The pages of a score, as the bytes of a PDF.
///
/// # Errors
/// When the engraver fails, or what it drew cannot be put on paper.
pub fn pdf(tree: &Tree, score: &Score, handout: &Handout) -> Result<Vec<u8>, Error> {
    let shown = |place: &usize| handout.part.is_none_or(|only| only == *place);
    let parts: Vec<&Part> = (0..score.parts.len()).filter(shown).map(|p| &score.parts[p]).collect();
    if let Some((part, reason)) = parts.iter().find_map(|part| Some((part, too_long(part)?))) {
        return Err(Error::Length(part.spoken().to_string(), reason));
    }
    let staves: Vec<Staff> =
        parts.iter().map(|part| Staff { tree, part, styles: Styles::default(), is_colored: true }).collect();
    let instrument = parts.first().filter(|_| parts.len() == 1).map(|part| part.name.clone()).filter(|n| !n.is_empty());
    let (music, typed) = write_alone(&staves, handout.brackets);
    let rests = rests(&parts);
    let head = head(&handout.heading, typed, instrument.as_deref());
    let first = |lines: &[HeadLine]| lines.first().map(|line| line.text.clone());
    let title = first(&head.title).unwrap_or_default();
    let composer = first(&head.composer);
    let joins_rests = parts.len() == 1;
    let sized = |staff_size: Option<f64>| {
        let layout =
            PageLayout { paper: handout.paper, staff_size, joins_rests, head: head.clone(), rests: rests.clone() };
        Ok::<_, Error>(engrave(&Job::Pages { music: music.clone(), layout })?.pictures.concat())
    };
    let mut pages: Vec<String> = Vec::new();
    let sizes = match (handout.staff_size, handout.most_pages) {
        (None, Some(_)) => SMALLER.map(Some).to_vec(),
        (given, _) => vec![given],
    };
    for size in sizes {
        pages = sized(size)?;
        if handout.most_pages.is_none_or(|most| pages.len() <= most) {
            break;
        }
    }
    let drawn = pages.iter().map(|page| page.matches(NOTE).count()).sum();
    let wanted = parts.iter().map(notes).sum();
    if drawn < wanted {
        return Err(Error::Missing { drawn, wanted });
    }
    let named: Vec<&str> =
        [Some(title.as_str()), instrument.as_deref()].into_iter().flatten().filter(|n| !n.is_empty()).collect();
    let about = About {
        title: &title,
        name: &named.join(", "),
        author: composer.as_deref(),
        foot: &one_line(handout.foot),
        key: handout.key,
    };
    Ok(pdf::write(&pages, handout.paper, &about)?)
}

/// The head of the first page: what the heading says, then what was typed over the music.
fn head(heading: &Heading, typed: Vec<Typed>, instrument: Option<&str>) -> Head {
    let head_line = |text: &str, color| HeadLine { text: one_line(text).into_owned(), color };
    let line = |text: &Option<String>| text.iter().map(|text| head_line(text, None)).collect();
    let mut head = Head {
        title: line(&heading.title),
        subtitle: line(&heading.subtitle),
        composer: line(&heading.composer),
        instrument: line(&instrument.map(String::from)),
    };
    let is_there = |lines: &[HeadLine], text: &str| lines.iter().any(|line| line.text == text);
    let largest = typed.iter().filter(|t| t.side == Side::Middle).map(|t| t.size).fold(0.0, f64::max);
    for Typed { text, side, size, color } in typed {
        if [&head.title, &head.subtitle, &head.composer].iter().any(|lines| is_there(lines, &text)) {
            continue;
        }
        let lines = match side {
            Side::Right => &mut head.composer,
            Side::Middle if size >= largest && head.title.is_empty() => &mut head.title,
            Side::Middle => &mut head.subtitle,
        };
        lines.push(head_line(&text, color));
    }
    head
}

/// Heights of a staff that are tried one after the other, in millimetres.
const SMALLER: [f64; 4] = [6.2, 5.6, 5.0, 4.6];

/// How a page says that something is a note.
const NOTE: &str = "class=\"note\"";

/// The notes of a part.
fn notes(part: &&Part) -> usize {
    part.notes.iter().filter(|n| n.sound != Sound::Rest).count()
}

/// Of each bar, how many quarter notes nobody plays around its end. For
/// choosing where to turn pages only, so it may be a float.
fn rests(parts: &[&Part]) -> Vec<f64> {
    let count = parts.iter().map(|p| p.bars.len()).max().unwrap_or(0);
    let mut out = Vec::with_capacity(count);
    for bar in 0..count {
        let after = parts.iter().map(|p| silence(p, bar, Edge::End) + silence(p, bar + 1, Edge::Start)).min();
        let after = after.unwrap_or_default();
        out.push(after.numer() as f64 / after.denom() as f64);
    }
    out
}

/// Where in a bar a part may rest.
#[derive(Clone, Copy)]
enum Edge {
    Start,
    End,
}

/// How long a part rests at an edge of a bar.
fn silence(part: &Part, bar: usize, edge: Edge) -> Time {
    let Some(own) = part.bars.get(bar) else { return Time::default() };
    let played = own.notes.clone().map(|n| &part.notes[n]).filter(|n| n.sound != Sound::Rest);
    let silent = match edge {
        Edge::Start => played.map(|n| n.offset).min(),
        Edge::End => played.map(|n| n.offset + n.duration).max().map(|end| own.length - end),
    };
    silent.unwrap_or(own.length).max(Time::default())
}
