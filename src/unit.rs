//! Quantities: the table of units, exact reading of decimals into whole base units, and printing.
//!
//! Every quantity is a whole number of a small base unit (micrometre, microampere, millivolt …). It
//! is converted once, where it is read, so that no result depends on floating point.

use std::fmt::Write as _;

/// What a quantity measures.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Dimension {
    /// Counted nodes.
    Nodes,
    /// Counted slots.
    Slots,
    /// Counted universes.
    Universes,
    /// Counted strands.
    Strands,
    /// Counted bits.
    Bits,
    /// Unit loads of an EIA-485 line, in thousandths; written without a unit.
    UnitLoads,
    /// A frequency, in millihertz.
    Frequency,
    /// A time, in nanoseconds.
    Time,
    /// A length, in micrometres.
    Length,
    /// A current, in microamperes.
    Current,
    /// A voltage, in millivolts.
    Voltage,
    /// A power, in milliwatts.
    Power,
    /// A share, in thousandths of a percent.
    Share,
    /// A temperature, in thousandths of a degree Celsius.
    Temperature,
    /// A wire size by number (AWG).
    WireNumber,
    /// A wire size by area, in thousandths of a square millimetre.
    WireArea,
}

/// One row of the table of units.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Unit {
    /// How it is printed.
    pub name: &'static str,
    /// Other spellings that are read, the singular among them.
    pub also: &'static [&'static str],
    /// What it measures.
    pub dimension: Dimension,
    /// How many base units one of it is.
    pub factor: i64,
}

const fn unit(
    name: &'static str,
    also: &'static [&'static str],
    dimension: Dimension,
    factor: i64,
) -> Unit {
    Unit { name, also, dimension, factor }
}

/// Every unit of the language.
pub const UNITS: &[Unit] = &[
    unit("nodes", &["node"], Dimension::Nodes, 1),
    unit("slots", &["slot"], Dimension::Slots, 1),
    unit("universes", &["universe"], Dimension::Universes, 1),
    unit("strands", &["strand"], Dimension::Strands, 1),
    unit("bits", &["bit"], Dimension::Bits, 1),
    unit("Hz", &[], Dimension::Frequency, 1_000),
    unit("fps", &[], Dimension::Frequency, 1_000),
    unit("kHz", &[], Dimension::Frequency, 1_000_000),
    unit("us", &["µs", "μs"], Dimension::Time, 1_000),
    unit("mm", &[], Dimension::Length, 1_000),
    unit("cm", &[], Dimension::Length, 10_000),
    unit("m", &[], Dimension::Length, 1_000_000),
    unit("in", &[], Dimension::Length, 25_400),
    unit("ft", &[], Dimension::Length, 304_800),
    unit("mA", &[], Dimension::Current, 1_000),
    unit("A", &[], Dimension::Current, 1_000_000),
    unit("V", &[], Dimension::Voltage, 1_000),
    unit("W", &[], Dimension::Power, 1_000),
    unit("%", &[], Dimension::Share, 1_000),
    unit("C", &["°C"], Dimension::Temperature, 1_000),
    unit("AWG", &[], Dimension::WireNumber, 1),
    unit("mm2", &["mm²"], Dimension::WireArea, 1_000),
];

/// The unit of a word as written.
#[must_use]
pub fn find(word: &str) -> Option<&'static Unit> {
    let named = UNITS.iter().find(|unit| unit.name == word);
    named.or_else(|| UNITS.iter().find(|unit| unit.also.contains(&word)))
}

/// The units of a dimension, each size once: of `Hz` and `fps` the first.
#[must_use]
pub fn distinct(dimension: Dimension) -> Vec<&'static Unit> {
    let mut units: Vec<&'static Unit> =
        UNITS.iter().filter(|unit| unit.dimension == dimension).collect();
    units.dedup_by_key(|unit| unit.factor);
    units
}

/// A decimal number exactly as written: `digits / 10^places`.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Decimal {
    /// All digits as one whole number.
    pub digits: i64,
    /// How many of them stand after the point, 0 to 9.
    pub places: u8,
}

impl Decimal {
    /// A whole number.
    #[must_use]
    pub fn whole(digits: i64) -> Self {
        Self { digits, places: 0 }
    }

    /// Its value, if that is a whole number.
    #[must_use]
    pub fn as_whole(self) -> Option<i64> {
        self.scaled(1)
    }

    /// Its text as a person writes it.
    #[must_use]
    pub fn words(self) -> String {
        decimal(self.digits, 10_i64.saturating_pow(u32::from(self.places)))
    }

