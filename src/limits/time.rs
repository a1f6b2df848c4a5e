//! Times as exact fractions: floating point was one node off where a division comes out even.

use crate::chip::BitTime;

/// An exact time in nanoseconds, `above / below`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Time {
    above: u128,
    below: u128,
}

/// A sum with a larger denominator is rounded, so that many odd rates together can't overflow.
const FINEST: u128 = 1 << 64;

impl Time {
    /// No time.
    pub const ZERO: Self = Self { above: 0, below: 1 };

    /// Whole nanoseconds.
    #[must_use]
    pub fn ns(nanoseconds: u64) -> Self {
        Self { above: u128::from(nanoseconds), below: 1 }
    }

    /// One frame at a rate in millihertz (above 0).
    #[must_use]
    pub fn frame(rate_mhz: u64) -> Self {
        Self { above: 1_000_000_000_000, below: u128::from(rate_mhz.max(1)) }
    }

    /// The time of a number of bits.
    #[must_use]
    #[inline]
    pub fn bits(bits: u128, bit: BitTime) -> Self {
        Self {
            above: bits.saturating_mul(u128::from(bit.nanoseconds)),
            below: u128::from(bit.divisor.max(1)),
        }
    }

    /// The sum. Where its denominator would be above [`FINEST`], each time is first rounded up to a
    /// millionth of a nanosecond.
    #[must_use]
    #[inline]
    pub fn plus(self, other: Self) -> Self {
        if self.below == other.below {
            return Self { above: self.above.saturating_add(other.above), below: self.below };
        }
        let step = other.below / gcd(self.below, other.below);
        let below = self.below.saturating_mul(step);
        if below > FINEST {
            return self.coarse().plus(other.coarse());
        }
        let other = other.above.saturating_mul(below / other.below);
        Self { above: self.above.saturating_mul(step).saturating_add(other), below }
    }

    fn coarse(self) -> Self {
        const BELOW: u128 = 1_000_000;
        Self { above: self.above.saturating_mul(BELOW).div_ceil(self.below), below: BELOW }
    }

    /// The numerators of both over one denominator; one that is too large saturates.
    fn pair(self, other: Self) -> (u128, u128) {
        (self.above.saturating_mul(other.below), other.above.saturating_mul(self.below))
    }

    /// Whether it takes no longer than another.
    #[must_use]
    #[inline]
    pub fn within(self, other: Self) -> bool {
        let (mine, others) = self.pair(other);
        mine <= others
    }

    /// The longer of the two.
    #[must_use]
    #[inline]
    pub fn longer(self, other: Self) -> Self {
        if self.within(other) { other } else { self }
    }

    /// How many times `each` fits into what `whole` leaves after `self`. Below 0 where `self` is
    /// too long: how many times `each` must be taken away. `None` where `each` takes no time.
    #[must_use]
    pub fn room(self, whole: Self, each: Self) -> Option<i64> {
        let (mine, wholes) = self.pair(whole);
        let below = self.below.saturating_mul(whole.below);
        let unit = each.above.saturating_mul(below);
        if unit == 0 {
            return None;
        }
        let count = |time: u128| time.saturating_mul(each.below);
        Some(if mine <= wholes {
            i64::try_from(count(wholes - mine) / unit).unwrap_or(i64::MAX)
        } else {
            i64::try_from(count(mine - wholes).div_ceil(unit)).map_or(i64::MIN, |n| -n)
        })
    }

    /// The highest frame rate at which it fits, in millihertz, rounded down; `None` for no time.
    #[must_use]
    pub fn rate_mhz(self) -> Option<u64> {
        let frames = self.below.saturating_mul(1_000_000_000_000);
        frames.checked_div(self.above).map(|rate| u64::try_from(rate).unwrap_or(u64::MAX))
    }

    /// In milliseconds with two decimals, rounded up: a time that is too long never looks exact.
    #[must_use]
    pub fn words(self) -> String {
        let hundredths = self.above.div_ceil(self.below.saturating_mul(10_000));
        let value = i64::try_from(hundredths).unwrap_or(i64::MAX);
        format!("{} ms", crate::unit::decimal(value, 100))
    }
}

fn gcd(a: u128, b: u128) -> u128 {
    let (mut a, mut b) = (a, b);
    while b > 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}
