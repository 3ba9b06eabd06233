//! The fraction itself. Most sums of a score are of whole numbers or of equal
//! denominators, so these go by without a search for a common divisor.

use std::cmp::Ordering;
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, DivAssign, Mul, Neg, Rem, Sub, SubAssign};

/// A length or a place in time, in quarter notes. Always in lowest terms, the
/// denominator above 0.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Time {
    numer: i64,
    denom: i64,
}

impl Time {
    /// # Panics
    /// If the denominator is 0.
    pub fn new(numer: i64, denom: i64) -> Time {
        assert!(denom != 0, "a fraction of nothing");
        if denom < 0 { Time::reduced(-numer, -denom) } else { Time::reduced(numer, denom) }
    }

    /// No time.
    #[inline]
    pub const fn zero() -> Time {
        Time { numer: 0, denom: 1 }
    }

    #[inline]
    fn reduced(numer: i64, denom: i64) -> Time {
        if denom == 1 {
            return Time { numer, denom };
        }
        if denom & (denom - 1) == 0 {
            // Halves, quarters, eighths: what both have in common is some of their last zeros.
            let zeros = (numer | denom).trailing_zeros();
            return Time { numer: numer >> zeros, denom: denom >> zeros };
        }
        let common = gcd(numer, denom);
        if common == 1 { Time { numer, denom } } else { Time { numer: numer / common, denom: denom / common } }
    }

    /// Above the line, in lowest terms.
    #[inline]
    pub fn numer(self) -> i64 {
        self.numer
    }

    /// Below the line, above 0.
    #[inline]
    pub fn denom(self) -> i64 {
        self.denom
    }

    /// Whether it is none.
    #[inline]
    pub fn is_zero(self) -> bool {
        self.numer == 0
    }

    /// Whether it is a whole number.
    #[inline]
    pub fn is_integer(self) -> bool {
        self.denom == 1
    }

    /// Towards 0.
    pub fn to_integer(self) -> i64 {
        self.numer / self.denom
    }

    /// The whole number that is no more.
    pub fn floor(self) -> Time {
        Time::from(self.numer.div_euclid(self.denom))
    }

    /// To the nearest whole number, a half away from 0.
    pub fn round(self) -> Time {
        let (whole, rest) = (self.numer / self.denom, self.numer % self.denom);
        let up = rest.unsigned_abs() >= self.denom.unsigned_abs().div_ceil(2);
        Time::from(if up { whole + self.numer.signum() } else { whole })
    }

    /// Nothing if the sum is beyond what the numbers hold.
    pub fn checked_add(self, other: Time) -> Option<Time> {
        if self.denom == other.denom {
            return Some(Time::reduced(self.numer.checked_add(other.numer)?, self.denom));
        }
        let common = self.denom / gcd(self.denom, other.denom);
        let denom = common.checked_mul(other.denom)?;
        let ours = self.numer.checked_mul(denom / self.denom)?;
        let theirs = other.numer.checked_mul(denom / other.denom)?;
        Some(Time::reduced(ours.checked_add(theirs)?, denom))
    }
}

/// The largest number that divides both; `denom` is above 0.
fn gcd(numer: i64, denom: i64) -> i64 {
    let (mut a, mut b) = (numer.unsigned_abs(), denom.unsigned_abs());
    if b & (b - 1) == 0 {
        // Halves, quarters, eighths.
        return 1 << a.trailing_zeros().min(b.trailing_zeros());
    }
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a as i64
}

impl From<i64> for Time {
    #[inline]
    fn from(whole: i64) -> Time {
        Time { numer: whole, denom: 1 }
    }
}

impl Default for Time {
    #[inline]
    fn default() -> Time {
        Time::zero()
    }
}

impl Add for Time {
    type Output = Time;

    #[inline]
    fn add(self, other: Time) -> Time {
        if self.denom == other.denom {
            return Time::reduced(self.numer + other.numer, self.denom);
        }
        if other.numer == 0 {
            return self;
        }
        let denom = self.denom / gcd(self.denom, other.denom) * other.denom;
        Time::reduced(self.numer * (denom / self.denom) + other.numer * (denom / other.denom), denom)
    }
}

impl Neg for Time {
    type Output = Time;

    #[inline]
    fn neg(self) -> Time {
        Time { numer: -self.numer, ..self }
    }
}

impl Sub for Time {
    type Output = Time;

