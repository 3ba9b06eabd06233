//! A clean copy made one's own: another key, an instrument's range, an
//! instrument's way of writing. Each is a step of its own, and proved.

use super::chords;
use super::expect::Content;
use super::fit::{self, Player};
use super::transpose::{self, NewKey};
use super::way;
use super::written_for::{self, PartFor};
use super::{Cleaned, Failure, Policy, Provenance, proof};
use crate::musicxml::{self, Input, Plan, Tree};
use crate::score::Score;

/// What else is to become of a clean copy, in this order.
#[derive(Default)]
pub struct Wishes<'a> {
    pub key: Option<NewKey>,
    /// The instruments that parts are meant for: whether they fit is told.
    pub players: Vec<Player<'a>>,
    /// What leaves their ranges goes to another octave.
    pub fit: bool,
    pub written_for: Option<PartFor<'a>>,
}

impl Wishes<'_> {
    /// Whether the copy may change.
    pub fn change(&self) -> bool {
        self.key.is_some() || self.fit || self.written_for.is_some()
    }
}

/// Does all that is wished for; `policy` gets to know what was done, and the
/// last step signs the copy if there is a provenance.
///
/// # Errors
/// When a part cannot be written so, or a result is not what it should be.
pub fn adapt(
    like: &Input,
    mut cleaned: Cleaned,
    wishes: &Wishes,
    policy: &mut Policy,
    provenance: Option<&Provenance>,
) -> Result<Cleaned, Failure> {
    let (fits, dresses) = (wishes.fit, wishes.written_for.is_some());
    let signed = |last: bool| provenance.filter(|_| last).cloned();
    if let Some(mut key) = wishes.key {
        policy.provenance = signed(!fits && !dresses);
        if let Some(player) = wishes.players.first().filter(|_| fits) {
            cleaned.way = way::weigh(&proof::read_back(like, &cleaned.text)?, player, key);
            key = cleaned.way.as_ref().map_or(key, |way| NewKey::By(way.taken.0));
        }
        transpose::transpose(like, &mut cleaned, key, policy)?;
    }
    if fits || !wishes.players.is_empty() {
        policy.provenance = signed(fits && !dresses);
        fit::look(like, &mut cleaned, wishes, policy)?;
    }
    if let Some(wanted) = &wishes.written_for {
        policy.provenance = signed(true);
        written_for::write(like, &mut cleaned, wanted, policy)?;
    }
    chords::warn(like, &mut cleaned, wishes)?;
    Ok(cleaned)
}

/// Whether the signs at figures and ornaments stay as they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Signs {
    Stay,
    Move,
}

/// One more change of a clean text: read, changed, signed if anything changed
/// since the edition, read back and compared. `change` gives what must be in
/// it then, and may put into the policy what the signature is to say.
pub(super) fn step(
    like: &Input,
    cleaned: &mut Cleaned,
    policy: &mut Policy,
    signs: Signs,
    change: impl for<'a, 'i> FnOnce(&'a Score, &mut Plan<'a, 'i>, &mut Policy) -> Result<Vec<Content>, Failure>,
) -> Result<Score, Failure> {
    let input = like.with_text(std::mem::take(&mut cleaned.text));
    let tree = Tree::parse(&input).map_err(Failure::Unreadable)?;
    let score = musicxml::read(&tree).map_err(Failure::Unreadable)?.score;
    let mut plan = Plan::new(&tree);
    let expected = change(&score, &mut plan, policy)?;
    let changed = !plan.is_empty() || input.text != like.text;
    if let Some(provenance) = policy.provenance.as_ref().filter(|_| changed) {
        let changes = cleaned.summary.changes(0);
        musicxml::sign(&mut plan, &provenance.description(), &provenance.field(policy, changes));
    }
    cleaned.text = plan.finish().apply(&input.text)?;
    let proof = match signs {
        Signs::Stay => proof::prove(like, &cleaned.text, &expected)?,
        Signs::Move => proof::prove_moved(like, &cleaned.text, &expected)?,
    };
    cleaned.proof = proof.after(&cleaned.proof);
    Ok(score)
}
