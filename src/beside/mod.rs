//! Source and edition as one score, the source above, all that differs styled
//! in its colour and its shape.

mod alone;
mod rows;
mod staves;

pub use alone::{Thing, named_part};
pub use staves::{For, Staves, ToDraw, staves, to_draw};

use crate::alignment::{
    BarPair, Edition, EditionNote, EditionPart, MarkOf, NoteOf, PartOf, Side, Source, SourceNote, SourcePart,
};
use crate::clean::{Additions, Policy, Sides};
use crate::collate::PartAlignment;
use crate::findings::{Finding, Status, Subject};
use crate::musicxml::apart::{Color, Look};
use crate::musicxml::beside::{BarsOfRow, Heading, Pair, Staff, Stretch, Styles, write, write_stretches};
use crate::score::Category;
use std::collections::{BTreeMap, BTreeSet};

const LEGEND: &str = "Source above, edition below, in the edition's key. Added: vermillion, dashed, in brackets, small. \
                      Omitted: bluish green, dotted, boxed, triangular noteheads. Altered: blue, wavy, ringed, diamond \
                      noteheads.";

/// The score, and the parts that could not be put into it.
pub struct SideBySide {
    pub text: String,
    /// Names of parts of the edition whose source is not one printed part.
    pub left_out: Vec<String>,
    pub parts: usize,
}

/// Lays the parts of a collation above each other, whose bars have been laid whole,
/// by the time of an outline that is laid as it is played.
pub fn side_by_side(sides: Sides, played: &[BarPair]) -> SideBySide {
    let mut left_out = Vec::new();
    let mut pairs = Vec::new();
    let policy = Policy { additions: Additions::Color, ..Policy::default() };
    for (alignment, found) in sides.collation.parts.iter().zip(sides.findings) {
        if !can_be_laid(&sides, alignment) {
            left_out.push(sides.edition.parts[alignment.edition].name.clone());
            continue;
        }
        let mut pair = plain_pair(&sides, alignment);
        for finding in &found.findings {
            let look = look_of(&policy, finding);
            styled_by(finding, alignment, &pair).into_iter().for_each(|one| style(&mut pair, one, &look));
        }
        pairs.push(pair);
    }
    let title = sides.edition.title.as_deref().unwrap_or("Edition and source");
    let heading = Heading { title: &format!("{title}: source and edition"), legend: LEGEND };
    let text = write(&heading, &pairs, &rows_of(&pairs, played));
    SideBySide { text, left_out, parts: pairs.len() }
}

/// One part of both sides for the engraver. Colours are names: the colour n is
/// that of what the findings `subjects[n]` are about.
pub struct Named {
    /// Of each stretch that was asked for.
    pub music: Vec<Stretch>,
    pub subjects: Vec<Vec<usize>>,
}

/// As `side_by_side`, of one part of an audit, stretches of some rows; `None`
/// where the source is not one printed part.
pub fn named(sides: Sides, place: usize, rows: &[BarsOfRow], stretches: &[(usize, usize)]) -> Option<Named> {
    let alignment = &sides.collation.parts[place];
    if !can_be_laid(&sides, alignment) {
        return None;
    }
    let policy = Policy { additions: Additions::Color, ..Policy::default() };
    let mut pair = plain_pair(&sides, alignment);
    let found = &sides.findings[place].findings;
    let mut about: BTreeMap<Styled, Vec<usize>> = BTreeMap::new();
    for (index, finding) in found.iter().enumerate() {
        for one in styled_by(finding, alignment, &pair) {
            about.entry(one).or_default().push(index);
        }
    }
    let mut subjects = Vec::new();
    for (one, findings) in about {
        let name = Color(u32::try_from(subjects.len()).expect("a part has fewer findings"));
        let look = Look { color: Some(name), ..look_of(&policy, &found[findings[0]]) };
        style(&mut pair, one, &look);
        subjects.push(findings);
    }
    Some(Named { music: write_stretches(&pair, rows, stretches), subjects })
}

/// Something that is printed on one of the two sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Styled {
    Source(What<Source>),
    Edition(What<Edition>),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum What<S: Side> {
    Mark(MarkOf<S>),
    /// With all that are tied to it.
    Note(NoteOf<S>),
    /// The ties by which a note is held.
    Tie(NoteOf<S>),
}

