//! Brackets around signs that are marked for them: the engraver knows them around accidentals only.

use super::boxes::Extent;

/// Between a sign and its bracket; how far a bracket reaches around it; at least so high.
const GAP: f64 = 45.0;
const HOOK: f64 = 55.0;
const LEAST: f64 = 200.0;
const WIDTH: f64 = 22.0;

/// A sign with its bracket.
pub fn with_bracket([left, top, right, bottom]: Extent) -> Extent {
    let more = (LEAST - (bottom - top)).max(0.0) / 2.0 + GAP / 2.0;
    let aside = GAP + HOOK - 15.0;
    [left - aside, top - more, right + aside, bottom + more]
}

/// The bracket around a sign.
pub fn bracket(sign: Extent) -> String {
    let [left, top, right, bottom] = with_bracket(sign);
    let one = |x: f64, hook: f64| format!("M{:.0} {top:.0}H{x:.0}V{bottom:.0}H{:.0}", x + hook, x + hook);
    format!("<path d=\"{}{}\" fill=\"none\" stroke-width=\"{WIDTH}\"/>", one(left, HOOK), one(right, -HOOK))
}
