//! What a change of fingers is made of. The weights are our own proposal;
//! docs/keys.md tells them.

use super::fingering::{Fingering, Hole, Thumb};
use std::ops::AddAssign;

/// What it costs to come to a note, in points, by its causes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Effort {
    /// Fingers that move.
    pub fingers: f64,
    /// Fingers, the thumb among them, that move against each other.
    pub contrary: f64,
    /// The thumb opens, closes or pinches.
    pub thumb: f64,
    pub half_holes: f64,
    /// Another register.
    pub register: f64,
    pub forks: f64,
    /// The third register.
    pub high: f64,
    /// The bell on the knee.
    pub bell: f64,
    /// A fingering that is not the first choice.
    pub alternative: f64,
}

impl Effort {
    pub fn points(&self) -> f64 {
        self.fingers
            + self.contrary
            + self.thumb
            + self.half_holes
            + self.register
            + self.forks
            + self.high
            + self.bell
            + self.alternative
    }

    /// From one fingering to another; the same fingering again costs nothing.
    pub fn of_change(from: &Fingering, to: &Fingering) -> Effort {
        if from == to {
            return Effort::default();
        }
        let height = |hole: Hole| match hole {
            Hole::Closed => 0,
            Hole::Half => 1,
            Hole::Open => 2,
        };
        let (mut lifts, mut falls) = (0, 0);
        for (a, b) in from.holes.iter().zip(&to.holes) {
            match height(*b) - height(*a) {
                0 => {}
                d if d > 0 => lifts += 1,
                _ => falls += 1,
            }
        }
        let fingers = lifts + falls;
        // A pinched thumb bends where it lies; only one that leaves its hole moves with the fingers.
        match (from.thumb, to.thumb) {
            (Thumb::Open, Thumb::Closed | Thumb::Pinched) => falls += 1,
            (Thumb::Closed | Thumb::Pinched, Thumb::Open) => lifts += 1,
            _ => {}
        }
        let once = |holds: bool, points: f64| if holds { points } else { 0.0 };
        Effort {
            fingers: f64::from(fingers),
            contrary: 1.5 * f64::from(lifts.min(falls)),
            thumb: once(from.thumb != to.thumb, 2.0),
            half_holes: once(to.has_half_hole(), 1.5),
            register: 1.5 * f64::from(from.register.abs_diff(to.register)),
            forks: once(to.is_forked(), 0.5),
            high: once(to.register == 3, 1.0),
            bell: once(to.bell, 10.0),
            alternative: once(to.alternative, 1.0),
        }
    }
}

impl AddAssign for Effort {
    fn add_assign(&mut self, other: Effort) {
        self.fingers += other.fingers;
        self.contrary += other.contrary;
        self.thumb += other.thumb;
        self.half_holes += other.half_holes;
        self.register += other.register;
        self.forks += other.forks;
        self.high += other.high;
        self.bell += other.bell;
        self.alternative += other.alternative;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_effort_is_the_sum_of_its_causes() {
        // F5 to F#5 on the alto: one finger down, the thumb up, against each other.
        let [a, b] = ["O -2- ----", "- 12- ----"].map(|t| Fingering::parse(t).unwrap());
        let effort = Effort::of_change(&a, &b);
        assert_eq!(effort, Effort { fingers: 1.0, contrary: 1.5, thumb: 2.0, ..Effort::default() });
        assert_eq!(effort.points(), 4.5);
    }
}