    /// Its value times `factor`, if that is a whole number that fits.
    #[must_use]
    pub fn scaled(self, factor: i64) -> Option<i64> {
        if self.places == 0 {
            return self.digits.checked_mul(factor);
        }
        let scale = 10_i128.checked_pow(u32::from(self.places))?;
        let product = i128::from(self.digits) * i128::from(factor);
        if product % scale == 0 { i64::try_from(product / scale).ok() } else { None }
    }
}

/// A conductor's size.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Gauge {
    /// American wire gauge number, 0 to 40.
    Awg(u8),
    /// Area in thousandths of a square millimetre.
    Area(u32),
}

impl Gauge {
    /// Its text in the language.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Awg(number) => format!("{number} AWG"),
            Self::Area(area) => format!("{} mm2", decimal(i64::from(area), 1_000)),
        }
    }
}

/// `value / factor` as a decimal without trailing zeros; `factor` is a power of ten, above 0.
#[must_use]
pub fn decimal(value: i64, factor: i64) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let value = value.unsigned_abs();
    let factor = factor.unsigned_abs().max(1);
    let mut text = format!("{sign}{}", value / factor);
    let rest = value % factor;
    if rest > 0 {
        let places = factor.ilog10() as usize;
        // Writing to a String can't fail.
        let _ = write!(text, ".{rest:0places$}");
        text.truncate(text.trim_end_matches('0').len());
    }
    text
}

/// A value in base units as a person writes it: `12 V`, `55 mA`, `2.5 m`.
#[must_use]
pub fn quantity(value: i64, dimension: Dimension) -> String {
    match dimension {
        Dimension::Nodes => counted(value, "node"),
        Dimension::Slots => counted(value, "slot"),
        Dimension::Universes => counted(value, "universe"),
        Dimension::Strands => counted(value, "strand"),
        Dimension::Bits => counted(value, "bit"),
        Dimension::UnitLoads => decimal(value, 1_000),
        Dimension::Frequency if value >= 100_000_000 => {
            format!("{} kHz", decimal(value, 1_000_000))
        }
        Dimension::Frequency => format!("{} Hz", decimal(value, 1_000)),
        Dimension::Time => format!("{} us", decimal(value, 1_000)),
        // Spacings of nodes are in millimetres, cables in metres.
        Dimension::Length if value.abs() < 200_000 => format!("{} mm", decimal(value, 1_000)),
        Dimension::Length => format!("{} m", decimal(value, 1_000_000)),
        Dimension::Current if value.abs() < 1_000_000 => format!("{} mA", decimal(value, 1_000)),
        Dimension::Current => format!("{} A", decimal(value, 1_000_000)),
        Dimension::Voltage => format!("{} V", decimal(value, 1_000)),
        Dimension::Power => format!("{} W", decimal(value, 1_000)),
        Dimension::Share => format!("{} %", decimal(value, 1_000)),
        Dimension::Temperature => format!("{} C", decimal(value, 1_000)),
        Dimension::WireNumber => format!("{value} AWG"),
        Dimension::WireArea => format!("{} mm2", decimal(value, 1_000)),
    }
}

/// A current (microamperes) as a load: rounded up, so that no current over a limit reads as it.
#[must_use]
pub fn load(ua: i64) -> String {
    let step = if ua.abs() < 1_000_000 { 100 } else { 10_000 };
    quantity(up(ua, step), Dimension::Current)
}

/// A power in milliwatts as a load: rounded up.
#[must_use]
pub fn watts(mw: i64) -> String {
    let step = if mw.abs() < 100_000 { 100 } else { 1_000 };
    quantity(up(mw, step), Dimension::Power)
}

/// A voltage (microvolts) as what is left: rounded down, so that none under a floor reads as it.
#[must_use]
pub fn left(uv: i64) -> String {
    quantity(uv.div_euclid(10_000) * 10, Dimension::Voltage)
}

fn up(value: i64, step: i64) -> i64 {
    value.saturating_add(step - 1).div_euclid(step) * step
}

/// `1 node`, `2 nodes`.
#[must_use]
pub fn counted(count: impl TryInto<i64>, one: &str) -> String {
    let count = count.try_into().unwrap_or(i64::MAX);
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// The straight distance between two places, all in micrometres.
#[must_use]
pub fn straight_um(from: (i64, i64), to: (i64, i64)) -> u64 {
    let (across, up) = (from.0.abs_diff(to.0), from.1.abs_diff(to.1));
    let square = u128::from(across).pow(2).saturating_add(u128::from(up).pow(2));
    u64::try_from(square.isqrt()).unwrap_or(u64::MAX)
}
