//! Source and edition as one score, the source above, all that differs dressed
//! in its colour and its shape.

use crate::clean::{Additions, Policy, Sides};
use crate::findings::{Finding, Status, Subject};
use crate::musicxml::beside::{Dress, Heading, Pair, Staff, write};
use crate::score::{NoteId, Part};

const LEGEND: &str = "Source above, edition below, in the edition's key. Added: vermillion, dashed, in brackets, small. Left \
                      out: bluish green, dotted, boxed, triangular noteheads. Not the same: blue, wavy, ringed, diamond \
                      noteheads.";

/// The score, and the parts that could not be put into it.
pub struct SideBySide {
    pub text: String,
    /// Names of parts of the edition whose source is not one printed part.
    pub left_out: Vec<String>,
    pub parts: usize,
}

/// Lays the parts of a collation above each other; bars must have been laid whole.
pub fn side_by_side(sides: Sides) -> SideBySide {
    let mut left_out = Vec::new();
    let mut pairs = Vec::new();
    let policy = Policy { additions: Additions::Color, ..Policy::default() };
    for (alignment, found) in sides.collation.parts.iter().zip(sides.findings) {
        let (edition, source) = (&sides.edition.parts[alignment.edition], &sides.source.parts[alignment.source]);
        if !source.drawn_from.is_empty() || !edition.drawn_from.is_empty() {
            left_out.push(edition.name.clone());
            continue;
        }
        let mut dresser =
            Dresser { sides, edition, source, policy: &policy, ours: Dress::default(), theirs: Dress::default() };
        for finding in &found.findings {
            dresser.finding(alignment, finding);
        }
        pairs.push(Pair {
            source: Staff { tree: sides.source_tree, part: source, dress: dresser.theirs },
            edition: Staff { tree: sides.edition_tree, part: edition, dress: dresser.ours },
            interval: alignment.interval,
        });
    }
    let rows: Vec<_> = sides.collation.outline.iter().map(|row| (row.source, row.edition)).collect();
    let title = sides.edition.title.as_deref().unwrap_or("Edition and source");
    let heading = Heading { title: &format!("{title}: source and edition"), legend: LEGEND };
    SideBySide { text: write(&heading, &pairs, &rows), left_out, parts: pairs.len() }
}

struct Dresser<'a, 'i> {
    sides: Sides<'a, 'i>,
    edition: &'a Part,
    source: &'a Part,
    policy: &'a Policy,
    ours: Dress,
    theirs: Dress,
}

impl Dresser<'_, '_> {
    fn finding(&mut self, alignment: &crate::collate::PartAlignment, finding: &Finding) {
        let look = match finding.status {
            Status::Added if finding.category.is_of_notes() => self.policy.look_of_added_note(),
            Status::Added => self.policy.look_of_added(finding.category),
            Status::Omitted => self.policy.look_of_omitted(),
            Status::Altered => self.policy.look_of_altered(),
        };
        let (ours, theirs): (Vec<NoteId>, Vec<NoteId>) = match finding.subject {
            Subject::Mark { edition, source } => {
                if let Some(mark) = edition {
                    self.ours.mark(self.sides.edition_tree, &self.edition.marks[mark], &look);
                }
                if let Some(mark) = source {
                    self.theirs.mark(self.sides.source_tree, &self.source.marks[mark], &look);
                }
                return;
            }
            Subject::Note { edition, source } => (edition.into_iter().collect(), source.into_iter().collect()),
            // The notes that are held, on the side that holds them.
            Subject::Tie(index) => match &alignment.ties[index] {
                tie if tie.added => (tie.edition.clone(), Vec::new()),
                tie => (Vec::new(), tie.source.clone()),
            },
            Subject::Realisation(index) => {
                let realised = &alignment.realisations[index];
                let chord = realised.chord.iter().copied();
                (realised.edition.clone(), chord.chain([realised.source]).collect())
            }
        };
        for note in ours {
            self.ours.note(self.sides.edition_tree, self.edition, note, &look);
        }
        for note in theirs {
            self.theirs.note(self.sides.source_tree, self.source, note, &look);
        }
    }
}
