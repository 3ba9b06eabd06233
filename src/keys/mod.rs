//! Keys and fingers: how a part lies on an instrument, as it stands and in
//! every other key. The measure is our own proposal; docs/keys.md tells it.

mod beat;
mod choice;
mod effort;
mod fingering;
mod fingerings;
mod line;
mod measure;
pub mod phrases;
mod stretches;
mod study;
mod tempo;
mod together;

pub use beat::BeatsPerMinute;
pub use choice::simplest;
pub use fingering::{Fingering, Hole, Thumb};
pub use fingerings::Chart;
pub use line::View;
pub use stretches::HardStretch;
pub use study::{Fingered, Study, Trial};
pub use tempo::{Tempo, TempoSource};
