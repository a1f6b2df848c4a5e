//! The chips that the compiler knows, a row each with the source of its figures.
//!
//! A clocked chip (data and clock line) has no bit time of its own, since its controller sets the
//! pace. It limits no frame unless a display gives it a `rate`.
//!
//! "From memory" in a source: at least one figure could not be checked against a published text.

/// How long one bit takes: `nanoseconds / divisor`, so that a rate such as 700 kHz stays exact.
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
    pub const fn of_rate(kilohertz: u64) -> Self {
        let divisor = if kilohertz == 0 { 1 } else { kilohertz };
        Self { nanoseconds: 1_000_000, divisor }
    }
}

/// A known chip.
#[derive(Clone, Copy, Debug)]
pub struct KnownChip {
    /// Its name in the language.
    pub name: &'static str,
    /// Bit time; `None` for a clocked chip.
    pub bit: Option<BitTime>,
    /// How long the line must rest before the nodes show their colours, in nanoseconds.
    pub latch_ns: u64,
    /// Bits a colour: 8 or 16.
    pub depth: u8,
    /// Colours of a node; `None` for a chip that is made with three and with four.
    pub colours: Option<u8>,
    /// Bits of each node that are no colour (a brightness byte).
    pub extra_bits: u32,
    /// Bits of a frame that belong to no node: start and end frames, a header.
    pub header_bits: u32,
    /// Clocks after the data that move it along the line, in quarters of a clock for each node.
    pub tail_quarters: u32,
    /// Lowest voltage at a node, in millivolts, by data sheet (tested minimum) or common practice.
    pub floor_mv: u32,
    /// Where the figures are from.
    pub source: &'static str,
}

/// Latch of a chip whose own was not found, in microseconds: the longest that was found.
const LONGEST_LATCH_US: u64 = 500;

/// A 5 V chip with one data line and three colours of 8 bits.
const fn row(name: &'static str, bit_ns: u64, latch_us: u64, source: &'static str) -> KnownChip {
    KnownChip {
        name,
        bit: Some(BitTime { nanoseconds: bit_ns, divisor: 1 }),
        latch_ns: latch_us * 1_000,
        depth: 8,
        colours: Some(3),
        extra_bits: 0,
        header_bits: 0,
        tail_quarters: 0,
        floor_mv: 4_500,
        source,
    }
}

/// What a chip that is not known, and a node without a chip, count as unless the display says
/// otherwise: 800 kHz, latch 300 us.
pub const USUAL: KnownChip = row("", 1_250, 300, "");

/// A clocked chip.
const fn clocked(
    name: &'static str,
    extra_bits: u32,
    header_bits: u32,
    tail_quarters: u32,
    source: &'static str,
) -> KnownChip {
    KnownChip { bit: None, extra_bits, header_bits, tail_quarters, ..row(name, 1, 0, source) }
}

impl KnownChip {
    const fn colours(self, colours: u8) -> Self {
        let colours = Some(colours);
        Self { colours, ..self }
    }

    const fn either(self) -> Self {
        let colours = None;
        Self { colours, ..self }
    }

    const fn depth_16(self) -> Self {
        Self { depth: 16, ..self }
    }

    const fn floor(self, floor_mv: u32) -> Self {
        Self { floor_mv, ..self }
    }

    const fn header(self, header_bits: u32) -> Self {
        Self { header_bits, ..self }
    }
}