/// The rows of some pairs: a bar is cut where it can be cut in all of them.
fn rows_of(pairs: &[Pair], played: &[BarPair]) -> Vec<BarsOfRow> {
    rows::by_time(played, |side, bar, at| {
        pairs.iter().all(|pair| [&pair.source, &pair.edition][side].can_be_cut(bar, at))
    })
}

/// The rows of one part of an audit.
fn rows_of_part(sides: &Sides, place: usize) -> Vec<BarsOfRow> {
    let pair = plain_pair(sides, &sides.collation.parts[place]);
    rows_of(&[pair], &sides.collation.outline)
}

/// Whether both sides are printed as parts of their own.
fn can_be_laid(sides: &Sides, alignment: &PartAlignment) -> bool {
    let (edition, source) = (&sides.edition.parts[alignment.edition], &sides.source.parts[alignment.source]);
    source.derived_from.is_empty() && edition.derived_from.is_empty()
}

fn plain_pair<'a, 'i>(sides: &Sides<'a, 'i>, alignment: &PartAlignment) -> Pair<'a, 'i> {
    let staff = |tree, part| Staff { tree, part, styles: Styles::default(), is_colored: false };
    Pair {
        source: staff(sides.source_tree, &sides.source.parts[alignment.source]),
        edition: staff(sides.edition_tree, &sides.edition.parts[alignment.edition]),
        interval: alignment.interval,
    }
}

fn look_of(policy: &Policy, finding: &Finding) -> Look {
    match finding.status {
        Status::Added if finding.category == Category::Tie => policy.look_of_added(Category::Slur),
        Status::Added if finding.category.is_of_notes() => policy.look_of_added_note(),
        Status::Added => policy.look_of_added(finding.category),
        Status::Omitted => policy.look_of_omitted(),
        Status::Altered => policy.look_of_altered(),
    }
}

/// What a finding is about.
fn styled_by(finding: &Finding, alignment: &PartAlignment, pair: &Pair) -> Vec<Styled> {
    let (edition, source) = (EditionPart::new(pair.edition.part), SourcePart::new(pair.source.part));
    let (ours, theirs): (Vec<EditionNote>, Vec<SourceNote>) = match finding.subject {
        Subject::Mark { edition, source } => {
            let ours = edition.map(|m| Styled::Edition(What::Mark(m)));
            let theirs = source.map(|m| Styled::Source(What::Mark(m)));
            return ours.into_iter().chain(theirs).collect();
        }
        Subject::Note { edition, source } => (edition.into_iter().collect(), source.into_iter().collect()),
        // On the side that holds the notes.
        Subject::Tie(index) => {
            let tie = &alignment.ties[index];
            return match tie.added {
                true => heads(edition, &tie.edition).map(|n| Styled::Edition(What::Tie(n))).collect(),
                false => heads(source, &tie.source).map(|n| Styled::Source(What::Tie(n))).collect(),
            };
        }
        Subject::WrittenOutOrnament(index) => {
            let ornament = &alignment.written_out[index];
            let chord = ornament.chord.iter().copied();
            (ornament.edition.clone(), chord.chain([ornament.source]).collect())
        }
    };
    let ours = ours.into_iter().map(|n| Styled::Edition(What::Note(edition.head(n))));
    ours.chain(theirs.into_iter().map(|n| Styled::Source(What::Note(source.head(n))))).collect()
}

fn heads<S: Side>(part: PartOf<S>, notes: &[NoteOf<S>]) -> impl Iterator<Item = NoteOf<S>> + use<S> {
    notes.iter().map(|n| part.head(*n)).collect::<BTreeSet<_>>().into_iter()
}

fn style(pair: &mut Pair, one: Styled, look: &Look) {
    match one {
        Styled::Edition(what) => style_on_staff(&mut pair.edition, what, look),
        Styled::Source(what) => style_on_staff(&mut pair.source, what, look),
    }
}

fn style_on_staff<S: Side>(staff: &mut Staff, what: What<S>, look: &Look) {
    match what {
        What::Mark(mark) => staff.styles.mark(staff.tree, &staff.part.marks[mark.index()], look),
        What::Note(note) => staff.styles.note(staff.tree, staff.part, note.index(), look),
        What::Tie(note) => {
            if !staff.styles.ties(staff.tree, staff.part, note.index(), look) {
                staff.styles.note(staff.tree, staff.part, note.index(), look);
            }
        }
    }
}
