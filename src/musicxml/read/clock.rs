//! Where in its bar the reading is. The durations of a file may be roundings;
//! then the place that they come to is not the exact one, and both are kept.

use super::PartReader;
use crate::musicxml::Error;
use crate::time::Time;
use roxmltree::Node;

/// Sums in hundreds of thousands, and in no finer parts of a quarter, are reckoned safely.
const LARGEST: i64 = 1 << 16;
const FINEST: i64 = 1 << 20;
/// Whatever roundings come to, places of shorter notes stay apart.
const MOST_SLACK: (i64, i64) = (1, 16);

/// Where in its bar the reading is.
#[derive(Debug, Default)]
pub(super) struct Clock {
    pub now: Time,
    pub furthest: Time,
    pub drift: Drift,
    /// How far figures have gone on at the present place.
    pub figures: Time,
}

/// How the durations of a bar and the exact places in it have come apart.
#[derive(Debug, Default)]
pub(super) struct Drift {
    /// Whether they have, in this bar.
    on: bool,
    /// The place that the durations come to.
    told: Time,
    /// Places that notes ended at: as told, and exact.
    places: Vec<(Time, Time)>,
    /// What all roundings come to at most.
    slack: Time,
}

impl Drift {
    fn start(&mut self, at: Time) {
        self.on = at.denom() <= FINEST && at < Time::from(LARGEST);
        self.told = at;
        self.slack = Time::zero();
        self.places.clear();
    }

    fn go_on(&mut self, by: Time) {
        let sum = self.told.checked_add(by).filter(|t| t.denom() <= FINEST && *t < Time::from(LARGEST));
        self.on &= sum.is_some();
        self.told = sum.unwrap_or_default();
    }

    /// The exact place of one that is told, if a note began or ended near it.
    fn known(&self, told: Time) -> Option<Time> {
        let far = |at: Time| if at > told { at - told } else { told - at };
        let start = (Time::zero(), Time::zero());
        let near = self.places.iter().copied().chain([start]).min_by_key(|(at, _)| far(*at));
        near.filter(|(at, _)| far(*at) <= self.slack).map(|(_, exact)| exact)
    }
}

impl<'a, 'i> PartReader<'a, 'i> {
    /// Time goes on by a note that may last longer or shorter than its duration says.
    pub(super) fn advance_by(&mut self, node: Node<'_, '_>, told: Time, exact: Time) -> Result<(), Error> {
        if !self.clock.drift.on && told == exact {
            return self.step(node, exact);
        }
        if !self.clock.drift.on {
            self.clock.drift.start(self.clock.now);
        }
        if told != exact {
            let (tick, most) = (Time::new(1, self.lengths.divisions), Time::new(MOST_SLACK.0, MOST_SLACK.1));
            self.clock.drift.slack = self.clock.drift.slack.checked_add(tick).filter(|s| *s < most).unwrap_or(most);
        }
        self.clock.drift.go_on(told);
        self.step(node, exact)?;
        self.clock.drift.places.push((self.clock.drift.told, self.clock.now));
        Ok(())
    }

    /// Time goes on without a note.
    pub(super) fn advance(&mut self, node: Node<'_, '_>, by: Time) -> Result<(), Error> {
        if !self.clock.drift.on {
            return self.step(node, by);
        }
        self.clock.drift.go_on(by);
        let known = self.clock.drift.known(self.clock.drift.told).filter(|at| *at >= self.clock.now);
        self.step(node, known.map_or(by, |at| at - self.clock.now))
    }

    fn step(&mut self, node: Node<'_, '_>, by: Time) -> Result<(), Error> {
        let start = self.part.bars[self.here()].start;
        self.clock.now = self
            .clock
            .now
            .checked_add(by)
            .filter(|t| t.checked_add(start).is_some_and(|t| t.denom() < 1 << 30))
            .ok_or_else(|| self.tree.content_error(node, "the lengths in this bar do not add up to any real time"))?;
        self.clock.furthest = self.clock.furthest.max(self.clock.now);
        if !by.is_zero() {
            self.clock.figures = Time::zero();
        }
        Ok(())
    }

    /// Another voice begins earlier.
    pub(super) fn back(&mut self, by: Time) {
        let (from, slack) = if self.clock.drift.on {
            (self.clock.drift.told, self.clock.drift.slack)
        } else {
            (self.clock.now, Time::zero())
        };
        if by > from + slack {
            self.warn("a voice goes back before the bar's start; it was read from the start");
        }
        let told = from.checked_add(-by).unwrap_or_default().max(Time::zero());
        self.clock.now = if self.clock.drift.on { self.clock.drift.known(told).unwrap_or(told) } else { told };
        self.clock.drift.told = told;
        self.clock.figures = Time::zero();
        self.lengths.line += 1;
    }

    /// A bar begins.
    pub(super) fn start_clock(&mut self, content: Node<'a, 'i>) {
        self.lengths.content = Some(content);
        self.clock.now = Time::zero();
        self.clock.furthest = Time::zero();
        self.clock.drift.on = false;
        self.lengths.by.clear();
        self.lengths.line = 0;
    }
}