    #[inline]
    fn sub(self, other: Time) -> Time {
        self + -other
    }
}

impl Mul for Time {
    type Output = Time;

    fn mul(self, other: Time) -> Time {
        if other == Time::from(1) {
            return self;
        }
        if self.denom == 1 && other.denom == 1 {
            return Time::from(self.numer * other.numer);
        }
        // What can be divided is divided first, so that the numbers stay small.
        let (one, two) = (Time::reduced(self.numer, other.denom), Time::reduced(other.numer, self.denom));
        Time { numer: one.numer * two.numer, denom: one.denom * two.denom }
    }
}

impl Div for Time {
    type Output = Time;

    fn div(self, other: Time) -> Time {
        if other == Time::from(1) {
            return self;
        }
        if self.denom == 1 && other.denom == 1 {
            return Time::new(self.numer, other.numer);
        }
        self.mul(Time::new(other.denom, other.numer))
    }
}

/// What is left after the other has been taken away as often as it goes.
impl Rem for Time {
    type Output = Time;

    fn rem(self, other: Time) -> Time {
        self - other * Time::from((self / other).to_integer())
    }
}

impl AddAssign for Time {
    #[inline]
    fn add_assign(&mut self, other: Time) {
        *self = *self + other;
    }
}

impl SubAssign for Time {
    #[inline]
    fn sub_assign(&mut self, other: Time) {
        *self = *self - other;
    }
}

impl DivAssign for Time {
    fn div_assign(&mut self, other: Time) {
        *self = *self / other;
    }
}

impl<'a> Sum<&'a Time> for Time {
    fn sum<I: Iterator<Item = &'a Time>>(times: I) -> Time {
        times.copied().sum()
    }
}

impl Sum for Time {
    fn sum<I: Iterator<Item = Time>>(times: I) -> Time {
        times.fold(Time::zero(), Add::add)
    }
}

impl Ord for Time {
    #[inline]
    fn cmp(&self, other: &Time) -> Ordering {
        if self.denom == other.denom {
            return self.numer.cmp(&other.numer);
        }
        let wide = |numer: i64, denom: i64| i128::from(numer) * i128::from(denom);
        wide(self.numer, other.denom).cmp(&wide(other.numer, self.denom))
    }
}

impl PartialOrd for Time {
    #[inline]
    fn partial_cmp(&self, other: &Time) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// `3/2`, and whole numbers without a denominator.
impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.denom == 1 { write!(f, "{}", self.numer) } else { write!(f, "{}/{}", self.numer, self.denom) }
    }
}

impl fmt::Debug for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const MOST: i64 = 2000;

    /// Compared by cross multiplication, which needs no lowest terms.
    fn is(time: Time, numer: i64, denom: i64) -> bool {
        let lowest = (2..=time.denom).all(|n| time.numer % n != 0 || time.denom % n != 0);
        lowest && time.denom > 0 && time.numer * denom == numer * time.denom
    }

    proptest! {
        #[test]
        fn fractions_are_reckoned_exactly(a in -MOST..MOST, b in 1..64_i64, c in -MOST..MOST, d in 1..64_i64) {
            let (one, two) = (Time::new(a, b), Time::new(c, d));
            prop_assert!(is(one + two, a * d + c * b, b * d));
            prop_assert_eq!(one.checked_add(two), Some(one + two));
            prop_assert!(is(one - two, a * d - c * b, b * d));
            prop_assert!(is(one * two, a * c, b * d));
            if c != 0 {
                prop_assert!(is(one / two, a * d, b * c));
                prop_assert!(is(one % two, (a * d) % (c * b), b * d));
            }
            prop_assert_eq!(one.cmp(&two), (a * d).cmp(&(c * b)));
            prop_assert_eq!(one.floor(), Time::from((a as f64 / b as f64).floor() as i64));
            prop_assert_eq!(one.round(), Time::from((a as f64 / b as f64).round() as i64));
            prop_assert_eq!(one.to_integer(), a / b);
        }
    }

    #[test]
    fn sums_beyond_the_numbers_are_told() {
        let most = Time::from(i64::MAX);
        assert_eq!(most.checked_add(Time::from(1)), None);
        assert_eq!(most.checked_add(Time::new(1, 2)), None);
        assert_eq!(Time::new(1, i64::MAX).checked_add(Time::new(1, i64::MAX - 1)), None);
        assert_eq!(Time::new(3, -6).to_string(), "-1/2");
    }
}
