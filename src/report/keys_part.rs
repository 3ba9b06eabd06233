//! What is told of a part in all its keys, while it is told.

use super::Point;
use crate::instrument::Instrument;
use crate::keys::Study;
use crate::score::Part;
use serde::Serialize;

/// A phrase that should go to another octave.
#[derive(Debug, Serialize)]
pub struct OctaveChange {
    pub from: Point,
    pub to: Point,
    pub voice: u32,
    pub octaves: i32,
    pub notes: usize,
    pub below: usize,
    pub above: usize,
    pub outside_after: usize,
    pub sentence: String,
}

/// The easiest of the keys that fit best.
pub(super) struct Easiest {
    pub(super) difficulty: f64,
    /// What it is called, as in `that fits as it is`.
    pub(super) one: String,
    /// What they all are called.
    pub(super) all: &'static str,
}

pub(super) struct PartInKeys<'a> {
    pub(super) part: &'a Part,
    pub(super) instrument: &'a Instrument,
    pub(super) study: &'a Study<'a>,
    pub(super) easiest: Option<Easiest>,
}
