//! A new score in which parts of two documents stand above each other, bar
//! beside bar, the upper one moved into the lower one's key.

mod alone;
mod beams;
mod clefs;
mod cut;
mod directions;
mod engraver;
mod flanked;
mod rests;
mod signs;
mod staff;
mod stretch;
mod styles;
mod typed;

#[cfg(feature = "engrave")]
pub use alone::write_alone;
pub use alone::write_pieces;
#[cfg(feature = "engrave")]
pub use clefs::CLEF;
pub use cut::PieceOfBar;
pub use engraver::Brackets;
#[cfg(feature = "engrave")]
pub use engraver::{BRACKETED, SAME_NUMBER, TEXT_COLOR};
pub use flanked::is_flanked;
pub use rests::too_long;
pub use signs::Signs;
#[cfg(feature = "engrave")]
pub use signs::{Barline, Ending, Key, Time};
pub use staff::Staff;
pub use stretch::{Stretch, write_stretches};
pub use styles::Styles;
#[cfg(feature = "engrave")]
pub use typed::{Side, Typed};

use super::fragment::{Fragment, Indentation};
use crate::pitch::Interval;
use crate::score::{Category, Part};

/// A part of the edition below its part of the source.
pub struct Pair<'a, 'i> {
    pub source: Staff<'a, 'i>,
    pub edition: Staff<'a, 'i>,
    /// From the source's sounding pitch to the edition's.
    pub interval: Interval,
}

/// What stands above each other of the source and of the edition, of one at least.
pub type BarsOfRow = (Option<PieceOfBar>, Option<PieceOfBar>);

/// What stands above the music.
pub struct Heading<'a> {
    pub title: &'a str,
    /// What the colours and shapes mean.
    pub legend: &'a str,
}

const PROLOG: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD \
                      MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n";

/// Writes the score.
pub fn write(heading: &Heading, pairs: &[Pair], rows: &[BarsOfRow]) -> String {
    let mut list = Fragment::new("part-list");
    let mut parts = Vec::new();
    for (place, pair) in pairs.iter().enumerate() {
        let name = |side: &str, part: &Part| {
            if part.name.is_empty() { side.to_string() } else { format!("{side}: {}", part.name) }
        };
        let names = [name("Source", pair.source.part), name("Edition", pair.edition.part)];
        let mut measures = pair.measures(rows);
        measures.iter_mut().flatten().for_each(styles::without_colors_of_dynamics);
        list_pair(&mut list, &mut parts, place + 1, names, pair.barlines(), measures);
    }
    let head = vec![
        Fragment::leaf("movement-title", heading.title),
        identification(),
        credit("title", heading.title),
        credit("subtitle", heading.legend),
    ];
    document(head, list, parts)
}

/// Whether barlines go from the source's staves to the edition's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Barlines {
    Joined,
    /// Syllables stand between them.
    Apart,
}

/// Two parts in one bracket, the source's and the edition's.
fn list_pair(
    list: &mut Fragment,
    parts: &mut Vec<Fragment>,
    number: usize,
    names: [String; 2],
    barlines: Barlines,
    measures: [Vec<Fragment>; 2],
) {
    list.children.push(
        Fragment::new("part-group")
            .set("type", "start")
            .set("number", number)
            .with(Fragment::leaf("group-symbol", "bracket"))
            .with(Fragment::leaf("group-barline", if barlines == Barlines::Joined { "yes" } else { "no" })),
    );
    for ((side, name), measures) in ["source", "edition"].into_iter().zip(names).zip(measures) {
        let id = format!("P{number}-{side}");
        list.children.push(Fragment::new("score-part").set("id", &id).with(Fragment::leaf("part-name", name)));
        let mut part = Fragment::new("part").set("id", id);
        part.children = measures;
        parts.push(part);
    }
    list.children.push(Fragment::new("part-group").set("type", "stop").set("number", number));
}

/// A whole score as text.
fn document(head: Vec<Fragment>, list: Fragment, parts: Vec<Fragment>) -> String {
    let mut score = Fragment::new("score-partwise").set("version", "4.0");
    score.children = head;
    score.children.push(list);
    score.children.extend(parts);
    PROLOG.to_string() + &score.render(&Indentation { newline: "\n", unit: " ".into() }, "") + "\n"
}

fn identification() -> Fragment {
    let software = Fragment::leaf("software", concat!("obelus ", env!("CARGO_PKG_VERSION")));
    Fragment::new("identification").with(Fragment::new("encoding").with(software))
}

fn credit(kind: &str, words: &str) -> Fragment {
    Fragment::new("credit")
        .set("page", 1)
        .with(Fragment::leaf("credit-type", kind))
        .with(Fragment::leaf("credit-words", words))
}

