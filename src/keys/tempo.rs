//! How fast the notes go.

use super::beat::{Beat, BeatsPerMinute};
use crate::score::{Meter, Part, Score, Sign};
use crate::time::Time;

/// Beats per minute where neither score nor user says, and the quarter notes
/// per minute within which they stay: our own choice.
const USUAL: f64 = 72.0;
const USUAL_QUARTERS: [f64; 2] = [72.0, 144.0];
/// Where a piece goes slower than that, the next smaller value is counted: the
/// lowest number on a common metronome.
const LOWEST: f64 = 40.0;

/// Where a tempo comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum TempoSource {
    /// The user said it.
    Given,
    /// The score's first metronome mark.
    Score,
    /// Nobody says.
    Assumed,
}

/// How fast a score goes, and what is counted in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Tempo {
    /// Quarter notes per minute.
    pub quarters: f64,
    pub source: TempoSource,
    /// What is counted at the start, or by the mark that says the tempo.
    pub beat: Beat,
    /// In the order of time.
    marks: Vec<Counted>,
}

/// What a metronome mark counts.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Counted {
    at: Time,
    beat: Beat,
    quarters: f64,
    /// The beat of the time signature there.
    usual: Beat,
}

impl Tempo {
    /// What the user says, or the score's first metronome mark, or a usual tempo.
    pub fn of(score: &Score, given: Option<f64>) -> Tempo {
        let marks = marks(score);
        let meter = score.parts.first().and_then(|part| part.bars.first()).map_or(Meter::default(), |bar| bar.meter);
        let first = counted(&marks, meter, Time::zero());
        let (quarters, source, beat) = match (given, marks.first()) {
            (Some(quarters), _) => (quarters, TempoSource::Given, first),
            (None, Some(mark)) => (mark.quarters, TempoSource::Score, mark.beat),
            (None, None) => {
                let [least, most] = USUAL_QUARTERS;
                ((USUAL * first.quarters()).clamp(least, most), TempoSource::Assumed, first)
            }
        };
        Tempo { quarters, source, beat, marks }
    }

    pub fn quarters_per_second(&self) -> f64 {
        self.quarters / 60.0
    }

    /// As the score says it.
    pub fn in_beats(&self) -> BeatsPerMinute {
        BeatsPerMinute { beat: self.beat, per_minute: self.quarters / self.beat.quarters() }
    }

    /// In what is counted in a bar: the value of the last metronome mark before
    /// its end where it can be counted there and the beat is still the same, else the beat
    /// of the time signature; a smaller value where that would be very slow.
    pub fn in_bar(&self, part: &Part, bar: usize) -> BeatsPerMinute {
        let own = &part.bars[bar];
        let mut beat = counted(&self.marks, own.meter, own.start + own.length);
        while self.quarters / beat.quarters() < LOWEST && beat.smaller() != beat {
            beat = beat.smaller();
        }
        BeatsPerMinute { beat, per_minute: self.quarters / beat.quarters() }
    }
}

/// What is counted before a time.
fn counted(marks: &[Counted], meter: Meter, before: Time) -> Beat {
    let usual = Beat::of(meter);
    let known = marks.iter().take_while(|mark| mark.at < before || mark.at.is_zero()).last();
    known.filter(|mark| mark.usual == usual && mark.beat.counts(meter)).map_or(usual, |mark| mark.beat)
}

/// Of all parts, for many scores have the marks in the first part only.
fn marks(score: &Score) -> Vec<Counted> {
    let all = score.parts.iter().flat_map(|part| part.marks.iter().map(move |mark| (part, mark)));
    let mut out: Vec<Counted> = all
        .filter_map(|(part, mark)| {
            let Sign::Metronome(metronome) = &mark.sign else { return None };
            Some(Counted {
                at: part.time(mark.at.place),
                beat: Beat::new(metronome.beat?).unwrap_or(Beat::quarter()),
                quarters: playable(metronome.quarters?)?,
                usual: Beat::of(part.bars[mark.at.place.bar].meter),
            })
        })
        .collect();
    out.sort_by_key(|mark| mark.at);
    out
}

/// A tempo that music can go at.
fn playable(quarters: Time) -> Option<f64> {
    let quarters = quarters.numer() as f64 / quarters.denom() as f64;
    Some(quarters).filter(|q| (4.0..=1000.0).contains(q))
}
