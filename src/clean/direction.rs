//! Up or down: which of the two ways to a key lies better on an instrument.

use super::fit::{Burden, Player};
use super::transpose::NewKey;
use crate::pitch::{Interval, nearest_by_fifths};
use crate::score::Score;

/// The two ways to a key, and which was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Direction {
    pub instrument: String,
    pub taken: (Interval, Burden),
    pub other: (Interval, Burden),
}

/// Weighs the nearest way up against the nearest way down: the one that leaves
/// fewer notes outside the range, then the one that moves fewer of them to
/// other octaves, then the nearer. `None` where the key is there already, or the
/// interval was given.
pub(super) fn weigh(score: &Score, player: &Player, to: NewKey) -> Option<Direction> {
    let NewKey::Fifths { fifths, part } = to else { return None };
    let near = nearest_by_fifths(fifths - score.parts[part].sounding_fifths(0));
    if near == Interval::UNISON {
        return None;
    }
    let is_up = near.steps > 0 || near.steps == 0 && near.semitones > 0;
    let far = near.plus(Interval::octaves(if is_up { -1 } else { 1 }));
    let [near, far] = [near, far].map(|by| (by, Burden::of(score, player, by)));
    let (taken, other) = if far.1 < near.1 { (far, near) } else { (near, far) };
    Some(Direction { instrument: player.instrument.name.clone(), taken, other })
}
