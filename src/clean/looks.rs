//! How the marks and notes of a copy look: additions set apart, and in a proof
//! copy all that the editor did.

use super::job::PartJob;
use super::policy::{Additions, Policy};
use crate::alignment::SourceNote;
use crate::findings::{Status, Subject};
use crate::musicxml::apart::{Color, Look, Manner};
use crate::musicxml::rewrite::Composed;
use crate::score::{Category, Mark};
use std::collections::{BTreeMap, BTreeSet};

/// Colours that are told apart whatever colours the eye can see (Okabe and Ito, 2008).
const VERMILLION: Color = Color(0xD5_5E00);
const BLUISH_GREEN: Color = Color(0x00_9E73);
const BLUE: Color = Color(0x00_72B2);

impl Policy {
    fn is_proof_copy(&self) -> bool {
        self.additions == Additions::Color
    }

    /// An addition that stays.
    pub(crate) fn look_of_added(&self, category: Category) -> Look {
        Look { color: self.is_proof_copy().then_some(VERMILLION), ..self.apart.look(category) }
    }

    /// A note that the editor added: in parentheses.
    pub(crate) fn look_of_added_note(&self) -> Look {
        Look { manners: vec![Manner::Parentheses], ..self.look_of_added(Category::Note) }
    }

    /// What the edition lacked.
    pub(crate) fn look_of_omitted(&self) -> Look {
        let manners = vec![Manner::Dotted, Manner::Box, Manner::Parentheses, Manner::Bold, Manner::Large];
        self.proof_look(BLUISH_GREEN, manners, "triangle")
    }

    /// What the edition had otherwise.
    pub(crate) fn look_of_altered(&self) -> Look {
        let manners = vec![Manner::Wavy, Manner::Oval, Manner::Braces, Manner::Italic, Manner::Large];
        self.proof_look(BLUE, manners, "diamond")
    }

    fn proof_look(&self, color: Color, manners: Vec<Manner>, head: &'static str) -> Look {
        if !self.is_proof_copy() {
            return Look::default();
        }
        Look { manners, only_first: true, color: Some(color), head: Some(head), ..self.apart.look(Category::Text) }
    }
}

impl<'a, 'i> PartJob<'_, 'a, 'i> {
    /// Notes that were put right or put back, in a proof copy.
    pub(super) fn style_notes(&self, rewrite: &mut Composed) {
        let (omitted, altered) = (self.policy.look_of_omitted(), self.policy.look_of_altered());
        if altered.is_plain() {
            return;
        }
        let mut looks: BTreeMap<SourceNote, &Look> = BTreeMap::new();
        for (finding, _) in self.with(|f| f.category.is_of_notes()).filter(|(_, undone)| *undone) {
            let look = if finding.status == Status::Omitted { &omitted } else { &altered };
            let notes = match finding.subject {
                Subject::Note { source: Some(note), .. } => vec![note],
                // The first note is struck on both sides.
                Subject::Tie(tie) => self.alignment.ties[tie].source.iter().skip(1).copied().collect(),
                Subject::WrittenOutOrnament(index) => {
                    let ornament = &self.alignment.written_out[index];
                    std::iter::once(ornament.source).chain(ornament.chord.iter().copied()).collect()
                }
                _ => Vec::new(),
            };
            looks.extend(notes.into_iter().flat_map(|n| self.source.tied(n)).map(|n| (n, look)));
        }
        for (note, look) in looks {
            rewrite.style_note(note, look);
        }
    }
}

/// Marks that were to be set apart, but cannot be: by name, with their bars.
#[derive(Default)]
pub(super) struct Plain(BTreeMap<(Category, String), BTreeSet<usize>>);

impl Plain {
    pub(super) fn add(&mut self, mark: &Mark) {
        self.0.entry((mark.category, mark.reading().into_owned())).or_default().insert(mark.at.bar);
    }

    /// What the table leaves as it is needs no warning.
    pub(super) fn warnings(&self, job: &PartJob) -> Vec<String> {
        let told = |((category, reading), bars): (&(Category, String), &BTreeSet<usize>)| {
            let numbers: Vec<&str> = bars.iter().take(8).map(|b| job.edition.bars[*b].number.as_str()).collect();
            let more = if bars.len() > numbers.len() { ", …" } else { "" };
            format!(
                "part {}, {} {}{more} of the edition: the {category} {reading} stays, but MusicXML cannot set it apart in the way \
                 the table says",
                job.edition.spoken(),
                if bars.len() == 1 { "bar" } else { "bars" },
                numbers.join(", ")
            )
        };
        self.0.iter().filter(|entry| !job.policy.apart.leaves(entry.0.0)).map(told).collect()
    }
}
