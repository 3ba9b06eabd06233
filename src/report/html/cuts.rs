//! Where a system is cut at barlines for a narrow screen.

/// Units of a drawing that a narrow screen shows in one line.
const NARROW: f64 = 11_400.0;
/// Of these, what the names of the sides and brackets take.
const NAMES: f64 = 700.0;

/// The first bars of all pieces but the first; `ends` are the places where bars
/// begin, and where the last one ends; `head` is how much clefs and keys take.
pub fn cuts(ends: &[f64], head: f64) -> Vec<usize> {
    let Some(bars) = ends.len().checked_sub(1).filter(|bars| *bars > 0) else { return Vec::new() };
    let wide = |from: usize, to: usize| ends[to] - ends[from];
    // Of the bars from each one on: how many pieces, how uneven, where the first ends. The
    // first bar of a system has its clef and key already.
    let mut best = vec![(0, 0.0, bars); bars + 1];
    for from in (0..bars).rev() {
        let room = NARROW - NAMES - if from == 0 { 0.0 } else { head };
        let fits = |to: &usize| *to == from + 1 || wide(from, *to) <= room;
        let ways = (from + 1..=bars).take_while(fits).map(|to| {
            let (pieces, uneven, _) = best[to];
            (pieces + 1, uneven + wide(from, to).powi(2), to)
        });
        let least = ways.min_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(b.2.cmp(&a.2)));
        best[from] = least.unwrap_or((1, 0.0, bars));
    }
    let mut out = Vec::new();
    let mut at = best[0].2;
    while at < bars {
        out.push(at);
        at = best[at].2;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_few_and_even() {
        let bars = |widths: &[f64]| {
            let sums = widths.iter().scan(0.0, |at, wide| {
                *at += wide;
                Some(*at)
            });
            cuts(&[0.0].into_iter().chain(sums).collect::<Vec<_>>(), 1000.0)
        };
        assert_eq!(bars(&[4000.0; 5]), [2, 4]);
        assert_eq!(bars(&[4000.0; 6]), [2, 4]);
        assert_eq!(bars(&[3000.0, 3000.0]), [0; 0]);
        // A bar that is too wide is alone.
        assert_eq!(bars(&[3000.0, 20_000.0, 3000.0, 3000.0]), [1, 2]);
        assert_eq!(bars(&[2500.0, 2500.0, 2500.0, 2500.0, 2500.0, 2500.0]), [3]);
        assert_eq!((cuts(&[], 0.0), cuts(&[5.0], 0.0)), (vec![], vec![]));
    }
}
