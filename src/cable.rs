//! Conductors: resistance at a temperature by ASTM B258 and IEC 60228; capacity by named tables.
//!
//! All figures are for copper. Resistances are floating point, since only the solver uses them.

use crate::unit::Gauge;

/// Resistivity of annealed copper (100 % IACS) at 20 °C, in ohm metres.
const COPPER: f64 = 1.7241e-8;

/// Change of copper's resistance for each degree away from 20 °C, as a share.
const PER_DEGREE: f64 = 0.003_93;

/// IEC 60228, class 5 (flexible, plain copper): size in thousandths of a square millimetre, and the
/// largest resistance at 20 °C in ohm per kilometre.
const CLASS_5: &[(u32, f64)] = &[
    (500, 39.0),
    (750, 26.0),
    (1_000, 19.5),
    (1_500, 13.3),
    (2_500, 7.98),
    (4_000, 4.95),
    (6_000, 3.30),
    (10_000, 1.91),
    (16_000, 1.21),
    (25_000, 0.780),
    (35_000, 0.554),
];

/// The editions that the figures below are from.
const NEC_SMALL: &str = "NFPA 70 (2020) 240.4(D)";
const NEC_LARGE: &str = "NFPA 70 (2020) table 310.16";
const NFPA_79: &str = "NFPA 79 (2021) table 12.5.1";
const BS_FLEXIBLE: &str = "BS 7671 (2018) table 4F3A";
const IEC_B1: &str = "IEC 60364-5-52 (2009) table B.52.2";

/// What a conductor by number may carry: number, microamperes, and where the figure is from.
///
/// 18 to 10 AWG: the largest fuse for a small conductor. 8 AWG and thicker: the 60 °C column.
const BY_NUMBER: &[(u8, i64, &str)] = &[
    (0, 125_000_000, NEC_LARGE), // from memory
    (1, 110_000_000, NEC_LARGE), // from memory
    (2, 95_000_000, NEC_LARGE),  // from memory
    (3, 85_000_000, NEC_LARGE),  // from memory
    (4, 70_000_000, NEC_LARGE),  // from memory
    (6, 55_000_000, NEC_LARGE),  // from memory
    (8, 40_000_000, NEC_LARGE),  // from memory
    (10, 30_000_000, NEC_SMALL), // 240.4(D)(7), read as quoted
    (12, 20_000_000, NEC_SMALL), // 240.4(D)(5), read as quoted
    (14, 15_000_000, NEC_SMALL), // 240.4(D)(3), read as quoted
    (16, 10_000_000, NEC_SMALL), // 240.4(D)(2), figure from memory
    (18, 7_000_000, NEC_SMALL),  // 240.4(D)(1), figure from memory
    (20, 5_000_000, NFPA_79),    // from memory
    (22, 3_000_000, NFPA_79),    // from memory
    (24, 2_000_000, NFPA_79),    // from memory
    (26, 1_000_000, NFPA_79),    // from memory
    (28, 800_000, NFPA_79),      // from memory
    (30, 500_000, NFPA_79),      // from memory
];

/// What a flexible conductor by area may carry: thousandths of a square millimetre, microamperes,
/// and where the figure is from.
///
/// 6 mm² and thicker: method B1, two loaded conductors.
const BY_AREA: &[(u32, i64, &str)] = &[
    (500, 3_000_000, BS_FLEXIBLE),    // from memory
    (750, 6_000_000, BS_FLEXIBLE),    // from memory
    (1_000, 10_000_000, BS_FLEXIBLE), // from memory
    (1_250, 13_000_000, BS_FLEXIBLE), // from memory
    (1_500, 16_000_000, BS_FLEXIBLE), // from memory
    (2_500, 25_000_000, BS_FLEXIBLE), // from memory
    (4_000, 32_000_000, BS_FLEXIBLE), // from memory
    (6_000, 41_000_000, IEC_B1),      // from memory
    (10_000, 57_000_000, IEC_B1),     // from memory
    (16_000, 76_000_000, IEC_B1),     // from memory
    (25_000, 101_000_000, IEC_B1),    // from memory
    (35_000, 125_000_000, IEC_B1),    // from memory
];

/// The common sizes of blade fuses, in microamperes.
pub const FUSES: [i64; 12] = [
    1_000_000, 2_000_000, 3_000_000, 4_000_000, 5_000_000, 7_500_000, 10_000_000, 15_000_000,
    20_000_000, 25_000_000, 30_000_000, 40_000_000,
];

/// Percent of its rating that a fuse, conductor, supply or breaker carries for three hours or more.
///
/// NFPA 70 (2020), 210.19(A), 210.20(A), 215.2(A), 215.3: rated at 125 % of a continuous load.
pub const LASTING: i64 = 80;

/// Area of a conductor by number in square millimetres.
///
/// ASTM B258: 39 equal ratio steps from 0.0050 in at number 36 to 0.4600 in at 4/0, so
/// `d = 0.127 mm * 92^((36 - n) / 39)`.
#[must_use]
pub fn area_of_number(number: u8) -> f64 {
    let diameter = 0.127 * 92_f64.powf((36.0 - f64::from(number)) / 39.0);
    std::f64::consts::PI * diameter * diameter / 4.0
}

