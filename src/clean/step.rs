//! A copy from step to step. Each step is read back and compared with what it
//! was to be, and what was read is what the next one changes.

use super::compare::{Signs, compare};
use super::content::Content;
use super::{Cleaned, Failure, Policy, Provenance};
use crate::musicxml::{self, Edits, Input, Tree};
use crate::patch::Patch;
use crate::score::Score;
use std::collections::BTreeSet;
use typed_arena::Arena;

/// The texts that a copy has had, kept as long as it is.
#[derive(Default)]
pub struct Texts(Arena<Input>);

impl Texts {
    /// None so far.
    pub fn new() -> Texts {
        Texts::default()
    }

    /// Reads a text that we made, under the name of the input that it came from.
    pub(super) fn read(&self, like: &Input, text: String) -> Result<CleanCopy<'_>, Failure> {
        let tree = Tree::parse(self.0.alloc(like.with_text(text))).map_err(Failure::Unreadable)?;
        let score = musicxml::read(&tree).map_err(Failure::Unreadable)?.score;
        Ok(CleanCopy { tree, score })
    }
}

/// A copy as it reads now.
pub struct CleanCopy<'t> {
    pub(crate) tree: Tree<'t>,
    pub(crate) score: Score,
}

impl<'t> CleanCopy<'t> {
    /// The whole text.
    pub fn text(&self) -> &'t str {
        self.tree.text()
    }
}

/// What all steps of one cleaning have in common.
#[derive(Clone, Copy)]
pub(super) struct Steps<'s, 't> {
    pub texts: &'t Texts,
    /// The edition: the copy goes by its name.
    pub like: &'s Input,
    pub policy: &'s Policy,
    /// What the copy says of its making; only the last step writes it.
    pub provenance: Option<&'s Provenance>,
    /// What the source says of the piece and its makers.
    pub source: &'s BTreeSet<String>,
}

impl<'t> Steps<'_, 't> {
    /// One more change of a copy: changed, signed where this is the last step
    /// and anything changed since the edition, read back and compared.
    /// `change` gives the edits and what must be in it then, and says what was
    /// done. Gives the copy before and after.
    pub fn take(
        &self,
        before: CleanCopy<'t>,
        cleaned: &mut Cleaned,
        signs: Signs,
        change: impl FnOnce(&CleanCopy<'t>, &mut Cleaned) -> Result<(Patch, Vec<Content>), Failure>,
    ) -> Result<(CleanCopy<'t>, CleanCopy<'t>), Failure> {
        let (mut patch, expected) = change(&before, cleaned)?;
        let changed = !patch.is_empty() || before.text() != self.like.text;
        if let Some(provenance) = self.provenance.filter(|_| changed) {
            let mut signature = Edits::new(&before.tree);
            provenance.sign(&mut signature, self.policy, self.source, cleaned);
            patch.extend(signature.finish());
        }
        let text = patch.apply(before.text())?;
        let after = self.texts.read(self.like, text)?;
        cleaned.proof = compare(&after.score, &expected, signs)?.after(&cleaned.proof);
        Ok((before, after))
    }
}
