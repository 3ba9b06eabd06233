//! Lines and areas of a drawing as numbers: the points of a path, and how much room they take.

use super::boxes::{Extent, number};

pub fn union(a: Extent, b: Extent) -> Extent {
    [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])]
}

pub fn around_all(points: &[[f64; 2]]) -> Option<Extent> {
    points.iter().map(|[x, y]| [*x, *y, *x, *y]).reduce(union)
}

/// All numbers in a text, however they are divided.
pub fn numbers(text: &str) -> Vec<f64> {
    let mut out = Vec::new();
    let mut at = 0;
    while let Some((value, end)) = next_number(text, at) {
        out.push(value);
        at = end;
    }
    out
}

/// The next number in a text and where it ends.
fn next_number(text: &str, from: usize) -> Option<(f64, usize)> {
    let bytes = text.as_bytes();
    let start = from + bytes[from..].iter().position(|b| b.is_ascii_digit() || matches!(b, b'-' | b'+' | b'.'))?;
    let mut end = start + 1;
    let mut has_point = bytes[start] == b'.';
    while let Some(byte) = bytes.get(end) {
        let is_exponent = matches!(byte, b'e' | b'E');
        let is_sign = matches!(byte, b'-' | b'+') && matches!(bytes[end - 1], b'e' | b'E');
        let is_point = *byte == b'.' && !has_point;
        if !(byte.is_ascii_digit() || is_exponent || is_sign || is_point) {
            break;
        }
        has_point |= is_point;
        end += 1;
    }
    // What cannot be believed is no number, and so is what is drawn with it.
    Some((number(&text[start..end]).unwrap_or(f64::NAN), end))
}

pub fn pairs(numbers: &[f64]) -> Vec<[f64; 2]> {
    numbers.chunks_exact(2).map(|p| [p[0], p[1]]).collect()
}

/// Points on a path, close enough to each other to know its extent.
pub fn path(d: &str) -> Vec<[f64; 2]> {
    let mut out = Vec::new();
    let (mut at, mut start, mut bend) = ([0.0; 2], [0.0; 2], None);
    let commands = d.char_indices().filter(|(_, c)| c.is_ascii_alphabetic() && !matches!(c, 'e' | 'E'));
    let commands: Vec<(usize, char)> = commands.collect();
    for (place, (begin, command)) in commands.iter().enumerate() {
        let end = commands.get(place + 1).map_or(d.len(), |c| c.0);
        let said = numbers(&d[begin + 1..end]);
        let is_relative = command.is_ascii_lowercase();
        let command = command.to_ascii_uppercase();
        let of_one = match command {
            'H' | 'V' => 1,
            'C' => 6,
            'S' | 'Q' => 4,
            'A' => 7,
            'Z' => {
                at = start;
                continue;
            }
            _ => 2,
        };
        for (turn, one) in said.chunks_exact(of_one).enumerate() {
            let origin = if is_relative { at } else { [0.0; 2] };
            let point = |i: usize| [origin[0] + one[i], origin[1] + one[i + 1]];
            let from = at;
            let control = match command {
                'H' => {
                    at[0] = origin[0] + one[0];
                    None
                }
                'V' => {
                    at[1] = origin[1] + one[0];
                    None
                }
                'C' | 'S' | 'Q' | 'A' => {
                    at = point(of_one - 2);
                    match command {
                        'C' => Some([point(0), point(2)]),
                        // Goes on as the curve before it ended.
                        'S' => Some([bend.map_or(from, |b: [f64; 2]| [0, 1].map(|i| 2.0 * from[i] - b[i])), point(0)]),
                        'Q' => Some([point(0), point(0)]),
                        _ => None,
                    }
                }
                _ => {
                    at = point(0);
                    if command == 'M' && turn == 0 {
                        start = at;
                    }
                    None
                }
            };
            bend = control.map(|c| c[1]);
            if let Some([one, two]) = control {
                out.extend((1..STEPS).map(|step| curve([from, one, two, at], f64::from(step) / f64::from(STEPS))));
            }
            out.push(at);
        }
    }
    out
}

/// Points on a curve that are looked at.
const STEPS: u32 = 12;

fn curve(points: [[f64; 2]; 4], t: f64) -> [f64; 2] {
    let weights = [(1.0 - t).powi(3), 3.0 * t * (1.0 - t).powi(2), 3.0 * t * t * (1.0 - t), t.powi(3)];
    [0, 1].map(|i| points.iter().zip(weights).map(|(p, w)| p[i] * w).sum())
}

/// Width of the pieces of a long line.
const PIECE: f64 = 200.0;

/// How many pieces a length is cut into.
fn count(length: f64) -> u32 {
    (length.abs() / PIECE).ceil().clamp(1.0, 1000.0) as u32
}

/// The extents of pieces of a line.
pub fn sides(points: &[[f64; 2]]) -> Vec<Extent> {
    let of_side = |side: &[[f64; 2]]| {
        let (from, to) = (side[0], side[1]);
        let count = count(to[0] - from[0]);
        let at = move |n: u32| [0, 1].map(|i| from[i] + (to[i] - from[i]) * f64::from(n) / f64::from(count));
        (0..count).filter_map(move |n| around_all(&[at(n), at(n + 1)]))
    };
    points.windows(2).flat_map(of_side).collect()
}

/// The extents of strips of an area, from left to right.
pub fn strips(points: &[[f64; 2]]) -> Vec<Extent> {
    let Some([left, _, right, _]) = around_all(points) else { return Vec::new() };
    let count = count(right - left);
    let wide = (right - left) / f64::from(count);
    let closed = || points.iter().zip(points.iter().cycle().skip(1));
    let strip = |n: u32| {
        let from = left + wide * f64::from(n);
        let cut = closed().filter_map(|(one, other)| {
            let [a, b] = if one[0] <= other[0] { [one, other] } else { [other, one] };
            let ends = [from.max(a[0]), (from + wide).min(b[0])];
            let steep = if b[0] > a[0] { (b[1] - a[1]) / (b[0] - a[0]) } else { 0.0 };
            let at = ends.map(|x| [x, a[1] + steep * (x - a[0])]);
            (ends[0] <= ends[1]).then(|| around_all(&[at[0], at[1]])).flatten()
        });
        cut.reduce(union)
    };
    (0..count).filter_map(strip).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slanted_beam_leaves_room_over_its_lower_end() {
        let beam = [[0.0, 0.0], [400.0, 200.0], [400.0, 290.0], [0.0, 90.0]];
        assert_eq!(strips(&beam), [[0.0, 0.0, 200.0, 190.0], [200.0, 100.0, 400.0, 290.0]]);
        assert_eq!(sides(&beam[..2]), [[0.0, 0.0, 200.0, 100.0], [200.0, 100.0, 400.0, 200.0]]);
        assert_eq!(strips(&[]), Vec::<Extent>::new());
    }
}
