//! A small repeatable source of chance for the searches, and the table of cooling thresholds.
//!
//! Method: xorshift multiplied (xorshift64*), started from a fixed seed through one round of
//! splitmix. Nothing depends on the machine. Only the four basic operations are used on floating
//! point, which every machine rounds alike; the logarithm of the standard library may differ, so a
//! series makes the table.

/// A repeatable stream of numbers.
#[derive(Debug, Clone)]
pub struct Random {
    state: u64,
}

impl Random {
    /// A stream that depends on the seed alone; any seed is good, zero included.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self { state: mix(seed) | 1 }
    }

    /// The next 64 bits.
    pub fn next(&mut self) -> u64 {
        let mut bits = self.state;
        bits ^= bits >> 12;
        bits ^= bits << 25;
        bits ^= bits >> 27;
        self.state = bits;
        bits.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// A number from zero up to but not including `end`; zero where `end` is zero.
    pub fn below(&mut self, end: usize) -> usize {
        let high = (self.next() >> 32) as u128;
        ((high * end as u128) >> 32) as usize
    }
}

/// One round of splitmix: turns neighbouring numbers into numbers that share no pattern.
#[must_use]
pub fn mix(number: u64) -> u64 {
    let mut bits = number.wrapping_add(0x9E37_79B9_7F4A_7C15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    bits ^ (bits >> 31)
}

/// How many temperatures worse a step may be: an exponential variable, drawn from a table.
#[derive(Debug, Clone)]
pub struct Thresholds {
    table: Vec<f64>,
}

/// Entries of the table: ten bits of chance are enough to accept one step in a thousand.
const ENTRIES: usize = 1024;

impl Thresholds {
    /// Builds the table of `-ln(x)` at the middle of each of 1024 equal parts of 0 to 1.
    #[must_use]
    pub fn new() -> Self {
        let table =
            (0..ENTRIES).map(|entry| -natural_log((entry as f64 + 0.5) / ENTRIES as f64)).collect();
        Self { table }
    }

    /// One drawing.
    pub fn draw(&self, random: &mut Random) -> f64 {
        let entry = random.below(ENTRIES);
        self.table.get(entry).copied().unwrap_or(0.0)
    }
}

/// The natural logarithm of a number above 0 and up to 1, by halving into range and a series.
fn natural_log(number: f64) -> f64 {
    let mut reduced = number;
    let mut halvings = 0.0;
    while reduced < 0.75 {
        reduced *= 2.0;
        halvings += 1.0;
    }
    let ratio = (reduced - 1.0) / (reduced + 1.0);
    let square = ratio * ratio;
    let mut power = ratio;
    let mut sum = 0.0;
    let mut odd = 1.0;
    while odd < 40.0 {
        sum += power / odd;
        power *= square;
        odd += 2.0;
    }
    2.0 * sum - halvings * std::f64::consts::LN_2
}

#[cfg(test)]
mod tests {
    use super::{Random, Thresholds, natural_log};

    #[test]
    fn the_series_agrees_with_the_logarithm() {
        for part in 1..1000 {
            let number = f64::from(part) / 1000.0;
            assert!((natural_log(number) - number.ln()).abs() < 1e-12);
        }
    }

    #[test]
    fn two_streams_of_one_seed_are_the_same() {
        let (mut one, mut other) = (Random::new(7), Random::new(7));
        for _ in 0..100 {
            assert_eq!(one.below(1000), other.below(1000));
        }
        assert!(Thresholds::new().draw(&mut one) >= 0.0);
    }
}