/// Resistance in ohm per metre of one conductor of a resistivity (ohm metres) and an area (square
/// millimetres, above 0).
#[must_use]
pub fn by_resistivity(resistivity: f64, area_mm2: f64) -> f64 {
    resistivity / (area_mm2 * 1e-6)
}

/// Resistance of copper at a temperature (degrees Celsius) over that at 20 °C.
#[must_use]
pub fn warmth(celsius: f64) -> f64 {
    1.0 + PER_DEGREE * (celsius - 20.0)
}

/// Resistance of one conductor in ohm per metre at a temperature in degrees Celsius.
///
/// By number: solid copper of ASTM B258. By area: the most that IEC 60228 allows class 5. A size
/// that it does not list is scaled by area from the next thinner one (else from the thinnest).
#[must_use]
pub fn ohms_per_metre(gauge: Gauge, celsius: f64) -> f64 {
    let at_20 = match gauge {
        Gauge::Awg(number) => by_resistivity(COPPER, area_of_number(number)),
        Gauge::Area(area) => {
            let near = CLASS_5.iter().rev().find(|row| row.0 <= area);
            let (listed, ohms) = near.or(CLASS_5.first()).copied().unwrap_or((500, 39.0));
            ohms / 1_000.0 * f64::from(listed) / f64::from(area.max(1))
        }
    };
    at_20 * warmth(celsius)
}

/// Resistance there and back over a length in micrometres, in ohm.
#[must_use]
pub fn loop_ohms(length_um: i64, gauge: Gauge, celsius: f64) -> f64 {
    2.0 * length_um as f64 * 1e-6 * ohms_per_metre(gauge, celsius)
}

/// What a conductor may carry.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Capacity {
    /// In microamperes.
    pub most_ua: i64,
    /// The table that says so.
    pub table: &'static str,
}

/// What a conductor may carry. A size that its table does not list counts as the next thinner one.
#[must_use]
pub fn capacity(gauge: Gauge) -> Capacity {
    let row = match gauge {
        Gauge::Awg(number) => {
            BY_NUMBER.iter().find(|row| row.0 >= number).map(|row| (row.1, row.2))
        }
        Gauge::Area(area) => {
            BY_AREA.iter().rev().find(|row| row.0 <= area).map(|row| (row.1, row.2))
        }
    };
    // Thinner than the table goes: the figure of its thinnest, scaled by area.
    let (most_ua, table) = row.unwrap_or_else(|| match gauge {
        Gauge::Awg(number) => {
            let share = area_of_number(number) / area_of_number(30);
            ((500_000.0 * share) as i64, NFPA_79)
        }
        Gauge::Area(area) => (3_000_000 * i64::from(area) / 500, BS_FLEXIBLE),
    });
    Capacity { most_ua, table }
}

/// Whether a load, in either direction, is at most [`LASTING`] percent of a rating, so that it may
/// last for a show. Both are currents or both are powers.
#[must_use]
pub fn lasts(load: i64, rating: i64) -> bool {
    i128::from(load).abs() * 100 <= i128::from(rating) * i128::from(LASTING)
}

/// [`LASTING`] percent of a rating, rounded down.
#[must_use]
pub fn lasting(rating: i64) -> i64 {
    let most = i128::from(rating) * i128::from(LASTING) / 100;
    i64::try_from(most).unwrap_or(i64::MAX)
}

/// The fuse for a conductor that carries a current (microamperes, either direction): the largest
/// common size that the conductor allows, if that is at least 125 % of the current.
#[must_use]
pub fn fuse_for(gauge: Gauge, ua: i64) -> Option<i64> {
    let most = capacity(gauge).most_ua;
    let fits = FUSES.into_iter().rfind(|fuse| *fuse <= most)?;
    lasts(ua, fits).then_some(fits)
}

/// The thinnest conductor of the same kind, at least as thick as `gauge`, that has a fuse for a
/// current ([`fuse_for`]).
#[must_use]
pub fn fusible(gauge: Gauge, ua: i64) -> Option<Gauge> {
    listed(gauge).find(|size| fuse_for(*size, ua).is_some())
}

/// The thinnest conductor of the same kind, at least as thick as `gauge`, that carries a current
/// for a show.
#[must_use]
pub fn enough(gauge: Gauge, ua: i64) -> Option<Gauge> {
    listed(gauge).find(|size| lasts(ua, capacity(*size).most_ua))
}

/// A conductor and all thicker ones that its table lists, from thin to thick.
fn listed(gauge: Gauge) -> impl Iterator<Item = Gauge> {
    let (number, area) = match gauge {
        Gauge::Awg(number) => (number, u32::MAX),
        Gauge::Area(area) => (0, area),
    };
    let numbers = BY_NUMBER.iter().rev().map(|row| row.0);
    let numbers = numbers.filter(move |size| *size < number).map(Gauge::Awg);
    let areas = BY_AREA.iter().map(|row| row.0);
    let areas = areas.filter(move |size| *size > area).map(Gauge::Area);
    std::iter::once(gauge).chain(numbers).chain(areas)
}

/// The thicker sizes of a conductor's own kind that leads of injections are made of, thin to thick.
pub fn thicker(gauge: Gauge) -> impl Iterator<Item = Gauge> {
    listed(gauge).skip(1).filter(|size| match size {
        Gauge::Awg(number) => (8..=22).contains(number),
        Gauge::Area(area) => *area <= 10_000 && CLASS_5.iter().any(|row| row.0 == *area),
    })
}
