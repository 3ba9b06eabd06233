//! Musical time: exact fractions of a quarter note, never floats.

mod fraction;
mod values;

pub use fraction::Time;
pub use values::{Value, compared, length_name, tied_name, value_name};

/// The least common multiple of two numbers above 0.
pub fn lcm(a: i64, b: i64) -> i64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    a / x * b
}

/// The exact fraction as text: `3/2`, `0`, `-1/4`.
pub fn text(time: Time) -> String {
    let mut out = number(time.numer());
    if !time.is_integer() {
        out.push('/');
        push(&mut out, time.denom());
    }
    out
}

/// Room for most fractions.
const USUAL_LENGTH: usize = 8;

fn number(number: i64) -> String {
    let mut out = String::with_capacity(USUAL_LENGTH);
    push(&mut out, number);
    out
}

/// Nearly all numbers of a report have one digit.
fn push(out: &mut String, number: i64) {
    match u8::try_from(number) {
        Ok(digit @ 0..=9) => out.push(char::from(b'0' + digit)),
        _ => out.push_str(&number.to_string()),
    }
}

/// A beat for people: `2.5` where a short decimal is exact, else `2+1/3`.
pub fn beat_text(beat: Time) -> String {
    let (whole, rest) = (beat.floor(), beat - beat.floor());
    if rest.numer() == 0 {
        return number(whole.to_integer());
    }
    // Nearly all beats are told by these.
    let common = match (rest.numer(), rest.denom()) {
        (1, 2) => ".5",
        (1, 4) => ".25",
        (3, 4) => ".75",
        _ => "",
    };
    if !common.is_empty() {
        return number(whole.to_integer()) + common;
    }
    if 1000 % rest.denom() == 0 {
        let thousandths = rest.numer() * (1000 / rest.denom());
        let decimals = format!("{thousandths:03}");
        return format!("{}.{}", whole.to_integer(), decimals.trim_end_matches('0'));
    }
    format!("{}+{}", whole.to_integer(), rest)
}

/// Reads a beat as a mark sheet writes it: `3`, `2.5`, `2+1/2` or `5/2`.
pub fn parse_beat(text: &str) -> Option<Time> {
    let text = text.trim();
    if let Some((whole, rest)) = text.split_once('+') {
        return Some(parse_beat(whole)? + parse_beat(rest)?);
    }
    if let Some((numer, denom)) = text.split_once('/') {
        let (numer, denom) = (numer.trim().parse::<i64>().ok()?, denom.trim().parse::<i64>().ok()?);
        return (denom != 0).then(|| Time::new(numer, denom));
    }
    parse_decimal(text)
}

/// Reads a decimal number exactly; at most nine decimals.
pub fn parse_decimal(text: &str) -> Option<Time> {
    // Nearly all numbers of a score are short and whole.
    if (1..=9).contains(&text.len()) {
        let more = |number, digit: u8| digit.is_ascii_digit().then(|| number * 10 + i64::from(digit - b'0'));
        if let Some(number) = text.bytes().try_fold(0, more) {
            return Some(Time::from(number));
        }
    }
    let text = text.trim();
    let (sign, digits) = match text.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, decimals) = digits.split_once('.').unwrap_or((digits, ""));
    let only_digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if (whole.is_empty() && decimals.is_empty()) || !only_digits(whole) || !only_digits(decimals) || decimals.len() > 9
    {
        return None;
    }
    let scale = 10_i64.pow(decimals.len() as u32);
    let whole: i64 = if whole.is_empty() { 0 } else { whole.parse().ok()? };
    let part: i64 = if decimals.is_empty() { 0 } else { decimals.parse().ok()? };
    Some(Time::new(sign * (whole.checked_mul(scale)?.checked_add(part)?), scale))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn beats_read_as_people_write_them() {
        for (text, numer, denom) in [("3", 3, 1), ("2.5", 5, 2), ("2+1/2", 5, 2), ("7/3", 7, 3), ("1.25", 5, 4)] {
            assert_eq!(parse_beat(text), Some(Time::new(numer, denom)), "{text}");
        }
        for text in ["", "x", "1/0", "--1", "1.2.3"] {
            assert_eq!(parse_beat(text), None, "{text}");
        }
        assert_eq!(beat_text(Time::new(7, 3)), "2+1/3");
        assert_eq!(beat_text(Time::new(5, 4)), "1.25");
    }

    proptest! {
        #[test]
        fn beats_round_trip(numer in 1..100_000_i64, denom in 1..1000_i64) {
            let beat = Time::new(numer, denom);
            prop_assert_eq!(parse_beat(&beat_text(beat)), Some(beat));
        }
    }
}