/// Every known chip, by name.
///
/// Where data sheets of one chip differ, the row has the slower figure: a port that passes here
/// then passes at the display.
pub const KNOWN: &[KnownChip] = &[
    clocked("apa102", 8, 32, 2, "APA102 data sheet: clocked, 32 bits a node (3 mark bits, 5 brightness bits, 3 colours), 32 zero bits before the data; half a clock a node after them from memory"),
    row("apa104", 1710, 50, "from memory: kind of WS2812, 1.71 us a bit, 50 us latch"),
    row("apa106", 1710, 50, "from memory: kind of WS2812, 1.71 us a bit, 50 us latch"),
    clocked("apa107", 8, 32, 2, "from memory: clocked, frames as APA102"),
    row("cs8812", 2500, LONGEST_LATCH_US, "from memory: kind of WS2812; rate not known, so the slow class of 400 kbit/s; latch not found, so the longest of this table"),
    row("dp1903", 3200, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 3.2 us a bit at the slower of its two speeds; latch not found, so the longest of this table"),
    row("ge8822", 1360, LONGEST_LATCH_US, "from memory: 1.36 us a bit as drivers use it; latch not found, so the longest of this table"),
    row("gs8206", 1250, 280, "from memory: as gs8208").floor(9_000),
    row("gs8208", 1250, 280, "a public list of pixels: 24 bits, 12 V; 1.25 us a bit, 280 us latch and the 9 V floor from memory").floor(9_000),
    row("gw6205", 2400, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 2.4 us a bit at the slower of its two speeds; latch not found, so the longest of this table"),
    clocked("hd107s", 8, 32, 2, "from memory: clocked, frames as APA102"),
    row("ink1003", 2500, LONGEST_LATCH_US, "from memory: kind of WS2811; rate not known, so the slow class of 400 kbit/s; latch not found, so the longest of this table"),
    row("lc8812", 2500, LONGEST_LATCH_US, "from memory: kind of WS2812; rate not known, so the slow class of 400 kbit/s; latch not found, so the longest of this table"),
    row("lpd1886", 800, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 0.8 us a bit; latch not found, so the longest of this table"),
    clocked("lpd6803", 0, 32, 4, "from memory: clocked; its 16 bits a node are counted as 24; 32 zero bits before the data, a clock a node after them"),
    clocked("lpd8806", 0, 0, 1, "from memory: clocked, 24 bits a node; a zero byte for each 32 nodes after the data"),
    clocked("p9813", 8, 64, 0, "from memory: clocked, 32 bits a node; 32 zero bits before and after the data"),
    row("pl9823", 1710, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.71 us a bit; latch not found, so the longest of this table"),
    row("sk6805", 1250, 80, "from memory: kind of SK6812, 80 us latch"),
    row("sk6812", 1250, 80, "SK6812 data sheet: 80 us latch; its 1.2 us bit is driven at 1.25 us in practice").either(),
    row("sk6812rgbw", 1250, 80, "SK6812RGBW data sheet: as sk6812, four colours").colours(4),
    row("sk6822", 1750, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.75 us a bit; latch not found, so the longest of this table"),
    clocked("sk9822", 8, 64, 2, "SK9822 data sheet: clocked, 32 bits a node as APA102; 32 zero bits before and 32 after the data, and half a clock a node, from memory"),
    row("sm16703", 1200, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.2 us a bit; latch not found, so the longest of this table"),
    row("sm16703p", 1200, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure) for SM16703: 1.2 us a bit; latch not found, so the longest of this table"),
    clocked("sm16716", 1, 50, 0, "from memory: clocked, 25 bits a node (a start bit, 3 colours), 50 zero bits before the data"),
    row("tm1803", 2500, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 2.5 us a bit; latch not found, so the longest of this table"),
    row("tm1804", 1250, 50, "from memory: 1.15 to 1.25 us a bit, 24 to 50 us latch; no data sheet found"),
    row("tm1809", 1150, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.15 us a bit; latch not found, so the longest of this table"),
    row("tm1814", 1300, 300, "FastLED library, led_timing.h (a driver's figure): 1.3 us a bit, 300 us latch; 64 bits of current settings before the data from memory").colours(4).header(64),
    row("tm1829", 1230, 500, "FastLED library, led_timing.h (a driver's figure): 1.23 us a bit, 500 us latch"),
    row("tm1914", 1250, 200, "TM1914A data sheet; 1.25 us and 200 us as drivers use them").floor(6_000),
    row("ucs1903", 2500, 24, "from memory: first UCS1903, 400 kbit/s, 24 us latch"),
    row("ucs1903b", 1300, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.3 us a bit; latch not found, so the longest of this table"),
    row("ucs1903n", 1250, 24, "UCS1903N data sheet: 800 kbit/s; 24 us latch from memory"),
    row("ucs1904", 1250, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.25 us a bit; latch not found, so the longest of this table"),
    row("ucs1912", 1600, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.6 us a bit; latch not found, so the longest of this table"),
    row("ucs2903", 1250, LONGEST_LATCH_US, "FastLED library, led_timing.h (a driver's figure): 1.25 us a bit; latch not found, so the longest of this table"),
    row("ucs2904", 1250, LONGEST_LATCH_US, "from memory: kin of UCS2903 with four colours, 1.25 us a bit; latch not found, so the longest of this table").colours(4),
    row("ucs2904b", 1250, LONGEST_LATCH_US, "from memory: kin of UCS2903 with four colours, 1.25 us a bit; latch not found, so the longest of this table").colours(4),
    row("ucs7604", 1250, 280, "FastLED library, led_timing.h (a driver's figure): 1.25 us a bit, 280 us latch, four colours of 16 bits; 120 bits before the data from memory").colours(4).depth_16().header(120),
    row("ucs8903", 1250, 48, "from memory: as UCS8904B, three colours of 16 bits").depth_16(),
    row("ucs8904", 1250, 48, "as ucs8904b").colours(4).depth_16(),
    row("ucs8904b", 1250, 48, "its maker's protocol page: four colours of 16 bits, high bit first, 1.25 us a bit, 48 us latch").colours(4).depth_16(),
    KnownChip { latch_ns: 500_000, ..clocked("ws2801", 0, 0, 0, "from memory: clocked, 24 bits a node, latch 500 us") },
    row("ws2805", 1250, 280, "from memory: five colours of 8 bits, 1.25 us a bit, 280 us latch").colours(5),
    row("ws2811", 1250, 50, "WS2811 data sheet: 800 kbit/s in high-speed mode, latch over 50 us"),
    row("ws2811-slow", 2500, 50, "WS2811 data sheet: 400 kbit/s in low-speed mode, latch over 50 us"),
    row("ws2812", 1250, 50, "WS2812 and early WS2812B data sheets: 1.25 us a bit, latch over 50 us"),
    row("ws2812b", 1250, 300, "later WS2812B data sheets: latch over 280 us, 300 us in some"),
    row("ws2812b-v5", 1225, 280, "FastLED library, led_timing.h (a driver's figure): 1.225 us a bit, 280 us latch"),
    row("ws2813", 1250, 300, "WS2813 data sheet: 1.25 us a bit, latch 300 us or more"),
    row("ws2814", 1250, 280, "from memory: four colours, 1.25 us a bit, 280 us latch, 12 or 24 V").colours(4).floor(9_000),
    row("ws2815", 1250, 300, "WS2815 data sheet: 1.25 us a bit, latch 300 us or more, 9 to 13.5 V").floor(9_000),
    row("ws2816", 1250, 280, "from memory: three colours of 16 bits, 1.25 us a bit, 280 us latch").depth_16(),
    row("ws2818", 1250, 280, "from memory: 1.25 us a bit, 280 us latch"),
];

/// The known chip of a name.
#[must_use]
pub fn known(name: &str) -> Option<&'static KnownChip> {
    KNOWN.iter().find(|chip| chip.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_sorted_and_names_a_source_in_each_row() {
        assert!(KNOWN.is_sorted_by(|a, b| a.name < b.name));
        for chip in KNOWN {
            assert!(!chip.source.is_empty(), "{}", chip.name);
            assert!(matches!(chip.depth, 8 | 16), "{}", chip.name);
            let slow_or_told = chip.latch_ns <= LONGEST_LATCH_US * 1_000;
            assert!(slow_or_told, "{}: a longer latch than the longest", chip.name);
            let not_found = chip.source.contains("latch not found");
            assert!(!not_found || chip.latch_ns == LONGEST_LATCH_US * 1_000, "{}", chip.name);
        }
    }

    // Bits a node, by hand from the sources in the rows.
    #[test]
    fn bits_a_node_are_those_of_the_sources() {
        let widths = [
            ("apa102", 32),
            ("p9813", 32),
            ("sm16716", 25),
            ("tm1814", 32),
            ("ucs7604", 64),
            ("ucs8903", 48),
            ("ucs8904b", 64),
            ("ws2805", 40),
            ("ws2811", 24),
            ("ws2814", 32),
            ("ws2816", 48),
        ];
        for (name, bits) in widths {
            let chip = known(name).unwrap();
            let colours = u32::from(chip.colours.unwrap());
            let all = colours * u32::from(chip.depth) + chip.extra_bits;
            assert_eq!(all, bits, "{name}");
        }
    }
}
