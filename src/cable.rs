//! Conductors: resistance by ASTM B258 and IEC 60228 with temperature, and what they may carry by named tables.
//!
//! Figures are of copper. Resistances are floating point, for they only go into the solver.

use crate::unit::Gauge;

/// Resistivity of annealed copper (100 % IACS) at 20 °C, in ohm metres.
const COPPER: f64 = 1.7241e-8;

/// Change of copper's resistance for each degree away from 20 °C, as a share.
const PER_DEGREE: f64 = 0.003_93;

/// IEC 60228, class 5 (flexible, plain copper): size in thousandths of a square millimetre, and the largest
/// resistance at 20 °C in ohm per kilometre.
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

/// What a conductor by number may carry: number, microamperes.
///
/// 18 to 10: NFPA 70, 240.4(D), the largest fuse before a small conductor. 20 and thinner: NFPA 79, table 12.5.1.
/// 8 and thicker: NFPA 70, table 310.16, 60 °C. The first row is confirmed by its article only, the figures of all
/// three are from memory.
const BY_NUMBER: &[(u8, i64)] = &[
    (0, 125_000_000),
    (1, 110_000_000),
    (2, 95_000_000),
    (4, 70_000_000),
    (6, 55_000_000),
    (8, 40_000_000),
    (10, 30_000_000),
    (12, 20_000_000),
    (14, 15_000_000),
    (16, 10_000_000),
    (18, 7_000_000),
    (20, 5_000_000),
    (22, 3_000_000),
    (24, 2_000_000),
    (26, 1_000_000),
    (28, 800_000),
    (30, 500_000),
];

/// What a flexible conductor by area may carry: thousandths of a square millimetre, microamperes.
///
/// 0.5 to 4 mm²: BS 7671, table 4F3A (flexible cables). 6 mm² and thicker: IEC 60364-5-52, table B.52.2, method B1,
/// two loaded conductors. From memory.
const BY_AREA: &[(u32, i64)] = &[
    (500, 3_000_000),
    (750, 6_000_000),
    (1_000, 10_000_000),
    (1_250, 13_000_000),
    (1_500, 16_000_000),
    (2_500, 25_000_000),
    (4_000, 32_000_000),
    (6_000, 41_000_000),
    (10_000, 57_000_000),
    (16_000, 76_000_000),
    (25_000, 101_000_000),
    (35_000, 125_000_000),
];

/// Area of a conductor by number in square millimetres.
///
/// ASTM B258: 39 equal ratio steps from 0.0050 in at number 36 to 0.4600 in at 4/0, so
/// `d = 0.127 mm * 92^((36 - n) / 39)`.
#[must_use]
pub fn area_of_number(number: u8) -> f64 {
    let diameter = 0.127 * 92_f64.powf((36.0 - f64::from(number)) / 39.0);
    std::f64::consts::PI * diameter * diameter / 4.0
}

/// Resistance of one solid copper conductor of an area (square millimetres, above 0) and a resistivity (ohm metres),
/// in ohm per metre.
#[must_use]
pub fn by_resistivity(resistivity: f64, area_mm2: f64) -> f64 {
    resistivity / (area_mm2 * 1e-6)
}

/// How many times its resistance at 20 °C a copper conductor has at a temperature in degrees Celsius.
#[must_use]
pub fn warmth(celsius: f64) -> f64 {
    1.0 + PER_DEGREE * (celsius - 20.0)
}

/// Resistance of one conductor in ohm per metre at a temperature in degrees Celsius.
///
/// By number: solid copper of ASTM B258. By area: the most that IEC 60228 allows class 5; a size that it does not list
/// is reckoned from the nearest listed one, by area.
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

/// What a conductor may carry; a size that its table does not list counts as the next thinner one there.
#[must_use]
pub fn capacity(gauge: Gauge) -> Capacity {
    match gauge {
        Gauge::Awg(number) => {
            let row = BY_NUMBER.iter().find(|row| row.0 >= number);
            let table = match number {
                0..=9 => "NFPA 70 table 310.16",
                10..=18 => "NFPA 70 240.4(D)",
                _ => "NFPA 79 table 12.5.1",
            };
            Capacity {
                // Thinner than the table goes: what its thinnest carries, by area.
                most_ua: row.map_or_else(
                    || (500_000.0 * area_of_number(number) / area_of_number(30)) as i64,
                    |row| row.1,
                ),
                table,
            }
        }
        Gauge::Area(area) => {
            let row = BY_AREA.iter().rev().find(|row| row.0 <= area);
            Capacity {
                most_ua: row.map_or(3_000_000 * i64::from(area) / 500, |row| row.1),
                table: if area < 6_000 {
                    "BS 7671 table 4F3A"
                } else {
                    "IEC 60364-5-52 table B.52.2"
                },
            }
        }
    }
}

/// The thicker usual sizes of a conductor's own kind, the next one first.
pub fn thicker(gauge: Gauge) -> impl Iterator<Item = Gauge> {
    const NUMBERS: [u8; 8] = [22, 20, 18, 16, 14, 12, 10, 8];
    let (number, area) = match gauge {
        Gauge::Awg(number) => (Some(number), None),
        Gauge::Area(area) => (None, Some(area)),
    };
    let by_number = NUMBERS
        .into_iter()
        .filter(move |n| number.is_some_and(|number| *n < number))
        .map(Gauge::Awg);
    let by_area = CLASS_5
        .iter()
        .map(|row| row.0)
        .filter(move |a| *a <= 10_000 && area.is_some_and(|area| *a > area))
        .map(Gauge::Area);
    by_number.chain(by_area)
}
