//! The metronome's way from a slow tempo to the piece's.

/// The numbers on a mechanical metronome, Maelzel's scale as printed on metronomes, and below it as electronic ones go on.
const SCALE: [u32; 44] = [
    30, 32, 34, 36, 38, 40, 42, 44, 46, 48, 50, 52, 54, 56, 58, 60, 63, 66, 69, 72, 76, 80, 84, 88, 92, 96, 100, 104,
    108, 112, 116, 120, 126, 132, 138, 144, 152, 160, 168, 176, 184, 192, 200, 208,
];
/// Steps of a ladder, the first and the last among them.
const MOST: usize = 6;

/// Beats a minute, rising, from the first to the last; the last alone where there is nothing to climb.
pub fn ladder(from: u32, to: u32) -> Vec<u32> {
    if from >= to {
        return vec![to];
    }
    let between: Vec<u32> = SCALE.into_iter().filter(|n| from < *n && *n < to).collect();
    let between = if between.is_empty() { (from + 1..to).collect() } else { between };
    // As far apart as can be, by ratio: a step is heard as a part of the tempo.
    let (low, high) = (f64::from(from).ln(), f64::from(to).ln());
    let mut out = vec![from];
    for step in 1..MOST - 1 {
        let wanted = (low + (high - low) * step as f64 / (MOST - 1) as f64).exp();
        let near = between
            .iter()
            .copied()
            .min_by(|a, b| (f64::from(*a) - wanted).abs().total_cmp(&(f64::from(*b) - wanted).abs()));
        out.extend(near.filter(|n| Some(n) > out.last()));
    }
    out.push(to);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn steps_are_those_of_a_metronome() {
        assert_eq!(ladder(40, 72), [40, 44, 50, 56, 63, 72]);
        assert_eq!(ladder(72, 72), [72]);
        assert_eq!(ladder(80, 72), [72]);
        assert_eq!(ladder(71, 73), [71, 72, 73]);
    }

    proptest! {
        #[test]
        fn a_ladder_rises(from in 20..400_u32, to in 20..400_u32) {
            let ladder = ladder(from, to);
            prop_assert_eq!(*ladder.last().unwrap(), to);
            prop_assert!(ladder.len() <= MOST);
            prop_assert!(ladder.windows(2).all(|w| w[0] < w[1]), "{:?}", ladder);
            prop_assert!(from >= to || ladder[0] == from);
        }
    }
}