/// Leaves out clefs that hold already: they would be drawn as changes.
fn clefs_once(measures: &mut [Fragment]) {
    let mut held: Vec<Fragment> = Vec::new();
    for attributes in measures.iter_mut().flat_map(|m| &mut m.children).filter(|c| c.name == "attributes") {
        attributes.children.retain(|clef| {
            let is_new = clef.name != "clef" || !held.contains(clef);
            if clef.name == "clef" && is_new {
                held.retain(|old| old.attribute("number") != clef.attribute("number"));
                held.push(clef.clone());
            }
            is_new
        });
    }
    for measure in measures {
        measure.children.retain(|c| c.name != "attributes" || !c.children.is_empty());
    }
}

impl Pair<'_, '_> {
    fn barlines(&self) -> Barlines {
        let is_sung = self.source.part.marks.iter().any(|mark| mark.category == Category::Lyric);
        if is_sung { Barlines::Apart } else { Barlines::Joined }
    }

    /// The measures of the source and of the edition.
    fn measures(&self, rows: &[BarsOfRow]) -> [Vec<Fragment>; 2] {
        let printed = staff::Printing::new(&self.edition);
        let mut out = [Vec::new(), Vec::new()];
        let mut states = [staff::State::default(), staff::State::default()];
        let known = |(source, edition): &BarsOfRow| {
            let of = |part: &Part, piece: &Option<PieceOfBar>| piece.filter(|p| p.bar < part.bars.len());
            (of(self.source.part, source), of(self.edition.part, edition))
        };
        let moved = |edition: Option<PieceOfBar>, takes_clefs| {
            let edition = edition.map(|p| p.bar);
            staff::Moved { interval: self.interval, edition, printed: &printed, of: &self.edition, takes_clefs }
        };
        let is_moved = |(source, edition): (Option<PieceOfBar>, Option<PieceOfBar>)| {
            let by = |p: PieceOfBar| moved(edition, false).by(self.source.part.bars[p.bar].transpose);
            source.is_some_and(|piece| by(piece) != Interval::UNISON)
        };
        let takes_clefs = rows.iter().map(known).any(is_moved);
        for (place, row) in rows.iter().enumerate() {
            let (source, edition) = known(row);
            let upper = source.map(|piece| {
                let moved = moved(edition, takes_clefs);
                self.source.measure(&piece, Some(&moved), &mut states[0])
            });
            let lower = edition.map(|piece| self.edition.measure(&piece, None, &mut states[1]));
            let length = |staff: &Staff, piece: Option<PieceOfBar>| {
                piece.map(|p| p.to.unwrap_or(staff.part.bars[p.bar].length) - p.from)
            };
            let lasts = length(&self.source, source).max(length(&self.edition, edition)).unwrap_or_default();
            // Where a side has nothing it has no barlines, until it begins again.
            let next = rows.get(place + 1).map(known);
            let goes_on = |next: Option<PieceOfBar>| next.is_none_or(|piece| !piece.from.is_zero());
            let silent = |other: Option<&[Fragment]>, state: &mut staff::State, goes_on: bool| {
                let mut out = staff::silent(lasts, other, state);
                out.extend(goes_on.then(cut::no_barline));
                out
            };
            let upper_or = upper.clone().unwrap_or_else(|| {
                silent(lower.as_deref(), &mut states[0], next.is_some_and(|(source, _)| goes_on(source)))
            });
            let lower_or = lower.unwrap_or_else(|| {
                silent(upper.as_deref(), &mut states[1], next.is_some_and(|(_, edition)| goes_on(edition)))
            });
            let (number, is_told) = self.number(source, edition);
            for (side, children) in [upper_or, lower_or].into_iter().enumerate() {
                let mut measure = Fragment::new("measure").set("number", &number);
                if !is_told {
                    measure.set_attribute("implicit", "yes");
                }
                measure.children = children;
                out[side].push(measure);
            }
        }
        out.iter_mut().for_each(|side| clefs_once(side));
        out
    }
    /// The number of a bar, and whether it is to be seen: the edition's, and the
    /// source's where the edition has none.
    fn number(&self, source: Option<PieceOfBar>, edition: Option<PieceOfBar>) -> (String, bool) {
        let of = |part: &Part, piece: PieceOfBar| part.bars[piece.bar].number.clone();
        match (source, edition) {
            (_, Some(piece)) => (of(self.edition.part, piece), piece.from.is_zero()),
            (Some(piece), None) => (format!("S{}", of(self.source.part, piece)), piece.from.is_zero()),
            (None, None) => (String::new(), false),
        }
    }
}
