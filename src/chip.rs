//! The chips that are known beforehand, one row each with the data sheet it rests on.
//!
//! A clocked chip (data and clock line) has no bit time of its own; its controller sets the pace, so a frame
//! has no limit from it unless a display gives it a `rate`.

/// How long one bit takes: `nanoseconds / divisor`, a fraction so that a rate such as 700 kHz stays exact.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct BitTime {
    /// Numerator, in nanoseconds; above 0.
    pub nanoseconds: u64,
    /// Denominator; above 0.
    pub divisor: u64,
}

impl BitTime {
    /// The bit time at a rate in kHz (kbit/s), which must be above 0.
    #[must_use]
    pub fn of_rate(kilohertz: u64) -> Self {
        Self {
            nanoseconds: 1_000_000,
            divisor: kilohertz.max(1),
        }
    }
}

/// A chip as its data sheet has it.
#[derive(Clone, Copy, Debug)]
pub struct KnownChip {
    /// Its name in the language.
    pub name: &'static str,
    /// Bit time; `None` for a clocked chip.
    pub bit: Option<BitTime>,
    /// How long the line rests before the colours show, in nanoseconds.
    pub latch_ns: u64,
    /// Bits a colour: 8 or 16.
    pub depth: u8,
    /// Bits of each node that are no colour (a brightness byte).
    pub extra_bits: u32,
    /// Lowest supply at a node, in millivolts, by the data sheet's tested minimum or the usual practice.
    pub floor_mv: u32,
    /// Where the figures are from.
    pub source: &'static str,
}

const fn ns(nanoseconds: u64) -> Option<BitTime> {
    Some(BitTime {
        nanoseconds,
        divisor: 1,
    })
}

const fn row(
    name: &'static str,
    bit: Option<BitTime>,
    latch_us: u64,
    extra_bits: u32,
    floor_mv: u32,
    source: &'static str,
) -> KnownChip {
    KnownChip {
        name,
        bit,
        latch_ns: latch_us * 1_000,
        depth: 8,
        extra_bits,
        floor_mv,
        source,
    }
}

/// Every known chip, by name.
///
/// Where data sheets of one chip differ, the slower figure stands, so that a port which passes here passes
/// at the display.
pub const KNOWN: &[KnownChip] = &[
    row(
        "apa102",
        None,
        0,
        8,
        4_500,
        "APA102 data sheet: clocked, 32 bits a node (3 mark bits, 5 brightness bits, 3 colours)",
    ),
    row(
        "sk6812",
        ns(1_250),
        80,
        0,
        4_500,
        "SK6812 data sheet: 80 us latch; its 1.2 us bit is driven at 1.25 us in practice",
    ),
    row(
        "sk9822",
        None,
        0,
        8,
        4_500,
        "SK9822 data sheet: clocked, 32 bits a node as APA102",
    ),
    row(
        "tm1804",
        ns(1_250),
        50,
        0,
        4_500,
        "from memory: 1.15 to 1.25 us a bit, 24 to 50 us latch; no data sheet found",
    ),
    row(
        "tm1914",
        ns(1_250),
        200,
        0,
        6_000,
        "TM1914A data sheet; 1.25 us and 200 us as drivers use them",
    ),
    row(
        "ucs1903",
        ns(2_500),
        24,
        0,
        4_500,
        "from memory: first UCS1903, 400 kbit/s, 24 us latch",
    ),
    row(
        "ucs1903n",
        ns(1_250),
        24,
        0,
        4_500,
        "UCS1903N data sheet: 800 kbit/s; 24 us latch from memory",
    ),
    row(
        "ws2811",
        ns(1_250),
        50,
        0,
        4_500,
        "WS2811 data sheet: 800 kbit/s in high-speed mode, latch over 50 us",
    ),
    row(
        "ws2811-slow",
        ns(2_500),
        50,
        0,
        4_500,
        "WS2811 data sheet: 400 kbit/s in low-speed mode, latch over 50 us",
    ),
    row(
        "ws2812",
        ns(1_250),
        50,
        0,
        4_500,
        "WS2812 and early WS2812B data sheets: 1.25 us a bit, latch over 50 us",
    ),
    row(
        "ws2812b",
        ns(1_250),
        300,
        0,
        4_500,
        "later WS2812B data sheets: latch over 280 us, 300 us in some",
    ),
    row(
        "ws2813",
        ns(1_250),
        300,
        0,
        4_500,
        "WS2813 data sheet: 1.25 us a bit, latch 300 us or more",
    ),
    row(
        "ws2815",
        ns(1_250),
        300,
        0,
        9_000,
        "WS2815 data sheet: 1.25 us a bit, latch 300 us or more, 9 to 13.5 V",
    ),
];

/// The known chip of a name.
#[must_use]
pub fn known(name: &str) -> Option<&'static KnownChip> {
    KNOWN.iter().find(|chip| chip.name == name)
}
