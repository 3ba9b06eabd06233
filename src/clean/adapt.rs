//! What is to become of a clean copy: another key, an instrument's range, an
//! instrument's way of writing, the user's own marks. All are steps alike.

use super::chords;
use super::direction;
use super::fingerings;
use super::fit::{self, Player};
use super::layer::{self, OwnMarks};
use super::step::{CleanCopy, Steps};
use super::transpose::{self, NewKey};
use super::written_for::{self, PartFor};
use super::{Cleaned, Failure, Sides};

/// What else is to become of a clean copy, in this order.
#[derive(Default)]
pub struct Wishes<'a> {
    /// To this key, or by this interval.
    pub key: Option<NewKey>,
    /// The instruments that parts are meant for: whether they fit is told.
    pub players: Vec<Player<'a>>,
    /// What leaves their ranges goes to another octave.
    pub fit: bool,
    /// Written for this instrument.
    pub written_for: Option<PartFor<'a>>,
    /// With these marks laid on.
    pub own_marks: Option<OwnMarks<'a>>,
}

impl Wishes<'_> {
    /// The steps that may change the copy, in order.
    fn steps(&self) -> Vec<Step> {
        let all = [
            (self.key.is_some(), Step::Key),
            (self.fit, Step::Fit),
            (self.written_for.is_some(), Step::WrittenFor),
            (self.own_marks.is_some(), Step::OwnMarks),
        ];
        all.into_iter().filter(|(is_wished, _)| *is_wished).map(|(_, step)| step).collect()
    }

    /// Whether the copy may change once more.
    pub fn change(&self) -> bool {
        !self.steps().is_empty()
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Key,
    Fit,
    WrittenFor,
    OwnMarks,
}

/// Does all that is wished for, step by step; the last step signs the copy.
///
/// # Errors
/// When a part cannot be written so, or a result is not what it should be.
pub(super) fn adapt<'t>(
    steps: Steps<'_, 't>,
    sides: Sides,
    mut copy: CleanCopy<'t>,
    cleaned: &mut Cleaned,
    wishes: &Wishes,
) -> Result<CleanCopy<'t>, Failure> {
    let last = wishes.steps().last().copied();
    let before = (wishes.key.is_some() || wishes.fit || wishes.written_for.is_some()).then(|| copy.score.clone());
    let signed = |step: Step| Steps { provenance: steps.provenance.filter(|_| last == Some(step)), ..steps };
    if let Some(mut key) = wishes.key {
        if let Some(player) = wishes.players.first().filter(|_| wishes.fit) {
            cleaned.direction = direction::weigh(&copy.score, player, key);
            key = cleaned.direction.as_ref().map_or(key, |d| NewKey::By(d.taken.0));
        }
        copy = transpose::transpose(signed(Step::Key), copy, cleaned, key)?;
    }
    if wishes.fit {
        copy = fit::fit(signed(Step::Fit), copy, cleaned, &wishes.players)?;
    } else {
        cleaned.on = fit::as_they_are(&copy.score, &wishes.players);
    }
    if let Some(wanted) = &wishes.written_for {
        copy = written_for::write(signed(Step::WrittenFor), copy, cleaned, wanted)?;
    }
    let players = wishes.players.iter().chain(wishes.written_for.as_ref().map(|wanted| &wanted.player));
    chords::warn(&copy.score, cleaned, &players.collect::<Vec<_>>());
    cleaned.warnings.extend(before.iter().flat_map(|before| fingerings::moved(before, &copy.score)));
    if let Some(own) = &wishes.own_marks {
        copy = layer::lay(signed(Step::OwnMarks), copy, cleaned, own, sides)?;
    }
    Ok(copy)
}
